"""Wanted size of the triangles at every point, and the division of arcs after it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial.distance import cdist

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.outline import Array

TURN = 0.5
"""Largest turn of a curve along one triangle side, rad; chosen: a quadratic side then follows a circle of radius R
within R / 6000."""

GAP_RATIO = 4.0
"""Longest side beside a gap, over the gap; chosen: P3 triangles bear angles of 15 degrees, and gaps are many."""

BULGE = 0.1
"""Largest height of a curved side over its chord, over the gap beside it; chosen: the triangle between stays convex
enough for its map by a good margin."""

SHORT_RATIO = 3.0
"""Longest side at the end of a short arc, over its length; chosen: the square end of a brace is one such arc."""


_LOOP = 8
"""Fewest sides round a closed curve without corners."""

_STRAIGHT = 1e-9
"""Curvature that stands for none, 1/m."""


@dataclass(frozen=True, slots=True)
class SizeField:
    """Smallest of `largest` and of every source's size, which grows with the distance from the source.

    Parameters
    ----------
    largest : float, m
    grading : float
        Growth of the size per distance.
    points : (n, 2) array, m
    sizes : (n,) array, m
    """

    largest: float
    grading: float
    points: Array
    sizes: Array

    def at(self, points: Array) -> Array:
        """Wanted size at points (k, 2), (k,) in m."""
        size = np.full(len(points), self.largest)
        if len(self.points):
            reach = cdist(points, self.points)
            reach *= self.grading
            reach += self.sizes
            size = np.minimum(size, reach.min(axis=1))
        return size

    def with_sources(self, points: Array, sizes: Array) -> "SizeField":
        """The field with more sources, points (k, 2) and sizes (k,) in m."""
        return SizeField(
            self.largest, self.grading, np.concatenate([self.points, points]), np.concatenate([self.sizes, sizes])
        )

    def thinned(self) -> "SizeField":
        """The same field without sources that others outdo."""
        order = np.argsort(self.sizes, kind="stable")
        points, sizes = self.points[order], self.sizes[order]
        keep = sizes < self.largest
        for i in range(len(sizes)):
            if keep[i]:
                gaps = np.hypot(*(points[i + 1 :] - points[i]).T)
                keep[i + 1 :] &= sizes[i + 1 :] < sizes[i] + self.grading * gaps - 1e-9 * self.largest
        return SizeField(self.largest, self.grading, points[keep], sizes[keep])


def drawing_sizes(arcs: Sequence[Arc], largest: float, smallest: float, grading: float) -> SizeField:
    """Size field of a drawing: small at short arcs, in narrow gaps and at tight curves.

    Parameters
    ----------
    arcs : sequence of Arc
    largest, smallest : float, m
        No source asks for less than `smallest`, tight curves for no less than a third of it.
    grading : float
    """
    lines = np.array([shapely.LineString(arc.points) for arc in arcs], dtype=object)
    lengths = shapely.length(lines)
    points = [np.zeros((0, 2))]
    sizes = [np.zeros(0)]
    for arc, length in zip(arcs, lengths, strict=True):
        if SHORT_RATIO * length < largest:
            points.append(np.array([arc.points[0], arc.points[-1]]))
            sizes.append(np.full(2, max(SHORT_RATIO * length, smallest)))
    for part in (_gaps(arcs, lines, largest, smallest), *(_curvature(a, largest, smallest) for a in arcs)):
        points.append(part[0])
        sizes.append(part[1])
    return SizeField(largest, grading, np.concatenate(points), np.concatenate(sizes)).thinned()


def _gaps(arcs: Sequence[Arc], lines: Array, largest: float, smallest: float) -> tuple[Array, Array]:
    """Samples along arcs and the size that the gap to the nearest arc elsewhere allows there."""
    samples, bends, owner = [], [], []
    for k, (arc, line) in enumerate(zip(arcs, lines, strict=True)):
        n = int(np.ceil(line.length / (largest / 5)))
        at = np.linspace(0.0, line.length, n + 1)
        samples.append(shapely.get_coordinates(shapely.line_interpolate_point(line, at)))
        bends.append(np.full(n + 1, _STRAIGHT) if arc.is_straight else np.interp(at, *_bend(arc, largest)))
        owner.append(np.full(n + 1, k))
    xy, of = np.concatenate(samples), np.concatenate(owner)
    dots = shapely.points(xy)
    i, j = shapely.STRtree(lines).query(dots, predicate="dwithin", distance=largest / GAP_RATIO)
    ends = np.array([(arc.start, arc.stop) for arc in arcs])
    apart = (ends[of[i]][:, :, None] != ends[j][:, None, :]).all(axis=(1, 2)) & (of[i] != j)
    i, j = i[apart], j[apart]
    gap = np.full(len(xy), np.inf)
    np.minimum.at(gap, i, shapely.distance(dots[i], lines[j]))
    near = gap < largest / GAP_RATIO
    gap, bend = gap[near], np.concatenate(bends)[near]
    return xy[near], np.maximum(np.minimum(GAP_RATIO * gap, np.sqrt(8 * BULGE * gap / bend)), smallest)


def _curvature(arc: Arc, largest: float, smallest: float) -> tuple[Array, Array]:
    """Points of a curved arc and the size that its turn allows there."""
    if arc.is_straight:
        return np.zeros((0, 2)), np.zeros(0)
    sizes = np.maximum(TURN / _bend(arc, largest)[1], smallest / 3)
    tight = sizes < largest
    return arc.points[tight], sizes[tight]


def _bend(arc: Arc, largest: float) -> tuple[Array, Array]:
    """Distances along a curved arc and its curvature there, both (n,), m and 1/m."""
    pieces = np.diff(arc.points, axis=0)
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*pieces.T))])
    heading = np.unwrap(np.arctan2(pieces[:, 1], pieces[:, 0]))
    middle = (s[:-1] + s[1:]) / 2
    # The turn over a fifth of a side, so that the polygon's own vertices do not count as kinks.
    low, high = np.maximum(s - largest / 10, middle[0]), np.minimum(s + largest / 10, middle[-1])
    span = np.maximum(high - low, np.finfo(float).tiny)
    turn = np.abs(np.interp(high, middle, heading) - np.interp(low, middle, heading)) / span
    return s, np.where(high > low, np.maximum(turn, _STRAIGHT), _STRAIGHT)


def divided(arc: Arc, field: SizeField, factor: float = 1.0) -> Array:
    """Points (n, 2) in m that divide an arc into sides of the wanted size, ends included.

    `factor` multiplies the number of sides.
    """
    line = shapely.LineString(arc.points)
    length = line.length
    fine = max(field.sizes.min() if len(field.sizes) else field.largest, length / 400)
    n_samples = int(np.ceil(2 * length / fine)) + 2
    t = np.linspace(0.0, 1.0, n_samples)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, t, normalized=True))
    density = 1.0 / field.at(xy)
    steps = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2 * length / (n_samples - 1))])
    closed = arc.start == arc.stop
    n = max(int(np.round(factor * steps[-1])), _LOOP if closed else 1)
    inner = np.interp(np.arange(1, n) * steps[-1] / n, steps, t)
    middle = shapely.get_coordinates(shapely.line_interpolate_point(line, inner, normalized=True))
    return np.vstack([arc.points[:1], middle, arc.points[-1:]])
