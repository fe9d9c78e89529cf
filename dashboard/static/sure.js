// What is not meant lightly takes a second tap: in between its button asks.
"use strict";
(() => {
  const SURE_MS = 5000;

  // Whether it is meant; without a text nothing is asked.
  window.coldshedSure = (button, text) => {
    if (!text || button.dataset.sure) return true;
    const label = button.textContent;
    button.dataset.sure = "yes";
    button.textContent = text;
    setTimeout(() => {
      delete button.dataset.sure;
      button.textContent = label;
    }, SURE_MS);
    return false;
  };
})();
