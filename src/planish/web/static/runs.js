// Long runs: pad life and the die in depth, as jobs with progress that survive a reload.

import { ask, askJson, askPacked } from "./api.js";
import { showFit } from "./fitting.js";
import { TileView } from "./tiles.js";

export class Runs {
  constructor(home, state) {
    this.home = home; this.state = state; this.jobs = [];
    home.innerHTML = `<h2>Long runs on this setup</h2>
      <form id="lot-form"><fieldset><legend>Pad life</legend>
        <label>wafers <input type="number" name="wafers" value="1000" min="1" max="5000"></label>
        <label>seed <input type="number" name="seed" value="0" min="0"></label>
        <label>time <select name="adjust"><option value="fixed">as in the recipe</option><option value="run-to-run">adjusted run to run</option></select></label>
        <label class="switch"><input type="checkbox" name="conditioning" checked> condition</label>
        <button class="main">run the lot</button></fieldset></form>
      <form id="die-form"><fieldset><legend>Die in depth</legend>
        <label>layout <select name="layout"><option value="density-blocks">blocks</option><option value="step-density">density steps</option><option value="line-space">lines and spaces</option></select></label>
        <label>side [mm] <input type="number" name="size_mm" value="26" min="1" max="33"></label>
        <label>cell [µm] <input type="number" name="cell_um" value="20" min="5" max="500"></label>
        <label>place <select name="place"><option>edge</option><option>mid</option><option>centre</option></select></label>
        <button class="main">run the die</button></fieldset></form>
      <table id="jobs" aria-label="Your runs"></table><div id="job-result"></div>`;
    for (const kind of ["lot", "die"]) home.querySelector(`#${kind}-form`).addEventListener("submit", (event) => {
      event.preventDefault();
      const options = { kind, title: `${kind} of ${state.answer?.header.title || "setup"}` };
      for (const input of event.target.elements) if (input.name) options[input.name] = input.type === "checkbox" ? input.checked : input.type === "number" ? Number(input.value) : input.value;
      this.start(options);
    });
  }

  async start(options) {
    try { await askJson("/api/jobs", { document: this.state.document, ...options, title: (options.title || "").slice(0, 80) }); } catch (error) { this.state.toast(error.message); return; }
    this.watch();
  }

  async watch() {
    clearTimeout(this.timer);
    try { this.jobs = await askJson("/api/jobs"); } catch (error) { this.state.toast(error.message); return; }
    this.draw();
    const open = this.jobs.some((j) => j.state === "running" || j.state === "waiting");
    if (open && !this.home.hidden) this.timer = setTimeout(() => this.watch(), 600);
  }

  draw() {
    const table = this.home.querySelector("#jobs");
    table.innerHTML = this.jobs.length ? "<thead><tr><th>run</th><th>state</th><td></td></tr></thead>" : "";
    const body = table.createTBody();
    for (const job of this.jobs.slice(0, 12)) {
      const row = body.insertRow();
      row.dataset.job = job.id;
      row.insertCell().textContent = job.title || job.kind;
      const state = row.insertCell();
      if (job.state === "running" || job.state === "waiting") {
        const bar = document.createElement("progress");
        const far = job.kind === "fit" ? "fitting" : `${Math.round(100 * job.share)} %`; // how often a fit asks the model, nobody knows
        if (job.kind !== "fit") { bar.max = 1; bar.value = job.share; }
        bar.setAttribute("aria-label", `${job.title}: ${far}`);
        state.append(bar, ` ${job.state === "waiting" ? "waiting" : far}`);
      } else state.textContent = job.message ? `${job.state}: ${job.message}` : job.state;
      const act = row.insertCell();
      const button = (words, run) => { const b = document.createElement("button"); b.type = "button"; b.textContent = words; b.setAttribute("aria-label", `${words}: ${job.title}`); b.addEventListener("click", run); act.append(b); };
      if (job.state === "done") button("show", () => this.show(job));
      button(job.state === "running" || job.state === "waiting" ? "stop" : "clear", async () => {
        try { await ask(`/api/jobs/${job.id}`, undefined, "DELETE"); } catch (error) { this.state.toast(error.message); }
        this.watch();
      });
    }
  }

  async show(job) {
    if (job.kind === "trade-off") { this.state.showFront(job); return; }
    if (job.kind === "tune") { this.state.showTuned(job); return; }
    if (job.kind === "fit") { await showFit(this.home.querySelector("#job-result"), this.state, job).catch((error) => this.state.toast(error.message)); return; }
    let answer;
    try { answer = await askPacked(`/api/jobs/${job.id}/answer`); } catch (error) { this.state.toast(error.message); return; }
    const home = this.home.querySelector("#job-result");
    if (job.kind === "lot") {
      this.state.lot = answer;
      this.state.answers.lot();
      this.state.answers.enlarge("lot");
      this.state.machine.worn(answer.arrays.pad_radius, answer.arrays.worn);
      home.innerHTML = '<p>The lot’s card shows this run. <a>its table as CSV</a></p>';
      home.querySelector("a").href = `/api/jobs/${job.id}/table.csv`;
      return;
    }
    home.innerHTML = '<h3></h3><div class="choice" role="group" aria-label="Map"></div><div class="tiles"></div>';
    home.querySelector("h3").textContent = job.title;
    const choose = home.querySelector(".choice"), place = home.querySelector(".tiles");
    const open = (name) => {
      for (const b of choose.children) b.setAttribute("aria-pressed", b.dataset.name === name);
      this.tiles = new TileView(place, job.id, name, `${job.title}, ${name}`);
      window.planishTiles = this.tiles;
    };
    for (const name of ["surface", "density"]) {
      const b = document.createElement("button");
      b.type = "button"; b.textContent = name; b.dataset.name = name;
      b.addEventListener("click", () => open(name));
      choose.append(b);
    }
    open("surface");
    home.scrollIntoView({ block: "start" });
  }
}
