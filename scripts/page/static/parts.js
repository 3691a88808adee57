// The brace's and the top's figures as text, braces added and taken out, woods, and pattern families.

import { lengthened, turned } from "./handles.js";
import { button, element } from "./notices.js";
import { pathLength } from "./topview.js";

const NEW_WIDTH = 6;
const NEW_HEIGHT = 8;
const NEW_END = 3;
const SHAPES = [["square", "square"], ["rounded", "rounded"], ["peaked", "peaked"]];

export class Parts {
  /** @param {{chosen: string | null, row: () => object, rows: () => object[], choose: (name: string) => void}} drawing */
  constructor(bench, drawing) {
    this.bench = bench;
    this.drawing = drawing;
    this.stations = element("details", { className: "stations" });
    this.brace = element("div", { className: "fields" });
    this.top = element("div", { className: "fields" });
  }

  draw(row, state) {
    const focused = document.activeElement?.dataset?.field;
    this.drawStations(row);
    this.drawBrace(row, state);
    this.drawTop(state);
    if (focused && !document.activeElement?.dataset?.field) {
      document.querySelector(`#view-drawing [data-field="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
    }
  }

  drawStations(row) {
    this.stations.hidden = !row;
    if (!row) return;
    const length = pathLength(row.path_mm);
    const rows = row.stations_mm.map(([s, h], k) => {
      const put = (which) => (mm) => {
        const stations = row.stations_mm.map((one) => [...one]);
        stations[k][which] = mm;
        stations.sort((a, b) => a[0] - b[0]);
        this.drawing.released(stations);
      };
      const remove = button("\u00d7", () => this.drawing.released(row.stations_mm.filter((_, other) => other !== k)));
      remove.setAttribute("aria-label", `Take out station ${k + 1}`);
      remove.disabled = row.stations_mm.length < 3;
      return element("tr", {},
        element("th", { scope: "row", textContent: `${k + 1}` }),
        element("td", {}, this.lengthInput(`s${k}`, `Distance of station ${k + 1}`, s, put(0), 0, length)),
        element("td", {}, this.lengthInput(`h${k}`, `Height of station ${k + 1}`, h, put(1), 0, 100)),
        element("td", {}, remove));
    });
    const heads = ["Station", "Distance", "Height", ""].map((words) => element(words ? "th" : "td", words ? { scope: "col", textContent: words } : {}));
    this.stations.replaceChildren(element("summary", { textContent: "Stations as figures" }),
      element("div", { className: "scroll", tabIndex: 0 }, element("table", {}, element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...rows))),
      button("Add a station", () => this.addStation(row)));
  }

  /** In the widest gap, where the quick model has a height of its own if it can. */
  addStation(row) {
    const stations = row.stations_mm;
    let [at, widest] = [1, 0];
    for (let k = 1; k < stations.length; k += 1) {
      if (stations[k][0] - stations[k - 1][0] > widest) [at, widest] = [k, stations[k][0] - stations[k - 1][0]];
    }
    const [[a, ha], [b, hb]] = [stations[at - 1], stations[at]];
    const places = (this.drawing.state?.ranges[row.name] ?? []).map(([s]) => s).filter((s) => s > a + 5 && s < b - 5);
    const middle = (a + b) / 2;
    const s = places.sort((p, q) => Math.abs(p - middle) - Math.abs(q - middle))[0] ?? Math.round(10 * middle) / 10;
    const h = Math.round(1e4 * (ha + ((hb - ha) * (s - a)) / (b - a))) / 1e4;
    this.drawing.released([...stations.slice(0, at), [s, h], ...stations.slice(at)]);
  }

  drawBrace(row, state) {
    if (!row) {
      this.brace.replaceChildren();
      return;
    }
    const key = (field) => `brace/${row.name}/${field}`;
    const change = (field) => (value) => this.bench.change(key(field), value);
    const move = (path) => this.bench.changes(this.movedTo(row, path));
    const coordinate = (end, axis) => (mm) => {
      const path = row.path_mm.map((point) => [...point]);
      path.at(end)[axis] = mm;
      path[end < 0 ? path.length + end : end] = path.at(end);
      move(path);
    };
    const [start, end] = [row.path_mm[0], row.path_mm.at(-1)];
    const angle = (Math.atan2(end[1] - start[1], end[0] - start[0]) * 180) / Math.PI;
    this.brace.replaceChildren(element("h2", { textContent: row.name }),
      this.labelled("Wood", this.woodSelect("brace-wood", row.wood, state, key("wood"))),
      this.labelled("Cross-section", this.selectOf("brace-shape", SHAPES, row.shape ?? "square", change("shape"))),
      this.labelled("Width", this.lengthInput("width", "Width", row.width_mm, change("width_mm"), 0.5, 100)),
      this.labelled("Length", this.lengthInput("length", "Length", pathLength(row.path_mm), (mm) => move(lengthened(row.path_mm, mm)), 20, 3000)),
      this.labelled("Turned from the centreline, degrees", this.numberInput("angle", angle, 1, (value) => move(turned(row.path_mm, value - angle)), -360, 360)),
      element("fieldset", { className: "ends" }, element("legend", { textContent: "Ends: from the tail, and right of the centreline" }),
        element("div", { className: "row" }, element("span", { textContent: "Start" }),
          this.lengthInput("x0", "Start, from the tail", start[0], coordinate(0, 0), -3000, 3000),
          this.lengthInput("y0", "Start, right of the centreline", start[1], coordinate(0, 1), -3000, 3000)),
        element("div", { className: "row" }, element("span", { textContent: "End" }),
          this.lengthInput("x1", "End, from the tail", end[0], coordinate(-1, 0), -3000, 3000),
          this.lengthInput("y1", "End, right of the centreline", end[1], coordinate(-1, 1), -3000, 3000))));
  }

  drawTop(state) {
    const top = this.bench.document.tables.top ?? {};
    const families = (state?.families ?? []).map(({ name, label }) => [name, label]);
    const family = this.top.querySelector?.("[data-field=family]")?.value;
    this.family = this.selectOf("family", families, family || "x", () => {});
    this.familyWood = this.selectOf("family-wood", this.woodOptions(state, false), this.rowsWood(), () => {});
    this.top.replaceChildren(element("h2", { textContent: "The top" }),
      this.labelled("Wood", this.woodSelect("top-wood", top.wood, state, "top/wood")),
      this.labelled("Thickness", this.lengthInput("thickness", "Thickness", top.thickness_mm ?? 0, (mm) => this.bench.change("top/thickness_mm", mm), 0.5, 50)),
      element("h2", { textContent: "Another pattern" }),
      element("p", { className: "quiet", textContent: "Takes the place of all braces; Undo brings them back." }),
      this.labelled("Pattern", this.family), this.labelled("Its wood", this.familyWood),
      button("Draw this pattern", () => this.drawPattern()));
  }

  rowsWood() {
    return this.drawing.rows()[0]?.wood ?? "spruce_sitka";
  }

  async drawPattern() {
    try {
      const { changes } = await this.bench.ask({ ask: "drawing/pattern", family: this.family.value, wood: this.familyWood.value });
      this.drawing.chosen = null;
      this.bench.changes(changes);
      this.bench.toast("Another pattern was drawn; Undo brings the old one back.");
    } catch (error) {
      this.bench.toast(error.message);
    }
  }

  addBrace() {
    const names = new Set(this.drawing.rows().map((row) => row.name));
    let number = 1;
    while (names.has(`brace ${number}`)) number += 1;
    const name = `brace ${number}`;
    const { outline, holes } = this.drawing.state?.plan ?? { outline: [[0, 0], [400, 0]], holes: [] };
    const xs = outline.map(([x]) => x);
    const ys = outline.map(([, y]) => y);
    const [low, high] = [Math.min(...xs), Math.max(...xs)];
    const half = Math.round(0.14 * (Math.max(...ys) - Math.min(...ys)));
    // Across the lower bout, clear of the hole, a little further on for every one that is already there.
    const free = holes.length ? Math.min(...holes[0].map(([x]) => x)) : high;
    const x = Math.round(low + (0.2 + 0.07 * ((number - 1) % 6)) * (free - low));
    const length = 2 * half;
    this.drawing.chosen = name;
    this.bench.change(`brace/${name}`, {
      wood: this.rowsWood(),
      path_mm: [[x, -half], [x, half]],
      width_mm: NEW_WIDTH,
      stations_mm: [[0, NEW_END], [length / 4, NEW_HEIGHT], [(3 * length) / 4, NEW_HEIGHT], [length, NEW_END]],
      shape: "square",
    });
    this.bench.announce(`${name} was added across the lower bout`);
  }

  removeBrace(name) {
    if (!name) return;
    this.bench.change(`brace/${name}`, null);
    this.bench.toast(`${name} was taken out; Undo brings it back.`);
  }

  /** Changes that lay a brace on another path; its stations keep their shares of the length. */
  movedTo(row, path) {
    const changes = { [`brace/${row.name}/path_mm`]: path };
    const [before, after] = [pathLength(row.path_mm), pathLength(path)];
    const last = Math.floor(1e4 * after) / 1e4;
    if (Math.abs(after - before) > 1e-4 || row.stations_mm.at(-1)[0] > last) {
      changes[`brace/${row.name}/stations_mm`] = row.stations_mm.map(([s, h]) => [Math.min(last, Math.round((1e4 * s * after) / before) / 1e4), h]);
    }
    return changes;
  }

  // Controls

  labelled(words, control) {
    control.removeAttribute("aria-label");
    return element("label", { className: "field" }, element("span", { textContent: words }), control);
  }

  lengthInput(field, label, mm, put, least, most) {
    const text = () => this.bench.length(mm, 1).replace(/ \S+$/, "");
    const input = element("input", { type: "text", inputMode: "decimal", value: text(), size: 7, autocomplete: "off" });
    input.setAttribute("aria-label", label);
    input.dataset.field = field;
    input.addEventListener("change", () => {
      const value = this.bench.millimetres(input.value);
      if (!(value >= least && value <= most)) {
        this.bench.toast(`${label}: give ${this.bench.length(least)} to ${this.bench.length(most)}.`);
        input.value = text();
        return;
      }
      if (input.value !== text()) put(Math.round(1e4 * value) / 1e4);
    });
    return input;
  }

  numberInput(field, value, digits, put, least, most) {
    const input = element("input", { type: "text", inputMode: "decimal", value: value.toFixed(digits), size: 7, autocomplete: "off" });
    input.dataset.field = field;
    input.addEventListener("change", () => {
      const typed = Number(input.value.replace(",", ".").replace("\u2212", "-"));
      if (input.value.trim() && typed >= least && typed <= most) put(typed);
      else input.value = value.toFixed(digits);
    });
    return input;
  }

  selectOf(field, options, chosen, put) {
    const select = element("select", {}, ...options.map(([value, label]) => element("option", { value, textContent: label })));
    select.value = chosen;
    select.dataset.field = field;
    select.addEventListener("change", () => put(select.value));
    return select;
  }

  woodOptions(state, withBoards = true) {
    const woods = (state?.woods ?? []).filter((wood) => withBoards || wood.kind !== "board");
    return woods.map(({ name, kind, board }) => [board ? `board:${board}` : name, `${name.replaceAll("_", " ")}${kind === "built-in" ? "" : ` (${kind})`}`]);
  }

  woodSelect(field, chosen, state, key) {
    const options = this.woodOptions(state);
    if (chosen && !options.some(([value]) => value === chosen)) options.unshift([chosen, chosen.replaceAll("_", " ")]);
    return this.selectOf(field, options, chosen, (value) => {
      if (!value.startsWith("board:")) return this.bench.change(key, value);
      const { name, board } = state.woods.find((wood) => wood.board && `board:${wood.board}` === value);
      this.bench.changes({ [`wood/${name}`]: { board }, [key]: name });
    });
  }
}
