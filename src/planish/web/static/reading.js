// Which column of a dropped table is what: a dialog over the file as it stands. The server reads; nothing is parsed here.

import { askJson, ask, Newest, saveBlob } from "./api.js";
import { RAMP, css } from "./colour.js";
import { inMm, number, show } from "./units.js";

const KINDS = [["thickness", "film thickness"], ["removal", "removal"], ["rate", "removal rate"]];
const WAYS = [
  ["xy", "columns x and y", ["x", "y"]], ["polar", "columns of radius and angle", ["r", "theta"]],
  ["die", "die indices and pitch", ["die_x", "die_y"]], ["plan", "a usual plan of sites", []],
  ["rows", "rows of x and y", []],
];
const WORDS = { x: "x", y: "y", r: "radius", theta: "angle", die_x: "die along x", die_y: "die along y", site: "name of the site", wafer: "name of the wafer" };
const LENGTHS = [["mm", "mm"], ["um", "µm"], ["cm", "cm"], ["in", "inch"], ["m", "m"]];
const FILMS = [["nm", "nm"], ["A", "Å"], ["kA", "kÅ"], ["um", "µm"]];
const RATES = [["nm/min", "nm/min"], ["A/min", "Å/min"], ["um/min", "µm/min"], ["nm/s", "nm/s"]];
const UNITS = { x: LENGTHS, y: LENGTHS, r: LENGTHS, theta: [["deg", "degree"], ["rad", "radian"]], thickness: FILMS, removal: FILMS, rate: RATES };
const SEPARATORS = [["comma", "commas"], ["semicolon", "semicolons"], ["tab", "tabs"], ["bar", "bars"], ["blank", "blanks"]];

function made(tag, more = {}, ...inside) {
  const element = Object.assign(document.createElement(tag), more);
  element.append(...inside);
  return element;
}

// A labelled control in a home; the label stands before it.
function labelled(home, words, control, name) {
  control.name = name;
  home.append(made("label", {}, made("span", { textContent: words }), control));
  return control;
}

function options(select, list, now) {
  select.replaceChildren(...list.map(([value, words]) => new Option(words, value)));
  select.value = now;
  if (select.selectedIndex < 0) select.value = "";
}

export class Reading {
  // data: the list of files, told when one is read otherwise
  constructor(data) { this.data = data; }

  async open(file, refused = "") {
    this.file = file; this.told = structuredClone(file.told || {}); this.wafer = file.wafer || null;
    this.kind = ""; this.way = "";
    this.build();
    this.say(refused || "reading …", !!refused);
    document.body.append(this.dialog);
    this.dialog.showModal();
    this.newest = new Newest(() => this.look());
    this.newest.ask({});
    try { this.maps(await askJson("/api/columns")); } catch { /* the dialog does without */ }
    return new Promise((done) => { this.dialog.addEventListener("close", () => { this.dialog.remove(); done(); }); });
  }

  build() {
    const dialog = made("dialog", { className: "reading" });
    this.dialog = dialog;
    dialog.setAttribute("aria-labelledby", "reading-name");
    dialog.setAttribute("aria-describedby", "reading-said");
    dialog.innerHTML = `<form method="dialog" novalidate><header><h2 id="reading-name" tabindex="-1" autofocus></h2><button type="button" class="leave" aria-label="close">✕</button></header>
      <p id="reading-said" role="status"></p>
      <div class="reading-body"><div class="reading-told"></div>
        <div class="reading-shown"><div class="reading-rows" tabindex="0" role="region" aria-label="First rows as found"><table></table></div>
          <figure><canvas role="img" width="480" height="480"></canvas><figcaption></figcaption></figure></div></div>
      <footer><label class="keep-it"><input type="checkbox" name="remember" checked> remember it for files with the same column names, as</label>
        <input name="called" maxlength="80" aria-label="name of the column map"><span class="grow"></span>
        <button type="button" class="save">column map as file</button><button type="button" class="leave">leave it</button><button class="main" value="use">use this</button></footer></form>`;
    dialog.querySelector("h2").textContent = `How is ${this.file.name} written?`;
    this.form = dialog.querySelector("form");
    this.said = dialog.querySelector("#reading-said");
    this.form.called.value = this.file.name.replace(/\.[^.]*$/, "").slice(0, 80) || "column map";
    this.controls(dialog.querySelector(".reading-told"));
    for (const button of dialog.querySelectorAll(".leave")) button.addEventListener("click", () => dialog.close());
    dialog.querySelector(".save").addEventListener("click", () => this.save());
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.use(); });
    this.form.addEventListener("change", (event) => this.changed(event.target));
  }

  controls(home) {
    const set = (words) => home.appendChild(made("fieldset", {}, made("legend", { textContent: words })));
    const select = () => document.createElement("select");
    this.columns = {}; this.units = {};
    const column = (place, role, words) => {
      this.columns[role] = labelled(place, words, select(), `column-${role}`);
      if (UNITS[role] || role === "measured") this.units[role] = labelled(place, "in", select(), `unit-${role}`);
    };
    const kept = set("A column map that you keep");
    this.kept = labelled(kept, "take", select(), "kept");
    options(this.kept, [["", "none"]], "");
    const file = made("input", { type: "file", accept: ".toml" });
    kept.append(made("label", { className: "file" }, "open its file", file));
    file.addEventListener("change", (event) => { event.stopPropagation(); this.bring(file.files[0]); file.value = ""; });

    const what = set("What was measured");
    this.kindSelect = labelled(what, "it is", select(), "kind");
    column(what, "measured", "in the column");

    const where = set("Where the sites lie");
    this.waySelect = labelled(where, "by", select(), "way");
    this.places = {};
    for (const [way, , roles] of WAYS) {
      const part = where.appendChild(made("div", { className: "part-of" }));
      this.places[way] = part;
      for (const role of roles) column(part, role, WORDS[role]);
    }
    const length = (place, words, name) => labelled(place, words, made("input", { type: "number", min: 0, step: "any" }), name);
    this.pitch = ["x", "y"].map((axis) => length(this.places.die, `pitch along ${axis} [mm]`, `pitch-${axis}`));
    this.centre = labelled(this.places.die, "die at the centre", made("input", { placeholder: "0,0" }), "centre");
    this.plan = labelled(this.places.plan, "plan", select(), "plan");
    options(this.plan, [["", "choose"], ["9", "9 sites"], ["49", "49 sites on rings"], ["121-line", "121 on a line"]], "");
    this.diameter = length(this.places.plan, "wafer [mm]", "diameter");
    this.edge = length(this.places.plan, "edge exclusion [mm]", "edge");
    for (const axis of ["x", "y"]) this.units[`row-${axis}`] = labelled(this.places.rows, `row ${axis} in`, select(), `unit-row-${axis}`);

    const names = set("Names");
    column(names, "site", WORDS.site);
    column(names, "wafer", WORDS.wafer);
    this.which = labelled(names, "wafer taken", select(), "which");

    const written = set("How the file is written");
    this.separator = labelled(written, "separated by", select(), "separator");
    this.decimal = labelled(written, "decimal sign", select(), "decimal");
    this.line = labelled(written, "names on line", made("input", { type: "number", min: 1, max: 1000, step: 1 }), "line");
    this.sheet = labelled(written, "sheet", select(), "sheet");
    home.append(made("button", { type: "button", textContent: "as the file says it: forget what was told", className: "anew" }));
    home.lastChild.addEventListener("click", () => { this.wafer = null; this.take({}); });
  }

  maps(list) {
    this.list = list;
    options(this.kept, [["", list.length ? "none" : "none kept yet"], ...list.map((one) => [one.id, one.name])], "");
  }

  async bring(file) {
    if (!file) return;
    try {
      if (file.size > 65536) throw new Error(`${file.name}: is too large for a column map`);
      const one = await askJson("/api/columns", { name: file.name.slice(0, 80), text: await file.text() });
      this.maps([one, ...this.list || []]);
      this.kept.value = one.id;
      this.take(one.told);
    } catch (error) { this.say(error.message, true); }
  }

  take(told) {
    this.told = structuredClone(told); this.kind = ""; this.way = "";
    for (const input of [...this.pitch, this.centre, this.diameter, this.edge, this.line]) input.value = "";
    this.newest.ask({});
  }

  say(words, wrong = false) { this.said.textContent = words; this.said.classList.toggle("wrong", wrong); }

  async look() {
    let found;
    const { told, wafer } = this;
    try { found = await askJson(`/api/uploads/${this.file.id}/look`, { told, wafer }); } catch (error) { this.say(error.message, true); return; }
    if (told !== this.told || wafer !== this.wafer) return; // more was told meanwhile
    this.found = found;
    this.say(found.refused || found.understood, !!found.refused);
    this.fill();
    this.rows();
    this.map();
  }

  // What each control says: what is told, or that it is left to the file.
  fill() {
    const { found, told } = this, said = told.columns || {};
    const byRole = Object.fromEntries(found.columns.filter((c) => c.role).map((c) => [c.role, c]));
    const headers = [...new Set(found.columns.map((c) => c.header))].filter(Boolean).map((h) => [h, h]);
    const measured = KINDS.map(([k]) => k).find((k) => k in said) || KINDS.map(([k]) => k).find((k) => byRole[k]);
    this.foundKind = KINDS.map(([k]) => k).find((k) => byRole[k] && !(k in said)) || "";
    this.kind ||= measured || KINDS.map(([k]) => k).find((k) => k in (told.units || {})) || "thickness";
    options(this.kindSelect, KINDS, this.kind);
    const row = Object.values(said).some((header) => header.endsWith("*"));
    this.way ||= told.site_plan ? "plan" : WAYS.find(([, , roles]) => roles.length && roles.every((r) => byRole[r]))?.[0] || (row ? "rows" : "xy");
    options(this.waySelect, WAYS.map(([value, words]) => [value, words]), this.way);
    for (const [way, part] of Object.entries(this.places)) part.hidden = way !== this.way;
    const left = (column, none) => [["", column ? `as found: ${column.header}` : none]];
    for (const [role, select] of Object.entries(this.columns)) {
      const key = role === "measured" ? this.kind : role;
      const numbered = role === "measured" ? found.numbered.map((n) => [n.told, `${n.first} … ${n.last}, a wafer a row`]) : [];
      const now = said[key] || "";
      const first = now ? [["", "leave it to the file"]] : left(byRole[key] || (role === "measured" && byRole[measured]), role === "site" || role === "wafer" ? "none" : "choose");
      const missing = now && ![...headers, ...numbered].some(([h]) => h === now) ? [[now, `${now} (not in this file)`]] : [];
      options(select, [...first, ...headers, ...numbered, ...missing], now);
    }
    for (const [role, select] of Object.entries(this.units)) {
      const key = role === "measured" ? this.kind : role.replace("row-", "");
      const stated = byRole[key]?.unit, now = told.units?.[key] || "";
      const list = UNITS[key], known = list.find(([unit, words]) => unit.toLowerCase() === now.toLowerCase() || words === now);
      options(select, [["", stated ? `as the file says: ${stated}` : "choose"], ...list, ...(now && !known ? [[now, now]] : [])], known ? known[0] : now);
    }
    const pitch = (told.pitch || "").split(",").map((text) => parseFloat(text));
    this.pitch.forEach((input, i) => { if (document.activeElement !== input) input.value = Number.isFinite(pitch[i]) ? pitch[i] : input.value; });
    if (document.activeElement !== this.centre) this.centre.value = told.centre_die || this.centre.value;
    const [plan, ...lengths] = (told.site_plan || "").split(",").map((text) => text.trim());
    if (plan) { this.plan.value = plan; [this.diameter, this.edge].forEach((input, i) => { if (document.activeElement !== input && lengths[i]) input.value = parseFloat(lengths[i]); }); }
    const wafers = found.wafers.length ? found.wafers : this.wafer ? [this.wafer] : [];
    options(this.which, [["", found.wafers.length ? "choose" : "the only one"], ...wafers.map((w) => [w, w])], this.wafer || "");
    options(this.separator, [["", found.separator && !told.separator ? `as found: ${SEPARATORS.find(([s]) => s === found.separator)[1]}` : "as found"], ...SEPARATORS], told.separator || "");
    this.separator.parentElement.hidden = !found.separator;
    options(this.decimal, [["", "as found"], ["point", "point"], ["comma", "comma"]], told.decimal || "");
    if (document.activeElement !== this.line) this.line.value = told.names_line || "";
    this.line.placeholder = found.names_line ? `as found: ${found.names_line}` : "not found";
    options(this.sheet, [["", "as found"], ...found.sheets.map((s) => [s, s])], told.sheet || "");
    this.sheet.parentElement.hidden = !found.sheets.length;
  }

  changed(control) {
    if (control.name === "remember" || control.name === "called") return;
    if (control === this.kept) {
      const one = this.list.find((each) => each.id === control.value);
      if (one) this.take(one.told);
      return;
    }
    if (control === this.which) this.wafer = control.value || null;
    if (control === this.kindSelect) this.kind = control.value;
    if (control === this.waySelect) this.way = control.value;
    this.told = this.collect();
    this.newest.ask({});
  }

  // What the controls say, as a column map has it.
  collect() {
    const columns = {}, units = {}, told = {}, ways = WAYS.find(([way]) => way === this.way)[2];
    const measured = this.columns.measured.value;
    const taken = this.found?.columns.find((c) => c.role === this.foundKind)?.header;
    if (measured) columns[this.kind] = measured;
    else if (taken && this.foundKind !== this.kind) columns[this.kind] = taken;
    const measuredIn = this.units.measured.value, ofRate = this.kind === "rate";
    if (measuredIn) units[this.kind] = ofRate === measuredIn.includes("/") ? measuredIn : "";
    for (const role of [...ways, "site", "wafer"]) if (this.columns[role].value) columns[role] = this.columns[role].value;
    for (const role of ways) if (this.units[role]?.value) units[role] = this.units[role].value;
    if (this.way === "rows") for (const axis of ["x", "y"]) if (this.units[`row-${axis}`].value) units[axis] = this.units[`row-${axis}`].value;
    for (const [role, unit] of Object.entries(units)) if (!unit) delete units[role];
    if (Object.keys(columns).length) told.columns = columns;
    if (Object.keys(units).length) told.units = units;
    const [px, py] = this.pitch.map((input) => input.value);
    if (this.way === "die" && px && py) told.pitch = `${px} mm, ${py} mm`;
    if (this.way === "die" && this.centre.value.trim()) told.centre_die = this.centre.value.trim();
    if (this.way === "plan" && this.plan.value) told.site_plan = [this.plan.value, ...[this.diameter, this.edge].filter((i) => i.value).map((i) => `${i.value} mm`)].join(", ");
    for (const [key, control] of [["separator", this.separator], ["decimal", this.decimal], ["sheet", this.sheet]]) if (control.value) told[key] = control.value;
    if (this.line.value) told.names_line = Math.round(Number(this.line.value));
    return told;
  }

  rows() {
    const { found } = this, table = this.dialog.querySelector("table");
    table.innerHTML = "<caption></caption><thead><tr></tr></thead>";
    table.caption.textContent = `first rows of ${found.rows_in_all}, as found`;
    const head = table.tHead.rows[0], width = Math.max(found.columns.length, ...found.rows.map((r) => r.cells.length));
    head.append(made("th", { scope: "col", textContent: found.place }));
    for (let i = 0; i < width; i++) {
      const role = found.columns[i]?.role || "";
      head.append(made("th", { scope: "col", textContent: role ? (WORDS[role] || role) : "", className: role ? "taken" : "" }));
    }
    const body = table.createTBody();
    for (const row of found.rows) {
      const line = body.insertRow();
      line.append(made("th", { scope: "row", textContent: row.line ?? "…" }));
      if (row.line !== null && row.line === found.names_line) line.className = "names";
      row.cells.forEach((cell, i) => { const td = line.insertCell(); td.textContent = cell; if (found.columns[i]?.role && row.line > found.names_line) td.className = "taken"; });
      if (row.more) line.insertCell().textContent = `and ${row.more} more`;
    }
  }

  // The sites as read, on the wafer.
  map() {
    const { sites } = this.found, figure = this.dialog.querySelector("figure"), canvas = figure.querySelector("canvas");
    const told = figure.querySelector("figcaption"), paint = canvas.getContext("2d"), size = canvas.width;
    paint.clearRect(0, 0, size, size);
    canvas.hidden = !sites;
    if (!sites) { told.textContent = "no map: the file is not read as it is told now"; canvas.setAttribute("aria-label", "no map yet"); return; }
    const kind = sites.quantity === "rate" ? "rate" : "thickness";
    const words = `${sites.sites} sites, ${sites.quantity} ${show(sites.mean, kind, 4)} on average, from ${show(sites.least, kind, 4)} to ${show(sites.most, kind, 4)}; the farthest ${number(inMm(sites.reach))} mm from the centre`;
    told.textContent = `${words}. Dark is least, bright is most.`;
    canvas.setAttribute("aria-label", `Sites as read: ${words}`);
    const style = getComputedStyle(canvas), edge = sites.wafer_radius || sites.reach * 1.03 || 1, scale = 0.48 * size / edge;
    paint.strokeStyle = style.color; paint.lineWidth = 2;
    paint.beginPath(); paint.arc(size / 2, size / 2, edge * scale, 0, 2 * Math.PI); paint.stroke();
    const dot = Math.max(2.5, Math.min(12, 0.5 * size / Math.sqrt(sites.x.length) / 2)), span = sites.most - sites.least || 1;
    sites.x.forEach((x, i) => {
      paint.fillStyle = css(RAMP, (sites.value[i] - sites.least) / span);
      paint.beginPath(); paint.arc(size / 2 + x * scale, size / 2 - sites.y[i] * scale, dot, 0, 2 * Math.PI); paint.fill();
      paint.lineWidth = 1; paint.stroke();
    });
  }

  async save() {
    try {
      const text = await (await ask("/api/columns/toml", this.told)).text();
      saveBlob(new Blob([text], { type: "application/toml" }), `${this.form.called.value || "columns"}.toml`);
    } catch (error) { this.say(error.message, true); }
  }

  async use() {
    const remember = this.form.remember.checked && Object.keys(this.told).length > 0;
    const { told, wafer } = this;
    try {
      const found = await askJson(`/api/uploads/${this.file.id}/read`, { told, wafer, remember, name: this.form.called.value.trim() || "column map" });
      this.dialog.close();
      await this.data.readSo(this.file, found);
    } catch (error) { this.say(error.message, true); }
  }
}
