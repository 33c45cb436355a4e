// A trace replayed as a machine would have seen it: what was known after each sample, and when it would have called.

import { askJson } from "./api.js";
import { Chart } from "./chart.js";
import { make } from "./choice-form.js";
import { OwnTable } from "./own-table.js";
import { number } from "./units.js";

const KINDS = [["light", "light sent back: follow the film"], ["friction", "friction or torque: watch for a change"], ["eddy", "eddy currents: watch for a change"]];
const LASTS = 12; // seconds that a replay takes
const calm = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Replay {
  constructor(home, state) {
    this.state = state; this.found = null;
    this.said = make("div", { role: "status" });
    this.table = new OwnTable(state, "trace to replay", { none: "invented from this setup", chosen: () => this.suit(), say: (words, wrong) => this.say(words, wrong) });
    const field = (name, more = {}) => make("input", { name, autocomplete: "off", ...more });
    this.kind = make("select", { name: "kind" }, ...KINDS.map(([value, text]) => make("option", { value, text })));
    this.target = field("target_nm", { type: "number", min: 0, max: 1000000, step: "any", value: 500 });
    this.start = field("start", { placeholder: "as the file says" });
    this.rate = field("rate", { placeholder: "as the file says" });
    this.noise = field("noise", { type: "number", min: 1, max: 1000, step: "any", value: 20 });
    this.seed = field("seed", { type: "number", min: 0, step: 1, value: 0 });
    this.light = make("label", {}, "stop at [nm] ", this.target);
    this.told = [make("label", {}, "thickness at the start ", this.start), make("label", {}, "removal rate ", this.rate)];
    this.made = [make("label", {}, "signal to noise ", this.noise), make("label", {}, "seed ", this.seed)];
    this.form = make("form", { class: "hold-form" }, make("label", {}, "trace ", this.table.home), make("label", {}, "signal ", this.kind), this.light, ...this.told, ...this.made, make("button", { class: "main", text: "replay it" }));
    this.kind.addEventListener("change", () => this.suit());
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.ask(); });
    this.result = make("div");
    home.append(make("p", { class: "told", text: "Nothing here stops a machine: its maker’s endpoint, limits and qualified staff do. This shows what a trace would have told, sample by sample." }), this.form, this.said, this.result);
    this.suit();
  }

  open() { this.table.offer(); this.suit(); }

  say(words, wrong = false) { this.said.textContent = words; this.said.classList.toggle("wrong", wrong); }

  suit() {
    const own = Boolean(this.table.select.value), light = this.kind.value === "light";
    this.light.hidden = !light;
    for (const one of this.told) one.hidden = !own || !light;
    for (const one of this.made) one.hidden = own;
  }

  async ask() {
    const own = this.table.select.value, asked = { kind: this.kind.value, target_nm: Number(this.target.value) || 0 };
    await this.state.flush();
    if (own) Object.assign(asked, { file: own, start: this.start.value.trim(), rate: this.rate.value.trim() });
    else Object.assign(asked, { document: this.state.document, noise: Number(this.noise.value) || 20, seed: Number(this.seed.value) || 0 });
    this.pause();
    this.say("reading the trace …");
    try { this.found = await askJson("/api/hold/trace", asked); this.say(""); } catch (error) { this.found = null; this.result.replaceChildren(); this.say(error.message, true); return; }
    this.lay();
  }

  // Pictures, a slider over the time, and what was known then.
  lay() {
    const { found } = this, light = found.is === "light";
    this.times = light ? found.states.map((one) => one.time_s) : found.time;
    this.signal = make("div", { class: "chart data-chart" });
    this.depth = make("div", { class: "chart data-chart" });
    this.now = make("p", { class: "sentence", role: "status" });
    this.play = make("button", { type: "button", text: "play", on: { click: () => (this.timer ? this.pause() : this.run()) } });
    this.slider = make("input", { type: "range", min: 0, max: this.times.length - 1, value: this.times.length - 1, "aria-label": "time in the trace", on: { input: () => { this.pause(); this.at(Number(this.slider.value)); } } });
    const notes = [...found.notes];
    this.result.replaceChildren(make("p", { class: "sentence", text: this.verdict() }), make("div", { class: "row replay-row" }, this.play, this.slider), this.now, this.signal, ...(light ? [this.depth] : []), make("details", {}, make("summary", { text: "what this rests on" }), make("ul", {}, ...notes.map((text) => make("li", { text })))));
    this.charts = [new Chart(this.signal, "Signal"), light ? new Chart(this.depth, "Thickness left") : null];
    this.at(this.times.length - 1);
    if (!calm()) this.run();
  }

  verdict() {
    const { found } = this;
    if (found.is === "light") {
      if (found.called_s === null) return `The target of ${Number(found.target_nm.toPrecision(6))} nm was not reached in this trace.`;
      const off = found.off_target_nm === undefined ? "" : ` The invented film was then ${number(Math.abs(found.off_target_nm), 2)} nm ${found.off_target_nm < 0 ? "below" : "above"} it.`;
      return `It would have called at ${number(found.called_s, 4)} s, at ${number(found.thickness_nm, 4)} ± ${number(found.thickness_error_nm, 2)} nm; ${Number(found.target_nm.toPrecision(6))} nm were wanted.${off}`;
    }
    const promise = ` Promised: ${number(found.promised_false_alarms_percent, 2)} % false alarms, a delay of ${number(found.promised_delay_s, 2)} s.`;
    return found.found_s === null ? `No change was found up to the end of the trace.${promise}` : `It goes ${found.direction} at ${number(found.began_s, 4)} s, called at ${number(found.found_s, 4)} s.${promise}`;
  }

  run() {
    const many = this.times.length, began = performance.now(), from = Number(this.slider.value) >= many - 1 ? 0 : Number(this.slider.value);
    this.play.textContent = "pause";
    const tick = () => {
      const at = Math.min(many - 1, from + Math.floor((performance.now() - began) / 1000 / LASTS * many));
      this.slider.value = at;
      this.at(at);
      if (at < many - 1) this.timer = requestAnimationFrame(tick); else this.pause();
    };
    this.timer = requestAnimationFrame(tick);
  }

  pause() {
    cancelAnimationFrame(this.timer);
    this.timer = null;
    if (this.play) this.play.textContent = "play";
  }

  // What was known after sample `at`.
  at(at) {
    const { found } = this, ends = [this.times[0], this.times.at(-1)];
    this.slider.setAttribute("aria-valuetext", `${number(this.times[at], 3)} s`);
    if (found.is !== "light") {
      const x = this.times.slice(0, at + 1), called = found.found_s !== null && this.times[at] >= found.found_s;
      this.now.textContent = `${number(this.times[at], 4)} s: ${called ? `changed, ${found.direction}, since ${number(found.began_s, 4)} s` : "no change yet"}`;
      this.charts[0].draw({ series: [{ x, y: found.signal.slice(0, at + 1), name: "signal", look: "line-1" }, ...(called ? [{ x: [found.found_s, found.found_s], y: [Math.min(...found.signal), Math.max(...found.signal)], name: "called", look: "line-2", dash: true }] : [])], xLimits: ends, xName: "time [s]", yName: "signal, as recorded" });
      return;
    }
    const states = found.states.slice(0, at + 1), here = states.at(-1), x = states.map((one) => one.time_s), value = (key) => states.map((one) => (one[key] === null ? NaN : one[key]));
    const called = found.called_s !== null && here.time_s >= found.called_s;
    this.now.textContent = `${number(here.time_s, 4)} s: ${here.thickness_nm === null ? "still looking: not enough of a fringe has passed" : `${number(here.thickness_nm, 4)} ± ${number(here.thickness_error_nm, 2)} nm left, ${number(here.removal_rate_nm_per_min, 3)} nm/min${called ? `; called at ${number(found.called_s, 4)} s` : here.left_s === null ? "" : `, ${number(here.left_s, 3)} s to go`}`}`;
    this.charts[0].draw({ series: [{ x, y: value("signal"), name: "measured", look: "line-1" }, { x, y: value("signal_as_followed"), name: "as the film that is followed should give", look: "line-2", dash: true }], xLimits: ends, xName: "time [s]", yName: "signal, as recorded" });
    const known = states.filter((one) => one.thickness_nm !== null);
    this.charts[1].draw({ series: [{ x: known.map((one) => one.time_s), y: known.map((one) => one.thickness_nm), low: known.map((one) => one.thickness_nm - 2 * one.thickness_error_nm), high: known.map((one) => one.thickness_nm + 2 * one.thickness_error_nm), name: "thickness left, ± 2 errors", look: "line-1" }, { x: ends, y: [found.target_nm, found.target_nm], name: "stop at", look: "line-3", dash: true }], xLimits: ends, xName: "time [s]", yName: "thickness left [nm]" });
  }
}
