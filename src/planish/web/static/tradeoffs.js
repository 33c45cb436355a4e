// Trade-offs: a front of setups searched for as a long run, pictured, told in a table, each point put on the bench with one press.

import { Latest, ask, askJson, askPacked, gaveUp, saveBlob } from "./api.js";
import { asPng, el, standalone } from "./chart.js";
import { ChoiceForm, lasting, make } from "./choice-form.js";
import { Cost } from "./cost.js";
import { KEY, Scatter, mark } from "./scatter.js";
import { number } from "./units.js";

const EVERY = 600; // [ms] between two looks at a run
const OPEN = ["waiting", "running"];

export class TradeOffs {
  constructor(home, state) {
    this.home = home; this.state = state; this.found = null; this.job = null; this.before = null; this.latest = new Latest();
    home.innerHTML = `<h2>Trade-offs</h2>
      <p class="told">Which setups are worth choosing among: those that no other beats, being as good in every aim and better in one.</p>
      <details class="ask" open><summary>What is wanted, and what may change</summary><div class="asking"><p class="wait" role="status">looking at what can be turned …</p></div></details>
      <div class="run"></div><p class="outcome" role="status"></p><div class="front"></div><div class="costs"></div>`;
    const at = (name) => home.querySelector(`.${name}`);
    this.ask = at("ask"); this.run = at("run"); this.outcome = at("outcome"); this.front = at("front");
    // A front that is picked up late does not close the question under somebody who has begun to answer it.
    for (const kind of ["click", "input"]) this.ask.addEventListener(kind, () => { this.used = true; });
    this.ask.addEventListener("toggle", () => this.ask.open && this.state.document && this.offer());
    this.form = new ChoiceForm(at("asking"), state, { go: (choice) => this.start(choice) });
    this.cost = new Cost(at("costs"), state);
  }

  async open() {
    await this.state.flush();
    if (!this.state.document) return;
    this.offer();
    if (this.found) this.stands();
    if (!this.job && !this.found) this.pickUp();
  }

  // Another setup stands on the bench now.
  stands() {
    if (this.found && this.place() !== this.on) this.paint();
    if (this.ask.open) this.offer();
  }

  // Which point is on the bench; -1 for none.
  place() {
    const now = JSON.stringify(this.state.document);
    return this.list.findIndex((row) => JSON.stringify(row.document) === now);
  }

  // What can be asked of the setup on the bench; asked again when that is another one.
  async offer() {
    const now = JSON.stringify(this.state.document);
    if (now === this.offeredFor) return;
    this.offeredFor = now;
    try {
      const offer = await this.latest.ask("/api/trade-offs", { document: this.state.document });
      if (now !== this.offeredFor) return;
      this.home.querySelector(".asking > .wait")?.remove();
      this.form.take(offer);
      this.cost.offer(offer.prices, () => this.offer());
      const figures = await this.latest.ask("/api/trade-offs/now", { document: this.state.document });
      if (now === this.offeredFor) this.form.figures(figures);
    } catch (error) { if (!gaveUp(error)) { this.offeredFor = ""; this.say(error.message, true); } }
  }

  // A run that outlived the page: the newest that runs, or is done.
  async pickUp() {
    try {
      const job = (await askJson("/api/jobs")).find((each) => each.kind === "trade-off" && [...OPEN, "done"].includes(each.state));
      if (!job || this.job || this.found) return;
      if (job.state === "done") await this.show(job, false);
      else { this.job = job; this.watch(); }
    } catch { /* the list of long runs tells it */ }
  }

  async start(choice) {
    await this.state.flush();
    const { state } = this, title = `${choice.aims.join(" and ")}: ${state.answer?.header.title || "setup"}`;
    this.job = await askJson("/api/jobs", { kind: "trade-off", title: title.slice(0, 80), document: state.document, choice });
    this.lasts = this.form.foreseen && lasting(this.form.foreseen.seconds);
    this.ask.open = false;
    this.front.replaceChildren();
    this.found = null;
    this.watch();
    this.run.querySelector("button")?.focus();
  }

  async watch() {
    clearTimeout(this.timer);
    const { job } = this;
    if (!job) return;
    if (job.state === "done") { this.job = null; await this.show(job, true); return; }
    if (!OPEN.includes(job.state)) {
      this.job = null;
      this.ask.open = true;
      this.say(job.message ? `${job.state}: ${job.message}` : job.state, job.state === "failed");
      return;
    }
    this.progress(job);
    this.timer = setTimeout(async () => {
      try { const told = await askJson(`/api/jobs/${job.id}`); if (this.job === job) { this.job = told; this.watch(); } } catch (error) { this.job = null; this.ask.open = true; this.say(error.message, true); }
    }, EVERY);
  }

  progress(job) {
    if (this.run.dataset.job !== job.id) {
      this.run.dataset.job = job.id;
      this.outcome.textContent = "";
      const bar = make("progress", { max: 1, "aria-label": "setups tried" }), words = make("span");
      const stop = make("button", { type: "button", text: "stop", "aria-label": "stop the search", on: { click: () => this.stop(job.id) } });
      this.run.replaceChildren(make("span", { class: "row" }, bar, words, stop));
    }
    const told = job.state === "waiting" ? "waits for its turn" : `${Math.round(100 * job.share)} % of the setups tried${this.lasts ? `; about ${this.lasts} in all` : ""}`;
    this.run.querySelector("progress").value = job.share;
    this.run.querySelector("span span").textContent = told;
  }

  async stop(id) {
    try { await ask(`/api/jobs/${id}`, undefined, "DELETE"); } catch (error) { this.state.toast(error.message); }
    if (this.job?.id !== id) return;
    try { this.job = await askJson(`/api/jobs/${id}`); this.watch(); } catch (error) { this.say(error.message, true); }
  }

  say(words, wrong = false) {
    delete this.run.dataset.job;
    this.run.replaceChildren();
    this.outcome.textContent = words;
    this.outcome.classList.toggle("wrong", wrong);
  }

  async show(job, focus) {
    let answer;
    try { answer = await askPacked(`/api/jobs/${job.id}/answer`); } catch (error) { this.say(error.message, true); return; }
    this.found = answer.header;
    if (focus || !this.used) this.ask.open = false;
    this.say("");
    this.draw(job);
    if (!focus) return;
    const heading = this.front.querySelector("h3");
    heading.focus({ preventScroll: true });
    heading.scrollIntoView({ block: "start" });
  }

  // The points as the picture and the table take them: the setup as it stands, unless it is one of the front's, then the front.
  rows() {
    const { found } = this, start = found.start[0], own = found.points.some((point) => !Object.keys(point.changes).length);
    const rows = found.points.map((point, i) => ({ ...point, document: found.documents[i], kind: kindOf(point) }));
    if (!own && !start.refused) rows.push({ ...start, point: null, where: start.beyond_limits ? `as it stands, beyond ${start.beyond_limits}` : "as it stands", changes: {}, document: found.start_document, kind: "start" });
    return rows;
  }

  figure(row, aim) {
    const value = row[aim.figure];
    return value === null || value === undefined ? "–" : `${number(value, 4)} ${this.found.units[aim.aim]}`.trimEnd();
  }

  told(row) {
    const { found } = this, name = row.point === null ? row.where : `point ${row.point}${row.where ? `, ${row.where}` : ""}`;
    const aims = found.aims.map((aim) => `${aim.words} ${this.figure(row, aim)}`), knobs = Object.entries(row.changes).map(([path, value]) => `${short(path)} ${value}`);
    return { name, aims, knobs };
  }

  draw(job) {
    const { found } = this, heading = make("h3", { text: `${found.points.length} setup${found.points.length > 1 ? "s" : ""} that no other found beats`, tabindex: -1 });
    this.list = this.rows();
    const picture = make("div", { class: "chart front-chart" });
    this.picked = make("p", { class: "picked" });
    const pair = [found.aims[0].aim, found.aims[1].aim], bar = make("div", { class: "row" });
    if (found.aims.length > 2) for (const [at, label] of [[0, "across"], [1, "up"]]) {
      const select = make("select", {}, ...found.aims.map((aim) => make("option", { value: aim.aim, text: aim.words })));
      select.value = pair[at];
      select.addEventListener("change", () => { if (select.value === pair[1 - at]) pair[1 - at] = pair[at]; pair[at] = select.value; bar.querySelectorAll("select").forEach((each, i) => { each.value = pair[i]; }); this.paint(); });
      bar.append(make("label", {}, `${label} `, select));
    }
    this.pair = pair;
    this.tools = make("div", { class: "row" });
    this.front.replaceChildren(heading, make("p", { class: "told", text: `Of ${found.title}. Press a point to put its setup on the bench.` }), this.key(), ...(bar.children.length ? [bar] : []), picture, this.picked, this.tools, make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Points of the front, table" }),
      make("ul", { class: "words" }, ...found.in_words.map((text) => make("li", { text }))), make("details", {}, make("summary", { text: "Notes" }), make("ul", {}, ...found.notes.map((text) => make("li", { text })))));
    this.scatter = new Scatter(picture, { take: (i) => this.take(i), look: (i) => this.look(i) });
    this.csv = `/api/jobs/${job.id}/table.csv`;
    this.paint();
  }

  key() {
    const home = make("p", { class: "shapes" });
    for (const [kind, words] of KEY) {
      if (!this.list.some((row) => row.kind === kind)) continue;
      const svg = el("svg", { viewBox: "-8 -8 16 16", class: "shape", "aria-hidden": "true" });
      svg.append(mark(kind, 5));
      home.append(make("span", {}, svg, words));
    }
    return home;
  }

  // Picture, table and tools as the bench stands now.
  paint() {
    const { found, pair, list } = this, aim = (name) => found.aims.find((each) => each.aim === name), [across, up] = pair.map(aim);
    const on = this.place(), focused = document.activeElement?.closest?.(".points tr")?.dataset.point;
    this.on = on;
    const points = list.map((row) => {
      const { name, aims, knobs } = this.told(row);
      return { x: row[across.figure], y: row[up.figure], kind: row.kind, onFront: row.point !== null, number: row.point, name: row.where.split(", beyond")[0], words: `${name}: ${[...aims, ...knobs].join(", ")}. Press to put it on the bench` };
    });
    const axis = (one) => `${found.axes[one.aim]}, ${one.better} is better`;
    this.scatter.draw({ points, on, join: found.aims.length === 2, better: { x: across.better, y: up.better }, xName: axis(across), yName: axis(up), saying: `Front: ${axis(up)}, over ${axis(across)}; arrow keys go from point to point, Enter puts one on the bench` });
    this.front.querySelector(".scroll").replaceChildren(this.table(on));
    if (focused) this.front.querySelector(`.points [data-point="${focused}"] button`)?.focus();
    this.acts();
    this.look(on < 0 ? list.findIndex((row) => row.kind === "knee") : on);
  }

  table(on) {
    const { found, list } = this, keys = found.knobs.map((knob) => knob.key);
    const made = make("table", { class: "points", "aria-label": "Points of the front" });
    made.createTHead().append(make("tr", {}, ...["point", "", "what it is", ...found.aims.map((aim) => found.axes[aim.aim]), ...keys.map(short)].map((text) => (text ? make("th", { scope: "col", text }) : make("td")))));
    const body = made.createTBody();
    list.forEach((row, i) => {
      const texts = [row.where, ...found.aims.map((aim) => (row[aim.figure] === null ? "–" : number(row[aim.figure], 4))), ...keys.map((key) => row.changes[key] ?? "as it stands")];
      const button = make("button", { type: "button", text: on === i ? "on bench" : "take", "aria-label": `put ${this.told(row).name} on the bench`, "aria-pressed": on === i ? "true" : "false", on: { click: () => this.take(i) } });
      const line = make("tr", { "data-point": row.point ?? "start", class: on === i ? "moved" : "" }, make("th", { scope: "row", text: row.point ?? "–" }), make("td", {}, button), ...texts.map((text) => make("td", { text })));
      line.addEventListener("pointerenter", () => this.look(i));
      body.append(line);
    });
    return made;
  }

  acts() {
    const { found, state } = this, button = (words, run, more = {}) => this.tools.append(make("button", { type: "button", text: words, on: { click: run }, ...more }));
    this.tools.replaceChildren();
    if (this.before) button("back to what stood on the bench", () => this.back(), { class: "main" });
    if (JSON.stringify(state.held) !== JSON.stringify(found.start_document)) button("hold the setup as it stood as A", async () => { await state.holdThis(found.start_document); this.acts(); });
    const save = make("span", { class: "saves" });
    for (const [words, run] of [["PNG", async () => saveBlob(await asPng(this.scatter.svg), "trade-off.png")], ["SVG", () => saveBlob(new Blob([standalone(this.scatter.svg)], { type: "image/svg+xml" }), "trade-off.svg")], ["CSV", async () => saveBlob(await (await ask(this.csv)).blob(), "trade-off.csv")]]) save.append(make("button", { type: "button", text: words, "aria-label": `front: save as ${words}`, on: { click: () => run() } }));
    this.tools.append(save);
  }

  look(i) {
    const row = this.list[i];
    if (!row) { this.picked.textContent = ""; return; }
    const { name, aims, knobs } = this.told(row);
    this.picked.replaceChildren(make("b", { text: name }), ` ${aims.join("; ")}`, ...(knobs.length ? [make("br"), knobs.join("; ")] : []));
  }

  // What stood on the bench before, unless it is a point of this front, can be brought back.
  async take(i) {
    const { state } = this;
    await state.flush();
    if (this.place() < 0) this.before = state.document;
    await this.put(this.list[i].document);
    state.toast(this.list[i].point === null ? "The setup as it stood is on the bench again." : `Point ${this.list[i].point} is on the bench now.`);
  }

  async back() {
    const was = this.before;
    this.before = null;
    await this.put(was);
  }

  async put(document) {
    this.state.take(document);
    await this.state.flush();
    this.paint();
  }
}

function kindOf(point) {
  if (!Object.keys(point.changes).length) return "start";
  if (/\bknee\b/.test(point.where)) return "knee";
  return point.where.startsWith("best ") ? "end" : "front";
}

// "recipe.step.main.ring_pressure" is "main: ring pressure" for a reader, "pad.part" is "pad".
export function short(path) {
  const pieces = path.replaceAll('"', "").split(".");
  if (pieces[0] === "recipe") return `${pieces[2]}: ${pieces.slice(3).join(" ").replaceAll("_", " ")}`;
  return (pieces.at(-1) === "part" ? pieces.slice(0, -1) : pieces).join(" ").replaceAll("_", " ");
}
