// Own data: site files, traces, layouts. Dropped here, checked by the server, set beside the prediction.

import { askJson, ask } from "./api.js";
import { Chart } from "./chart.js";
import { inMm, inNm, number } from "./units.js";

export class Data {
  constructor(home, state) {
    this.home = home; this.state = state; this.files = [];
    home.innerHTML = `<h2>Your data</h2>
      <p class="drop" id="drop" tabindex="0" role="button" aria-label="Choose files">Drop files here, or press to choose: site maps before and after a polish, traces with their rates (CSV, Parquet), a layout (GDSII, OASIS). They stay on this server.</p>
      <input type="file" id="pick" multiple hidden accept=".csv,.tsv,.txt,.parquet,.xlsx,.gds,.gz,.oas">
      <div id="data-said" role="status"></div><table id="files" aria-label="Your files"></table>
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
  }

  async bring(list) {
    for (const file of list) {
      this.said.textContent = `reading ${file.name} …`;
      try {
        const reply = await fetch(`/api/uploads?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file, headers: { "Content-Type": "application/octet-stream" } });
        const told = await reply.json();
        if (!reply.ok) throw new Error(told.refused);
        this.files.unshift(told);
        this.said.textContent = told.notes.join("; ");
      } catch (error) { this.said.textContent = error.message; }
    }
    this.draw();
    const sites = this.files.filter((f) => f.about?.is === "sites");
    if (sites.length >= 2 && list.length === 2) await this.measured(sites[1].id, sites[0].id);
    else if (sites.length && sites[0].about.quantity === "removal") await this.measured(sites[0].id, null);
    const traces = this.files.find((f) => f.about?.is === "traces");
    if (traces && list.some((f) => f.name === traces.name)) await this.traces(traces.id, this.files.find((f) => f.about?.is === "rates")?.id);
  }

  draw() {
    const table = this.home.querySelector("#files");
    table.innerHTML = this.files.length ? "<thead><tr><th>file</th><th>is</th><th>use as</th><td></td></tr></thead>" : "";
    const body = table.createTBody();
    for (const file of this.files) {
      const row = body.insertRow(), about = file.about || {};
      row.insertCell().textContent = file.name;
      row.insertCell().textContent = { sites: `${about.sites} sites, ${about.quantity}`, traces: `${about.samples} samples`, rates: `${about.polishes} rates`, layout: `layout, ${about.layers?.length} layers` }[about.is] || "";
      const use = row.insertCell();
      const button = (words, run) => { const b = document.createElement("button"); b.type = "button"; b.textContent = words; b.setAttribute("aria-label", `${words}: ${file.name}`); b.addEventListener("click", run); use.append(b); };
      if (about.is === "sites") {
        button("before", () => { this.before = file.id; this.both(); });
        button("after", () => { this.after = file.id; this.both(); });
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
    this.said.textContent = `before: ${name(this.before) || "not chosen"}; after: ${name(this.after) || "not chosen"}`;
    if (this.before && this.after) this.measured(this.before, this.after);
  }

  async measured(before, after, time = null) {
    let found;
    try { found = await askJson("/api/measured", { document: this.state.document, before, after, time_s: time }); } catch (error) { this.said.textContent = error.message; return; }
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
      this.said.textContent = "The setup has the fitted rate now.";
    });
    this.result.replaceChildren(head, chart, asked, table, use, list);
    const series = [{ x: found.profile_r.map(inMm), y: found.profile.map(inNm), name: "predicted" }, { x: found.r.map(inMm), y: found.measured.map(inNm), name: "measured", points: true, look: "line-3" }];
    new Chart(chart, "Predicted against measured").draw({ series, xName: "distance from the centre [mm]", yName: "removed [nm]" });
  }

  async traces(id, rates) {
    let found;
    this.said.textContent = "cutting the traces into wafers …";
    try { found = await askJson("/api/traces", { traces: id, rates: rates || null }); this.said.textContent = ""; } catch (error) { this.said.textContent = error.message; return; }
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
