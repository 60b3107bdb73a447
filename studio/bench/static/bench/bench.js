// The photo that was chosen is sent at once. Without this file each form has a button that says Send.
(() => {
  "use strict";
  const AGAIN_MS = 30000; // a lost connection must not leave a button dead
  const MOST_FILES = 20, MOST_BYTES = 60e6, MOST_BYTES_IN_ALL = 299e6; // of 300 MB the words of a form take some
  document.documentElement.classList.add("scripted");

  const say = (form, word) => {
    const line = form.querySelector("[data-sending]");
    if (line) line.textContent = word ? line.dataset[word] : "";
    form.classList.toggle("sending", word === "sending" || word === "slow");
  };

  const tooMuch = (inputs) => {
    const sizes = inputs.flatMap((input) => Array.from(input.files, (file) => file.size));
    const sum = sizes.reduce((all, size) => all + size, 0);
    return sizes.length > MOST_FILES || sum > MOST_BYTES_IN_ALL || sizes.some((size) => size > MOST_BYTES);
  };

  document.addEventListener("change", ({ target }) => {
    if (target.type !== "file" || !target.files.length) return;
    target.closest(".natch")?.querySelector("button").click(); // where a photo alone says it all
  });

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.classList.contains("work")) return;
    if (form.dataset.sent) return event.preventDefault();
    const inputs = [...form.querySelectorAll("input[type=file]")];
    if (tooMuch(inputs)) {
      for (const input of inputs) input.value = ""; // so that choosing the same again is a change
      say(form, "tooMuch");
      return event.preventDefault();
    }
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
