// A tone for a running pot and a shutting window, off until it is chosen, and only while a page is open and was tapped.
// It is a help for who stands beside the phone; notices carry the duty.
"use strict";
(() => {
  const AGAIN_MS = 20000;
  const TONES = { "pot about to go": [880, 660, 880, 660], "window shuts soon": [520, 520] };
  const waits = document.getElementById("sound-waits");
  const told = new Map();
  let audio = null;

  const wanted = () => {
    try {
      return localStorage.getItem("sound") === "on";
    } catch {
      return false;
    }
  };

  const play = (pitches) => {
    pitches.forEach((pitch, n) => {
      const begin = audio.currentTime + 0.35 * n;
      const tone = audio.createOscillator();
      const loud = audio.createGain();
      tone.frequency.value = pitch;
      loud.gain.setValueAtTime(0.4, begin);
      loud.gain.setTargetAtTime(0, begin + 0.2, 0.03);
      tone.connect(loud).connect(audio.destination);
      tone.start(begin);
      tone.stop(begin + 0.34);
    });
  };

  // A pot is told again and again until somebody has seen it, a window once.
  const look = () => {
    waits.hidden = !wanted() || audio !== null;
    if (!wanted() || audio === null) return;
    const id = document.querySelector("[data-alarm]")?.dataset.alarm ?? "";
    const kind = Object.keys(TONES).find((name) => id.startsWith(`${name}:`));
    if (!kind) return;
    const before = told.get(id);
    if (before !== undefined && (kind !== "pot about to go" || performance.now() - before < AGAIN_MS)) return;
    told.set(id, performance.now());
    play(TONES[kind]);
  };

  // A browser lets a page sound only once it was tapped.
  const tapped = (event) => {
    if (!wanted() && event.target?.name !== "sound") return;
    if (audio === null && wanted()) audio = new AudioContext();
    look();
  };
  for (const name of ["click", "change"]) document.addEventListener(name, tapped);
  addEventListener("polled", look);
  look();
})();
