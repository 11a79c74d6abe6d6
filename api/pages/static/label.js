/* The box of a part: dragged or set by its two corners with a finger or a mouse, moved by the arrow keys, typed as
   numbers. The number fields are what is sent; without this script they alone remain. */
"use strict";

const drawing = document.getElementById("drawing");
const fields = ["left", "top", "right", "bottom"].map((side) => document.getElementById(side));
const kind = document.getElementById("kind");
const REACH_PX = 24; // around a corner, so that a finger finds it
const STILL_PX = 6; // less is a tap, not a drag
let held = null; // what is dragged: the point it began at, and how the box follows
let corner = null; // the first of two tapped corners
let fresh = drawing.dataset.fresh === "yes"; // nobody drew this part yet, so the box there stands for nothing

drawing.addEventListener("pointerdown", grasp);
drawing.addEventListener("pointermove", (event) => held && follow(event));
drawing.addEventListener("pointerup", release);
drawing.addEventListener("pointercancel", () => (held = null));
drawing.addEventListener("keydown", nudge);
for (const field of fields) field.addEventListener("input", draw);
kind.addEventListener("change", fold);
fold();
draw();

/* Only the values of the chosen kind are asked. */
function fold() {
  for (const part of document.querySelectorAll("fieldset[data-kind]")) part.hidden = part.dataset.kind !== kind.value;
}

function box() {
  return fields.map((field) => Number(field.value) || 0);
}

function draw() {
  const [left, top, right, bottom] = box();
  const { width, height } = drawing.viewBox.baseVal;
  const set = (part, values) => Object.entries(values).forEach(([name, value]) => part.setAttribute(name, value));
  const at = { x: (left * width) / 100, y: (top * height) / 100 };
  const size = { width: Math.max(right - left, 0) * (width / 100), height: Math.max(bottom - top, 0) * (height / 100) };
  for (const id of ["rim", "box"]) set(document.getElementById(id), { ...at, ...size });
  for (const circle of drawing.querySelectorAll("[data-corner]")) {
    const [across, down] = circle.dataset.corner.split("-");
    set(circle, { cx: at.x + (across === "right" ? size.width : 0), cy: at.y + (down === "bottom" ? size.height : 0) });
  }
}

/* A box from any two corners, in percent of the photo and inside it. */
function place(one, other) {
  fresh = false;
  const sides = [0, 1].map((axis) => [one[axis], other[axis]].sort((a, b) => a - b));
  const whole = [sides[0][0], sides[1][0], sides[0][1], sides[1][1]];
  whole.forEach((value, n) => (fields[n].value = Math.min(Math.max(value, 0), 100).toFixed(1)));
  draw();
}

function point(event) {
  const { width, height } = drawing.viewBox.baseVal;
  const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(drawing.getScreenCTM().inverse());
  return [(100 * x) / width, (100 * y) / height];
}

/* A corner is dragged alone, the inside moves the box, anywhere else begins a new one. */
function grasp(event) {
  if (!event.isPrimary) return;
  event.preventDefault();
  drawing.focus({ preventScroll: true });
  drawing.setPointerCapture(event.pointerId);
  const [x, y] = point(event);
  const [left, top, right, bottom] = box();
  const { width, height } = drawing.viewBox.baseVal;
  const scale = drawing.getScreenCTM().a / 100;
  const near = (a, b) => Math.hypot((a - x) * width * scale, (b - y) * height * scale) <= REACH_PX;
  const corners = [[left, top, right, bottom], [right, top, left, bottom], [left, bottom, right, top], [right, bottom, left, top]];
  const found = corners.find(([a, b]) => near(a, b));
  const inside = left < x && x < right && top < y && y < bottom;
  held = { x: event.clientX, y: event.clientY, from: [x, y], before: box(), moved: false };
  held.anchor = fresh ? [x, y] : found ? found.slice(2) : inside ? null : [x, y];
}

function follow(event) {
  held.moved ||= Math.hypot(event.clientX - held.x, event.clientY - held.y) > STILL_PX;
  if (!held.moved) return;
  corner = null;
  const [x, y] = point(event);
  if (held.anchor) return place(held.anchor, [x, y]);
  shift(held.before, x - held.from[0], y - held.from[1]);
}

/* A tap sets a corner; the second one ends the box. */
function release(event) {
  if (!held) return;
  const { moved, from } = held;
  held = null;
  if (moved) return;
  if (corner) place(corner, from);
  corner = corner ? null : from;
}

function shift([left, top, right, bottom], across, down) {
  const x = Math.min(Math.max(across, -left), 100 - right);
  const y = Math.min(Math.max(down, -top), 100 - bottom);
  place([left + x, top + y], [right + x, bottom + y]);
}

function nudge(event) {
  const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (!step || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  const now = box();
  if (!event.shiftKey) return shift(now, ...step);
  place(now.slice(0, 2), [Math.max(now[2] + step[0], now[0] + 1), Math.max(now[3] + step[1], now[1] + 1)]);
}
