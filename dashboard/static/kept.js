// Where a browser allows it (on this computer itself, or over TLS) a worker keeps the pages seen last.
"use strict";
(() => {
  // The page shown when one was not kept: as soon as the shop answers, the page that was asked for.
  if (document.getElementById("not-kept")) addEventListener("polled", () => location.reload());

  const begin = () =>
    navigator.serviceWorker
      .register("/worker.js", { updateViaCache: "none" })
      .catch(() => undefined); // storage is shut off, or the shop is not there: the page works as without it
  if (navigator.serviceWorker) addEventListener("load", begin);
})();
