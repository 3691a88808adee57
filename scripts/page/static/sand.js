// Node lines as sand on a plate: grains lie where the top stands still.

const GRAINS = 7000;
const STILL = 0.055;

/**
 * Grains over a plan: each lies in a triangle, at fixed shares of its corners.
 * @param {number[][]} xy points of the plan, mm
 * @param {number[][]} triangles
 */
export function strewn(xy, triangles) {
  const areas = triangles.map(([a, b, c]) => Math.abs((xy[b][0] - xy[a][0]) * (xy[c][1] - xy[a][1]) - (xy[c][0] - xy[a][0]) * (xy[b][1] - xy[a][1])) / 2);
  const whole = areas.reduce((sum, area) => sum + area, 0);
  const random = generator(7);
  const grains = [];
  let owed = 0;
  triangles.forEach(([a, b, c], k) => {
    owed += (GRAINS * areas[k]) / whole;
    for (; owed >= 1; owed -= 1) {
      let [u, v] = [random(), random()];
      if (u + v > 1) [u, v] = [1 - u, 1 - v];
      const at = (i) => (1 - u - v) * xy[a][i] + u * xy[b][i] + v * xy[c][i];
      grains.push({ a, b, c, u, v, x: at(0), y: at(1), luck: random() });
    }
  });
  return grains;
}

/**
 * Path of the grains that stay, as small squares, for the attribute d.
 * @param {ReturnType<typeof strewn>} grains
 * @param {number[]} shape deflection at the points, any scale
 * @param {number} [size] of a grain, mm
 */
export function sandPath(grains, shape, size = 1.5) {
  let largest = 0;
  for (const w of shape) largest = Math.max(largest, Math.abs(w));
  const reach = STILL * (largest || 1);
  const found = [];
  for (const { a, b, c, u, v, x, y, luck } of grains) {
    const w = Math.abs((1 - u - v) * shape[a] + u * shape[b] + v * shape[c]) / reach;
    // The stiller a place, the likelier a grain stays there.
    if (w < 3 && luck < Math.exp(-w * w)) found.push(`M${y.toFixed(1)} ${(-x).toFixed(1)}h${size}v${size}h${-size}z`);
  }
  return found.join("");
}

/** The same numbers every time, so that the sand lies still when nothing moves. */
function generator(seed) {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 4294967296;
  };
}
