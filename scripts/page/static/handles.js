// Handles of a brace in the plan: at its ends, which turn and lengthen it, and in its middle, which moves it.

import { drawn } from "./ladder.js";
import { along, pathLength } from "./topview.js";

const PIXELS = 13;
const NEAR = 26;
const STEP = 1;
const KEYS = { ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] };
const PAUSE = 700;
const NAMES = { start: "Start", middle: "Middle", end: "End" };

export class Handles {
  /**
   * @param {import("./topview.js").Plan} plan
   * @param {{moved: (path: number[][]) => void, released: (path: number[][]) => void, length: (mm: number) => string}} acts
   */
  constructor(plan, acts) {
    this.plan = plan;
    this.acts = acts;
    this.held = null;
    this.wasMoved = false;
    this.dots = Object.fromEntries(Object.keys(NAMES).map((which) => {
      const dot = drawn("circle", { class: `end ${which}`, role: "button", tabindex: 0, "data-end": which });
      dot.addEventListener("keydown", (event) => this.key(event, which));
      dot.addEventListener("blur", () => this.settle());
      return [which, dot];
    }));
    plan.above.append(...Object.values(this.dots));
    const { svg } = plan;
    svg.addEventListener("pointerdown", (event) => this.down(event));
    svg.addEventListener("pointermove", (event) => this.move(event));
    svg.addEventListener("pointerup", (event) => this.up(event));
    svg.addEventListener("pointercancel", (event) => this.up(event));
    new ResizeObserver(() => this.draw()).observe(svg);
  }

  get isHeld() {
    return this.held !== null || this.timer !== undefined;
  }

  set(row) {
    if (this.isHeld) return;
    this.row = row;
    this.path = row ? row.path_mm.map((point) => [...point]) : null;
    this.draw();
  }

  draw() {
    const { scale } = this.plan;
    for (const [which, dot] of Object.entries(this.dots)) {
      dot.style.display = this.path ? "" : "none";
      if (!this.path) continue;
      const [x, y] = this.at(which);
      dot.setAttribute("cx", y);
      dot.setAttribute("cy", -x);
      dot.setAttribute("r", PIXELS / scale);
      const words = which === "middle" ? "moves it" : "turns and lengthens it";
      dot.setAttribute("aria-label", `${NAMES[which]} of ${this.row.name}, ${this.acts.length(x)} from the tail, ${this.acts.length(Math.abs(y))} ${y < 0 ? "left" : "right"} of the middle; arrow keys move it, which ${words}`);
    }
  }

  at(which) {
    if (which === "start") return this.path[0];
    if (which === "end") return this.path.at(-1);
    return along(this.path, pathLength(this.path) / 2).at;
  }

  down(event) {
    this.wasMoved = false;
    if (!this.path || this.held || (event.pointerType === "mouse" && event.button !== 0)) return;
    const at = this.plan.at(event);
    let best = NEAR / this.plan.scale;
    for (const which of Object.keys(NAMES)) {
      const [x, y] = this.at(which);
      const away = Math.hypot(x - at[0], y - at[1]);
      if (away < best) {
        best = away;
        this.held = which;
        this.grip = [at[0] - x, at[1] - y];
      }
    }
    if (!this.held) return;
    event.preventDefault();
    this.plan.svg.setPointerCapture(event.pointerId);
    this.dots[this.held].focus({ preventScroll: true });
  }

  move(event) {
    if (!this.held || !this.plan.svg.hasPointerCapture(event.pointerId)) return;
    const at = this.plan.at(event);
    this.put(this.held, [at[0] - this.grip[0], at[1] - this.grip[1]]);
  }

  up(event) {
    if (!this.held) return;
    this.held = null;
    this.plan.svg.releasePointerCapture(event.pointerId);
    if (this.wasMoved) this.acts.released(this.path);
  }

  key(event, which) {
    const way = KEYS[event.key];
    if (!way || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const step = STEP * (event.shiftKey ? 10 : 1);
    const [x, y] = this.at(which);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.settle(), PAUSE);
    this.put(which, [x + step * way[0], y + step * way[1]]);
  }

  settle() {
    if (this.timer === undefined) return;
    clearTimeout(this.timer);
    this.timer = undefined;
    this.acts.released(this.path);
  }

  put(which, [x, y]) {
    const path = this.path.map((point) => [...point]);
    const target = [tenth(x), tenth(y)];
    if (which === "start") path[0] = target;
    else if (which === "end") path[path.length - 1] = target;
    else {
      const [mx, my] = this.at("middle");
      const shift = [x - mx, y - my].map(tenth);
      for (const point of path) {
        point[0] = tenth(point[0] + shift[0]);
        point[1] = tenth(point[1] + shift[1]);
      }
    }
    if (JSON.stringify(path) === JSON.stringify(this.path) || pathLength(path) < 20) return;
    this.path = path;
    this.wasMoved = true;
    this.draw();
    this.acts.moved(path);
  }
}

/** A path turned about its middle by degrees, towards the right of the top. */
export function turned(path, degrees) {
  const { at: [mx, my] } = along(path, pathLength(path) / 2);
  const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
  return path.map(([x, y]) => [tenth(mx + c * (x - mx) - s * (y - my)), tenth(my + s * (x - mx) + c * (y - my))]);
}

/** A path made longer or shorter about its middle. */
export function lengthened(path, length) {
  const { at: [mx, my] } = along(path, pathLength(path) / 2);
  const factor = length / pathLength(path);
  return path.map(([x, y]) => [tenth(mx + factor * (x - mx)), tenth(my + factor * (y - my))]);
}

function tenth(value) {
  return Math.round(10 * value) / 10;
}
