// Taps become entries of the log. Each tap has an id and a time made here, so that a double tap is one entry.
"use strict";
(() => {
  const body = document.body;
  const toast = document.getElementById("toast");
  const outbox = window.coldshedOutbox;
  const DOUBLE_MS = 3000;
  const ANSWER_MS = 5000;
  const PICTURE_MS = 60000;
  const acts = new Map();

  // randomUUID is missing on plain HTTP; getRandomValues is not.
  const newId = () =>
    [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

  const who = () => {
    try {
      return localStorage.getItem("who") ?? "";
    } catch {
      return ""; // storage is shut off: the log says "somebody"
    }
  };

  // What an entry is about, as a person calls it.
  const nameOf = ({ panel, alarm }) => {
    if (alarm) return document.querySelector(`[data-seen="${CSS.escape(alarm)}"]`)?.closest("li")?.querySelector("strong")?.textContent;
    return (document.querySelector(`[data-strip="${CSS.escape(panel ?? "")}"][data-name]`)?.dataset.name ??
      document.querySelector(".whose")?.textContent)?.trim();
  };

  // An entry, or the bytes of a picture; given: its time was said by a person. What may be kept on this device until
  // it is answered is kept.
  const send = async (url, entry, { picture, given } = {}) => {
    const mine = { who: who(), ...entry };
    if (picture || !outbox.keeps(url, entry)) return direct(url, mine, picture);
    try {
      return await outbox.send(url, mine, nameOf(entry), given);
    } catch (problem) {
      if (problem.unkept) return direct(url, mine);
      if (problem.door && (await window.coldshedDoor?.ask(problem.door))) return send(url, entry, { given });
      throw problem;
    }
  };

  const direct = async (url, entry, picture) => {
    let answer, told;
    try {
      answer = await fetch(picture ? `${url}?who=${encodeURIComponent(who())}` : url, {
        method: "POST",
        headers: window.coldshedTaps.heads(picture ? picture.type : "application/json"),
        body: picture ?? JSON.stringify(entry),
        signal: AbortSignal.timeout(picture ? PICTURE_MS : ANSWER_MS),
      });
      told = await answer.json();
    } catch (problem) {
      if (outbox.isDecision(url, entry)) throw new Error(document.getElementById("unsent-list").dataset.notAllowed);
      throw new Error(problem.name === "TimeoutError" ? body.dataset.notAnswered : body.dataset.notSent);
    }
    // A session that ended, or a signature that is missing: asked for over this page, then it is sent once more.
    if (told.door && (await window.coldshedDoor?.ask(told.door))) return direct(url, entry, picture);
    if (!answer.ok)
      throw Object.assign(new Error(`${told.error.what} ${told.error.do}`), { refused: !told.door && ![408, 429].includes(answer.status) });
    return told;
  };

  const show = (text, undo, meant) => {
    const add = (label, does) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = label;
      button.addEventListener("click", does);
      toast.append(button);
      return button;
    };
    const said = document.createElement("span");
    said.textContent = text;
    toast.replaceChildren(said);
    if (meant) add(body.dataset.yes, meant);
    if (undo) add(body.dataset.undo, undo);
    const close = () => {
      toast.hidden = true;
    };
    add("✕", close).setAttribute("aria-label", body.dataset.close);
    toast.hidden = false;
  };

  // What was logged, with its undo; the strip waits for the answer that knows of it.
  const told = (answer, panel, undoable) => {
    const text = answer.moved?.said ? `${answer.said}. ${answer.moved.said}` : answer.said;
    const meant = answer.sure === false ? () => tap({ kind: "thumb sure", panel, body: { of: answer.event } }) : null;
    show(text, undoable ? () => tap({ kind: "withdrawn", panel, event: answer.event }) : null, meant);
    if (panel) window.coldshed.pend(panel, answer.recorded);
  };

  const leave = (url, said) => {
    try {
      sessionStorage.setItem("said", JSON.stringify(said));
    } catch {
      // storage is shut off: the log on the next page shows the entry all the same
    }
    location.assign(url);
  };

  // One id and one time for each act until 3 s after its answer: a second tap sends the same entry, which is absorbed.
  // at: when it was, UTC ms; without it: now. id: of the sheet it is tapped on, if that is one entry whatever is tapped.
  const tap = async (entry, then, { at, id } = {}) => {
    const act = JSON.stringify([entry, at]);
    const dated = entry.panel && entry.kind !== "withdrawn";
    if (!acts.has(act)) acts.set(act, { id: id ?? newId(), ...((dated || entry.alarm) && { at: at ?? Math.round(window.coldshed.now()) }) });
    const fixed = acts.get(act);
    if (!fixed.answered) show(body.dataset.sending);
    const taken = (answer) => {
      if (fixed.answered) return;
      fixed.answered = true;
      if (entry.kind === "withdrawn") acts.clear(); // what was undone may be done again at once
      else setTimeout(() => acts.delete(act), DOUBLE_MS);
      if (then) return leave(then, { answer, panel: entry.panel });
      if (answer.gone) return leave("/", { answer, panel: "" });
      told(answer, entry.panel, dated);
    };
    const { answered, ...made } = fixed;
    const undo = () => {
      acts.clear();
      dispatchEvent(new CustomEvent("undone", { detail: made.id }));
      tap({ kind: "withdrawn", panel: entry.panel, event: made.id });
    };
    try {
      taken(await send("/api/events", { ...made, ...entry }, { given: at !== undefined }));
    } catch (problem) {
      if (!fixed.answered) show(problem.message, problem.kept && dated ? undo : null); // trying again cannot log twice
      problem.sent?.then(taken, (refusal) => show(refusal.message));
      return problem.kept ? "kept" : "failed";
    } finally {
      window.coldshed.poll();
    }
    return "sent";
  };

  const sure = (button) => window.coldshedSure(button, button.dataset.ask ?? body.dataset.sure);

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button || button.getAttribute("aria-disabled") === "true") return;
    if (button.dataset.log) {
      if (!window.coldshed.steady()) return; // the strip has just moved under the thumb
      tap({ kind: button.dataset.log, panel: button.dataset.panel });
    } else if (button.dataset.seen) tap({ kind: "alarm seen", alarm: button.dataset.seen });
    else if ("seenAll" in button.dataset)
      for (const one of document.querySelectorAll("[data-seen]")) tap({ kind: "alarm seen", alarm: one.dataset.seen });
    else if (button.dataset.putRight)
      tap({ kind: "probe put right", probe: button.dataset.putRight, fixed: "fixed" in button.dataset });
    else if (button.dataset.close && sure(button)) tap({ kind: "closed", panel: button.dataset.close });
    else if (button.dataset.meant)
      tap({ kind: "thumb sure", panel: button.dataset.panel, body: { of: button.dataset.meant } });
    else if (button.dataset.takeBack && sure(button))
      tap({ kind: "withdrawn", panel: button.dataset.panel || null, event: button.dataset.takeBack });
  });

  try {
    const said = JSON.parse(sessionStorage.getItem("said") ?? "null");
    sessionStorage.removeItem("said");
    if (said?.answer.said) told(said.answer, said.panel, Boolean(said.panel));
  } catch {
    // storage is shut off: nothing was left there to show
  }
  window.coldshedLog = { send, newId, show, leave, tap };
})();
