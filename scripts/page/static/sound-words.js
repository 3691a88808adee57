// Words and figures of the view Listen, apart from the page.

/** Name of a question, the same for the same question. */
export function key(fields) {
  return JSON.stringify(Object.entries(fields).sort(([one], [other]) => (one < other ? -1 : 1)));
}

/** Shade 0 to 4 of a note's wood, by how its decay time compares with the middle one. */
export function shade(seconds, middle) {
  const octaves = Math.log2(seconds / middle);
  return Math.min(4, Math.max(0, Math.round(2 + 2 * octaves)));
}

/** How many of `n` guesses by lot alone come to `right` or more, as a share. */
export function byLot(right, n) {
  let ways = 1;
  let sum = 0;
  for (let k = 0; k <= n; k += 1) {
    if (k >= right) sum += ways;
    ways = (ways * (n - k)) / (k + 1);
  }
  return sum / 2 ** n;
}

/**
 * What the guesses say so far.
 * @param {boolean[]} rounds whether each was right
 */
export function blindLine(rounds) {
  if (!rounds.length) return "No guess yet. Ten are enough to say something.";
  const right = rounds.filter(Boolean).length;
  const last = rounds[rounds.length - 1] ? "Right." : "It was the other one.";
  const share = byLot(right, rounds.length);
  const odds = share >= 0.005 ? `${Math.round(100 * share)} of 100` : "fewer than 1 of 100";
  const verdict = rounds.length >= 5 ? ` Somebody who guesses blindly gets as many in ${odds} tries.` : "";
  return `${last} ${right} of ${counted(rounds.length, "guess", "guesses")} right.${verdict}`;
}

export function counted(number, one, many) {
  return `${number} ${number === 1 ? one : many}`;
}
