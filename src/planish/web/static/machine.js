// The machine to scale: plan and section, moving at its set speeds, slowed by a stated factor.
// Geometry, speeds and the path of the wafer point come from the server; here they are only drawn.

import { el } from "./chart.js";
import { RAMP, css } from "./colour.js";
import { fromMs, show, number, inUnit, unit } from "./units.js";

const NICE = [1, 2, 5, 10, 20, 50, 100, 200, 500];
const TAU = 2 * Math.PI;

export class Machine {
  constructor({ plan, section, note, open }) {
    this.plan = plan; this.section = section; this.note = note; this.open = open;
    this.svg = el("svg", { class: "plan-svg", role: "img", "aria-label": "The machine in plan" });
    this.cut = el("svg", { class: "section-svg", role: "img", "aria-label": "Section through wafer, ring and pad" });
    plan.append(this.svg); section.append(this.cut);
    this.tags = new Map();
    this.still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.clock = 2; this.before = 0; this.calm = 0; this.wear = null;
    new ResizeObserver(() => { this.key = ""; if (this.answer) this.show(this.answer); }).observe(plan);
    new ResizeObserver(() => { if (this.answer) this.drawSection(); }).observe(section);
    requestAnimationFrame((t) => this.frame(t));
  }

  get paused() { return this.still; }
  set paused(value) { this.still = value; }

  show(answer) {
    this.answer = answer;
    const m = answer.header.machine, step = m.steps[answer.header.step];
    const key = JSON.stringify([m.outline, m.holes, m.wafer_radius, m.zones, m.ring, m.disk, m.dispense_radius, m.delivery, m.grooves, m.bearing, this.wear ? this.wear.stamp : 0]);
    if (key !== this.key) { this.key = key; this.drawPlan(m); }
    this.step = step; this.m = m;
    this.path = answer.arrays.path; this.pathTime = answer.header.path_s;
    this.drawPath();
    const fastest = Math.max(m.drive.turns ? Math.abs(step.drive) : 0, Math.abs(step.carrier)) / TAU;
    const need = m.outline.straight ? Math.abs(step.drive) / 0.25 : fastest / 0.3;
    this.slow = NICE.find((f) => f >= need) || 500;
    this.note.textContent = `${this.speeds(m, step)} Shown ${this.slow === 1 ? "at true speed" : `${this.slow} times slower`}.`;
    this.drawSection();
    this.place(this.clock);
  }

  speeds(m, step) {
    const { part, turns } = m.drive;
    return `${part[0].toUpperCase()}${part.slice(1)} ${show(step.drive, turns ? "turning" : "speed")}, carrier ${show(step.carrier, "turning")}.`;
  }

  tag(home, name, words, x, y) {
    const key = home.id + name;
    let made = this.tags.get(key);
    if (!made) {
      made = document.createElement("button");
      made.type = "button"; made.className = "tag"; made.textContent = words;
      made.dataset.part = name;
      made.setAttribute("aria-label", `${words}: open settings`);
      made.addEventListener("click", () => this.open(name, made));
      home.append(made);
      this.tags.set(key, made);
    }
    made.hidden = false;
    made.textContent = words;
    made.style.left = `${x}px`; made.style.top = `${y}px`;
    return made;
  }

  part(shape, name) {
    shape.classList.add("part");
    shape.addEventListener("click", () => this.open(name, this.tags.get(this.plan.id + name) || this.tags.get(this.section.id + name)));
    const title = el("title", {}, `${name}: click for its settings`);
    shape.append(title);
    return shape;
  }

  drawPlan(m) {
    const width = this.plan.clientWidth, height = this.plan.clientHeight;
    if (width < 50 || height < 50) { this.key = ""; return; }
    this.svg.setAttribute("viewBox", `${-width / 2} ${-height / 2} ${width} ${height}`);
    const o = m.outline, reach = o.edge + o.orbit;
    const carrier = m.wafer_radius + (m.ring ? m.ring.gap + m.ring.width : 0);
    const tall = Math.max(reach, carrier) * (o.straight ? 1.5 : 1.05);
    const long = o.straight ? 2.4 * Math.max(carrier, o.edge) : tall;
    const s = Math.min(height / 2 / tall, width / 2 / long);
    this.s = s;
    this.half = width / 2 / s;
    this.em = (parseFloat(getComputedStyle(this.plan).fontSize) || 13) / 13;
    this.svg.replaceChildren();
    const add = (shape, home = this.svg) => { home.append(shape); return shape; };
    for (const tag of this.tags.values()) if (tag.parentElement === this.plan) tag.hidden = true;
    this.pad = el("g");
    const centre = [o.carrier, 0];
    this.centre = centre;
    if (o.straight) this.drawBelt(m, s, add);
    else this.drawDisc(m, s, add);
    this.svg.append(this.pad);
    this.pathLine = add(el("path", { class: "path" }), o.straight ? this.svg : this.pad);
    this.carrier = add(el("g"));
    const body = el("g", { transform: `translate(${centre[0] * s} 0)` });
    this.carrier.append(body);
    if (m.ring) {
      const ring = el("path", { d: annulus((m.wafer_radius + m.ring.gap) * s, carrier * s), class: "ring" });
      add(this.part(ring, "ring"), body);
    }
    add(this.part(el("circle", { r: m.wafer_radius * s, class: "wafer" }), "head"), body);
    for (const z of m.zones.slice(0, -1)) add(el("circle", { r: z * s, class: "zone" }), body);
    this.marker = add(el("line", { x1: m.wafer_radius * s * 0.9, x2: m.wafer_radius * s * 0.985, y1: 0, y2: 0, class: "notch" }), body);
    this.cross = add(el("path", { d: "M-7 0H7M0-7V7", class: "axis-mark" }), body);
    this.point = add(el("circle", { r: 5 * this.em, class: "point" }));
    this.drawDisk(m, s, add);
    const drop = m.delivery === "top" ? (o.straight ? [-0.8 * this.half, 0] : [m.dispense_radius * Math.cos(2.3), -m.dispense_radius * Math.sin(2.3)]) : null;
    const mid = (x, y) => [width / 2 + x, height / 2 + y];
    if (drop) {
      add(el("path", { d: `M${drop[0] * s - 3} ${drop[1] * s - 26}V${drop[1] * s - 8}M${drop[0] * s} ${drop[1] * s - 8}`, class: "pipe" }));
      add(this.part(el("circle", { cx: drop[0] * s, cy: drop[1] * s, r: 7 * this.em, class: "drop" }), "slurry"));
    }
    const top = -Math.max(carrier, 0.1) * s;
    this.tag(this.plan, "head", "head", ...mid(centre[0] * s, -m.wafer_radius * s * 0.45));
    if (m.ring) this.tag(this.plan, "ring", "ring", ...mid(centre[0] * s, top * 0.93));
    this.tag(this.plan, "wafer", "wafer", ...mid(centre[0] * s, m.wafer_radius * s * 0.45));
    this.tag(this.plan, "slurry", "slurry", ...(drop ? mid(drop[0] * s + 2, drop[1] * s - 34) : mid(-0.2 * o.edge * s, 0.93 * o.edge * s)));
    // what moves and the pad get their words where the carrier does not cover them
    const spots = o.straight ? [[-width * 0.33, -0.84 * o.edge * s], [-width * 0.36, 0.8 * o.edge * s]]
      : o.orbit ? [[-width * 0.42, 0], [0, -0.96 * o.edge * s]]
      : [[0, -0.94 * o.edge * s], [-0.62 * o.edge * s, -0.02 * o.edge * s]];
    this.tag(this.plan, "polisher", m.polisher_word, ...mid(...spots[0]));
    this.tag(this.plan, "pad", "pad", ...mid(...spots[1]));
    if (m.disk) this.diskTag = this.tag(this.plan, "conditioner", "disk", 0, 0);
    else this.tag(this.plan, "conditioner", "no disk", ...mid(-width * 0.4, height * 0.45));
    this.tag(this.plan, "recipe", "speeds and times", width - 80, height - 18);
    // a scale bar, so that the drawing can be measured
    const bar = 0.1 * s;
    add(el("path", { d: `M${-width / 2 + 14} ${height / 2 - 12}h${bar}M${-width / 2 + 14} ${height / 2 - 16}v8M${-width / 2 + 14 + bar} ${height / 2 - 16}v8`, class: "scale" }));
    add(el("text", { x: -width / 2 + 14 + bar / 2, y: height / 2 - 20, class: "on-part middle" }, "100 mm"));
  }

  shade(radiusOuter, s, add) {
    if (!this.wear) return;
    const { radius, worn } = this.wear, most = Math.max(...worn) || 1;
    for (let i = 0; i < radius.length; i++) {
      const inner = i ? 0.5 * (radius[i - 1] + radius[i]) : 0;
      const outer = i < radius.length - 1 ? 0.5 * (radius[i] + radius[i + 1]) : radius[i] + (radius[i] - inner);
      if (outer > radiusOuter * 1.02 || outer <= 0) continue;
      add(el("path", { d: annulus(Math.max(inner, 0) * s, outer * s), class: "worn", "fill-opacity": (0.32 * worn[i] / most).toFixed(3) }), this.pad);
    }
  }

  drawDisc(m, s, add) {
    const o = m.outline, r = o.edge * s;
    add(this.part(el("circle", { r: r + (o.orbit ? o.orbit * s + 4 : 5), class: "platen" }), "polisher"));
    add(this.part(el("circle", { r, class: "pad" }), "pad"), this.pad);
    this.shade(r / s, s, add);
    const grooves = m.grooves;
    if (grooves.depth > 0 && grooves.pattern !== "none") {
      const pitch = Math.max(grooves.pitch * s, 9); // drawn no closer than the eye can part
      if (grooves.pattern === "grid") {
        for (let a = -r; a < r; a += pitch) {
          const h = Math.sqrt(Math.max(r * r - a * a, 0));
          add(el("path", { d: `M${a} ${-h}V${h}M${-h} ${a}H${h}`, class: "groove" }), this.pad);
        }
      } else for (let a = pitch; a < r; a += pitch) add(el("circle", { r: a, class: "groove" }), this.pad);
    }
    if (m.holes) {
      const span = 0.03 * s;
      for (let x = -r; x < r; x += span) for (let y = -r; y < r; y += span) if (Math.hypot(x, y) < r - 4) add(el("circle", { cx: x, cy: y, r: 1.6, class: "hole" }), this.pad);
    }
    add(el("path", { d: `M${r * 0.9} 0H${r * 0.985}`, class: "notch" }), this.pad);
    add(el("path", { d: "M-8 0H8M0-8V8", class: "axis-mark" }), this.pad);
    if (o.orbit) add(el("circle", { r: o.orbit * s, class: "orbit" }));
  }

  drawBelt(m, s, add) {
    const h = m.outline.edge * s, w = this.half * s;
    add(this.part(el("rect", { x: -w, y: -h - 5, width: 2 * w, height: 2 * h + 10, class: "platen" }), "polisher"));
    add(this.part(el("rect", { x: -w, y: -h, width: 2 * w, height: 2 * h, class: "pad" }), "pad"));
    this.stripes = el("g");
    for (let x = -w - 0.2 * s; x < w + 0.2 * s; x += 0.1 * s) this.stripes.append(el("path", { d: `M${x} ${-h}V${h}`, class: "groove" }));
    add(this.stripes);
    if (m.bearing) for (const r of m.bearing.outer_radii) add(el("circle", { r: r * s, class: "bearing" }));
    this.side(m, add);
    add(el("path", { d: `M${-0.25 * w} ${-h * 1.13}h${0.5 * w}m-9 -6l9 6l-9 6`, class: "way" }));
  }

  // The whole loop from the side, to a smaller scale: rollers, carrier on the upper run, bearing below it.
  side(m, add) {
    const r = m.outline.roller, span = Math.max((m.outline.length - TAU * r) / 2, 0.1), k = Math.min(150, this.plan.clientWidth * 0.3) / (span + 2 * r);
    const home = add(el("g", { transform: `translate(0 ${this.plan.clientHeight / 2 - r * k - 6})` }));
    const x = span / 2 * k, y = r * k, c = m.wafer_radius * k;
    home.append(el("path", { d: `M${-x} ${-y}H${x}A${y} ${y} 0 0 1 ${x} ${y}H${-x}A${y} ${y} 0 0 1 ${-x} ${-y}Z`, class: "loop" }));
    for (const side of [-x, x]) home.append(el("circle", { cx: side, r: y * 0.9, class: "platen" }), el("circle", { cx: side, r: 1.5, class: "axis-mark" }));
    home.append(el("rect", { x: -c, y: -y - 8, width: 2 * c, height: 7, class: "head" }), el("rect", { x: -c, y: -y + 2, width: 2 * c, height: 5, class: "bearing-block" }));
    home.append(el("title", {}, "the belt from the side: rollers, carrier, fluid bearing"));
    this.loop = home.firstChild;
    this.loopScale = k;
  }

  drawDisk(m, s, add) {
    this.disk = null; this.diskTag = null;
    if (!m.disk) return;
    this.arm = add(el("path", { class: "arm" }));
    this.disk = add(el("g"));
    const disc = el("circle", { r: m.disk.radius * s, class: "disk" });
    this.disk.append(this.part(disc, "conditioner"));
    this.disk.append(el("path", { d: `M0 ${-m.disk.radius * s * 0.95}V${-m.disk.radius * s * 0.7}`, class: "notch" }));
  }

  drawPath() {
    const path = this.path, n = path.shape[1], s = this.s;
    if (!this.pathLine || this.m.outline.straight) return;
    let d = "";
    for (let i = 0; i < n; i++) d += `${i ? "L" : "M"}${(path[i] * s).toFixed(1)} ${(-path[n + i] * s).toFixed(1)}`;
    this.pathLine.setAttribute("d", d);
  }

  frame(now) {
    // 30 pictures a second are plenty; while a setting is dragged the answer goes first
    const least = now < this.calm ? 150 : 30;
    if (now - this.before < least) { requestAnimationFrame((t) => this.frame(t)); return; }
    const gone = Math.min(fromMs(now - this.before), 0.2);
    this.before = now;
    if (!this.still && this.answer && !document.hidden && this.plan.offsetParent) {
      this.clock += gone / this.slow;
      this.place(this.clock);
    }
    requestAnimationFrame((t) => this.frame(t));
  }

  place(t) {
    if (!this.m || !this.carrier || !this.key) return; // without a key the plan that stands is another machine's
    const { m, step, s } = this, o = m.outline, deg = (a) => (-a * 180 / Math.PI) % 360;
    const at = (t % this.pathTime) / this.pathTime, n = this.path.shape[1], i = Math.min(n - 1, Math.floor(at * (n - 1)));
    const tp = i / (n - 1) * this.pathTime;
    let shiftX = 0;
    if (!o.straight) {
      shiftX = o.swing * Math.sin(TAU * o.swing_frequency * tp);
      const a = step.drive * tp;
      this.pad.setAttribute("transform", o.orbit ? `translate(${o.orbit * Math.cos(a) * s} ${-o.orbit * Math.sin(a) * s})` : `rotate(${o.turns ? deg(a) : 0})`);
    } else {
      const moved = (step.drive * tp * s) % (0.1 * s);
      this.stripes.setAttribute("transform", `translate(${moved} 0)`);
      this.loop.setAttribute("stroke-dashoffset", -((step.drive * tp * this.loopScale) % 12));
      let d = "", last = null;
      for (let k = Math.max(0, i - 160); k <= i; k++) {
        const x = this.path[k] + step.drive * tp, y = this.path[n + k];
        if (Math.abs(x) > this.half * 1.1) { last = null; continue; }
        d += `${last === null ? "M" : "L"}${(x * s).toFixed(1)} ${(-y * s).toFixed(1)}`;
        last = x;
      }
      this.pathLine.setAttribute("d", d);
    }
    this.carrier.setAttribute("transform", `translate(${shiftX * s} 0)`);
    this.marker.setAttribute("transform", `rotate(${deg(step.carrier * tp)})`);
    const r = m.wafer_radius - 0.01, a = step.carrier * tp;
    this.point.setAttribute("cx", (this.centre[0] + shiftX + r * Math.cos(a)) * s);
    this.point.setAttribute("cy", -r * Math.sin(a) * s);
    if (m.disk) this.placeDisk(m, s, tp, step);
  }

  placeDisk(m, s, t, step) {
    const k = m.disk, o = m.outline, live = step.conditioning, phase = Math.sin(TAU * k.frequency * (live ? t : 0));
    const rho = 0.5 * (k.inner + k.outer) + 0.5 * (k.outer - k.inner) * phase;
    let c, foot;
    if (o.straight) {
      const x = 0.66 * this.half;
      c = [x, rho]; foot = [x, 1.24 * o.edge];
    } else {
      const base = (o.orbit ? 205 : 215) * Math.PI / 180;
      let angle = base;
      foot = [1.12 * o.edge * Math.cos(base), 1.12 * o.edge * Math.sin(base)];
      if (k.kind === "arm" && k.pivot > 0 && rho > 0) {
        const cos = (rho * rho + k.pivot * k.pivot - k.arm * k.arm) / (2 * rho * k.pivot);
        if (Math.abs(cos) <= 1) { angle = base - Math.acos(cos); foot = [k.pivot * Math.cos(base), k.pivot * Math.sin(base)]; }
      }
      c = [rho * Math.cos(angle), rho * Math.sin(angle)];
    }
    const out = !live || o.orbit > 0;
    this.disk.setAttribute("class", out ? "up" : "");
    this.arm.setAttribute("class", out ? "arm up" : "arm");
    this.disk.setAttribute("transform", `translate(${c[0] * s} ${-c[1] * s}) rotate(${(-k.speed * t * 180 / Math.PI) % 360})`);
    this.arm.setAttribute("d", `M${foot[0] * s} ${-foot[1] * s}L${c[0] * s} ${-c[1] * s}`);
    if (this.diskTag) {
      this.diskTag.textContent = out ? (k.mode === "ex-situ" ? "disk (between wafers)" : "disk (up)") : "disk";
      this.diskTag.style.left = `${this.plan.clientWidth / 2 + c[0] * s}px`;
      this.diskTag.style.top = `${this.plan.clientHeight / 2 - c[1] * s}px`;
    }
  }

  drawSection() {
    const { m } = this, answer = this.answer, width = this.section.clientWidth, height = this.section.clientHeight;
    if (!m || width < 80 || height < 60) return;
    this.cut.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const parts = [], em = (parseFloat(getComputedStyle(this.section).fontSize) || 13) / 13;
    const add = (shape) => { parts.push(shape); return shape; };
    const reach = (m.wafer_radius + (m.ring ? m.ring.gap + m.ring.width : 0)) * 1.1;
    const sx = width / 2 / reach, X = (x) => width / 2 + x * sx;
    const thick = m.wafer_thickness + m.layers.reduce((a, l) => a + l.thickness, 0);
    const heights = Math.max(1, Math.floor(height * 0.36 / (thick * sx)));
    const sy = sx * heights;
    const floor = height - 17 * em, stack = m.layers.reduce((a, l) => a + l.thickness, 0) * sy;
    const padTop = floor - stack, waferTop = padTop - m.wafer_thickness * sy;
    let y = padTop;
    const labels = [];
    m.layers.forEach((layer, i) => {
      add(this.part(el("rect", { x: 0, y, width, height: layer.thickness * sy, class: i ? "subpad" : "pad" }), "pad"));
      labels.push(el("text", { x: 6, y: y + Math.min(0.5 * layer.thickness * sy + 4 * em, 16 * em) + (i ? 0 : 3 * em), class: "on-part" }, `${i ? "sub-pad" : "top pad"} ${show(layer.modulus, "modulus")}`));
      y += layer.thickness * sy;
    });
    add(this.part(el("rect", { x: 0, y: floor, width, height: 17 * em, class: "platen" }), "polisher"));
    add(el("text", { x: 6, y: floor + 13 * em, class: "on-part" }, m.rests_on));
    if (m.grooves.depth > 0 && m.grooves.pattern !== "none") {
      const pitch = Math.max(m.grooves.pitch * sx, 7), deep = m.grooves.depth * sy;
      let d = "";
      for (let x = 3; x < width; x += pitch) d += `M${x.toFixed(1)} ${padTop}v${deep.toFixed(1)}`;
      add(el("path", { d, class: "groove-cut" }));
    }
    add(this.part(el("rect", { x: X(-m.wafer_radius), y: waferTop, width: 2 * m.wafer_radius * sx, height: m.wafer_thickness * sy, class: "wafer solid" }), "wafer"));
    const headTop = 26 * em, headFloor = Math.min(headTop + 30 * em, waferTop - 22);
    const step = m.steps[answer.header.step];
    add(this.part(el("rect", { x: X(-reach / 1.1), y: headTop - 12 * em, width: 2 * reach / 1.1 * sx, height: 12 * em, class: "head" }), "head"));
    const most = Math.max(...m.steps.flatMap((one) => [...one.zones, one.ring]), 1);
    let inner = 0;
    m.zones.forEach((outer, i) => {
      for (const side of i ? [-1, 1] : [0]) {
        const from = side ? side * inner : -outer, to = side ? side * outer : outer;
        const x0 = X(Math.min(from, to)), x1 = X(Math.max(from, to));
        add(this.part(el("rect", { x: x0 + 0.5, y: headTop, width: Math.max(x1 - x0 - 1, 1), height: headFloor - headTop, fill: css(RAMP, 0.25 + 0.7 * step.zones[i] / most), class: "chamber" }), "head"));
        if (x1 - x0 > 28 * em) add(el("text", { x: (x0 + x1) / 2, y: (headTop + headFloor) / 2 + 4 * em, class: "on-map middle" }, number(inUnit(step.zones[i], "pressure"))));
      }
      inner = outer;
    });
    parts.push(...labels);
    if (m.ring) for (const side of [-1, 1]) {
      const from = side * (m.wafer_radius + m.ring.gap), to = side * (m.wafer_radius + m.ring.gap + m.ring.width);
      add(this.part(el("rect", { x: X(Math.min(from, to)), y: headTop, width: m.ring.width * sx, height: padTop - headTop, class: "ring" }), "ring"));
    }
    // what the pad answers with: contact pressure as arrows under the wafer, longer and lighter where it is higher
    const { radius, pressure } = answer.arrays, rows = pressure.shape[1], from = answer.header.step * rows;
    const top = headFloor + 3, room = waferTop - top - 2;
    let high = 0;
    for (let i = 0; i < rows; i++) high = Math.max(high, pressure[from + i]);
    high = Math.max(high, most) || 1;
    for (let i = -22; i <= 22; i++) {
      const x = i / 22 * m.wafer_radius * 0.985, p = interpolate(radius, pressure, from, rows, Math.abs(x));
      arrow(parts, X(x), top + room * (1 - p / high), waferTop - 1, css(RAMP, 0.2 + 0.75 * p / high), em);
    }
    add(el("text", { x: width - 6, y: floor + 13 * em, class: "on-part end" }, `arrows: pressure on the wafer, up to ${show(Math.max(...pressure.subarray(from, from + rows)), "pressure")}; heights × ${heights}`));
    this.cut.setAttribute("aria-label", `Section: zone pressures ${Array.from(step.zones, (z) => number(inUnit(z, "pressure"))).join(", ")} ${unit("pressure").name}${m.ring ? `, ring ${show(step.ring, "pressure")}` : ""}`);
    this.cut.replaceChildren(...parts);
    if (m.ring) this.tag(this.section, "ring", `ring ${show(step.ring, "pressure")}`, Math.min(X(m.wafer_radius + m.ring.gap + m.ring.width / 2), width - 52 * em), headTop - 5 * em).classList.add("small");
  }

  worn(radius, worn) {
    this.wear = worn && worn.length ? { radius, worn, stamp: Math.random() } : null;
    this.key = "";
    if (this.answer) this.show(this.answer);
  }
}

function interpolate(radius, values, from, n, r) {
  let j = 0;
  while (j < n - 2 && radius[j + 1] < r) j++;
  const t = Math.min(Math.max((r - radius[j]) / (radius[j + 1] - radius[j]), 0), 1);
  return values[from + j] + (values[from + j + 1] - values[from + j]) * t;
}

function arrow(parts, x, y0, y1, fill, em) {
  const w = 1.6 * em, head = Math.min(6 * em, y1 - y0), wing = 2.4 * em;
  if (y1 - y0 < 1) return;
  parts.push(el("path", { d: `M${x - w} ${y0}h${2 * w}V${y1 - head}h${wing}L${x} ${y1}l${-w - wing} ${-head}h${wing}z`, fill, class: "arrow" }));
}

const annulus = (a, b) => `M${b} 0A${b} ${b} 0 1 1 ${-b} 0A${b} ${b} 0 1 1 ${b} 0Z${a > 0 ? `M${a} 0A${a} ${a} 0 1 0 ${-a} 0A${a} ${a} 0 1 0 ${a} 0Z` : ""}`;
