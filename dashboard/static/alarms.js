// Alarms made quiet or switched off, quiet hours, and tests: each tap is an entry of the log, absorbed if it comes twice.
"use strict";
(() => {
  const { send, newId, show } = window.coldshedLog;
  const ids = new Map();

  // One id for each act until it was answered: a tap that is repeated is the same entry.
  const post = async (url, entry) => {
    const act = url + JSON.stringify(entry);
    if (!ids.has(act)) ids.set(act, newId());
    show(document.body.dataset.sending);
    try {
      show((await send(url, { id: ids.get(act), ...entry })).said);
      ids.delete(act);
    } catch (problem) {
      show(problem.message);
      if (problem.refused) ids.delete(act);
    }
    window.coldshed.poll();
  };

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    const { quiet, minutes, unquiet, service, kind, of, test } = button.dataset;
    if (quiet !== undefined) post("/api/alarms/quiet", { alarm: quiet, minutes: minutes ? Number(minutes) : null });
    else if (unquiet !== undefined) post("/api/alarms/unquiet", { alarm: unquiet });
    else if (service !== undefined && window.coldshedSure(button, button.dataset.ask))
      post("/api/alarms/service", { kind, of, off: service === "off", reason: "" });
    else if (test !== undefined) post("/api/notices/test", { person: test });
  });

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.quietHours === undefined) return;
    event.preventDefault();
    const said = new FormData(form);
    post("/api/notices/quiet-hours", {
      person: form.dataset.quietHours, start: said.get("start"), end: said.get("end"), wake: said.getAll("wake"),
    });
  });
})();
