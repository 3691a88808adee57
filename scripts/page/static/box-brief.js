// The customer's wish: words, more or less of each, the other instrument's figures, and the ways there.

import { figures, heading, list, paragraph, picture, table } from "./box-parts.js";
import { element } from "./notices.js";

const ENDING = { dB: "_db", s: "_s" };
const NOTES = [["air_hz", "Air, Hz"], ["air_q", "Air, Q"], ["top_hz", "Top, Hz"], ["top_q", "Top, Q"], ["top_blocked_hz", "Top, hole blocked, Hz"], ["top_blocked_q", "Top, hole blocked, Q"]];

/** What the customer says; `changed(key, value)` keeps it. */
export class WishForm {
  constructor(changed) {
    this.changed = changed;
    this.built = false;
    this.said = element("p", { className: "quiet" });
    this.element = element("div", { className: "wish" });
  }

  show(state) {
    if (!this.built) this.build(state);
    this.said.textContent = state.brief_note;
    this.said.hidden = !state.brief_note;
    this.wish = state.wish;
    this.theirs = state.theirs;
    for (const [name, select] of this.amounts) if (select !== document.activeElement) select.value = state.wish[name] ?? "";
    for (const [key, input] of this.inputs) if (input !== document.activeElement) input.value = state.theirs[key] ?? "";
  }

  build({ words, amounts }) {
    this.built = true;
    this.amounts = words.map(({ name }) => {
      const select = element("select", { id: `box-wish-${name}` }, element("option", { value: "", textContent: "no wish" }),
        ...amounts.map((amount) => element("option", { value: amount, textContent: amount })));
      select.addEventListener("change", () => this.keepWish());
      return [name, select];
    });
    const theirs = words.map(({ name, unit }) => this.input(`${name}${ENDING[unit]}`, `Their ${name}, ${unit}`));
    const rows = words.map(({ name }, k) => element("div", { className: "word" },
      element("label", { htmlFor: `box-wish-${name}`, textContent: name }), this.amounts[k][1], theirs[k].label));
    const name = this.input("name", "Name", "text");
    const notes = NOTES.map(([key, label]) => this.input(key, label));
    this.inputs = [...theirs, name, ...notes].map(({ key, input }) => [key, input]);
    this.element.append(this.said, ...rows, element("details", {}, element("summary", { textContent: "What the words mean" }), list(words.map(({ name, sentence }) => `${name}: ${sentence}`), "")), element("details", {}, element("summary", { textContent: "The other instrument's name and notes" }),
      element("div", { className: "row" }, name.label, ...notes.map((one) => one.label))));
  }

  input(key, words, type = "number") {
    const input = element("input", { type, id: `box-theirs-${key}` });
    if (type === "number") Object.assign(input, { min: 0, step: "any", inputMode: "decimal" });
    else input.maxLength = 80;
    input.addEventListener("change", () => this.keepTheirs());
    return { key, input, label: element("label", { className: "field" }, words, input) };
  }

  keepWish() {
    this.changed("brief/wish", Object.fromEntries(this.amounts.map(([name, select]) => [name, select.value]).filter(([, amount]) => amount)));
  }

  keepTheirs() {
    const found = {};
    for (const [key, input] of this.inputs) if (input.value.trim()) found[key] = input.type === "number" ? Number(input.value) : input.value.trim();
    this.changed("brief/theirs", found);
  }
}

export function drawBrief(bench, body, told, pictures) {
  const [theirs, ours] = told.instruments;
  const together = told.together.ways;
  body.append(picture(bench, pictures.brief), heading("The ways, put together"));
  body.append(together.length
    ? list(together.map((way) => `${way.amount} (${way.when})`), "ways")
    : paragraph("Nothing is to be changed: the wish is met, or no way helps."));
  if (together.length) body.append(paragraph(`That gives ${Math.round(100 * told.together.share_of_wish)} % of the wish, solved anew.`));
  const single = Object.entries(told.single).flatMap(([word, ways]) => [heading(`${word}, each way by itself`), list(ways.slice(0, 5).map((one) => `${one.ways[0].amount} (${one.ways[0].when}): ${Math.round(100 * one.share_of_wish)} % of the way`), "")]);
  body.append(figures(
    table("Both instruments and the wish", ["", theirs.name, ours.name, "wish", "wanted", "with these ways"], told.rows.map((row) => [row.word, row.theirs, row.ours, row.wish, row.wanted, row.then])),
    ...single, heading("Lines for top.toml"), element("pre", { textContent: told.lines.trim(), tabIndex: 0 }), list([...told.notes, ...told.cautions, ...told.wish.map((one) => `Size of ${one.word}: ${one.size}`)])));
}
