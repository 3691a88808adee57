// Plan: targets, one pass as a cut list for the bench, its template, and what was really cut.

import { button, element } from "./notices.js";
import { targetsSheet } from "./plan-targets.js";

const MAKE = "plan/make";
const CUT = "plan/cut";
const KEYS = ["from_mm", "to_mm", "depth_from_mm", "depth_to_mm"];

/** @param {HTMLElement} place */
export function mount(place, bench) {
  const view = { bench, state: null, isShown: false, tasks: {}, failed: {}, paper: "A4" };
  const targets = targetsSheet(view);
  const make = makeSheet(view);
  const list = element("section", { className: "sheet plan-list" });
  const expected = element("section", { className: "sheet" });
  const template = templateSheet(view);
  const really = reallySheet(view);
  const pictures = element("section", { className: "sheet plan-pictures" });
  place.append(
    element("div", { className: "columns plan-first" }, targets.sheet, make.sheet),
    list,
    element("div", { className: "columns" }, expected, template.sheet),
    really.sheet,
    pictures,
  );

  async function look() {
    if (!bench.isOpen) return;
    try {
      view.state = await bench.ask({ ask: "plan/state" });
    } catch (error) {
      view.state = null;
      make.trouble(error.message);
      targets.draw();
      for (const sheet of [list, expected, pictures, really.sheet, template.sheet]) sheet.hidden = true;
      return;
    }
    draw();
  }

  function draw() {
    targets.draw();
    make.draw();
    drawList(list, view);
    drawExpected(expected, view);
    template.draw();
    really.draw();
    drawPictures(pictures, view);
  }

  let waiting = 0;
  function soon() {
    clearTimeout(waiting);
    waiting = setTimeout(() => view.isShown && look(), 80);
  }

  bench.on("document", () => {
    if (!view.isShown) return;
    if (view.state) draw();
    soon();
  });
  bench.on("units", () => view.isShown && view.state && draw());
  bench.on("connection", soon);
  bench.on("task", (task) => {
    if (task.name !== MAKE && task.name !== CUT) return;
    const isOver = task.state !== "running" && task.state !== "waiting";
    view.tasks[task.name] = isOver ? null : task;
    view.failed[task.name] = task.state === "failed" ? task.error : "";
    if (!view.isShown) return;
    make.draw();
    if (!isOver) return;
    if (task.state === "done") bench.announce(task.name === MAKE ? "The plan is made" : "The pass is recorded");
    look();
  });
  return {
    show() {
      view.isShown = true;
      look();
    },
    hide() {
      view.isShown = false;
    },
  };
}

// Making it

function makeSheet(view) {
  const { bench } = view;
  const go = button("Make the plan", start, "first");
  const said = element("div", { className: "plan-said" });
  const sheet = element("section", { className: "sheet" }, element("h2", { textContent: "One pass" }), element("p", { className: "quiet", textContent: "All braces are planned together, never more than one pass ahead: cut, tap, and plan again." }), go, said);

  async function start() {
    go.disabled = true;
    try {
      await bench.ask({ ask: MAKE });
    } catch (error) {
      bench.toast(error.message);
      draw();
    }
  }

  function draw() {
    const { state, tasks, failed } = view;
    if (!state) return;
    const task = tasks[MAKE];
    const hasTargets = (bench.value("target") ?? []).length > 0;
    go.disabled = Boolean(task) || !hasTargets || state.must_tap;
    go.textContent = state.plan ? "Make the plan again" : "Make the plan";
    const lines = [];
    if (state.recorded && state.recorded.pass === state.pass - 1) lines.push(["", `Pass ${state.recorded.pass} is recorded: ${state.recorded.grams.toFixed(2)} g are off.`]);
    if (state.must_tap) lines.push(["warn", `Pass ${state.pass - 1} was cut and not tapped since. Tap it first, then plan pass ${state.pass}.`, ["Go to the taps", () => bench.go("taps")]]);
    else if (!state.has_taps) lines.push(["", "The top has not been tapped; the plan rests on the drawing alone and will be small.", ["Go to the taps", () => bench.go("taps")]]);
    if (!hasTargets) lines.push(["", "A plan needs at least one target."]);
    if (state.is_other_draft) lines.push(["", "The draft changes more than targets; the plan is of the drawing as it is saved."]);
    if (task) lines.push(["", task.state === "waiting" ? "Waiting for other work" : `${task.stage || "beginning"} ...`]);
    if (failed[MAKE]) lines.push(["warn", failed[MAKE]]);
    if (state.is_old && !task) lines.push(["warn", "Targets, taps or pairs have changed since this plan was made. Make it again before you cut."]);
    if (state.plan) {
      lines.push(["", state.plan.state]);
      for (const words of state.plan.notes) lines.push(["", words]);
      for (const words of state.plan.unreachable) lines.push(["warn", `Not reached by taking wood off: ${words}`]);
    }
    say(said, lines);
  }

  return { sheet, draw, trouble: (words) => say(said, [["warn", words]]) };
}

function say(place, lines) {
  const look = JSON.stringify(lines.map(([kind, words]) => [kind, words]));
  if (place.dataset.look === look) return;
  place.dataset.look = look;
  place.replaceChildren(...lines.map(([kind, words, act]) => element("div", { className: `notice ${kind}` }, element("p", { textContent: words }), ...(act ? [button(...act)] : []))));
}

// The list for the bench

function drawList(place, view) {
  const { bench, state } = view;
  const { plan, pass } = state;
  place.hidden = !plan || !plan.cuts.length;
  if (place.hidden) return;
  const focused = place.contains(document.activeElement) ? document.activeElement.id : "";
  const done = bench.under("done");
  const rows = plan.cuts.map((cut, k) => {
    const words = cutWords(cut);
    const key = `done/${pass}/${k}`;
    const isDone = done[`${pass}/${k}`] === words;
    const box = element("input", { type: "checkbox", id: `plan-done-${k}`, checked: isDone });
    box.addEventListener("change", () => bench.change(key, box.checked ? words : null));
    const isRing = cut.brace === state.ring_name;
    return element(
      "li",
      { className: isDone ? "is-done" : "" },
      element("label", { htmlFor: box.id }, box, element("span", { className: "plan-brace", textContent: cut.brace })),
      element("span", { className: "plan-stretch" }, ...(isRing ? ["all round"] : [element("span", { className: "plan-small", textContent: "from " }), shown(bench, cut.from_mm), element("span", { className: "plan-small", textContent: " to " }), shown(bench, cut.to_mm)])),
      element("span", { className: "plan-depth", textContent: depthWords(bench, cut) }),
      element("span", { className: "plan-grams", textContent: `${cut.grams.toFixed(2)} g` }),
    );
  });
  const n = plan.cuts.filter((cut, k) => done[`${pass}/${k}`] === cutWords(cut)).length;
  place.replaceChildren(
    element("div", { className: "row plan-head" }, element("h2", { textContent: `Cut list of pass ${pass}` }), element("span", { className: "quiet", textContent: `${plan.grams.toFixed(2)} g in all; ${n} of ${rows.length} done` })),
    element("ol", { className: "plan-cuts" }, ...rows),
    element("p", { className: "quiet", textContent: "Distances run along the brace from its first end, depths off its free side, sloping evenly where two are given." }),
    element("div", { className: "notice warn plan-stop" }, element("div", {}, ...plan.stop.map((words) => element("p", { textContent: words })))),
    element("ul", { className: "plan-cautions" }, ...plan.cautions.map((words) => element("li", { textContent: words }))),
  );
  if (focused) document.getElementById(focused)?.focus();
}

/** A line of the cut list as it is kept with its tick, so that a tick does not outlive its line. */
export function cutWords(cut) {
  return [cut.brace, ...KEYS.map((key) => cut[key])].join(" ");
}

function shown(bench, mm) {
  return bench.length(mm, Math.abs(mm - Math.round(mm)) < 0.05 ? 0 : 1);
}

/** Depth to a tenth of a millimetre, or finer where the cut is. */
function depthWords(bench, cut) {
  const digits = [cut.depth_from_mm, cut.depth_to_mm].every((mm) => Math.abs(10 * mm - Math.round(10 * mm)) < 0.05) ? 1 : 2;
  const [first, last] = [cut.depth_from_mm, cut.depth_to_mm].map((mm) => bench.length(mm, digits));
  return first === last ? `${first} deep` : `${first.split(" ")[0]} to ${last} deep`;
}

function drawExpected(place, view) {
  const { state } = view;
  const { plan } = state;
  place.hidden = !plan || !plan.cuts.length;
  if (place.hidden) return;
  const wanted = new Set(plan.targets.map((row) => row.mode));
  const table = element("table", {}, element("caption", { className: "unseen", textContent: "What the re-tap should show" }));
  table.append(element("thead", {}, element("tr", {}, ...["mode", "now Hz", "then Hz", "95 % between"].map((words, k) => element("th", { scope: "col", className: k ? "number" : "", textContent: words })))));
  table.append(
    element(
      "tbody",
      {},
      ...plan.expected.map((row) =>
        element(
          "tr",
          {},
          element("th", { scope: "row" }, element("span", { className: wanted.has(row.mode) ? "target" : "", textContent: row.mode })),
          element("td", { className: "number", textContent: row.now_hz.toFixed(1) }),
          element("td", { className: "number" }, element("span", { className: "predicted", textContent: row.hz.toFixed(1) })),
          element("td", { className: "number", textContent: `${row.low_hz.toFixed(1)} to ${row.high_hz.toFixed(1)}` }),
        ),
      ),
    ),
  );
  place.replaceChildren(
    element("h2", { textContent: "What the re-tap should show" }),
    element("div", { className: "scroll", tabIndex: 0, role: "region", ariaLabel: "Table of expected frequencies" }, table),
    element("h3", { textContent: "Targets" }),
    element("ul", {}, ...plan.targets.map((row) => element("li", { textContent: `Mode ${row.mode} ${row.wish}: ${row.now} now, ${row.after} after this pass (chance ${Math.round(100 * row.in_band_after)} %)` }))),
  );
}

// The template

function templateSheet(view) {
  const { bench } = view;
  const paper = element("select", { id: "plan-paper" });
  const pdf = element("a", { className: "button", target: "_blank", rel: "noopener", textContent: "Open the template to print" });
  const sheets = element("ul", { className: "plan-sheets" });
  const inner = element("details", {}, element("summary", { textContent: "Single sheets (SVG)" }), sheets);
  const sheet = element(
    "section",
    { className: "sheet" },
    element("h2", { textContent: "Template at full size" }),
    element("p", { textContent: "Print at 100 % (actual size), without fitting to the page, and measure the bar on each sheet: it must be 100 mm long." }),
    element("p", { className: "row" }, element("label", { htmlFor: "plan-paper", textContent: "Paper" }), paper, pdf),
    inner,
  );
  paper.addEventListener("change", () => {
    view.paper = paper.value;
    draw();
    if (inner.open) list();
  });
  inner.addEventListener("toggle", () => inner.open && list());

  async function list() {
    try {
      const found = await bench.ask({ ask: "plan/sheets", paper: view.paper });
      sheets.replaceChildren(...found.sheets.map((title, k) => element("li", {}, element("a", { href: bench.address(`plan/template.svg?paper=${view.paper}&sheet=${k + 1}`), textContent: `${k + 1}: ${title}` }))));
    } catch (error) {
      sheets.replaceChildren(element("li", { textContent: error.message }));
    }
  }

  function draw() {
    const { papers, plan } = view.state;
    sheet.hidden = false;
    if (!paper.options.length) paper.append(...papers.map((value) => element("option", { value, textContent: value })));
    paper.value = view.paper;
    pdf.href = bench.address(`plan/template.pdf?paper=${view.paper}`);
    pdf.textContent = plan?.cuts.length ? "Open the template to print" : "Open the top as it is to print";
  }

  return { sheet, draw };
}

// What was really cut

function reallySheet(view) {
  const { bench } = view;
  const body = element("div", { className: "plan-really" });
  const title = element("h2");
  const keep = button("", record, "first");
  const more = button("Another cut", () => write([...current(), { brace: view.state.braces[0].name, from_mm: null, to_mm: null, depth_from_mm: null, depth_to_mm: null }]));
  const same = button("As planned", () => bench.change(`really/${view.state.pass}`, null));
  const said = element("div", { role: "status" });
  const sheet = element(
    "section",
    { className: "sheet" },
    title,
    element("p", { className: "quiet", textContent: "Change what came out otherwise than planned. What you enter is kept; the pass counts once it is recorded, and is never written over." }),
    body,
    element("div", { className: "row" }, more, same, keep),
    said,
  );

  function planned() {
    return (view.state.plan?.cuts ?? []).map((cut) => Object.fromEntries(["brace", ...KEYS].map((key) => [key, cut[key]])));
  }

  function current() {
    return bench.value(`really/${view.state.pass}`) ?? planned();
  }

  function write(rows) {
    bench.change(`really/${view.state.pass}`, rows);
  }

  async function record() {
    const rows = current();
    const { pass } = view.state;
    const facts = rows.map((row) => [row.brace, row.brace === view.state.ring_name ? `all round, ${bench.length(row.depth_from_mm ?? NaN, 2)} deep` : `${number(bench, row.from_mm)} to ${number(bench, row.to_mm)}, ${number(bench, row.depth_from_mm)} to ${number(bench, row.depth_to_mm ?? row.depth_from_mm)} deep`]);
    const chosen = await bench.choose(`Record pass ${pass} as cut?`, facts, [["Not yet", false], [`Record pass ${pass}`, true]]);
    if (!chosen) return;
    try {
      await bench.ask({ ask: CUT, pass, rows });
    } catch (error) {
      bench.toast(error.message);
    }
  }

  function draw() {
    const { state, tasks, failed } = view;
    sheet.hidden = state.must_tap;
    if (sheet.hidden) return;
    const rows = current();
    title.textContent = `What was really cut in pass ${state.pass}`;
    keep.textContent = `Record pass ${state.pass}`;
    keep.disabled = !rows.length || Boolean(tasks[CUT]);
    same.hidden = !state.plan?.cuts.length;
    same.disabled = bench.value(`really/${state.pass}`) === null;
    say(said, failed[CUT] ? [["warn", failed[CUT]]] : []);
    const look = JSON.stringify([rows, state.pass, bench.units, state.braces]);
    if (body.dataset.look === look) return;
    body.dataset.look = look;
    const focused = body.contains(document.activeElement) ? document.activeElement.id : "";
    body.replaceChildren(...rows.map((row, k) => reallyRow(view, rows, row, k, write)));
    if (!rows.length) body.append(element("p", { className: "quiet", textContent: "Nothing is entered." }));
    if (focused) document.getElementById(focused)?.focus();
  }

  return { sheet, draw };
}

function reallyRow(view, rows, row, k, write) {
  const { bench, state } = view;
  const changed = (key, value) => write(rows.map((other, at) => (at === k ? { ...other, [key]: value } : other)));
  const brace = element("select", { id: `plan-really-${k}-brace` });
  const names = [...state.braces.map((one) => one.name), ...(state.has_ring ? [state.ring_name] : [])];
  brace.append(...(names.includes(row.brace) ? names : [row.brace, ...names]).map((name) => element("option", { value: name, textContent: name })));
  brace.value = row.brace;
  const isRing = row.brace === state.ring_name;
  brace.addEventListener("change", () => {
    const toRing = brace.value === state.ring_name;
    write(rows.map((other, at) => (at !== k ? other : { ...other, brace: brace.value, ...(toRing ? { from_mm: 0, to_mm: 0, depth_to_mm: null } : {}) })));
  });
  const words = { from_mm: "from", to_mm: "to", depth_from_mm: "depth", depth_to_mm: "depth at the end" };
  const fields = KEYS.filter((key) => !isRing || key === "depth_from_mm").map((key) => {
    const input = element("input", { id: `plan-really-${k}-${key}`, inputMode: "decimal", autocomplete: "off", value: row[key] === null ? "" : plainLength(bench, row[key]) });
    input.addEventListener("change", () => {
      const mm = input.value.trim() ? bench.millimetres(input.value) : null;
      const isWrong = mm !== null && !(mm >= 0 && mm <= 3000);
      input.toggleAttribute("aria-invalid", isWrong);
      if (isWrong) bench.toast(`${words[key]}: must be a length from 0.`);
      else changed(key, mm === null ? null : Math.round(1e4 * mm) / 1e4);
    });
    return element("p", {}, element("label", { htmlFor: input.id, textContent: `${words[key]}, ${bench.units}` }), input);
  });
  const out = button("Remove", () => write(rows.filter((_, at) => at !== k)));
  out.setAttribute("aria-label", `Remove cut ${k + 1}, ${row.brace}`);
  return element("fieldset", { className: "plan-row" }, element("legend", { textContent: `Cut ${k + 1}` }), element("p", {}, element("label", { htmlFor: brace.id, textContent: "brace" }), brace), ...fields, out);
}

function plainLength(bench, mm) {
  const text = bench.length(mm, 2).split(" ")[0];
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

function number(bench, mm) {
  return mm === null ? "?" : bench.length(mm, 2);
}

function drawPictures(place, view) {
  const { bench, state } = view;
  place.hidden = !state.pictures.length;
  const look = JSON.stringify(state.pictures);
  if (place.dataset.look === look) return;
  place.dataset.look = look;
  place.replaceChildren(
    element("h2", { textContent: "Pictures of the pass" }),
    element("div", { className: "plan-shown" }, ...state.pictures.map((one) => element("figure", {}, element("img", { src: `${bench.file(one.file)}?${one.version}`, alt: one.words, loading: "lazy" }), element("figcaption", { textContent: one.words })))),
  );
}
