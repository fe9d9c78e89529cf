// The door: signing in on a page of its own or over the page that is open, signing with a PIN, and its sheets.
"use strict";
(() => {
  const body = document.body;
  const ANSWER_MS = 15000; // a small computer takes a while to look at a password
  const CHANGES_WHO = ["/door/in", "/door/first", "/door/out", "/door/phone"];

  const post = async (url, entry) => {
    let answer, told;
    try {
      answer = await fetch(url, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(entry),
        signal: AbortSignal.timeout(ANSWER_MS),
      });
      told = await answer.json();
    } catch (problem) {
      throw new Error(problem.name === "TimeoutError" ? body.dataset.notAnswered : body.dataset.notSent);
    }
    if (!answer.ok) throw Object.assign(new Error(`${told.error.what} ${told.error.do}`), { door: told.door });
    return told;
  };

  const entryOf = (form) => {
    const made = {};
    for (const field of form.elements) {
      if (!field.name) continue;
      if (!("many" in field.dataset)) made[field.name] = field.value;
      else if (field.checked) (made[field.name] ??= []).push(field.value);
      else made[field.name] ??= [];
    }
    return made;
  };

  const complain = (form, text) => {
    const problem = form.querySelector(".problem");
    problem.textContent = text;
    problem.hidden = false;
    problem.scrollIntoView({ block: "nearest" });
  };

  // Nothing of what was seen stays on this device for whoever comes next: the pages kept here are those of one person.
  const forget = async () => {
    if (!("caches" in window)) return;
    const kept = (await caches.keys()).filter((name) => name.startsWith("coldshed-pages-"));
    await Promise.all(kept.map((name) => caches.delete(name)));
  };

  const done = async (form, answer) => {
    if (CHANGES_WHO.includes(form.dataset.door)) await forget();
    const dialog = form.closest("dialog");
    if (dialog) {
      if (answer.name) body.dataset.visitor = answer.name; // whoever signs in over a page taps on it from now on
      return dialog.close("done");
    }
    if (form.dataset.doorShows) {
      const place = document.getElementById(form.dataset.doorShows);
      place.querySelector("code").textContent = answer.token;
      place.hidden = false;
      return form.querySelector("button[type=submit]").focus();
    }
    if (form.dataset.doorSaid) return complain(form, form.dataset.doorSaid);
    if (form.dataset.doorThen) return location.assign(form.dataset.doorThen);
    location.reload();
  };

  const submit = async (form, button) => {
    form.querySelector(".problem").hidden = true;
    if (!window.coldshedSure(button, form.dataset.doorSure)) return;
    const label = button.textContent;
    button.textContent = body.dataset.sending;
    button.disabled = true;
    try {
      const answer = await post(form.dataset.door, entryOf(form));
      for (const field of form.querySelectorAll("input[type=password]")) field.value = "";
      await done(form, answer);
    } catch (error) {
      complain(form, error.message);
      if (error.door === "sign in" && (await ask(error.door))) submit(form, button);
    } finally {
      button.textContent = label;
      button.disabled = false;
    }
  };

  for (const form of document.querySelectorAll("form[data-door]"))
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      submit(form, event.submitter ?? form.querySelector("button[type=submit]"));
    });
  for (const button of document.querySelectorAll("[data-door-leave]"))
    button.addEventListener("click", () => button.closest("dialog").close(""));

  // What is wanted: "sign in" or "sign". True once it was given; false if the person left it, or it is not asked here.
  const ask = (what) =>
    new Promise((told) => {
      const dialog = document.getElementById(what === "sign" ? "door-sign" : "door-in");
      if (!dialog || !["sign", "sign in"].includes(what)) return told(false);
      if (dialog.open) return told(false);
      dialog.returnValue = "";
      dialog.querySelector(".problem").hidden = true;
      dialog.addEventListener("close", () => told(dialog.returnValue === "done"), { once: true });
      dialog.showModal();
      dialog.querySelector("input[type=password]").focus();
    });

  window.coldshedDoor = { ask, forget };
})();
