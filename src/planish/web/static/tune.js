// Settings for a target: pressures and times that leave the most even wafer, solved for, verified, and taken with one press.

import { ask, askJson, askPacked } from "./api.js";
import { Chart } from "./chart.js";
import { make } from "./choice-form.js";
import { Meet, chanceOf } from "./meet.js";
import { inMm, inNm, number, show } from "./units.js";

const LIMITS = [
  ["neighbour_psi", "largest step between neighbouring zones [psi]"],
  ["most_time_s", "longest time of all steps [s]"],
  ["least_rate_nm_per_min", "least rate [nm/min]"],
];

// Below a hundredth of a percent no model is to be believed.
const percent = (value) => (value !== null && value < 0.01 ? "less than 0.01\u00a0%" : `${number(value)}\u00a0%`);

export class Tune {
  constructor(home, state) {
    this.home = home; this.state = state; this.found = null;
    home.innerHTML = `<h2>Settings for a target</h2>
      <form><label>thickness to be left [nm] <input type="number" name="target_nm" min="1" max="1000000" step="any" required></label>
        <label class="coming">wafers that come in, all with one recipe; none chosen: the setup’s own films <select name="incoming" multiple size="3"></select></label>
        <p class="no-coming">The setup’s own films come in; thickness sites dropped under “your data” can come in in their place.</p>
        <details><summary>limits</summary><div class="limits"></div></details>
        <button class="main">solve</button></form>
      <div role="status"></div><div class="tuned"></div>`;
    this.form = home.querySelector("form");
    this.said = home.querySelector("[role=status]");
    this.result = home.querySelector(".tuned");
    for (const [name, words] of LIMITS) {
      const label = document.createElement("label"), input = document.createElement("input");
      Object.assign(input, { type: "number", name, min: 0, step: "any", placeholder: "none" });
      label.append(`${words} `, input);
      home.querySelector(".limits").append(label);
    }
    this.meet = new Meet(home.querySelector("details"));
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.solve(); });
  }

  // The files that may come in are those dropped as thickness sites; the first target is what the recipe leaves.
  open() {
    const { state, form, home } = this, select = form.incoming, chosen = new Set([...select.selectedOptions].map((one) => one.value));
    if (!this.meet.figures) askJson("/api/tune").then((figures) => this.meet.offer(figures), () => {});
    const sites = state.data.files.filter((f) => f.about?.is === "sites" && f.about.quantity === "thickness");
    select.replaceChildren(...sites.map((f) => new Option(f.name, f.id, false, chosen.has(f.id))));
    home.querySelector(".coming").hidden = !sites.length;
    home.querySelector(".no-coming").hidden = Boolean(sites.length);
    const left = state.answer?.header.summary.mean_remaining_nm;
    if (!form.target_nm.value && left > 0) form.target_nm.value = Math.round(left);
  }

  async solve() {
    const { state, form } = this, body = {};
    await state.flush();
    for (const input of form.querySelectorAll("input[type=number]:not([data-chance])")) if (input.value !== "") body[input.name] = Number(input.value);
    body.incoming = [...form.incoming.selectedOptions].map((one) => one.value);
    const mine = state.document, chance = this.meet.asked();
    this.say("solving …");
    form.querySelector("button").disabled = true;
    try {
      const found = chance || body.incoming.length > 1 ? await this.long(mine, { ...body, ...chance }) : await askJson("/api/tune", { document: mine, ...body });
      this.solvedFor = JSON.stringify(mine);
      this.say(found ? "" : "stopped");
      this.found = found;
      this.draw();
    } catch (error) { this.found = null; this.say(error.message, true); this.result.replaceChildren(); } finally { form.querySelector("button").disabled = false; }
  }

  // Many wafers, or a chance, take a while: a long run, followed here. Null where it was stopped.
  async long(document, asked) {
    let job = await askJson("/api/jobs", { kind: "tune", title: `settings for ${this.state.answer?.header.title || "setup"}`.slice(0, 80), document, solve: asked });
    const bar = make("progress", { max: 1, "aria-label": "draws counted" }), words = make("span");
    const stop = make("button", { type: "button", text: "stop", on: { click: () => ask(`/api/jobs/${job.id}`, undefined, "DELETE").catch((error) => this.state.toast(error.message)) } });
    this.say("");
    this.result.replaceChildren(make("p", { class: "row" }, bar, words, stop));
    while (job.state === "waiting" || job.state === "running") {
      bar.value = job.share;
      words.textContent = { waiting: "waits for its turn" }[job.state] || (job.share ? `${Math.round(100 * job.share)} % of the draws counted` : "searching …");
      await new Promise((done) => setTimeout(done, 600));
      job = await askJson(`/api/jobs/${job.id}`);
    }
    this.result.replaceChildren();
    if (job.state === "stopped") return null;
    if (job.state !== "done") throw new Error(job.message || job.state);
    return (await askPacked(`/api/jobs/${job.id}/answer`)).header;
  }

  // A run of before, shown again; its settings are for the setup that it was solved for.
  async show(job) {
    try { this.found = (await askPacked(`/api/jobs/${job.id}/answer`)).header; } catch (error) { this.say(error.message, true); return; }
    this.solvedFor = JSON.stringify(this.found.start_document);
    this.say("");
    this.draw();
  }

  say(words, wrong = false) { this.said.textContent = words; this.said.classList.toggle("wrong", wrong); }

  draw() {
    const { found } = this;
    if (!found) return;
    const chart = document.createElement("div");
    chart.className = "chart data-chart";
    const told = document.createElement("p");
    told.className = "sentence";
    told.textContent = `What is left is uneven by ${percent(found.wiwnu_sigma_percent_after)} (1σ); with the settings as they were, by ${percent(found.wiwnu_sigma_percent_before)} of ${number(found.mean_remaining_before_nm, 4)}\u00a0nm. It takes ${number(found.time_after_s, 4)}\u00a0s, ${number(found.time_before_s, 4)}\u00a0s before.`;
    const use = document.createElement("button");
    use.type = "button"; use.className = "main"; use.textContent = "use these settings";
    use.addEventListener("click", () => this.use(found));
    this.result.replaceChildren(told, ...chanceOf(found), chart, ...this.wafers(), this.table(), use, this.sentences("What binds", found.binding.map((b) => b.words), "No limit binds."), this.sentences("Notes", found.notes, ""));
    const x = [...found.radius].map(inMm), edge = inMm(found.radius.at(-1) - found.exclusion_m);
    const level = (values, mean) => values.map((v) => inNm(v) - mean);
    new Chart(chart, "Thickness left, from its mean").draw({
      series: [
        { x, y: level(found.left_before, found.mean_remaining_before_nm), name: "before", look: "line-2", dash: true },
        ...(found.band_after ? [{ x, y: level(found.left_after, found.target_nm), low: level(found.band_after[0], found.target_nm), high: level(found.band_after[1], found.target_nm), name: `with these settings: mean profile, and where all ${found.wafers.length} wafers lie`, look: "line-1" },
          ...(found.each_after || []).map((values) => ({ x, y: level(values, found.target_nm), look: "line-1 thin" }))] : [{ x, y: level(found.left_after, found.mean_remaining_after_nm), name: "with these settings", look: "line-1" }]),
        { x, y: level(found.goal, found.target_nm), name: "wanted", look: "line-3" },
      ],
      xName: "distance from the centre [mm]", yName: found.band_after ? "left, from the target [nm]" : "left, from its mean [nm]", robust: edge, shaded: [edge, x.at(-1)],
    });
  }

  // What was solved for another setup would take back what has been changed since.
  async use(found) {
    await this.state.flush();
    if (JSON.stringify(this.state.document) !== this.solvedFor) { this.say("The setup has changed since this was solved: solve again.", true); return; }
    this.state.take(found.document);
    this.solvedFor = JSON.stringify(found.document);
    this.say("The setup has these settings now.");
  }

  // One row a wafer of several: what is left of it, before and now.
  wafers() {
    const { found } = this;
    if (!found.wafers) return [];
    const made = make("table", { "aria-label": "Each wafer before and after" });
    made.innerHTML = "<thead><tr><th>wafer</th><th>comes in, nm</th><th>left before, nm</th><th>left now, nm</th><th>1σ before</th><th>1σ now</th></tr></thead>";
    const body = made.createTBody();
    for (const one of found.wafers) body.append(make("tr", {}, make("th", { scope: "row", text: one.wafer }), ...[number(one.mean_incoming_nm, 4), number(one.mean_remaining_before_nm, 4), number(one.mean_remaining_after_nm, 4), percent(one.wiwnu_sigma_percent_before), percent(one.wiwnu_sigma_percent_after)].map((text) => make("td", { text }))));
    return [make("p", { class: "told", text: `Of ${found.wafers.length} wafers with one recipe: the worst is left uneven by ${percent(found.worst_wiwnu_sigma_percent_after)}, ${percent(found.worst_wiwnu_sigma_percent_before)} before.` }), make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Each wafer, table" }, made)];
  }

  // One row a step, each setting as it was and as it should be.
  table() {
    const { found } = this, made = document.createElement("table");
    made.setAttribute("aria-label", "Settings before and after");
    made.innerHTML = "<thead><tr><th>step</th><th></th><th>before</th><th>now</th></tr></thead>";
    const body = made.createTBody(), kPa = (v) => show(1e3 * v, "pressure", 4);
    found.steps.forEach((now, i) => {
      const then = found.steps_before[i], zones = now.zone_pressures_kPa;
      const rows = zones.map((p, k) => [zones.length > 1 ? `zone ${k + 1}` : "pressure", kPa(then.zone_pressures_kPa[k]), kPa(p)]);
      rows.push(["ring", kPa(then.ring_pressure_kPa), kPa(now.ring_pressure_kPa)], ["time", `${number(then.time_s, 4)} s`, `${number(now.time_s, 4)} s`]);
      rows.forEach(([what, a, b], k) => {
        const row = body.insertRow();
        row.insertCell().textContent = k ? "" : now.name;
        for (const text of [what, a, b]) row.insertCell().textContent = text;
        if (a !== b) row.classList.add("moved");
      });
    });
    return made;
  }

  sentences(title, list, empty) {
    const home = document.createElement("div");
    if (!list.length && !empty) return home;
    home.innerHTML = "<h3></h3><ul></ul>";
    home.firstChild.textContent = title;
    for (const text of list.length ? list : [empty]) { const li = document.createElement("li"); li.textContent = text; home.lastChild.append(li); }
    return home;
  }
}
