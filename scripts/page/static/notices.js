// What the page says: short messages, announcements for screen readers, choices.

const SHOWN = 6000;

/** Words for a moment at the foot of the page; screen readers hear them. */
export function toast(text) {
  const line = document.createElement("p");
  line.textContent = text;
  document.getElementById("toasts").append(line);
  setTimeout(() => line.remove(), SHOWN);
}

/** Words for screen readers alone. */
export function announce(text) {
  const place = document.getElementById("announce");
  place.textContent = "";
  // A text that is the same as before is only read again after a change.
  requestAnimationFrame(() => (place.textContent = text));
}

/** An element with properties and children. */
export function element(tag, properties = {}, ...children) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...children);
  return made;
}

/** A button with words and what it does. */
export function button(words, act, className = "") {
  const made = element("button", { type: "button", className, textContent: words });
  made.addEventListener("click", act);
  return made;
}

/**
 * A question with a few answers; resolves with the chosen one's value. It has to be answered: Escape gives the first.
 * @param {string} title
 * @param {[string, string][]} facts terms and what they are
 * @param {[string, any][]} answers words and values
 */
export function choose(title, facts, answers) {
  const dialog = document.getElementById("choice");
  return new Promise((resolve) => {
    let chosen = answers[0][1];
    const list = element("dl");
    for (const [term, text] of facts) {
      list.append(element("div", {}, element("dt", { textContent: term }), element("dd", { textContent: text })));
    }
    const row = element("div", { className: "row" });
    for (const [words, value] of answers) {
      row.append(button(words, () => { chosen = value; dialog.close(); }));
    }
    dialog.replaceChildren(element("h2", { id: "choice-title", textContent: title }), list, row);
    dialog.addEventListener("close", () => resolve(chosen), { once: true });
    dialog.showModal();
  });
}
