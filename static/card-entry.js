// A paper card is typed by keyboard: Enter goes to the next line and saves at the end, a number answers, W goes back to the line, Alt and a letter changes
// how the stack is written. Without this file Enter reads the lines back, and the buttons do the rest.
const card = document.querySelector("[data-card]");
const save = card?.querySelector("[value=save]");
const lines = card ? [...card.querySelectorAll("[data-line]")] : [];
const open = () => [...card.querySelectorAll(".question")].filter((each) => each.querySelector("input") && !each.querySelector(":checked"));

if (card && !card.querySelector("[autofocus]")) lines[0].focus();

// On a telephone the ways of writing are one line until it is opened.
const ways = document.querySelector("[data-ways]");
const narrow = matchMedia("(max-width: 43.99rem)");
const fold = () => { ways.open = !narrow.matches; };
if (ways) {
  fold();
  narrow.addEventListener("change", fold);
}

// What is typed is kept in this tab until its card is saved, so that it is there after a reload or on coming back. A page that answered a form becomes one that
// can be asked for again.
const keep = () => sessionStorage.setItem(`lines ${location.pathname}`, JSON.stringify(lines.map((line) => line.value)));
const saved = document.querySelector("[data-saved]");
if (saved) sessionStorage.removeItem(`lines ${saved.dataset.saved}`);
if (card) {
  history.replaceState(history.state, "", location.href);
  const texts = JSON.parse(sessionStorage.getItem(`lines ${location.pathname}`) || "[]");
  if (texts.some(Boolean) && !card.matches("[data-sent]")) {
    lines.forEach((line, at) => { line.value = texts[at]; });
    addEventListener("load", () => lines[0].dispatchEvent(new Event("input", { bubbles: true })));
  }
  card.addEventListener("input", keep);
}

function answer(radio) {
  radio.checked = true;
  const next = open()[0];
  (next ? next.querySelector("input") : save).focus();
}

function send(button) {
  card.elements.focus.value = document.activeElement?.id || "";
  card.requestSubmit(button);
}

document.addEventListener("keydown", (event) => {
  if (!card || event.ctrlKey || event.metaKey || event.repeat) return;
  const target = event.target;
  if (event.altKey) {
    const way = card.querySelector(`.way[data-key="${event.code.replace("Key", "")}"]`);
    if (!way) return;
    send(way);
  } else if (event.key === "Enter" && target.matches("[data-line]")) {
    const next = lines[lines.indexOf(target) + 1];
    if (next) next.focus();
    else send(save);
  } else if (event.key === "Enter" && target.matches("[type=radio]")) send(save);
  else if (/^[1-9]$/.test(event.key) && target.matches("[type=radio]")) {
    const choice = target.closest(".question").querySelectorAll("[type=radio]")[Number(event.key) - 1];
    if (choice) answer(choice);
  } else if (event.key.toLowerCase() === "w" && target.matches("[type=radio]")) target.closest(".card-line").querySelector("[data-line]").select();
  else return;
  event.preventDefault();
});

// While a line is read anew, its question keeps the focus, or it goes on to the next one.
let held = "";
document.addEventListener("htmx:oobBeforeSwap", () => {
  const at = document.activeElement;
  if (at?.closest?.(".reads")) held = at.name;
});
document.addEventListener("htmx:afterSettle", () => {
  if (held && !document.activeElement?.closest?.("[data-card]")) {
    const again = card.querySelector(`[name="${CSS.escape(held)}"]`) || open()[0]?.querySelector("input") || save;
    again.focus();
  }
  held = "";
});
