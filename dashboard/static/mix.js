// Before you mix: another spot or card is shown as soon as it is chosen.
"use strict";
(() => {
  for (const button of document.querySelectorAll("[data-show]")) button.hidden = true; // choosing shows it
  for (const field of document.querySelectorAll("[data-go]"))
    field.addEventListener("change", () => field.form.requestSubmit());

  // What was mixed is an entry of the panel's log; one id for each opened sheet absorbs a double tap.
  const { send, newId, leave, show } = window.coldshedLog;
  const made = new Map();
  document.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-mixed]");
    if (!button) return;
    const { mixed: kind, panel } = button.dataset;
    if (!made.has(kind)) made.set(kind, { id: newId(), at: Math.round(window.coldshed.now()) });
    show(document.body.dataset.sending);
    try {
      const entry = { ...made.get(kind), kind, panel, body: JSON.parse(button.dataset.body) };
      leave(`/panels/${panel}/pot`, { answer: await send("/api/events", entry), panel });
    } catch (problem) {
      if (problem.refused) made.delete(kind);
      show(problem.message);
    }
  });
})();
