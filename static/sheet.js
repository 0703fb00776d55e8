// A visitors' set is typed like a sheet: arrow keys go from cell to cell, Ctrl+D copies the cell above, Enter takes the row in.
const sheet = document.querySelector("form.sheet");
const cells = [...sheet.querySelectorAll(".row-fields input, .row-fields select")];
const middle = (cell) => cell.getBoundingClientRect().left + cell.offsetWidth / 2;

// The cell of the next line up or down whose middle is nearest.
function findBeside(cell, way) {
  const top = cell.getBoundingClientRect().top;
  const beyond = cells.filter((each) => (each.getBoundingClientRect().top - top) * way > 20);
  const line = way * Math.min(...beyond.map((each) => way * each.getBoundingClientRect().top));
  const near = beyond.filter((each) => Math.abs(each.getBoundingClientRect().top - line) < 20);
  return near.sort((a, b) => Math.abs(middle(a) - middle(cell)) - Math.abs(middle(b) - middle(cell)))[0];
}

// The caret is at the end towards which the key points, so that arrows inside a text stay the text's own.
function isAtEdge(cell, key) {
  if (cell.tagName === "SELECT" || cell.type === "file") return true;
  if (cell.selectionStart === 0 && cell.selectionEnd === cell.value.length) return true;
  return cell.selectionStart === cell.selectionEnd && cell.selectionStart === (key === "ArrowLeft" ? 0 : cell.value.length);
}

function go(event, cell) {
  if (!cell) return;
  event.preventDefault();
  cell.focus();
  if (cell.select && cell.type !== "file") cell.select();
}

function copyDown(event, cell) {
  const above = [...document.querySelectorAll(`.sheet-row .cell[data-name="${cell.name}"]`)].pop();
  event.preventDefault();
  if (!above || cell.type === "file") return;
  cell.value = above.dataset.value;
  cell.dispatchEvent(new Event("change", { bubbles: true }));
}

// A row copied from a spreadsheet fills the cells from this one on; a choice is found by its words or the beginning of them.
sheet.addEventListener("paste", (event) => {
  const at = cells.indexOf(event.target);
  const text = event.clipboardData.getData("text/plain");
  if (at < 0 || !text.includes("\t")) return;
  event.preventDefault();
  for (const [n, part] of text.split(/\r?\n/)[0].split("\t").entries()) {
    const cell = cells[at + n];
    const words = part.trim().toLowerCase();
    if (!cell || cell.type === "file") break;
    if (cell.tagName !== "SELECT") cell.value = part.trim();
    else cell.value = words && [...cell.options].find((each) => each.text.trim().toLowerCase().startsWith(words))?.value || cell.value;
    cell.dispatchEvent(new Event("change", { bubbles: true }));
    cell.focus();
  }
});

sheet.addEventListener("keydown", (event) => {
  const cell = event.target;
  const at = cells.indexOf(cell);
  if (at < 0 || event.altKey || event.metaKey) return;
  if (event.ctrlKey) {
    if (event.key.toLowerCase() === "d") copyDown(event, cell);
  } else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
    if (isAtEdge(cell, event.key)) go(event, cells[at + (event.key === "ArrowRight" ? 1 : -1)]);
  } else if ((event.key === "ArrowUp" || event.key === "ArrowDown") && cell.tagName !== "SELECT") {
    go(event, findBeside(cell, event.key === "ArrowDown" ? 1 : -1));
  } else if (event.key === "Enter" && cell.tagName === "SELECT") {
    event.preventDefault();
    sheet.requestSubmit();
  }
});
