"""Few straight pieces in place of a finely sampled curve, with the area on either side kept."""

from itertools import pairwise

import numpy as np
import shapely

from bracedtop.geometry.outline import Array

KINK = np.deg2rad(20.0)
"""A turn above this at one point of a curve makes it a corner, marked or not; chosen: far above a curve's turn
from one millimetre to the next."""

_SAGITTA = 1.5
"""Height of an arc over its chord, in tolerances. Moved outwards by two thirds of it, which keeps the area of an arc
of a circle, the chord's ends lie one tolerance off the curve and its middle half of one."""

_WINDOW = 10.0
"""Length over which curvature is taken, in tolerances, so that neither rounded coordinates nor the vertices of the
sampling count."""


def turns(points: Array) -> Array:
    """Turn at each vertex of a closed polygon, (n, 2) without the repeated last point, (n,) in rad."""
    before = points - np.roll(points, 1, axis=0)
    after = np.roll(points, -1, axis=0) - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.abs(np.arctan2(cross, (before * after).sum(axis=1))))


def chords(points: Array, tolerance: float) -> Array:
    """Straight pieces along a line, nowhere much more than the tolerance off it.

    Parameters
    ----------
    points : (n, 2) array, m
        A closed line repeats its first point.
    tolerance : float, m

    Returns
    -------
    points : (k, 2) array, m
        Ends and corners are those of the line. Along a smooth stretch the pieces enclose the same area as the line.
    """
    if len(points) < 3:
        return points
    closed = bool((points[0] == points[-1]).all())
    kinks = turns(points[:-1]) > KINK if closed else np.append(turns(points)[:-1] > KINK, False)
    if closed and not kinks.any():
        return _smooth(points, tolerance, closed=True)
    if closed:
        first = int(np.argmax(kinks))
        points = np.vstack([np.roll(points[:-1], -first, axis=0), points[first]])
        kinks = np.roll(kinks, -first)
    else:
        kinks[0] = True
    cuts = np.append(np.flatnonzero(kinks), len(points) - 1)
    parts = [_smooth(points[a : b + 1], tolerance, closed=False) for a, b in pairwise(cuts)]
    return np.vstack([parts[0], *(part[1:] for part in parts[1:])])


def _smooth(points: Array, tolerance: float, *, closed: bool) -> Array:
    """Pieces of a stretch without corners, shorter where it bends more."""
    if len(points) < 3:
        return points
    pieces = np.diff(points, axis=0)
    lengths = np.hypot(*pieces.T)
    s = np.concatenate([[0.0], np.cumsum(lengths)])
    heading = np.unwrap(np.arctan2(pieces[:, 1], pieces[:, 0]))
    reach = min(_WINDOW * tolerance, s[-1]) / 2
    middle = (s[:-1] + s[1:]) / 2
    # Long pieces of the line get stations of their own, where nothing bends.
    r = np.union1d(s, np.linspace(0.0, s[-1], int(np.ceil(2 * s[-1] / reach)) + 1))
    low, high = np.maximum(r - reach, 0.0), np.minimum(r + reach, s[-1])
    bend = np.abs(np.interp(high, middle, heading) - np.interp(low, middle, heading)) / (high - low)
    density = np.sqrt(bend / (8 * _SAGITTA * tolerance)) + 1e-3 / s[-1]
    count = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2 * np.diff(r))])
    n = max(int(np.ceil(count[-1])), 4 if closed else 1)
    dots = shapely.points(points)
    for more in (n, n + 1 + n // 8, n + 2 + n // 4):
        way = _moved_out(points, s, np.interp(np.linspace(0.0, count[-1], more + 1), count, r), closed=closed)
        if shapely.distance(dots, shapely.LineString(way)).max() <= 1.2 * tolerance:
            return way
    # Straight stretches between tight bends: pieces have to begin where the bends do.
    line = shapely.LineString(points)
    kept = shapely.get_coordinates(line.simplify(tolerance))[:-1]
    at = s[np.abs(s[:, None] - shapely.line_locate_point(line, shapely.points(kept))).argmin(axis=0)]
    return _moved_out(points, s, np.append(at, s[-1]), closed=closed)


def _moved_out(points: Array, s: Array, at: Array, *, closed: bool) -> Array:
    """Points of a line at distances `at`, moved across it so that the pieces between them enclose its area."""
    way = np.column_stack([np.interp(at, s, points[:, k]) for k in range(2)])
    way[-1] = points[-1]
    k = np.clip(np.searchsorted(s, at, side="right") - 1, 0, len(points) - 2)
    swept = np.concatenate([[0.0], np.cumsum(_cross(points[:-1], points[1:]))])[k] + _cross(points[k], way)
    area = (np.diff(swept) - _cross(way[:-1], way[1:])) / 2
    piece = np.diff(way, axis=0)
    length = np.hypot(*piece.T)
    if closed:
        before, after = np.arange(-1, len(piece) - 1), np.arange(len(piece))
    else:
        before, after = np.arange(len(piece) - 1), np.arange(1, len(piece))
    if not len(before):
        return way
    width = (length[before] + length[after]) / 2
    along = piece[before] + piece[after]
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    moved = slice(0, -1) if closed else slice(1, -1)
    base = way.copy()
    shift = (area[before] + area[after]) / 2 / width
    for _ in range(2):
        way[moved] = base[moved] + shift[:, None] * out
        if closed:
            way[-1] = way[0]
        # What the first order leaves, spread over all points alike.
        left = (np.diff(swept).sum() - _cross(way[:-1], way[1:]).sum()) / 2
        shift = shift + left / width.sum()
    return way


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
