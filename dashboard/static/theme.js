// Runs before the first paint, so that no page flashes in the wrong light.
"use strict";
(() => {
  const root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const more = matchMedia("(prefers-contrast: more)");
  const chosen = () => {
    try {
      return localStorage.getItem("theme");
    } catch {
      return null; // storage is shut off: the device's own choice stands
    }
  };
  const show = () => {
    const theme = chosen();
    root.dataset.theme =
      theme && theme !== "auto" ? theme : more.matches ? "sun" : dark.matches ? "dark" : "light";
    dispatchEvent(new Event("themechange"));
  };
  dark.addEventListener("change", show);
  more.addEventListener("change", show);
  addEventListener("storage", show);
  window.coldshedTheme = { chosen, show };
  show();
})();
