// A route's steps are moved on the screen: by their arrows, without loading the page again, or by dragging a row's grip.
const list = document.querySelector(".route-rows");
const said = document.getElementById("route-said");

function renumber(row) {
  const rows = [...list.children];
  rows.forEach((each, at) => {
    each.querySelector("[name^=place-]").value = 10 * (at + 1);
    const [up, down] = each.querySelectorAll("[name=move]");
    up.disabled = at === 0;
    down.disabled = at === rows.length - 1;
  });
  said.textContent = `${row.querySelector(".keep").innerText}: place ${rows.indexOf(row) + 1}`;
}

list.addEventListener("click", (event) => {
  const button = event.target.closest("[name=move]");
  if (!button) return;
  event.preventDefault();
  const row = button.closest("li");
  if (button.value.startsWith("up-") && row.previousElementSibling) row.previousElementSibling.before(row);
  else if (button.value.startsWith("down-") && row.nextElementSibling) row.nextElementSibling.after(row);
  renumber(row);
  (button.disabled ? row.querySelector("[name=move]:enabled") : button).focus();
});

let dragged = null;
list.addEventListener("pointerdown", (event) => {
  if (!event.target.closest(".grip")) return;
  dragged = event.target.closest("li");
  dragged.classList.add("dragged");
  list.setPointerCapture(event.pointerId);
  event.preventDefault();
});
list.addEventListener("pointermove", (event) => {
  if (!dragged) return;
  const over = [...list.children].find((row) => {
    const box = row.getBoundingClientRect();
    return row !== dragged && event.clientY > box.top && event.clientY < box.bottom;
  });
  if (!over) return;
  const box = over.getBoundingClientRect();
  const isBelow = dragged.compareDocumentPosition(over) & Node.DOCUMENT_POSITION_FOLLOWING;
  if (isBelow && event.clientY > box.top + box.height / 2) over.after(dragged);
  else if (!isBelow && event.clientY < box.top + box.height / 2) over.before(dragged);
});
for (const ending of ["pointerup", "pointercancel"]) {
  list.addEventListener(ending, () => {
    if (!dragged) return;
    dragged.classList.remove("dragged");
    renumber(dragged);
    dragged = null;
  });
}
