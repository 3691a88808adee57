"""Integration points over the glued faces of braces, exact on every piece that one triangle holds.

A brace's strip is cut at its stations, at the ends of its stretches, at the strips of the braces that it crosses, and
at the mesh's edges; every piece is convex and gets a Gauss rule of its own. Fewer points would let the plate hinge
between them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from skfem.quadrature import get_quadrature

from bracedtop.fem.locate import Locator
from bracedtop.fem.stretches import stretch_ends
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design
from bracedtop.geometry.layout import Crossing

_SLIVER = 1e-12
"""Pieces of less than a millionth of a square millimetre carry nothing, m^2."""

_STRAIGHT = 1e-6
"""Turn at a vertex that counts as none, rad."""

_RULE_ORDER = 6
"""Degree of the rule: shear strains of cubic triangles are cubic. At 5 the pieces of a tapered brace show at 1e-5."""


@dataclass(frozen=True, slots=True)
class Points:
    """Integration points inside triangles.

    Parameters
    ----------
    element : (n,) int array
    local : (2, n) array
        Reference coordinates in the triangle.
    weight : (n,) array, m^2
    """

    element: np.ndarray
    local: np.ndarray
    weight: np.ndarray


@dataclass(frozen=True, slots=True)
class Band:
    """The straight strip of a brace near a point: that point, the strip's unit normal, its half width, m."""

    point: np.ndarray
    normal: np.ndarray
    half: float


def widened(band: Band, by: float) -> Band:
    """A strip that reaches `by` m further to either side."""
    return Band(band.point, band.normal, band.half + by)


def strip_points(
    brace: Brace, bands: Sequence[Band], near: Sequence[Band], ends: tuple[float, float], locator: Locator
) -> tuple[Points, np.ndarray, np.ndarray]:
    """Points over a brace's face outside the `bands` of the braces that it meets.

    Parameters
    ----------
    brace : Brace
    bands : sequence of Band
    near : sequence of Band
        Wider bands across whose borders no piece lies.
    ends : pair, m
        Distances along the brace at which its hold begins and ends; no piece lies across them.
    locator : Locator

    Returns
    -------
    points : Points
    distance : (n,) array, m
        Along the brace.
    angle : (n,) array, rad
        Direction of the brace there.
    """
    pieces = np.diff(brace.path, axis=0)
    lengths = np.hypot(*pieces.T)
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    cuts = np.concatenate([brace.stations[:, 0], stretch_ends(brace), ends])
    found, distances, angles = [], [], []
    for corner, piece, length, start in zip(brace.path[:-1], pieces, lengths, starts, strict=True):
        t = piece / length
        side = brace.width / 2 * np.array([-t[1], t[0]])
        edges = np.unique(np.clip(np.concatenate([[start, start + length], cuts]) - start, 0.0, length))
        cells = [
            np.array([corner + a * t - side, corner + b * t - side, corner + b * t + side, corner + a * t + side])
            for a, b in pairwise(edges)
        ]
        for band in bands:
            if -brace.width < (band.point - corner) @ t < length + brace.width:
                cells = [part for cell in cells for part in _outside(cell, band)]
        for band in near:
            if -brace.width < (band.point - corner) @ t < length + brace.width:
                cells = [part for cell in cells for part in (*_outside(cell, band), *_inside(cell, band))]
        points, xy = points_in(cells, locator)
        found.append(points)
        distances.append(np.clip((xy - corner) @ t, 0.0, length) + start)
        angles.append(np.full(len(xy), np.arctan2(t[1], t[0])))
    return _joined(found), np.concatenate(distances), np.concatenate(angles)


def block_points(
    crossing: Crossing, pair: tuple[Brace, Brace], locator: Locator
) -> tuple[Points, np.ndarray, tuple[float, float]]:
    """Points over the parallelogram where two braces cross.

    Returns
    -------
    points : Points
    distances : (2, n) array, m
        Along the under and the over brace.
    angles : pair, rad
    """
    point = np.asarray(crossing.point)
    along = [distance_to(brace, point) for brace in pair]
    tangents = np.array([brace.position(np.array([s]))[1][0] for brace, s in zip(pair, along, strict=True)])
    normals = np.column_stack([-tangents[:, 1], tangents[:, 0]])
    halves = np.array([brace.width / 2 for brace in pair])
    signs = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    corners = point + np.linalg.solve(normals, (signs * halves).T).T
    cells = [corners]
    for brace, s, t in zip(pair, along, tangents, strict=True):
        for end in np.concatenate([brace.stations[:, 0], stretch_ends(brace)]):
            cells = [part for cell in cells for part in _outside(cell, Band(point + (end - s) * t, t, 0.0))]
    points, xy = points_in(cells, locator)
    distances = np.stack([s + (xy - point) @ t for s, t in zip(along, tangents, strict=True)])
    angles = (float(np.arctan2(*tangents[0][::-1])), float(np.arctan2(*tangents[1][::-1])))
    return points, distances, angles


def band_of(design: Design, name: str, point: np.ndarray) -> Band:
    """The strip of brace `name` near a point on it."""
    brace = design.brace(name)
    point, tangent = place_on(brace, point)
    return Band(point, np.array([-tangent[1], tangent[0]]), brace.width / 2)


def place_on(brace: Brace, point: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The place on a brace's path nearest to a point, (2,) in m, and its direction there, (2,)."""
    at, tangents = brace.position(np.array([distance_to(brace, point)]))
    return at[0], tangents[0]


def distance_to(brace: Brace, point: np.ndarray) -> float:
    """Distance along a brace of the place nearest to a point, m."""
    return float(shapely.LineString(brace.path).project(shapely.Point(point)))


def points_in(cells: Sequence[np.ndarray], locator: Locator) -> tuple[Points, np.ndarray]:
    """Points over convex cells, each an (m, 2) array of corners in m, and their positions (n, 2)."""
    polygons = shapely.polygons([shapely.linearrings(cell) for cell in cells]) if cells else np.array([])
    which, element = locator.triangles_meeting(polygons)
    parts = shapely.intersection(polygons[which], locator.triangles(element))
    keep = shapely.area(parts) > _SLIVER
    corners, owner = [], []
    for part, triangle in zip(parts[keep], element[keep], strict=True):
        for polygon in shapely.get_parts(part):
            if shapely.area(polygon) > _SLIVER:
                ring = _corners(shapely.get_coordinates(polygon)[:-1])
                fan = [tuple(ring)]
                if len(ring) > 3:
                    # About the centroid, so that the points do not depend on where the ring happens to begin, nor on
                    # a corner that rounding has doubled.
                    middle = shapely.get_coordinates(shapely.centroid(polygon))[0]
                    fan = [(middle, ring[k - 1], ring[k]) for k in range(len(ring))]
                corners += fan
                owner += [triangle] * len(fan)
    if not corners:
        return Points(np.zeros(0, dtype=int), np.zeros((2, 0)), np.zeros(0)), np.zeros((0, 2))
    fans = np.array(corners)
    X, W = get_quadrature(locator.flat.refdom, _RULE_ORDER)
    a, b, c = fans[:, 0], fans[:, 1] - fans[:, 0], fans[:, 2] - fans[:, 0]
    double = np.abs(b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    xy = (a[:, None] + X[0][:, None] * b[:, None] + X[1][:, None] * c[:, None]).reshape(-1, 2)
    weight = (double[:, None] * W).ravel()
    triangle = np.repeat(np.array(owner), len(W))
    return Points(triangle, locator.local(xy, triangle), weight), xy


def _corners(ring: np.ndarray) -> np.ndarray:
    """The vertices (n, 2) of a convex polygon that are corners, without those that rounding has put on a side."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    corners = ring[np.abs(turn) > _STRAIGHT * np.hypot(*before.T) * np.hypot(*after.T)]
    return corners if len(corners) >= 3 else ring


def _outside(cell: np.ndarray, band: Band) -> list[np.ndarray]:
    """The convex parts of a convex cell on either side of a band."""
    height = (cell - band.point) @ band.normal
    parts = (_below(cell, height + band.half), _below(cell, band.half - height))
    return [part for part in parts if len(part) >= 3]


def _inside(cell: np.ndarray, band: Band) -> list[np.ndarray]:
    """The part of a convex cell within a band, if any."""
    part = cell
    for side in (1.0, -1.0):
        if len(part):
            part = _below(part, side * ((part - band.point) @ band.normal) - band.half)
    return [part] if len(part) >= 3 else []


def _below(cell: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Part of a convex cell where `height`, linear and given at the corners, is negative."""
    corners = []
    for k in range(len(cell)):
        here, there = height[k - 1], height[k]
        if (here < 0) != (there < 0):
            corners.append(cell[k - 1] + (cell[k] - cell[k - 1]) * here / (here - there))
        if there < 0:
            corners.append(cell[k])
    return np.array(corners).reshape(-1, 2)


def _joined(parts: Sequence[Points]) -> Points:
    return Points(
        np.concatenate([p.element for p in parts]),
        np.concatenate([p.local for p in parts], axis=1),
        np.concatenate([p.weight for p in parts]),
    )
