// Keeps a board in step: the server says that something changed, and the page fetches itself again.
// Without this file the page says when it was made, and "Look again" fetches it.
const held = document.querySelector("[data-events]");
let source = null;
let waiting = null;

const tellStep = (isIn) => {
  for (const line of document.querySelectorAll("[data-out-of-step]")) line.hidden = isIn;
};

// Not all screens in the same moment.
const refresh = () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => window.htmx && window.htmx.trigger(held, "news"), 100 + 300 * Math.random());
};

// Whoever walks through the board with keys stays at the same ticket.
let focused = "";
const keepFocus = () => {
  const place = held.contains(document.activeElement) && document.activeElement.closest("[id]");
  focused = place ? place.id : "";
};
const giveFocus = () => {
  const place = focused && document.getElementById(focused);
  const tap = place && place.querySelector("button, a.button, a");
  if (tap) tap.focus();
};

// A tap on its way when the board moved would hit another ticket's button: it is let fall.
const MOVED_MS = 500;
let movedAt = -MOVED_MS;
let taps = "";
const listTaps = () =>
  [...held.querySelectorAll("button, a.button")].map((tap) => `${tap.form ? tap.form.action : tap.href} ${tap.textContent}`).join();
const dropLateTap = (event) => {
  if (performance.now() - movedAt < MOVED_MS && event.target.closest("button")) event.preventDefault();
};

const open = () => {
  source = new EventSource(held.dataset.events);
  source.onopen = () => tellStep(true);
  source.onmessage = refresh;
  source.onerror = () => {
    tellStep(false);
    if (source.readyState === EventSource.CLOSED) setTimeout(() => source.readyState === EventSource.CLOSED && reopen(), 5000);
  };
};
const close = () => {
  if (source) source.close();
};
const reopen = () => {
  close();
  open();
};

// Minutes that glue still needs, beside the time of day.
const countDown = () => {
  for (const told of document.querySelectorAll("[data-until]")) {
    const minutes = Math.ceil((new Date(told.dataset.until) - Date.now()) / 60000);
    told.dataset.left = minutes > 0 ? `${minutes} min` : "now";
  }
};

if (held && window.EventSource) {
  open(); // a hidden page listens to nothing: browsers open only six connections to one server over plain http
  document.addEventListener("visibilitychange", () => (document.hidden ? close() : reopen()));
  window.addEventListener("pagehide", close);
  held.addEventListener("htmx:beforeSwap", () => {
    keepFocus();
    taps = listTaps();
  });
  held.addEventListener("htmx:afterSwap", () => {
    if (listTaps() !== taps) movedAt = performance.now();
    giveFocus();
    countDown();
  });
  held.addEventListener("click", dropLateTap, true);
  countDown();
  setInterval(countDown, 60000);
}
