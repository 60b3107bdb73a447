// Shows the Copy buttons, and copies the address beside each. Without this script the address can be selected by hand.
for (const button of document.querySelectorAll("[data-copy]")) {
  const field = document.getElementById(button.dataset.copy);
  const said = button.parentElement.querySelector("[role=status]");
  button.hidden = false;
  button.addEventListener("click", async () => {
    field.select();
    try {
      await navigator.clipboard.writeText(field.value);
      said.textContent = "Copied.";
    } catch {
      said.textContent = "It is marked. Copy it with your keyboard.";
    }
  });
}
