// Drawing: the plan of the top, the chosen brace from the side, and the ladder of what all modes do meanwhile.

import { Ladder, signed } from "./ladder.js";
import { button, element } from "./notices.js";
import { MARKS } from "./marks.js";
import { Parts } from "./parts.js";
import { Handles, turned } from "./handles.js";
import { sandPath, strewn } from "./sand.js";
import { SideView } from "./sideview.js";
import { Plan, along, pathLength } from "./topview.js";

const SOON = 120;
const CLICK = 22;

export function mount(root, bench) {
  const view = new Drawing(root, bench);
  return { show: () => view.show(), hide: () => view.side.settle() };
}

class Drawing {
  constructor(root, bench) {
    this.root = root;
    this.bench = bench;
    this.state = null;
    this.chosen = null;
    this.mode = 1;
    this.drag = bench.latest("drawing/drag");
    this.build();
    bench.on("document", () => this.changed());
    bench.on("units", () => this.draw());
    bench.on("connection", () => this.soon());
    bench.on("task", (task) => {
      if (/^(solve|live)\//.test(task.name) && ["done", "failed", "cancelled"].includes(task.state)) this.soon();
      else if (/^(solve|live)\//.test(task.name)) this.said();
    });
  }

  async show() {
    this.draw();
    await this.refresh();
  }

  build() {
    this.plan = new Plan("Plan of the top from the inside, neck up");
    this.plan.svg.addEventListener("click", (event) => this.clicked(event));
    this.handles = new Handles(this.plan, {
      moved: (path) => this.pathMoved(path),
      released: (path) => this.pathReleased(path),
      length: (mm) => this.bench.length(mm),
    });
    this.side = new SideView({
      length: (mm, digits) => this.bench.length(mm, digits),
      moved: (stations) => this.moved(stations),
      released: (stations) => this.released(stations),
    });
    this.ladder = new Ladder((mode) => this.pick(mode));
    this.parts = new Parts(this.bench, this);
    this.select = element("select", { id: "drawing-brace" });
    this.select.addEventListener("change", () => this.choose(this.select.value));
    this.title = element("h2", { textContent: "Brace from the side" });
    this.told = element("p", { className: "quiet told" });
    this.told.setAttribute("role", "status");
    this.strip = element("div", { className: "strip" });
    this.strip.setAttribute("aria-hidden", "true");
    const legend = element("p", { className: "quiet legend" }, element("span", { className: "predicted", textContent: MARKS.predicted }), " ", element("span", { className: "measured", textContent: MARKS.measured }), " ", element("span", { className: "target", textContent: MARKS.target }), " ", element("span", { className: "sand-word", textContent: "sand: where the chosen mode stands still" }));
    const braces = element("div", { className: "row" },
      element("label", { htmlFor: "drawing-brace", textContent: "Brace" }), this.select,
      button("Add a brace", () => this.parts.addBrace()), button("Take it out", () => this.parts.removeBrace(this.chosen)));
    const sheet = (name, ...children) => element("section", { className: `sheet ${name}` }, ...children);
    this.root.replaceChildren(element("div", { className: "drawing-sheets" },
      sheet("plan-sheet", element("h2", { textContent: "The top from the inside" }), braces, this.plan.svg, legend),
      element("div", { className: "stack" },
        sheet("side-sheet", this.title, this.side.element, this.strip, this.parts.stations),
        sheet("ladder-sheet", element("h2", { textContent: "What the modes do" }), this.told, this.ladder.element)),
      sheet("parts-sheet", this.parts.brace, this.parts.top)));
  }

  // What the drawing says

  rows() {
    return this.bench.document.tables.brace ?? [];
  }

  row() {
    return this.rows().find((row) => row.name === this.chosen) ?? null;
  }

  changed() {
    if (this.root.hidden) return;
    if (!this.side.isHeld && !this.handles.isHeld) this.draw();
    this.soon();
  }

  soon() {
    clearTimeout(this.waiting);
    if (!this.root.hidden) this.waiting = setTimeout(() => this.refresh(), SOON);
  }

  /** All anew from the server, and what is missing is begun. */
  async refresh() {
    try {
      if (!this.state) {
        // What is drawn at once; models and solutions take a while to load.
        this.state = await this.bench.ask({ ask: "drawing/state", first: true });
        this.draw();
      }
      await this.bench.ask({ ask: "drawing/prepare" });
      this.state = await this.bench.ask({ ask: "drawing/state" });
    } catch (error) {
      this.told.textContent = error.message;
      return;
    }
    const { points, ladder, targets } = this.state;
    if (points && (!this.grains || this.grainsOf !== JSON.stringify(points.xy.slice(0, 40)) + points.xy.length)) {
      this.grainsOf = JSON.stringify(points.xy.slice(0, 40)) + points.xy.length;
      this.grains = strewn(points.xy, points.triangles);
    }
    this.ladder.set({ ...ladder, targets }, this.mode);
    if (!this.side.isHeld && !this.handles.isHeld) this.draw();
    this.live = null;
    this.reason = "";
    if (this.state.model.is_ready) await this.ask();
    this.showFigures();
    this.said();
  }

  draw() {
    const rows = this.rows();
    if (!rows.some((row) => row.name === this.chosen)) this.chosen = rows[0]?.name ?? null;
    this.select.replaceChildren(...rows.map((row) => element("option", { value: row.name, textContent: row.name })));
    this.select.disabled = !rows.length;
    if (this.chosen) this.select.value = this.chosen;
    if (this.state) this.plan.set(this.state.plan);
    this.drawBraces();
    const row = this.row();
    this.title.textContent = row ? `${row.name} from the side` : "No brace yet";
    const before = (this.bench.document.drawing.brace ?? []).find((one) => one.name === this.chosen);
    const crossings = (this.state?.crossings ?? []).filter((one) => row && [one.under, one.over].includes(row.name)).map((one) => nearest(row.path_mm, one.at));
    this.side.set(row, before?.stations_mm ?? null, this.state?.ranges[this.chosen] ?? [], crossings);
    this.parts.draw(row, this.state);
  }

  drawBraces(path = null) {
    const rows = this.rows().map((row) => (path && row.name === this.chosen ? { ...row, path_mm: path } : row));
    this.plan.setBraces(rows, this.chosen);
    if (!path) this.handles.set(this.row());
  }

  choose(name) {
    this.side.settle();
    this.chosen = name;
    this.draw();
    this.bench.announce(`${name} is chosen`);
  }

  pick(mode) {
    this.mode = mode;
    this.ladder.pick(mode);
    this.ask();
  }

  /** The brace nearest to where the plan was touched. */
  clicked(event) {
    if (this.handles.wasMoved || event.target.closest?.(".end")) return;
    const at = this.plan.at(event);
    let best = CLICK / this.plan.scale;
    let found = null;
    for (const row of this.rows()) {
      const away = distance(row.path_mm, at) - row.width_mm / 2;
      if (away < best) [best, found] = [away, row.name];
    }
    if (found && found !== this.chosen) this.choose(found);
  }

  // Dragging a station

  moved(stations) {
    this.dragged = performance.now();
    this.ask({ brace: this.chosen, stations });
  }

  async released(stations) {
    const changes = { [`brace/${this.chosen}/stations_mm`]: stations };
    // A joint that the drawing leaves to usage stays as it is now, as wood that is cut does.
    const here = this.state?.crossings.filter((one) => [one.under, one.over].includes(this.chosen) && !one.is_given) ?? [];
    if (here.length) changes.joint = this.withJoints(here);
    this.bench.changes(changes);
  }

  withJoints(crossings) {
    const rows = structuredClone(this.bench.document.tables.joint ?? []);
    for (const { under, over, kept_mm: kept } of crossings) {
      const row = rows.find((one) => [one.under, one.over].includes(under) && [one.under, one.over].includes(over));
      if (row) row.kept_mm ??= kept;
      else rows.push({ under, over, kept_mm: kept });
    }
    return rows;
  }

  /** The quick model's answer, of the draft or of a brace that is being dragged. */
  async ask(fields = {}) {
    if (!this.state?.model.is_ready) return;
    let found;
    try {
      found = await this.drag({ mode: this.mode, ...fields });
    } catch (error) {
      found = { reason: error.message };
    }
    if (!found) return;
    const isDrag = Boolean(fields.brace);
    this.reason = found.reason ?? "";
    if (isDrag || found.hz) this.live = found.hz ? found : null;
    if (isDrag) {
      this.ladder.show(this.live?.hz ?? null);
      this.showStrip(this.live?.hz ?? null);
      this.say(this.reason ? `Full solution needed: ${this.reason}. It begins when you let go.` : `Quick answer: the top weighs ${grams(found.mass_g)}. A full solution follows when you let go.`);
    }
    if (found.shape && this.grains) this.plan.sand.setAttribute("d", sandPath(this.grains, found.shape));
    else if (this.reason) this.plan.sand.setAttribute("d", "");
    this.bench.emit("answered", found);
  }

  // Moving a brace in the plan

  pathMoved(path) {
    this.drawBraces(path);
    this.say(`Full solution needed: ${this.chosen} is moved. It begins when you let go.`);
  }

  pathReleased(path) {
    this.bench.changes(this.parts.movedTo(this.row(), path));
  }

  turn(degrees) {
    const row = this.row();
    this.bench.changes(this.parts.movedTo(row, turned(row.path_mm, degrees)));
  }

  // What is said

  figures() {
    const { ladder } = this.state;
    if (ladder.draft) return ladder.draft;
    return this.live?.hz ?? null;
  }

  showFigures() {
    const figures = this.figures();
    this.ladder.show(figures);
    this.showStrip(figures);
  }

  showStrip(hz) {
    const known = this.state?.ladder.drawn ?? [];
    if (this.strip.children.length !== known.length) {
      this.strip.replaceChildren(...known.map((_, k) => element("span", {}, element("b", { textContent: `${k + 1}` }), element("i"), element("small"))));
    }
    known.forEach((drawnHz, k) => {
      const [, value, change] = this.strip.children[k].children;
      value.textContent = hz?.[k] ? hz[k].toFixed(1) : "\u2026";
      change.textContent = hz?.[k] ? signed(hz[k] - drawnHz) : "";
    });
  }

  say(text) {
    if (this.told.textContent !== text) this.told.textContent = text;
  }

  said() {
    if (!this.state || this.side.isHeld || this.handles.isHeld) return;
    const { ladder, model } = this.state;
    const words = [];
    if (this.bench.document.trouble) words.push("As drafted this top cannot be solved.");
    else if (ladder.draft) {
      const mass = ladder.draft_mass_g ?? ladder.mass_g;
      words.push(this.bench.document.is_drafted ? `Confirmed by a full solution${mass ? `; the top weighs ${grams(mass)}` : ""}.` : `The drawing in full${mass ? `; the top weighs ${grams(mass)}` : ""}.`);
      if (ladder.off && this.bench.document.is_drafted) words.push(`The quick figures were off by ${Math.abs(ladder.off.percent).toFixed(2)} % at most (${signed(ladder.off.hz, 2)} Hz, mode ${ladder.off.mode}).`);
    } else if (this.reason && model.is_ready) words.push(`Full solution needed: ${this.reason}. It is being worked out.`);
    else if (this.live) words.push("Quick figures; the full solution is being worked out.");
    else words.push("The full solution is being worked out.");
    if (!model.is_ready) words.push("The quick model, which answers while you drag, is being made.");
    else if (this.reason && ladder.draft) words.push("While you drag, only a full solution can tell: the quick model of this draft is being made.");
    words.push(...ladder.notes);
    this.say(words.join(" "));
  }
}

function grams(mass) {
  return `${mass.toFixed(1)}\u00a0g`;
}

function nearest(path, at) {
  const length = pathLength(path);
  let [best, found] = [Infinity, 0];
  for (let k = 0; k <= 400; k += 1) {
    const s = (k * length) / 400;
    const { at: [x, y] } = along(path, s);
    const away = Math.hypot(x - at[0], y - at[1]);
    if (away < best) [best, found] = [away, s];
  }
  return found;
}

function distance(path, at) {
  let best = Infinity;
  for (let k = 1; k < path.length; k += 1) {
    const [[ax, ay], [bx, by]] = [path[k - 1], path[k]];
    const [dx, dy] = [bx - ax, by - ay];
    const t = Math.max(0, Math.min(1, ((at[0] - ax) * dx + (at[1] - ay) * dy) / (dx * dx + dy * dy || 1)));
    best = Math.min(best, Math.hypot(ax + t * dx - at[0], ay + t * dy - at[1]));
  }
  return best;
}
