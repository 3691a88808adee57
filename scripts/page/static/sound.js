// Listen: tap the predicted top or box, play notes on it, and compare two versions of one loudness, also blind.

import { button, element } from "./notices.js";
import { blindLine, counted, key, shade } from "./sound-words.js";

const SVG = "http://www.w3.org/2000/svg";
const LOUDEST = 0.8;

export function mount(root, bench) {
  const view = new Listen(root, bench);
  return { show: () => view.show(), hide: () => view.silence() };
}

class Listen {
  constructor(root, bench) {
    this.root = root;
    this.bench = bench;
    this.state = null;
    this.what = "top";
    this.kind = "tap";
    this.strike = "knuckle";
    this.at = null;
    this.note = { string: 0, fret: 0 };
    this.chosen = { top: {}, box: {} };
    this.pair = null;
    this.pairKey = "";
    this.blind = { isA: null, rounds: [] };
    this.players = ["a", "b"].map((name) => {
      const audio = element("audio", { preload: "auto" });
      audio.dataset.version = name;
      audio.addEventListener("ended", () => this.mark(null));
      return audio;
    });
    this.build();
    bench.on("document", () => this.soon());
    bench.on("units", () => this.drawPlace());
    bench.on("task", (task) => {
      if (task.name.startsWith("sound/") && ["running", "done", "failed", "cancelled"].includes(task.state)) this.soon();
    });
  }

  async show() {
    await this.refresh();
    if (this.state && !this.state.top.is_ready && !this.state.top.is_running) this.prepare("top");
  }

  silence() {
    for (const audio of this.players) audio.pause();
    this.mark(null);
  }

  /** The state anew, once for many events. */
  soon() {
    clearTimeout(this.waiting);
    if (!this.root.hidden) this.waiting = setTimeout(() => this.refresh(), 150);
  }

  async refresh() {
    try {
      this.state = await this.bench.ask({ ask: "sound/state" });
    } catch (error) {
      this.state = null;
      this.about.textContent = error.message;
      return;
    }
    this.draw();
  }

  async prepare(what) {
    try {
      await this.bench.ask({ ask: "sound/prepare", what });
    } catch (error) {
      this.bench.toast(error.message);
    }
    this.refresh();
  }

  // Building the sheets, once

  build() {
    this.objects = group("What sounds", [["Loose top", "top"], ["Closed box", "box"]], (what) => this.choose({ what }));
    this.about = element("p", { className: "quiet" });
    this.about.setAttribute("role", "status");
    this.ready = button("", () => this.prepare(this.what), "first");

    this.kinds = group("Kind of sound", [["Tap", "tap"], ["Note", "note"]], (kind) => this.choose({ kind }));
    this.strikes = group("Tapped with", [["Knuckle", "knuckle"], ["Fingertip", "fingertip"]], (strike) => this.choose({ strike }));
    this.drawing = document.createElementNS(SVG, "svg");
    this.drawing.setAttribute("role", "img");
    this.drawing.setAttribute("aria-label", "The top with the place that is tapped");
    this.drawing.addEventListener("click", (event) => this.clicked(event));
    this.along = this.placeField("Along, from the tail", 0);
    this.across = this.placeField("Across, to the bass side", 1);
    this.places = element("div", { className: "row" }, ...[this.along, this.across].map((field) => field.label),
      button("At the bridge", () => this.choose({ at: null })));
    this.tap = element("div", { className: "tap" }, this.strikes.element, this.drawing, this.places);
    this.board = element("div", { className: "scroll board" });
    this.legend = element("p", { className: "quiet" });
    this.notes = element("div", { className: "notes-of-strings" }, this.board, this.legend);
    const struck = element("section", { className: "sheet" }, element("h3", { textContent: "Sound" }), this.kinds.element, this.tap, this.notes);

    this.selects = ["a", "b"].map((name) => {
      const select = element("select", { id: `sound-${name}` });
      select.addEventListener("change", () => {
        this.chosen[this.what][name] = select.value;
        this.restart();
        this.draw();
      });
      return select;
    });
    this.plays = ["A", "B"].map((name, k) => {
      const made = button(name, () => this.play(k), "play");
      made.setAttribute("aria-pressed", "false");
      return made;
    });
    this.details = this.selects.map((select) => element("p", { className: "quiet", id: `${select.id}-is` }));
    for (const [k, select] of this.selects.entries()) select.setAttribute("aria-describedby", this.details[k].id);
    const columns = this.selects.map((select, k) => element("div", { className: "version" },
      element("label", { htmlFor: select.id, textContent: `${"AB"[k]} is` }), select, this.details[k], this.plays[k]));
    this.loop = element("input", { type: "checkbox", id: "sound-loop" });
    this.loop.addEventListener("change", () => { for (const audio of this.players) audio.loop = this.loop.checked; });
    this.volume = element("input", { type: "range", id: "sound-volume", min: 0, max: 100, step: 5, value: 60 });
    this.volume.addEventListener("input", () => this.setVolume());
    this.setVolume();
    const tools = element("div", { className: "row" }, button("Stop", () => this.silence()),
      element("label", { className: "row", htmlFor: this.loop.id }, this.loop, "Again and again"),
      element("label", { htmlFor: this.volume.id, textContent: "Volume" }), this.volume);
    this.told = element("p", { className: "told" });
    this.told.setAttribute("role", "status");
    this.figures = element("details", {}, element("summary", { textContent: "Figures" }), element("div", { className: "scroll" }));
    this.figures.children[1].tabIndex = 0;
    this.figures.children[1].setAttribute("role", "region");
    this.figures.children[1].setAttribute("aria-label", "Figures of A and B");
    const beside = element("section", { className: "sheet" }, element("h3", { textContent: "Side by side" }),
      element("div", { className: "versions" }, ...columns), tools, this.told, this.figures, ...this.players);

    this.unknown = button("Play X", () => this.playBlind(), "play");
    this.guesses = ["a", "b"].map((name, k) => button(`X is ${"AB"[k]}`, () => this.guess(k === 0)));
    this.score = element("p", { className: "told" });
    this.score.setAttribute("role", "status");
    const blind = element("section", { className: "sheet" }, element("h3", { textContent: "Can you tell them apart?" }),
      element("p", { textContent: "X is A or B, drawn by lot. Listen to all three as often as you like, then say which it is." }),
      element("div", { className: "row" }, this.unknown, ...this.guesses, button("From the start", () => this.forget())), this.score);

    this.hidden = element("div", { className: "columns" }, struck, element("div", { className: "stack" }, beside, blind));
    this.hidden.hidden = true;
    this.ready.hidden = true;
    this.figures.hidden = true;
    this.said = element("ul", { className: "quiet" });
    this.root.replaceChildren(element("h2", { textContent: "Listen" }), element("div", { className: "row" }, this.objects.element),
      element("div", { className: "row" }, this.about, this.ready), this.hidden, this.said);
  }

  placeField(words, axis) {
    const input = element("input", { type: "text", inputMode: "decimal", size: 8, id: `sound-at-${axis}` });
    input.addEventListener("change", () => {
      const mm = this.bench.millimetres(input.value);
      const at = [...this.place()];
      if (Number.isFinite(mm)) at[axis] = mm;
      this.choose({ at });
    });
    return { input, label: element("label", { htmlFor: input.id }, `${words} `, input) };
  }

  // Drawing what is known

  draw() {
    const { state } = this;
    const mine = state[this.what];
    this.objects.set(this.what);
    this.objects.element.querySelector("[data-value=box]").disabled = !state.has_box;
    const name = this.what === "top" ? "loose top" : "closed box";
    const cost = this.what === "top" ? "some seconds" : "a minute or more; the page stays free";
    if (mine.is_running) this.about.textContent = `The ${name} is being made ready.`;
    else if (!mine.is_ready) this.about.textContent = `The ${name} has to be solved before it can be heard: ${cost}.`;
    else if (mine.is_old) this.about.textContent = "The drawing, a pass or the taps have changed since; what you hear is from before.";
    else this.about.textContent = state.has_box ? "" : "top.toml describes no closed box; with [sides] and [back] it can be heard too.";
    this.ready.hidden = mine.is_running || (mine.is_ready && !mine.is_old);
    this.ready.textContent = mine.is_ready ? "Make it ready anew" : "Make it ready";
    this.hidden.hidden = !mine.is_ready;
    this.said.replaceChildren(...mine.notes.map((words) => element("li", { textContent: words })));
    if (!mine.is_ready) return;
    const hasNotes = this.what === "box" && Boolean(state.board);
    if (!hasNotes) this.kind = "tap";
    this.kinds.element.hidden = !hasNotes;
    this.kinds.set(this.kind);
    this.strikes.set(this.strike);
    this.tap.hidden = this.kind !== "tap";
    this.notes.hidden = this.kind !== "note";
    this.hidden.classList.toggle("wide", this.kind === "note");
    this.drawVersions(mine.versions);
    this.drawTop();
    if (hasNotes) this.drawBoard(state.board);
    this.drawScore();
    // Another model under the same choices sounds otherwise.
    const look = JSON.stringify([mine.versions, mine.is_old]);
    if (this.seen?.[this.what] !== look) this.restart();
    this.seen = { ...this.seen, [this.what]: look };
    if (mine.versions.length < 2 && !this.told.textContent) {
      this.told.textContent = "There is one version only. Change the drawing, or plan a pass, and there is a second one to compare.";
    }
  }

  drawVersions(versions) {
    const ids = versions.map((version) => version.id);
    const mine = this.chosen[this.what];
    if (!ids.includes(mine.a)) mine.a = ids.length > 1 && ids[0] === "draft" ? "saved" : ids[0];
    if (!ids.includes(mine.b)) mine.b = ids.find((id) => id !== mine.a) ?? ids[0];
    for (const [k, select] of this.selects.entries()) {
      const look = JSON.stringify(versions);
      if (select.dataset.look !== look) {
        select.dataset.look = look;
        select.replaceChildren(...versions.map(({ id, label }) => element("option", { value: id, textContent: label })));
      }
      select.value = mine["ab"[k]];
      this.details[k].textContent = versions.find(({ id }) => id === select.value).words;
    }
  }

  drawTop() {
    const { outline, holes, braces } = this.state;
    const look = JSON.stringify([outline, holes, braces]);
    if (this.drawing.dataset.look !== look) {
      this.drawing.dataset.look = look;
      const [x, y] = [0, 1].map((k) => outline.map((point) => point[k]));
      const [left, right, low, high] = [Math.min(...x), Math.max(...x), Math.min(...y), Math.max(...y)];
      this.drawing.setAttribute("viewBox", `${left - 8} ${-high - 8} ${right - left + 16} ${high - low + 16}`);
      const path = (points, close) => `M${points.map(([px, py]) => `${px} ${-py}`).join("L")}${close ? "Z" : ""}`;
      const wood = shape("path", { class: "wood", d: [outline, ...holes].map((points) => path(points, true)).join(""), "fill-rule": "evenodd" });
      const lines = braces.map((points) => shape("path", { class: "brace", d: path(points, false) }));
      this.spot = shape("g", { class: "spot" }, shape("circle", { r: 11 }), shape("path", { d: "M-17 0h34M0-17v34" }));
      this.drawing.replaceChildren(wood, ...lines, this.spot);
    }
    this.drawPlace();
  }

  drawPlace() {
    if (!this.spot) return;
    const [x, y] = this.place();
    this.spot.setAttribute("transform", `translate(${x} ${-y})`);
    for (const [field, mm] of [[this.along, x], [this.across, y]]) field.input.value = this.bench.length(mm, 0);
  }

  drawBoard({ strings, n_frets: nFrets, middle }) {
    const look = JSON.stringify([strings, nFrets]);
    if (this.board.dataset.look !== look) {
      this.board.dataset.look = look;
      const head = element("tr", {}, element("th", { scope: "col", textContent: "String" }),
        ...Array.from({ length: nFrets + 1 }, (_, fret) => element("th", { scope: "col", textContent: fret || "open" })));
      // The treble string on top, as a player sees the fingerboard on paper.
      const rows = strings.map((string, i) => element("tr", {}, element("th", { scope: "row", textContent: string.name }),
        ...string.notes.map((name, fret) => element("td", {}, this.noteButton(string, i, fret, name, middle))))).reverse();
      const table = element("table", {}, element("caption", { className: "unseen", textContent: "Fingerboard: how long each note sounds" }),
        element("thead", {}, head), element("tbody", {}, ...rows));
      table.addEventListener("keydown", (event) => this.walk(event, strings.length, nFrets));
      this.board.replaceChildren(table);
      this.legend.textContent = "Press a note to hear A. The stronger the colour, the longer it sounds; seconds to a fall of 60 dB. "
        + "Underlined notes are short or soft beside their neighbours, or wolves. Arrow keys walk over the board.";
    }
    for (const one of this.board.querySelectorAll("button")) {
      const isHere = Number(one.dataset.string) === this.note.string && Number(one.dataset.fret) === this.note.fret;
      one.tabIndex = isHere ? 0 : -1;
      one.setAttribute("aria-pressed", String(isHere));
    }
  }

  noteButton(string, i, fret, name, middle) {
    const seconds = string.t60[fret];
    const weak = string.weak[fret];
    const made = button("", () => { this.choose({ note: { string: i, fret } }); this.play(0); }, `note ${weak ? "weak" : ""}`);
    made.append(element("b", { textContent: name }), element("span", { textContent: seconds < 10 ? seconds.toFixed(1) : seconds.toFixed(0) }));
    made.dataset.string = i;
    made.dataset.fret = fret;
    made.dataset.shade = shade(seconds, middle);
    made.setAttribute("aria-label", `${name}, string ${string.name}, ${fret ? `fret ${fret}` : "open"}, ${seconds.toFixed(1)} seconds${weak ? `, ${weak}` : ""}`);
    if (weak) made.title = weak;
    return made;
  }

  walk(event, nStrings, nFrets) {
    const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [1, 0], ArrowDown: [-1, 0] }[event.key];
    const from = event.target.closest("button");
    if (!step || !from) return;
    event.preventDefault();
    const string = Math.min(Math.max(Number(from.dataset.string) + step[0], 0), nStrings - 1);
    const fret = Math.min(Math.max(Number(from.dataset.fret) + step[1], 0), nFrets);
    const next = this.board.querySelector(`button[data-string="${string}"][data-fret="${fret}"]`);
    from.tabIndex = -1;
    next.tabIndex = 0;
    next.focus();
  }

  // Choosing and playing

  place() {
    return this.at ?? this.state.bridge;
  }

  choose(change) {
    Object.assign(this, change);
    if (!this.state) return;
    this.restart();
    this.draw();
  }

  clicked(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.drawing.getScreenCTM().inverse());
    this.choose({ at: [point.x, -point.y] });
    this.play(0);
  }

  /** What was made is no longer what is chosen. */
  restart() {
    this.silence();
    this.pair = null;
    this.pairKey = "";
    this.told.textContent = "";
    this.figures.hidden = true;
    this.forget();
  }

  wanted() {
    const { a, b } = this.chosen[this.what];
    const sound = this.kind === "note" && this.what === "box" ? { kind: "note", ...this.note } : { kind: "tap", at: this.at, strike: this.strike };
    return { ask: "sound/pair", what: this.what, a, b, ...sound };
  }

  async made() {
    const wanted = this.wanted();
    const name = key(wanted);
    if (this.pair && this.pairKey === name) return true;
    let found;
    try {
      found = await this.bench.ask(wanted);
    } catch (error) {
      this.bench.toast(error.message);
      return false;
    }
    // Something else may have been chosen meanwhile.
    if (key(this.wanted()) !== name) return false;
    this.pair = found;
    this.pairKey = name;
    for (const [k, audio] of this.players.entries()) audio.src = this.bench.address(found.addresses[k]);
    this.tell();
    return true;
  }

  async play(k) {
    if (!(await this.made())) return;
    await this.start(k);
    this.mark(k);
  }

  async start(k) {
    this.silence();
    const audio = this.players[k];
    audio.currentTime = 0;
    audio.loop = this.loop.checked;
    try {
      await audio.play();
    } catch (error) {
      // A click on the other one while this one was loading.
      if (error.name !== "AbortError") this.bench.toast(`This browser does not play it: ${error.message}`);
    }
  }

  mark(k) {
    for (const [j, one] of this.plays.entries()) one.setAttribute("aria-pressed", String(j === k));
  }

  setVolume() {
    // Loudness is felt as the logarithm: half the way is a tenth of the power.
    const share = Number(this.volume.value) / 100;
    for (const audio of this.players) audio.volume = share ? LOUDEST * 10 ** (share - 1) : 0;
  }

  tell() {
    const { raised_db: raised, labels, place, note } = this.pair;
    const what = note ? `${note}, heard ${place}` : `Heard ${place}`;
    const k = raised[0] > raised[1] ? 0 : 1;
    const equal = Math.max(...raised) < 0.05
      ? "both are equally loud as they are"
      : `${"AB"[k]} (${labels[k]}) was raised by ${raised[k].toFixed(1)} dB, so that both are equally loud`;
    this.told.textContent = `${what}; ${equal}.`;
    this.figures.hidden = false;
    this.figures.children[1].replaceChildren(figures(this.pair));
  }

  // By ear alone

  async playBlind() {
    if (!(await this.made())) return;
    if (this.blind.isA === null) this.blind.isA = crypto.getRandomValues(new Uint8Array(1))[0] < 128;
    await this.start(this.blind.isA ? 0 : 1);
    this.drawScore();
  }

  guess(saysA) {
    if (this.blind.isA === null) return;
    this.blind.rounds.push(saysA === this.blind.isA);
    this.blind.isA = null;
    this.silence();
    this.drawScore();
  }

  forget() {
    this.blind = { isA: null, rounds: [] };
    this.drawScore();
  }

  drawScore() {
    for (const one of this.guesses) one.disabled = this.blind.isA === null;
    this.score.textContent = blindLine(this.blind.rounds);
  }
}

/** Buttons of which one is pressed. */
function group(label, choices, act) {
  const box = element("div", { className: "row group" });
  box.setAttribute("role", "group");
  box.setAttribute("aria-label", label);
  for (const [words, value] of choices) {
    const one = button(words, () => act(value));
    one.dataset.value = value;
    box.append(one);
  }
  const set = (value) => { for (const one of box.children) one.setAttribute("aria-pressed", String(one.dataset.value === value)); };
  return { element: box, set };
}

function shape(tag, attributes, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

function figures({ modes, notes, labels }) {
  const head = (...names) => element("thead", {}, element("tr", {}, ...names.map((name) => element("th", { scope: "col", textContent: name }))));
  const row = (...cells) => element("tr", {}, ...cells.map((text) => element("td", { textContent: text })));
  const seconds = (value) => (value === null ? "" : `${value.toFixed(2)}\u00a0s`);
  const names = labels.map((label, k) => `${"AB"[k]}, ${label}`);
  if (notes) {
    return element("table", {}, head("", ...names), element("tbody", {},
      row("Falls by 60 dB in", ...notes.map((one) => seconds(one.t60))),
      row("At the rate of its beginning", ...notes.map((one) => seconds(one.early))),
      row("Beside its neighbours", ...notes.map((one) => one.weak || "even"))));
  }
  const told = (one) => (one ? `${one.hz.toFixed(1)}\u00a0Hz, ${one.note}\u00a0${one.cents < 0 ? "\u2212" : "+"}${Math.abs(one.cents).toFixed(0)}, rings ${seconds(one.t60)}${one.is_measured ? " (tapped)" : ""}` : "");
  const rows = modes[0].map((one, k) => row(String(k + 1), told(one), told(modes[1][k])));
  return element("table", {}, element("caption", { textContent: `The ${counted(modes[0].length, "lowest mode", "lowest modes")}` }),
    head("Mode", ...names), element("tbody", {}, ...rows));
}
