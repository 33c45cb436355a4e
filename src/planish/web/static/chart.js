// Line charts as SVG: sharp at any size, saved as SVG or PNG, readable in both themes.

import { tickText, ticks } from "./ticks.js";

const NS = "http://www.w3.org/2000/svg";
export const LINES = ["line-1", "line-2", "line-3", "line-4", "line-5", "line-6"];

export function el(name, attributes = {}, text) {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

export class Chart {
  // series: [{x, y, name, look, dash, points, low, high}], x and y arrays in shown units; low and high bound a band.
  constructor(home, label) {
    this.home = home;
    this.svg = el("svg", { role: "img", class: "chart-svg", "aria-label": `${label}: not computed yet` });
    this.label = label;
    home.append(this.svg);
    this.spec = null;
    this.hint = document.createElement("div");
    this.hint.className = "hint";
    home.append(this.hint);
    new ResizeObserver(() => this.spec && this.draw(this.spec)).observe(home);
    this.svg.addEventListener("pointermove", (event) => this.point(event));
    this.svg.addEventListener("pointerleave", () => { this.hint.textContent = ""; this.mark?.remove(); });
  }

  limits(series, key, spec) {
    let low = Infinity, high = -Infinity;
    for (const one of series) {
      for (const values of key === "y" && one.low ? [one.y, one.low, one.high] : [one[key]]) for (let i = 0; i < values.length; i++) {
        if (key === "y" && spec.robust && one.x[i] > spec.robust && !one.points) continue;
        const v = values[i];
        if (v < low) low = v;
        if (v > high) high = v;
      }
    }
    if (!Number.isFinite(low)) return [0, 1];
    return [low, high];
  }

  draw(spec) {
    this.spec = spec;
    const width = this.home.clientWidth, height = this.home.clientHeight;
    if (width < 60 || height < 50) return;
    const font = parseFloat(getComputedStyle(this.home).fontSize) || 13;
    const series = spec.series;
    const [x0, x1] = spec.xLimits || this.limits(series, "x", spec);
    let [y0, y1] = this.limits(series, "y", spec);
    const least = spec.leastSpan ? spec.leastSpan * Math.max(Math.abs(y0), Math.abs(y1)) : 0;
    if (y1 - y0 < least) { const c = 0.5 * (y0 + y1); y0 = c - least / 2; y1 = c + least / 2; }
    if (spec.zero) { y0 = Math.min(y0, 0); y1 = Math.max(y1, 0); }
    if (y1 === y0) { y0 -= 1; y1 += 1; }
    const room = 0.08 * (y1 - y0);
    y0 -= spec.zero && y0 === 0 ? 0 : room; y1 += room;
    // as many ticks as there will be, and one less: how long their labels get
    const many = (height - font * 3.4) / (font * 2.6);
    const longest = Math.max(...[many, many - 1].flatMap((n) => {
      const early = ticks(y0, y1, Math.max(2, n)), gap = early.length > 1 ? early[1] - early[0] : 1;
      return early.map((t) => tickText(t, gap).length);
    }));
    const left = font * (2.2 + 0.62 * longest), right = font * 1.5, rows = spec.legend === false ? 0 : this.legendRows(series, font, left, width), top = font * (rows ? 0.4 + 1.35 * rows : 0.7), bottom = font * 2.7;
    const px = (x) => left + (x - x0) / (x1 - x0 || 1) * (width - left - right);
    const py = (y) => height - bottom - (y - y0) / (y1 - y0) * (height - top - bottom);
    this.scale = { px, py, x0, x1, left, right, width, height, top, bottom };
    const parts = [];
    const add = (name, attributes, text) => { const e = el(name, attributes, text); parts.push(e); return e; };
    if (spec.shaded) {
      const from = px(Math.max(spec.shaded[0], x0)), to = px(Math.min(spec.shaded[1], x1));
      if (to > from) add("rect", { x: from, y: top, width: to - from, height: height - top - bottom, class: "shaded" });
    }
    const yTicks = ticks(y0, y1, Math.max(2, (height - top - bottom) / (font * 2.6)));
    const yStep = yTicks.length > 1 ? yTicks[1] - yTicks[0] : 1;
    for (const t of yTicks) {
      add("line", { x1: left, x2: width - right, y1: py(t), y2: py(t), class: "grid" });
      add("text", { x: left - font * 0.4, y: py(t) + font * 0.35, class: "tick end" }, tickText(t, yStep));
    }
    const xTicks = ticks(x0, x1, Math.max(2, (width - left - right) / (font * 5)));
    const xStep = xTicks.length > 1 ? xTicks[1] - xTicks[0] : 1;
    for (const t of xTicks) {
      add("line", { x1: px(t), x2: px(t), y1: height - bottom, y2: height - bottom + font * 0.3, class: "axis" });
      add("text", { x: px(t), y: height - bottom + font * 1.25, class: "tick middle" }, tickText(t, xStep));
    }
    add("line", { x1: left, x2: width - right, y1: height - bottom, y2: height - bottom, class: "axis" });
    add("text", { x: width - right, y: height - font * 0.25, class: "name end" }, spec.xName);
    add("text", { x: font * 0.3, y: height - bottom - (height - top - bottom) / 2, class: "name middle", transform: `rotate(-90 ${font * 0.9} ${height - bottom - (height - top - bottom) / 2}) translate(${font * 0.6} ${font * 0.3})` }, spec.yName);
    const clip = `clip-${this.id ||= Math.random().toString(36).slice(2)}`;
    const box = el("clipPath", { id: clip });
    box.append(el("rect", { x: left, y: top - 2, width: Math.max(width - left - right, 1), height: height - top - bottom + 4 }));
    parts.push(box);
    series.forEach((one, index) => {
      const look = one.look || LINES[index % LINES.length];
      if (one.points) {
        for (let i = 0; i < one.x.length; i++) add("circle", { cx: px(one.x[i]), cy: py(one.y[i]), r: font * 0.22, class: `dot ${look}`, "clip-path": `url(#${clip})` });
        return;
      }
      if (one.low && one.x.length) {
        const edge = (values, i) => `${px(one.x[i]).toFixed(1)} ${py(values[i]).toFixed(1)}`, places = [...one.x.keys()];
        add("path", { d: `M${places.map((i) => edge(one.low, i)).join("L")}L${places.toReversed().map((i) => edge(one.high, i)).join("L")}Z`, class: `band ${look}`, "clip-path": `url(#${clip})` });
      }
      let d = "";
      for (let i = 0; i < one.x.length; i++) {
        if (!Number.isFinite(one.y[i])) continue;
        d += `${d ? "L" : "M"}${px(one.x[i]).toFixed(1)} ${py(one.y[i]).toFixed(1)}`;
      }
      add("path", { d, class: `line ${look} ${one.dash ? "ghost" : ""}`, "clip-path": `url(#${clip})` });
    });
    if (spec.legend !== false) {
      let at = left, y = font * 0.75;
      series.forEach((one, index) => {
        if (!one.name) return;
        const look = one.look || LINES[index % LINES.length], wide = font * (2.8 + 0.58 * one.name.length);
        if (at > left && at + wide > width) { at = left; y += font * 1.35; }
        if (one.points) add("circle", { cx: at + font * 0.6, cy: y, r: font * 0.25, class: `dot ${look}` });
        else add("line", { x1: at, x2: at + font * 1.4, y1: y, y2: y, class: `line ${look} ${one.dash ? "ghost" : ""}` });
        add("text", { x: at + font * 1.8, y: y + font * 0.35, class: "key" }, one.name);
        at += wide;
      });
    }
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.setAttribute("aria-label", `${this.label}: ${spec.yName} over ${spec.xName}${spec.saying ? `. ${spec.saying}` : ""}`);
    this.svg.replaceChildren(...parts);
  }

  legendRows(series, font, left, width) {
    let at = left, rows = 0;
    for (const one of series) {
      if (!one.name) continue;
      const wide = font * (2.8 + 0.58 * one.name.length);
      if (!rows || at + wide > width) { rows += 1; at = left; }
      at += wide;
    }
    return rows;
  }

  point(event) {
    if (!this.spec || !this.scale) return;
    const s = this.scale, box = this.svg.getBoundingClientRect();
    const x = s.x0 + (event.clientX - box.left - s.left) / (s.width - s.left - s.right) * (s.x1 - s.x0);
    if (x < s.x0 || x > s.x1) { this.hint.textContent = ""; return; }
    const told = [];
    for (const one of this.spec.series) {
      if (one.points || !one.x.length) continue;
      let best = 0;
      for (let i = 1; i < one.x.length; i++) if (Math.abs(one.x[i] - x) < Math.abs(one.x[best] - x)) best = i;
      told.push(`${one.name ? `${one.name} ` : ""}${one.y[best].toPrecision(4)}`);
    }
    this.hint.textContent = `${this.spec.xName.split("[")[0].trim()} ${x.toFixed(Math.abs(s.x1) > 50 ? 0 : 1)}: ${told.join(", ")}`;
    this.mark?.remove();
    this.mark = el("line", { x1: s.px(x), x2: s.px(x), y1: s.top, y2: s.height - s.bottom, class: "cross" });
    this.svg.append(this.mark);
  }

  csv() {
    const rows = [];
    for (const one of this.spec.series) {
      rows.push([this.spec.xName, one.name || this.spec.yName].map((t) => `"${t.replaceAll('"', '""')}"`).join(","));
      for (let i = 0; i < one.x.length; i++) rows.push(`${one.x[i]},${one.y[i]}`);
      rows.push("");
    }
    return rows.join("\n");
  }
}

// A copy of an SVG with its computed colours written in, so that it stands alone.
export function standalone(svg) {
  const copy = svg.cloneNode(true);
  const from = svg.querySelectorAll("*"), to = copy.querySelectorAll("*");
  from.forEach((source, i) => {
    const style = getComputedStyle(source);
    for (const key of ["fill", "stroke", "stroke-width", "stroke-dasharray", "font-size", "font-family", "font-weight", "text-anchor", "opacity", "fill-opacity"]) {
      to[i].setAttribute(key, style.getPropertyValue(key));
    }
    to[i].removeAttribute("class");
  });
  const box = svg.getBoundingClientRect();
  copy.setAttribute("xmlns", NS);
  copy.setAttribute("width", box.width);
  copy.setAttribute("height", box.height);
  const paper = el("rect", { width: "100%", height: "100%", fill: getComputedStyle(document.body).backgroundColor });
  copy.prepend(paper);
  return new XMLSerializer().serializeToString(copy);
}

export async function asPng(svg, scale = 2) {
  const box = svg.getBoundingClientRect(), image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(standalone(svg))}`;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = box.width * scale; canvas.height = box.height * scale;
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => canvas.toBlob(done));
}
