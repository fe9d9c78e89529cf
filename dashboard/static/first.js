// Runs before the first paint: no page flashes in the wrong light, and no tap is lost on a page whose scripts still come.
"use strict";
(() => {
  const root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const more = matchMedia("(prefers-contrast: more)");
  const kept = (key) => {
    try {
      return localStorage.getItem(key);
    } catch {
      return null; // storage is shut off: the device's own choice stands
    }
  };
  const show = () => {
    const theme = kept("theme");
    root.dataset.theme =
      theme && theme !== "auto" ? theme : more.matches ? "sun" : dark.matches ? "dark" : "light";
    root.dataset.hand = kept("hand") === "left" ? "left" : "right";
    dispatchEvent(new Event("themechange"));
  };
  dark.addEventListener("change", show);
  more.addEventListener("change", show);
  addEventListener("storage", show);
  window.coldshedTheme = { show };
  show();

  // What somebody has begun to fill in is not loaded anew under the hands: see live.js.
  addEventListener("input", ({ target }) => {
    if (target.matches("input:not([type=range], [type=search]), select, textarea")) root.dataset.edited = "yes";
  });

  // A page whose scripts did not all come is dead: it says so, and is loaded anew once the shop's computer answers.
  const WITHOUT = /plotly|chart/; // a page without its chart is whole enough
  const FIRST_TRY_MS = 1000;
  const LONGEST_TRY_MS = 60000;
  let broken = false;
  let tries = 0;
  try {
    tries = Number(sessionStorage.getItem("broken"));
  } catch {
    tries = 6; // storage is shut off: it may be the second time, or the hundredth
  }
  const counted = (times) => {
    try {
      sessionStorage.setItem("broken", times);
    } catch {
      // storage is shut off: the longest wait stands for all
    }
  };
  // Waits longer each time: a file that never comes must not make a page that never stands still.
  const later = () => {
    counted(++tries);
    setTimeout(loadAnew, Math.min(LONGEST_TRY_MS, FIRST_TRY_MS * 2 ** tries));
  };
  const loadAnew = async () => {
    try {
      if ((await fetch("/api/health", { cache: "no-store" })).ok) return location.reload();
    } catch {
      // it does not answer yet
    }
    later();
  };
  const sayBroken = () => {
    const toast = document.getElementById("toast");
    const { broken: text, brokenTap } = document.body.dataset;
    toast.textContent = tapped ? `${text} ${brokenTap}` : text;
    toast.hidden = false;
  };
  const failed = ({ target }) => {
    if (broken || target?.nodeName !== "SCRIPT" || WITHOUT.test(target.src)) return;
    broken = true;
    later();
  };
  addEventListener("error", failed, true);

  // A thumb may be faster than a slow network: the last button tapped before the scripts are there is tapped again then.
  let tapped = null;
  const keep = (event) => {
    tapped = event.target.closest("button") ?? tapped;
    if (event.target.closest("button")) event.preventDefault();
    if (!broken) return;
    event.stopImmediatePropagation();
    if (tapped && document.readyState !== "loading") sayBroken();
  };
  addEventListener("click", keep, true);
  document.addEventListener("DOMContentLoaded", () => {
    removeEventListener("error", failed, true);
    if (broken) return sayBroken(); // taps go on being kept from doing half of what they should
    counted(0);
    removeEventListener("click", keep, true);
    tapped?.click();
  });
})();
