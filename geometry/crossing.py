"""Footprints of braces and the crossings cut between them. Depends on geometry/design."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design
from bracedtop.geometry.outline import Array, frozen

Indices = NDArray[np.int_]


@dataclass(frozen=True, slots=True)
class Crossing:
    """A place where two braces pass through each other.

    Parameters
    ----------
    under, over : str
        Names: `under` keeps its wood next to the top, `over` is notched to pass across it.
    point : (2,) array, m
        Where the centrelines cross.
    kept : float, m
        Height of `under` left there.
    polygon : shapely.Polygon
        Area of the top that both braces cover there.
    cap, cap_length : float, m
        Of the piece glued along `under` over the crossing; 0 for none.
    """

    under: str
    over: str
    point: Array
    kept: float
    polygon: shapely.Polygon
    cap: float = 0.0
    cap_length: float = 0.0


@dataclass(frozen=True, slots=True)
class Butt:
    """An end of a brace that is cut off at another brace's flank and glued to it.

    Parameters
    ----------
    brace, against : str
    end : int
        Index of the path's point: 0 for the first, -1 for the last.
    """

    brace: str
    against: str
    end: int

    def block(self, design: Design) -> Crossing:
        """The part of the through brace's strip that the end meets, as a crossing in which nothing is notched."""
        through, butted = design.brace(self.against), design.brace(self.brace)
        line = shapely.LineString(through.path)
        point = line.interpolate(line.project(shapely.Point(butted.path[self.end])))
        return Crossing(through.name, butted.name, frozen(point.coords[0]), np.inf, brace_footprint(through))


BUTT_GAP = 0.5e-3
"""Largest gap between a brace's end and the flank it butts against, m; chosen: what glue fills."""


LEAST_BUTT_ANGLE = np.deg2rad(10.0)
"""Least angle between a brace and the one whose flank its end meets, as between crossing ones: ends in one line face
each other's end grain, which holds no glue."""


def butts(design: Design) -> tuple[Butt, ...]:
    """All `butts_of` the braces of a design, in their order."""
    return tuple(butt for brace in design.braces for butt in butts_of(brace, design))


def butts_of(brace: Brace, design: Design) -> tuple[Butt, ...]:
    """Ends of a brace that lie on another brace, or not further from it than `BUTT_GAP`.

    Where two braces end on one another the first listed one is cut.
    """
    names = [other.name for other in design.braces]
    lines = np.array([shapely.LineString(other.path) for other in design.braces], dtype=object)
    halves = np.array([other.width for other in design.braces]) / 2
    mine = names.index(brace.name)
    found = []
    for end in (0, -1):
        near = shapely.distance(lines, shapely.Point(brace.path[end])) - halves <= BUTT_GAP
        for k in np.flatnonzero(near):
            other = design.braces[k]
            if k == mine or not _ends_on(brace, end, other):
                continue
            if k < mine and any(_ends_on(other, far, brace) for far in (0, -1)):
                continue
            found.append(Butt(brace.name, other.name, end))
    return tuple(found)


def _ends_on(brace: Brace, end: int, other: Brace) -> bool:
    """Whether an end of a brace meets the flank of another."""
    point, line, through = (
        shapely.Point(brace.path[end]),
        shapely.LineString(brace.path),
        shapely.LineString(other.path),
    )
    gap = through.distance(point) - other.width / 2
    # An end that stands out beyond the far flank has crossed the other one.
    if gap > BUTT_GAP or (gap > 0 and line.intersects(through)):
        return False
    if _sine(brace, other, point) < np.sin(LEAST_BUTT_ANGLE):
        return False
    # A brace that lies along another one does not end on it.
    inside = line.intersection(through.buffer(other.width / 2, cap_style="flat"))
    return bool(inside.length <= brace.length / 2)


def _sine(first: Brace, second: Brace, point: shapely.Point) -> float:
    """Sine of the angle between two braces where they are nearest to a point."""
    a, b = (
        brace.position(np.array([shapely.LineString(brace.path).project(point)]))[1][0] for brace in (first, second)
    )
    return float(abs(a[0] * b[1] - a[1] * b[0]))


def brace_footprint(brace: Brace) -> shapely.Polygon:
    """Glued face of a brace: a strip of its width about its path, cut square at the ends."""
    path = shapely.LineString(brace.path)
    return shapely.Polygon(path.buffer(brace.width / 2, cap_style="flat", join_style="mitre"))


def crossings(design: Design) -> tuple[Crossing, ...]:
    """All crossings of braces, in the order of the braces and along the first of each two.

    Two braces cross where their centrelines do and both go on, either way, past the other's flank. A brace that
    ends on another or inside its width butts against it, which is no crossing. Without a `Joint` of the two the
    first listed brace lies under, and half of the lower brace's height is kept.

    Parameters
    ----------
    design : Design

    Returns
    -------
    crossings : tuple of Crossing
    """
    braces = design.braces
    if len(braces) < 2:
        return ()
    paths = np.array([shapely.LineString(brace.path) for brace in braces], dtype=object)
    first, second = shapely.STRtree(paths).query(paths, predicate="intersects")
    once = first < second
    i, j, xy, s, r = _passings(braces, paths, first[once], second[once])
    faces = {int(k): brace_footprint(braces[k]) for k in np.unique([i, j])}
    joints = {frozenset((joint.under, joint.over)): joint for joint in design.joints}
    found = []
    for k in np.lexsort((s, j, i)):
        a, b = braces[i[k]], braces[j[k]]
        joint = joints.get(frozenset((a.name, b.name)))
        under, over = (b, a) if joint is not None and joint.under == b.name else (a, b)
        low = min(float(a.height(s[k])), float(b.height(r[k])))
        kept = low / 2 if joint is None or joint.kept is None else joint.kept
        parts = shapely.get_parts(shapely.intersection(faces[int(i[k])], faces[int(j[k])]))
        nearest = int(np.argmin(shapely.distance(parts, shapely.Point(xy[k]))))
        cap = (0.0, 0.0) if joint is None else (joint.cap, joint.cap_length)
        found.append(Crossing(under.name, over.name, frozen(xy[k]), kept, parts[nearest], *cap))
    return tuple(found)


def _passings(
    braces: Sequence[Brace], paths: NDArray[np.object_], i: Indices, j: Indices
) -> tuple[Indices, Indices, Array, Array, Array]:
    """Where braces i[k] and j[k] pass through each other: their numbers, the point, and its distance along either."""
    meetings, of = shapely.get_parts(shapely.intersection(paths[i], paths[j]), return_index=True)
    dots = shapely.get_type_id(meetings) == shapely.GeometryType.POINT
    points, i, j = meetings[dots], i[of[dots]], j[of[dots]]
    widths = np.array([brace.width for brace in braces])
    s, r = (shapely.line_locate_point(paths[k], points) for k in (i, j))
    xy = shapely.get_coordinates(points)
    a, b = _direction(paths[i], s, widths[j] / 2), _direction(paths[j], r, widths[i] / 2)
    sine = np.maximum(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), 1e-3)
    ok = _leaves(paths[i], s, widths[j] / 2 / sine, b) & _leaves(paths[j], r, widths[i] / 2 / sine, a)
    return i[ok], j[ok], xy[ok], s[ok], r[ok]


def _direction(paths: NDArray[np.object_], distance: Array, reach: Array) -> Array:
    """Unit vectors (n, 2) along paths about given distances, taken over `reach` either way."""
    length = shapely.length(paths)
    before, after = np.maximum(distance - reach, 0.0), np.minimum(distance + reach, length)
    chord = _at(paths, after) - _at(paths, before)
    return np.asarray(chord / np.hypot(*chord.T)[:, None])


def _leaves(paths: NDArray[np.object_], distance: Array, reach: Array, along: Array) -> NDArray[np.bool_]:
    """Whether paths go on for `reach` either way, to opposite sides of lines in the directions `along`."""
    point = _at(paths, distance)
    inside = (distance >= reach) & (distance <= shapely.length(paths) - reach)
    # Looked at beyond the flank, so that a path which only bends at the other's centreline is told apart.
    before, after = _at(paths, np.maximum(distance - reach, 0.0)) - point, _at(paths, distance + reach) - point
    sides = [along[:, 0] * step[:, 1] - along[:, 1] * step[:, 0] for step in (before, after)]
    return np.asarray(inside & (sides[0] * sides[1] < 0))


def _at(paths: NDArray[np.object_], distance: Array) -> Array:
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(paths, distance)))
