"use strict";
// Outlines are drawn, dragged and named here; the form sends them as one text. Coordinates are pixels of the photo.
const LEAST_PX = 20;
const RING_PX = 12;
const FINGER_PX = 22;
const FEW = 8;
const LETTER = 0.68; // width of a bold letter by its height
const SMALLEST_LETTERS = 10;
const LARGEST_FORM = 60000;
const SVG = "http://www.w3.org/2000/svg";
const form = document.getElementById("keep");
const svg = form.querySelector("svg");
const frame = form.querySelector(".frame");
const paper = form.querySelector(".paper");
const layer = document.getElementById("bags");
const list = document.getElementById("places");
const template = document.getElementById("row");
const [adder, undoer, order, smaller, larger] = ["add", "undo", "order", "smaller", "larger"].map((id) => document.getElementById(id));
const { width: WIDTH, height: HEIGHT } = svg.viewBox.baseVal;

let bags = JSON.parse(form.elements.outlines.value);
{
  const named = [...list.querySelectorAll("select")];
  bags = bags.map((corners, n) => ({ corners, code: named[n].value }));
}
let chosen = -1;
let adding = false;
let drag = null;
let zoom = 1;
let changed = "unkept" in form.dataset;
const past = [];

const say = (text) => { document.getElementById("said").textContent = text; };
const name = (n) => `Number ${n + 1}${bags[n].code ? `, bag ${bags[n].code}` : ""}`;
const between = (value, low, high) => Math.min(Math.max(value, low), high);
const tenth = (value) => Math.round(value * 10) / 10;
const count = (number, noun) => `${number} ${noun}${number === 1 ? "" : "s"}`;
const extent = (corners, axis) => Math.max(...corners.map((corner) => corner[axis])) - Math.min(...corners.map((corner) => corner[axis]));
const scale = () => WIDTH / (svg.getBoundingClientRect().width || WIDTH); // it has none while the page goes
const make = (parent, tag, attributes) => {
  const element = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return parent.appendChild(element);
};

const remember = () => {
  past.push(JSON.stringify(bags));
  changed = true;
  undoer.disabled = false;
};

// ---- what is shown

const place = (n) => {
  const { corners } = bags[n];
  const group = layer.children[n];
  const points = corners.map((corner) => corner.join(",")).join(" ");
  for (const polygon of group.querySelectorAll("polygon")) polygon.setAttribute("points", points);
  const full = bags[n].code ? `${n + 1} ${bags[n].code}` : `${n + 1}`;
  // What is written stays within its bag where it can be read so; else the number alone.
  const fit = extent(corners, 0) / scale() / (LETTER * full.length);
  const text = group.querySelector("text");
  text.textContent = fit < SMALLEST_LETTERS ? `${n + 1}` : full;
  text.setAttribute("x", corners.reduce((sum, [x]) => sum + x, 0) / corners.length);
  text.setAttribute("y", corners.reduce((sum, [, y]) => sum + y, 0) / corners.length);
  text.setAttribute("font-size", (fit < SMALLEST_LETTERS ? 17 : Math.min(fit, 17)) * scale());
  const sizes = { ring: RING_PX, dot: 2.5 };
  for (const circle of group.querySelectorAll("circle")) {
    const [x, y] = corners[circle.dataset.corner];
    circle.setAttribute("cx", x);
    circle.setAttribute("cy", y);
    circle.setAttribute("r", sizes[circle.classList[0]] * scale());
    if (circle.classList.contains("ring")) circle.setAttribute("aria-label", `${name(n)}, corner ${Number(circle.dataset.corner) + 1}`);
  }
};

const label = (n) => {
  const group = layer.children[n];
  group.querySelector(".line").setAttribute("aria-label", `${name(n)}, ${count(bags[n].corners.length, "corner")}`);
  place(n);
};

const handles = (n) => {
  const group = layer.children[n];
  for (const circle of group.querySelectorAll("circle")) circle.remove();
  const own = n === chosen;
  group.classList.toggle("chosen", own);
  list.children[n].classList.toggle("chosen", own);
  if (own) {
    bags[n].corners.forEach((_, corner) => {
      for (const kind of ["dot", "ring"]) {
        const circle = make(group, "circle", { class: kind, "data-corner": corner });
        if (kind === "ring") for (const [key, value] of [["tabindex", 0], ["role", "button"]]) circle.setAttribute(key, value);
      }
    });
  }
  place(n);
};

const choose = (n) => {
  if (n === chosen) return;
  const before = chosen;
  chosen = n;
  for (const one of [before, n]) if (one >= 0 && one < bags.length) handles(one);
};

const focusOn = (n, corner = null) => {
  const group = layer.children[n];
  if (!group) return;
  choose(n);
  (group.querySelector(corner === null ? ".line" : `.ring[data-corner="${corner}"]`)).focus({ preventScroll: drag !== null });
};

const nameOptions = () => {
  const where = new Map(bags.map(({ code }, n) => [code, n]));
  bags.forEach(({ code }, n) => {
    const select = list.children[n].querySelector("select");
    for (const option of select.options) {
      option.dataset.told ??= option.textContent;
      const there = option.value && option.value !== code ? where.get(option.value) : undefined;
      option.textContent = option.dataset.told + (there === undefined ? "" : `, now number ${there + 1}`);
    }
    select.value = code;
  });
};

const drawAll = () => {
  layer.replaceChildren();
  list.replaceChildren();
  chosen = Math.min(chosen, bags.length - 1);
  bags.forEach(({ corners }, n) => {
    const group = make(layer, "g", {});
    make(group, "polygon", { class: "casing" });
    make(group, "polygon", { class: "line", tabindex: 0, role: "button", "data-bag": n });
    make(group, "text", { "aria-hidden": true });
    const row = template.content.firstElementChild.cloneNode(true);
    row.querySelector(".said-number").remove();
    const show = row.querySelector(".show");
    show.textContent = n + 1;
    show.setAttribute("aria-label", `Go to number ${n + 1} on the photo`);
    row.querySelector("select").setAttribute("aria-label", `Bag at number ${n + 1}`);
    row.querySelector(".count").textContent = count(corners.length, "corner");
    row.querySelector(".fewer").disabled = corners.length <= FEW;
    for (const act of row.querySelectorAll(".fewer, .remove")) act.setAttribute("aria-label", `${act.textContent}, number ${n + 1}`);
    for (const hidden of row.querySelectorAll("[hidden]")) hidden.hidden = false;
    list.append(row);
    label(n);
    handles(n);
  });
  nameOptions();
};

// ---- what is changed

const move = (corners, dx, dy) => {
  const [xs, ys] = [0, 1].map((axis) => corners.map((corner) => corner[axis]));
  const x = between(dx, -Math.min(...xs), WIDTH - Math.max(...xs));
  const y = between(dy, -Math.min(...ys), HEIGHT - Math.max(...ys));
  return corners.map((corner) => [tenth(corner[0] + x), tenth(corner[1] + y)]);
};

const moveCorner = (corners, corner, dx, dy) => corners.map(([x, y], k) => (
  k === corner ? [tenth(between(x + dx, 0, WIDTH)), tenth(between(y + dy, 0, HEIGHT))] : [x, y]));

const removeBag = (n) => {
  remember();
  const gone = name(n);
  bags.splice(n, 1);
  chosen = -1;
  drawAll();
  say(`${gone} removed${n < bags.length ? "; the numbers after it moved up" : ""}.`);
};

const removeCorner = (n, corner) => {
  if (bags[n].corners.length <= 3) return say("An outline has three corners at least.");
  remember();
  bags[n].corners.splice(corner, 1);
  drawAll();
  focusOn(n, Math.min(corner, bags[n].corners.length - 1));
  say(`${name(n)}: a corner removed, ${bags[n].corners.length} are left.`);
};

const fewer = (n) => {
  remember();
  const { corners } = bags[n];
  // Again and again the corner goes that changes the area least.
  const cost = (k) => {
    const [[ax, ay], [bx, by], [cx, cy]] = [-1, 0, 1].map((step) => corners[(k + step + corners.length) % corners.length]);
    return Math.abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay));
  };
  while (corners.length > FEW) {
    const costs = corners.map((_, k) => cost(k));
    corners.splice(costs.indexOf(Math.min(...costs)), 1);
  }
  choose(n);
  drawAll();
  list.children[n].querySelector(".show").focus();
  say(`${name(n)}: ${FEW} corners now.`);
};

const addBox = (left, top, right, bottom) => {
  remember();
  bags.push({ corners: [[left, top], [right, top], [right, bottom], [left, bottom]].map((corner) => corner.map(tenth)), code: "" });
  drawAll();
  focusOn(bags.length - 1);
  say(`Number ${bags.length} added. Say which bag it is in the list.`);
};

const addInMiddle = () => {
  const seen = frame.getBoundingClientRect();
  const [left, top] = toPhoto({ clientX: seen.left, clientY: seen.top });
  const [right, bottom] = toPhoto({ clientX: seen.right, clientY: seen.bottom });
  const [x, y] = [(Math.max(left, 0) + Math.min(right, WIDTH)) / 2, (Math.max(top, 0) + Math.min(bottom, HEIGHT)) / 2];
  const half = Math.max(LEAST_PX, Math.min(right - left, WIDTH) / 12);
  addBox(between(x - half, 0, WIDTH), between(y - half, 0, HEIGHT), between(x + half, 0, WIDTH), between(y + half, 0, HEIGHT));
};

const setAdding = (on) => {
  adding = on;
  adder.setAttribute("aria-pressed", on);
  svg.classList.toggle("adding", on);
  if (on) say("Draw a box over the bag: press at one corner of it and drag to the opposite one. Esc ends it.");
};

const undo = () => {
  if (!past.length) return;
  bags = JSON.parse(past.pop());
  undoer.disabled = !past.length;
  changed = past.length > 0 || "unkept" in form.dataset;
  drawAll();
  say("Taken back.");
};

// ---- keys

const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
svg.addEventListener("focusin", (event) => {
  if (event.target.dataset.bag !== undefined) choose(Number(event.target.dataset.bag));
});
svg.addEventListener("keydown", (event) => {
  const { bag, corner } = event.target.dataset;
  if (bag === undefined && corner === undefined) return;
  const at = corner === undefined ? null : Number(corner);
  if (event.key in STEPS) {
    if (!event.repeat) remember();
    const [dx, dy] = STEPS[event.key].map((step) => step * (event.shiftKey ? 10 : 1));
    const { corners } = bags[chosen];
    bags[chosen].corners = at === null ? move(corners, dx, dy) : moveCorner(corners, at, dx, dy);
    place(chosen);
    say(`${name(chosen)}${at === null ? "" : `, corner ${at + 1}`}: ${bags[chosen].corners[at ?? 0].join(", ")}.`);
  } else if (event.key === "Delete" || event.key === "Backspace") {
    if (at === null) {
      const n = chosen;
      removeBag(n);
      if (bags.length) focusOn(Math.min(n, bags.length - 1)); else adder.focus();
    } else removeCorner(chosen, at);
  } else if (event.key === "Escape" && at !== null) focusOn(chosen);
  else return;
  event.preventDefault();
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && adding) setAdding(false);
  if (event.key.toLowerCase() !== "z" || !(event.ctrlKey || event.metaKey) || event.shiftKey) return;
  if (event.target.closest("input")) return;
  event.preventDefault();
  undo();
});

// ---- mouse, touch, pen

function toPhoto({ clientX, clientY }) {
  const box = svg.getBoundingClientRect();
  return [((clientX - box.left) / box.width) * WIDTH, ((clientY - box.top) / box.height) * HEIGHT];
}

const holds = (corners, [x, y]) => {
  let inside = false;
  corners.forEach(([ax, ay], k) => {
    const [bx, by] = corners[(k || corners.length) - 1];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  });
  return inside;
};

const bagAt = (point) => (chosen >= 0 && holds(bags[chosen].corners, point)
  ? chosen : bags.findIndex(({ corners }) => holds(corners, point)));

const cornerAt = ([x, y], finger) => {
  if (chosen < 0) return null;
  const { corners } = bags[chosen];
  const far = corners.map(([cx, cy]) => Math.hypot(cx - x, cy - y));
  // The middle of a small bag is for moving it, and for the corners there is what is around it.
  const side = Math.min(...[0, 1].map((axis) => extent(corners, axis))) / scale();
  const within = holds(corners, [x, y]) ? Math.max(RING_PX, side / 4) : FINGER_PX;
  const reach = finger ? Math.min(FINGER_PX, within) : RING_PX;
  const nearest = Math.min(...far);
  return nearest <= reach * scale() ? far.indexOf(nearest) : null;
};

svg.addEventListener("pointerdown", (event) => {
  if (!event.isPrimary || event.button) return;
  const point = toPhoto(event);
  const mouse = event.pointerType === "mouse";
  if (adding) drag = { point, box: make(svg, "rect", { class: "box" }) };
  else {
    const corner = cornerAt(point, !mouse);
    const n = corner === null ? bagAt(point) : chosen;
    // A finger on a bag that isn't chosen may want to scroll: it chooses by a tap, below.
    if (n < 0 || (n !== chosen && !mouse)) return;
    drag = { point, corner, corners: bags[n].corners, moved: false };
    focusOn(n, corner);
  }
  svg.setPointerCapture(event.pointerId);
  event.preventDefault();
});

// What a finger drags doesn't scroll. Not by touch-action: on parts of a drawing it isn't heeded everywhere.
svg.addEventListener("touchmove", (event) => { if (drag) event.preventDefault(); }, { passive: false });

svg.addEventListener("pointermove", (event) => {
  if (!drag) return;
  const point = toPhoto(event);
  const [dx, dy] = [point[0] - drag.point[0], point[1] - drag.point[1]];
  if (drag.box) {
    const [x, y] = [Math.min(point[0], drag.point[0]), Math.min(point[1], drag.point[1])];
    for (const [key, value] of Object.entries({ x, y, width: Math.abs(dx), height: Math.abs(dy) })) drag.box.setAttribute(key, value);
    return;
  }
  if (!drag.moved && Math.hypot(dx, dy) < 3 * scale()) return;
  if (!drag.moved) remember();
  drag.moved = true;
  bags[chosen].corners = drag.corner === null ? move(drag.corners, dx, dy) : moveCorner(drag.corners, drag.corner, dx, dy);
  place(chosen);
});

const drop = (event) => {
  if (!drag) return;
  const { box, point, corner, moved } = drag;
  drag = null;
  if (box) {
    box.remove();
    if (event.type === "pointercancel") return;
    const end = toPhoto(event);
    const [left, right] = [point[0], end[0]].map((x) => between(x, 0, WIDTH)).sort((a, b) => a - b);
    const [top, bottom] = [point[1], end[1]].map((y) => between(y, 0, HEIGHT)).sort((a, b) => a - b);
    if (Math.min(right - left, bottom - top) < LEAST_PX) return say("That box is too small: press and drag over the whole bag.");
    setAdding(false);
    addBox(left, top, right, bottom);
  } else if (moved && event.type === "pointercancel") undo();
  else if (moved) say(`${name(chosen)}: ${corner === null ? "moved" : `corner ${corner + 1} moved to ${bags[chosen].corners[corner].join(", ")}`}.`);
};
svg.addEventListener("pointerup", drop);
svg.addEventListener("pointercancel", drop);
svg.addEventListener("click", (event) => {
  const n = bagAt(toPhoto(event));
  if (!adding && n >= 0 && n !== chosen) focusOn(n);
});

// ---- the list and the buttons

const rowOf = (element) => [...list.children].indexOf(element.closest(".place"));
list.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const n = rowOf(button);
  if (button.classList.contains("show")) focusOn(n);
  else if (button.classList.contains("fewer")) fewer(n);
  else {
    removeBag(n);
    (list.children[Math.min(n, bags.length - 1)]?.querySelector(".remove") ?? adder).focus();
  }
});
list.addEventListener("change", (event) => {
  const n = rowOf(event.target);
  const code = event.target.value;
  const other = code ? bags.findIndex((bag) => bag.code === code) : -1;
  remember();
  if (other >= 0) bags[other].code = bags[n].code;
  bags[n].code = code;
  for (const one of [n, other]) if (one >= 0) label(one);
  nameOptions();
  say(`Number ${n + 1} is ${code ? `bag ${code}` : "no bag"}.${other >= 0 ? ` Number ${other + 1} is ${bags[other].code ? `bag ${bags[other].code}` : "no bag"} now.` : ""}`);
});
// By key or by a screen reader the box comes to the middle of what is seen; by hand it is drawn.
adder.addEventListener("click", (event) => (event.detail ? setAdding(!adding) : addInMiddle()));
undoer.addEventListener("click", undo);
order.addEventListener("click", () => {
  remember();
  const codes = JSON.parse(order.dataset.order);
  bags.forEach((bag, n) => { bag.code = codes[n] ?? ""; });
  bags.forEach((_, n) => label(n));
  nameOptions();
  say(`${count(Math.min(bags.length, codes.length), "number")} named; bags.csv has ${count(codes.length, "bag")} for ${bags.length} numbers.`);
});

const zoomTo = (wanted) => {
  const middle = [(frame.scrollLeft + frame.clientWidth / 2) / zoom, (frame.scrollTop + frame.clientHeight / 2) / zoom];
  zoom = between(wanted, 1, 4);
  paper.style.width = `${zoom * 100}%`;
  frame.scrollTo(middle[0] * zoom - frame.clientWidth / 2, middle[1] * zoom - frame.clientHeight / 2);
  smaller.disabled = zoom === 1;
  larger.disabled = zoom === 4;
};
smaller.addEventListener("click", () => zoomTo(zoom / 2));
larger.addEventListener("click", () => zoomTo(zoom * 2));
new ResizeObserver(() => bags.forEach((_, n) => place(n))).observe(svg);

form.addEventListener("submit", (event) => {
  form.elements.outlines.value = JSON.stringify(bags.map(({ corners }) => corners));
  if (new URLSearchParams(new FormData(form)).toString().length > LARGEST_FORM) {
    event.preventDefault();
    say("That is more than one map can hold: give the bags fewer corners.");
    return;
  }
  changed = false;
});
window.addEventListener("beforeunload", (event) => { if (changed) event.preventDefault(); });

for (const hidden of form.querySelectorAll(".tools, .help")) hidden.hidden = false;
drawAll();
