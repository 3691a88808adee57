// Lengths on the page: millimetres everywhere inside, inches only where they are shown or typed.

const MM_PER_INCH = 25.4;

/**
 * A length as it is shown.
 * @param {number} mm
 * @param {"mm" | "in"} units
 * @param {number} [digits] decimals in millimetres; inches get two more, so that as much is told
 * @returns {{value: number, unit: string, text: string}}
 */
export function length(mm, units, digits = 1) {
  const inches = units === "in";
  const value = inches ? mm / MM_PER_INCH : mm;
  const shown = value.toFixed(inches ? digits + 2 : digits);
  // No minus before a zero.
  const text = Number(shown) === 0 ? shown.replace("-", "") : shown;
  return { value: Number(text), unit: inches ? "in" : "mm", text: `${text} ${inches ? "in" : "mm"}` };
}

/**
 * Millimetres of a length that was typed in the chosen units; NaN if it is none. A comma counts as a decimal point, and
 * a unit behind the number counts before the chosen one.
 * @param {string} text
 * @param {"mm" | "in"} units
 */
export function millimetres(text, units) {
  const found = /^\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mm|in|")?\s*$/.exec(text);
  if (!found) return NaN;
  const value = Number(found[1].replace(",", "."));
  const inches = found[2] ? found[2] !== "mm" : units === "in";
  return inches ? value * MM_PER_INCH : value;
}
