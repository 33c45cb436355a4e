// A against B: hold the setup as A, change anything, see what differs and why.

import { el } from "./chart.js";
import { number } from "./units.js";

const JOINT = " & "; // between the names of groups that are swapped together
const LABELS = {
  mean_removal_rate_nm_per_min: "removal rate", wiwnu_sigma_percent: "non-uniformity, 1σ", edge_extreme_percent: "edge against the middle",
  peak_temperature_C: "hottest pad", time_s: "polish time", real_contact_percent: "real contact area",
};

export class Compare {
  constructor(home, state) {
    this.home = home; this.state = state; this.outcome = "mean_removal_rate_nm_per_min";
    this.draw();
  }

  draw() {
    const home = this.home, state = this.state;
    home.replaceChildren();
    const bar = document.createElement("div");
    bar.className = "compare-bar";
    home.append(bar);
    const button = (words, run) => {
      const made = document.createElement("button");
      made.type = "button"; made.textContent = words;
      made.addEventListener("click", run);
      bar.append(made);
      return made;
    };
    if (!state.held) {
      button("hold this setup as A", () => state.hold()).className = "main";
      const p = document.createElement("p");
      p.textContent = "Then change anything: the page shows what differs from A, and why.";
      home.append(p);
      return;
    }
    const select = document.createElement("select");
    select.setAttribute("aria-label", "Figure to explain");
    for (const [key, words] of Object.entries(LABELS)) select.add(new Option(words, key, false, key === this.outcome));
    select.addEventListener("change", () => { this.outcome = select.value; this.result(); });
    const label = document.createElement("strong");
    label.textContent = "Why B differs:";
    bar.append(label, select);
    button("back to A", () => state.backToA());
    button("hold B as A", () => state.hold());
    button("let A go", () => state.letGo());
    this.body = document.createElement("div");
    this.body.className = "why";
    home.append(this.body);
    this.result();
  }

  result() {
    const found = this.state.comparison, body = this.body;
    if (!body) return;
    if (!found) { body.innerHTML = '<p class="wait">A is held. Change something.</p>'; return; }
    const key = this.outcome, at = found.outcomes.indexOf(key), shares = found.shares[key];
    if (at < 0) return;
    const a = found.a[key], b = found.b[key];
    const sentence = document.createElement("p");
    sentence.className = "sentence";
    sentence.textContent = found.sentences[at];
    const wrap = document.createElement("div");
    wrap.className = "why-bars";
    const words = document.createElement("div");
    words.append(sentence);
    for (const note of found.swaps) {
      const told = document.createElement("p");
      told.className = "told";
      told.textContent = note;
      words.append(told);
    }
    body.replaceChildren(wrap, words);
    if (shares) this.bars(wrap, shares, a, b, found.told_in[key] === "%");
    const details = document.createElement("details");
    details.innerHTML = "<summary>table</summary>";
    const table = document.createElement("table");
    table.innerHTML = "<thead><tr><th>figure</th><th>A</th><th>B</th><th>B − A</th></tr></thead>";
    const rows = table.createTBody();
    for (const k of Object.keys(found.a)) {
      if (!(k in found.b) || k === "force_balance_error") continue;
      const row = rows.insertRow();
      const from = found.a[k], to = found.b[k];
      for (const text of [found.labels[k] || k, number(from, 4), number(to, 4), number(from === null || to === null ? null : to - from, 3)]) row.insertCell().textContent = text;
    }
    details.append(table);
    words.append(details);
  }

  bars(home, shares, a, b, relative) {
    const groups = Object.keys(shares), lines = groups.map((g) => g.split(JOINT)), width = Math.max(home.clientWidth, 260), font = 12, tall = 15;
    const low = Math.min(0, ...stacked(groups, shares)), high = Math.max(0, ...stacked(groups, shares));
    const left = 92, right = 150, x = (v) => left + (high > low ? (v - low) / (high - low) : 0) * (width - left - right);
    const foot = tall * lines.reduce((sum, names) => sum + names.length, 0);
    const svg = el("svg", { viewBox: `0 0 ${width} ${foot + tall + 4}`, role: "img", class: "why-svg" });
    let at = 0, y = 0;
    groups.forEach((g, i) => {
      const from = at, to = at + shares[g], deep = tall * lines[i].length;
      at = to;
      lines[i].forEach((name, n) => svg.append(el("text", { x: left - 6, y: y + n * tall + font, class: "key end" }, n ? `& ${name}` : name)));
      svg.append(el("rect", { x: Math.min(x(from), x(to)), y: y + 3, width: Math.max(Math.abs(x(to) - x(from)), 1.5), height: deep - 5, class: shares[g] >= 0 ? "more" : "less" }));
      const part = relative ? ` (${shares[g] >= 0 ? "+" : "−"}${number(Math.abs(100 * shares[g] / a), 2)} %)` : "";
      svg.append(el("text", { x: Math.max(x(from), x(to)) + 5, y: y + font, class: "key" }, shares[g] === 0 ? "same" : `${shares[g] >= 0 ? "+" : "−"}${number(Math.abs(shares[g]), 2)}${part}`));
      if (i < groups.length - 1) svg.append(el("line", { x1: x(to), x2: x(to), y1: y + 3, y2: y + deep + 3, class: "axis" }));
      y += deep;
    });
    svg.append(el("text", { x: left - 6, y: foot + font + 2, class: "key end" }, `A ${number(a)}`));
    svg.append(el("text", { x: x(at) + 5, y: foot + font + 2, class: "key" }, `B ${number(b)}`));
    svg.append(el("line", { x1: x(0), x2: x(0), y1: 0, y2: foot + 4, class: "axis" }));
    svg.setAttribute("aria-label", `Shares of the difference: ${groups.map((g) => `${g} ${number(shares[g])}`).join(", ")}`);
    home.replaceChildren(svg);
  }
}

function stacked(groups, shares) {
  let at = 0;
  return groups.map((g) => (at += shares[g]));
}
