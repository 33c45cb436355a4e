// Own data: site files, traces, layouts. Dropped here, checked by the server, set beside the prediction.

import { askJson, ask } from "./api.js";
import { Chart } from "./chart.js";
import { Fitting } from "./fitting.js";
import { Reading } from "./reading.js";
import { inMm, inNm, number } from "./units.js";

export class Data {
  constructor(home, state) {
    this.home = home; this.state = state; this.files = [];
    home.innerHTML = `<h2>Your data</h2>
      <p class="drop" id="drop" tabindex="0" role="button" aria-label="Choose files">Drop files here, or press to choose: site maps before and after a polish, a table of runs with their site files, traces with their rates (CSV, workbook, Parquet), a layout (GDSII, OASIS), column maps (TOML). They stay on this server.</p>
      <input type="file" id="pick" multiple hidden accept=".csv,.tsv,.txt,.parquet,.xlsx,.gds,.gz,.oas,.toml">
      <div id="data-said" role="status"></div><table id="files" aria-label="Your files"></table>
      <div class="kept-before"><button type="button" id="earlier">files brought earlier</button><button type="button" id="maps-shown" aria-expanded="false" aria-controls="maps">your column maps</button></div>
      <div id="maps" hidden></div>
      <div id="data-result"></div>`;
    const drop = home.querySelector("#drop"), pick = home.querySelector("#pick");
    drop.addEventListener("click", () => pick.click());
    drop.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); pick.click(); } });
    pick.addEventListener("change", () => { this.bring([...pick.files]); pick.value = ""; });
    for (const name of ["dragover", "dragenter"]) home.addEventListener(name, (e) => { e.preventDefault(); drop.classList.add("over"); });
    home.addEventListener("dragleave", () => drop.classList.remove("over"));
    home.addEventListener("drop", (e) => { e.preventDefault(); drop.classList.remove("over"); this.bring([...e.dataTransfer.files]); });
    this.said = home.querySelector("#data-said");
    this.result = home.querySelector("#data-result");
    this.reading = new Reading(this);
    this.fitting = new Fitting(this.result, state);
    home.querySelector("#earlier").addEventListener("click", () => this.earlier());
    home.querySelector("#maps-shown").addEventListener("click", (event) => this.maps(event.target));
  }

  tell(words, wrong = false) { this.said.textContent = words; this.said.classList.toggle("wrong", wrong); }

  // Files that were brought before the page was opened.
  async earlier() {
    try {
      const list = await askJson("/api/uploads"), here = new Set(this.files.map((f) => f.id));
      const more = list.filter((f) => !here.has(f.id));
      this.files.push(...more);
      this.tell(more.length ? "" : "There are no others.");
    } catch (error) { this.tell(error.message, true); }
    this.draw();
  }

  async maps(button) {
    const home = this.home.querySelector("#maps");
    home.hidden = !home.hidden;
    button.setAttribute("aria-expanded", !home.hidden);
    if (!home.hidden) await this.drawMaps();
  }

  async drawMaps() {
    const home = this.home.querySelector("#maps");
    if (home.hidden) return;
    let list;
    try { list = await askJson("/api/columns"); } catch (error) { this.tell(error.message, true); return; }
    const table = document.createElement("table");
    table.setAttribute("aria-label", "Your column maps");
    table.innerHTML = "<thead><tr><th>column map</th><th>says</th><td></td></tr></thead>";
    const body = table.createTBody();
    for (const one of list) {
      const row = body.insertRow(), { columns = {}, units = {}, ...rest } = one.told;
      row.insertCell().textContent = one.name;
      const said = Object.entries(columns).map(([role, header]) => `${role} is ${header}${units[role] ? ` in ${units[role]}` : ""}`);
      said.push(...Object.entries(units).filter(([role]) => !columns[role]).map(([role, unit]) => `${role} in ${unit}`), ...Object.entries(rest).map(([key, text]) => `${key.replaceAll("_", " ")} ${text}`));
      row.insertCell().textContent = said.join(", ") + (one.header.length ? "; for files with the same column names" : "; brought as a file, used where you take it");
      const act = row.insertCell(), link = document.createElement("a"), gone = document.createElement("button");
      link.href = `/api/columns/${one.id}/toml`; link.download = `${one.name}.toml`; link.textContent = "as file"; link.setAttribute("aria-label", `column map ${one.name} as file`);
      gone.type = "button"; gone.textContent = "✕"; gone.setAttribute("aria-label", `forget the column map ${one.name}`);
      gone.addEventListener("click", async () => { try { await ask(`/api/columns/${one.id}`, undefined, "DELETE"); } catch { /* gone already */ } this.drawMaps(); });
      act.append(link, " ", gone);
    }
    home.replaceChildren(list.length ? table : "None kept yet: say which column is what for a file, and remember it.");
  }

  async bringMap(file) {
    if (file.size > 65536) throw new Error(`${file.name}: is too large for a column map`);
    await askJson("/api/columns", { name: file.name.slice(0, 80), text: await file.text() });
    this.tell(`${file.name}: kept as a column map; take it where a file is told how it is written`);
    await this.drawMaps();
  }

  // A file is read as told now, and others with the same column names with it.
  async readSo(file, found) {
    Object.assign(file, { about: found.about, told: found.told, wafer: found.wafer, by: found.by });
    for (const other of this.files) if (found.also?.[other.id]) Object.assign(other, { about: found.also[other.id], told: found.told, wafer: null, by: found.by });
    const also = Object.keys(found.also || {}).length;
    this.tell([...found.notes || [], ...(also ? [`${also} more with the same column names ${also > 1 ? "are" : "is"} read by it too`] : [])].join("; "));
    this.draw();
    await this.drawMaps();
    if (this.fitting.shown) await this.fitting.again();
    else await this.together(this.dropped || [file]);
  }

  // Bring one file; what it is, is told by the server.
  async store(file) {
    const reply = await fetch(`/api/uploads?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file, headers: { "Content-Type": "application/octet-stream" } });
    const told = await reply.json();
    if (!reply.ok) throw new Error(told.refused);
    this.files.unshift(told);
    return told;
  }

  async bring(list) {
    const said = [];
    let wrong = false;
    this.dropped = [];
    for (const file of list) {
      this.tell(`reading ${file.name} …`);
      try {
        if (file.name.toLowerCase().endsWith(".toml")) { await this.bringMap(file); said.push(this.said.textContent); continue; }
        const told = await this.store(file);
        this.dropped.unshift(told);
        said.push(...told.notes);
        if (told.about.is === "unread") { said.push(`${told.name}: cannot be read by itself: say which column is what`); wrong = true; }
      } catch (error) { said.push(error.message); wrong = true; }
    }
    this.tell(said.join("; "), wrong);
    this.draw();
    const unread = this.dropped.filter((f) => f.about.is === "unread").toReversed();
    for (const file of unread) if (file.about.is === "unread") await this.reading.open(file);
    if (!unread.length) await this.together(this.dropped);
  }

  // What files that were dropped together are for, where that is plain.
  async together(files) {
    const of = (kind) => files.filter((f) => f.about.is === kind), sites = of("sites");
    if (this.fitting.lacks && !of("runs").length) { await this.fitting.again(); return; }
    if (of("runs").length) { await this.fitting.open(of("runs")[0]); return; }
    if (files.some((f) => f.about.is === "unread")) return;
    if (sites.length === 2 && files.length === 2) await this.measured(sites[1].id, sites[0].id);
    else if (sites.length && sites[0].about.quantity === "removal") await this.measured(sites[0].id, null);
    if (of("traces").length) await this.traces(of("traces")[0].id, this.files.find((f) => f.about?.is === "rates")?.id);
  }

  draw() {
    const table = this.home.querySelector("#files");
    table.innerHTML = this.files.length ? "<thead><tr><th>file</th><th>is</th><th>use as</th><td></td></tr></thead>" : "";
    const body = table.createTBody();
    for (const file of this.files) {
      const row = body.insertRow(), about = file.about || {};
      row.insertCell().textContent = file.name;
      row.insertCell().textContent = { unread: "not read yet", runs: `table of ${about.runs} runs`, sites: `${about.sites} sites, ${about.quantity}${file.wafer ? `, wafer ${file.wafer}` : ""}`, traces: `${about.samples} samples`, rates: `${about.polishes} rates`, layout: `layout, ${about.layers?.length} layers` }[about.is] || "";
      if (about.is === "unread") {
        const why = document.createElement("details"), words = document.createElement("small");
        why.innerHTML = "<summary>not read yet</summary>";
        words.textContent = about.refused;
        why.append(words);
        row.cells[1].replaceChildren(why);
      }
      const use = row.insertCell();
      const button = (words, run) => { const b = document.createElement("button"); b.type = "button"; b.textContent = words; b.setAttribute("aria-label", `${words}: ${file.name}`); b.addEventListener("click", run); use.append(b); };
      if (about.is === "unread") button("say which column is what", () => this.reading.open(file, about.refused));
      else if (about.is === "runs") button("fit to it", () => this.fitting.open(file));
      else if (about.is === "sites") {
        button("before", () => { this.before = file.id; this.both(); });
        button("after", () => { this.after = file.id; this.both(); });
        button("read it otherwise", () => this.reading.open(file));
        const how = about.notes.filter((note) => note.startsWith("read as")).join("; ");
        if (how) { const small = document.createElement("small"); small.className = "told"; small.textContent = how; row.cells[1].append(document.createElement("br"), small); }
      } else if (about.is === "traces") button("cut into wafers", () => this.traces(file.id, this.files.find((f) => f.about?.is === "rates")?.id));
      else if (about.is === "layout") {
        const select = document.createElement("select");
        select.setAttribute("aria-label", `layer of ${file.name}`);
        for (const { layer, shapes } of about.layers) select.add(new Option(`${layer} (${shapes} shapes)`, layer));
        use.append(select);
        button("polish this die", () => this.state.startJob({ kind: "die", file: file.id, layer: select.value, title: `die of ${file.name}`, cell_um: 10 }));
      }
      const gone = document.createElement("button");
      gone.type = "button"; gone.textContent = "✕"; gone.setAttribute("aria-label", `remove ${file.name}`);
      gone.addEventListener("click", async () => {
        try { await ask(`/api/uploads/${file.id}`, undefined, "DELETE"); } catch { /* gone already */ }
        this.files = this.files.filter((f) => f !== file);
        this.draw();
      });
      row.insertCell().append(gone);
    }
  }

  both() {
    const name = (id) => this.files.find((f) => f.id === id)?.name;
    this.tell(`before: ${name(this.before) || "not chosen"}; after: ${name(this.after) || "not chosen"}`);
    if (this.before && this.after) this.measured(this.before, this.after);
  }

  async measured(before, after, time = null) {
    let found;
    try { found = await askJson("/api/measured", { document: this.state.document, before, after, time_s: time }); } catch (error) { this.tell(error.message, true); return; }
    this.state.measured = found;
    this.again = [before, after, time];
    this.state.answers.wafer();
    const table = document.createElement("table");
    table.innerHTML = "<thead><tr><th>figure</th><th>predicted</th><th>measured</th></tr></thead>";
    const body = table.createTBody();
    for (const f of found.figures) { const row = body.insertRow(); row.insertCell().textContent = f.key.replaceAll("_", " "); row.insertCell().textContent = number(f.predicted, 4); row.insertCell().textContent = number(f.measured, 4); }
    const list = document.createElement("ul");
    for (const text of [`The prediction misses the ${found.r.length} sites by ${number(found.rms_nm)} nm (root mean square).`, ...found.findings]) { const li = document.createElement("li"); li.textContent = text; list.append(li); }
    const head = document.createElement("h3");
    head.textContent = "Predicted against measured";
    const chart = document.createElement("div");
    chart.className = "chart data-chart";
    const asked = document.createElement("label"), seconds = document.createElement("input");
    Object.assign(seconds, { type: "number", min: 1, max: 36000, step: "any", value: time ?? "", placeholder: found.time_s ? number(found.time_s, 4) : "not stated" });
    seconds.addEventListener("change", () => this.measured(before, after, Number(seconds.value) > 0 ? Number(seconds.value) : null));
    asked.className = "polish-time";
    asked.append("polish time of this wafer [s] ", seconds);
    const use = document.createElement("button");
    use.type = "button"; use.className = "main"; use.textContent = "use the fitted rate";
    use.hidden = !found.fit.changes || !Object.keys(found.fit.changes).length;
    use.addEventListener("click", async () => {
      await this.state.put(found.fit.changes);
      this.tell("The setup has the fitted rate now.");
    });
    this.result.replaceChildren(head, chart, asked, table, use, list);
    const series = [{ x: found.profile_r.map(inMm), y: found.profile.map(inNm), name: "predicted" }, { x: found.r.map(inMm), y: found.measured.map(inNm), name: "measured", points: true, look: "line-3" }];
    new Chart(chart, "Predicted against measured").draw({ series, xName: "distance from the centre [mm]", yName: "removed [nm]" });
  }

  async traces(id, rates) {
    let found;
    this.tell("cutting the traces into wafers …");
    try { found = await askJson("/api/traces", { traces: id, rates: rates || null }); this.tell(""); } catch (error) { this.tell(error.message, true); return; }
    const head = document.createElement("h3");
    head.textContent = `Traces: ${found.polishes} polishes, ${found.flagged} odd things flagged`;
    const chart = document.createElement("div");
    chart.className = "chart data-chart";
    const list = document.createElement("ul");
    for (const text of [...(found.findings || []), ...found.notes, ...found.flags.slice(0, 8).map((f) => `${f.wafer}: ${f.reason}`)]) { const li = document.createElement("li"); li.textContent = text; list.append(li); }
    this.result.replaceChildren(head, chart, list);
    const order = found.seconds.map((_, i) => i + 1);
    const series = found.rate ? [{ x: order, y: found.rate, name: "measured rate", points: true, look: "line-1" }] : [{ x: order, y: found.pressure_speed.map((v) => (v === null ? NaN : v)), name: "pressure × speed, relative", points: true, look: "line-1" }];
    new Chart(chart, "Traces").draw({ series, xName: "polish", yName: found.rate ? "removal rate, as given" : "pressure × speed, relative" });
  }
}
