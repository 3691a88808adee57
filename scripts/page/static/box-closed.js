// The closed box: its coupled modes as a strip of pictures, what is heard of it, and how long each note sounds.

import { bars, figures, fixed, heading, list, paragraph, picture, scrolled, signed, table } from "./box-parts.js";
import { element } from "./notices.js";

export function drawClosed(bench, body, told, pictures) {
  body.append(paragraph(told.facts, "quiet"), heading("How top, air and back move together"), ...modes(bench, told.modes, pictures),
    heading("At the bridge, and one metre in front"),
    element("div", { className: "columns" }, ...["box-admittance", "box-sound"].map((name) => picture(bench, pictures[name]))),
    heading("What is said of it"), voice(told.voice), heading("Where the power goes"), bars(told.power));
  if (told.map) body.append(heading("How long each note sounds"), ...sustain(told.map));
  body.append(figures(modeTable(told.modes), element("pre", { textContent: told.lumped.join("\n"), tabIndex: 0 }), list(told.notes)));
}

function modes(bench, rows, pictures) {
  const chosen = element("div", { className: "chosen" });
  const buttons = rows.map((row) => {
    const small = pictures[`${pictureOf(row)}-small`];
    const made = element("button", { type: "button", className: "mode" },
      element("img", { width: small.width, height: small.height, src: bench.address(small.address), alt: "", loading: "lazy" }),
      element("span", { textContent: `${row.mode}: ${row.hz.toFixed(1)} Hz` }), element("span", { className: "name", textContent: row.name }));
    made.addEventListener("click", () => choose(row));
    return made;
  });
  const choose = (row) => {
    buttons.forEach((one, k) => one.setAttribute("aria-pressed", String(rows[k] === row)));
    chosen.replaceChildren(picture(bench, pictures[pictureOf(row)]), modeFacts(row));
  };
  choose(rows[0]);
  return [scrolled("Coupled modes; choose one", element("div", { className: "strip" }, ...buttons)), chosen];
}

function pictureOf({ mode }) {
  return `box-mode-${String(mode).padStart(2, "0")}`;
}

function modeFacts(row) {
  const facts = [["Frequency", `${row.hz.toFixed(1)} Hz`], ["Note", `${row.note} ${signed(row.cents, 0)} cents`], ["Q", row.q.toFixed(0)], ["Rings for (T60)", `${row.t60_s.toFixed(2)} s`]];
  const made = element("div", { className: "facts" },
    element("h4", { textContent: `Mode ${row.mode}: ${row.name}` }),
    element("dl", { className: "pairs" }, ...facts.map(([term, text]) => element("div", {}, element("dt", { textContent: term }), element("dd", { textContent: text })))),
    element("h4", { textContent: "Who moves" }), bars(Object.entries(row.moves)),
    element("h4", { textContent: "What takes its energy" }), bars(Object.entries(row.loses)));
  made.setAttribute("aria-live", "polite");
  return made;
}

function voice(words) {
  return element("dl", { className: "voice" }, ...words.map(({ name, value, unit, sentence }) => element("div", {},
    element("dt", { textContent: name }), element("dd", { className: "figure", textContent: `${value} ${unit}` }), element("dd", { className: "quiet", textContent: sentence }))));
}

/** The fingerboard: a button a note, darker wood for longer notes; the chosen one says its figures. */
function sustain({ strings, words }) {
  const said = element("div", { className: "note-said" });
  said.setAttribute("role", "status");
  let pressed = null;
  const rows = strings.map(({ name, cells }) => element("tr", {}, element("th", { scope: "row", textContent: name }), ...cells.map((one, fret) => {
    const made = element("button", { type: "button", className: `note ${one.marks.length ? "weak" : ""}` },
      element("span", { textContent: one.note }), element("span", { textContent: seconds(one.t60_s) }));
    made.dataset.shade = one.shade;
    made.setAttribute("aria-pressed", "false");
    made.setAttribute("aria-label", `${one.note}, ${where(name, fret)}, ${seconds(one.t60_s)} s${one.marks.length ? `, ${one.marks.join(", ")}` : ""}`);
    made.addEventListener("click", () => {
      pressed?.setAttribute("aria-pressed", "false");
      pressed = made;
      made.setAttribute("aria-pressed", "true");
      said.textContent = noteLine(name, fret, one);
    });
    return element("td", {}, made);
  })));
  const head = element("tr", {}, element("td"), ...strings[0].cells.map((_, fret) => element("th", { scope: "col", textContent: fret ? String(fret) : "open" })));
  said.textContent = "Choose a note to read its figures.";
  const grid = element("table", { className: "board" }, element("thead", {}, head), element("tbody", {}, ...rows));
  return [scrolled("Decay time of every note", grid), said,
    paragraph("Seconds to fall by 60 dB; darker wood sounds longer, underlined notes are weak or wolves.", "quiet"), list(words, "")];
}

function where(string, fret) {
  return fret ? `fret ${fret} of the ${string} string` : `open ${string} string`;
}

function seconds(value) {
  return value < 1 ? value.toFixed(2) : value < 9.95 ? value.toFixed(1) : value.toFixed(0);
}

export function noteLine(string, fret, one) {
  const said = [`${one.note}, ${where(string, fret)}: ${one.hz.toFixed(1)} Hz`, `falls by 60 dB in ${seconds(one.t60_s)} s, at the rate of the first 10 dB in ${seconds(one.early_s)} s`,
    `${one.part.toFixed(2)} of the time of the notes beside it`];
  if (one.level_db !== null) said.push(`${one.level_db.toFixed(0)} dB`);
  if (one.body_hz !== null) said.push(`the body at ${one.body_hz.toFixed(0)} Hz takes most of it`);
  if (one.split_hz > 0) said.push(`splits by ${one.split_hz.toFixed(1)} Hz and beats`);
  if (one.marks.length) said.push(one.marks.map((mark) => ({ wolf: "a wolf", short: "short", soft: "soft" })[mark]).join(", "));
  return `${said.join("; ")}.`;
}

function modeTable(rows) {
  const movers = Object.keys(rows[0].moves);
  const losses = Object.keys(rows[0].loses);
  const percent = (share) => `${Math.round(100 * share)} %`;
  const head = ["Mode", "What it is", "Hz", "Note", "Q", "T60 s", "At the bridge, dB re 1 s/kg", "In front, dB re 20 µPa/N", ...movers.map((name) => `${name} moves`), ...losses.map((name) => `lost to ${name}`)];
  return table("Figures of all modes", head, rows.map((row) => [String(row.mode), row.name, row.hz.toFixed(1), `${row.note} ${signed(row.cents, 0)}`, row.q.toFixed(0), row.t60_s.toFixed(2),
    fixed(row.admittance_db, 1), fixed(row.pressure_db, 1), ...movers.map((name) => percent(row.moves[name])), ...losses.map((name) => percent(row.loses[name]))]));
}
