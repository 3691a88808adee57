// Modes: the ladder, the chosen mode's shape in 3-D and as sand, what governs it, and what a millimetre off each
// stretch of a brace does to it.

import { drawn, Ladder, noteWords, signed } from "./ladder.js";
import { MARKS } from "./marks.js";
import { button, element } from "./notices.js";
import { sandPath, strewn } from "./sand.js";
import { Shape } from "./shape.js";
import { Plan, along, ringsPath, strip } from "./topview.js";

const SOON = 120;
const N_SHARES = 8;
const N_PLACES = 8;
const TOLD = 0.45;
const STILL = 20;

export function mount(root, bench) {
  const view = new ModesView(root, bench);
  return { show: () => view.show(), hide: () => view.shape.play(false) };
}

class ModesView {
  constructor(root, bench) {
    this.root = root;
    this.bench = bench;
    this.state = null;
    this.mode = 1;
    this.build();
    bench.on("document", () => this.soon());
    bench.on("units", () => this.drawMode());
    bench.on("connection", () => this.soon());
    bench.on("theme", () => this.colour());
    bench.on("task", (task) => {
      if (/^(solve\/|scene$)/.test(task.name) && ["done", "failed", "cancelled"].includes(task.state)) this.soon();
    });
  }

  async show() {
    await this.refresh();
    this.shape.play(this.wantsMotion);
  }

  build() {
    this.wantsMotion = !this.bench.isStill;
    this.ladder = new Ladder((mode) => this.pick(mode), { withDraft: false });
    this.told = element("p", { className: "quiet told" });
    this.told.setAttribute("role", "status");
    this.title = element("h2", { textContent: "The chosen mode" });
    this.facts = element("p");
    this.facts.setAttribute("aria-live", "polite");
    this.box = element("div", { className: "three", tabIndex: 0 });
    this.box.setAttribute("role", "img");
    this.box.addEventListener("keydown", (event) => {
      if (!event.ctrlKey && !event.altKey && !event.metaKey && this.shape.key(event.key)) event.preventDefault();
    });
    this.shape = new Shape(this.box);
    this.playing = button("", () => this.setMotion(!this.wantsMotion));
    const turns = [["\u2190", "Turn left", "ArrowLeft"], ["\u2192", "Turn right", "ArrowRight"], ["\u2191", "Tip away", "ArrowUp"], ["\u2193", "Tip towards", "ArrowDown"]].map(([sign, words, key]) => {
      const made = button(sign, () => this.shape.key(key));
      made.setAttribute("aria-label", words);
      return made;
    });
    this.turns = element("div", { className: "row" }, this.playing, ...turns);
    this.noThree = element("p", { className: "quiet", hidden: true });
    this.sand = new Plan("Node lines of the mode: sand where the top stands still");
    this.map = new Plan("What a millimetre off each stretch of a brace does to the mode");
    for (const { svg } of [this.sand, this.map]) svg.setAttribute("role", "img");
    this.shares = element("table", { className: "shares" });
    this.places = element("table", { className: "places" });
    const legend = element("p", { className: "quiet legend" }, ...["predicted", "measured", "target"].map((kind) => element("span", { className: kind, textContent: MARKS[kind] })));
    // A table wider than a phone is scrolled by keys too.
    const placesBox = element("div", { className: "scroll", tabIndex: 0 }, this.places);
    placesBox.setAttribute("role", "region");
    placesBox.setAttribute("aria-label", "Where a millimetre does most to this mode");
    const sheet = (name, ...children) => element("section", { className: `sheet ${name}` }, ...children);
    const heading = (words) => element("h3", { textContent: words });
    this.root.replaceChildren(element("div", { className: "modes-sheets" },
      sheet("ladder-sheet", element("h2", { textContent: "Ladder of the modes" }), this.told, this.ladder.element, legend),
      sheet("mode-sheet", this.title, this.facts,
        element("div", { className: "pictures" },
          element("figure", {}, this.box, this.noThree, this.turns, element("figcaption", { className: "quiet", textContent: "Its motion, much larger than it is" })),
          element("figure", {}, this.sand.svg, element("figcaption", { className: "quiet", textContent: "Sand lies where the top stands still" }))),
        element("div", { className: "pictures" },
          element("div", {}, heading("What governs it"), element("p", { className: "quiet", textContent: "Shares of the energy of bending: where a change tells." }), this.shares),
          element("figure", {}, heading("Its shaving map"), this.map.svg,
            element("figcaption", { className: "quiet", textContent: "Hertz for the first millimetre off each stretch; the darker, the more." }))),
        placesBox)));
    this.setMotion(this.wantsMotion);
  }

  setMotion(isWanted) {
    this.wantsMotion = isWanted;
    this.playing.textContent = isWanted ? "Hold still" : "Let it move";
    this.shape.play(isWanted && !this.root.hidden);
  }

  soon() {
    clearTimeout(this.waiting);
    if (!this.root.hidden) this.waiting = setTimeout(() => this.refresh(), SOON);
  }

  async refresh() {
    try {
      await this.bench.ask({ ask: "drawing/prepare" });
      this.state = await this.bench.ask({ ask: "modes/state" });
    } catch (error) {
      this.told.textContent = error.message;
      return;
    }
    const { modes, points, plan, is_current: isCurrent } = this.state;
    if (!modes) {
      this.told.textContent = this.bench.document.trouble ? "As drafted this top cannot be solved." : "The modes are being worked out.";
      return;
    }
    const words = isCurrent ? [`Modes of the ${this.bench.document.is_drafted ? "draft" : "drawing"}, solved in full.`] : ["These are the drawing's modes; those of the draft are being worked out."];
    this.told.textContent = [...words, ...this.state.notes].join(" ");
    if (points) {
      const key = `${points.xy.length} ${points.xy[0]}`;
      if (this.grainsOf !== key) {
        this.grainsOf = key;
        this.grains = strewn(points.xy, points.triangles);
      }
    }
    for (const one of [this.sand, this.map]) one.set(plan);
    const targets = modes.filter((one) => one.target).map((one) => ({ mode: one.mode, ...one.target }));
    const measured = Object.fromEntries(modes.filter((one) => one.measured).map((one) => [one.mode, one.measured]));
    this.ladder.set({ drawn: modes.map((one) => one.hz), names: modes.map((one) => one.name), measured, targets }, this.mode);
    this.drawMode();
    this.bringShape();
  }

  pick(mode) {
    this.mode = mode;
    this.ladder.pick(mode);
    this.drawMode();
  }

  drawMode() {
    const one = this.state?.modes?.[this.mode - 1];
    if (!one) return;
    this.title.textContent = `Mode ${one.mode}: ${one.name}`;
    const isStill = one.modal_mass_g === null || one.modal_mass_g > STILL * this.state.mass_g;
    const mass = isStill ? "the driving point hardly moves" : `${one.modal_mass_g.toFixed(0)}\u00a0g move with the driving point`;
    const [across, lengthwise] = one.lines;
    this.facts.textContent = [
      `${one.hz.toFixed(1)}\u00a0Hz, ${noteWords(one.hz)}`,
      one.measured ? `tapped ${one.measured.toFixed(1)}\u00a0Hz` : "",
      one.target ? `wanted ${one.target.words}` : "",
      `${across} node line${across === 1 ? "" : "s"} across, ${lengthwise} along`,
      `the bridge ${one.bridge}`,
      mass,
    ].filter(Boolean).join("; ");
    const shape = this.state.shapes?.[this.mode - 1];
    const rows = this.bench.document.tables.brace ?? [];
    this.sand.setBraces(rows, null);
    this.sand.sand.setAttribute("d", shape && this.grains ? sandPath(this.grains, shape) : "");
    if (shape) this.shape.set(shape);
    this.box.setAttribute("aria-label", `Mode ${one.mode} in three dimensions: ${one.name}; arrow keys turn it`);
    this.drawShares(one);
    this.drawMap(rows);
  }

  drawShares({ shares }) {
    const sorted = Object.entries(shares).sort(([, a], [, b]) => b - a);
    const shown = sorted.slice(0, N_SHARES);
    const rest = sorted.slice(N_SHARES).reduce((sum, [, share]) => sum + share, 0);
    if (rest > 0.005) shown.push(["all others", rest]);
    const most = Math.max(...shown.map(([, share]) => share));
    this.shares.replaceChildren(
      element("thead", {}, element("tr", {}, element("th", { scope: "col", textContent: "Part" }), element("th", { scope: "col", className: "number", textContent: "Share" }), element("td"))),
      element("tbody", {}, ...shown.map(([part, share]) => {
        const bar = element("div", { className: "bar" });
        bar.style.width = `${(100 * share) / most}%`;
        return element("tr", {}, element("th", { scope: "row", textContent: shareWords(part) }), element("td", { className: "number", textContent: `${(100 * share).toFixed(1)}\u00a0%` }), element("td", { className: "bar-cell" }, bar));
      })));
  }

  drawMap(braces) {
    const found = this.state.shaving.filter((row) => row.mode === this.mode);
    const most = Math.max(...found.map((row) => Math.abs(row.hz_per_mm)), 1e-9);
    const rows = new Map(braces.map((row) => [row.name, row]));
    this.map.setBraces(braces, null);
    const labels = [];
    const pieces = [];
    for (const row of found) {
      const brace = rows.get(row.brace);
      if (!brace) continue;
      const share = Math.abs(row.hz_per_mm) / most;
      const piece = drawn("path", { d: ringsPath([strip(brace.path_mm, brace.width_mm + 3, row.start, row.stop)]), class: row.hz_per_mm < 0 ? "falls" : "rises" },
        drawn("title", {}, `${row.brace}, ${this.bench.length(row.start, 0)} to ${this.bench.length(row.stop, 0)}: ${signed(row.hz_per_mm, 2)} Hz`));
      piece.style.fillOpacity = 0.08 + 0.92 * share;
      pieces.push(piece);
      if (share < TOLD) continue;
      const { at: [x, y] } = along(brace.path_mm, (row.start + row.stop) / 2);
      // A figure that would lie on another is left to the table.
      if (labels.some((other) => Math.abs(other.y - y) < 34 && Math.abs(other.x - x) < 15)) continue;
      labels.push({ x, y, text: signed(row.hz_per_mm, 1) });
    }
    this.map.above.replaceChildren(...pieces, ...labels.map(({ x, y, text }) => drawn("text", { x: y, y: -x + 5, "text-anchor": "middle", class: "figure" }, text)));
    const strongest = [...found].sort((a, b) => Math.abs(b.hz_per_mm) - Math.abs(a.hz_per_mm)).slice(0, N_PLACES);
    const heads = ["Brace", "From", "To", "Hz per mm", "g per mm"];
    this.places.replaceChildren(element("caption", { textContent: "Where a millimetre does most to this mode" }),
      element("thead", {}, element("tr", {}, ...heads.map((words, k) => element("th", { scope: "col", className: k ? "number" : "", textContent: words })))),
      element("tbody", {}, ...strongest.map((row) => element("tr", {}, element("th", { scope: "row", textContent: row.brace }),
        ...[this.bench.length(row.start, 0), this.bench.length(row.stop, 0), signed(row.hz_per_mm, 2), row.grams_per_mm.toFixed(2)].map((text) => element("td", { className: "number", textContent: text }))))));
    this.places.hidden = !strongest.length;
  }

  // 3-D

  async bringShape() {
    if (this.shape.isReady || this.isBringing || this.noThree.hidden === false) return;
    this.isBringing = true;
    try {
      const found = await this.bench.ask({ ask: "modes/scene" });
      if (found.is_ready) {
        await this.shape.load((path) => this.bench.address(path));
        this.colour();
        const shape = this.state.shapes?.[this.mode - 1];
        if (shape) this.shape.set(shape);
        this.shape.play(this.wantsMotion && !this.root.hidden);
        this.box.dataset.ready = "yes";
      } else if (!found.is_running) throw new Error(found.words);
    } catch (error) {
      this.noThree.textContent = `The 3-D picture cannot be shown (${error.message}); the sand shows the same mode.`;
      this.noThree.hidden = false;
      this.box.hidden = this.turns.hidden = true;
    }
    this.isBringing = false;
  }

  colour() {
    this.shape.background(getComputedStyle(this.box).backgroundColor);
  }
}

const CONSTANTS = {
  "top E_L": "top, along the grain (E_L)",
  "top E_R": "top, across the grain (E_R)",
  "top E_T": "top, across, flat-sawn part (E_T)",
  "top G_LR": "top, twist (G_LR)",
  "top shear": "top, shear through the thickness",
};

function shareWords(part) {
  return CONSTANTS[part] ?? part.replace("joint ", "joint of ").replace("|", " and ");
}
