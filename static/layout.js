// A place tapped on the drawing goes into the fields of the mark that is chosen. A page without this script has the fields.
const form = document.querySelector("form.places");
const WAYS = { along: ["fingers", "palm"], across: ["right", "left"] };

function fill(name, kind, value) {
  const field = form.elements[`${name}_${kind}`];
  const size = Math.round(Math.abs(value) * 64) / 64; // a tap is no nearer than that
  field.value = String(size);
  form.elements[`${name}_${kind}_way`].value = WAYS[kind][value < 0 ? 1 : 0];
  field.dispatchEvent(new Event("change", { bubbles: true }));
}

document.addEventListener("place", (event) => {
  const name = form?.elements.tapped.value;
  if (!name || !event.target.closest("#worked")) return;
  fill(name, "along", event.detail.along);
  fill(name, "across", event.detail.across);
});
document.documentElement.classList.add("taps"); // shows what chooses the mark
