// Targets of a plan: [[target]] of the drawing in words, and the form that writes one.

import { button, element } from "./notices.js";

const NOTE = /^[A-Ga-g][#b]?-?\d$/;
const STEPS = { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 };
const NAMES = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"];

/** What can be wanted of a mode: words for it, and the fields that tell it. */
export const KINDS = {
  note: { words: "stand at a note", fields: ["note", "cents", "tolerance_percent"] },
  hz: { words: "stand at a frequency", fields: ["hz", "tolerance_percent"] },
  interval: { words: "keep an interval to another mode", fields: ["ratio_to_mode", "cents", "tolerance_percent"] },
  away: { words: "stay away from a note", fields: ["away_from", "at_least_cents"] },
  leave: { words: "be left alone", fields: ["keep_within_cents"] },
  ring: { words: "ring at least", fields: ["sustain_s"] },
};

const FIELDS = {
  note: { label: "Note, such as F#3", kind: "note" },
  away_from: { label: "Note, such as A3", kind: "note" },
  cents: { label: "Cents", low: -1200, high: 1200, usual: "0" },
  hz: { label: "Hz", low: 20, high: 20_000 },
  tolerance_percent: { label: "Band, %", low: 0.01, high: 10, usual: "1" },
  ratio_to_mode: { label: "Above mode", low: 1, high: 200, isWhole: true },
  at_least_cents: { label: "At least, cents", low: 1, high: 600, usual: "50" },
  keep_within_cents: { label: "Within, cents", low: 1, high: 600, usual: "20" },
  sustain_s: { label: "Seconds", low: 0.01, high: 60 },
};

/** Which kind a target is. */
export function kindOf(target) {
  if (target.hz !== undefined) return "hz";
  if (target.note !== undefined) return "note";
  if (target.ratio_to_mode !== undefined) return "interval";
  if (target.away_from !== undefined) return "away";
  return target.keep_within_cents !== undefined ? "leave" : "ring";
}

/** A target in words. */
export function targetWords(target) {
  const off = target.cents ? ` ${target.cents > 0 ? "+" : "\u2212"}${Math.abs(target.cents)} cents` : "";
  const hz = target.note ? noteFrequency(target.note, target.cents ?? 0) : null;
  const words = {
    hz: () => `at ${target.hz} Hz (${noteWords(target.hz)})`,
    note: () => `at ${target.note}${off}${hz ? ` (${hz.toFixed(1)} Hz)` : ""}`,
    interval: () => (target.ratio === undefined ? `${target.cents ?? 0} cents above mode ${target.ratio_to_mode}` : `at ${target.ratio} times mode ${target.ratio_to_mode}`),
    away: () => `at least ${target.at_least_cents} cents away from ${target.away_from}`,
    leave: () => `left alone, within ${target.keep_within_cents} cents`,
    ring: () => `ringing ${target.sustain_s} s or longer`,
  };
  return words[kindOf(target)]();
}

/**
 * Frequency of a note in equal temperament with A4 at 440 Hz, null if it is none.
 * @param {string} note
 * @param {number} [cents]
 */
export function noteFrequency(note, cents = 0) {
  if (!NOTE.test(note.trim())) return null;
  const [letter, ...rest] = note.trim();
  const sign = rest[0] === "#" ? 1 : rest[0] === "b" ? -1 : 0;
  const octave = Number(rest.slice(sign ? 1 : 0).join(""));
  const steps = STEPS[letter.toUpperCase()] + sign + 12 * (octave - 4) - 9;
  return 440 * 2 ** ((steps + cents / 100) / 12);
}

/** The nearest note of a frequency and the cents from it. */
export function noteWords(hz) {
  const steps = 12 * Math.log2(hz / 440) + 57;
  const nearest = Math.round(steps);
  const cents = Math.round(100 * (steps - nearest));
  const name = `${NAMES[((nearest % 12) + 12) % 12]}${Math.floor(nearest / 12)}`;
  return cents ? `${name} ${cents > 0 ? "+" : "\u2212"}${Math.abs(cents)}` : name;
}

/**
 * The list of targets with its form.
 * @param {object} view with bench, and state once it is known
 */
export function targetsSheet(view) {
  const { bench } = view;
  const list = element("ul", { className: "plan-targets" });
  const mode = element("select", { id: "plan-mode" });
  const kind = element("select", { id: "plan-kind" }, ...Object.entries(KINDS).map(([value, { words }]) => element("option", { value, textContent: words })));
  const weight = element("select", { id: "plan-weight" }, element("option", { value: "must", textContent: "must" }), element("option", { value: "want", textContent: "wanted" }));
  const fields = element("div", { className: "plan-fields" });
  const keep = button("Add the target", write, "first");
  const drop = button("Do not change it", () => edit(null));
  const form = element(
    "fieldset",
    { className: "plan-form" },
    element("legend", { textContent: "A target" }),
    element("div", { className: "plan-fields plan-who" }, labelled("Mode", mode), labelled("should", kind), labelled("This", weight)),
    fields,
    element("div", { className: "row" }, keep, drop),
  );
  const sheet = element("section", { className: "sheet" }, element("h2", { textContent: "Where the modes should go" }), list, form);
  let edited = null;
  let inputs = new Map();

  kind.addEventListener("change", () => drawFields({}));

  function drawFields(told) {
    const target = told.ratio === undefined ? told : { ...told, cents: Math.round(12_000 * Math.log2(told.ratio)) / 10 };
    inputs = new Map(KINDS[kind.value].fields.map((name) => {
      const { kind: type, usual = "" } = FIELDS[name];
      const input = element("input", { id: `plan-${name}`, autocomplete: "off", inputMode: type === "note" ? "text" : "decimal", value: target[name] ?? usual });
      return [name, input];
    }));
    fields.replaceChildren(...[...inputs].map(([name, input]) => labelled(FIELDS[name].label, input)));
  }

  function edit(index) {
    edited = index;
    const target = index === null ? {} : (bench.value("target") ?? [])[index];
    kind.value = index === null ? kind.value : kindOf(target);
    if (index !== null) {
      mode.value = String(target.mode);
      weight.value = target.weight ?? "must";
    }
    drawFields(target);
    keep.textContent = index === null ? "Add the target" : "Change the target";
    drop.hidden = index === null;
    if (index !== null) mode.focus();
  }

  function write() {
    const target = { mode: Number(mode.value) };
    for (const [name, input] of inputs) {
      const found = readField(name, input.value);
      input.toggleAttribute("aria-invalid", found === undefined);
      if (found === undefined) {
        input.focus();
        bench.toast(fieldHelp(name));
        return;
      }
      if (found !== null) target[name] = found;
    }
    if (weight.value === "want") target.weight = "want";
    if (kind.value === "interval" && target.cents === undefined) target.cents = 0;
    const targets = [...(bench.value("target") ?? [])];
    const at = edited ?? targets.length;
    targets[at] = target;
    bench.change("target", targets);
    bench.announce(`Target kept: mode ${target.mode} ${targetWords(target)}`);
    edit(null);
  }

  function draw() {
    const targets = bench.value("target") ?? [];
    if (edited !== null && !targets[edited]) edit(null);
    const known = view.state?.modes ?? [];
    const was = mode.value;
    const most = Math.max(12, ...targets.map((one) => one.mode));
    mode.replaceChildren(...Array.from({ length: most }, (_, k) => element("option", { value: k + 1, textContent: modeWords(known, k + 1) })));
    mode.value = was || "1";
    const focused = list.contains(document.activeElement);
    list.replaceChildren(...targets.map((target, k) => targetRow(bench, known, target, () => edit(k), () => bench.change("target", targets.length > 1 ? targets.filter((_, at) => at !== k) : null))));
    if (focused) keep.focus();
    if (!targets.length) list.append(element("li", { className: "quiet", textContent: "No target yet: say below where a mode should stand." }));
  }

  drop.hidden = true;
  drawFields({});
  return { sheet, draw };
}

function targetRow(bench, known, target, change, remove) {
  const about = `mode ${target.mode} ${targetWords(target)}`;
  const now = known.find((one) => one.mode === target.mode);
  const changing = button("Change", change);
  const removing = button("Remove", remove);
  changing.setAttribute("aria-label", `Change: ${about}`);
  removing.setAttribute("aria-label", `Remove: ${about}`);
  return element(
    "li",
    {},
    element(
      "div",
      {},
      element("span", { className: "target", textContent: `Mode ${target.mode} ${targetWords(target)}` }),
      element("span", { className: "quiet plan-now", textContent: `${target.weight === "want" ? "wanted" : "must"}${now ? `; now ${now.hz.toFixed(1)} Hz, ${noteWords(now.hz)}${now.is_tapped ? "" : " by the model"}` : ""}` }),
    ),
    element("div", { className: "row" }, changing, removing),
  );
}

function modeWords(known, number) {
  const one = known.find((mode) => mode.mode === number);
  return one ? `${number}: ${one.hz.toFixed(0)} Hz, ${noteWords(one.hz)}${one.name ? `, ${one.name}` : ""}` : String(number);
}

/** Value of a field: null if it may stay empty and is, undefined if it cannot be used. */
export function readField(name, text) {
  const { kind, low, high, isWhole } = FIELDS[name];
  const trimmed = text.trim();
  if (kind === "note") return NOTE.test(trimmed) ? trimmed[0].toUpperCase() + trimmed.slice(1) : undefined;
  if (!trimmed && (name === "cents" || name === "tolerance_percent")) return null;
  const value = Number(trimmed.replace(",", ".").replace("\u2212", "-"));
  if (!trimmed || Number.isNaN(value) || value < low || value > high || (isWhole && !Number.isInteger(value))) return undefined;
  const isUsual = (name === "cents" && value === 0) || (name === "tolerance_percent" && value === 1);
  return isUsual ? null : value;
}

function fieldHelp(name) {
  const { label, kind, low, high } = FIELDS[name];
  return kind === "note" ? "A note is a letter A to G, # or b if needed, and the octave, like F#3." : `${label}: must be a number from ${low} to ${high}.`;
}

function labelled(words, input) {
  return element("p", {}, element("label", { htmlFor: input.id, textContent: words }), input);
}
