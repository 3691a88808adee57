// Taps: record or drop them, say where, see what was heard, and accept or correct which mode each one is.

import { button, element } from "./notices.js";
import { record, refusalWords } from "./recorder.js";
import { spectrumPicture, topPicture, wavePicture } from "./taps-charts.js";

const TASK = "taps/read";

/** @param {HTMLElement} place */
export function mount(place, bench) {
  const view = { bench, state: null, chosen: null, pass: null, isShown: false, asked: "" };
  const listen = listenSheet(view, look);
  const where = whereSheet(view);
  const heard = element("section", { className: "sheet" });
  const pairs = element("section", { className: "sheet taps-wide" });
  place.append(
    element("div", { className: "columns" }, element("div", { className: "stack" }, listen.sheet, where.sheet), heard),
    pairs,
  );

  async function look(isNew = false) {
    if (!bench.isOpen) return;
    try {
      view.state = await bench.ask({ ask: "taps/state", pass: view.pass });
    } catch (error) {
      bench.toast(error.message);
      return;
    }
    draw();
    const { has_any: hasAny, read, is_old: isOld, stamp } = view.state;
    // Read by itself once for everything new that came in; what failed is not tried again until something changes.
    if (hasAny && (!read || isOld) && view.asked !== stamp && (isNew || !read || isOld)) {
      view.asked = stamp;
      start();
    }
  }

  async function start() {
    try {
      await bench.ask({ ask: TASK, pass: view.pass });
    } catch (error) {
      bench.toast(error.message);
    }
  }

  function draw() {
    listen.draw();
    where.draw();
    drawHeard(heard, view, start);
    drawPairs(pairs, view);
  }

  let waiting = 0;
  function soon() {
    clearTimeout(waiting);
    waiting = setTimeout(() => view.isShown && look(), 80);
  }

  bench.on("document", soon);
  bench.on("units", () => view.isShown && view.state && draw());
  bench.on("connection", soon);
  bench.on("task", (task) => {
    if (task.name !== TASK) return;
    view.task = task.state === "running" || task.state === "waiting" ? task : null;
    view.failed = task.state === "failed" ? task.error : "";
    if (!view.isShown || !view.state) return;
    if (view.task) drawProgress(heard, view.task);
    else {
      if (task.state === "done") bench.announce("The taps are read");
      look();
    }
  });
  return {
    show() {
      view.isShown = true;
      look();
    },
    hide() {
      view.isShown = false;
      listen.stop();
    },
  };
}

// Recordings come in

function listenSheet(view, look) {
  const { bench } = view;
  const title = element("h2", { textContent: "Taps" });
  const session = element("select", { id: "taps-pass" });
  const which = element("p", { className: "field row" }, element("label", { htmlFor: "taps-pass", textContent: "Tapped" }), session);
  const begin = button("Record taps", () => (recorder ? stop() : start()), "first");
  const meter = element("div", { className: "taps-meter" }, element("div", {}));
  const said = element("p", { className: "taps-said", role: "status" });
  const files = element("input", { id: "taps-files", type: "file", accept: ".wav,.flac,audio/wav,audio/flac", multiple: true });
  const drop = element("div", { className: "taps-drop" }, element("label", { htmlFor: "taps-files", textContent: "Drop recordings here, or choose WAV or FLAC files" }), files);
  const sheet = element(
    "section",
    { className: "sheet" },
    title,
    which,
    element("p", { className: "quiet", textContent: "Hold the top as you always do and tap three to five times at one place, with two seconds of quiet between." }),
    element("div", { className: "row" }, begin, meter),
    said,
    drop,
  );
  let recorder = null;
  let shownSecond = -1;

  async function start() {
    begin.disabled = true;
    said.textContent = "";
    try {
      recorder = await record(meterDraw, stop);
    } catch (error) {
      said.textContent = refusalWords(error);
      return;
    } finally {
      begin.disabled = false;
    }
    begin.textContent = "Stop and keep";
    begin.setAttribute("aria-pressed", "true");
    sayListening(0, false);
  }

  function meterDraw({ peak, seconds, isClipped }) {
    // From -60 dB to full scale.
    const share = Math.max(0, 1 + (20 * Math.log10(Math.max(peak, 1e-6))) / 60);
    meter.firstChild.style.transform = `scaleX(${share.toFixed(3)})`;
    meter.classList.toggle("is-loud", isClipped);
    if (Math.floor(seconds) !== shownSecond) sayListening(seconds, isClipped);
  }

  function sayListening(seconds, isClipped) {
    shownSecond = Math.floor(seconds);
    const still = recorder.processing.length ? ` The browser still uses ${recorder.processing.join(" and ")}, which spoils decays: switch it off, or record with another program.` : "";
    const loud = isClipped ? " Too loud: move the microphone away." : "";
    said.textContent = `Listening, ${shownSecond} s at ${(recorder.rate / 1000).toFixed(1)} kHz.${loud}${still}`;
  }

  async function stop() {
    const one = recorder;
    if (!one) return;
    recorder = null;
    rest();
    const blob = await one.stop();
    await keep([new File([blob], `taps ${stampOf(new Date())}.wav`, { type: "audio/wav" })]);
  }

  function rest() {
    begin.textContent = "Record taps";
    begin.removeAttribute("aria-pressed");
    meter.firstChild.style.transform = "scaleX(0)";
    said.textContent = "";
  }

  async function keep(chosen) {
    const [x, y] = view.chosen ?? [];
    const kept = [];
    for (const file of chosen) {
      try {
        kept.push((await bench.upload("taps", file, view.chosen ? { x, y } : {})).file);
      } catch (error) {
        bench.toast(`${file.name}: ${error.message}`);
      }
    }
    if (!kept.length) return;
    view.pass = null;
    said.textContent = `Kept as ${kept.join(", ")}${view.chosen ? `, tapped at ${pointWords(bench, view.chosen)}` : ""}.`;
    await look(true);
  }

  files.addEventListener("change", async () => {
    const chosen = [...files.files];
    files.value = "";
    await keep(chosen);
  });
  drop.addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.classList.add("is-over");
  });
  drop.addEventListener("dragleave", () => drop.classList.remove("is-over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("is-over");
    keep([...event.dataTransfer.files]);
  });
  session.addEventListener("change", () => {
    view.pass = Number(session.value);
    look();
  });

  return {
    sheet,
    draw() {
      const { pass, present } = view.state;
      which.hidden = present === 0;
      session.replaceChildren(...Array.from({ length: present + 1 }, (_, k) => element("option", { value: k, textContent: k ? `after pass ${k}` : "before the first cut" })));
      session.value = String(pass);
    },
    // What is being recorded is kept when the maker turns to another view.
    stop,
  };
}

function stampOf(now) {
  const two = (value) => String(value).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())} ${two(now.getHours())}.${two(now.getMinutes())}.${two(now.getSeconds())}`;
}

function pointWords(bench, [x, y]) {
  return `x ${bench.length(x, 0)}, y ${bench.length(y, 0)}`;
}

// Where it was tapped

function whereSheet(view) {
  const { bench } = view;
  const picture = element("div", { className: "taps-picture" });
  const subject = element("select", { id: "taps-subject" });
  const x = element("input", { id: "taps-x", inputMode: "decimal", autocomplete: "off", size: 7 });
  const y = element("input", { id: "taps-y", inputMode: "decimal", autocomplete: "off", size: 7 });
  const clear = button("Forget the place", () => place(null));
  const list = element("ul", { className: "taps-list" });
  const sheet = element(
    "section",
    { className: "sheet" },
    element("h3", { textContent: "Where it was tapped" }),
    element("p", { className: "quiet", textContent: "Press on the top, or type the place: x from the tail end towards the neck, y to the right as seen here." }),
    element("p", { className: "field" }, element("label", { htmlFor: "taps-subject", textContent: "Place of" }), subject),
    picture,
    element("div", { className: "row" }, element("label", { htmlFor: "taps-x", textContent: "x" }), x, element("label", { htmlFor: "taps-y", textContent: "y" }), y, clear),
    list,
  );

  function place(point) {
    const { files, pass } = view.state;
    if (subject.value === "next") {
      view.chosen = point;
      draw();
      if (point) bench.announce(`The next taps are at ${pointWords(bench, point)}`);
    } else if (subject.value === "microphone") {
      bench.change(`microphone/${pass}`, point);
    } else {
      const file = files.find((one) => one.name === subject.value);
      if (file?.is_in_file) bench.toast("taps.toml says where this one was tapped; change it there.");
      else if (file) bench.change(file.key, point);
    }
  }

  function typed() {
    if (!x.value.trim() || !y.value.trim()) return;
    const point = [x, y].map((input) => bench.millimetres(input.value));
    x.toggleAttribute("aria-invalid", Number.isNaN(point[0]));
    y.toggleAttribute("aria-invalid", Number.isNaN(point[1]));
    if (point.some(Number.isNaN)) bench.toast("x and y must be numbers, in millimetres unless inches are chosen.");
    else place(point);
  }
  for (const input of [x, y]) input.addEventListener("change", typed);
  subject.addEventListener("change", () => draw());

  function current() {
    const { files, microphone } = view.state;
    if (subject.value === "next") return view.chosen;
    if (subject.value === "microphone") return microphone;
    return files.find((one) => one.name === subject.value)?.points[0] ?? null;
  }

  function draw() {
    const { files, microphone, plan, trouble } = view.state;
    const was = subject.value || "next";
    const choices = [["next", "the next taps"], ...files.map((one) => [one.name, one.name]), ["microphone", "the microphone"]];
    subject.replaceChildren(...choices.map(([value, words]) => element("option", { value, textContent: words })));
    subject.value = choices.some(([value]) => value === was) ? was : "next";
    const places = files.flatMap((one) => one.points.map((at) => ({ at, words: `${one.name} at ${pointWords(bench, at)}`, kind: one.name === subject.value ? "is-chosen" : "is-kept" })));
    if (microphone) places.push({ at: microphone, words: `microphone at ${pointWords(bench, microphone)}`, kind: "microphone" });
    if (view.chosen) places.push({ at: view.chosen, words: `the next taps at ${pointWords(bench, view.chosen)}`, kind: subject.value === "next" ? "is-chosen" : "is-kept" });
    picture.replaceChildren(topPicture(plan, places, place));
    const point = current();
    for (const [input, k] of [[x, 0], [y, 1]]) if (document.activeElement !== input) input.value = point ? bench.length(point[k], 0).split(" ")[0] : "";
    clear.disabled = !point;
    list.replaceChildren(
      ...files.map((one) =>
        element("li", {}, element("span", { textContent: one.name }), element("span", { className: "quiet", textContent: one.points.length ? `${one.points.length > 1 ? `${one.points.length} places` : pointWords(bench, one.points[0])}${one.is_in_file ? ", from taps.toml" : ""}` : "place not said" })),
      ),
    );
    if (trouble) list.append(element("li", { className: "notice warn", textContent: trouble }));
  }

  return { sheet, draw };
}

// What was heard

function drawHeard(place, view, start) {
  const { state, task, failed } = view;
  const { read } = state;
  const again = button(read ? "Read again" : "Read the taps", start);
  again.disabled = !state.has_any;
  place.replaceChildren(element("div", { className: "row taps-head" }, element("h2", { textContent: "What was heard" }), again), element("div", { className: "taps-progress", role: "status" }));
  if (task) drawProgress(place, task);
  if (failed) place.append(element("p", { className: "notice warn", textContent: failed }));
  if (!state.has_any) place.append(element("p", { className: "quiet", textContent: `Nothing is recorded yet in ${state.folder}, and there are no notes in taps.csv.` }));
  if (!read) return;
  if (state.is_old && !task) place.append(element("p", { className: "notice", textContent: "Recordings, places or the drawing have changed since this was read." }));
  for (const words of read.warnings) place.append(element("p", { className: "notice", textContent: words }));
  // As wide as it is shown, so that its words keep their size.
  const wide = Math.min(Math.max(place.clientWidth - 40, 300), 760);
  read.recordings.forEach((one, k) => {
    const inner = element(
      "details",
      { className: "taps-recording", open: k === 0 || view.opened?.has(one.file) },
      element("summary", { textContent: `${one.file}: ${one.hits.length} ${one.hits.length === 1 ? "hit" : "hits"}, ${one.peaks.length} ${one.peaks.length === 1 ? "peak" : "peaks"}` }),
      wavePicture(one, wide),
      spectrumPicture(one, wide),
    );
    inner.addEventListener("toggle", () => {
      view.opened ??= new Set();
      view.opened[inner.open ? "add" : "delete"](one.file);
    });
    place.append(inner);
  });
  if (!read.recordings.length) place.append(element("p", { className: "quiet", textContent: "Only notes (taps.csv) were read; there is no recording to show." }));
}

function drawProgress(place, task) {
  const line = place.querySelector(".taps-progress");
  if (!line) return;
  const words = task.state === "waiting" ? "Waiting for other work" : `${task.stage || "beginning"} ...`;
  if (line.textContent !== words) line.textContent = words;
}

// Which mode each tap is

function drawPairs(place, view) {
  const { bench, state } = view;
  const { read } = state;
  const focused = place.contains(document.activeElement) ? document.activeElement.id : "";
  place.hidden = !read;
  if (!read) return;
  const head = ["tap", "Hz", "note", "decay s", "Q", "mode", "model Hz", "off", ""];
  const table = element("table", { className: "taps-table" }, element("caption", { className: "unseen", textContent: "Tapped modes and the model's modes that they are taken for" }));
  table.append(element("thead", {}, element("tr", {}, ...head.map((words, k) => element("th", { scope: "col", className: [1, 3, 4, 6, 7].includes(k) ? "number" : "", textContent: words })))));
  table.append(element("tbody", {}, ...read.taps.map((tap) => tapRow(bench, read, tap))));
  // A phone shows rows as small cards, which must still be read as a table.
  const roles = { table: [table], rowgroup: table.querySelectorAll("thead, tbody"), row: table.querySelectorAll("tr"), columnheader: table.querySelectorAll("thead th"), rowheader: table.querySelectorAll("tbody th"), cell: table.querySelectorAll("td") };
  for (const [role, parts] of Object.entries(roles)) for (const part of parts) part.setAttribute("role", role);
  place.replaceChildren(
    element("h2", { textContent: "Which mode each tap is" }),
    read.trouble ? element("p", { className: "notice warn", textContent: `Nothing could be predicted: ${read.trouble}` }) : element("p", { className: "quiet", textContent: "The model's modes are those of the saved drawing, cut as it was by then. What you choose here counts on this page: the plan that it makes uses it." }),
    element("div", { className: "scroll", tabIndex: 0, role: "region", ariaLabel: "Table of taps" }, table),
  );
  const off = 100 * (read.ratio - 1);
  if (Math.abs(off) > 2) place.append(element("p", { className: "notice", textContent: `All taps together lie about ${Math.abs(off).toFixed(0)} % ${off > 0 ? "above" : "below"} the model, which was allowed for: the wood or its thickness differs from the drawing.` }));
  if (read.close.length) {
    place.append(element("h3", { textContent: "Close calls" }), element("ul", {}, ...read.close.map((words) => element("li", { textContent: words }))));
  }
  if (read.unheard.length) {
    const names = read.unheard.map((mode) => `${mode} (${read.modes[mode - 1].hz.toFixed(0)} Hz)`);
    place.append(element("p", { className: "quiet", textContent: `Not heard: mode ${names.join(", ")}` }));
  }
  if (focused) document.getElementById(focused)?.focus();
}

function tapRow(bench, read, tap) {
  const select = element("select", { id: `taps-mode-${tap.number}`, ariaLabel: `Mode of tap ${tap.number}, ${tap.hz.toFixed(1)} Hz` });
  select.append(element("option", { value: "0", textContent: "none" }), ...read.modes.map((one) => element("option", { value: String(one.mode), textContent: `${one.mode}: ${one.hz.toFixed(0)} Hz, ${one.name}` })));
  select.value = String(tap.mode);
  select.disabled = !read.modes.length;
  select.addEventListener("change", () => bench.changes(pairChanges(read.taps, tap, Number(select.value))));
  const isDoubtful = tap.or_modes.length > 0;
  const accept = button("Accept", () => bench.changes(pairChanges(read.taps, tap, tap.mode)));
  accept.setAttribute("aria-label", `Accept mode ${tap.mode} for tap ${tap.number}`);
  const back = button("Undo choice", () => bench.change(tap.key, null));
  back.setAttribute("aria-label", `Let the program pair tap ${tap.number} again`);
  const remark = tap.by_hand ? `by hand${tap.proposed !== tap.mode ? ` (proposed: ${tap.proposed || "none"})` : ""}` : isDoubtful ? `or ${tap.or_modes.join(", ")}` : tap.mac === null ? "" : `shape ${Math.round(100 * tap.mac)} %`;
  const fixed = (value, digits) => (value === null ? "" : value.toFixed(digits));
  return element(
    "tr",
    { className: tap.by_hand ? "is-by-hand" : isDoubtful ? "is-doubtful" : "" },
    element("th", { scope: "row" }, element("span", { textContent: tap.number }), ...(tap.label ? [element("span", { className: "quiet taps-label", textContent: tap.label })] : [])),
    element("td", { className: "number" }, element("span", { className: "measured", textContent: tap.hz.toFixed(1) }), ...(tap.error_hz ? [element("span", { className: "quiet", textContent: ` \u00b1${Math.max(tap.error_hz, 0.01).toFixed(tap.error_hz < 0.095 ? 2 : 1)}` })] : [])),
    element("td", { textContent: `${tap.note} ${signed(tap.cents)}` }),
    element("td", { className: "number", textContent: fixed(tap.decay_s, 2) }),
    element("td", { className: "number", textContent: fixed(tap.q, 0) }),
    element("td", {}, select),
    element("td", { className: "number" }, ...(tap.predicted_hz === null ? [] : [element("span", { className: "predicted", textContent: tap.predicted_hz.toFixed(1) })])),
    element("td", { className: "number", textContent: tap.off_cents === null ? "" : `${signed(tap.off_cents)} cents` }),
    element("td", {}, element("div", { className: "row taps-acts" }, element("span", { textContent: remark }), ...(tap.by_hand ? [back] : isDoubtful ? [accept] : []))),
  );
}

/**
 * The changes that pair a tap with a mode, and take that mode from any other tap.
 * @param {object[]} taps
 * @param {object} tap
 * @param {number} mode 0 for none
 */
export function pairChanges(taps, tap, mode) {
  const changes = { [tap.key]: { mode, hz: tap.hz } };
  for (const other of taps) if (other !== tap && mode && other.mode === mode) changes[other.key] = { mode: 0, hz: other.hz };
  return changes;
}

function signed(cents) {
  const whole = Math.round(cents);
  return `${whole < 0 ? "\u2212" : "+"}${Math.abs(whole)}`;
}
