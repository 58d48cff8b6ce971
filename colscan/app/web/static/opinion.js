"use strict";
// A number by slider or keyboard; or a painting of three marks, sent as two bits each.
const [BARE, COVERED, HIDDEN] = [0, 1, 2];
const COLOURS = { [COVERED]: [255, 255, 255, 255], [HIDDEN]: [230, 30, 30, 255] };
const MOST_STEPS_BACK = 40;
const byId = (id) => document.getElementById(id);
const form = byId("opinion");

function joinNumberAndSlider() {
  const pct = byId("pct");
  const slider = byId("slider");
  slider.hidden = false;
  slider.addEventListener("input", () => { pct.value = slider.value; });
  pct.addEventListener("input", () => { if (pct.value !== "") slider.value = pct.value; });
}

class Painting {
  constructor(canvas, polygon, onChange) {
    this.canvas = canvas;
    this.width = canvas.width;
    this.height = canvas.height;
    this.context = canvas.getContext("2d");
    this.marks = new Uint8Array(this.width * this.height);
    this.before = [];
    this.face = this.fill(polygon);
    this.onChange = onChange;
  }

  // Which marks lie within the outline: the polygon is in px of the picture, from the middle of its first.
  fill(polygon) {
    const box = polygon.ownerSVGElement.viewBox.baseVal;
    const drawn = new OffscreenCanvas(this.width, this.height).getContext("2d");
    drawn.beginPath();
    for (const point of polygon.points) {
      drawn.lineTo((point.x - box.x) * this.width / box.width, (point.y - box.y) * this.height / box.height);
    }
    drawn.fill();
    const alpha = drawn.getImageData(0, 0, this.width, this.height).data;
    return Uint8Array.from(this.marks, (_, at) => alpha[4 * at + 3] > 127);
  }

  begin() {
    this.before.push(this.marks.slice());
    if (this.before.length > MOST_STEPS_BACK) this.before.shift();
  }

  undo() {
    if (this.before.length) this.marks = this.before.pop();
    this.draw();
  }

  // A round brush drawn from one place to another, both in marks.
  stroke(from, to, radius, mark) {
    const steps = Math.max(1, Math.ceil(Math.hypot(to.x - from.x, to.y - from.y) / Math.max(1, radius / 2)));
    for (let step = 0; step <= steps; step += 1) {
      const x = from.x + (to.x - from.x) * step / steps;
      const y = from.y + (to.y - from.y) * step / steps;
      this.dab(x, y, radius, mark);
    }
    this.draw();
  }

  dab(x, y, radius, mark) {
    const top = Math.max(0, Math.floor(y - radius));
    const bottom = Math.min(this.height - 1, Math.ceil(y + radius));
    for (let row = top; row <= bottom; row += 1) {
      const half = Math.sqrt(Math.max(0, radius ** 2 - (row + 0.5 - y) ** 2));
      const left = Math.max(0, Math.round(x - half));
      const right = Math.min(this.width, Math.round(x + half));
      if (right > left) this.marks.fill(mark, row * this.width + left, row * this.width + right);
    }
  }

  draw() {
    const image = this.context.createImageData(this.width, this.height);
    this.marks.forEach((mark, at) => { if (mark) image.data.set(COLOURS[mark], 4 * at); });
    this.context.putImageData(image, 0, 0);
    this.onChange();
  }

  // The share of what is seen of the face; null when all of it is hidden.
  share() {
    const counts = [0, 0, 0];
    this.face.forEach((within, at) => { if (within) counts[this.marks[at]] += 1; });
    const seen = counts[BARE] + counts[COVERED];
    return seen ? counts[COVERED] / seen : null;
  }

  packed() {
    const bytes = new Uint8Array(Math.ceil(this.marks.length / 4));
    this.marks.forEach((mark, at) => { bytes[at >> 2] |= mark << (6 - 2 * (at & 3)); });
    let text = "";
    for (const byte of bytes) text += String.fromCharCode(byte);
    return btoa(text).replaceAll("+", "-").replaceAll("/", "_");
  }
}

function letPaint(canvas) {
  const tools = byId("tools");
  const begin = byId("begin");
  const painting = new Painting(canvas, document.querySelector(".crop.face .line"), () => {
    const share = painting.share();
    const empty = !painting.before.length;
    byId("undo").disabled = byId("clear").disabled = empty;
    byId("send").disabled = empty || share === null;
    byId("painted").textContent = share === null ? "All of the face is hidden." : `Painted: ${(100 * share).toFixed(0)} % of what you see.`;
  });
  begin.hidden = false;
  begin.addEventListener("click", () => {
    canvas.hidden = tools.hidden = !tools.hidden;
    byId("number").hidden = !tools.hidden;
    begin.setAttribute("aria-expanded", String(!tools.hidden));
    begin.textContent = tools.hidden ? "Paint it instead" : "Give a number instead";
  });
  const through = byId("through");
  const seeThrough = () => { canvas.style.opacity = String(1 - through.value / 100); };
  through.addEventListener("input", seeThrough);
  seeThrough();
  followPointer(canvas, painting);
  byId("undo").addEventListener("click", () => painting.undo());
  byId("clear").addEventListener("click", () => {
    painting.begin();
    painting.marks.fill(BARE);
    painting.draw();
  });
  form.addEventListener("submit", (event) => {
    form.elements.marks.value = event.submitter === byId("send") ? painting.packed() : "";
  });
}

function followPointer(canvas, painting) {
  let last = null;
  let pointer = null;
  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    return { x: (event.clientX - box.left) * painting.width / box.width, y: (event.clientY - box.top) * painting.height / box.height };
  };
  const paintTo = (event) => {
    const to = place(event);
    painting.stroke(last ?? to, to, Number(byId("size").value) / 2, Number(form.elements.brush.value));
    last = to;
  };
  canvas.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || pointer !== null) return;
    pointer = event.pointerId;
    canvas.setPointerCapture(pointer);
    painting.begin();
    paintTo(event);
  });
  canvas.addEventListener("pointermove", (event) => { if (event.pointerId === pointer) paintTo(event); });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, (event) => { if (event.pointerId === pointer) last = pointer = null; });
  }
}

if (form) {
  joinNumberAndSlider();
  if (byId("canvas")) letPaint(byId("canvas"));
}
