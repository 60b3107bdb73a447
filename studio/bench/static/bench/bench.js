// The photo that was chosen is sent at once. Without this file each form has a button that says Send.
(() => {
  "use strict";
  const AGAIN_MS = 30000; // a lost connection must not leave a button dead
  document.documentElement.classList.add("scripted");

  const say = (form, word) => {
    const line = form.querySelector("[data-sending]");
    if (line) line.textContent = word ? line.dataset[word] : "";
    form.classList.toggle("sending", Boolean(word));
  };

  document.addEventListener("change", ({ target }) => {
    if (target.type !== "file" || !target.files.length) return;
    target.closest(".natch").querySelector("button").click();
  });

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.classList.contains("work")) return;
    if (form.dataset.sent) return event.preventDefault();
    form.dataset.sent = "yes";
    say(form, "sending");
    setTimeout(() => {
      delete form.dataset.sent;
      say(form, "slow");
    }, AGAIN_MS);
  });

  // A page that comes back from the browser's memory still has the id of what it sent: it needs a new one.
  addEventListener("pageshow", (event) => {
    if (event.persisted) location.reload();
  });
})();
