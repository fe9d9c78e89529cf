// Taps become entries of the log. Each tap has an id made here, so that a double tap is one entry.
"use strict";
(() => {
  const body = document.body;
  const toast = document.getElementById("toast");
  const DOUBLE_MS = 3000;
  const ids = new Map();

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

  const send = async (url, entry) => {
    let answer;
    try {
      answer = await fetch(url, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ who: who(), ...entry }),
      });
    } catch {
      throw new Error(body.dataset.notSent);
    }
    const told = await answer.json();
    if (!answer.ok) throw new Error(`${told.error.what} ${told.error.do}`);
    return told;
  };

  const show = (text, undo) => {
    toast.replaceChildren(text);
    if (undo) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = body.dataset.undo;
      button.addEventListener("click", undo);
      toast.append(button);
    }
    toast.hidden = false;
  };

  const withdraw = async (event, panel) => {
    ids.clear(); // what was undone may be done again at once
    try {
      show((await send("/api/events", { id: newId(), kind: "withdrawn", panel, event })).said);
    } catch (problem) {
      show(problem.message);
    }
    window.coldshed.poll();
  };

  const told = (answer, panel) =>
    show(answer.new ? answer.said : body.dataset.already, answer.new && panel ? () => withdraw(answer.event, panel) : null);

  // One id for each act until 3 s after its answer: a second tap meanwhile sends the same entry, which is absorbed.
  const tap = async (entry) => {
    const act = JSON.stringify(entry);
    if (!ids.has(act)) ids.set(act, newId());
    const id = ids.get(act);
    try {
      const answer = await send("/api/events", { id, ...entry });
      if (answer.new || toast.hidden) told(answer, entry.panel);
      setTimeout(() => ids.delete(act), DOUBLE_MS);
    } catch (problem) {
      show(problem.message); // the id is kept: trying again cannot log twice
    }
    window.coldshed.poll();
  };

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.log) {
      if (!window.coldshed.steady()) return; // the strip has just moved under the thumb
      tap({ kind: button.dataset.log, panel: button.dataset.panel });
    } else if (button.dataset.seen) tap({ kind: "alarm seen", alarm: button.dataset.seen });
    else if (button.dataset.takeBack) withdraw(button.dataset.takeBack, button.dataset.panel);
  });

  // The zone of the shop, not of the phone: the difference of the two readings of one moment is the offset.
  const shopTime = (text) => {
    const asUtc = Date.parse(`${text}Z`);
    const shown = (at) => {
      const parts = Object.fromEntries(
        new Intl.DateTimeFormat("en-GB", {
          timeZone: body.dataset.zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit",
          hour: "2-digit", minute: "2-digit",
        }).formatToParts(at).map((part) => [part.type, part.value]),
      );
      return Date.parse(`${parts.year}-${parts.month}-${parts.day}T${parts.hour}:${parts.minute}Z`);
    };
    const first = asUtc - (shown(asUtc) - asUtc);
    return asUtc - (shown(first) - first);
  };

  const entryOf = (form, how) => {
    const values = Object.fromEntries([...new FormData(form)].map(([key, value]) => [key, value || null]));
    if (!form.dataset.kind) return values;
    const entry = { kind: form.dataset.kind, panel: form.dataset.panel, body: { card: values.card } };
    if (how === "earlier") entry.at = shopTime(values.mixed);
    return entry;
  };

  for (const form of document.querySelectorAll("form[data-post]")) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const problem = form.querySelector(".problem");
      const how = event.submitter?.value;
      problem.hidden = true;
      if (how === "earlier" && !form.elements.mixed.value) return form.elements.mixed.focus();
      form.dataset.id ??= newId(); // one id for each opened sheet
      try {
        const answer = await send(form.dataset.post, { id: form.dataset.id, ...entryOf(form, how) });
        try {
          sessionStorage.setItem("said", JSON.stringify({ answer, panel: form.dataset.panel ?? "" }));
        } catch {
          // storage is shut off: the log on the next page shows the entry all the same
        }
        location.assign(answer.panel ? form.dataset.then + answer.panel : form.dataset.then);
      } catch (error) {
        problem.textContent = error.message;
        problem.hidden = false;
      }
    });
  }

  try {
    const said = JSON.parse(sessionStorage.getItem("said") ?? "null");
    sessionStorage.removeItem("said");
    if (said?.answer.said) told(said.answer, said.panel);
  } catch {
    // storage is shut off: nothing was left there to show
  }
  window.coldshedLog = { send, newId, show };
})();
