// Drawings of the taps: the top with the places that were tapped, waves with their hits, spectra with their peaks.

const NAMESPACE = "http://www.w3.org/2000/svg";

/** An SVG element with attributes and children. */
export function svg(tag, attributes = {}, ...children) {
  const made = document.createElementNS(NAMESPACE, tag);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

// From the inside with the neck up, x runs up and y to the right.
const path = (points) => `${points.map(([x, y], k) => `${k ? "L" : "M"}${round(y)} ${round(-x)}`).join("")}Z`;
const round = (value) => Math.round(10 * value) / 10;

/**
 * The top seen from the inside, neck up; a press on it gives the place.
 * @param {object} plan outline, holes, braces, patches in mm
 * @param {{at: number[], words: string, kind: string}[]} places
 * @param {(point: number[]) => void} pressed with x, y in mm
 */
export function topPicture(plan, places, pressed) {
  const [left, right] = extent(plan.outline.map((point) => point[1]));
  const [bottom, top] = extent(plan.outline.map((point) => point[0]));
  const rim = 0.03 * (top - bottom);
  const box = [left - rim, -top - rim, right - left + 2 * rim, top - bottom + 2 * rim];
  const size = (top - bottom) / 55;
  const drawing = svg("svg", { viewBox: box.map(round).join(" "), class: "taps-top", role: "img", "aria-label": `The top from the inside, neck up; ${places.length ? places.map((one) => one.words).join(", ") : "no place is marked"}` });
  drawing.append(
    svg("path", { class: "taps-wood", d: path(plan.outline) }),
    ...plan.patches.map((border) => svg("path", { class: "taps-patch", d: path(border) })),
    ...plan.braces.map((brace) => svg("path", { class: "taps-brace", d: path(brace.border) }, svg("title", {}, brace.name))),
    ...plan.holes.map((hole) => svg("path", { class: "taps-hole", d: path(hole) })),
    svg("path", { class: "taps-outline", d: path(plan.outline) }),
    ...places.map((place) => {
      const [x, y] = place.at;
      const group = svg("g", { class: `taps-place ${place.kind}` }, svg("title", {}, place.words));
      const shape = place.kind === "microphone" ? svg("rect", { x: y - size, y: -x - size, width: 2 * size, height: 2 * size }) : svg("circle", { cx: y, cy: -x, r: size });
      group.append(shape);
      return group;
    }),
  );
  drawing.addEventListener("click", (event) => {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(drawing.getScreenCTM().inverse());
    pressed([Math.round(-at.y), Math.round(at.x)]);
  });
  return drawing;
}

/** A recording over time, `wide` px: its loudness, and each hit with the part of its decay that is used. */
export function wavePicture(recording, wide) {
  const high = 110;
  const { wave, seconds, hits } = recording;
  const most = Math.max(...wave, 1e-6);
  const x = (time) => (wide * time) / seconds;
  const step = wide / wave.length;
  const upper = wave.map((value, k) => `${round(step * k)} ${round(high / 2 - (0.46 * high * value) / most)}`);
  const lower = wave.map((value, k) => `${round(step * k)} ${round(high / 2 + (0.46 * high * value) / most)}`).reverse();
  const words = `${recording.file}: ${seconds.toFixed(1)} s, ${hits.length} ${hits.length === 1 ? "hit" : "hits"} used, at ${hits.map((hit) => `${hit.at_s.toFixed(2)} s`).join(", ")}`;
  return svg(
    "svg",
    { viewBox: `0 0 ${wide} ${high + 22}`, class: "taps-wave", role: "img", "aria-label": words },
    ...hits.map((hit) => svg("rect", { class: "taps-decay", x: round(x(hit.from_s)), y: 0, width: round(Math.max(x(hit.to_s) - x(hit.from_s), 1)), height: high })),
    svg("path", { class: "taps-line", d: `M${upper.join("L")}L${lower.join("L")}Z` }),
    ...hits.map((hit, k) => svg("g", { class: "taps-hit" }, svg("line", { x1: x(hit.at_s), x2: x(hit.at_s), y1: 0, y2: high }), text(x(hit.at_s) + 4, 13, `${k + 1}`))),
    text(0, high + 17, "0 s"),
    text(wide, high + 17, `${seconds.toFixed(1)} s`, "end"),
  );
}

/** A recording's spectrum in dB, `wide` px, with the peaks taken for modes; their numbers are those of the table. */
export function spectrumPicture(recording, wide) {
  const high = 190;
  const { level, peaks } = recording;
  const [from, to] = recording.hz;
  const x = (hz) => (wide * (hz - from)) / (to - from);
  const y = (db) => 22 + ((high - 22) * Math.min(Math.max(-db, 0), 70)) / 70;
  const line = level.map((db, k) => `${round((wide * k) / (level.length - 1))} ${round(y(db))}`).join("L");
  const ticks = niceSteps(from, to, wide < 450 ? 4 : 6);
  const words = `${recording.file}: peaks at ${peaks.map((peak) => `${peak.hz.toFixed(1)} Hz`).join(", ")}`;
  return svg(
    "svg",
    { viewBox: `-2 0 ${wide + 4} ${high + 22}`, class: "taps-spectrum", role: "img", "aria-label": words },
    ...ticks.map((hz) => svg("line", { class: "taps-grid", x1: x(hz), x2: x(hz), y1: 22, y2: high })),
    ...ticks.map((hz, k) => text(x(hz), high + 17, k === ticks.length - 1 ? `${hz} Hz` : `${hz}`, x(hz) > wide - 30 ? "end" : x(hz) < 20 ? "start" : "middle")),
    svg("path", { class: "taps-curve", d: `M${line}` }),
    ...recording.steady_hz.map((hz) => svg("line", { class: "taps-hum", x1: x(hz), x2: x(hz), y1: 22, y2: high })),
    ...peaks.map((peak) => svg("g", { class: "taps-peak" }, svg("circle", { class: "measured", cx: x(peak.hz), cy: y(peak.level), r: 5 }), text(x(peak.hz), Math.max(y(peak.level) - 9, 13), `${peak.number}`, "middle"))),
  );
}

/** Steps of 1, 2 or 5 times a power of ten between two numbers, at most about as many as said. */
export function niceSteps(from, to, most = 6) {
  const rough = (to - from) / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * [1, 2, 5, 10].find((factor) => factor * power >= rough);
  const steps = [];
  for (let value = Math.ceil(from / step) * step; value <= to; value += step) steps.push(Math.round(value));
  return steps;
}

function text(x, y, words, anchor = "start") {
  return svg("text", { x: round(x), y, "text-anchor": anchor }, words);
}

function extent(values) {
  return [Math.min(...values), Math.max(...values)];
}
