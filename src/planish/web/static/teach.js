// Teaching: one idea a view, large type, a question first and the computed answer after.

import { askJson } from "./api.js";
import { Chart, LINES } from "./chart.js";
import { inMm } from "./units.js";

export class Teach {
  constructor(home, state) { this.home = home; this.state = state; this.lessons = null; }

  async open(id) {
    try { this.lessons ||= await askJson("/api/lessons"); } catch (error) { this.state.toast(error.message); return; }
    this.lesson = this.lessons.find((l) => l.id === id) || this.lessons[0];
    this.state.lesson = this.lesson.id;
    this.answer = null; this.guess = null;
    this.draw();
  }

  draw() {
    const { home, lesson } = this, at = this.lessons.indexOf(lesson);
    home.replaceChildren();
    const list = document.createElement("nav");
    list.setAttribute("aria-label", "Guided comparisons");
    this.lessons.forEach((each, i) => {
      const button = document.createElement("button");
      button.type = "button"; button.textContent = `${i + 1} ${each.title}`;
      button.dataset.lesson = each.id;
      if (each === lesson) button.setAttribute("aria-current", "true");
      button.addEventListener("click", () => { this.open(each.id); this.state.save(); });
      list.append(button);
    });
    const stage = document.createElement("div");
    stage.className = "stage";
    stage.innerHTML = '<h2></h2><p class="question"></p><div class="guess" role="group" aria-label="Your guess"></div><div class="guess" id="go-on"></div><div class="lesson-answer" aria-live="polite"></div>';
    stage.querySelector("h2").textContent = lesson.title;
    stage.querySelector(".question").textContent = lesson.question;
    for (const words of [...lesson.cases, "no difference"]) {
      const guess = document.createElement("button");
      guess.type = "button"; guess.textContent = words;
      guess.setAttribute("aria-pressed", "false");
      guess.addEventListener("click", () => {
        this.guess = words;
        for (const each of stage.querySelectorAll(".guess [aria-pressed]")) each.setAttribute("aria-pressed", each === guess);
      });
      stage.querySelector(".guess").append(guess);
    }
    const go = document.createElement("button");
    go.type = "button"; go.className = "main"; go.textContent = "show the computed answer";
    go.id = "show-answer";
    go.addEventListener("click", () => this.show());
    stage.querySelector("#go-on").append(go);
    const next = this.lessons[(at + 1) % this.lessons.length];
    const on = document.createElement("button");
    on.type = "button"; on.textContent = `next: ${next.title}`;
    on.addEventListener("click", () => { this.open(next.id); this.state.save(); });
    stage.querySelector("#go-on").append(on);
    home.append(list, stage);
    this.place = stage.querySelector(".lesson-answer");
    this.go = go;
  }

  async show() {
    this.go.disabled = true;
    this.place.innerHTML = '<p class="wait">Computing…</p>';
    try {
      this.answer = await askJson(`/api/lessons/${this.lesson.id}`, { document: this.state.document });
    } catch (error) { this.place.textContent = error.message; this.go.disabled = false; return; }
    this.go.disabled = false;
    const a = this.answer, place = this.place;
    place.replaceChildren();
    const chartHome = document.createElement("div");
    chartHome.className = "chart teach-chart";
    const side = document.createElement("div");
    side.className = "teach-side";
    place.append(chartHome, side);
    for (const figure of a.figures) {
      const p = document.createElement("p");
      p.className = "sentence";
      p.textContent = figure.sentence;
      side.append(p);
    }
    if (this.guess) {
      const p = document.createElement("p");
      p.textContent = `You said: ${this.guess}.`;
      side.prepend(p);
    }
    const table = document.createElement("table");
    table.innerHTML = "<thead><tr><td></td></tr></thead>";
    for (const name of a.cases) { const th = document.createElement("th"); th.scope = "col"; th.textContent = name; table.tHead.rows[0].append(th); }
    const body = table.createTBody();
    for (const figure of a.figures) {
      const row = body.insertRow(), th = document.createElement("th");
      th.scope = "row"; th.textContent = figure.unit ? `${figure.name} [${figure.unit}]` : figure.name;
      row.append(th);
      for (const name of a.cases) { const v = figure.values[name]; row.insertCell().textContent = v === null || v === undefined ? "–" : v.toFixed(figure.digits); }
    }
    const open = body.insertRow();
    open.append(document.createElement("td"));
    for (const name of a.cases) {
      const button = document.createElement("button");
      button.type = "button"; button.textContent = "open on the bench";
      button.setAttribute("aria-label", `open on the bench: ${name}`);
      button.addEventListener("click", () => this.state.take(a.documents[name]));
      open.insertCell().append(button);
    }
    side.append(table);
    const first = a.curves[a.cases[0]];
    const series = a.cases.map((name, i) => ({ x: a.curves[name].x, y: a.curves[name].y, name, look: LINES[i] }));
    const spec = { series, xName: first.x_name, yName: first.y_name, leastSpan: 0.05, saying: a.look };
    if (a.curve !== "lot-rate") spec.robust = Math.max(...first.x) - (this.state.answer ? inMm(this.state.answer.header.exclusion_m) : 3);
    if (a.curve === "pressure") spec.xLimits = [Math.max(...first.x) * 0.8, Math.max(...first.x)];
    new Chart(chartHome, a.title).draw(spec);
  }
}
