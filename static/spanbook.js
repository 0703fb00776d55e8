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

// A field that is read anew says what is wrong with its text as it is now: the refusal of the old one goes.
document.addEventListener("htmx:afterSwap", ({ detail: { target } }) => {
  const field = target.matches(".read-back") && document.getElementById(target.id.replace(/-read$/, ""));
  if (!field || !target.textContent.trim()) return;
  const old = field.parentElement.querySelector(":scope > .error");
  if (old?.contains(document.activeElement)) (target.querySelector("button.fill") || field).focus();
  old?.remove();
  if (target.querySelector(".error")) field.setAttribute("aria-invalid", "true");
  else field.removeAttribute("aria-invalid");
});

// What was typed before the scripts ran, or was brought back by the browser, is taken up as if it were typed now.
document.addEventListener("DOMContentLoaded", () => {
  for (const field of document.querySelectorAll("main :is(input:not([type=hidden], [type=file]), textarea)")) {
    const isChosen = field.type === "radio" || field.type === "checkbox";
    if (isChosen ? field.checked === field.defaultChecked || !field.checked : field.value === field.defaultValue) continue;
    for (const name of ["input", "change"]) field.dispatchEvent(new Event(name, { bubbles: true }));
  }
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

// Signed out meanwhile: a page with a form keeps what is typed, and the form can still be sent; any other leads to the sign-in.
document.addEventListener("htmx:beforeOnLoad", (event) => {
  const notice = document.querySelector(".signed-out");
  if (event.detail.xhr.status !== 401) notice.hidden = true;
  else if (document.querySelector("main form[method=post]")) notice.hidden = false;
  else location.href = `/sign-in?next=${encodeURIComponent(location.pathname + location.search)}`;
});

// At the bench the screen stays awake where the browser allows it (only over https or on this machine).
if (document.querySelector("[data-keep-awake]") && navigator.wakeLock) {
  const stayAwake = () => document.visibilityState === "visible" && navigator.wakeLock.request("screen").catch(() => {});
  document.addEventListener("visibilitychange", stayAwake);
  stayAwake();
}

// A tick is kept on this screen until the server has it. Sending it twice is safe: a step ticks once.
// A PIN is never kept: it is exchanged for a pass of the server's, and until then only this page remembers it.
const TICKS = "spanbook-ticks";
const withoutPin = (body) => {
  const fields = new URLSearchParams(body);
  fields.delete("pin");
  return fields.toString();
};
const keptTicks = () => JSON.parse(localStorage.getItem(TICKS) || "[]");
const keepTicks = (ticks) => {
  localStorage.setItem(TICKS, JSON.stringify(ticks.map((tick) => ({ ...tick, body: withoutPin(tick.body) }))));
};
const pins = new Map(); // address of a tick: the PIN it is signed with
if (window.localStorage && localStorage.getItem(TICKS)) keepTicks(keptTicks());

const post = async (url, body) => {
  try {
    return await fetch(url, { method: "POST", body, headers: { "Content-Type": "application/x-www-form-urlencoded" } });
  } catch {
    return { status: 503 };
  }
};

// Puts a pass into the kept tick in the place of the PIN; answers what the server said.
async function exchangePin(tick) {
  const fields = new URLSearchParams({ who: new URLSearchParams(tick.body).get("who"), pin: pins.get(tick.url) });
  const answer = await post(tick.url.replace(/steps\/\d+\/tick$/, "tick-passes"), fields.toString());
  if (answer.status !== 200) return answer;
  pins.delete(tick.url);
  const signed = new URLSearchParams(tick.body);
  signed.set("pass", (await answer.json()).pass);
  tick.body = signed.toString();
  keepTicks([tick, ...keptTicks().filter((other) => other.url !== tick.url)]);
  return answer;
}

function tellAtPin(form, message) {
  const notice = form.querySelector(".tick-refused");
  const field = form.querySelector("[name=pin]");
  field.closest("details")?.setAttribute("open", "");
  notice.textContent = message;
  notice.hidden = false;
  form.querySelector(".waiting-for-network").hidden = true;
  delete form.dataset.sent;
  field.value = "";
  field.focus();
}

// A tick refused while another drilling's bench is open waits, and is told, until its own bench is open.
const benchOf = (tick) => tick.url.replace(/\/steps\/.*/, "/bench");
function tellElsewhere(tick) {
  const notice = document.querySelector(".tick-elsewhere");
  if (!tick || !notice) return;
  notice.querySelector("a").href = benchOf(tick);
  notice.hidden = false;
}

// Why a tick waits: no network, or what the server says of its disk or database.
async function tellWait(notice, answer) {
  notice.dataset.words ||= notice.textContent;
  const page = answer.text && new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("h1");
  notice.textContent = page ? `${page.textContent} Kept on this screen, and sent again by itself until it is taken.` : notice.dataset.words;
  notice.hidden = false;
}

async function sendTicks() {
  const ticks = keptTicks();
  const first = ticks.find((tick) => !tick.isRefused || location.pathname === benchOf(tick));
  const rest = ticks.filter((tick) => tick !== first);
  const form = document.querySelector("form[data-tick]");
  const notice = document.querySelector(".waiting-for-network");
  if (!first) return tellElsewhere(ticks[0]);
  const isOwn = form && form.action.endsWith(first.url);
  const isHere = isOwn || location.pathname === benchOf(first);
  let answer = pins.has(first.url) ? await exchangePin(first) : { status: 200 };
  if (answer.status < 500 && answer.status >= 400 && answer.json && isOwn) {
    pins.delete(first.url);
    keepTicks(rest);
    const told = await answer.json().catch(() => null);
    if (told && told.message) return tellAtPin(form, told.message);
    return form.submit();
  }
  if (answer.status < 500) answer = await post(first.url, first.body);
  if (answer.status >= 500) {
    if (notice) await tellWait(notice, answer);
    setTimeout(sendTicks, 2000);
    return;
  }
  const isRefused = answer.status >= 400;
  keepTicks(isRefused && !isHere ? [...rest, { ...first, isRefused }] : rest);
  if (isRefused && isOwn) {
    for (const [name, value] of new URLSearchParams(first.body)) {
      const field = form.elements[name]; // after a reload what was typed is only in the kept tick
      if (field && field.type === "checkbox") field.checked = true;
      else if (field && name !== "key" && name !== "version") field.value = value;
    }
    form.removeAttribute("data-tick");
    form.submit(); // the server's own page says what is wrong, with the text kept
  } else if (isRefused && isHere) tellElsewhere(first);
  else if (isHere && !rest.length) location.href = answer.url;
  else sendTicks();
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("form[data-tick]") || !window.localStorage) return;
  event.preventDefault();
  const url = new URL(form.action).pathname;
  form.elements.until.value = event.submitter?.name === "only" ? event.submitter.value : ""; // a form sent by script has no button
  const fields = new FormData(form);
  if (fields.get("pin")) pins.set(url, fields.get("pin"));
  keepTicks([...keptTicks().filter((tick) => tick.url !== url), { url, body: new URLSearchParams(fields).toString() }]);
  sendTicks();
});
window.addEventListener("online", sendTicks);
if (document.querySelector(".bench")) sendTicks();

// At the bench: who signs is told on its button, the folds close one another, and a tap on "type" opens its field.
document.addEventListener("change", (event) => {
  const bar = event.target.closest(".bench-bar");
  if (!bar) return;
  if (event.target.name === "who") bar.querySelector(".signs b").textContent = event.target.parentElement.textContent.trim();
  if (event.target.value === "typed") bar.querySelector("[name=depth]").focus();
});
document.addEventListener("toggle", (event) => {
  if (!event.target.open || !event.target.matches(".bench-bar details")) return;
  for (const fold of document.querySelectorAll(".bench-bar details[open]")) if (fold !== event.target) fold.open = false;
}, true);

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
