// Turns the drawing of a ball by drag, arrow keys and buttons, from the same points in space as the still drawing.
// A page without this script keeps the still drawing. Loaded as a module, so only once however many balls a page has.

const SVG = "http://www.w3.org/2000/svg";
const CLOSED = new Set(["sleeve", "bore", "hole", "old", "plug", "notch", "dot", "axis-point", "pin", "mass-mark",
  "heavy-spot"]);
const STEP = Math.PI / 12;
const WAYS = {
  left: [-STEP, 0], right: [STEP, 0], up: [0, -STEP], down: [0, STEP],
  ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP],
};
const GLIDE_MS = 150;
const LETTER = 0.42;
const views = new WeakMap(); // a .turnable element: how its ball is turned

function viewOf(element) {
  if (!views.has(element)) {
    const drawing = JSON.parse(element.querySelector(".points").textContent);
    views.set(element, { drawing, right: 0, down: 0, svg: element.querySelector("svg"), said: element.querySelector("output") });
  }
  return views.get(element);
}

// A point after the ball was turned: to the right about the upright axis, then down about the level one.
function turn([x, y, z], view) {
  const c = Math.cos(view.right), s = Math.sin(view.right);
  const across = x * c + z * s, deep = z * c - x * s;
  const d = Math.cos(view.down), e = Math.sin(view.down);
  return [across, y * d - deep * e, y * e + deep * d];
}

// The point that was turned to this one.
function turnBack([x, y, z], view) {
  const d = Math.cos(view.down), e = Math.sin(view.down);
  const up = y * d + z * e, deep = z * d - y * e;
  const c = Math.cos(view.right), s = Math.sin(view.right);
  return [x * c - deep * s, up, deep * c + x * s];
}

const at = ([x, y]) => `${x.toFixed(3)} ${(-y).toFixed(3)}`;
const draw = (points) => "M" + points.map(at).join(" L");

function add(group, name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  group.append(made);
}

// Pieces of a line that lie on one side of the ball, cut where it goes over the edge.
function split(points) {
  const pieces = [];
  let piece = null;
  points.forEach((point, i) => {
    const isNear = point[2] >= 0;
    if (piece && piece.isNear === isNear) return piece.points.push(point);
    if (piece) {
      const before = points[i - 1], share = before[2] / (before[2] - point[2]);
      const edge = before.map((value, k) => value + (point[k] - value) * share);
      piece.points.push(edge);
      piece = { isNear, points: [edge, point] };
    } else piece = { isNear, points: [point] };
    pieces.push(piece);
  });
  return pieces;
}

function drawArrow(group, shape, [foot, tip]) {
  const across = tip[0] - foot[0], up = tip[1] - foot[1], size = Math.hypot(across, up);
  const kind = foot[2] < 0 ? "arrow far" : "arrow";
  const bare = Math.hypot(...shape.points[0].map((value, k) => value - shape.points[1][k])) < 1e-6;
  if (bare) return add(group, "path", { class: kind, d: `M${at(foot)} m-.12 0 h.24 m-.12 -.12 v.24` });
  const path = [draw([foot, tip])];
  if (size > 0.02) {
    const x = (0.12 * across) / size, y = (0.12 * up) / size;
    path.push(draw([[tip[0] - x - 0.6 * y, tip[1] - y + 0.6 * x], tip, [tip[0] - x + 0.6 * y, tip[1] - y - 0.6 * x]]));
  }
  add(group, "path", { class: kind, d: path.join(" ") });
}

function drawShape(group, shape, view) {
  const points = shape.points.map((point) => turn(point, view));
  if (!points.length) return;
  if (shape.kind === "arrow") return drawArrow(group, shape, points);
  const isClosed = CLOSED.has(shape.kind);
  if (isClosed && points.every((point) => point[2] >= 0)) {
    return add(group, "path", { class: shape.kind, d: draw(points) + " Z" });
  }
  for (const piece of split(isClosed ? [...points, points[0]] : points)) {
    const kind = `${shape.kind}${isClosed ? " open" : ""}${piece.isNear ? "" : " far"}`;
    if (piece.points.length > 1) add(group, "path", { class: kind, d: draw(piece.points) });
  }
}

// Names and figures stand above or below what they tell, further off where another stands already.
function drawName(group, name, view, taken) {
  const [x, y, z] = turn(name.at, view);
  if (z < 0.15 * view.drawing.radius) return;
  const isAbove = y > 0;
  let down = -y + (isAbove ? -name.reach - 0.12 : name.reach + 0.4);
  const across = Math.max(-3.4, Math.min(3.4, x)), half = 0.11 * name.text.length;
  const meets = (of) => Math.abs(of.across - across) < of.half + half && Math.abs(of.down - down) < LETTER;
  for (let i = 0; i < 9 && taken.some(meets); i++) down += isAbove ? -LETTER / 2 : LETTER / 2;
  taken.push({ across, down, half });
  add(group, "text", { x: across.toFixed(3), y: down.toFixed(3), "text-anchor": "middle" });
  for (const [text, size, dy] of name.runs) {
    add(group.lastChild, "tspan", { "font-size": size, ...(dy && { dy }) }, text);
  }
}

const degrees = (radians) => Math.round((radians * 180) / Math.PI);
function tell(view) {
  const right = degrees(view.right), down = degrees(view.down), said = [];
  if (right) said.push(`${Math.abs(right)}° to the ${right > 0 ? "right" : "left"}`);
  if (down) said.push(`${Math.abs(down)}° ${down > 0 ? "down" : "up"}`);
  view.said.textContent = said.length ? `Turned ${said.join(", ")}` : "";
}

function show(view) {
  const still = view.svg.querySelector(".still");
  view.svg.querySelector(".turned")?.remove();
  const isStraight = Math.abs(view.right) < 1e-9 && Math.abs(view.down) < 1e-9;
  if (isStraight) still.removeAttribute("display");
  else {
    still.setAttribute("display", "none");
    const group = document.createElementNS(SVG, "g");
    group.setAttribute("class", "turned");
    for (const shape of view.drawing.shapes) drawShape(group, shape, view);
    const taken = [];
    for (const name of view.drawing.names) drawName(group, name, view, taken);
    view.svg.append(group);
  }
  tell(view);
}

const clamp = (value) => Math.max(-Math.PI / 2, Math.min(Math.PI / 2, value));
const wrap = (value) => Math.atan2(Math.sin(value), Math.cos(value));
const isStillWanted = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

// Turns to where is asked for, gliding there unless the person wants no motion.
function glide(view, right, down) {
  cancelAnimationFrame(view.frame);
  const from = [view.right, view.down], to = [from[0] + wrap(right - from[0]), clamp(down)], begun = performance.now();
  view.aim = to;
  const step = (now) => {
    const share = isStillWanted() ? 1 : Math.max(0, Math.min(1, (now - begun) / GLIDE_MS));
    view.right = wrap(from[0] + (to[0] - from[0]) * share);
    view.down = from[1] + (to[1] - from[1]) * share;
    if (share === 1) view.aim = null;
    show(view);
    if (share < 1) view.frame = requestAnimationFrame(step);
  };
  step(isStillWanted() ? begun + GLIDE_MS : begun);
}

function turnBy(view, [right, down]) {
  const [fromRight, fromDown] = view.aim || [view.right, view.down];
  glide(view, fromRight + right, fromDown + down);
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-turn]");
  if (!button) return;
  const view = viewOf(button.closest(".turnable"));
  if (button.dataset.turn === "straight") glide(view, 0, 0);
  else turnBy(view, WAYS[button.dataset.turn]);
});

document.addEventListener("keydown", (event) => {
  const turnable = event.target.closest?.(".turnable");
  if (!turnable || event.ctrlKey || event.altKey || event.metaKey) return;
  const view = viewOf(turnable);
  if (WAYS[event.key]) turnBy(view, WAYS[event.key]);
  else if (event.key === "Escape" && (view.right || view.down)) glide(view, 0, 0);
  else return;
  event.preventDefault();
});

let held = null; // the drag that goes on
document.addEventListener("pointerdown", (event) => {
  const svg = event.target.closest?.(".turnable svg");
  if (!svg || event.button) return;
  const view = viewOf(svg.parentElement);
  cancelAnimationFrame(view.frame);
  view.aim = null;
  const box = svg.getBoundingClientRect(), seen = svg.viewBox.baseVal;
  const inchesAPixel = Math.max(seen.width / box.width, seen.height / box.height);
  held = { view, svg, id: event.pointerId, x: event.clientX, y: event.clientY, right: view.right, down: view.down,
    share: inchesAPixel / view.drawing.radius, isMoved: false };
});
document.addEventListener("pointermove", (event) => {
  if (!held || event.pointerId !== held.id) return;
  const across = event.clientX - held.x, down = event.clientY - held.y;
  if (!held.isMoved && Math.hypot(across, down) < 4) return;
  if (!held.isMoved) held.svg.setPointerCapture(held.id);
  held.isMoved = true;
  held.svg.parentElement.classList.add("is-held");
  held.view.right = wrap(held.right + across * held.share);
  held.view.down = clamp(held.down + down * held.share);
  show(held.view);
});

// A tap tells which place of the ball was meant: inches of arc along and across from the grip centre.
function tellPlace(svg, view, event) {
  const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const size = view.drawing.radius, deep = size * size - x * x - y * y;
  if (deep < 0) return;
  const [across, up, near] = turnBack([x, -y, Math.sqrt(deep)], view);
  const detail = { along: size * Math.atan2(up, near), across: size * Math.asin(Math.max(-1, Math.min(1, across / size))) };
  svg.dispatchEvent(new CustomEvent("place", { bubbles: true, detail }));
}

for (const end of ["pointerup", "pointercancel"]) {
  document.addEventListener(end, (event) => {
    if (!held || event.pointerId !== held.id) return;
    if (end === "pointerup" && !held.isMoved) tellPlace(held.svg, held.view, event);
    held.svg.parentElement.classList.remove("is-held");
    held = null;
  });
}
document.documentElement.classList.add("turns"); // shows the buttons
