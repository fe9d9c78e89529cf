// A picture goes up as it is; its bytes are the request.
"use strict";
(() => {
  const { send, newId, leave } = window.coldshedLog;
  for (const form of document.querySelectorAll("form[data-photo]"))
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = event.submitter;
      const problem = form.querySelector(".problem");
      const label = button.textContent;
      if (label === document.body.dataset.sending) return;
      problem.hidden = true;
      form.dataset.id ??= newId();
      button.textContent = document.body.dataset.sending;
      const picture = form.querySelector("input[type=file]").files[0];
      try {
        const answer = await send(`${form.dataset.photo}/${form.dataset.id}`, null, { picture });
        leave(form.dataset.then, { answer, panel: "" });
      } catch (error) {
        button.textContent = label;
        problem.textContent = error.message;
        problem.hidden = false;
      }
    });
})();
