"""Wood taken off at the bench: along braces, and off the outside along the edge.

Depends on geometry/brace, geometry/crossing, geometry/design, geometry/thickness.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import crossings
from bracedtop.geometry.design import Design, Joint, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, frozen
from bracedtop.geometry.thickness import thickness_at

EDGE_RING = "edge ring"
"""The part that is the ring along the rim; no brace of that name can be cut."""

NEAR = 1e-6
"""A cut's end this close to a station, to the brace's end or to another cut's end is there, m; chosen: a thousandth of
a millimetre is below any tool, and above what rounding in a file leaves."""

BEYOND = 0.5e-3
"""A cut may be written to end this far beyond the brace's end, m, where it ends; chosen: what a rule laid along a brace
shows."""

_ROUNDING = 1e-9
"""A cut may go deeper than the wood by this, m, as sums of tenths of millimetres round so."""

_STEP = 2e-3
"""Distance of the places along an edge ring where the wood left is looked at, m; as in geometry/check_thickness."""


@dataclass(frozen=True, slots=True)
class Cut:
    """One stretch of wood taken off a part.

    Parameters
    ----------
    part : str
        Name of a brace, or "edge ring".
    start, stop : float, m
        Along the brace from its first path point; both 0 for the ring, which is thinned evenly all round.
    depth_start, depth_stop : float, m
        Off the brace's free side at either end, linear between; off the outside of the ring, where both are the same.

    Raises
    ------
    DesignError
        If the stretch does not run forward, or a depth is negative or not finite.
    """

    part: str
    start: float
    stop: float
    depth_start: float
    depth_stop: float

    def __post_init__(self) -> None:
        """Check the numbers once."""
        where = f'cut of "{self.part}"'
        for depth in (self.depth_start, self.depth_stop):
            if not 0 <= depth < np.inf:
                message = f"{where}: depth {1e3 * depth:g} mm; must be >= 0"
                raise DesignError(message)
        found = f"{where} from {1e3 * self.start:g} to {1e3 * self.stop:g} mm"
        if self.is_ring:
            if self.start != 0 or self.stop != 0 or self.depth_start != self.depth_stop:
                message = f"{found}: the ring is thinned evenly; must be from 0 to 0 with one depth"
                raise DesignError(message)
        elif not 0 <= self.start < self.stop < np.inf:
            message = f"{found}: must run forward from 0 or more"
            raise DesignError(message)

    @property
    def is_ring(self) -> bool:
        """Whether it is of the edge ring."""
        return self.part == EDGE_RING

    @property
    def is_nothing(self) -> bool:
        """Whether it takes no wood."""
        return self.depth_start == 0 and self.depth_stop == 0

    def depth(self, distance: Array) -> Array:
        """Depth at distances (n,) along the brace, both ends included, 0 off the stretch; (n,) in m."""
        s = np.asarray(distance, dtype=float)
        inside = (s >= self.start) & (s <= self.stop)
        t = (s - self.start) / (self.stop - self.start)
        return np.where(inside, self.depth_start + t * (self.depth_stop - self.depth_start), 0.0)


def cut_design(design: Design, cuts: Iterable[Cut]) -> Design:
    """Copy of a design with less wood: depths of cuts that overlap add up, whatever their order.

    Stations are added where a cut ends; where two cuts meet with one depth the profile goes on without a step. Joints
    keep the notches that they were cut with.

    Raises
    ------
    DesignError
        If there is no such brace or ring, a cut lies off its brace, or there is not that much wood.
    """
    by_part: dict[str, list[Cut]] = {}
    for cut in cuts:
        if not cut.is_ring:
            placed(design.brace(cut.part), cut)
        if not cut.is_nothing:
            by_part.setdefault(cut.part, []).append(cut)
    if not by_part:
        return design
    ring = by_part.pop(EDGE_RING, [])
    lowered = {name: cut_brace(design.brace(name), own) for name, own in by_part.items()}
    notched = {frozenset((c.under, c.over)): c for c in crossings(design)} if lowered else {}
    joints = tuple(Joint(c.under, c.over, c.kept, c.cap, c.cap_length) for c in notched.values())
    return replace(
        design,
        plate=_thinned(design, math.fsum(cut.depth_start for cut in ring)) if ring else design.plate,
        braces=tuple(lowered.get(brace.name, brace) for brace in design.braces),
        joints=joints if lowered else design.joints,
    )


def cut_brace(brace: Brace, cuts: Sequence[Cut]) -> Brace:
    """Copy of a brace with the depths of cuts taken off its height.

    Raises
    ------
    DesignError
        If a cut lies off the brace, or there is not that much wood.
    """
    own = _joined([placed(brace, cut) for cut in cuts if not cut.is_nothing])
    if not own:
        return brace
    ends = [end for cut in own for end in (cut.start, cut.stop)]
    grid = np.unique(np.concatenate([brace.stations[:, 0], ends]))
    # Two heights at each place, so that steps of the brace and of the cuts stay steps.
    heights = np.stack([brace.height_before(grid), brace.height(grid)], axis=1)
    depths = _depths(own, grid)
    side = np.unravel_index((heights - depths).argmin(), heights.shape)
    if heights[side] - depths[side] < -_ROUNDING:
        message = (
            f'brace "{brace.name}": {1e3 * depths[side]:.2f} mm to take at {1e3 * grid[side[0]]:.1f} mm, where it '
            f"is {1e3 * heights[side]:.2f} mm high; must be between 0 and that height"
        )
        raise DesignError(message)
    left = np.maximum(heights - depths, 0.0)
    rows = list(zip(np.repeat(grid, 2).tolist(), left.ravel().tolist(), strict=True))
    # Of what lies off the brace at its ends there is no height.
    inner = rows[int(grid[0] <= 0) : len(rows) - int(grid[-1] >= brace.length)]
    return replace(brace, stations=frozen(_without_repeats(inner)))


def placed(brace: Brace, cut: Cut) -> Cut:
    """The cut with its ends on the brace's stations and ends where they are meant to be there.

    Raises
    ------
    DesignError
        If it lies off the brace.
    """
    if cut.start >= brace.length - NEAR or cut.stop > brace.length + BEYOND:
        message = (
            f'brace "{brace.name}": cut from {1e3 * cut.start:g} to {1e3 * cut.stop:g} mm; '
            f"must lie inside 0 to {1e3 * brace.length:.1f} mm"
        )
        raise DesignError(message)
    # Stations first: one may lie a rounding beyond the brace's end.
    marks = np.concatenate([np.maximum(brace.stations[:, 0], 0.0), [0.0, brace.length]])
    start, stop = (_snapped(min(end, brace.length), marks) for end in (cut.start, cut.stop))
    if not start < stop:
        message = (
            f'brace "{brace.name}": cut from {1e3 * cut.start:g} to {1e3 * cut.stop:g} mm; '
            f"must be longer than {1e3 * NEAR:g} mm"
        )
        raise DesignError(message)
    return replace(cut, start=start, stop=stop)


def thinnest_ring(design: Design) -> float:
    """Least thickness of the wood in the edge ring, before any of it is taken off the outside, m."""
    plate = design.plate
    if plate.grid is None and not plate.regions:
        return plate.thickness
    ring = ring_area(design)
    candidates = [shapely.get_coordinates(ring.segmentize(_STEP))]
    if plate.grid is not None:
        candidates.append(plate.grid.points[:, :2])
    candidates += [shapely.get_coordinates(region.polygon.intersection(ring)) for region in plate.regions]
    xy = np.concatenate(candidates)
    return float(thickness_at(plate, xy[shapely.intersects_xy(ring.buffer(1e-9), xy[:, 0], xy[:, 1])]).min())


def ring_area(design: Design) -> shapely.Geometry:
    """The edge ring: what is left of the top's wood outside `ring_width` from the rim's inside."""
    outline = design.outline.polygon
    return design.region.difference(outline.buffer(-design.plate.ring_width, quad_segs=32))


def _thinned(design: Design, depth: float) -> Plate:
    plate = design.plate
    if plate.ring_width == 0:
        message = f'"{EDGE_RING}": {1e3 * depth:.2f} mm to take; the drawing has no edge ring, see edge_ring_width_mm'
        raise DesignError(message)
    left = thinnest_ring(design) - plate.ring_reduction
    if depth >= left - _ROUNDING:
        message = (
            f'"{EDGE_RING}": {1e3 * depth:.2f} mm to take where the wood is {1e3 * left:.2f} mm thick; '
            "must be between 0 and below that thickness"
        )
        raise DesignError(message)
    return replace(plate, ring_reduction=plate.ring_reduction + depth)


def _snapped(end: float, marks: Array) -> float:
    """The first of the marks that is near an end, or the end itself."""
    near = marks[np.abs(marks - end) <= NEAR]
    return float(near[0]) if len(near) else end


def _joined(cuts: Sequence[Cut]) -> list[Cut]:
    """Cuts of one brace whose ends are one where they nearly are, so that neighbours neither gape nor overlap."""
    marks: list[float] = []
    for end in sorted(end for cut in cuts for end in (cut.start, cut.stop)):
        if not marks or end > marks[-1] + NEAR:
            marks.append(end)
    lower = np.array(marks)
    ends = [(float(lower[lower <= cut.start][-1]), float(lower[lower <= cut.stop][-1])) for cut in cuts]
    return [replace(cut, start=a, stop=b) for cut, (a, b) in zip(cuts, ends, strict=True) if a < b]


def _depths(cuts: Sequence[Cut], grid: Array) -> Array:
    """Depths just before and just behind places (n,) on a brace, (n, 2) in m."""
    out = np.zeros((len(grid), 2))
    # In one order, so that the sums do not depend on the cuts' own.
    for cut in sorted(cuts, key=lambda c: (c.start, c.stop, c.depth_start, c.depth_stop)):
        depth = cut.depth(grid)
        out[:, 0] += np.where(grid > cut.start, depth, 0.0)
        out[:, 1] += np.where(grid < cut.stop, depth, 0.0)
    return out


def _without_repeats(rows: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Rows without those that rounding alone tells from the one before."""
    kept = [rows[0]]
    for row in rows[1:]:
        if row[0] != kept[-1][0] or abs(row[1] - kept[-1][1]) > _ROUNDING:
            kept.append(row)
    # A station on its own at either end of a brace needs a second one.
    return kept if len(kept) > 1 else kept * 2
