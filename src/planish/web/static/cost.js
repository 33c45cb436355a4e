// What a wafer costs at the person's own prices: the table comes from the package, the prices go into the setup.

import { Latest, gaveUp } from "./api.js";
import { make } from "./choice-form.js";
import { number } from "./units.js";

export class Cost {
  constructor(home, state) {
    this.home = home; this.state = state; this.latest = new Latest();
    this.table = make("div", { class: "cost-table" });
    this.prices = make("form", { class: "prices" });
    this.box = make("details", { class: "cost" }, make("summary", { text: "What a wafer costs as the setup stands" }), this.table, make("details", {}, make("summary", { text: "your prices, lives and times" }), this.prices));
    this.box.addEventListener("toggle", () => this.box.open && this.show());
    this.prices.addEventListener("submit", (event) => event.preventDefault());
    home.append(this.box);
  }

  offer(list, again) {
    this.prices.replaceChildren(...list.map((price) => {
      const input = make("input", { type: "text", value: price.text ?? "", placeholder: "not given" });
      input.addEventListener("change", async () => {
        const given = input.value.trim(), bare = given !== "" && Number.isFinite(Number(given)) && !price.quantity && price.label !== "currency";
        await this.state.put({ [price.path]: given === "" ? null : bare ? Number(given) : given });
        again();
      });
      return make("label", {}, make("span", {}, price.label, make("small", { text: ` ${price.about.split(";")[0]}${price.quantity ? ", as 45 min" : ""}` })), input);
    }));
    if (this.box.open) this.show();
  }

  async show() {
    const mine = (this.round || 0) + 1;
    this.round = mine;
    this.table.replaceChildren(make("p", { class: "wait", text: "computing …" }));
    let found;
    try {
      await this.state.flush();
      found = await this.latest.ask("/api/cost", { document: this.state.document });
    } catch (error) { if (mine === this.round && !gaveUp(error)) this.table.replaceChildren(make("p", { class: "wrong", text: error.message })); return; }
    if (mine !== this.round) return;
    const money = found.currency ? ` ${found.currency}` : "", cell = (value, digits) => (value === null ? "–" : number(value, digits));
    const made = make("table", { "aria-label": "What a wafer costs" });
    made.innerHTML = "<thead><tr><th>what</th><th>price</th><th>lasts, wafers</th><th>for a wafer</th><th>share</th></tr></thead>";
    const body = made.createTBody();
    for (const item of found.items) {
      const row = body.insertRow();
      const texts = [item.item, cell(item.price, 4), item.life_wafers === null ? "–" : `${item.life_wafers}${item.end ? ` (${item.end})` : ""}`, item.cost === null ? "–" : `${number(item.cost)}${money}`, item.share_percent === null ? "–" : `${number(item.share_percent, 2)} %`];
      for (const text of texts) row.insertCell().textContent = text;
    }
    const sum = found.cost_per_wafer === null ? "No price is given, so no sum: say your prices below." : `A wafer costs ${number(found.cost_per_wafer, 4)}${money}; ${number(found.wafers_per_hour)} wafers an hour.`;
    const takes = `It takes ${number(found.slurry_ml)} ml of slurry and ${number(found.machine_time_s)} s of the machine.`;
    this.table.replaceChildren(make("p", { class: "sentence", text: `${sum} ${takes}` }), make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "What a wafer costs, table" }, made), make("details", {}, make("summary", { text: "notes" }), make("ul", {}, ...found.notes.map((text) => make("li", { text })))));
  }
}
