// Before you mix: another spot or card is shown as soon as it is chosen.
"use strict";
(() => {
  for (const button of document.querySelectorAll("[data-show]")) button.hidden = true; // choosing shows it
  for (const field of document.querySelectorAll("[data-go]"))
    field.addEventListener("change", () => field.form.requestSubmit());

  // What was mixed is an entry of the panel's log. One opened sheet logs one thing: a second tap, wherever it lands,
  // sends nothing else, and nothing moves under it meanwhile.
  const { send, newId, leave, show } = window.coldshedLog;
  let made = null;
  document.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-mixed]");
    if (!button || made?.sending) return;
    const { mixed: kind, panel } = button.dataset;
    if (made?.kind !== kind) made = { kind, id: newId(), at: Math.round(window.coldshed.now()) };
    made.sending = true;
    const label = button.textContent;
    button.textContent = document.body.dataset.sending;
    const taken = (answer) => leave(`/panels/${panel}/pot`, { answer, panel });
    const failed = (problem) => {
      if (problem.refused) made = null;
      else made.sending = Boolean(problem.kept); // id and time are kept: trying again cannot log twice
      button.textContent = label;
      show(problem.message);
    };
    try {
      const { id, at } = made;
      const body = JSON.parse(button.dataset.body);
      taken(await send("/api/events", { id, at, kind, panel, body }));
    } catch (problem) {
      failed(problem);
      problem.sent?.then(taken, failed);
    }
  });
})();
