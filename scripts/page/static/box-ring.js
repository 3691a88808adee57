// The ring: a slider thins it and all coupled modes answer; below, the next safe pass.

import { figures, fixed, heading, list, paragraph, picture, signed, table } from "./box-parts.js";
import { element } from "./notices.js";

const STEP = 0.01;
const NAMES = { air: "Air", top: "Top", "top blocked": "Top, hole blocked" };

/** @param {(fields: object) => Promise<object | undefined>} ask the newest question alone, see bench.latest */
export function drawRing(bench, ask, deepest, body, told, pictures) {
  const slider = element("input", { type: "range", id: "box-depth", min: 0, max: deepest, step: STEP, value: 0 });
  const taken = element("output", { htmlFor: "box-depth" });
  const tracks = element("div", { className: "tracks" });
  const apart = paragraph("", "apart");
  const live = element("div");
  const move = async () => {
    const depth = Number(slider.value);
    const words = bench.length(depth, 2);
    taken.textContent = words;
    slider.setAttribute("aria-valuetext", `${words} taken off`);
    try {
      const found = await ask({ depth_mm: depth });
      if (!found) return;
      tracks.replaceChildren(...found.notes.map((one) => track(one, told.widest_cents)));
      apart.textContent = `Top with the hole blocked and air: ${found.apart_cents.blocked.toFixed(0)} cents apart; top with the hole open and air: ${found.apart_cents.open.toFixed(0)}.`;
      live.replaceChildren(modeTable(bench, told.modes, found));
    } catch (error) {
      bench.toast(error.message);
    }
  };
  slider.addEventListener("input", move);
  const label = element("label", { htmlFor: "box-depth", textContent: "Taken off the ring, all round" });
  body.append(
    element("div", { className: "columns" }, picture(bench, pictures["ring-where"], ""),
      element("div", {}, label, element("div", { className: "row slide" }, slider, taken), tracks, apart,
        heading("Next safe pass"), ...nextPass(told))),
    figures(live, widths(bench, told.widths), sectors(told.sectors), paragraph(told.practice, "quiet"), told.next ? list(told.notes) : ""));
  move();
  return move;
}

/** One note: how far it falls from where it is now, on a scale of cents. */
function track({ note, now, hz, name, cents }, widest) {
  const at = (value) => `${(100 * (1 + value / Math.max(widest, 1))) * 0.92 + 4}%`;
  const start = element("span", { className: "start" });
  start.style.left = at(0);
  const end = element("span", { className: "end predicted" });
  end.style.left = at(Math.max(-widest, Math.min(cents, widest / 20)));
  const line = element("div", { className: "line" }, start, end);
  line.setAttribute("aria-hidden", "true");
  const words = Math.abs(hz - now) < 0.05 ? `${hz.toFixed(1)} Hz, ${name}` : `${now.toFixed(1)} \u2192 ${hz.toFixed(1)} Hz, ${name} (${signed(cents, 0)} cents)`;
  const made = element("div", { className: "track" }, element("strong", { textContent: NAMES[note] }), element("span", { className: "said", textContent: words }), line);
  made.dataset.note = note;
  made.dataset.hz = hz;
  return made;
}

function nextPass(told) {
  if (!told.next) return [paragraph(sentence(told.in_words)), list(told.notes)];
  return [paragraph(told.next, "pass"), paragraph(told.stop), paragraph(sentence(told.in_words), "quiet"), list([...told.would_help, ...told.cautions])];
}

function sentence(words) {
  return `${words[0].toUpperCase()}${words.slice(1)}.`;
}

function modeTable(bench, rows, found) {
  const at = bench.length(found.depth_mm, 2);
  const per = bench.length(0.01, 2);
  return table("What a thinner ring does to each mode", ["Mode", "Hole", "What it is", "Hz now", `Hz per ${per}`, `Hz at ${at}`, "T60 s"], rows.map((row) => [
    String(row.mode), row.hole, row.name, row.hz.toFixed(1), signed(row.hz_per_hundredth, 3), fixed(found.modes[row.hole][row.mode - 1], 1), fixed(row.t60_s, 2)]));
}

function widths(bench, rows) {
  return table("Rings of other widths", ["Width of the ring", `Hz per ${bench.length(0.01, 2)}, top blocked`, "Grams"], rows.map((row) => [
    bench.length(row.width_mm, 0), signed(row.hz_per_hundredth, 3), row.grams_per_hundredth.toFixed(2)]));
}

function sectors(rows) {
  return table("Where along the rim", ["Sixteenth of the rim", "Part of what the ring does", "Part of its wood"], rows.map((row) => [
    `${row.sector}, ${row.where}`, `${(100 * row.share).toFixed(0)} %`, `${(100 * row.share_of_area).toFixed(0)} %`]));
}
