// The steppers of a what-if: a tap changes the field at once, the page is asked for the rest; it works without this, too.
"use strict";
(() => {
  const form = document.getElementById("what-if");
  if (!form) return;
  const HALF_HOUR = 30, DAY = 1440;
  const least = document.getElementById("least");
  let asking = false, again = false;

  // Minutes of "21:30" or "2130"; NaN for anything else.
  const minutes = (text) => {
    const found = /^(\d\d?):?(\d\d)$/.exec(text.trim());
    return found ? Number(found[1]) * 60 + Number(found[2]) : NaN;
  };
  const clock = (minute) => {
    const of = ((minute % DAY) + DAY) % DAY;
    return `${String(Math.floor(of / 60)).padStart(2, "0")}:${String(of % 60).padStart(2, "0")}`;
  };

  const stepped = (field, sign) => {
    if (field.type === "number")
      return field.value === "" ? field.dataset.usual : String(Math.round((Number(field.value) + sign) * 10) / 10);
    if (minutes(field.value) >= 0) return clock(minutes(field.value) + sign * HALF_HOUR);
    return clock(Math.ceil((minutes(window.coldshed.clock(window.coldshed.now())) + 1) / 15) * 15);
  };

  const nameLeast = () => {
    const what = document.getElementById("if-until");
    least.textContent = least.dataset.text
      .replace("{what}", what.selectedOptions[0].textContent)
      .replace("{at}", document.getElementById("if-by").value);
  };

  // The newest state of the fields is what is asked, however fast the thumb; the address keeps it for the next poll.
  const ask = async (submitter) => {
    history.replaceState(null, "", `?${new URLSearchParams(new FormData(form, submitter))}`);
    again = true;
    if (asking) return;
    asking = true;
    while (again) {
      again = false;
      await window.coldshed.poll();
    }
    asking = false;
    const found = document.querySelector('[data-live="if"]');
    // The heat that was found, or as much of what was asked for as may be held.
    if (found.dataset.hold) document.getElementById("if-hold").value = found.dataset.hold;
    window.coldshed.speak(found.textContent.trim());
  };

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const button = event.submitter;
    if (button?.dataset.step) {
      const field = document.getElementById(button.dataset.of);
      field.value = stepped(field, Number(button.dataset.step));
      nameLeast();
      ask();
    } else ask(button);
  });
  form.addEventListener("change", () => {
    nameLeast();
    ask();
  });
})();
