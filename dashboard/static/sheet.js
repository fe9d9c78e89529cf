// The sheets (a panel, a coat, what is said of a probe): what can be known is filled in, and one sheet is one entry.
"use strict";
(() => {
  const body = document.body;
  const { send, newId, leave } = window.coldshedLog;
  const HOUR_MS = 3600000;
  const LONG_AGO_H = 12;
  const GRAM_PER_OUNCE = 28.349523125; // the ounce of 1959, as in model/units.py

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

  // Times of day and days as UTC ms; a day ends with its last minute.
  const timesOf = (form) =>
    Object.fromEntries(
      [...form.elements]
        .filter((field) => field.value && ["datetime-local", "date"].includes(field.type))
        .map((field) => [field.name, shopTime(field.type === "date" ? `${field.value}T23:59` : field.value)]),
    );

  // What holds a number, as a number.
  const numbersOf = (form) =>
    Object.fromEntries(
      [...form.elements]
        .filter((field) => field.value && (field.type === "number" || "number" in field.dataset))
        .map((field) => [field.name, Number(field.value)]),
    );

  // Lines of "reads" and "true"; a line with neither is left out.
  const pairsOf = (form) => {
    if (!form.elements.reads) return {};
    const [reads, right] = ["reads", "true"].map((name) => new FormData(form).getAll(name));
    const points = reads.map((read, i) => [read, right[i]]).filter((pair) => pair.some((text) => text !== ""));
    const numbers = points.map((pair) => pair.map((text) => (text === "" ? null : Number(text))));
    return { points: numbers, reads: undefined, true: undefined };
  };

  // A field as the API takes it; null: nobody said.
  const valueOf = (field) => {
    if (field.type === "checkbox") return field.checked || ("plain" in field.dataset ? false : null);
    if (field.value === "" || (field.type === "radio" && !field.checked)) return null;
    if (field.type === "datetime-local") return shopTime(field.value);
    if (field.type !== "number") return field.value === "yes" ? true : field.value === "no" ? false : field.value;
    if (field.dataset.unit === "oz") return Number(field.value) * GRAM_PER_OUNCE;
    return field.dataset.unit === "degF" ? (Number(field.value) - 32) / 1.8 : Number(field.value);
  };

  // Named fields; one whose name has a dot goes into what stands before the dot; rows become a list.
  const fieldsOf = (scope) => {
    const made = {};
    for (const field of scope.querySelectorAll("[name]")) {
      const value = field.closest("[data-row]") && !("row" in scope.dataset) ? null : valueOf(field);
      if (value === null || "when" in field.dataset) continue;
      const [name, inner] = field.name.split(".");
      if (inner) (made[name] ??= {})[inner] = value;
      else made[name] = value;
    }
    for (const row of "row" in scope.dataset ? [] : scope.querySelectorAll("[data-row]")) {
      const one = fieldsOf(row);
      made[row.dataset.row] ??= [];
      if (one.kind) made[row.dataset.row].push(one);
    }
    return made;
  };

  const entryOf = (form, how) => {
    if (!form.dataset.kind) {
      const values = Object.fromEntries([...new FormData(form)].map(([key, value]) => [key, value || null]));
      return { ...values, ...numbersOf(form), ...timesOf(form), ...pairsOf(form), ...("typed" in form.dataset && fieldsOf(form)) };
    }
    const { kind, panel } = form.dataset;
    const body = fieldsOf(form);
    if ("flat" in form.dataset) return { kind, panel, ...body };
    // The time of the first tap: one that has to be sent again was mixed no later.
    form.dataset.at ??= Math.round(window.coldshed.now());
    const at = how === "earlier" ? shopTime(form.querySelector("[data-when]").value) : Number(form.dataset.at);
    return { kind, panel, at, ...(Object.keys(body).length && { body }) };
  };

  // What is wrong stands below the button that was tapped, so that no button moves from under the thumb.
  const complain = (form, button, text) => {
    const problem = form.querySelector(".problem");
    button.after(problem);
    problem.textContent = text;
    problem.hidden = false;
    problem.scrollIntoView({ block: "nearest" });
  };

  // A question before the entry is sent, or "" if there is none.
  const doubt = (form, entry) => {
    const names = form.dataset.needs?.split(" ") ?? [];
    if (names.length && !names.some((name) => entry[name])) return form.dataset.needsText;
    const ago = entry.at && form.dataset.ago ? (window.coldshed.now() - entry.at) / HOUR_MS : 0;
    if (ago <= LONG_AGO_H || form.dataset.asked === String(entry.at)) return "";
    form.dataset.asked = entry.at;
    return form.dataset.ago.replace("{hours}", Math.round(ago));
  };

  const submit = async (form, button) => {
    form.querySelector(".problem").hidden = true;
    const when = form.querySelector("[data-when]");
    if (button.value === "earlier" && !when.value) return when.focus();
    if ("ask" in button.dataset && button.dataset.asked !== "yes") {
      button.dataset.asked = "yes";
      button.textContent = button.dataset.ask;
      return;
    }
    form.dataset.id ??= newId(); // one id for each opened sheet
    const entry = entryOf(form, button.value);
    const asks = doubt(form, entry);
    if (asks) return complain(form, button, asks);
    await log(form, button, { id: form.dataset.id, ...entry }, button.value === "earlier");
  };

  // Sends a sheet and goes on to the next page. One that is kept stays as it is, to be read, and goes on when it is sent.
  const log = async (form, button, entry, given) => {
    if (form.dataset.kept) return complain(form, button, form.dataset.kept);
    const label = button.textContent;
    button.textContent = body.dataset.sending;
    const taken = (answer) => {
      const panel = answer.gone ? "" : (form.dataset.panel ?? "");
      leave(answer.gone ? "/" : form.dataset.then + (answer.panel ?? ""), { answer, panel });
    };
    const failed = (error) => {
      if (error.refused) delete form.dataset.at;
      delete form.dataset.kept;
      if (error.kept) form.dataset.kept = error.message;
      button.textContent = label;
      complain(form, button, error.message);
    };
    try {
      taken(await send(form.dataset.post ?? "/api/events", entry, { given }));
    } catch (error) {
      failed(error);
      error.sent?.then(taken, failed);
    }
  };

  for (const form of document.querySelectorAll("form[data-post]"))
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (event.submitter.textContent !== body.dataset.sending) submit(form, event.submitter);
    });

  // A probe has just been put into its ice or its box: the page looks at what it reads from now on.
  document.querySelector("[data-in-now]")?.addEventListener("click", () => {
    const here = new URL(location.href);
    here.searchParams.set("since", Math.round(window.coldshed.now()));
    location.replace(here);
  });

  window.coldshedSheet = { shopTime, log };

  const card = document.getElementById("card");
  const showFit = () => {
    for (const fit of document.querySelectorAll("[data-fit]")) fit.hidden = fit.dataset.fit !== card.value;
  };
  card?.addEventListener("change", showFit);
  if (card) showFit();

  // A probe brings its zone, a zone its air probe; what a person chose is left alone.
  const zone = document.getElementById("zone");
  const surface = document.getElementById("surface_probe");
  const air = document.getElementById("air_probe");
  const chosen = new Set();
  const fill = () => {
    const told = surface.selectedOptions[0].dataset.zone;
    if (told && !chosen.has(zone)) zone.value = told;
    const near = [...air.options].find((option) => option.dataset.place === "air" && option.dataset.zone === zone.value.trim());
    if (!chosen.has(air)) air.value = near?.value ?? "";
  };
  for (const field of zone ? [zone, surface, air] : [])
    field.addEventListener("change", () => {
      if (field !== zone || field.value) chosen.add(field);
      fill();
    });
  if (zone) fill();
})();
