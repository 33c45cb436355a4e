// Keep a step where it is: charts of measured columns with their alarms, and traces replayed as a machine would have seen them.

import { make } from "./choice-form.js";
import { ControlChart } from "./control-chart.js";
import { Replay } from "./replay.js";

export class Hold {
  constructor(home, state) {
    this.home = home; this.state = state;
    const pick = (name, words) => make("button", { type: "button", "data-part": name, text: words, on: { click: () => this.show(name) } });
    this.choice = make("div", { class: "choice", role: "group", "aria-label": "What to look at" }, pick("chart", "chart a column"), pick("trace", "replay a trace"));
    this.parts = { chart: make("div"), trace: make("div") };
    home.append(make("h2", { text: "Hold it there" }), this.choice, ...Object.values(this.parts));
    this.chart = new ControlChart(this.parts.chart, state);
    this.replay = new Replay(this.parts.trace, state);
    this.show("chart");
  }

  show(name) {
    for (const [key, part] of Object.entries(this.parts)) part.hidden = key !== name;
    for (const button of this.choice.children) button.setAttribute("aria-pressed", String(button.dataset.part === name));
    this.replay.pause();
  }

  open() { this.chart.open(); this.replay.open(); }
}
