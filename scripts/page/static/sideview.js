// A brace from the side: its heights on the plate, stations as handles to drag up and down.

import { drawn } from "./ladder.js";
import { pathLength } from "./topview.js";

const HEIGHT = 250;
const [LEFT, RIGHT, TOP, FOOT] = [34, 34, 26, 46];
const NEAR = 30;
const ROOM = 28;
const STEP = 0.1;
const KEYS = { ArrowUp: STEP, ArrowRight: STEP, ArrowDown: -STEP, ArrowLeft: -STEP, PageUp: 1, PageDown: -1 };
const PAUSE = 700;

export class SideView {
  /**
   * @param {{length: (mm: number) => string, moved: (stations: number[][]) => void, released: (stations: number[][]) => void}} acts
   */
  constructor(acts) {
    this.acts = acts;
    this.range = drawn("path", { class: "range" });
    this.shape = drawn("path", { class: "profile" });
    this.before = drawn("path", { class: "drawn-line" });
    this.plate = drawn("line", { class: "plate" });
    this.words = drawn("g", { class: "words", "aria-hidden": "true" });
    this.cuts = drawn("g", { class: "cuts", "aria-hidden": "true" });
    this.dots = drawn("g", { class: "handles" });
    this.svg = drawn("svg", { class: "side", role: "group" }, this.range, this.shape, this.before, this.cuts, this.plate, this.words, this.dots);
    this.element = Object.assign(document.createElement("div"), { className: "scroll side-box" });
    this.element.append(this.svg);
    this.stations = [];
    this.handles = [];
    this.held = -1;
    this.svg.addEventListener("pointerdown", (event) => this.down(event));
    this.svg.addEventListener("pointermove", (event) => this.move(event));
    this.svg.addEventListener("pointerup", (event) => this.up(event));
    this.svg.addEventListener("pointercancel", (event) => this.up(event));
    new ResizeObserver(() => this.fit()).observe(this.element);
  }

  /** Whether a handle is being moved. */
  get isHeld() {
    return this.held >= 0 || this.timer !== undefined;
  }

  /**
   * @param {{name: string, path_mm: number[][], stations_mm: number[][]} | null} row the brace
   * @param {number[][] | null} before its stations in the saved drawing
   * @param {number[][]} range distance, least and largest height of the quick model
   * @param {number[]} crossings distances at which others cross
   */
  set(row, before, range, crossings) {
    this.row = row;
    this.svg.style.display = row ? "" : "none";
    if (!row) return;
    this.stations = row.stations_mm.map((one) => [...one]);
    this.drawnBefore = before;
    this.limits = range;
    this.crossings = crossings;
    this.length = pathLength(row.path_mm);
    const heights = [...this.stations, ...(before ?? [])].map(([, h]) => h).concat(range.map(([, , high]) => high));
    this.highest = Math.max(6, 1.12 * Math.max(...heights));
    this.svg.setAttribute("aria-label", `${row.name} from the side`);
    this.fit();
  }

  fit() {
    if (!this.row) return;
    const least = ROOM * (this.stations.length - 1) + LEFT + RIGHT;
    this.width = Math.max(this.element.clientWidth, least, 200);
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${HEIGHT}`);
    this.svg.style.width = `${this.width}px`;
    this.svg.style.height = `${HEIGHT}px`;
    this.build();
    this.draw();
  }

  x(distance) {
    return LEFT + (distance / this.length) * (this.width - LEFT - RIGHT);
  }

  y(height) {
    return HEIGHT - FOOT - (height / this.highest) * (HEIGHT - TOP - FOOT);
  }

  build() {
    const focused = this.handles.findIndex((handle) => handle === document.activeElement);
    this.handles = this.stations.map((_, k) => {
      const handle = drawn("circle", { class: "handle", r: 12, role: "slider", tabindex: 0, "aria-orientation": "vertical", "aria-valuemin": 0, "data-station": k });
      handle.addEventListener("keydown", (event) => this.key(event, k));
      handle.addEventListener("blur", () => this.settle());
      return handle;
    });
    this.hits = this.stations.map(() => drawn("circle", { class: "hit", r: 22 }));
    this.dots.replaceChildren(...this.hits, ...this.handles);
    if (focused >= 0) this.handles[focused]?.focus();
    this.plate.setAttribute("x1", LEFT - 16);
    this.plate.setAttribute("x2", this.width - RIGHT + 16);
    for (const end of ["y1", "y2"]) this.plate.setAttribute(end, HEIGHT - FOOT + 3);
    this.before.setAttribute("d", this.drawnBefore ? line(this.drawnBefore.map(([s, h]) => [this.x(s), this.y(h)])) : "");
    const band = [...this.limits.map(([s, , high]) => [s, high]), ...[...this.limits].reverse().map(([s, low]) => [s, low])];
    this.range.setAttribute("d", band.length ? `${line(band.map(([s, h]) => [this.x(s), this.y(h)]))}z` : "");
    this.cuts.replaceChildren(...this.crossings.map((s) => drawn("path", { d: `M${this.x(s) - 6} ${HEIGHT - FOOT + 14}l6 -9l6 9z` })));
  }

  draw() {
    const points = this.stations.map(([s, h]) => [this.x(s), this.y(h)]);
    const foot = HEIGHT - FOOT;
    this.shape.setAttribute("d", `M${points[0][0]} ${foot}L${points.map((p) => p.join(" ")).join("L")}L${points.at(-1)[0]} ${foot}z`);
    const words = [];
    let last = -Infinity;
    this.stations.forEach(([s, h], k) => {
      const [x, y] = points[k];
      for (const circle of [this.handles[k], this.hits[k]]) {
        circle.setAttribute("cx", x);
        circle.setAttribute("cy", y);
      }
      const handle = this.handles[k];
      handle.setAttribute("aria-label", `Station ${k + 1} of ${this.stations.length}, at ${this.acts.length(s)}`);
      handle.setAttribute("aria-valuenow", h.toFixed(1));
      handle.setAttribute("aria-valuemax", Math.ceil(2 * this.highest));
      handle.setAttribute("aria-valuetext", `${this.acts.length(h)} high`);
      if (x - last > 40) {
        last = x;
        words.push(drawn("text", { x, y: y - 17, "text-anchor": "middle", class: "figure" }, this.acts.length(h).replace(/ \S+$/, "")));
        words.push(drawn("text", { x, y: HEIGHT - 14, "text-anchor": "middle", class: "tick" }, this.acts.length(s, 0).replace(/ \S+$/, "")));
      }
    });
    this.words.replaceChildren(...words);
  }

  // The pointer takes the nearest handle, so that a finger need not hit it.

  down(event) {
    if (!this.row || this.held >= 0 || (event.pointerType === "mouse" && event.button !== 0)) return;
    const { x, y } = this.place(event);
    let best = NEAR;
    this.stations.forEach(([s, h], k) => {
      const away = Math.hypot(this.x(s) - x, this.y(h) - y);
      if (away < best) [best, this.held] = [away, k];
    });
    if (this.held < 0) return;
    event.preventDefault();
    this.settle();
    this.grip = y - this.y(this.stations[this.held][1]);
    this.start = JSON.stringify(this.stations);
    this.svg.setPointerCapture(event.pointerId);
    this.handles[this.held].focus();
  }

  move(event) {
    if (this.held < 0 || !this.svg.hasPointerCapture(event.pointerId)) return;
    const y = this.place(event).y - this.grip;
    const height = ((HEIGHT - FOOT - y) / (HEIGHT - TOP - FOOT)) * this.highest;
    this.put(this.held, height);
  }

  up(event) {
    if (this.held < 0) return;
    this.held = -1;
    this.svg.releasePointerCapture(event.pointerId);
    if (JSON.stringify(this.stations) !== this.start) this.acts.released(this.stations.map((one) => [...one]));
  }

  key(event, k) {
    const step = KEYS[event.key];
    if (!step || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    this.put(k, this.stations[k][1] + step);
    // Several presses are one change.
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.settle(), PAUSE);
  }

  /** End a change by keys. */
  settle() {
    if (this.timer === undefined) return;
    clearTimeout(this.timer);
    this.timer = undefined;
    this.acts.released(this.stations.map((one) => [...one]));
  }

  put(k, height) {
    const rounded = Math.max(0, Math.round(height / STEP) / (1 / STEP));
    const fine = Number(rounded.toFixed(1));
    if (fine === this.stations[k][1]) return;
    this.stations[k][1] = fine;
    this.draw();
    this.acts.moved(this.stations.map((one) => [...one]));
  }

  place(event) {
    return new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
  }
}

function line(points) {
  return `M${points.map((p) => p.join(" ")).join("L")}`;
}
