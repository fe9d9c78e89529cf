// The More page's choices: the look and the name stay on this device, the unit is the shop's.
"use strict";
(() => {
  const { send, newId, show } = window.coldshedLog;
  const keep = (key, value) => {
    try {
      localStorage.setItem(key, value);
    } catch {
      show(document.body.dataset.notSent);
    }
  };

  const theme = window.coldshedTheme.chosen() ?? "auto";
  for (const input of document.querySelectorAll("input[name=theme]")) {
    input.checked = input.value === theme;
    input.addEventListener("change", () => {
      keep("theme", input.value);
      window.coldshedTheme.show();
    });
  }

  for (const input of document.querySelectorAll("input[name=unit], input[name=measures]")) {
    input.addEventListener("change", async () => {
      try {
        show((await send("/api/events", { id: newId(), kind: "preference", key: input.name, value: input.value })).said);
      } catch (problem) {
        show(problem.message);
      }
    });
  }

  const name = document.getElementById("who");
  try {
    name.value = localStorage.getItem("who") ?? "";
  } catch {
    name.disabled = true; // storage is shut off: nothing would be kept
  }
  name.addEventListener("change", () => keep("who", name.value.trim()));
})();
