// The page's frame: head, tabs, what is said, and the `bench` that every view is given.
//
// How a view joins: static/NAME.js exports
//
//     export function mount(element, bench) { ...; return { show() {}, hide() {} }; }   // both are optional
//
// `element` is the view's empty section (id "view-NAME"), mounted when its tab is first chosen; `show` is called each
// time it comes to the front, `hide` when it goes. static/NAME.css is loaded before, if there is one. No inline script
// or style: set element.style.x in script, or use classes (look.css has .sheet .columns .row .quiet .scroll .number
// .notice, button.first, and the marks .measured .predicted .target; marks.js draws the same in SVG).
//
//     bench.document             what the page holds, unsent changes included; replaced, never changed:
//                                {revision, tables (top.toml as drafted), drawing (as saved), values, is_drafted,
//                                 trouble (why the draft cannot be built, or null), outside, undo, redo}
//     bench.value(key)           what a key holds, null if nothing: bench.value("brace/x bass/stations_mm")
//     bench.under(head)          {rest of key: value}: bench.under("notes")
//     bench.change(key, value)   keep a change (null takes away); drawn at once, undone by the page's Undo. One change
//                                for one thing that the maker did: on release of a drag, not while it moves
//     bench.changes({key: value, ...})   several keys as one change
//     bench.ask({ask: "NAME/what", ...}) Promise of the answer of HANDLERS["NAME/what"]; rejects with one sentence
//     bench.latest(ask)          function like bench.ask that keeps one question in flight and drops all waiting ones but
//                                the newest (resolves undefined for those): for drags
//     bench.upload(what, file, fields)   Promise of what UPLOADS[what] returned; file is a File, or a Blob and a name
//     bench.on(event, act)       returns what ends it. Events: "document" (after every change, whoever made it),
//                                "task" ({name, number, words, state, progress, stage, error, revision, now}), "units",
//                                "theme", "connection", and whatever session.tell(event, ...) tells
//     bench.cancel(number)       stop a task
//     bench.units                "mm" | "in"; bench.length(mm, digits) -> text, bench.millimetres(text) -> mm or NaN
//     bench.isDark, bench.isStill (less motion is wanted)
//     bench.toast(text), bench.announce(text), bench.choose(title, facts, answers) (see notices.js)
//     bench.file(path)           address of a file of the case; bench.address(path) of a route
//     bench.go(name)             bring another view to the front

import { valueAt, withChanges } from "./draft.js";
import { announce, button, choose, element, toast } from "./notices.js";
import { openStore } from "./store.js";
import { makeTabs } from "./tabs.js";
import { length, millimetres } from "./units.js";

const PLACE = new URL(".", location.href).href;
const QUIET = 400;

class Bench {
  constructor() {
    this.listeners = new Map();
    this.told = null;
    this.drawn = null;
    this.heads = [];
    this.media = matchMedia("(prefers-color-scheme: dark)");
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
  }

  get document() {
    return this.drawn;
  }

  get units() {
    return this.drawn?.values.units ?? "mm";
  }

  get isDark() {
    const chosen = document.documentElement.dataset.theme;
    return chosen ? chosen === "dark" : this.media.matches;
  }

  get isStill() {
    return this.still.matches;
  }

  get isOpen() {
    return this.store.isOpen;
  }

  on(event, act) {
    const acts = this.listeners.get(event) ?? new Set();
    this.listeners.set(event, acts.add(act));
    return () => acts.delete(act);
  }

  emit(event, data) {
    for (const act of [...(this.listeners.get(event) ?? [])]) act(data);
  }

  value(key) {
    const isDrawing = this.heads.includes(key.split("/")[0]);
    return isDrawing ? valueAt(this.drawn.tables, key) : (this.drawn.values[key] ?? null);
  }

  under(head) {
    const start = `${head}/`;
    const found = Object.entries(this.drawn.values).filter(([key, value]) => key.startsWith(start) && value !== null);
    return Object.fromEntries(found.map(([key, value]) => [key.slice(start.length), value]));
  }

  change(key, value) {
    this.changes({ [key]: value });
  }

  changes(wanted) {
    this.store.change(Object.keys(wanted), Object.values(wanted), this.told.revision);
    this.redraw();
  }

  ask(message) {
    return this.store.ask(message);
  }

  latest(what) {
    let flying = false;
    let next = null;
    const send = (fields, resolve, reject) => {
      flying = true;
      this.ask({ ...fields, ask: what }).then(resolve, reject).finally(() => {
        flying = false;
        if (next) {
          const [...waiting] = next;
          next = null;
          send(...waiting);
        }
      });
    };
    return (fields = {}) => new Promise((resolve, reject) => {
      if (!flying) return send(fields, resolve, reject);
      if (next) next[1](undefined);
      next = [fields, resolve, reject];
    });
  }

  async upload(what, file, fields = {}, name = file.name) {
    const query = new URLSearchParams(fields).toString();
    const address = this.address(`upload/${what}/${encodeURIComponent(name || "unnamed")}${query ? `?${query}` : ""}`);
    let answer;
    try {
      answer = await fetch(address, { method: "POST", body: file });
    } catch {
      throw new Error("The server is away; the file was not kept.");
    }
    if (!answer.ok) throw new Error(await answer.text());
    return answer.json();
  }

  cancel(number) {
    return this.ask({ ask: "cancel", task: number });
  }

  length(mm, digits) {
    return length(mm, this.units, digits).text;
  }

  millimetres(text) {
    return millimetres(text, this.units);
  }

  file(path) {
    return this.address(`case/${path.split("/").map(encodeURIComponent).join("/")}`);
  }

  address(path) {
    return PLACE + path;
  }

  toast(text) {
    toast(text);
  }

  announce(text) {
    announce(text);
  }

  choose(title, facts, answers) {
    return choose(title, facts, answers);
  }

  go(name) {
    this.tabs.choose(name);
  }

  /** The document anew, from what the server told and what is not sent. */
  redraw() {
    const units = this.drawn && this.units;
    this.drawn = withChanges(this.told, this.store.pending, this.heads);
    this.emit("document", this.drawn);
    if (units !== null && units !== this.units) this.emit("units", this.units);
    drawHead(this);
  }
}

/** For tests and the console; views are given it. */
export const bench = new Bench();
const views = new Map();

function heard(message) {
  if (message.event === "hello") {
    bench.heads = message.heads;
    bench.told = message.state;
    drawTasks(message.tasks);
    for (const [kept] of tasks) if (!message.tasks.some((task) => task.number === kept)) tasks.delete(kept);
    document.getElementById("case").textContent = message.state.tables.name ?? message.case;
    document.title = `${message.state.tables.name ?? message.case} on the bench`;
    bench.redraw();
    if (!bench.tabs) {
      bench.known = new Map(message.views.map((view) => [view.name, view]));
      bench.tabs = makeTabs(byId("tabs"), byId("views"), message.views, show);
    }
  } else if (message.event === "document") {
    if (!bench.told || message.revision < bench.told.revision) return;
    bench.told = message;
    bench.redraw();
  } else if (message.event === "answer") {
    answered(message);
  } else if (message.event === "task") {
    drawTasks([message]);
    bench.emit("task", message);
  } else if (message.event === "said") {
    bench.toast(message.words);
  } else if (message.event === "connection") {
    drawHead(bench);
    bench.emit("connection", message);
  } else {
    bench.emit(message.event, message);
  }
}

async function answered({ answer, change, words, theirs }) {
  bench.redraw();
  if (answer === "refused") {
    bench.toast(`Not kept: ${words}`);
  } else if (answer === "conflict") {
    const facts = change.keys.flatMap((key, k) => [
      [`${keyWords(key)} on the other page`, withUnit(key, valueWords(theirs[key]))],
      [`${keyWords(key)} on this page`, withUnit(key, valueWords(change.values[k]))],
    ]);
    const chosen = await bench.choose("Two pages changed the same", facts, [
      ["Keep the other page's", "theirs"],
      ["Keep this page's", "mine"],
    ]);
    if (chosen === "mine") bench.changes(Object.fromEntries(change.keys.map((key, k) => [key, change.values[k]])));
  }
}

// Views

async function show(name, panel) {
  for (const [other, view] of views) if (other !== name && view.isShown) { view.isShown = false; view.hide?.(); }
  let view = views.get(name);
  if (!view) {
    view = { isShown: false };
    views.set(name, view);
    Object.assign(view, await mounted(name, panel));
  }
  if (panel.hidden || view.isShown) return;
  view.isShown = true;
  view.show?.();
}

async function mounted(name, panel) {
  const { label, is_there: isThere, has_look: hasLook } = bench.known.get(name);
  if (!isThere) {
    panel.replaceChildren(element("h2", { textContent: label }), element("p", { className: "quiet", textContent: "This sheet is still blank." }));
    return {};
  }
  if (hasLook) await styled(`static/${name}.css`);
  try {
    const module = await import(`./${name}.js`);
    return (await module.mount(panel, bench)) ?? {};
  } catch (error) {
    console.error(error);
    panel.append(element("p", { className: "notice warn", textContent: `This view cannot be shown: ${error.message}. Load the page again once the bench answers.` }));
    return {};
  }
}

function styled(address) {
  return new Promise((resolve) => {
    const link = element("link", { rel: "stylesheet", href: address });
    link.onload = link.onerror = resolve;
    document.head.append(link);
  });
}

// Head

let wasAway = false;
let settled = 0;

function drawHead(bench) {
  const { store, drawn } = bench;
  if (!store || !drawn) return;
  const waiting = store.pending.length;
  const state = byId("state");
  clearTimeout(settled);
  if (!store.isOpen) {
    wasAway = true;
    say(state, "away", waiting ? `Server away; ${counted(waiting, "change")} kept in this browser` : "Server away; looking for it");
  } else if (waiting) {
    // Only what takes a while is worth a word.
    settled = setTimeout(() => say(state, "busy", "Writing"), QUIET);
  } else {
    say(state, "kept", wasAway ? "Found again; everything is kept" : "Everything is kept");
  }
  const free = store.isOpen && !waiting;
  drawStep(byId("undo"), "Undo", free && drawn.undo);
  drawStep(byId("redo"), "Redo", free && drawn.redo);
  byId("units").textContent = bench.units;
  byId("units").setAttribute("aria-label", `Units: ${bench.units === "mm" ? "millimetres" : "inches"}; change`);
  byId("theme").textContent = bench.isDark ? "Light" : "Dark";
  drawNotes(bench);
}

function say(state, kind, words) {
  state.dataset.kind = kind;
  if (state.textContent !== words) state.textContent = words;
}

function drawStep(control, verb, step) {
  control.disabled = !step;
  const words = step ? `${verb}: ${step.words}` : verb;
  control.title = words;
  control.setAttribute("aria-label", words);
}

async function step(verb) {
  const control = byId(verb);
  const change = bench.drawn?.[verb];
  if (control.disabled || !change) return;
  await tried(async () => {
    const found = await bench.ask({ ask: verb, id: change.id, page: bench.store.page });
    if (found.answer === "conflict") bench.toast("Another page was quicker; look again.");
    else bench.toast(`${verb === "undo" ? "Undone" : "Done again"}: ${found.words}`);
  });
}

async function tried(act) {
  try {
    await act();
  } catch (error) {
    bench.toast(error.message);
  }
}

/** What has to be decided or known: the draft, a top.toml changed outside, a draft that cannot be built. */
function drawNotes(bench) {
  const { drawn, store } = bench;
  const asking = (ask, after = () => {}) => () => tried(async () => after(await bench.ask({ ask, page: store.page })));
  const notes = [];
  for (const words of drawn.warnings ?? []) notes.push(["warn", words]);
  if (drawn.outside) {
    notes.push(["warn", drawn.outside, ["Take the file, drop the draft", asking("take file")], ["Keep the draft, on the new file", asking("keep draft")]]);
  }
  if (drawn.trouble) notes.push(["warn", `As drafted this top cannot be built: ${drawn.trouble}`]);
  if (drawn.is_drafted) {
    const words = "The draft differs from the drawing in top.toml.";
    const saved = (found) => bench.toast(`Saved as top.toml; the earlier drawing is ${found.earlier}`);
    notes.push(["", words, ["Save as drawing", asking("save drawing", saved)], ["Start again from the drawing", asking("start again")]]);
  }
  const place = byId("notes");
  // Built anew only when something changed, so that the keyboard's place in it stays.
  const look = JSON.stringify([notes.map(([kind, words, ...acts]) => [kind, words, acts.map(([label]) => label)]), store.isOpen]);
  if (place.dataset.look === look) return;
  place.dataset.look = look;
  const hadFocus = place.contains(document.activeElement);
  place.replaceChildren(...notes.map(([kind, words, ...acts]) => {
    const buttons = acts.map(([label, act]) => Object.assign(button(label, act), { disabled: !store.isOpen }));
    const note = element("div", { className: `notice ${kind}` }, element("p", { textContent: words }), ...buttons);
    if (kind) note.setAttribute("role", "status");
    return note;
  }));
  if (hadFocus) byId("views").focus();
}

// Tasks

const tasks = new Map();

function drawTasks(changed) {
  for (const task of changed) {
    if (task.state === "waiting" || task.state === "running") tasks.set(task.number, task);
    else {
      tasks.delete(task.number);
      if (task.state === "failed") bench.toast(`${task.words}: ${task.error}`);
    }
  }
  const place = byId("tasks");
  const rows = new Map([...place.children].map((row) => [Number(row.dataset.number), row]));
  for (const [number, row] of rows) if (!tasks.has(number)) row.remove();
  for (const [number, task] of tasks) {
    const row = rows.get(number) ?? place.appendChild(taskRow(number));
    const [words, bar] = row.children;
    words.textContent = `${task.words}: ${task.state === "waiting" ? "waiting" : task.stage || "begun"}`;
    bar.setAttribute("aria-label", task.words);
    if (task.progress === null) bar.removeAttribute("value");
    else bar.value = task.progress;
  }
}

function taskRow(number) {
  const row = element("div", { className: "task" }, element("p"), element("progress", { max: 1 }), button("Stop", () => tried(() => bench.cancel(number))));
  row.dataset.number = number;
  return row;
}

// Words

function keyWords(key) {
  const steps = key.split("/").map((step) => step.replace(/_(mm|deg)$/, "").replaceAll("_", " "));
  return (steps.length > 1 && bench.heads.includes(key.split("/")[0]) ? steps.slice(1) : steps).join(": ");
}

function valueWords(value) {
  if (value === null || value === undefined) return "taken away";
  if (Array.isArray(value)) return value.map((item) => (Array.isArray(item) ? item.join(" at ") : valueWords(item))).join("; ");
  if (typeof value === "object") return Object.entries(value).map(([key, item]) => `${keyWords(key)} ${valueWords(item)}`).join("; ");
  return String(value);
}

function withUnit(key, words) {
  return /_mm$/.test(key) && words !== "taken away" ? `${words} mm` : words;
}

function counted(number, what) {
  return `${number} ${what}${number === 1 ? "" : "s"}`;
}

function byId(id) {
  return document.getElementById(id);
}

// Controls

function chooseTheme(theme) {
  document.documentElement.dataset.theme = theme;
  localStorage.setItem("theme", theme);
  drawHead(bench);
  bench.emit("theme", bench.isDark);
}

function isTyping(target) {
  return target instanceof HTMLElement && (target.isContentEditable || /^(TEXTAREA|SELECT)$/.test(target.tagName) || (target.tagName === "INPUT" && !/^(range|checkbox|radio|button)$/.test(target.type)));
}

const kept = localStorage.getItem("theme");
if (kept === "light" || kept === "dark") document.documentElement.dataset.theme = kept;
bench.media.addEventListener("change", () => { drawHead(bench); bench.emit("theme", bench.isDark); });
byId("undo").addEventListener("click", () => step("undo"));
byId("redo").addEventListener("click", () => step("redo"));
byId("units").addEventListener("click", () => bench.drawn && bench.change("units", bench.units === "mm" ? "in" : "mm"));
byId("theme").addEventListener("click", () => chooseTheme(bench.isDark ? "light" : "dark"));
addEventListener("keydown", (event) => {
  // In a text field the browser's own undo is meant.
  if (!(event.ctrlKey || event.metaKey) || event.altKey || isTyping(event.target)) return;
  const key = event.key.toLowerCase();
  const verb = key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : null;
  if (!verb) return;
  event.preventDefault();
  step(verb);
});

bench.store = await openStore(PLACE, heard);
