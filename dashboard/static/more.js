// Choices of Settings and People: look, hand, sound and name stay on this device, units are the shop's.
"use strict";
(() => {
  const { send, newId, show } = window.coldshedLog;
  const every = (selector) => document.querySelectorAll(selector);
  const kept = (key) => {
    try {
      return localStorage.getItem(key) ?? "";
    } catch {
      return ""; // storage is shut off: the device's own choice stands
    }
  };
  const keep = (key, value) => {
    try {
      localStorage.setItem(key, value);
    } catch {
      show(document.body.dataset.notSent);
    }
  };

  for (const [name, otherwise] of [["theme", "auto"], ["hand", "right"], ["sound", "off"]]) {
    const chosen = kept(name) || otherwise;
    for (const input of every(`input[name=${name}]`)) {
      input.checked = input.value === chosen;
      input.addEventListener("change", () => {
        keep(name, input.value);
        window.coldshedTheme.show();
      });
    }
  }

  for (const input of every("input[name=unit], input[name=measures], input[name=decimal]")) {
    input.addEventListener("change", async () => {
      try {
        show((await send("/api/events", { id: newId(), kind: "preference", key: input.name, value: input.value })).said);
      } catch (problem) {
        show(problem.message);
      }
    });
  }

  // One name, chosen or written: the two show the same.
  const field = document.getElementById("who");
  const named = (name) => {
    for (const input of every("input[name=name]")) input.checked = input.value === name;
    if (field) field.value = name;
  };
  named(kept("who"));
  for (const input of every("input[name=name]"))
    input.addEventListener("change", () => {
      keep("who", input.value);
      named(input.value);
    });
  field?.addEventListener("change", () => {
    keep("who", field.value.trim());
    named(field.value.trim());
  });
})();
