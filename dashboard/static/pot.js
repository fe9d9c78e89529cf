// The pot's minutes, counted down by the shop's clock; the page itself, and its poll, say the rest.
"use strict";
(() => {
  const MINUTE_MS = 60000;
  setInterval(() => {
    const count = document.getElementById("count");
    if (!count) return;
    const left = Math.max(0, Math.floor((Number(count.dataset.until) - window.coldshed.now()) / MINUTE_MS));
    const text = count.dataset.unit.replace("{n}", left);
    if (count.textContent !== text) count.textContent = text;
  }, 250);
})();
