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

// At the bench the screen stays awake where the browser allows it (only over https or on this machine).
if (document.querySelector("[data-keep-awake]") && navigator.wakeLock) {
  const stayAwake = () => document.visibilityState === "visible" && navigator.wakeLock.request("screen").catch(() => {});
  document.addEventListener("visibilitychange", stayAwake);
  stayAwake();
}

// A tick is kept on this screen until the server has it. Sending it twice is safe: a step ticks once.
const TICKS = "spanbook-ticks";
const keptTicks = () => JSON.parse(localStorage.getItem(TICKS) || "[]");
const keepTicks = (ticks) => localStorage.setItem(TICKS, JSON.stringify(ticks));

async function sendTicks() {
  const [first, ...rest] = keptTicks();
  const form = document.querySelector("form[data-tick]");
  const notice = document.querySelector(".waiting-for-network");
  if (!first) return;
  let answer;
  try {
    const headers = { "Content-Type": "application/x-www-form-urlencoded" };
    answer = await fetch(first.url, { method: "POST", body: first.body, headers });
  } catch {
    answer = { status: 503 };
  }
  if (answer.status >= 500) {
    if (notice) notice.hidden = false;
    setTimeout(sendTicks, 2000);
    return;
  }
  keepTicks(rest);
  if (answer.status >= 400 && form && form.action.endsWith(first.url)) {
    form.removeAttribute("data-tick");
    form.submit(); // the server's own page says what is wrong, with the text kept
  } else if (rest.length) sendTicks();
  else if (form || answer.status < 400) location.href = answer.url;
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("form[data-tick]") || !window.localStorage) return;
  event.preventDefault();
  const url = new URL(form.action).pathname;
  const body = new URLSearchParams(new FormData(form)).toString();
  keepTicks([...keptTicks().filter((tick) => tick.url !== url), { url, body }]);
  sendTicks();
});
window.addEventListener("online", sendTicks);
if (document.querySelector(".bench")) sendTicks();

// A reading that appears while a button is pressed may push it from under the thumb: the press still counts.
let press = null;
document.addEventListener("pointerdown", (event) => {
  const button = event.target.closest("button.main");
  press = button && { button, x: event.clientX, y: event.clientY };
});
document.addEventListener("click", (event) => {
  if (press && event.target.closest("button.main") === press.button) press = null;
}, true);
document.addEventListener("pointerup", (event) => {
  const begun = press;
  if (!begun || Math.hypot(event.clientX - begun.x, event.clientY - begun.y) > 12) return;
  setTimeout(() => {
    if (press === begun && begun.button.isConnected) begun.button.click();
  }, 80);
});
