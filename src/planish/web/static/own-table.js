// A choice of one's own tables, and a way to bring another; `chosen` is called with the file's id.

import { make } from "./choice-form.js";

export class OwnTable {
  constructor(state, words, { none, chosen, say }) {
    this.state = state; this.none = none; this.chosen = chosen;
    this.select = make("select", { name: "file", "aria-label": words, on: { change: () => chosen(this.select.value) } });
    this.pick = make("input", { type: "file", hidden: true, accept: ".csv,.tsv,.txt,.parquet,.xlsx", "aria-label": `bring a file: ${words}` });
    this.pick.addEventListener("change", async () => {
      const [file] = this.pick.files;
      this.pick.value = "";
      if (!file) return;
      try {
        say(`reading ${file.name} …`);
        const told = await state.data.store(file);
        say(told.notes.join("; "));
        state.data.draw();
        this.offer(told.id);
        chosen(told.id);
      } catch (error) { say(error.message, true); }
    });
    this.bring = make("button", { type: "button", text: "bring a file …", on: { click: () => this.pick.click() } });
    this.home = make("span", { class: "own-table" }, this.select, this.bring, this.pick);
    this.offer();
  }

  offer(now = this.select.value) {
    const tables = this.state.data.files.filter((one) => one.kind === "table");
    this.select.replaceChildren(make("option", { value: "", text: this.none }), ...tables.map((one) => make("option", { value: one.id, text: one.name })));
    this.select.value = tables.some((one) => one.id === now) ? now : "";
  }
}
