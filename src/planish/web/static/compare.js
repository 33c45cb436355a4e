// A against B: hold the setup as A, change anything, see what differs and why.

import { el } from "./chart.js";
import { number } from "./units.js";

const GROUPS = ["polisher", "head", "pad", "conditioner", "slurry", "recipe", "wafer"];
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
    const key = this.outcome, shares = found.shares[key];
    if (!shares) return;
    const a = found.a[key], b = found.b[key];
    const sentence = document.createElement("p");
    sentence.className = "sentence";
    sentence.textContent = found.sentences[Object.keys(found.shares).indexOf(key)];
    const wrap = document.createElement("div");
    wrap.className = "why-bars";
    const words = document.createElement("div");
    words.append(sentence);
    body.replaceChildren(wrap, words);
    this.bars(wrap, shares, a, b);
    const details = document.createElement("details");
    details.innerHTML = "<summary>table</summary>";
    const table = document.createElement("table");
    table.innerHTML = "<thead><tr><th>figure</th><th>A</th><th>B</th><th>B − A</th></tr></thead>";
    const rows = table.createTBody();
    for (const k of Object.keys(found.a)) {
      if (!(k in found.b) || k === "force_balance_error") continue;
      const row = rows.insertRow();
      for (const text of [found.labels[k] || k, number(found.a[k], 4), number(found.b[k], 4), number(found.b[k] - found.a[k], 3)]) row.insertCell().textContent = text;
    }
    details.append(table);
    words.append(details);
  }

  bars(home, shares, a, b) {
    const groups = GROUPS.filter((g) => g in shares), width = Math.max(home.clientWidth, 260), font = 12, tall = 15;
    const low = Math.min(0, ...stacked(groups, shares)), high = Math.max(0, ...stacked(groups, shares));
    const left = 92, right = 150, x = (v) => left + (high > low ? (v - low) / (high - low) : 0) * (width - left - right);
    const svg = el("svg", { viewBox: `0 0 ${width} ${(groups.length + 1) * tall + 4}`, role: "img", class: "why-svg" });
    let at = 0;
    groups.forEach((g, i) => {
      const from = at, to = at + shares[g], y = i * tall;
      at = to;
      svg.append(el("text", { x: left - 6, y: y + font, class: "key end" }, g));
      svg.append(el("rect", { x: Math.min(x(from), x(to)), y: y + 3, width: Math.max(Math.abs(x(to) - x(from)), 1.5), height: tall - 5, class: shares[g] >= 0 ? "more" : "less" }));
      const part = a ? ` (${shares[g] >= 0 ? "+" : "−"}${number(Math.abs(100 * shares[g] / a), 2)} %)` : "";
      svg.append(el("text", { x: Math.max(x(from), x(to)) + 5, y: y + font, class: "key" }, shares[g] === 0 ? "same" : `${shares[g] >= 0 ? "+" : "−"}${number(Math.abs(shares[g]), 2)}${part}`));
      if (i < groups.length - 1) svg.append(el("line", { x1: x(to), x2: x(to), y1: y + 3, y2: y + tall + 3, class: "axis" }));
    });
    svg.append(el("text", { x: left - 6, y: groups.length * tall + font + 2, class: "key end" }, `A ${number(a)}`));
    svg.append(el("text", { x: x(at) + 5, y: groups.length * tall + font + 2, class: "key" }, `B ${number(b)}`));
    svg.append(el("line", { x1: x(0), x2: x(0), y1: 0, y2: groups.length * tall + 4, class: "axis" }));
    svg.setAttribute("aria-label", `Shares of the difference: ${groups.map((g) => `${g} ${number(shares[g])}`).join(", ")}`);
    home.replaceChildren(svg);
  }
}

function stacked(groups, shares) {
  let at = 0;
  return groups.map((g) => (at += shares[g]));
}
