// The plan of the top from the inside, neck up: outline, hole, patches, braces to width, sand. In the SVG x is the
// drawing's y and y is minus the drawing's x, in millimetres.

import { drawn } from "./ladder.js";

/** A point [x, y] of the drawing as "X Y" in the SVG. */
export function place([x, y]) {
  return `${y} ${-x}`;
}

/** Attribute d of closed rings. */
export function ringsPath(rings) {
  return rings.map((ring) => `M${ring.map(place).join("L")}z`).join("");
}

/** Length of a path of points, mm. */
export function pathLength(path) {
  let sum = 0;
  for (let k = 1; k < path.length; k += 1) sum += Math.hypot(path[k][0] - path[k - 1][0], path[k][1] - path[k - 1][1]);
  return sum;
}

/** The point at a distance along a path and the direction there. */
export function along(path, distance) {
  let left = distance;
  for (let k = 1; k < path.length; k += 1) {
    const [dx, dy] = [path[k][0] - path[k - 1][0], path[k][1] - path[k - 1][1]];
    const length = Math.hypot(dx, dy) || 1e-9;
    if (left <= length || k === path.length - 1) {
      const t = left / length;
      return { at: [path[k - 1][0] + t * dx, path[k - 1][1] + t * dy], way: [dx / length, dy / length] };
    }
    left -= length;
  }
  return { at: path[0], way: [1, 0] };
}

/** The strip of a brace between two distances, as a polygon of drawing points. */
export function strip(path, width, from = 0, to = pathLength(path)) {
  const corners = [from];
  let sum = 0;
  for (let k = 1; k < path.length - 1; k += 1) {
    sum += Math.hypot(path[k][0] - path[k - 1][0], path[k][1] - path[k - 1][1]);
    if (sum > from && sum < to) corners.push(sum);
  }
  corners.push(to);
  const half = width / 2;
  const sides = [1, -1].map((sign) => corners.map((s) => {
    const { at, way } = along(path, s);
    return [at[0] - sign * half * way[1], at[1] + sign * half * way[0]];
  }));
  return [...sides[0], ...sides[1].reverse()];
}

export class Plan {
  constructor(label) {
    this.wood = drawn("path", { class: "wood", "fill-rule": "evenodd" });
    this.patches = drawn("g", { class: "patches" });
    this.holes = drawn("path", { class: "hole" });
    this.sand = drawn("path", { class: "sand" });
    this.braces = drawn("g", { class: "braces" });
    this.bridge = drawn("path", { class: "bridge-point" });
    this.above = drawn("g", { class: "above" });
    this.svg = drawn("svg", { class: "plan", role: "group", "aria-label": label }, this.wood, this.patches, this.holes, this.braces, this.sand, this.bridge, this.above);
  }

  /** What the drawing says of the plate itself. */
  set(plan) {
    const xs = plan.outline.map(([x]) => x);
    const ys = plan.outline.map(([, y]) => y);
    const edge = 14;
    const box = [Math.min(...ys) - edge, -Math.max(...xs) - edge, Math.max(...ys) - Math.min(...ys) + 2 * edge, Math.max(...xs) - Math.min(...xs) + 2 * edge];
    this.box = box;
    this.svg.setAttribute("viewBox", box.join(" "));
    this.wood.setAttribute("d", ringsPath([plan.outline, ...plan.holes]));
    this.holes.setAttribute("d", ringsPath(plan.holes));
    this.patches.replaceChildren(...plan.patches.map(({ name, kind, rings }) => drawn("path", { d: ringsPath(rings), "fill-rule": "evenodd", class: `patch ${kind}` }, drawn("title", {}, name))));
    const [x, y] = plan.bridge;
    this.bridge.setAttribute("d", `M${y - 5} ${-x}h10M${y} ${-x - 5}v10`);
  }

  /** Braces as rows of the drawing; the chosen one is marked. */
  setBraces(rows, chosen) {
    this.braces.replaceChildren(...rows.map((row) => drawn("path", {
      d: ringsPath([strip(row.path_mm, row.width_mm)]),
      class: row.name === chosen ? "brace chosen" : "brace",
      "data-brace": row.name,
    }, drawn("title", {}, row.name))));
  }

  /** Millimetres of the drawing at a place on the screen. */
  at(event) {
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return [-y, x];
  }

  /** Pixels of the screen in a millimetre. */
  get scale() {
    return this.svg.getScreenCTM()?.a || 1;
  }
}
