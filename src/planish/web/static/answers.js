// The three answers: wafer, die, lot. Small beside each other, one of them large.

import { Chart, standalone, asPng } from "./chart.js";
import { MapView, limitsOf } from "./map.js";
import { saveBlob } from "./api.js";
import { fromCelsius, fromNmPerMin, inMm, inNm, inUnit, number, show, unit } from "./units.js";


function button(home, words, label, run) {
  const made = document.createElement("button");
  made.type = "button"; made.textContent = words;
  made.setAttribute("aria-label", label);
  made.addEventListener("click", run);
  home.append(made);
  return made;
}

function choice(home, label, options, now, run) {
  const made = document.createElement("select");
  made.setAttribute("aria-label", label);
  for (const [value, words] of options) made.add(new Option(words, value, false, value === now));
  made.addEventListener("change", () => run(made.value));
  home.append(made);
  return made;
}

function numbers(home, pairs) {
  home.replaceChildren(...pairs.map(([name, value, was]) => {
    const span = document.createElement("span");
    span.innerHTML = "<b></b> <small></small>";
    span.firstChild.textContent = value;
    span.lastChild.textContent = name + (was ? ` (A ${was.split(" ")[0]})` : "");
    return span;
  }));
}

function windowOf(s) {
  const by = String(s.window_set_by).replaceAll("_", " ");
  const looked = `within ${s.route === "contact" ? 2 : 20} times the recipe`;
  if (s.window_earliest_s === null) return `none: not clear ${looked}`;
  if (s.window_latest_s === null) return `from ${number(s.window_earliest_s)} s on: no limit is passed ${looked}`;
  const [first, last] = [number(s.window_earliest_s), number(s.window_latest_s)];
  if (s.window_earliest_s > s.window_latest_s) return `none: clear at ${first} s, but ${by} passes its limit at ${last} s`;
  return `${first} to ${last} s (ends by ${by})`;
}

export const KINDS = {
  removed: ["removed", "thickness"], remaining: ["remaining", "thickness"],
  pressure: ["pressure on the wafer", "pressure"], speed: ["sliding speed", "speed"],
};

export class Answers {
  constructor(home, state) {
    this.state = state; this.home = home;
    this.quantity = "removed"; this.shown = "b"; this.place = 2;
    const at = (id) => document.getElementById(id);
    this.waferMap = new MapView(at("wafer-map"), "Wafer map");
    this.profile = new Chart(at("wafer-profile"), "Wafer profile");
    this.dieMap = new MapView(at("die-map"), "Die map");
    this.lotChart = new Chart(at("lot-chart"), "Lot");
    this.lotKind = "rate";
    for (const name of ["wafer", "die", "lot"]) this.tools(name, at(`${name}-tools`));
  }

  tools(name, home) {
    if (name === "wafer") {
      choice(home, "Quantity over the wafer", Object.entries(KINDS).map(([k, [w]]) => [k, w]), "removed", (v) => { this.quantity = v; this.wafer(); });
      this.which = choice(home, "Which setup the map shows", [["b", "now"], ["a", "held A"], ["d", "now − A"]], "b", (v) => { this.shown = v; this.wafer(); });
      this.which.hidden = true;
      const cleaning = button(home, "clean", "wafer: open its cleaning", () => this.state.openPart("clean", cleaning));
    }
    if (name === "die") {
      const stack = button(home, "stack", "die: open what stands on it", () => this.state.openPart("die", stack));
      this.layout = choice(home, "Test layout", [["density-blocks", "blocks"], ["step-density", "density steps"], ["line-space", "lines and spaces"]], "density-blocks", () => this.state.settle());
      choice(home, "Place on the wafer", [["0", "centre"], ["1", "mid"], ["2", "edge"]], "2", (v) => { this.place = +v; this.die(); });
    }
    if (name === "lot") choice(home, "What is followed through the lot", [["rate", "rate"], ["sigma", "non-uniformity"], ["temperature", "pad temperature"], ["groove", "groove depth"], ["scratch", "scratch index"]], "rate", (v) => { this.lotKind = v; this.lot(); });
    const save = document.createElement("span");
    save.className = "saves";
    button(save, "PNG", `${name}: save as PNG`, () => this.save(name, "png"));
    button(save, "SVG", `${name}: save as SVG`, () => this.save(name, "svg"));
    button(save, "CSV", `${name}: save as CSV`, () => this.save(name, "csv"));
    home.append(save);
    button(home, "⤢", `${name}: enlarge`, () => this.enlarge(name)).classList.add("grow-tool");
  }

  enlarge(name) {
    this.home.dataset.large = name;
    for (const each of ["wafer", "die", "lot"]) document.querySelector(`#${each}-tools .grow-tool`).hidden = each === name;
  }

  async save(name, kind) {
    if (name === "wafer") {
      if (kind === "csv") { saveBlob(await this.state.csv(), "wafer.csv"); return; }
      if (kind === "png") { saveBlob(await this.waferMap.png(), "wafer-map.png"); saveBlob(await asPng(this.profile.svg), "wafer-profile.png"); return; }
      saveBlob(new Blob([standalone(this.profile.svg)], { type: "image/svg+xml" }), "wafer-profile.svg");
      saveBlob(new Blob([this.waferMap.svg()], { type: "image/svg+xml" }), "wafer-map.svg");
      return;
    }
    const view = name === "die" ? this.dieMap : this.lotChart;
    if (!view.spec) return;
    if (kind === "csv") saveBlob(new Blob([view.csv()], { type: "text/csv" }), `${name}.csv`);
    else if (kind === "png") saveBlob(name === "die" ? await view.png() : await asPng(view.svg), `${name}.png`);
    else saveBlob(new Blob([name === "die" ? view.svg() : standalone(view.svg)], { type: "image/svg+xml" }), `${name}.svg`);
  }

  curve(answer) {
    const { arrays, header } = answer, kind = KINDS[this.quantity][1];
    let values = arrays[this.quantity];
    if (values.shape.length > 1) values = values.subarray(header.step * values.shape[1], (header.step + 1) * values.shape[1]);
    const u = unit(kind), out = new Float32Array(values.length);
    for (let i = 0; i < out.length; i++) out[i] = (values[i] - u.offset) / u.factor;
    return out;
  }

  wafer() {
    const b = this.state.answer, a = this.state.heldAnswer;
    if (!b) return;
    this.which.hidden = !a;
    const [words, kind] = KINDS[this.quantity], name = `${words} [${unit(kind).name}]`;
    const radius = b.arrays.radius, mm = Float32Array.from(radius, inMm);
    const now = this.curve(b), series = [];
    const same = a && a.arrays.radius.length === radius.length;
    if (a) series.push({ x: Float32Array.from(a.arrays.radius, inMm), y: this.curve(a), name: "A", dash: true, look: "line-2" });
    series.push({ x: mm, y: now, name: a ? "B, now" : "", look: "line-1" });
    const points = this.state.measured;
    if (points && this.quantity === "removed") series.push({ x: points.r.map(inMm), y: points.measured.map((v) => inUnit(v, "thickness")), name: points.time_s ? `measured, ${Number(points.time_s.toPrecision(4))} s` : "measured", points: true, look: "line-3" });
    const edge = b.header.machine.wafer_radius, excluded = b.header.exclusion_m;
    const s = b.header.summary, was = a ? a.header.summary : null;
    const rate = (x) => x && show(fromNmPerMin(x.mean_removal_rate_nm_per_min), "rate");
    const share = (x, key, digits = 2) => x && (x[key] === null ? "–" : `${number(x[key], digits)} %`);
    numbers(document.getElementById("wafer-numbers"), [
      ["rate", rate(s), rate(was)],
      ["1σ", share(s, "wiwnu_sigma_percent"), share(was, "wiwnu_sigma_percent")],
      ["edge", share(s, "edge_extreme_percent"), share(was, "edge_extreme_percent")],
      ["hottest", show(fromCelsius(s.peak_temperature_C), "temperature"), was && show(fromCelsius(was.peak_temperature_C), "temperature")],
      ["time", `${number(s.time_s)} s`, was && `${number(was.time_s)} s`],
      ...("particles_left_percent" in s ? [["particles left", share(s, "particles_left_percent", 3), was && "particles_left_percent" in was && share(was, "particles_left_percent", 3)]] : []),
    ]);
    this.profile.draw({ series, xLimits: [0, inMm(edge)], legend: series.length > 1, xName: "distance from the centre [mm]", yName: name, shaded: [inMm(edge - excluded), inMm(edge)], robust: inMm(edge - excluded), leastSpan: this.quantity === "pressure" || this.quantity === "speed" ? 0.1 : 0.02, saying: `mean rate ${rate(s)}, non-uniformity ${share(s, "wiwnu_sigma_percent")}` });
    let value = now, difference = false, title = name;
    if (a && this.shown === "a") value = this.curve(a);
    if (a && this.shown === "d" && same) {
      const other = this.curve(a);
      value = now.map((v, i) => v - other[i]); difference = true; title = `now − A, ${name}`;
    }
    const inside = [];
    for (let i = 0; i < radius.length; i++) if (radius[i] <= edge - excluded) inside.push(value[i]);
    let limits = limitsOf(inside);
    if (difference) { const m = Math.max(Math.abs(limits[0]), Math.abs(limits[1])) || 1; limits = [-m, m]; }
    else if (limits[1] - limits[0] < 0.02 * Math.abs(limits[1])) { const c = 0.5 * (limits[0] + limits[1]), h = 0.01 * Math.abs(limits[1]) || 1; limits = [c - h, c + h]; }
    const map = b.arrays.map;
    if (map && this.shown === "b" && this.quantity === "removed") {
      const grid = Float32Array.from(map, (v) => inUnit(v, "thickness"));
      this.waferMap.draw({ grid, rows: map.shape[0], columns: map.shape[1], disc: true, limits: limitsOf(grid, 0.02), unit: unit(kind).name, name: title, exclusion: excluded / edge });
    } else this.waferMap.draw({ round: { radius, value, edge }, limits, difference, unit: unit(kind).name, name: title, exclusion: excluded / edge });
  }

  waiting(name, on) { document.getElementById(`${name}-card`).classList.toggle("waiting", on); }

  failed(name, words) {
    document.getElementById(`${name}-numbers`).textContent = words;
    this.waiting(name, false);
  }

  die() {
    const answer = this.state.die;
    if (!answer) return;
    const { header, arrays } = answer, s = header.summary.places[this.place] || header.summary, shape = arrays.surface.shape;
    const size = shape[1] * shape[2], place = Math.min(this.place, shape[0] - 1);
    const surface = arrays.surface.subarray(place * size, (place + 1) * size);
    const grid = Float32Array.from(surface, inNm);
    this.dieMap.draw({ grid, rows: shape[1], columns: shape[2], limits: limitsOf(grid, 0.01), unit: "nm", name: "surface height about its mean", saying: header.places[place] });
    const list = [["range", `${number(s.within_die_range_nm)} nm`]];
    if (s.planarization_length_mm !== null) list.push(["planarization length", `${number(s.planarization_length_mm, 2)} mm`]);
    if (s.dishing_max_nm !== undefined) list.push(["dishing, most", `${number(s.dishing_max_nm)} nm`]);
    else if (s.step_height_max_nm !== undefined) list.push(["step left", `${number(s.step_height_max_nm)} nm`]);
    numbers(document.getElementById("die-numbers"), list);
    const more = document.getElementById("die-more"), all = header.summary;
    const rows = [["process", header.process], ["die size", `${number(inMm(header.size_m[0]))} × ${number(inMm(header.size_m[1]))} mm`], ["cleared after", s.clear_time_s === null ? "not in this recipe" : `${number(s.clear_time_s)} s`], ["polish window", windowOf(s)], ["depth of focus used", `${number(100 * s.topography_nm / all.depth_of_focus_nm)} %`]];
    for (const { name, words } of header.figures) for (const [side, told] of [["max", "most"], ["mean", "mean"]]) {
      const value = s[`${name}_${side}_nm`];
      if (value !== undefined) rows.push([`${words}, ${told}`, `${number(value)} nm`]);
    }
    const table = document.createElement("table");
    for (const [k, v] of rows) { const row = table.insertRow(); row.innerHTML = "<th scope=row></th><td></td>"; row.cells[0].textContent = k; row.cells[1].textContent = v; }
    more.replaceChildren(table, listed(all.notes));
    this.waiting("die", false);
  }

  lot() {
    const answer = this.state.lot;
    if (!answer) return;
    const { arrays, header } = answer, s = header.summary;
    const kinds = { rate: ["rate", "rate", "rate"], sigma: ["sigma", "1σ over the wafer", "percent"], temperature: ["temperature", "pad temperature", "temperature"], groove: ["groove", "groove depth, least", "depth"], scratch: ["scratch", "scratch index, relative", "plain"] };
    const [key, words, kind] = kinds[this.lotKind], u = unit(kind);
    const convert = (values) => Float32Array.from(values, (v) => (v - u.offset) / u.factor);
    const series = [];
    const held = this.state.heldLot;
    if (held) series.push({ x: held.arrays.wafer, y: convert(held.arrays[key]), name: "A", dash: true, look: "line-2" });
    series.push({ x: arrays.wafer, y: convert(arrays[key]), name: held ? "B, now" : "", look: "line-1" });
    this.lotChart.draw({ series, xName: "wafer", yName: `${words}${u.name ? ` [${u.name}]` : ""}`, leastSpan: 0.05, legend: !!held, saying: `wafer to wafer ${number(s.wtwnu_percent)} %` });
    numbers(document.getElementById("lot-numbers"), [
      ["wafer to wafer", `${number(s.wtwnu_percent, 2)} %`],
      [`rate kept, wafer ${s.wafers}`, s.first_rate_nm_per_min ? `${number(100 * s.last_rate_nm_per_min / s.first_rate_nm_per_min)} %` : "–"],
      ["pad lasts", s.end_of_life_wafer ? `${s.end_of_life_wafer} wafers` : "beyond this lot"],
    ]);
    document.getElementById("lot-more").replaceChildren(listed(s.notes));
    this.waiting("lot", false);
  }
}

function listed(notes) {
  const list = document.createElement("ul");
  for (const note of notes) { const li = document.createElement("li"); li.textContent = note; list.append(li); }
  return list;
}
