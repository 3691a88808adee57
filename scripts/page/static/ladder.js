// The ladder of frequencies: one rung a mode, drawn and draft, tapped and wanted side by side; a table says the same in
// figures and is what changes while a brace is dragged.

import { mark, MARKS } from "./marks.js";
import { element } from "./notices.js";

const NAMESPACE = "http://www.w3.org/2000/svg";
const NAMES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const A4 = 440;
const [WIDTH, HEIGHT, TOP, FOOT] = [300, 460, 34, 14];
const AT = { drawn: [40, 84], predicted: 132, measured: 186, target: 240 };

/**
 * The nearest note and how far above it a frequency is, in cents.
 * @param {number} hz
 */
export function noteOf(hz) {
  const semitones = 12 * Math.log2(hz / A4);
  const nearest = Math.round(semitones);
  const number = nearest + 69;
  return { name: `${NAMES[((number % 12) + 12) % 12]}${Math.floor(number / 12) - 1}`, cents: Math.round(100 * (semitones - nearest)) };
}

/** A frequency's note in words, as "F#3 +12". */
export function noteWords(hz) {
  const { name, cents } = noteOf(hz);
  return cents === 0 ? name : `${name} ${cents > 0 ? "+" : "\u2212"}${Math.abs(cents)}`;
}

/** A number with its sign. */
export function signed(value, digits = 1) {
  const text = Math.abs(value).toFixed(digits);
  return Number(text) === 0 ? text : `${value > 0 ? "+" : "\u2212"}${text}`;
}

/** An SVG element with attributes. */
export function drawn(tag, attributes = {}, ...children) {
  const made = document.createElementNS(NAMESPACE, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

const MODE = ["Mode", "", ""];
const NOTE = ["Note", "", "note"];
const OTHERS = [[MARKS.measured, "measured", "heard"], [MARKS.target, "target", "wanted"]];
const WITH_DRAFT = [MODE, ["Drawn", "", "as-drawn"], ["Draft", "", "draft"], ["Change", "", "change"], ...OTHERS];
const ALONE = [MODE, [MARKS.predicted, "predicted", "as-drawn"], NOTE, ...OTHERS];

export class Ladder {
  /**
   * @param {(mode: number) => void} choose called with a mode, 1 for the lowest
   * @param {{withDraft?: boolean}} [options] whether a draft stands beside the drawing
   */
  constructor(choose, { withDraft = true } = {}) {
    this.choose = choose;
    this.withDraft = withDraft;
    this.columns = withDraft ? WITH_DRAFT : ALONE;
    this.rows = [];
    this.svg = drawn("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "ladder", "aria-hidden": "true" });
    this.body = element("tbody");
    this.heads = this.columns.map(([words, kind, column], k) => {
      const head = element("th", { scope: "col" }, element("span", { className: kind, textContent: words }));
      if (k) head.className = `number ${column}`;
      return head;
    });
    const row = element("tr", {}, ...this.heads);
    this.caption = element("caption", { textContent: "Frequencies in Hz" });
    this.table = element("table", { className: "rungs" }, this.caption, element("thead", {}, row), this.body);
    // A table wider than a phone is scrolled by keys too.
    const tableBox = element("div", { className: "scroll", tabIndex: 0 }, this.table);
    this.element = element("div", { className: "ladder-box" }, this.svg, tableBox);
  }

  /**
   * All anew: what does not change while a brace is dragged.
   * @param {{drawn: number[] | null, names: string[], measured: Object<string, number>, targets: {mode: number, hz: number, words: string}[]}} found
   */
  set(found, chosen) {
    const hz = found.drawn ?? [];
    this.drawn = hz;
    this.targets = new Map(found.targets.map((target) => [target.mode, target]));
    this.measured = found.measured;
    this.chosen = chosen;
    const all = [...hz, ...Object.values(found.measured), ...found.targets.map((target) => target.hz)].filter((value) => value > 0);
    this.low = Math.log(0.93 * Math.min(...all, Infinity));
    this.high = Math.log(1.07 * Math.max(...all, 0));
    this.rows = hz.map((value, k) => this.row(k, value, found.names[k] ?? ""));
    this.body.replaceChildren(...this.rows.map((one) => one.row));
    // Columns without a figure only take room.
    this.table.classList.toggle("unheard", !Object.keys(found.measured).length);
    this.table.classList.toggle("unwanted", !found.targets.length);
    this.draw();
  }

  row(k, value, name) {
    const pick = element("button", { type: "button", textContent: `${k + 1}`, title: name });
    pick.setAttribute("aria-label", `Mode ${k + 1}${name ? `, ${name}` : ""}`);
    pick.setAttribute("aria-pressed", String(k + 1 === this.chosen));
    pick.addEventListener("click", () => this.choose(k + 1));
    const cells = Object.fromEntries(this.columns.slice(1).map(([, , column]) => [column, element("td", { className: `number ${column}` })]));
    const heard = this.measured[k + 1];
    const target = this.targets.get(k + 1);
    cells["as-drawn"].textContent = value.toFixed(1);
    if (cells.note) cells.note.textContent = noteWords(value);
    cells.heard.textContent = heard ? heard.toFixed(1) : "";
    cells.wanted.textContent = target ? target.hz.toFixed(1) : "";
    if (target) cells.wanted.title = target.words;
    if (cells.draft) cells.draft.dataset.mode = k + 1;
    return { row: element("tr", {}, element("th", { scope: "row" }, pick), ...Object.values(cells)), pick, ...cells };
  }

  /** The draft's frequencies, many times a second; null while they are not known. */
  show(hz) {
    this.rows.forEach((one, k) => {
      const value = hz?.[k];
      one.draft.textContent = value ? value.toFixed(1) : "\u2026";
      one.change.textContent = value ? signed(value - this.drawn[k]) : "";
      one.draft.title = value ? noteWords(value) : "";
      const move = this.marks?.[k];
      if (!move) return;
      move.mark.style.display = move.line.style.display = value ? "" : "none";
      if (!value) return;
      const y = this.y(value);
      move.mark.setAttribute("transform", `translate(0 ${y})`);
      move.line.setAttribute("y2", y);
    });
  }

  /** The mode that is looked at. */
  pick(mode) {
    this.chosen = mode;
    this.rows.forEach((one, k) => one.pick.setAttribute("aria-pressed", String(k + 1 === mode)));
    this.marks?.forEach((one, k) => one.rung.classList.toggle("chosen", k + 1 === mode));
  }

  y(hz) {
    return HEIGHT - FOOT - ((Math.log(hz) - this.low) / (this.high - this.low)) * (HEIGHT - TOP - FOOT);
  }

  draw() {
    this.svg.replaceChildren();
    this.marks = [];
    if (!this.drawn.length) return;
    const own = this.withDraft ? [["drawn", 62], ["draft", AT.predicted]] : [[MARKS.predicted, AT.predicted]];
    const heads = [...own, [MARKS.measured, AT.measured], [MARKS.target, AT.target]];
    for (const [words, x] of heads) this.svg.append(drawn("text", { x, y: 16, "text-anchor": "middle", class: "head-word" }, words));
    for (const x of [AT.drawn[0], WIDTH - 30]) this.svg.append(drawn("line", { x1: x, x2: x, y1: TOP - 8, y2: HEIGHT - 4, class: "rail" }));
    for (const hz of octaves(Math.exp(this.low), Math.exp(this.high))) {
      const y = this.y(hz);
      this.svg.append(drawn("line", { x1: AT.drawn[0], x2: WIDTH - 30, y1: y, y2: y, class: "hair" }));
      this.svg.append(drawn("text", { x: WIDTH - 24, y: y + 4, class: "tick" }, noteOf(hz).name));
    }
    let last = Infinity;
    this.drawn.forEach((hz, k) => {
      const y = this.y(hz);
      const end = this.withDraft ? AT.drawn[1] : AT.target + 16;
      const rung = drawn("line", { x1: AT.drawn[0], x2: end, y1: y, y2: y, class: "rung" });
      const line = drawn("line", { x1: AT.drawn[1], x2: AT.predicted - 8, y1: y, y2: y, class: "move" });
      const moved = drawn("g", { transform: `translate(0 ${y})` }, mark("predicted", AT.predicted, 0, 5));
      const label = Math.min(y + 4, last - 13);
      last = label;
      this.svg.append(rung, ...(this.withDraft ? [line] : []), moved, drawn("text", { x: AT.drawn[0] - 8, y: label, "text-anchor": "end", class: "tick" }, `${k + 1}`));
      const heard = this.measured[k + 1];
      if (heard) this.svg.append(mark("measured", AT.measured, this.y(heard), 5));
      const target = this.targets.get(k + 1);
      if (target) this.svg.append(mark("target", AT.target, this.y(target.hz), 5));
      this.marks.push({ rung, line, mark: moved });
    });
    this.pick(this.chosen);
  }
}

function octaves(low, high) {
  const found = [];
  for (let midi = 0; midi < 128; midi += 1) {
    const hz = A4 * 2 ** ((midi - 69) / 12);
    // C, E and A: enough to read between.
    if (hz > low && hz < high && [0, 4, 9].includes(midi % 12)) found.push(hz);
  }
  return found;
}
