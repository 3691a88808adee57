// Boxes side by side: linings, finishes, and the form of a finish.

import { figures, list, picture, table } from "./box-parts.js";
import { button, element } from "./notices.js";

export function drawBeside(bench, name, body, told, pictures) {
  const names = told.columns.map((column) => column.name);
  const first = told.columns[0];
  const modes = first.modes.map((mode, k) => [`${mode.mode}: ${mode.name}`, ...told.columns.map(({ modes: own }) => `${own[k].hz.toFixed(1)} Hz, ${own[k].t60_s.toFixed(2)} s`)]);
  const voice = first.voice.map((word, k) => [`${word.name}, ${word.unit}`, ...told.columns.map((column) => column.voice[k].value)]);
  const power = Object.keys(first.power).map((part) => [`power to ${part}`, ...told.columns.map((column) => `${(100 * (column.power[part] ?? 0)).toFixed(1)} %`)]);
  const notes = ["weak", "wolf"].filter((kind) => first[kind] !== null).map((kind) => [`${kind} notes`, ...told.columns.map((column) => String(column[kind]))]);
  body.append(picture(bench, pictures[name]), list(told.sentences, ""),
    figures(list(told.columns.map((column) => `${column.name}: ${column.words}`)),
      table("Voice, side by side", ["", ...names], [...voice, ...notes, ...power]),
      table("Modes, side by side", ["Mode", ...names], modes), list(told.notes)));
}

const FIELDS = [
  ["mass_g_per_m2", "Dry weight, g/m\u00b2", 80, "any"],
  ["film_mm", "Film, mm", 0.06, "any"],
  ["modulus_gpa", "Its stiffness, GPa", 3, "any"],
  ["loss", "Its loss factor", 0.05, "any"],
];

/** A finish to compare with; `asked` is called with it. */
export class FinishForm {
  constructor(asked) {
    this.faces = [];
    this.inputs = FIELDS.map(([name, , value, step]) => element("input", { type: "number", id: `box-${name}`, min: 0, step, value, inputMode: "decimal", required: true }));
    const fields = FIELDS.map(([, words], k) => element("label", { className: "field" }, words, this.inputs[k]));
    this.places = element("div", { className: "row" });
    this.element = element("form", { className: "asked" }, element("div", { className: "row" }, ...fields),
      this.places, element("p", { className: "quiet", textContent: "Invented figures to begin with; a film of 0 mm only weighs." }),
      button("Compare with this finish", () => this.element.requestSubmit()));
    this.element.addEventListener("submit", (event) => {
      event.preventDefault();
      const chosen = this.faces.filter((box) => box.checked).map((box) => box.value);
      asked(chosen.length ? { ...Object.fromEntries(FIELDS.map(([name], k) => [name, Number(this.inputs[k].value)])), faces: chosen } : null);
    });
  }

  /** Shows what was asked for, unless it is being typed. */
  show(finish, faces) {
    if (!this.faces.length) {
      this.faces = faces.map((value) => element("input", { type: "checkbox", value, checked: true }));
      this.places.replaceChildren(...this.faces.map((box) => element("label", { className: "row" }, box, box.value)));
    }
    if (!finish || this.element.contains(document.activeElement)) return;
    FIELDS.forEach(([name], k) => { this.inputs[k].value = finish[name]; });
    for (const box of this.faces) box.checked = finish.faces.includes(box.value);
  }
}
