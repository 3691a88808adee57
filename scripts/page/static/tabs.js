// The list of views: one tab stop, arrows go from tab to tab, the address keeps the chosen one.

/**
 * @param {HTMLElement} list
 * @param {HTMLElement} panels
 * @param {{name: string, label: string}[]} views
 * @param {(name: string, panel: HTMLElement) => void} shown
 */
export function makeTabs(list, panels, views, shown) {
  const tabs = views.map(({ name, label }) => {
    const tab = document.createElement("button");
    Object.assign(tab, { type: "button", id: `tab-${name}`, textContent: label });
    tab.setAttribute("role", "tab");
    tab.setAttribute("aria-controls", `view-${name}`);
    const panel = document.createElement("section");
    panel.id = `view-${name}`;
    panel.tabIndex = 0;
    panel.setAttribute("role", "tabpanel");
    panel.setAttribute("aria-labelledby", tab.id);
    tab.addEventListener("click", () => choose(tab));
    return { name, tab, panel };
  });

  function choose(chosen) {
    for (const { name, tab, panel } of tabs) {
      const isChosen = tab === chosen;
      tab.setAttribute("aria-selected", String(isChosen));
      tab.tabIndex = isChosen ? 0 : -1;
      panel.hidden = !isChosen;
      if (isChosen) {
        history.replaceState(null, "", `#${name}`);
        shown(name, panel);
      }
    }
  }

  function byAddress() {
    const name = location.hash.slice(1);
    return (tabs.find((one) => one.name === name) ?? tabs[0]).tab;
  }

  list.addEventListener("keydown", (event) => {
    const at = tabs.findIndex(({ tab }) => tab === document.activeElement);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: tabs.length - 1 }[event.key];
    if (at < 0 || to === undefined) return;
    event.preventDefault();
    const { tab } = tabs[(to + tabs.length) % tabs.length];
    tab.focus();
    choose(tab);
  });
  addEventListener("hashchange", () => choose(byAddress()));

  list.replaceChildren(...tabs.map(({ tab }) => tab));
  panels.replaceChildren(...tabs.map(({ panel }) => panel));
  choose(byAddress());
  return { choose: (name) => choose(tabs.find((one) => one.name === name).tab) };
}
