// What every part of the view Box is built of: a sheet with its state, pictures, bars, figures on request.

import { button, element } from "./notices.js";

/** A part of the page that a task makes: heading, what it is, its state, a button, and what was made. */
export class Part {
  /**
   * @param {object} view asks and draws: {bench, make(name)}
   * @param {string} name of the part and its task
   * @param {{title: string, lead: string, verb: string}} words
   * @param {(body: Element, told: object, pictures: object) => void} draw
   * @param {...Element} tools what is set before it is made
   */
  constructor(view, name, { title, lead, verb }, draw, ...tools) {
    this.view = view;
    this.name = name;
    this.verb = verb;
    this.draw = draw;
    this.mark = null;
    this.heading = element("h2", { textContent: title, id: `box-${name}`, tabIndex: -1 });
    this.state = element("p", { className: "quiet" });
    this.state.setAttribute("role", "status");
    this.start = button(verb, () => view.make(name), "first");
    this.body = element("div", { className: "made" });
    this.element = element("section", { className: "sheet part" }, this.heading,
      element("p", { className: "quiet", textContent: lead }), ...tools,
      element("div", { className: "row" }, this.start, this.state), this.body);
    this.element.setAttribute("aria-labelledby", this.heading.id);
  }

  /** Shows how far the part is; what was made anew is asked for and drawn. */
  async update({ is_ready: isReady, is_old: isOld, is_running: isRunning, mark }) {
    this.start.hidden = isRunning || (isReady && !isOld);
    this.start.textContent = isReady ? `${this.verb} again` : this.verb;
    say(this.state, isRunning ? "Being worked out" : isReady && isOld ? "Something has changed since; this is how it was." : "");
    this.body.classList.toggle("old", isOld);
    if (!isReady || mark === this.mark) return;
    this.mark = mark;
    const { told, pictures } = await this.view.bench.ask({ ask: "box/told", part: this.name }).catch((error) => {
      this.mark = null;
      throw error;
    });
    this.body.replaceChildren();
    this.draw(this.body, told, pictures);
  }

  working(task) {
    if (task.state === "running" && task.stage) say(this.state, `Being worked out: ${task.stage}`);
  }

  go() {
    this.heading.scrollIntoView({ block: "start" });
    this.heading.focus({ preventScroll: true });
  }
}

/** Text of a live region, changed only if it differs, so that it is not read twice. */
export function say(place, words) {
  if (place.textContent !== words) place.textContent = words;
}

/**
 * A picture on its paper; a click opens it alone, as large as it is.
 * @param {"" | "wide"} kind wide ones keep a width at which their words can be read
 */
export function picture(bench, { address, alt, width, height }, kind = "wide") {
  const image = element("img", { width, height, src: bench.address(address), alt, loading: "lazy", decoding: "async" });
  const link = element("a", { href: bench.address(address), target: "_blank", rel: "noopener", title: "Opens the picture alone" }, image);
  return element("div", { className: `scroll paper ${kind}` }, link);
}

/**
 * A table that scrolls by itself; numbers are set to the right.
 * @param {string} name
 * @param {string[]} head
 * @param {(string | number | null)[][]} rows first cell of each is its heading
 */
export function table(name, head, rows) {
  const isRight = head.map((_, k) => k > 0 && rows.every((row) => isFigure(row[k])));
  const top = element("tr", {}, ...head.map((words, k) => cell("th", words, isRight[k], "col")));
  const lines = rows.map((row) => element("tr", {}, ...row.map((text, k) => cell(k ? "td" : "th", text, isRight[k], k ? "" : "row"))));
  return scrolled(name, element("table", {}, element("thead", {}, top), element("tbody", {}, ...lines)));
}

function cell(tag, text, isNumber, scope) {
  const made = element(tag, { textContent: text ?? "\u2013", className: isNumber ? "number" : "" });
  if (scope) made.scope = scope;
  return made;
}

function isFigure(text) {
  return text === null || text === "" || /^[+\u2212\u2013-]?(\d|$)/.test(text);
}

/** What may be wider than the page, to be scrolled with the keyboard too. */
export function scrolled(name, inside, className = "") {
  const made = element("div", { className: `scroll ${className}`, tabIndex: 0 }, inside);
  made.setAttribute("role", "region");
  made.setAttribute("aria-label", name);
  return made;
}

/** Figures on request. */
export function figures(...children) {
  return element("details", { className: "figures" }, element("summary", { textContent: "Figures" }), ...children);
}

export function list(lines, className = "quiet") {
  return element("ul", { className }, ...lines.map((textContent) => element("li", { textContent })));
}

export function heading(textContent) {
  return element("h3", { textContent });
}

export function paragraph(textContent, className = "") {
  return element("p", { textContent, className });
}

/**
 * Shares as bars, largest first; those below half a percent are left out.
 * @param {[string, number][]} shares
 */
export function bars(shares) {
  const shown = shares.filter(([, share]) => share >= 0.005).sort(([, one], [, other]) => other - one);
  return element("dl", { className: "bars" }, ...shown.map(([name, share]) => {
    const bar = element("span", { className: "bar" });
    bar.style.width = `${Math.min(100, 100 * share).toFixed(1)}%`;
    return element("div", {}, element("dt", { textContent: name }),
      element("dd", {}, element("span", { className: "rod" }, bar), element("span", { className: "share", textContent: `${Math.round(100 * share)} %` })));
  }));
}

export function fixed(value, digits) {
  return value === null || value === undefined ? "\u2013" : value.toFixed(digits).replace("-", "\u2212");
}

export function signed(value, digits) {
  const text = value.toFixed(digits);
  return Number(text) === 0 ? text.replace("-", "") : value > 0 ? `+${text}` : text.replace("-", "\u2212");
}
