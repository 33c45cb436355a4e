// Limits that every wafer shall meet, asked for and answered: the chance of it with its interval, and which limit is missed most.

import { make } from "./choice-form.js";
import { number } from "./units.js";

const plainNumber = (input) => input.value.trim().replace(",", ".");

export class Meet {
  constructor(home) {
    this.rows = make("div", { class: "knob-rows" });
    this.select = make("select", { "aria-label": "another limit to meet" });
    this.wafers = make("input", { type: "number", name: "over_wafers", min: 0, max: 5000, placeholder: "new pad", "data-chance": true });
    this.draws = make("input", { type: "number", name: "draws", min: 20, value: 200, "data-chance": true });
    this.spreads = make("input", { type: "checkbox", name: "spreads" });
    this.spreads.checked = true;
    this.more = make("div", { class: "limits", hidden: true },
      make("label", {}, "wafers that a pad polishes, each age as likely ", this.wafers),
      make("label", {}, "draws that are counted ", this.draws),
      make("label", { class: "switch" }, this.spreads, " draw the stated spreads of setup and parts"));
    home.append(make("fieldset", {}, make("legend", { text: "What wafers shall meet" }), make("p", { class: "told", text: "Given, the settings are those with the highest chance of meeting all of it; that takes minutes, and runs as a long run." }), this.rows, this.select, this.more));
    this.select.addEventListener("change", () => { this.add(this.select.value); this.select.value = ""; });
  }

  offer(figures) {
    this.figures = figures;
    this.select.replaceChildren(make("option", { value: "", text: "set a limit to meet …" }), ...figures.map((one) => make("option", { value: one.key, text: one.words })));
  }

  add(key) {
    const figure = this.figures.find((one) => one.key === key);
    if (!figure || this.rows.querySelector(`[data-key="${key}"]`)) return;
    const field = (name, label) => make("input", { type: "text", inputmode: "decimal", name, placeholder: "any", "aria-label": `${figure.words}, ${label}`, "data-chance": true });
    const row = make("div", { class: "knob", "data-key": key, "data-unit": figure.unit }, make("span", { class: "knob-name", text: figure.words }), make("span", { class: "knob-ends" }, field("low", "at least"), " to ", field("high", "at most"), ` ${figure.unit}`));
    row.append(make("button", { type: "button", text: "✕", "aria-label": `no limit of ${figure.words}`, on: { click: () => { row.remove(); this.more.hidden = !this.rows.children.length; this.select.focus(); } } }));
    this.rows.append(row);
    this.more.hidden = false;
    row.querySelector("input").focus();
  }

  // As the command takes it; null where no limit is set.
  asked() {
    const meet = {};
    for (const row of this.rows.children) {
      const [low, high] = ["low", "high"].map((name) => plainNumber(row.querySelector(`[name=${name}]`)));
      if (low || high) meet[row.dataset.key] = `${low}..${high} ${row.dataset.unit}`;
    }
    if (!Object.keys(meet).length) return null;
    return { meet, over_wafers: Number(this.wafers.value) || 0, draws: Number(this.draws.value), spreads: this.spreads.checked };
  }
}

const share = (found, name) => `${number(found[`${name}_percent`])}\u00a0% (95\u00a0% interval ${number(found[`${name}_low_percent`])} to ${number(found[`${name}_high_percent`])}\u00a0%)`;

// What the answer says of the chance; nothing where no limits were asked for.
export function chanceOf(found) {
  if (!("chance_percent" in found)) return [];
  const kept = found.chance_settings === "plain", sentence = `A wafer meets all limits in ${share(found, "chance")} of ${found.draws} draws on the full model${kept ? "; the search found no settings that do better than the most even ones" : `; with the most even settings in ${share(found, "chance_plain")}`}.${found.fails_most ? ` Missed most: ${found.fails_most}.` : ""}`;
  const made = make("table", { "aria-label": "Chance of meeting each limit" });
  made.innerHTML = "<thead><tr><th>limit</th><th>missed by</th><th>5 % of draws below</th><th>half below</th><th>95 % below</th></tr></thead>";
  const body = made.createTBody();
  for (const row of found.meet) body.append(make("tr", {}, ...[row.limit, `${number(row.failed_percent)} %`, ...["p5", "p50", "p95"].map((at) => `${number(row[at], 4)} ${row.unit}`)].map((text) => make("td", { text }))));
  return [make("p", { class: "sentence chance", text: sentence }), make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Limits to meet, table" }, made)];
}
