// What a trade-off is asked for: aims, knobs with ranges, parts, limits, tries; and, before it runs, how long it will take.

import { Latest, Refusal, gaveUp } from "./api.js";
import { number, system } from "./units.js";

const WAIT = 600; // [ms] after the last change before the time is asked for
const MOST_AIMS = 3;
const TABLES = { recipe: "recipe", pad: "pad", conditioner: "conditioner", slurry: "slurry", head: "head", polisher: "polisher" };

export function make(name, more = {}, ...children) {
  const made = document.createElement(name), { text, on, ...rest } = more;
  for (const [key, value] of Object.entries(rest)) if (value !== null && value !== false && value !== undefined) made.setAttribute(key, value === true ? "" : value);
  if (text !== undefined) made.textContent = text;
  for (const [event, run] of Object.entries(on || {})) made.addEventListener(event, run);
  made.append(...children);
  return made;
}

// Seconds as a person would say them.
export function lasting(seconds) {
  if (seconds < 1) return "a second";
  if (seconds < 90) return `${number(seconds, 2)} s`;
  if (seconds < 5400) return `${number(seconds / 60, 2)} min`;
  return seconds < 172800 ? `${number(seconds / 3600, 2)} h` : `${number(seconds / 86400, 2)} days`;
}

const legend = (text) => make("legend", { text });

export class ChoiceForm {
  // `go` is called with what is asked for; `say` with words for the reader, and whether they are a refusal.
  constructor(home, state, { go }) {
    this.home = home; this.state = state; this.go = go;
    this.offer = null; this.foreseen = null; this.latest = new Latest(); this.now = {};
    this.asked = { aims: ["rate", "evenness"], knobs: null, parts: {}, limits: [], runs: 200, layout: "density-blocks", place: "centre" };
    this.form = make("form", { class: "choice-form", novalidate: true });
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.send(); });
    home.append(this.form);
  }

  take(offer) {
    const { asked } = this;
    this.offer = offer;
    const known = (path) => offer.knobs.find((knob) => knob.path === path);
    this.now = {};
    asked.aims = asked.aims.filter((name) => offer.aims.some((aim) => aim.name === name));
    asked.knobs = asked.knobs ? asked.knobs.filter((knob) => known(knob.path)) : offer.knobs.filter((knob) => knob.proposed).map(first);
    for (const [section, names] of Object.entries(asked.parts)) {
      const here = offer.parts[section]?.options.map((part) => part.name) || [];
      asked.parts[section] = names.filter((name) => here.includes(name));
    }
    this.draw();
    this.reckon(0);
  }

  // The present figures come after the form; an aim without one cannot be chosen.
  figures(now) {
    const { asked, offer } = this, had = asked.aims.length;
    this.now = now;
    asked.aims = asked.aims.filter((name) => !now[name].refused);
    for (const home of this.form.querySelectorAll("[data-aim]")) {
      const { value, refused } = now[home.dataset.aim], aim = offer.aims.find((each) => each.name === home.dataset.aim), box = home.querySelector("input[type=checkbox]");
      home.querySelector(".now").textContent = refused ? "no figure for this setup" : `now ${number(value, 4)} ${aim.unit}`.trimEnd();
      if (box) { box.disabled = !!refused; if (refused) box.checked = false; }
    }
    for (const option of this.form.querySelectorAll("[aria-label='another limit'] option")) option.disabled = !!now[option.value]?.refused;
    const none = offer.aims.filter((aim) => now[aim.name].refused);
    this.why.hidden = !none.length;
    this.why.replaceChildren(make("summary", { text: `why ${none.length} aim${none.length > 1 ? "s have" : " has"} no figure for this setup` }), make("ul", {}, ...none.map((aim) => make("li", { text: `${aim.words}: ${now[aim.name].refused}` }))));
    if (asked.aims.length !== had) this.reckon();
  }

  draw() {
    const { offer, asked } = this;
    const library = make("p", { class: "wrong", role: "note" });
    if (!offer.search) library.textContent = "The library that searches between values is not installed on this host: pip install 'planish[choose]'. What still works: lists alone, all of whose combinations are tried. Give each range a number of values.";
    this.said = make("p", { class: "foreseen", role: "status" });
    this.button = make("button", { class: "main", text: "look for trade-offs" });
    this.form.replaceChildren(...(offer.search ? [] : [library]), this.aims(), this.knobs(), this.parts(), this.limits(), this.tries(asked), make("div", { class: "send" }, this.said, this.button));
  }

  aims() {
    const { offer, asked } = this, home = make("fieldset", { class: "aims" }, legend("Aims: two or three"));
    const groups = new Map();
    for (const aim of offer.aims) groups.set(aim.read_from, [...(groups.get(aim.read_from) || []), aim]);
    for (const [from, aims] of groups) {
      const group = make("details", {}, make("summary", { text: `read from ${from}: ${aims.map((aim) => aim.words).join("; ")}` }));
      group.open = !home.querySelector("details") || aims.some((aim) => asked.aims.includes(aim.name));
      home.append(group);
      group.append(make("div", { class: "ticks" }, ...aims.map((aim) => {
        const box = make("input", { type: "checkbox", name: `aim ${aim.name}` });
        box.checked = asked.aims.includes(aim.name);
        box.addEventListener("change", () => {
          asked.aims = offer.aims.map((each) => each.name).filter((name) => (name === aim.name ? box.checked : asked.aims.includes(name)));
          if (aim.die) this.dieRow();
          this.reckon();
        });
        return make("label", { class: "tick-label", "data-aim": aim.name }, box, make("span", {}, aim.words, make("small", { class: "now", text: "now …" }), make("small", { text: `${aim.better} is better` })));
      })));
    }
    this.why = make("details", { hidden: true });
    home.append(this.why);
    return home;
  }

  knobs() {
    const { offer, asked } = this, rows = make("div", { class: "knob-rows" });
    const select = make("select", { "aria-label": "another knob" }, make("option", { value: "", text: "turn another knob …" }));
    for (const table of Object.keys(TABLES)) {
      const group = make("optgroup", { label: TABLES[table] });
      for (const knob of offer.knobs) if (knob.table === table) group.append(make("option", { value: knob.path, text: knob.label }));
      if (group.children.length) select.append(group);
    }
    const fill = () => { rows.replaceChildren(...asked.knobs.map((knob) => this.knob(knob, fill))); if (!asked.knobs.length) rows.append(make("p", { class: "told", text: "No knob is turned: the search is among parts alone." })); };
    select.addEventListener("change", () => {
      const found = offer.knobs.find((knob) => knob.path === select.value);
      select.value = "";
      if (!found || asked.knobs.some((knob) => knob.path === found.path)) return;
      asked.knobs.push(first(found));
      fill();
      rows.lastChild.querySelector("input").focus();
      this.reckon();
    });
    fill();
    return make("fieldset", {}, legend("Knobs: what may be turned, from where to where"), rows, select);
  }

  knob(knob, fill) {
    const about = this.offer.knobs.find((each) => each.path === knob.path), row = make("div", { class: "knob" });
    const field = (key, label, more = {}) => {
      const made = make("input", { type: "text", inputmode: "decimal", "aria-label": `${about.label}, ${label}`, value: knob[key], ...more });
      made.addEventListener("input", () => { knob[key] = made.value.trim().replace(",", "."); this.reckon(); });
      return made;
    };
    row.append(
      make("span", { class: "knob-name", text: about.label }),
      make("span", { class: "knob-ends" }, field("low", `from${knob.unit ? `, ${knob.unit}` : ""}`), " to ", field("high", `to${knob.unit ? `, ${knob.unit}` : ""}`), " ", make("span", { class: "unit", text: knob.unit })),
      make("label", { class: "knob-count" }, "in ", field("count", "how many values; none for any between", { placeholder: "any", inputmode: "numeric" }), " values"),
      make("button", { type: "button", text: "✕", "aria-label": `do not turn ${about.label}`, on: { click: () => { this.asked.knobs = this.asked.knobs.filter((each) => each !== knob); fill(); this.reckon(); this.form.querySelector("[aria-label='another knob']").focus(); } } }),
      make("small", { class: "told", text: [`now ${about.now}`, about.usual].filter(Boolean).join("; ") }),
    );
    return row;
  }

  parts() {
    const { offer, asked } = this, home = make("fieldset", {}, legend("Parts: what may stand there"));
    for (const [section, { chosen, options }] of Object.entries(offer.parts)) {
      asked.parts[section] ||= [];
      const summary = make("summary"), box = make("details", {}, summary);
      const told = () => { const names = asked.parts[section]; summary.textContent = `${section}: ${names.length > 1 ? `one of ${names.map(plain).join(", ")}` : `${plain(chosen || "own values")}, as it stands`}`; };
      box.open = asked.parts[section].length > 1;
      for (const part of options) {
        const tick = make("input", { type: "checkbox", name: `${section} ${part.name}` });
        tick.checked = asked.parts[section].includes(part.name) || (!asked.parts[section].length && part.name === chosen);
        tick.addEventListener("change", () => {
          const ticked = [...box.querySelectorAll("input")].map((one, i) => one.checked && options[i].name).filter(Boolean);
          asked.parts[section] = ticked.length === 1 && ticked[0] === chosen ? [] : ticked;
          told();
          this.reckon();
        });
        box.append(make("label", { class: "tick-label" }, tick, make("span", {}, plain(part.name), make("small", { text: ` ${part.summary}` }))));
      }
      told();
      home.append(box);
    }
    return home;
  }

  limits() {
    const { offer, asked } = this, rows = make("div", { class: "knob-rows" });
    const select = make("select", { "aria-label": "another limit" }, make("option", { value: "", text: "set a limit …" }), ...offer.aims.map((aim) => make("option", { value: aim.name, text: aim.words })));
    const fill = () => rows.replaceChildren(...asked.limits.map((limit) => {
      const aim = offer.aims.find((each) => each.name === limit.name), row = make("div", { class: "knob", "data-aim": aim.name });
      const field = (key, label) => { const made = make("input", { type: "text", inputmode: "decimal", placeholder: "any", "aria-label": `${aim.words}, ${label}`, value: limit[key] }); made.addEventListener("input", () => { limit[key] = made.value.trim().replace(",", "."); this.reckon(); }); return made; };
      row.append(make("span", { class: "knob-name", text: aim.words }), make("span", { class: "knob-ends" }, field("low", "at least"), " to ", field("high", "at most"), " ", make("span", { class: "unit", text: aim.unit })),
        make("button", { type: "button", text: "✕", "aria-label": `no limit of ${aim.words}`, on: { click: () => { asked.limits = asked.limits.filter((each) => each !== limit); fill(); this.reckon(); select.focus(); } } }),
        make("small", { class: "told now", text: this.now[limit.name] ? `now ${number(this.now[limit.name].value, 4)} ${aim.unit}`.trimEnd() : "" }));
      return row;
    }));
    select.addEventListener("change", () => {
      const name = select.value;
      select.value = "";
      if (!name || asked.limits.some((limit) => limit.name === name)) return;
      asked.limits.push({ name, low: "", high: "" });
      fill();
      rows.lastChild.querySelector("input").focus();
      if (offer.aims.find((aim) => aim.name === name).die) this.dieRow();
    });
    fill();
    const box = make("details", {}, make("summary", { text: "Limits that every setup must keep" }), rows, select);
    box.open = asked.limits.length > 0;
    return box;
  }

  tries(asked) {
    const runs = make("input", { type: "number", name: "runs", min: 2, step: 1, value: asked.runs });
    runs.addEventListener("input", () => { asked.runs = Number(runs.value); this.reckon(); });
    const choice = (label, key, options) => {
      const made = make("select", { name: key }, ...options.map(([value, text]) => make("option", { value, text })));
      made.value = asked[key];
      made.addEventListener("change", () => { asked[key] = made.value; this.reckon(); });
      return make("label", {}, `${label} `, made);
    };
    this.die = make("span", { class: "die-row" }, choice("layout", "layout", [["density-blocks", "blocks"], ["step-density", "density steps"], ["line-space", "lines and spaces"]]), choice("place", "place", [["centre", "centre"], ["mid", "mid"], ["edge", "edge"]]));
    this.dieRow();
    return make("div", { class: "row" }, make("label", {}, "setups tried at most ", runs), this.die);
  }

  dieRow() {
    const names = [...this.asked.aims, ...this.asked.limits.map((limit) => limit.name)];
    this.die.hidden = !names.some((name) => this.offer.aims.find((aim) => aim.name === name)?.die);
  }

  // As the command takes it: keys with ranges or lists as text.
  choice() {
    const { asked } = this, vary = {}, limits = {};
    for (const knob of asked.knobs) vary[knob.path] = `${knob.low}..${knob.high}${knob.unit ? ` ${knob.unit}` : ""}${knob.count ? `/${knob.count}` : ""}`;
    for (const [section, names] of Object.entries(asked.parts)) if (names.length) vary[`${section}.part`] = names.join(", ");
    for (const limit of asked.limits) if (limit.low || limit.high) limits[limit.name] = `${limit.low}..${limit.high}`;
    return { vary, aims: asked.aims, limits, runs: asked.runs, layout: asked.layout, place: asked.place };
  }

  // What is wrong before anything is asked; "" where nothing is.
  lacking() {
    const { aims, runs } = this.asked, choice = this.choice();
    if (aims.length < 2) return "Choose two aims or three: with one there is nothing to trade.";
    if (aims.length > MOST_AIMS) return "Choose two aims or three: with more, nearly everything lies on the front. Put the others into limits.";
    if (!Object.keys(choice.vary).length) return "Choose a knob to turn, or two parts of a kind.";
    if (!Number.isInteger(runs) || runs < 2) return "Setups tried: must be a whole number from 2.";
    return "";
  }

  say(words, wrong = false) {
    this.said.textContent = words;
    this.said.classList.toggle("wrong", wrong);
  }

  reckon(wait = WAIT) {
    clearTimeout(this.timer);
    const mine = (this.round || 0) + 1;
    this.round = mine;
    const lacking = this.lacking();
    if (lacking) { this.say(lacking, true); return; }
    this.say("reckoning how long it will take …");
    this.timer = setTimeout(async () => {
      try {
        await this.state.flush();
        const told = await this.latest.ask("/api/trade-offs/foreseen", { document: this.state.document, choice: this.choice() });
        if (mine === this.round) this.tell(told);
      } catch (error) {
        if (mine === this.round && !gaveUp(error)) this.say(error instanceof Refusal ? error.message : "The server does not answer; is it still running?", true);
      }
    }, wait);
  }

  tell(told) {
    this.foreseen = told;
    const each = `${number(told.each_s, 2)} s each here`, room = `This host allows up to ${told.most} (${lasting(told.limit_s)} a run).`;
    if (told.runs > told.most) { this.say(`${told.runs} setups would take about ${lasting(told.seconds)} (${each}): too long. ${room}`, true); return; }
    this.say(`About ${lasting(told.seconds)} for ${told.every ? `all ${told.runs} combinations` : `${told.runs} setups`}, ${each}. ${room}`);
  }

  async send() {
    const lacking = this.lacking();
    if (lacking) { this.say(lacking, true); return; }
    clearTimeout(this.timer);
    this.round += 1;
    this.button.disabled = true;
    try { await this.go(this.choice()); } catch (error) { this.say(error.message, true); } finally { this.button.disabled = false; }
  }
}

const plain = (name) => name.replaceAll("-", " ");

// A knob as it is first proposed, in the units that are chosen.
function first(knob) {
  const { low, high, unit } = knob.range[system.now];
  return { path: knob.path, low, high, unit, count: "" };
}
