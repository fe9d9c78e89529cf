// Of many panels shows those whose name holds what is typed. Enter opens the panel if only one is left.
"use strict";
(() => {
  const field = document.getElementById("find");
  const none = document.getElementById("find-none");
  const found = () => [...document.querySelectorAll(".strips > .strip:not([hidden])")];
  const show = () => {
    const wanted = field.value.trim().toLowerCase();
    for (const strip of document.querySelectorAll(".strips > .strip"))
      strip.hidden = !strip.dataset.name.split(" · ")[0].toLowerCase().includes(wanted);
    none.hidden = found().length > 0;
  };
  field.addEventListener("input", show);
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && found().length === 1) found()[0].querySelector(".open").click();
  });
  addEventListener("polled", show); // a strip that was renewed in its place is whole again
  show();
})();
