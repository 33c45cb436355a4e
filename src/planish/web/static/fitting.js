// A fit to a table of runs with its site files: what may be free, how far it is, what came of it, and taken with one press.

import { askJson, askPacked } from "./api.js";
import { number } from "./units.js";

function made(tag, more = {}, ...inside) {
  const element = Object.assign(document.createElement(tag), more);
  element.append(...inside);
  return element;
}

const list = (lines) => made("ul", {}, ...lines.map((text) => made("li", { textContent: text })));
const words = (text) => text.split(",").map((word) => word.trim()).filter(Boolean);

export class Fitting {
  constructor(home, state) { this.home = home; this.state = state; this.table = null; }

  // Whether its form is in view, and waits for files.
  get shown() { return !!this.home.querySelector(".fit-form"); }
  get lacks() { return this.shown && this.missing; }

  async again() { await this.open(this.table); }

  async open(file) {
    const { state } = this, same = this.table?.id === file.id;
    this.table = file;
    if (!same) { this.column = []; this.leftOut = []; this.free = null; }
    await state.flush();
    let found;
    try {
      found = await askJson("/api/runs", { document: state.document, file: file.id, column: this.column, leave_out: this.leftOut });
    } catch (error) { this.form({ refused: error.message, missing: [], names: [], free: [], numbers: [] }); return; }
    this.form(found);
  }

  form(found) {
    const file = this.table, form = made("form", { className: "fit-form" });
    const said = made("p", { className: "fit-said" });
    said.setAttribute("role", "status");
    this.missing = found.missing.length > 0;
    const trouble = found.refused || (found.missing.length ? `It names site files that you have not brought: ${found.missing.slice(0, 12).join(", ")}${found.missing.length > 12 ? ` and ${found.missing.length - 12} more` : ""}. Drop them too.` : "");
    said.textContent = trouble || found.understood;
    said.classList.toggle("wrong", !!trouble);
    form.append(made("h3", { textContent: `Fit the setup to ${file.name}` }), said);
    const sets = made("fieldset", {}, made("legend", { textContent: "numbers that are free" })), boxes = made("div", { className: "free" });
    const chosen = this.free || found.free.filter((one) => one.usual).map((one) => one.path);
    for (const one of found.free) {
      const box = made("input", { type: "checkbox", name: "free", value: one.path, checked: chosen.includes(one.path) });
      boxes.append(made("label", { title: one.path }, box, made("span", { textContent: `${one.part === "slurry" || one.label.includes(":") ? "" : `${one.part}: `}${one.label}` }), made("small", { textContent: `${one.value}${one.spread ? ` ± ${one.spread}` : ""}` })));
    }
    const known = new Set(found.free.map((one) => one.path));
    const others = made("input", { name: "others", value: chosen.filter((path) => !known.has(path)).join(", "), placeholder: "paths with commas between" });
    others.setAttribute("list", "fit-numbers");
    const data = made("datalist", { id: "fit-numbers" }, ...found.numbers.filter((path) => !known.has(path)).map((path) => new Option(path, path)));
    sets.append(boxes, made("label", { className: "others" }, "others ", others), data);
    sets.hidden = !found.free.length;
    const more = made("details", { open: !!found.refused }, made("summary", { textContent: "what the table does not say" }));
    const column = made("input", { name: "column", value: this.column.join(", "), placeholder: "rate=Result [nm/min]" });
    const leave = made("input", { name: "leave", value: this.leftOut.join(", "), placeholder: "names of columns" });
    const again = made("button", { type: "button", textContent: "read it so" });
    again.addEventListener("click", () => this.told(form));
    more.append(made("div", { className: "limits" }, made("label", {}, "which column is what, as role=name ", column), made("label", {}, "leave out ", leave), again));
    const go = made("button", { className: "main", textContent: "fit", disabled: !!trouble });
    form.append(sets, more, made("div", { className: "fit-row" }, go, made("span", { className: "fit-going" })));
    form.addEventListener("submit", (event) => { event.preventDefault(); this.start(form, go); });
    this.home.replaceChildren(form, made("div", { className: "fit-result" }));
    form.scrollIntoView({ block: "nearest" });
  }

  keep(form) {
    this.free = [...[...form.querySelectorAll("[name=free]:checked")].map((box) => box.value), ...words(form.others.value)];
    this.column = words(form.column.value);
    this.leftOut = words(form.leave.value);
  }

  told(form) { this.keep(form); return this.open(this.table); }

  async start(form, go) {
    const { state } = this, going = form.querySelector(".fit-going"), said = form.querySelector(".fit-said");
    this.keep(form);
    await state.flush();
    go.disabled = true;
    try {
      let job = await askJson("/api/jobs", { kind: "fit", document: state.document, file: this.table.id, title: `fit to ${this.table.name}`.slice(0, 80), free: this.free, column: this.column, leave_out: this.leftOut });
      const bar = made("progress"), stop = made("button", { type: "button", textContent: "stop" }), doing = made("span");
      bar.setAttribute("aria-label", "fit");
      stop.addEventListener("click", () => fetch(`/api/jobs/${job.id}`, { method: "DELETE" }));
      going.replaceChildren(bar, doing, stop);
      while (job.state === "waiting" || job.state === "running") {
        doing.textContent = job.state === "waiting" ? " waiting " : job.share < 0.2 ? " reading the files " : " fitting: the model is asked many times, which takes a minute or more ";
        await new Promise((done) => setTimeout(done, 600));
        job = await askJson(`/api/jobs/${job.id}`);
      }
      if (job.state !== "done") throw new Error(job.message || `the fit was ${job.state}`);
      said.classList.remove("wrong");
      await showFit(this.home.querySelector(".fit-result"), this.state, job);
    } catch (error) { said.textContent = error.message; said.classList.add("wrong"); }
    going.replaceChildren();
    go.disabled = false;
  }
}

const end = (value, none) => `${number(value, 4)}${none ? " (no end)" : ""}`;

// What a fit found, as the command says it; also of a fit of an earlier day.
export async function showFit(home, state, job) {
  const { header: found } = await askPacked(`/api/jobs/${job.id}/answer`);
  const table = made("table"), level = `${Number((100 * found.level_share).toPrecision(3))} %`;
  table.setAttribute("aria-label", "Fitted numbers");
  table.innerHTML = "<thead><tr><th>number</th><th>fitted</th><th></th><th>to</th><th>unit</th><th>before</th></tr></thead>";
  table.tHead.rows[0].cells[2].textContent = `${level} from`;
  const body = table.createTBody();
  for (const [path, one] of Object.entries(found.parameters)) {
    const row = body.insertRow();
    for (const text of [path, number(one.value, 4), end(one.low, one.no_end_below), end(one.high, one.no_end_above), one.unit, number(one.before, 4)]) row.insertCell().textContent = text;
    row.cells[1].className = "fitted";
  }
  const said = made("p", { className: "fit-taken" }), use = made("button", { type: "button", className: "main", textContent: "use it" });
  said.setAttribute("role", "status");
  use.addEventListener("click", async () => {
    await state.flush();
    if (state.answer.header.digest !== found.fitted_for) { said.textContent = "The setup has changed since this was fitted: fit again."; said.classList.add("wrong"); return; }
    state.take(found.document);
    said.textContent = "The setup has the fitted numbers now, each with its band and where it comes from.";
  });
  const file = made("a", { href: `/api/jobs/${job.id}/fitted.toml`, download: "fitted.toml", textContent: "fitted setup as TOML" });
  const [fits, ...rest] = found.sentences;
  home.replaceChildren(made("h3", { textContent: job.title }), table, made("p", { textContent: fits }), list(rest), made("p", { className: "row" }, use, " ", file), said, made("h3", { textContent: "Notes" }), list(found.notes));
  home.scrollIntoView({ block: "nearest" });
}
