// The draft on this side: the document with changes that the server has not answered yet, as scripts/page/draft.py
// puts them in.

const NAMED = ["brace", "patch", "mass", "back_brace", "back_patch"];
const KEYED = ["wood"];

/**
 * The document after some changes.
 * @param {object} state as the server tells it
 * @param {{keys: string[], values: any[]}[]} changes
 * @param {string[]} heads first words of the drawing's keys
 */
export function withChanges(state, changes, heads) {
  if (!changes.length) return state;
  const tables = structuredClone(state.tables);
  const values = { ...state.values };
  for (const change of changes) {
    change.keys.forEach((key, k) => {
      const value = change.values[k];
      if (heads.includes(key.split("/")[0])) put(tables, key, value);
      else if (value === null) delete values[key];
      else values[key] = value;
    });
  }
  return { ...state, tables, values };
}

/** What a key of the drawing holds; null if nothing. */
export function valueAt(tables, key) {
  const [head, ...rest] = key.split("/");
  let found = tables[head];
  rest.forEach((step, k) => {
    if (found == null) return;
    found = k === 0 && NAMED.includes(head) ? found.find((row) => row.name === step) : found[step];
  });
  return found ?? null;
}

function put(tables, key, value) {
  const [head, ...rest] = key.split("/");
  if (!rest.length) return set(tables, head, value);
  if (NAMED.includes(head)) return putRow((tables[head] ??= []), rest, value);
  let inner = (tables[head] ??= {});
  if (rest.length === 2 && KEYED.includes(head)) inner = inner[rest[0]] ??= {};
  set(inner, rest[rest.length - 1], value);
}

function putRow(rows, [name, field], value) {
  const at = rows.findIndex((row) => row.name === name);
  if (field !== undefined) {
    if (at >= 0) set(rows[at], field, value);
  } else if (value === null) {
    if (at >= 0) rows.splice(at, 1);
  } else {
    rows.splice(at < 0 ? rows.length : at, at < 0 ? 0 : 1, { ...value, name });
  }
}

function set(place, key, value) {
  if (value === null) delete place[key];
  else place[key] = value;
}
