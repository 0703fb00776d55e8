// Small comforts; every page works without this file.

// A proposed spelling fills its field, and the field is read again.
document.addEventListener("click", (event) => {
  const choice = event.target.closest("button.fill");
  const field = choice && document.getElementById(choice.dataset.fill);
  if (!field) return;
  field.value = choice.textContent.trim();
  field.dispatchEvent(new Event("change", { bubbles: true }));
  field.focus();
});

// Arrow keys walk from the search box through the rows found.
document.addEventListener("keydown", (event) => {
  if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
  const box = document.querySelector("[data-rows]");
  if (!box) return;
  const stops = [box, ...document.querySelectorAll(box.dataset.rows + " a.row")];
  const at = stops.indexOf(document.activeElement);
  const next = stops[at + (event.key === "ArrowDown" ? 1 : -1)];
  if (at < 0 || !next) return;
  event.preventDefault();
  next.focus();
});

// A form is sent once, however often its button is hit; a page brought back by the back button may send again.
document.addEventListener("submit", (event) => {
  if (event.target.dataset.sent) event.preventDefault();
  else if (event.target.method === "post") event.target.dataset.sent = "yes";
});
window.addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});
