// A control chart of a column of one's own table: limits, points, alarms, and what changed at each.

import { askJson } from "./api.js";
import { Chart } from "./chart.js";
import { make } from "./choice-form.js";
import { OwnTable } from "./own-table.js";
import { number } from "./units.js";

const KINDS = [
  ["individuals", "single values, moving range"],
  ["xbar", "means and spreads of groups"],
  ["ewma", "weighted mean (EWMA)"],
  ["cusum", "cumulated sums (CUSUM)"],
  ["t2", "several columns together (T²)"],
];
const SEVERAL = "t2";

export class ControlChart {
  constructor(home, state) {
    this.state = state;
    this.said = make("div", { role: "status" });
    this.table = new OwnTable(state, "table to chart", { none: "choose a table", chosen: (id) => this.take(id), say: (words, wrong) => this.say(words, wrong) });
    this.value = make("select", { name: "value", "aria-label": "measured column" });
    this.kind = make("select", { name: "chart" }, ...KINDS.map(([value, text]) => make("option", { value, text })));
    this.phase = make("select", { name: "phase" });
    this.group = make("select", { name: "group" });
    this.baseline = make("input", { type: "number", name: "baseline", min: 2, step: 1, placeholder: "all" });
    this.rules = make("input", { type: "checkbox", name: "rules" });
    this.grouped = make("label", {}, "rows of one group have the same ", this.group);
    this.form = make("form", { class: "hold-form" },
      make("label", {}, "table ", this.table.home), make("label", {}, "column ", this.value), make("label", {}, "chart ", this.kind), this.grouped,
      make("label", {}, "limits anew where this changes ", this.phase),
      make("label", { title: "Points at the beginning of each phase that limits are taken from." }, "limits from the first ", this.baseline, " points"),
      make("label", { class: "switch" }, this.rules, " run rules too"),
      make("button", { class: "main", text: "draw the chart" }));
    this.kind.addEventListener("change", () => this.suit());
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.ask(); });
    this.result = make("div");
    home.append(make("p", { class: "told", text: "A row a wafer, or a row a measurement: rates, thicknesses, uniformities, whatever a table of yours holds. An alarm says what changed and since which row; what caused it, the tool’s log and those who know it must say." }), this.form, this.said, this.result);
    this.columns = [];
    this.suit();
  }

  open() { this.table.offer(); }

  say(words, wrong = false) { this.said.textContent = words; this.said.classList.toggle("wrong", wrong); }

  // What the kind of chart needs.
  suit() {
    const several = this.kind.value === SEVERAL;
    this.value.multiple = several;
    this.value.size = several ? Math.min(6, Math.max(2, this.columns.filter((c) => c.numbers).length)) : 1;
    this.grouped.hidden = this.kind.value !== "xbar";
    this.rules.disabled = !["individuals", "xbar"].includes(this.kind.value);
  }

  async take(id) {
    this.result.replaceChildren();
    this.columns = [];
    this.value.replaceChildren(); this.phase.replaceChildren(); this.group.replaceChildren();
    if (!id) { this.say(""); return; }
    try {
      const told = await askJson("/api/hold/columns", { file: id });
      this.columns = told.columns;
      const numbers = told.columns.filter((c) => c.numbers), labels = told.columns.filter((c) => c.phases > 1);
      // Whole numbers alone count or name something; what is measured is seldom so.
      this.value.replaceChildren(...numbers.map((c) => make("option", { value: c.name, text: c.name })));
      this.phase.replaceChildren(make("option", { value: "", text: "nothing" }), ...labels.map((c) => make("option", { value: c.name, text: `${c.name} (${c.phases} phases)` })));
      this.group.replaceChildren(...told.columns.map((c) => make("option", { value: c.name, text: c.name })));
      const first = numbers.find((c) => !c.whole) || numbers[0];
      if (first) this.value.value = first.name;
      this.suit();
      this.say(`${told.rows} rows; choose a column.`);
    } catch (error) { this.say(error.message, true); }
  }

  async ask() {
    if (!this.table.select.value) { this.say("choose a table first, or bring a file", true); return; }
    const kind = this.kind.value, asked = { file: this.table.select.value, value: [...this.value.selectedOptions].map((o) => o.value), chart: kind };
    if (!asked.value.length) { this.say("choose a column", true); return; }
    if (this.phase.value) asked.phase = this.phase.value;
    if (kind === "xbar") asked.group = this.group.value;
    if (this.baseline.value) asked.baseline = Number(this.baseline.value);
    if (this.rules.checked && !this.rules.disabled) asked.rules = ["handbook"];
    this.say("charting …");
    try { this.draw(await askJson("/api/hold/chart", asked)); this.say(""); } catch (error) { this.result.replaceChildren(); this.say(error.message, true); }
  }

  draw(found) {
    const x = found.rows, alarms = found.alarms, many = alarms.length;
    const verdict = make("p", { class: `sentence ${many ? "alarmed" : ""}`, text: `${many ? `${many} alarm${many > 1 ? "s" : ""}` : "No alarm"} in ${found.points} points of ${found.value}: centre ${number(found.centre, 5)}, limits ${number(found.lower, 5)} to ${number(found.upper, 5)}${found.phases.length > 1 ? " in the last phase" : ""}.${found.arl_on_target ? ` On target such a chart alarms falsely once in ${number(found.arl_on_target, 3)} points.` : ""}` });
    const charts = found.panels.map((given, at) => {
      const panel = { ...given, name: given.name === "value" ? found.value : given.name };
      const home = make("div", { class: "chart data-chart" }), told = new Set(alarms.filter((a) => a.panel === at + 1).map((a) => a.point - 1 - found.first_point));
      const marks = [...told].filter((i) => i >= 0);
      const series = panel.lines.map((y, k) => ({ x, y: y.map((v) => (v === null ? NaN : v)), name: panel.lines.length > 1 ? `${panel.name} ${k + 1}` : panel.name, look: `line-${k + 1}` }));
      for (const [name, key, look] of [["limits", "upper", "line-3"], ["", "lower", "line-3"], ["centre", "centre", "line-4"]]) series.push({ x, y: panel[key].map((v) => (v === null ? NaN : v)), name, look, dash: true });
      // The line that lies farthest out is the one that alarms.
      const worst = (i) => panel.lines.map((y) => y[i]).reduce((a, b) => (Math.abs(b - panel.centre[i]) > Math.abs(a - panel.centre[i]) ? b : a));
      if (marks.length) series.push({ x: marks.map((i) => x[i]), y: marks.map(worst), name: "alarm", points: true, look: "line-2" });
      return { home, drawn: () => new Chart(home, panel.name).draw({ series, xName: "row of the table", yName: panel.name, saying: marks.length ? `${marks.length} alarms` : "no alarm" }) };
    });
    this.result.replaceChildren(verdict, ...charts.map((c) => c.home), ...this.alarms(found), ...this.notes(found.notes));
    for (const one of charts) one.drawn();
  }

  alarms(found) {
    if (!found.alarms.length) return [];
    const made = make("table", { "aria-label": "Alarms" }), shown = found.alarms.slice(0, 40);
    made.innerHTML = "<thead><tr><th>row</th><th>rule</th><th>what changed</th></tr></thead>";
    const body = made.createTBody();
    for (const alarm of shown) body.append(make("tr", {}, make("th", { scope: "row", text: String(alarm.row) }), make("td", { text: alarm.rule }), make("td", { text: alarm.cause })));
    const more = found.alarms.length - shown.length;
    return [make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Alarms, table" }, made), ...(more ? [make("p", { class: "told", text: `and ${more} more` })] : [])];
  }

  notes(list) { return list.length ? [make("details", {}, make("summary", { text: "what this rests on" }), make("ul", {}, ...list.map((text) => make("li", { text }))))] : []; }
}
