// Runs before the first paint: no page flashes in the wrong light, and no tap is lost on a page whose scripts still come.
"use strict";
(() => {
  const root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const more = matchMedia("(prefers-contrast: more)");
  const kept = (key) => {
    try {
      return localStorage.getItem(key);
    } catch {
      return null; // storage is shut off: the device's own choice stands
    }
  };
  const show = () => {
    const theme = kept("theme");
    root.dataset.theme =
      theme && theme !== "auto" ? theme : more.matches ? "sun" : dark.matches ? "dark" : "light";
    root.dataset.hand = kept("hand") === "left" ? "left" : "right";
    dispatchEvent(new Event("themechange"));
  };
  dark.addEventListener("change", show);
  more.addEventListener("change", show);
  addEventListener("storage", show);
  window.coldshedTheme = { show };
  show();

  // A thumb may be faster than a slow network: the last button tapped before the scripts are there is tapped again then.
  let tapped = null;
  const keep = (event) => {
    tapped = event.target.closest("button") ?? tapped;
    if (event.target.closest("button")) event.preventDefault();
  };
  addEventListener("click", keep, true);
  document.addEventListener("DOMContentLoaded", () => {
    removeEventListener("click", keep, true);
    tapped?.click();
  });
})();
