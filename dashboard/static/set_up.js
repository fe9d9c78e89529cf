// Set-up: forms are sent as JSON, what is heard is shown as it comes, and the written house is waited for.
"use strict";
(() => {
  const LOOK_MS = 1000;
  const WAIT_MS = 500;
  const body = document.body;

  const complain = (near, text) => {
    const scope = near.closest("form, section") ?? document;
    const problem = scope.querySelector(".problem") ?? document.querySelector(".problem");
    problem.textContent = text;
    problem.hidden = false;
    problem.scrollIntoView({ block: "nearest" });
  };

  const send = async (act, said) => {
    let answer, told;
    try {
      answer = await fetch(`/api/set-up/${act}`, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(said),
      });
      told = await answer.json();
    } catch {
      throw new Error(body.dataset.notSent);
    }
    if (!answer.ok) throw new Error(told.wrong ?? `${told.error.what} ${told.error.do}`);
    return told;
  };

  // The house starts where set-up ended: as soon as it answers, its first page opens.
  const await_house = async () => {
    for (;;) {
      await new Promise((done) => setTimeout(done, WAIT_MS));
      try {
        const answer = await fetch("/api/health", { cache: "no-store" });
        if (answer.ok) return location.replace("/");
      } catch {
        // nothing listens there for the moment between the two
      }
    }
  };

  const act = async (near, name, said, wait) => {
    near.setAttribute("aria-disabled", "true");
    try {
      const { then } = await send(name, said);
      if (!wait) return location.assign(then);
      const form = near.closest("form");
      const note = document.createElement("p");
      note.className = "big-value";
      note.setAttribute("role", "status");
      note.textContent = wait;
      form.replaceWith(note);
      await_house();
    } catch (error) {
      near.removeAttribute("aria-disabled");
      complain(near, error.message);
    }
  };

  const saidIn = (form) => {
    const said = {};
    const meanings = {};
    for (const [name, value] of new FormData(form)) {
      if (name.startsWith("meaning ")) meanings[name.slice(8)] = value;
      else said[name] = ["baud", "interval_s"].includes(name) ? Number(value) : value;
    }
    return form.dataset.act === "assign" ? { ...said, meanings } : said;
  };

  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-act]");
    if (!form) return;
    event.preventDefault();
    if (event.submitter?.getAttribute("aria-disabled") === "true") return;
    act(event.submitter ?? form.querySelector("button"), form.dataset.act, saidIn(form), form.dataset.wait);
  });

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-act]");
    if (!button || button.getAttribute("aria-disabled") === "true") return;
    const { act: name, ...said } = button.dataset;
    act(button, name, said);
  });

  // What is heard, in its place and order; a part that holds the focus keeps it.
  const take = (page) => {
    for (const old of document.querySelectorAll("[data-heard]")) {
      const fresh = page.querySelector(`[data-heard="${old.dataset.heard}"]`);
      const problem = old.querySelector(".problem:not([hidden])");
      if (!fresh || problem || old.isEqualNode(fresh)) continue;
      const focused = old.contains(document.activeElement) ? document.activeElement : null;
      const name = ["aria-label", "href"].find((one) => focused?.hasAttribute(one));
      const rose = old.querySelector(".rises") === null && fresh.querySelector(".rises");
      if (rose) document.getElementById("spoken").textContent = fresh.querySelector(".in-hand strong, .rises").textContent;
      old.replaceWith(document.adoptNode(fresh));
      if (name) document.querySelector(`[${name}="${CSS.escape(focused.getAttribute(name))}"]`)?.focus({ preventScroll: true });
    }
  };

  const look = async () => {
    while (document.querySelector("[data-heard]")) {
      await new Promise((done) => setTimeout(done, LOOK_MS));
      if (document.hidden) continue;
      try {
        const answer = await fetch(location.href.split("#")[0], { cache: "no-store" });
        if (answer.ok) take(new DOMParser().parseFromString(await answer.text(), "text/html"));
      } catch {
        // the next look tries again; a tap says what is wrong
      }
    }
  };

  const here = document.querySelector("[data-here]");
  if (here) here.value = Intl.DateTimeFormat().resolvedOptions().timeZone || here.value;
  const code = document.querySelector("form[data-code] [name=code]");
  if (code && location.hash.length > 1) {
    code.value = location.hash.slice(1);
    history.replaceState(null, "", location.pathname);
  }
  look();
})();
