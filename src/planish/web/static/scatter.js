// A front as a picture: points over two aims, told apart by shape, named at the ends and the knee, each a button.

import { el } from "./chart.js";
import { tickText, ticks } from "./ticks.js";

const ROOM = 0.07; // of an axis, beyond the outermost point
// What a point is decides its shape, so that nothing hangs on colour.
const SHAPES = {
  start: (r) => `M${-r} ${-r}L${r} ${r}M${-r} ${r}L${r} ${-r}`,
  knee: (r) => `M0 ${-1.35 * r}L${1.35 * r} 0L0 ${1.35 * r}L${-1.35 * r} 0Z`,
  end: (r) => `M${-r} ${-r}H${r}V${r}H${-r}Z`,
  front: (r) => `M${-r} 0A${r} ${r} 0 1 0 ${r} 0A${r} ${r} 0 1 0 ${-r} 0Z`,
};
const SIZES = { start: 0.42, knee: 0.46, end: 0.42, front: 0.38 };
export const KEY = [["front", "front"], ["end", "best in one aim"], ["knee", "knee"], ["start", "as it stands"]];

export function mark(kind, size, more = {}) {
  return el("path", { d: SHAPES[kind](size), class: `mark ${kind}`, ...more });
}

export class Scatter {
  // `take` is called with the place of a point that was pressed, `look` with that of one under pointer or focus.
  constructor(home, { take, look }) {
    this.home = home; this.take = take; this.look = look; this.spec = null; this.at = 0;
    this.svg = el("svg", { role: "group", class: "chart-svg scatter" });
    home.append(this.svg);
    new ResizeObserver(() => this.spec && this.draw(this.spec)).observe(home);
    this.svg.addEventListener("keydown", (event) => this.key(event));
  }

  // spec: points [{x, y, kind, name, number, words}] in the order of the front, xName, yName, better {x, y}, on (place), join
  draw(spec) {
    this.spec = spec;
    const width = this.home.clientWidth, height = this.home.clientHeight;
    if (width < 60 || height < 50) return;
    const font = parseFloat(getComputedStyle(this.home).fontSize) || 13;
    const span = (key) => {
      const all = spec.points.map((p) => p[key]), low = Math.min(...all), high = Math.max(...all);
      const room = high > low ? ROOM * (high - low) : Math.abs(low) * 0.05 || 1;
      return [low - room, high + room];
    };
    const [x0, x1] = span("x"), [y0, y1] = span("y"), bottom = font * 2.9, top = font * 0.8, right = font * 1.2;
    const yTicks = ticks(y0, y1, Math.max(2, (height - top - bottom) / (font * 2.6)));
    const gap = (list) => (list.length > 1 ? list[1] - list[0] : 1);
    const left = font * (2.4 + 0.6 * Math.max(...yTicks.map((t) => tickText(t, gap(yTicks)).length)));
    const px = (x) => left + (x - x0) / (x1 - x0) * (width - left - right);
    const py = (y) => height - bottom - (y - y0) / (y1 - y0) * (height - top - bottom);
    const xTicks = ticks(x0, x1, Math.max(2, (width - left - right) / (font * 5)));
    const parts = [];
    const add = (name, attributes, text) => { const made = el(name, { "aria-hidden": "true", ...attributes }, text); parts.push(made); return made; };
    for (const t of yTicks) {
      add("line", { x1: left, x2: width - right, y1: py(t), y2: py(t), class: "grid" });
      add("text", { x: left - font * 0.4, y: py(t) + font * 0.35, class: "tick end" }, tickText(t, gap(yTicks)));
    }
    for (const t of xTicks) {
      add("line", { x1: px(t), x2: px(t), y1: top, y2: height - bottom, class: "grid" });
      add("text", { x: px(t), y: height - bottom + font * 1.25, class: "tick middle" }, tickText(t, gap(xTicks)));
    }
    add("line", { x1: left, x2: width - right, y1: height - bottom, y2: height - bottom, class: "axis" });
    add("line", { x1: left, x2: left, y1: top, y2: height - bottom, class: "axis" });
    const middle = (top + height - bottom) / 2;
    add("text", { x: (left + width - right) / 2, y: height - font * 0.4, class: "name middle" }, spec.xName);
    add("text", { x: 0, y: 0, class: "name middle", transform: `translate(${font * 0.95} ${middle}) rotate(-90)` }, spec.yName);
    if (spec.join) add("path", { d: stairs(spec, px, py), class: "stairs" });
    this.marks = spec.points.map((point, i) => this.point(point, i, px(point.x), py(point.y), font));
    parts.push(...this.marks);
    parts.push(...names(spec, px, py, { left, right: width - right, top, bottom: height - bottom, font }));
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.setAttribute("aria-label", spec.saying);
    const held = this.svg.contains(document.activeElement);
    this.svg.replaceChildren(...parts);
    this.at = Math.min(this.at, this.marks.length - 1);
    this.reach(this.at, held);
  }

  point(point, i, x, y, font) {
    const on = this.spec.on === i;
    const made = el("g", { class: `dot-button${on ? " on" : ""}`, role: "button", tabindex: -1, transform: `translate(${x} ${y})`, "aria-label": point.words, "aria-pressed": on });
    made.append(el("circle", { r: font * 0.95, class: "reach" }), mark(point.kind, font * SIZES[point.kind]));
    made.addEventListener("click", () => { this.at = i; this.take(i); });
    made.addEventListener("pointerenter", () => this.look(i));
    made.addEventListener("focus", () => { this.at = i; this.look(i); });
    return made;
  }

  // One stop for Tab; arrows go along the front.
  reach(i, focus) {
    this.at = i;
    this.marks.forEach((made, k) => made.setAttribute("tabindex", k === i ? 0 : -1));
    if (focus) this.marks[i].focus({ preventScroll: true });
  }

  key(event) {
    const last = this.marks.length - 1;
    const to = { ArrowRight: this.at + 1, ArrowDown: this.at + 1, ArrowLeft: this.at - 1, ArrowUp: this.at - 1, Home: 0, End: last }[event.key];
    if (to !== undefined) { event.preventDefault(); this.reach(Math.max(0, Math.min(last, to)), true); }
    if (event.key === "Enter" || event.key === " ") { event.preventDefault(); this.take(this.at); }
  }
}

// The border of what is reached: from one point to the next by the corner that both beat.
function stairs({ points, better }, px, py) {
  const front = points.filter((p) => p.kind !== "start" || p.onFront).toSorted((a, b) => a.x - b.x);
  const worst = (way) => (way === "higher" ? Math.min : Math.max);
  let d = "";
  front.forEach((p, i) => {
    if (i) d += `L${px(worst(better.x)(front[i - 1].x, p.x)).toFixed(1)} ${py(worst(better.y)(front[i - 1].y, p.y)).toFixed(1)}`;
    d += `${i ? "L" : "M"}${px(p.x).toFixed(1)} ${py(p.y).toFixed(1)}`;
  });
  return d;
}

// Names of ends, knee and start where there is room beside them, then the numbers of the others as far as they fit.
function names({ points, on }, px, py, box) {
  const { font } = box, taken = points.map((p, i) => around(px(p.x), py(p.y), font * (i === on ? 0.95 : 0.6))), made = [];
  const ranked = points.toSorted((a, b) => (b.name ? 1 : 0) - (a.name ? 1 : 0));
  for (const point of ranked) {
    const text = point.name || String(point.number), wide = font * 0.54 * text.length, x = px(point.x), y = py(point.y);
    const places = [];
    for (const far of point.name ? [0.85, 1.6, 2.6] : [0.75]) for (const [sx, sy] of [[1, -1], [-1, -1], [1, 1], [-1, 1], [0, -1.3], [0, 1.3], [1.4, 0], [-1.4, 0]]) {
      places.push([x + sx * font * 0.75 + (Math.sign(sx) - 1) * wide / 2, y + sy * font * far, wide, font]);
    }
    const free = places.find(([tx, ty]) => tx >= box.left + 2 && tx + wide <= box.right + font && ty - font * 0.6 >= box.top && ty + font * 0.6 <= box.bottom
      && taken.every((t) => !meets(t, { x0: tx, x1: tx + wide, y0: ty - font * 0.55, y1: ty + font * 0.55 })));
    if (!free) continue;
    const [tx, ty] = free;
    taken.push({ x0: tx, x1: tx + wide, y0: ty - font * 0.55, y1: ty + font * 0.55 });
    made.push(el("text", { x: tx, y: ty + font * 0.35, class: point.name ? "called" : "tick", "aria-hidden": "true" }, text));
  }
  return made;
}

const around = (x, y, r) => ({ x0: x - r, x1: x + r, y0: y - r, y1: y + r });
const meets = (a, b) => a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1;
