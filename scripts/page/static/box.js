// Box: how top, air and back move together, the ring, linings and finishes side by side, and the customer's wish.

import { drawBeside, FinishForm } from "./box-beside.js";
import { drawBrief, WishForm } from "./box-brief.js";
import { drawClosed } from "./box-closed.js";
import { Part } from "./box-parts.js";
import { drawRing } from "./box-ring.js";
import { button, element } from "./notices.js";

const WORDS = {
  closed: { title: "Closed box", lead: "Top, air and back as one: its modes, what is heard of it, and how long its notes sound.", verb: "Solve the box" },
  ring: { title: "Ring", lead: "What wood taken off along the top's edge does to the closed box, from its taps, and how much is safe.", verb: "Work out the ring" },
  rims: { title: "Linings", lead: "The drawn linings beside a few usual ones, on the same box.", verb: "Compare the linings" },
  finish: { title: "Finish", lead: "The box bare, as drawn, and with a finish of your own.", verb: "Compare the finishes" },
  brief: { title: "Wish", lead: "What a customer would like more of, against another instrument; the words become figures, and the figures ways.", verb: "Show the ways" },
};

export function mount(root, bench) {
  const view = new Box(root, bench);
  return { show: () => view.show() };
}

class Box {
  constructor(root, bench) {
    this.root = root;
    this.bench = bench;
    this.moveRing = null;
    const ask = bench.latest("box/ring");
    this.finish = new FinishForm((asked) => this.askFinish(asked));
    this.wish = new WishForm((key, value) => this.keep(key, value));
    this.parts = new Map([
      ["closed", new Part(this, "closed", WORDS.closed, (...made) => drawClosed(bench, ...made))],
      ["ring", new Part(this, "ring", WORDS.ring, (...made) => { this.moveRing = drawRing(bench, ask, this.state.deepest_mm, ...made); })],
      ["rims", new Part(this, "rims", WORDS.rims, (...made) => drawBeside(bench, "rims", ...made))],
      ["finish", new Part(this, "finish", WORDS.finish, (...made) => drawBeside(bench, "finish", ...made), this.finish.element)],
      ["brief", new Part(this, "brief", WORDS.brief, (...made) => drawBrief(bench, ...made), this.wish.element)],
    ]);
    this.places = element("nav", { className: "row places" }, ...[...this.parts.values()].map((part) => button(part.heading.textContent, () => part.go())));
    this.places.setAttribute("aria-label", "Parts of this sheet");
    this.about = element("p", { className: "quiet" });
    this.about.setAttribute("role", "status");
    root.append(this.about);
    bench.on("document", () => this.soon());
    bench.on("units", () => this.moveRing?.());
    bench.on("task", (task) => {
      const part = task.name.startsWith("box/") && this.parts.get(task.name.slice(4));
      if (!part) return;
      part.working(task);
      if (task.state !== "running" || !task.stage) this.soon();
    });
  }

  async show() {
    await this.refresh();
    const closed = this.state?.parts?.closed;
    if (closed && !closed.is_ready && !closed.is_running) this.make("closed");
  }

  /** The state anew, once for many events. */
  soon() {
    clearTimeout(this.waiting);
    if (!this.root.hidden) this.waiting = setTimeout(() => this.refresh(), 150);
  }

  async refresh() {
    try {
      this.state = await this.bench.ask({ ask: "box/state" });
      this.about.textContent = "";
      if (this.state.has_box) await this.draw();
      else this.drawWithout();
    } catch (error) {
      this.about.textContent = error.message;
    }
  }

  async draw() {
    if (!this.places.isConnected) this.root.replaceChildren(this.about, this.places, ...[...this.parts.values()].map((part) => part.element));
    this.finish.show(this.state.finish, this.state.faces);
    this.wish.show(this.state);
    // Without a drawn finish there is nothing to compare until one is asked for.
    const isEmpty = { finish: !this.state.has_finish && !this.state.finish, brief: !Object.keys(this.state.wish).length };
    await Promise.all([...this.parts].map(async ([name, part]) => {
      await part.update(this.state.parts[name]);
      if (isEmpty[name]) part.start.hidden = true;
    }));
  }

  drawWithout() {
    if (this.root.querySelector(".without")) return;
    const example = element("pre", { textContent: this.state.add, tabIndex: 0 });
    this.root.replaceChildren(this.about, element("section", { className: "sheet without" }, element("h2", { textContent: "No box yet" }),
      element("p", { textContent: this.state.words }), example,
      element("p", { className: "quiet", textContent: "Invented figures; [[lining]], [[block]], [[back_brace]], [[finish]] and [box] may follow." }),
      button("To the drawing", () => this.bench.go("drawing"), "first")));
  }

  async make(part) {
    try {
      await this.bench.ask({ ask: "box/make", part });
    } catch (error) {
      this.bench.toast(error.message);
    }
    this.soon();
  }

  keep(key, value) {
    this.bench.change(key, Object.keys(value).length ? value : null);
  }

  async askFinish(asked) {
    if (!asked) {
      this.bench.toast("Choose at least one of top, back and sides.");
      return;
    }
    this.bench.change("asked/finish", asked);
    await allKept(this.bench);
    this.make("finish");
  }
}

/** Resolves once the server has every change. */
function allKept(bench) {
  return new Promise((resolve) => {
    const look = () => {
      if (bench.store.pending.length) return;
      end();
      resolve();
    };
    const end = bench.on("document", look);
    look();
  });
}
