// One mark for each of measured, predicted and target, the same in every drawing on the page.

const NAMESPACE = "http://www.w3.org/2000/svg";

/** Words for legends, in this order everywhere. */
export const MARKS = { measured: "tapped", predicted: "model", target: "wanted" };

/**
 * A mark as an SVG element: disc, diamond or open triangle.
 * @param {"measured" | "predicted" | "target"} kind
 * @param {number} x
 * @param {number} y
 * @param {number} [size] half its width
 */
export function mark(kind, x, y, size = 5) {
  const path = document.createElementNS(NAMESPACE, "path");
  path.setAttribute("class", kind);
  path.setAttribute("d", outline(kind, x, y, size));
  return path;
}

function outline(kind, x, y, r) {
  if (kind === "measured") return `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;
  if (kind === "predicted") return `M${x} ${y - 1.3 * r}L${x + 1.1 * r} ${y}L${x} ${y + 1.3 * r}L${x - 1.1 * r} ${y}z`;
  return `M${x} ${y - 1.2 * r}L${x + 1.2 * r} ${y + r}H${x - 1.2 * r}z`;
}
