// A part's settings, opened where the part stands: slider and text field, unit, range, default, source, spread.

import { ask } from "./api.js";
import { number, rateStep, system, warmthStep } from "./units.js";

const trim = (text) => (text.includes(".") && !text.includes("e") ? text.replace(/\.?0+$/, "") : text);

const NAMES = { polisher: "Polisher", pad: "Pad", head: "Head", ring: "Retaining ring", conditioner: "Conditioner", slurry: "Slurry", wafer: "Wafer", recipe: "Speeds and times", die: "What stands on the die", clean: "Cleaning after polishing" };
const SECTION = { ring: null, recipe: null, die: null, clean: null };

export class Settings {
  constructor(home, state) {
    this.home = home; this.state = state; this.part = null;
    this.panel = document.createElement("section");
    this.panel.className = "settings";
    this.panel.hidden = true;
    this.panel.setAttribute("role", "dialog");
    home.append(this.panel);
    addEventListener("keydown", (e) => { if (e.key === "Escape" && this.isOpen) this.close(); });
  }

  async open(part, from) {
    if (this.part === part && !this.panel.hidden) { this.close(); return; }
    this.part = part; this.from = from;
    await this.state.needForms();
    this.draw();
    this.panel.hidden = false;
    const room = this.home.clientWidth, x = from ? from.getBoundingClientRect().left - this.home.getBoundingClientRect().left : 0;
    this.panel.classList.toggle("at-left", x > room / 2);
    this.panel.querySelector("button, input, select").focus({ preventScroll: true });
  }

  close() {
    this.panel.hidden = true;
    this.part = null;
    this.from?.focus?.();
  }

  get isOpen() { return !this.panel.hidden; }

  // Values from the server after a change; what is being dragged or typed is left alone.
  refresh() {
    if (!this.isOpen) return;
    if (this.panel.contains(document.activeElement) && document.activeElement.matches("input[type=range],input[type=text]")) {
      for (const field of this.fields()) this.rows?.get(field.path)?.(field);
      this.strips();
      return;
    }
    this.draw();
  }

  fields() {
    const forms = this.state.forms, step = `${forms.steps[this.state.step]}.`;
    return forms.fields.filter((f) => f.part === this.part && (!f.path.startsWith("recipe.step.") || f.path.startsWith(step)));
  }

  draw() {
    const forms = this.state.forms, panel = this.panel, kept = panel.scrollTop;
    const focused = panel.contains(document.activeElement) ? document.activeElement.id : "";
    panel.replaceChildren();
    panel.setAttribute("aria-label", `Settings: ${NAMES[this.part]}`);
    this.rows = new Map();
    const top = document.createElement("div");
    top.className = "settings-top";
    top.innerHTML = "<h3></h3>";
    top.firstChild.textContent = NAMES[this.part];
    const close = document.createElement("button");
    close.type = "button"; close.textContent = "✕"; close.setAttribute("aria-label", "Close settings");
    close.addEventListener("click", () => this.close());
    top.append(close);
    panel.append(top);
    const section = this.part in SECTION ? SECTION[this.part] : this.part;
    if (section) panel.append(this.partChoice(section, forms.parts[section]));
    if (this.part === "clean") panel.append(this.cleaning(forms));
    const all = this.fields(), inStep = all.filter((f) => f.path.startsWith("recipe."));
    if (inStep.length) this.group(`In step “${this.state.stepName()}”`, inStep, panel);
    const own = all.filter((f) => !f.path.startsWith("recipe.") && f.kind !== "text");
    if (own.length) this.group({ ring: "The ring itself", die: "Process and stack", clean: "Steps and liquid" }[this.part] || "The part itself", own, panel);
    this.strips();
    panel.scrollTop = kept;
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  }

  // Under every slider: what a twentieth of its range does to the four figures that are always in view.
  async strips() {
    const asked = this.fields().filter((f) => this.rows.has(f.path)), document = this.state.document, mine = (this.round || 0) + 1;
    this.round = mine;
    const moves = {}, told = {};
    for (const field of asked) {
      const u = field.units[system.now], step = (field.high - field.low) / 20;
      if (!(step > 0)) continue;
      const to = field.value + step <= field.high ? field.value + step : field.value - step;
      const shown = trim(number((to - u.offset) / u.factor, 4));
      moves[field.path] = u.write ? `${shown} ${u.write}` : Number(shown);
      told[field.path] = `at ${shown}${u.name ? ` ${u.name}` : ""}`;
    }
    if (!Object.keys(moves).length) return;
    this.asking?.abort(); // what was asked before, nobody will look at
    this.asking = new AbortController();
    let found;
    try { found = await (await ask("/api/nudges", { document, moves }, undefined, this.asking.signal)).json(); } catch { return; }
    if (mine !== this.round || document !== this.state.document) return;
    for (const row of this.panel.querySelectorAll(".setting")) {
      const slider = row.querySelector("input[type=range]"), path = slider?.dataset.path;
      if (!path || !found[path]) continue;
      let strip = row.querySelector(".strip");
      if (!strip) { strip = window.document.createElement("small"); strip.className = "strip"; slider.after(strip); }
      strip.textContent = typeof found[path] === "string" ? "" : `${told[path]}: ${does(found[path])}`;
    }
  }

  // Whether the wafer is cleaned at all: a setup without the table is as if nobody asked.
  cleaning(forms) {
    const made = document.createElement("button"), on = !!this.state.document.clean;
    made.type = "button"; made.className = "switch-cleaning";
    made.textContent = on ? "do not clean" : "clean with brush, sound and rinse";
    made.addEventListener("click", () => this.state.clean(on ? null : forms.usual_cleaning));
    return made;
  }

  group(title, fields, home) {
    const made = document.createElement("fieldset");
    made.innerHTML = "<legend></legend>";
    made.firstChild.textContent = title;
    for (const field of fields) made.append(this.row(field));
    home.append(made);
  }

  partChoice(section, parts) {
    const label = document.createElement("label");
    label.className = "part-choice";
    label.append("catalogue part ");
    const select = document.createElement("select");
    select.id = `part-${section}`;
    if (!parts.chosen) select.add(new Option("own values", ""));
    for (const { name, summary } of parts.options) {
      const option = new Option(name.replaceAll("-", " "), name, false, name === parts.chosen);
      option.title = summary;
      select.add(option);
    }
    select.addEventListener("change", () => this.state.choose(section, select.value));
    label.append(select);
    const about = document.createElement("small");
    about.textContent = parts.options.find((p) => p.name === parts.chosen)?.summary || "";
    label.append(about);
    return label;
  }

  row(field) {
    const row = document.createElement("div");
    row.className = "setting";
    const id = `set-${encodeURIComponent(field.path).replaceAll(".", "-")}`;
    if (field.kind === "switch") {
      row.innerHTML = `<label class="switch"><input type="checkbox" id="${id}"> <span></span></label>`;
      row.querySelector("span").textContent = field.about;
      const box = row.querySelector("input");
      box.checked = field.text === true;
      box.addEventListener("change", () => this.state.change(field.path, box.checked, true));
      return this.told(row, field);
    }
    if (field.kind === "choice") {
      row.innerHTML = `<label for="${id}"></label><select id="${id}"></select>`;
      row.querySelector("label").textContent = field.label;
      const select = row.querySelector("select");
      for (const each of field.choices) select.add(new Option(each, each, false, each === field.text));
      select.addEventListener("change", () => {
        // the keys of one process do not fit another: they go back to what is usual
        if (field.path === "die.process") for (const other of this.fields()) if (other.path !== field.path) this.state.changes[other.path] = null;
        this.state.change(field.path, select.value, true);
      });
      return this.told(row, field);
    }
    if (field.kind === "text") {
      row.innerHTML = `<label for="${id}"></label><input type="text" id="${id}">`;
      row.querySelector("label").textContent = field.label;
      const input = row.querySelector("input");
      input.value = field.text;
      input.addEventListener("change", () => this.state.change(field.path, input.value, true));
      return this.told(row, field);
    }
    const u = field.units[system.now], steps = 200;
    row.innerHTML = `<label for="${id}"></label><span class="value"><input type="text" inputmode="decimal" id="${id}"><span class="unit"></span></span><input type="range" min="0" max="${steps}" step="1">`;
    row.querySelector("label").textContent = field.label;
    row.querySelector(".unit").textContent = u.name;
    const slider = row.querySelector("input[type=range]"), text = row.querySelector("input[type=text]");
    slider.setAttribute("aria-label", `${field.label}${u.name ? `, ${u.name}` : ""}`);
    slider.dataset.path = field.path;
    const span = field.high - field.low;
    const show = (si) => {
      text.value = trim(number((si - u.offset) / u.factor, 4));
      slider.value = span > 0 ? Math.round((si - field.low) / span * steps) : 0;
      slider.setAttribute("aria-valuetext", `${text.value} ${u.name}`);
    };
    const write = (shown) => (u.write ? `${shown} ${u.write}` : Number(shown));
    show(field.value);
    slider.addEventListener("input", (event) => {
      const si = field.low + span * slider.value / steps;
      const shown = trim(number((si - u.offset) / u.factor, 4));
      text.value = shown;
      slider.setAttribute("aria-valuetext", `${shown} ${u.name}`);
      this.state.change(field.path, write(shown), false, event.timeStamp);
    });
    slider.addEventListener("change", () => this.state.wait(300)); // keys send one for each press
    text.addEventListener("change", () => {
      const given = text.value.trim().replace(",", ".");
      const bare = given !== "" && Number.isFinite(Number(given));
      if (!bare && !u.write) { this.state.toast(`${field.label}: must be a number`); return; }
      this.state.change(field.path, bare ? write(given) : given, true);
    });
    this.rows.set(field.path, (fresh) => {
      if (document.activeElement !== slider && document.activeElement !== text) show(fresh.value);
      row.querySelector(".told").textContent = words(fresh);
    });
    return this.told(row, field);
  }

  told(row, field) {
    const told = document.createElement("small");
    told.className = "told";
    told.textContent = words(field);
    row.title = field.about;
    row.append(told);
    if (field.origin === "setup" && !field.path.startsWith("recipe.") && field.part !== "wafer") {
      const back = document.createElement("button");
      back.type = "button"; back.className = "back"; back.textContent = "default";
      back.setAttribute("aria-label", `${field.label}: back to the default`);
      back.addEventListener("click", () => this.state.change(field.path, null, true));
      row.append(back);
    }
    return row;
  }
}

const SMALL = { mean_removal_rate_nm_per_min: 0.05, wiwnu_sigma_percent: 0.005, edge_extreme_percent: 0.05, peak_temperature_C: 0.05 };
const signed = (value, digits = 2) => `${value > 0 ? "+" : "−"}${number(Math.abs(value), digits)}`;

// A change of the headlines in words; what rounds to nothing is left out.
function does(change) {
  const seen = Object.keys(SMALL).filter((key) => change[key] !== null && Math.abs(change[key]) >= SMALL[key]);
  const part = {
    mean_removal_rate_nm_per_min: (v) => `rate ${signed(rateStep(v).value)} ${rateStep(v).name}`,
    wiwnu_sigma_percent: (v) => `1σ ${signed(v)} %`,
    edge_extreme_percent: (v) => `edge ${signed(v)} %`,
    peak_temperature_C: (v) => `hottest ${signed(v)} ${warmthStep}`,
  };
  return seen.length ? seen.map((key) => part[key](change[key])).join(", ") : "next to nothing";
}

function words(field) {
  const parts = [field.about, field.usual, field.spread && `spread ${field.spread}`];
  const from = field.origin === "setup" ? "set here" : field.origin === "default" ? "default" : field.origin;
  parts.push(field.origin === "setup" ? from : `${from}: ${field.source}`);
  return parts.filter(Boolean).join("; ");
}
