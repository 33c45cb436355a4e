// Maps on canvas: a round wafer from its profile or its grid, a die from its cells, large dies from tiles.

import { RAMP, DIFFERENCE } from "./colour.js";
import { inMm, number } from "./units.js";

export class MapView {
  constructor(home, label) {
    this.home = home; this.label = label;
    this.canvas = document.createElement("canvas");
    this.canvas.setAttribute("role", "img");
    this.canvas.setAttribute("aria-label", `${label}: not computed yet`);
    this.bar = document.createElement("div");
    this.bar.className = "bar";
    this.bar.innerHTML = '<span class="high"></span><canvas width="1" height="128"></canvas><span class="low"></span>';
    this.hint = document.createElement("div");
    this.hint.className = "hint";
    home.append(this.canvas, this.bar, this.hint);
    this.spec = null;
    new ResizeObserver(() => this.spec && this.draw(this.spec)).observe(home);
    this.canvas.addEventListener("pointermove", (event) => this.point(event));
    this.canvas.addEventListener("pointerleave", () => { this.hint.textContent = ""; });
  }

  // spec: {round: {radius, value, edge}} or {grid, rows, columns}; limits, difference, unit, name, saying
  draw(spec) {
    this.spec = spec;
    const font = parseFloat(getComputedStyle(this.home).fontSize) || 13;
    const barRoom = font * 4.6;
    const room = { w: this.home.clientWidth - barRoom, h: this.home.clientHeight };
    const aspect = spec.grid && !spec.disc ? spec.columns / spec.rows : 1;
    const width = Math.floor(Math.min(room.w, room.h * aspect)), height = Math.floor(width / aspect);
    if (width < 30 || height < 30) return;
    const dense = Math.min(window.devicePixelRatio || 1, 2);
    const w = Math.min(Math.round(width * dense), 900), h = Math.round(w / aspect);
    if (this.canvas.width !== w || this.canvas.height !== h) { this.canvas.width = w; this.canvas.height = h; this.image = null; }
    this.canvas.style.width = `${width}px`;
    this.canvas.style.height = `${height}px`;
    const context = this.canvas.getContext("2d");
    this.image ||= context.createImageData(w, h);
    const pixels = new Uint32Array(this.image.data.buffer);
    const lut = spec.difference ? DIFFERENCE : RAMP;
    const [low, high] = spec.limits;
    const scale = 255 / (high - low || 1);
    if (spec.round) this.paintRound(pixels, w, h, spec.round, lut, low, scale);
    else this.paintGrid(pixels, w, h, spec, lut, low, scale);
    context.putImageData(this.image, 0, 0);
    if (spec.round || spec.disc) this.rim(context, w, spec.exclusion);
    this.paintBar(lut, low, high, spec);
    this.canvas.setAttribute("aria-label", `${this.label}: ${spec.name}, from ${number(low)} to ${number(high)} ${spec.unit}. ${spec.saying || ""}`);
  }

  paintRound(pixels, w, h, round, lut, low, scale) {
    const { radius, value, edge } = round, n = radius.length;
    const fine = 2048, colours = new Uint32Array(fine + 1);
    let j = 0;
    for (let i = 0; i <= fine; i++) {
      const r = edge * i / fine;
      while (j < n - 2 && radius[j + 1] < r) j++;
      const t = Math.min(Math.max((r - radius[j]) / (radius[j + 1] - radius[j]), 0), 1);
      colours[i] = lut[Math.min(255, Math.max(0, ((value[j] + (value[j + 1] - value[j]) * t - low) * scale) | 0))];
    }
    const c = (w - 1) / 2, stretch = fine / (w / 2);
    for (let y = 0; y < h; y++) {
      const dy = (y - c) * (y - c), row = y * w;
      for (let x = 0; x < w; x++) {
        const i = Math.sqrt(dy + (x - c) * (x - c)) * stretch;
        pixels[row + x] = i <= fine ? colours[i | 0] : 0;
      }
    }
  }

  paintGrid(pixels, w, h, spec, lut, low, scale) {
    const { grid, rows, columns } = spec;
    for (let y = 0; y < h; y++) {
      const from = Math.min(rows - 1, Math.floor((h - 1 - y) * rows / h)) * columns, row = y * w;
      for (let x = 0; x < w; x++) {
        const v = grid[from + Math.min(columns - 1, (x * columns / w) | 0)];
        pixels[row + x] = !Number.isNaN(v) ? lut[Math.min(255, Math.max(0, ((v - low) * scale) | 0))] : 0;
      }
    }
  }

  rim(context, w, exclusion) {
    context.lineWidth = Math.max(1, w / 300);
    context.strokeStyle = "rgba(128,128,128,.9)";
    context.beginPath();
    context.arc(w / 2, w / 2, w / 2 - context.lineWidth, 0, 7);
    context.stroke();
    if (!exclusion) return;
    context.setLineDash([w / 60, w / 60]);
    context.strokeStyle = "rgba(255,255,255,.85)";
    context.beginPath();
    context.arc(w / 2, w / 2, (w / 2) * (1 - exclusion), 0, 7);
    context.stroke();
    context.setLineDash([]);
  }

  paintBar(lut, low, high, spec) {
    const strip = this.bar.querySelector("canvas"), context = strip.getContext("2d");
    const image = context.createImageData(1, 128), pixels = new Uint32Array(image.data.buffer);
    for (let i = 0; i < 128; i++) pixels[i] = lut[Math.round(255 * (1 - i / 127))];
    context.putImageData(image, 0, 0);
    const digits = Math.min(6, Math.max(3, 2 + Math.ceil(Math.log10(Math.max(Math.abs(low), Math.abs(high)) / (high - low || 1)) || 0)));
    this.bar.querySelector(".high").textContent = `${number(high, digits)}`;
    this.bar.querySelector(".low").textContent = `${number(low, digits)} ${spec.unit}`;
  }

  point(event) {
    const spec = this.spec;
    if (!spec) return;
    const box = this.canvas.getBoundingClientRect();
    const u = (event.clientX - box.left) / box.width, v = 1 - (event.clientY - box.top) / box.height;
    let value;
    if (spec.round) {
      const r = Math.hypot(2 * u - 1, 2 * v - 1) * spec.round.edge;
      if (r > spec.round.edge) { this.hint.textContent = ""; return; }
      let j = 0;
      while (j < spec.round.radius.length - 1 && spec.round.radius[j] < r) j++;
      value = spec.round.value[j];
    } else {
      value = spec.grid[Math.min(spec.rows - 1, Math.floor(v * spec.rows)) * spec.columns + Math.min(spec.columns - 1, Math.floor(u * spec.columns))];
    }
    this.hint.textContent = !Number.isNaN(value) ? `${number(value, 4)} ${spec.unit}` : "";
  }

  csv() {
    const spec = this.spec;
    if (spec.round) return [`radius_mm,${spec.name}`, ...Array.from(spec.round.radius, (r, i) => `${inMm(r)},${spec.round.value[i]}`)].join("\n");
    const rows = [];
    for (let y = 0; y < spec.rows; y++) rows.push(Array.from(spec.grid.subarray(y * spec.columns, (y + 1) * spec.columns)).join(","));
    return rows.join("\n");
  }

  png() { return new Promise((done) => this.canvas.toBlob(done)); }

  // The canvas inside an SVG, with its scale in words.
  svg() {
    const { width, height } = this.canvas, [low, high] = this.spec.limits;
    return `<svg xmlns="http://www.w3.org/2000/svg" width="${width}" height="${height + 40}"><image width="${width}" height="${height}" href="${this.canvas.toDataURL()}"/><text x="4" y="${height + 26}" font-family="sans-serif" font-size="18">${this.spec.name}: ${number(low, 4)} to ${number(high, 4)} ${this.spec.unit}</text></svg>`;
  }
}

export function limitsOf(values, share = 0) {
  if (!share) {
    let low = Infinity, high = -Infinity;
    for (const v of values) { if (v < low) low = v; if (v > high) high = v; }
    return Number.isFinite(low) ? [low, high] : [0, 1];
  }
  const known = Float32Array.from(values).filter((v) => !Number.isNaN(v)).sort();
  return known.length ? [known[Math.floor(share * known.length)], known[Math.ceil((1 - share) * known.length) - 1]] : [0, 1];
}
