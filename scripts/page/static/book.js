// The instrument's book: what the maker tells of it, notes, photographs, the log pass by pass, and the book itself.
//
// All that the maker writes here is a change of the document: build/... in the drawing, notes/ID, photographs/NAME.

import { button, element } from "./notices.js";

const FACTS = [
  ["maker", "Maker", ""],
  ["serial", "Serial", ""],
  ["date", "Built (2026, 2026-03 or 2026-03-14)", ""],
  ["glue_of_braces", "Glue of the braces", ""],
  ["glue_of_bridge", "Glue of the bridge", ""],
  ["glue_of_rim", "Glue of the rim", ""],
  ["finish_kind", "Finish", ""],
];
const DATE = /^\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?$/;

/** @param {HTMLElement} place */
export function mount(place, bench) {
  const facts = factsSheet(bench);
  const notes = notesSheet(bench);
  const photographs = photographsSheet(bench, () => look());
  const book = bookSheet(bench);
  const log = element("section", { className: "sheet book-log" });
  place.append(
    element("div", { className: "columns" }, element("div", { className: "stack" }, book.sheet, facts.sheet), element("div", { className: "stack" }, notes.sheet, photographs.sheet)),
    log,
  );
  let isShown = false;

  async function look() {
    if (!bench.isOpen) return;
    try {
      const state = await bench.ask({ ask: "book/state" });
      drawLog(log, state);
      photographs.draw(state.photographs);
      book.draw(state.made);
    } catch (error) {
      bench.toast(error.message);
    }
  }

  function redraw() {
    if (!isShown) return;
    facts.draw();
    notes.draw();
    photographs.draw();
  }

  bench.on("document", redraw);
  bench.on("connection", () => isShown && look());
  bench.on("task", (task) => {
    if (task.name !== "book") return;
    book.task(task);
    if (task.state === "done") look();
  });
  return {
    show() {
      isShown = true;
      redraw();
      look();
    },
    hide() {
      isShown = false;
    },
  };
}

// What the maker knows

function factsSheet(bench) {
  const sheet = element("section", { className: "sheet" }, element("h2", { textContent: "How it was built" }));
  sheet.append(element("p", { className: "quiet", textContent: "What only you know. The book says nothing of how a glue or a finish is opened unless you do." }));
  const fields = FACTS.map(([key, words]) => field(sheet, key, words, "input"));
  fields.push(field(sheet, "cautions", "Cautions for the restorer, one a line", "textarea"), field(sheet, "words", "Whatever else is worth keeping", "textarea"));
  for (const one of fields) one.input.addEventListener("change", () => keep(one));

  function keep({ key, input }) {
    const text = input.value.trim();
    const lines = text.split("\n").map((line) => line.trim()).filter(Boolean);
    if (key === "date" && text && !DATE.test(text)) {
      input.setAttribute("aria-invalid", "true");
      bench.toast("The date must be a year, a month or a day, such as 2026, 2026-03 or 2026-03-14.");
      return;
    }
    input.removeAttribute("aria-invalid");
    const value = key === "cautions" ? (lines.length ? lines : null) : text || null;
    if (JSON.stringify(value) !== JSON.stringify(bench.value(`build/${key}`))) bench.change(`build/${key}`, value);
  }

  return {
    sheet,
    draw() {
      for (const { key, input } of fields) {
        if (document.activeElement === input) continue;
        const value = bench.value(`build/${key}`);
        input.value = Array.isArray(value) ? value.join("\n") : (value ?? "");
      }
    },
  };
}

function field(sheet, key, words, tag) {
  const id = `book-${key}`;
  const input = element(tag, { id, autocomplete: "off" });
  if (tag === "textarea") input.rows = 3;
  else input.maxLength = 200;
  sheet.append(element("p", { className: "field" }, element("label", { htmlFor: id, textContent: words }), input));
  return { key, input };
}

// Notes

function notesSheet(bench) {
  const words = element("textarea", { id: "book-note", rows: 3, maxLength: 5000 });
  const date = element("input", { id: "book-note-date", type: "date", value: today() });
  const list = element("ul", { className: "book-notes" });
  const keep = button("Keep the note", () => {
    const text = words.value.trim();
    if (!text) {
      bench.toast("Write the note first.");
      words.focus();
      return;
    }
    bench.change(`notes/${Date.now().toString(36)}-${Math.random().toString(36).slice(2, 8)}`, { date: date.value, words: text });
    words.value = "";
    bench.announce("Note kept");
  });
  const sheet = element(
    "section",
    { className: "sheet" },
    element("h2", { textContent: "Notes" }),
    element("p", { className: "field" }, element("label", { htmlFor: "book-note", textContent: "A note for the book" }), words),
    element("div", { className: "row" }, element("label", { htmlFor: "book-note-date", textContent: "Day" }), date, keep),
    list,
  );
  return {
    sheet,
    draw() {
      const notes = Object.entries(bench.under("notes")).sort(([, a], [, b]) => (a.date < b.date ? 1 : -1));
      list.replaceChildren(...notes.map(([id, note]) => drawNote(bench, id, note)));
    },
  };
}

function drawNote(bench, id, note) {
  const out = button("Take out", () => bench.change(`notes/${id}`, null));
  out.setAttribute("aria-label", `Take out the note of ${note.date || "no date"}`);
  return element("li", {}, element("p", {}, element("span", { className: "quiet", textContent: `${note.date || "no date"} ` }), note.words), out);
}

function today() {
  const now = new Date();
  return new Date(now - now.getTimezoneOffset() * 60_000).toISOString().slice(0, 10);
}

// Photographs

function photographsSheet(bench, look) {
  const choose = element("input", { id: "book-photographs", type: "file", accept: "image/jpeg,image/png", multiple: true });
  const list = element("div", { className: "book-photographs" });
  const cards = new Map();
  const sheet = element(
    "section",
    { className: "sheet" },
    element("h2", { textContent: "Photographs" }),
    element("p", { className: "field" }, element("label", { htmlFor: "book-photographs", textContent: "Add photographs" }), choose),
    element("p", { className: "quiet", textContent: "The book shows them smaller; the originals lie beside it as they are, which may tell where they were taken." }),
    list,
  );
  choose.addEventListener("change", async () => {
    const files = [...choose.files];
    choose.value = "";
    for (const file of files) {
      try {
        await bench.upload("photographs", file);
      } catch (error) {
        bench.toast(`${file.name}: ${error.message}`);
      }
    }
    await look();
    bench.announce(files.length === 1 ? "Photograph kept" : `${files.length} photographs kept`);
  });

  let known = [];
  return {
    sheet,
    draw(photographs = known) {
      known = photographs;
      for (const name of cards.keys()) if (!known.some((one) => one.name === name)) cards.delete(name);
      for (const one of known) if (!cards.has(one.name)) cards.set(one.name, card(bench, one));
      const shown = known.map((one) => cards.get(one.name));
      if (shown.some((one, k) => list.children[k] !== one.figure) || list.children.length !== shown.length) list.replaceChildren(...shown.map((one) => one.figure));
      for (const one of shown) one.draw();
    },
  };
}

let cardNumber = 0;

function card(bench, photograph) {
  const key = `photographs/${photograph.name}`;
  const id = `book-photograph-${(cardNumber += 1)}`;
  const words = element("input", { id: `${id}-words`, autocomplete: "off", maxLength: 1000 });
  const date = element("input", { id: `${id}-date`, type: "date" });
  const told = () => bench.value(key) ?? {};
  const keep = () => {
    const now = { ...told(), words: words.value.trim(), date: date.value };
    if (now.words !== (told().words ?? "") || now.date !== (told().date || photograph.date)) bench.change(key, now);
  };
  words.addEventListener("change", keep);
  date.addEventListener("change", keep);
  const leave = button("Leave out", () => bench.change(key, { ...told(), left_out: !told().left_out }));
  const image = element("img", { src: bench.address(`book/small/${encodeURIComponent(photograph.name)}`), alt: photograph.name, loading: "lazy" });
  const figure = element(
    "figure",
    {},
    photograph.trouble ? element("p", { className: "notice warn", textContent: photograph.trouble }) : image,
    element("figcaption", {},
      element("p", { className: "quiet", textContent: photograph.name }),
      element("p", { className: "field" }, element("label", { htmlFor: words.id, textContent: "Words" }), words),
      element("div", { className: "row" }, element("label", { htmlFor: date.id, textContent: "Day" }), date, leave)),
  );
  return {
    figure,
    draw() {
      const { words: said = "", date: day = "", left_out: leftOut = false } = told();
      if (document.activeElement !== words) words.value = said;
      if (document.activeElement !== date) date.value = day || photograph.date;
      image.alt = said || photograph.name;
      leave.setAttribute("aria-pressed", String(leftOut));
      leave.textContent = leftOut ? "Left out of the book" : "Leave out";
      leave.setAttribute("aria-label", `${leave.textContent}: ${photograph.name}`);
      figure.classList.toggle("left-out", leftOut);
    },
  };
}

// The book

function bookSheet(bench) {
  const words = element("p", { className: "book-made" });
  const link = element("a", { className: "button", textContent: "Open the book", href: bench.address("book/book.html"), target: "_blank", rel: "noopener", hidden: true });
  const make = button("Make the book", () => {
    make.disabled = true;
    bench.ask({ ask: "book/make" }).catch((error) => {
      make.disabled = false;
      bench.toast(error.message);
    });
  }, "first");
  const sheet = element(
    "section",
    { className: "sheet" },
    element("h2", { textContent: "The instrument's book" }),
    element("p", { textContent: "One page that tells how it was drawn, built and tuned, for whoever restores it, with the data in open formats beside it." }),
    words,
    element("div", { className: "row" }, make, link),
  );
  return {
    sheet,
    draw(made) {
      link.hidden = made === null;
      words.textContent = made === null ? "It was not made yet." : `Made ${new Date(1000 * made).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}; it lies in the case's folder book.`;
    },
    task(task) {
      const isOver = ["done", "failed", "cancelled"].includes(task.state);
      make.disabled = !isOver;
      if (task.state === "failed") words.textContent = task.error;
      else if (task.state === "cancelled") words.textContent = "Stopped; an earlier book is as it was.";
      else if (!isOver) words.textContent = `Being made${task.stage ? `: ${task.stage}` : ""}`;
    },
  };
}

// The log

function drawLog(place, { passes, doubts }) {
  place.replaceChildren(element("h2", { textContent: "Pass by pass" }));
  for (const doubt of doubts) place.append(element("p", { className: "notice warn", textContent: doubt }));
  if (!passes.some((one) => one.tables.length || one.notes.length)) {
    place.append(element("p", { className: "quiet", textContent: "Nothing was cut or tapped yet. Taps, plans and cuts enter the log by themselves." }));
    return;
  }
  for (const one of passes) {
    place.append(element("h3", {}, one.title, one.date ? element("span", { className: "quiet", textContent: ` ${one.date}` }) : ""));
    for (const words of one.words) place.append(element("p", { textContent: words }));
    place.append(...one.tables.map(drawTable));
    for (const note of one.notes) place.append(element("p", {}, element("span", { className: "quiet", textContent: `${note.date} ` }), note.words));
  }
}

function drawTable({ caption, head, rows, left }) {
  const cell = (tag, text, k, scope) => element(tag, { textContent: text || "–", className: k < left ? "" : "number", ...(scope ? { scope } : {}) });
  const table = element(
    "table",
    {},
    element("caption", { textContent: caption }),
    element("thead", {}, element("tr", {}, ...head.map((text, k) => cell("th", text, k, "col")))),
    element("tbody", {}, ...rows.map((row) => element("tr", {}, ...row.map((text, k) => (k ? cell("td", text, k) : cell("th", text, k, "row")))))),
  );
  const scroll = element("div", { className: "scroll", tabIndex: 0, role: "region" }, table);
  scroll.setAttribute("aria-label", caption);
  return scroll;
}
