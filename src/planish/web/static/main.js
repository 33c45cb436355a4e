// The bench: one setup, what it says, and what is done to it.

import { ask, askJson, askPacked, Newest, saveAs, Refusal } from "./api.js";
import * as address from "./address.js";
import { Machine } from "./machine.js";
import { Answers } from "./answers.js";
import { Settings } from "./settings.js";
import { Compare } from "./compare.js";
import { Teach } from "./teach.js";
import { Data } from "./data.js";
import { Hold } from "./hold.js";
import { Runs } from "./runs.js";
import { askPassword } from "./password.js";
import { TradeOffs } from "./tradeoffs.js";
import { Tune } from "./tune.js";
import { system } from "./units.js";

const at = (id) => document.getElementById(id);
const pressed = (home, key, value) => { for (const b of at(home).querySelectorAll("button")) b.setAttribute("aria-pressed", b.dataset[key] === value); };
const SETTLE = 350;
const LEFT = ["tune", "tradeoffs", "hold", "data", "runs"]; // views that stand where the machine does

const state = {
  document: null, changes: {}, answer: null, forms: null, step: 1, view: "bench", lesson: "",
  held: null, heldAnswer: null, heldLot: null, comparison: null, lot: null, die: null, measured: null,

  // Change one value. `done` says that nothing more of it is coming.
  change(path, value, done, stamp) {
    this.changes[path] = value;
    this.stamp = stamp || performance.now();
    machine.calm = performance.now() + 400;
    live.ask({ changes: { ...this.changes }, stamp: this.stamp });
    this.wait(done ? 0 : SETTLE);
  },

  settle() { this.wait(0); },

  // Put several values in at once.
  async put(changes) {
    await flush();
    Object.assign(this.changes, changes);
    live.ask({ changes: { ...this.changes }, stamp: performance.now() });
    this.wait(0);
    await flush();
  },

  wait(time) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      if (live.busy || live.next) return this.wait(40);
      rest();
    }, time);
  },

  async needForms() {
    if (!this.forms || this.formsFor !== this.answer?.header.digest) await fetchForms();
  },

  stepName() { return this.answer ? this.answer.header.machine.steps[this.answer.header.step].name : ""; },

  // Clean after polishing in these steps; null for not at all.
  async clean(wanted) {
    await flush();
    const next = { ...this.document };
    delete next.clean;
    if (wanted) next.clean = { step: wanted };
    this.take(next);
  },

  async choose(section, part) { await this.swap("/api/choose", { section, part }); },

  async swap(path, more) {
    try {
      await flush();
      this.take((await askJson(path, { document: this.document, ...more })).document);
    } catch (error) { this.toast(error.message); settings.refresh(); }
  },

  // Go on with another document.
  take(document) {
    this.document = document; this.changes = {};
    if (this.view === "teach") show("bench");
    live.ask({ changes: {}, stamp: performance.now() });
    this.wait(0);
  },

  async hold() {
    await flush();
    Object.assign(this, { held: this.document, heldAnswer: this.answer, heldLot: this.lot, comparison: null });
    compare.draw(); answers.wafer(); answers.lot(); this.save();
  },

  // Hold another setup than the one on the bench; what it says is asked for when it is compared.
  async holdThis(document) {
    await flush();
    Object.assign(this, { held: document, heldAnswer: null, heldLot: null, comparison: null });
    compare.draw(); answers.wafer(); answers.lot(); this.save();
    this.wait(0);
  },

  backToA() { this.take(this.held); },

  letGo() {
    Object.assign(this, { held: null, heldAnswer: null, heldLot: null, comparison: null });
    answers.shown = "b"; answers.which.value = "b";
    compare.draw(); answers.wafer(); answers.lot(); this.save();
  },

  async csv() { await flush(); return (await ask("/api/wafer.csv", { document: this.document })).blob(); },

  save() { return address.write({ view: this.view, lesson: this.lesson, setup: this.document, held: this.held }); },

  openPart(part, from) { if (this.view !== "bench") show("bench"); settings.open(part, from); },

  startJob(options) { show("runs"); runs.start(options); },

  toast(words) {
    at("toast").textContent = words;
    at("toast").classList.add("shown");
    clearTimeout(this.toasting);
    this.toasting = setTimeout(() => at("toast").classList.remove("shown"), 9000);
  },
};

// Slider to picture: ask, unpack, paint in one frame; a newer question replaces one that waits.
const live = new Newest(async ({ changes, stamp }) => {
  const document = state.document;
  try {
    const answer = await askPacked("/api/wafer", { document, changes, step: state.step });
    if (document !== state.document) return;
    const began = performance.now();
    paint(answer);
    performance.measure("painting", { start: began, end: performance.now() });
    if (JSON.stringify(changes) === JSON.stringify(state.changes)) { state.document = answer.header.document; state.changes = {}; }
    if (state.refused) { state.refused = false; at("toast").classList.remove("shown"); }
    painted(stamp);
  } catch (error) {
    if (!(error instanceof Refusal)) { state.toast("The server does not answer; is it still running?"); return; }
    state.changes = {};
    state.refused = true;
    state.toast(error.message);
  }
});

function painted(stamp) {
  requestAnimationFrame(() => {
    const channel = new MessageChannel(); // runs after the frame has been handed to the screen
    channel.port1.onmessage = () => {
      performance.measure("slider to picture", { start: stamp, end: performance.now() });
      document.documentElement.dataset.painted = String((+document.documentElement.dataset.painted || 0) + 1);
    };
    channel.port2.postMessage(0);
  });
}

function paint(answer) {
  state.answer = answer;
  state.step = answer.header.step;
  at("title").textContent = answer.header.title;
  steps(answer.header.machine.steps);
  machine.show(answer);
  answers.wafer();
  tell(answer.header.findings, answer.header.warnings);
  motions(answer.header.machine);
}

// the motions are those that the server knows
function motions(told) {
  const home = at("motions");
  if (home.children.length !== told.motions.length) home.replaceChildren(...told.motions.map((name) => {
    const button = document.createElement("button");
    button.type = "button"; button.dataset.motion = name; button.textContent = name;
    return button;
  }));
  pressed("motions", "motion", told.motion);
}

async function flush() {
  while (live.busy || live.next) await new Promise((done) => setTimeout(done, 20));
}

// After a change has settled: settings, advice, die, lot, comparison, address.
let round = 0, leaving = new AbortController();
async function rest() {
  if (!state.document || !state.answer) return;
  leaving.abort(); // what the round before still asks for, nobody will look at
  leaving = new AbortController();
  const { signal } = leaving;
  const mine = ++round, digest = state.answer.header.digest, document = state.document;
  const current = () => mine === round && state.answer.header.digest === digest;
  state.save();
  const jobs = [];
  if (state.view === "tradeoffs") tradeoffs.stands();
  if (settings.isOpen) jobs.push(fetchForms().then(() => current() && settings.refresh()));
  if (state.held) jobs.push(contrast(document, current));
  jobs.push(askJson("/api/advice", { document }).then((found) => current() && tell(found, state.answer.header.warnings)));
  if (state.measured && data.again) jobs.push(data.measured(...data.again));
  await Promise.all(jobs.map((job) => job.catch((error) => state.toast(error.message))));
  if (!current() || (state.deepFor === digest + answers.layout.value)) return;
  answers.waiting("lot", true);
  answers.waiting("die", true);
  try {
    const die = await askPacked("/api/die", { document, layout: answers.layout.value }, signal);
    if (!current()) return;
    state.die = die;
    answers.die();
  } catch (error) { if (current()) answers.failed("die", error.message); }
  if (!current()) return;
  try {
    const lot = await askPacked("/api/lot", { document }, signal);
    if (!current()) return;
    state.lot = lot;
    if (state.held && !state.heldLot) state.heldLot = lot;
    answers.lot();
    machine.worn(lot.arrays.pad_radius, lot.arrays.worn);
  } catch (error) { if (current()) answers.failed("lot", error.message); }
  state.deepFor = digest + answers.layout.value;
}

const OUTCOMES = ["mean_removal_rate_nm_per_min", "wiwnu_sigma_percent", "edge_extreme_percent", "peak_temperature_C", "time_s", "real_contact_percent"];
async function contrast(document, current) {
  const began = performance.now();
  if (!state.heldAnswer) { state.heldAnswer = await askPacked("/api/wafer", { document: state.held, step: state.step }); answers.wafer(); }
  const found = await askJson("/api/compare", { a: state.held, b: document, outcomes: OUTCOMES });
  if (!current()) return;
  state.comparison = found;
  compare.result();
  performance.measure("A against B", { start: began, end: performance.now() });
}

async function fetchForms() {
  await flush();
  const forms = await askJson("/api/setup", { document: state.document, changes: state.changes });
  state.forms = forms; state.formsFor = forms.digest;
}

function tell(found, warnings) {
  const list = document.createElement("ul");
  const marks = { act: "▲", look: "●", good: "✓" };
  const items = [...found, ...(warnings || []).map((text) => ({ weight: "look", subject: "setup", text }))];
  for (const { weight, text } of items) {
    const li = document.createElement("li");
    li.className = weight;
    li.innerHTML = "<span class=mark></span> <span></span>";
    li.firstChild.textContent = marks[weight] || "●";
    li.firstChild.setAttribute("title", { act: "change this", look: "have a look", good: "good" }[weight]);
    li.lastChild.textContent = text;
    list.append(li);
  }
  at("findings").replaceChildren(list);
}

function steps(list) {
  const home = at("steps");
  if (home.dataset.names !== JSON.stringify(list.map((s) => s.name))) {
    home.dataset.names = JSON.stringify(list.map((s) => s.name));
    home.replaceChildren(...list.map((step, i) => {
      const button = document.createElement("button");
      button.type = "button"; button.textContent = step.name; button.dataset.step = i;
      button.addEventListener("click", () => { state.step = i; live.ask({ changes: { ...state.changes }, stamp: performance.now() }); flush().then(() => settings.isOpen && settings.draw()); });
      return button;
    }));
  }
  pressed("steps", "step", String(state.step));
}

function show(view) {
  state.view = view;
  pressed("views", "view", view);
  at("teach").hidden = view !== "teach";
  at("bench").hidden = view === "teach";
  at("machine-view").hidden = LEFT.includes(view);
  for (const name of LEFT) at(`${name}-view`).hidden = view !== name;
  if (view === "teach") teach.open(state.lesson);
  if (view === "runs") runs.watch();
  if (view === "tune") tune.open();
  if (view === "tradeoffs") tradeoffs.open();
  if (view === "hold") hold.open();
  if (state.document) state.save();
}

function units(which) {
  system.now = which;
  localStorage.setItem("units", which);
  pressed("units", "units", which);
  if (!state.answer) return;
  paint(state.answer);
  answers.lot(); answers.die(); tune.draw();
  if (settings.isOpen) settings.draw();
}

function theme(which) {
  document.documentElement.dataset.theme = which;
  localStorage.setItem("theme", which);
  at("theme").setAttribute("aria-pressed", which === "dark");
}

const answers = new Answers(at("answers"), state);
const settings = new Settings(at("left"), state);
const machine = new Machine({ plan: at("plan"), section: at("section"), note: at("slowed"), open: (part, from) => settings.open(part, from) });
const compare = new Compare(at("compare"), state);
const teach = new Teach(at("teach"), state);
const data = new Data(at("data-view"), state);
const runs = new Runs(at("runs-view"), state);
const tune = new Tune(at("tune-view"), state);
const tradeoffs = new TradeOffs(at("tradeoffs-view"), state);
Object.assign(state, { answers, machine, data, flush, showFront: (job) => { show("tradeoffs"); tradeoffs.show(job, true); }, showTuned: (job) => { show("tune"); tune.show(job); } });
const hold = new Hold(at("hold-view"), state); // it looks at the files of `data`
answers.enlarge("wafer");

at("motions").addEventListener("click", (e) => e.target.dataset.motion && state.swap("/api/move", { motion: e.target.dataset.motion }));
at("views").addEventListener("click", (e) => e.target.dataset.view && show(e.target.dataset.view));
at("units").addEventListener("click", (e) => e.target.dataset.units && units(e.target.dataset.units));
at("theme").addEventListener("click", () => theme(document.documentElement.dataset.theme === "dark" ? "light" : "dark"));
at("pause").addEventListener("click", () => { machine.paused = !machine.paused; motionButton(); });
at("keep").addEventListener("click", () => { at("keeping").hidden = !at("keeping").hidden; at("keep").setAttribute("aria-expanded", !at("keeping").hidden); });
at("share").addEventListener("click", async () => {
  const link = await state.save();
  try { await navigator.clipboard.writeText(link); state.toast("The link is copied: it holds the whole setup."); } catch { state.toast("The address of this page holds the whole setup: copy it from the address line."); }
});
for (const [id, path, name] of [["save-toml", "/api/toml", "setup.toml"], ["save-sheet", "/api/recipe-sheet", "recipe.html"], ["save-report", "/api/report", "report.html"]]) {
  at(id).addEventListener("click", async () => { await flush(); saveAs(path, { document: state.document }, name).catch((error) => state.toast(error.message)); });
}
at("open-toml").addEventListener("change", async (e) => {
  const file = e.target.files[0];
  if (!file) return;
  try {
    if (file.size > 500000) throw new Error(`${file.name}: is too large for a setup`);
    state.take((await askJson("/api/read", { text: await file.text() })).document);
  } catch (error) { state.toast(error.message); }
  e.target.value = "";
});
addEventListener("keydown", (e) => {
  if (e.target.matches("input, select, textarea, canvas") || e.ctrlKey || e.metaKey || e.altKey) return;
  if (e.key === " " && e.target === document.body) { e.preventDefault(); at("pause").click(); }
});

function motionButton() {
  at("pause").textContent = machine.paused ? "move" : "pause";
  at("pause").setAttribute("aria-pressed", machine.paused);
}

async function people() {
  const me = await askJson("/api/me");
  if (!me.team) return;
  const home = at("people");
  home.textContent = `${me.name} (${me.role}) `;
  const button = (words, run) => { const b = document.createElement("button"); b.type = "button"; b.textContent = words; b.addEventListener("click", run); home.append(b); };
  if (me.role === "approve") button("approve this setup", async () => {
    try { const entry = await askJson("/api/approvals", { document: state.document, note: "" }); state.toast(`Approved and written down: ${entry.setup}, ${entry.at}`); } catch (error) { state.toast(error.message); }
  });
  button("change password", () => askPassword(state));
  button("sign out", async () => { await ask("/api/sign-out", {}); location.assign("/sign-in"); });
}

async function begin() {
  theme(localStorage.getItem("theme") || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light"));
  system.now = localStorage.getItem("units") === "si" ? "si" : "trade";
  pressed("units", "units", system.now);
  motionButton();
  const from = await address.read();
  if (from.broken) state.toast("The setup in the address is damaged; this is the demo setup.");
  state.lesson = from.lesson;
  try {
    state.document = from.setup || (await askJson("/api/setups")).document;
    if (from.held) { state.held = from.held; compare.draw(); }
    live.ask({ changes: {}, stamp: performance.now() });
    await flush();
    if (!state.answer) {
      state.document = (await askJson("/api/setups")).document;
      live.ask({ changes: {}, stamp: performance.now() });
      await flush();
    }
  } catch (error) { state.toast(error.message); }
  document.documentElement.dataset.ready = "yes";
  show(["bench", "teach", ...LEFT].includes(from.view) ? from.view : "bench");
  state.settle();
  people().catch(() => {});
}

addEventListener("hashchange", async () => {
  const from = await address.read();
  if (from.setup && JSON.stringify(from.setup) !== JSON.stringify(state.document)) state.take(from.setup);
});
begin();
