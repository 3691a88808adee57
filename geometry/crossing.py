"""Footprints of braces and the crossings cut between them. Depends on geometry/design."""

from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design
from bracedtop.geometry.outline import Array, frozen


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
    """

    under: str
    over: str
    point: Array
    kept: float
    polygon: shapely.Polygon


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
    paths = np.array([shapely.LineString(brace.path) for brace in braces], dtype=object)
    if len(paths) < 2:
        return ()
    first, second = shapely.STRtree(paths).query(paths, predicate="intersects")
    joints = {frozenset((joint.under, joint.over)): joint for joint in design.joints}
    found = []
    for i, j in sorted((int(i), int(j)) for i, j in zip(first, second, strict=True) if i < j):
        points = crossing_points(braces[i], braces[j])
        if not points:
            continue
        joint = joints.get(frozenset((braces[i].name, braces[j].name)))
        swapped = joint is not None and joint.under == braces[j].name
        under, over = (braces[j], braces[i]) if swapped else (braces[i], braces[j])
        shared = shapely.intersection(brace_footprint(under), brace_footprint(over))
        for point in points:
            low = min(float(b.height(np.array(distance_along(b, point)))) for b in (under, over))
            kept = low / 2 if joint is None or joint.kept is None else joint.kept
            parts = [part for part in shapely.get_parts(shared) if part.geom_type == "Polygon"]
            nearest = int(np.argmin(shapely.distance(parts, shapely.Point(point))))
            found.append(Crossing(under.name, over.name, frozen(point), kept, parts[nearest]))
    return tuple(found)


def crossing_points(a: Brace, b: Brace) -> list[Array]:
    """Points where two braces pass through each other, (2,) arrays in m, in order along `a`."""
    meeting = shapely.intersection(shapely.LineString(a.path), shapely.LineString(b.path))
    points = [np.array(part.coords[0]) for part in shapely.get_parts(meeting) if part.geom_type == "Point"]
    points = [p for p in points if _passes(a, b, p) and _passes(b, a, p)]
    return sorted(points, key=lambda p: distance_along(a, p))


def distance_along(brace: Brace, point: Array) -> float:
    """Distance along a brace's path of its place nearest to a point, m."""
    return float(shapely.LineString(brace.path).project(shapely.Point(point)))


def _passes(brace: Brace, other: Brace, point: Array) -> bool:
    """Whether `brace` leaves the flanks of `other` on opposite sides of `point`."""
    s, r = distance_along(brace, point), distance_along(other, point)
    along = other.position(np.array([r]))[1][0]
    direction = brace.position(np.array([s]))[1][0]
    sine = abs(float(along[0] * direction[1] - along[1] * direction[0]))
    # Looked at beyond the flank, so that a path which only bends at the other's centreline is told apart.
    reach = other.width / 2 / max(sine, 1e-3)
    if s < reach or s > brace.length - reach:
        return False
    offsets = brace.position(np.array([s - reach, s + reach]))[0] - point
    sides = along[0] * offsets[:, 1] - along[1] * offsets[:, 0]
    return bool(sides[0] * sides[1] < 0)
