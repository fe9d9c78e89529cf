// What a thumb or a hardness tester found: one tap, with what was said above it of the tile, the time and patches.
"use strict";
(() => {
  const { newId, tap } = window.coldshedLog;
  const { shopTime, log } = window.coldshedSheet;
  let sheet = newId(); // one id for each opened sheet: of several sendings one is an entry
  let sending = false;
  const when = document.getElementById("felt-at");
  const celsius = (field) => {
    const said = field.value === "" ? null : Number(field.value);
    return said !== null && field.dataset.unit === "degF" ? (said - 32) / 1.8 : said;
  };
  // A field that makes no sense is shown, also where it was folded away.
  const fits = (field) => {
    if (field.checkValidity()) return true;
    field.closest("details").open = true;
    field.reportValidity();
    return false;
  };
  const at = () => (when.value === "" ? undefined : shopTime(when.value));

  for (const button of document.querySelectorAll("[data-found]"))
    button.addEventListener("click", async () => {
      if (sending) return; // a thumb that slips to the next word says no more than it said first
      const tile = document.getElementById("tile");
      if (!fits(tile) || !fits(when)) return;
      const body = { words: button.dataset.found.split(","), tile_C: celsius(tile) };
      if (document.getElementById("patchy").checked) body.patchy = true;
      const entry = { kind: "thumb test", panel: button.dataset.panel, body };
      sending = true;
      sending = (await tap(entry, button.dataset.then, { at: at(), id: sheet })) === "kept";
    });
  addEventListener("undone", ({ detail }) => {
    if (detail !== sheet) return;
    sheet = newId();
    sending = false;
  });

  const form = document.getElementById("hardness");
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!fits(when)) return;
    const { scale, value, on, warm } = form.elements;
    form.dataset.id ??= newId(); // one id for each opened sheet
    form.dataset.at ??= Math.round(window.coldshed.now());
    const body = { scale: scale.value, value: Number(value.value), on: on.value, at_C: celsius(warm) };
    const entry = { id: form.dataset.id, kind: "hardness", panel: form.dataset.panel, at: at() ?? Number(form.dataset.at), body };
    await log(form, event.submitter, entry, at() !== undefined);
  });
})();
