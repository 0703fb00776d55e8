// Places tapped on the drawing go into the fields of the mark that is chosen, the pin's and then the mass mark's. A page
// without this script has the fields.
const form = document.querySelector("form.places");
const told = document.getElementById("tap-for");
const WAYS = { along: ["fingers", "palm"], across: ["right", "left"] };

function ask(name) {
  form.elements.tapped.value = name;
  const mark = form.querySelector("[name=tapped]:checked")?.dataset.name;
  told.textContent = mark ? `Tap the ${mark} on the drawing. Turn the ball first if it lies on the far side.` : "";
  told.hidden = !name;
  (name ? told : form).scrollIntoView({ block: name ? "start" : "end" });
}

function fill(name, kind, value) {
  const field = form.elements[`${name}_${kind}`];
  field.value = String(Math.round(Math.abs(value) * 64) / 64); // a tap is no nearer than that
  form.elements[`${name}_${kind}_way`].value = WAYS[kind][value < 0 ? 1 : 0];
  field.dispatchEvent(new Event("change", { bubbles: true }));
}

form.addEventListener("change", (event) => event.target.name === "tapped" && ask(event.target.value));
document.addEventListener("place", (event) => {
  const name = form.elements.tapped.value;
  if (!name || told.hidden || !event.target.closest("#worked")) return;
  fill(name, "along", event.detail.along);
  fill(name, "across", event.detail.across);
  ask(name === "pin" && !form.elements.mark_along.value ? "mark" : "");
});
document.documentElement.classList.add("taps"); // shows what chooses the mark
