// A large map from tiles: drag to move, wheel or + and - to zoom. Only tiles in view are fetched; each is
// coloured once and kept as a picture, so that a frame costs a handful of drawImage calls.

import { ask, askJson } from "./api.js";
import { RAMP } from "./colour.js";
import { inNm, inPercent, number } from "./units.js";

const KEPT = 400;

export class TileView {
  constructor(home, job, name, label) {
    this.home = home; this.base = `/api/jobs/${job}/maps/${name}`; this.tiles = new Map(); this.wanted = new Set();
    this.canvas = document.createElement("canvas");
    Object.assign(this.canvas, { tabIndex: 0 });
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", `${label}: drag or arrow keys to move, wheel or plus and minus to zoom`);
    this.hint = document.createElement("div");
    this.hint.className = "hint";
    home.replaceChildren(this.canvas, this.hint);
    this.frames = [];
    this.moved();
    new ResizeObserver(() => { this.fit(); this.paint(); }).observe(home);
    this.load(name);
  }

  async load(name) {
    this.about = await askJson(this.base);
    this.rows = this.about.shapes[0][0]; this.columns = this.about.shapes[0][1];
    const [low, high] = this.about.usual;
    this.low = low; this.scale = 255 / (high - low || 1);
    this.shown = name === "surface" ? inNm : inPercent;
    this.unit = name === "surface" ? "nm" : "%";
    this.legend = `${number(this.shown(low))} to ${number(this.shown(high))} ${this.unit}`;
    this.zoom = 0;
    this.fit();
    this.paint();
  }

  fit() {
    const dense = Math.min(window.devicePixelRatio || 1, 2);
    this.canvas.width = Math.max(10, this.home.clientWidth * dense);
    this.canvas.height = Math.max(10, this.home.clientHeight * dense);
    if (!this.about) return;
    this.least = Math.min(this.canvas.width / this.columns, this.canvas.height / this.rows);
    if (!this.zoom) {
      this.zoom = this.least;
      this.x = this.columns / 2; this.y = this.rows / 2;
    }
  }

  moved() {
    let from = null;
    const c = this.canvas, dense = () => c.width / c.clientWidth;
    c.addEventListener("pointerdown", (e) => { from = [e.clientX, e.clientY]; c.setPointerCapture(e.pointerId); });
    c.addEventListener("pointerup", () => { from = null; });
    c.addEventListener("pointermove", (e) => {
      if (!from) return this.point(e);
      this.x -= (e.clientX - from[0]) * dense() / this.zoom;
      this.y -= (e.clientY - from[1]) * dense() / this.zoom;
      from = [e.clientX, e.clientY];
      this.ask();
    });
    c.addEventListener("wheel", (e) => {
      e.preventDefault();
      const box = c.getBoundingClientRect();
      this.zoomBy(Math.exp(-e.deltaY / 400), (e.clientX - box.left) * dense(), (e.clientY - box.top) * dense());
    }, { passive: false });
    c.addEventListener("keydown", (e) => {
      const step = 60 / this.zoom;
      const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
      if (moves[e.key]) { this.x += moves[e.key][0]; this.y += moves[e.key][1]; this.ask(); }
      else if (e.key === "+" || e.key === "=") this.zoomBy(1.3, c.width / 2, c.height / 2);
      else if (e.key === "-") this.zoomBy(1 / 1.3, c.width / 2, c.height / 2);
      else return;
      e.preventDefault();
    });
  }

  zoomBy(factor, px, py) {
    if (!this.about) return;
    const next = Math.min(Math.max(this.zoom * factor, this.least * 0.8), 24);
    const cx = this.x + (px - this.canvas.width / 2) / this.zoom, cy = this.y + (py - this.canvas.height / 2) / this.zoom;
    this.x = cx - (px - this.canvas.width / 2) / next;
    this.y = cy - (py - this.canvas.height / 2) / next;
    this.zoom = next;
    this.ask();
  }

  ask() {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => { this.asked = 0; this.paint(); });
  }

  paint() {
    if (!this.about) return;
    this.frames.push(performance.now());
    if (this.frames.length > 600) this.frames.shift();
    const context = this.canvas.getContext("2d"), { width, height } = this.canvas, size = this.about.tile;
    context.clearRect(0, 0, width, height);
    context.imageSmoothingEnabled = this.zoom < 2;
    const top = this.about.shapes.length - 1;
    const level = Math.min(top, Math.max(0, Math.floor(-Math.log2(this.zoom))));
    for (let l = top; l >= level; l--) {
      if (l !== level && l !== top) continue;
      const cell = 2 ** l, span = size * cell, [ny, nx] = this.about.shapes[l];
      const c0 = Math.max(0, Math.floor((this.x - width / 2 / this.zoom) / span)), c1 = Math.min(Math.ceil(nx / size) - 1, Math.floor((this.x + width / 2 / this.zoom) / span));
      const r0 = Math.max(0, Math.floor((this.y - height / 2 / this.zoom) / span)), r1 = Math.min(Math.ceil(ny / size) - 1, Math.floor((this.y + height / 2 / this.zoom) / span));
      for (let r = r0; r <= r1; r++) for (let c = c0; c <= c1; c++) {
        const tile = this.tile(l, r, c);
        if (!tile) continue;
        const px = (c * span - this.x) * this.zoom + width / 2, py = (r * span - this.y) * this.zoom + height / 2;
        context.drawImage(tile.picture, px, py, tile.columns * cell * this.zoom + 0.5, tile.rows * cell * this.zoom + 0.5);
      }
    }
  }

  tile(level, row, column) {
    const key = `${level}/${row}/${column}`, kept = this.tiles.get(key);
    if (kept) { this.tiles.delete(key); this.tiles.set(key, kept); return kept; }
    if (!this.wanted.has(key) && this.wanted.size < 8) this.fetch(key);
    return null;
  }

  async fetch(key) {
    this.wanted.add(key);
    try {
      const reply = await ask(`${this.base}/${key}`);
      const rows = +reply.headers.get("X-Rows"), columns = +reply.headers.get("X-Columns");
      const values = new Float32Array(await reply.arrayBuffer()), image = new ImageData(columns, rows);
      const pixels = new Uint32Array(image.data.buffer);
      for (let i = 0; i < values.length; i++) {
        const v = values[i];
        pixels[i] = !Number.isNaN(v) ? RAMP[Math.min(255, Math.max(0, ((v - this.low) * this.scale) | 0))] : 0;
      }
      const picture = await createImageBitmap(image);
      this.tiles.set(key, { picture, rows, columns, values });
      if (this.tiles.size > KEPT) this.tiles.delete(this.tiles.keys().next().value);
    } finally { this.wanted.delete(key); }
    this.ask();
  }

  point(event) {
    if (!this.about) return;
    const box = this.canvas.getBoundingClientRect(), dense = this.canvas.width / box.width;
    const x = Math.floor(this.x + ((event.clientX - box.left) * dense - this.canvas.width / 2) / this.zoom);
    const y = Math.floor(this.y + ((event.clientY - box.top) * dense - this.canvas.height / 2) / this.zoom);
    for (let l = 0; l < this.about.shapes.length; l++) {
      const cx = x >> l, cy = y >> l, size = this.about.tile;
      const tile = this.tiles.get(`${l}/${Math.floor(cy / size)}/${Math.floor(cx / size)}`);
      if (!tile || x < 0 || y < 0) continue;
      const v = tile.values[(cy % size) * tile.columns + (cx % size)];
      this.hint.textContent = v === undefined || Number.isNaN(v) ? "" : `${number(this.shown(v), 4)} ${this.unit}`;
      return;
    }
  }
}
