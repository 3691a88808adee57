"""Whether an outline, its holes and its plate make a top. Depends on geometry/design."""

from itertools import combinations

import numpy as np
import shapely

from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, Outline

SLACK = 0.5e-3
"""What parts drawn to meet may overlap or stick out, m; chosen: what drawing by hand and rounding leave."""

LEAST_TOP, LEAST_NECK, LEAST_PART = 10e-3, 2e-3, 2e-3
"""Least width of a top, of its narrowest place, and of a hole, a patch or the wood beside a hole, m; chosen: below
them a slip of the pen is likelier than a wish."""

LEAST_CORNER = np.deg2rad(10.0)
"""Sharpest corner; chosen: a triangle in it has at most this angle."""

SLIT, LONGEST_SLIT = 1e-3, 6e-3
"""Width up to which and length from which a tongue or a notch of an outline is refused, m; chosen: a corner of ten
degrees is that narrow over 5.7 mm."""

LEAST_SIDE = 0.1e-3
"""Least distance of two corners, m; chosen: below what can be cut."""

SLIMMEST_HOLE = 20.0
"""Largest length of a hole over its width; chosen: slits beyond it are cracks."""

THICKEST = 0.2
"""Largest thickness of a plate over its least extent; chosen: thicker ones are no plates."""


def check_outline(outline: Outline) -> None:
    """Refuse an outline that is too small, too narrow somewhere or too sharp.

    Raises
    ------
    DesignError
    """
    polygon = outline.polygon
    if polygon.buffer(-LEAST_TOP / 2).is_empty:
        message = f"outline: less than {1e3 * LEAST_TOP:g} mm across; a top has to be wider"
        raise DesignError(message)
    check_corners(outline, "outline")
    check_tongues(polygon, "outline")
    parts = shapely.get_parts(polygon.buffer(-LEAST_NECK / 2))
    if len(parts) > 1:
        near = shapely.shortest_line(parts[0], parts[1]).centroid
        message = f"outline: less than {1e3 * LEAST_NECK:g} mm across near {shown_point(near)} mm; it has to be wider"
        raise DesignError(message)


def check_tongues(polygon: shapely.Polygon, where: str) -> None:
    """Refuse long narrow tongues of an area and long narrow notches in it.

    Raises
    ------
    DesignError
    """
    half = SLIT / 2
    # A smooth curve has far more points than this needs.
    polygon = polygon.simplify(SLIT / 20)
    opened, closed = polygon.buffer(-half).buffer(half), polygon.buffer(half).buffer(-half)
    tongues, notches = polygon.difference(opened), closed.difference(polygon)
    for kind, rest, end in (("tongue", tongues, opened), ("notch", notches, closed.boundary)):
        tips = shapely.points(shapely.get_coordinates(rest))
        if not len(tips):
            continue
        depth = shapely.distance(tips, end)
        k = int(depth.argmax())
        if depth[k] > LONGEST_SLIT:
            message = (
                f"{where}: {kind} less than {1e3 * SLIT:g} mm wide at {shown_point(tips[k])} mm; "
                f"must be wider or shorter than {1e3 * LONGEST_SLIT:g} mm"
            )
            raise DesignError(message)


def check_corners(outline: Outline, where: str) -> None:
    """Refuse corners that are too sharp or too close together.

    Raises
    ------
    DesignError
    """
    before = outline.points - np.roll(outline.points, 1, axis=0)
    after = np.roll(before, -1, axis=0)
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1))
    sharp = np.flatnonzero(outline.corners & (np.pi - np.abs(turn) < LEAST_CORNER))
    if len(sharp):
        angle = np.rad2deg(np.pi - np.abs(turn[sharp[0]]))
        message = (
            f"{where}: corner of {angle:.1f} degrees at {shown_point(outline.points[sharp[0]])} mm; "
            f"must be at least {np.rad2deg(LEAST_CORNER):g}"
        )
        raise DesignError(message)
    both = outline.corners & np.roll(outline.corners, -1)
    short = np.flatnonzero(both & (np.hypot(*after.T) < LEAST_SIDE))
    if len(short):
        found = f"points {1e3 * np.hypot(*after[short[0]]):.3f} mm apart at {shown_point(outline.points[short[0]])} mm"
        message = f"{where}: {found}; must be at least {1e3 * LEAST_SIDE:g} mm apart"
        raise DesignError(message)


def check_plate(design: Design) -> None:
    """Refuse a plate that is too thick or an edge ring that does not fit.

    Raises
    ------
    DesignError
    """
    plate, polygon = design.plate, design.outline.polygon
    x0, y0, x1, y1 = polygon.bounds
    most = THICKEST * min(x1 - x0, y1 - y0)
    if plate.thickness > most:
        message = (
            f"top.thickness_mm = {1e3 * plate.thickness:g}: must be at most {1e3 * most:.1f}, "
            f"{THICKEST:g} of the outline's least extent"
        )
        raise DesignError(message)
    if plate.ring_width == 0:
        return
    where = f"top.edge_ring_width_mm = {1e3 * plate.ring_width:g}"
    if plate.ring_width < LEAST_PART / 2:
        message = f"{where}: must be 0 for none or at least {1e3 * LEAST_PART / 2:g}"
        raise DesignError(message)
    # A little narrower still, so that no sliver is left between the ring's two sides.
    inner = polygon.buffer(-plate.ring_width - LEAST_PART / 2)
    if inner.is_empty:
        message = f"{where}: leaves no wood inside the ring; must be less than half of the outline's width"
        raise DesignError(message)
    if inner.geom_type != "Polygon":
        message = f"{where}: cuts the top inside the ring in two; must be less than half of the narrowest width"
        raise DesignError(message)


def check_holes(design: Design) -> None:
    """Refuse holes of an odd size and holes too close to the rim or to each other.

    Raises
    ------
    DesignError
    """
    polygon = design.outline.polygon
    holes = [hole.outline().polygon for hole in design.holes]
    for k, (hole, area) in enumerate(zip(design.holes, holes, strict=True), start=1):
        width, length = 2 * np.sort(hole.semi_axes)
        if width < LEAST_PART or length > SLIMMEST_HOLE * width:
            message = (
                f"hole {k}: {1e3 * length:g} by {1e3 * width:g} mm; must be at least {1e3 * LEAST_PART:g} mm wide "
                f"and at most {SLIMMEST_HOLE:g} times as long as wide"
            )
            raise DesignError(message)
        where = f"hole {k}.centre_mm = {shown_point(hole.centre)}"
        if not polygon.contains(area):
            message = f"{where}: the hole crosses or leaves the outline; it has to lie inside"
            raise DesignError(message)
        gap = polygon.exterior.distance(area)
        if gap < LEAST_PART:
            message = f"{where}: {1e3 * gap:.2f} mm from the rim; must be at least {1e3 * LEAST_PART:g} mm"
            raise DesignError(message)
    for i, j in combinations(range(len(holes)), 2):
        gap = holes[i].distance(holes[j])
        if gap < LEAST_PART:
            found = f"{1e3 * gap:.2f} mm from hole {i + 1}" if gap > 0 else f"the hole meets hole {i + 1}"
            message = (
                f"hole {j + 1}.centre_mm = {shown_point(design.holes[j].centre)}: {found}; "
                f"must be at least {1e3 * LEAST_PART:g} mm away"
            )
            raise DesignError(message)


def shown_point(point: Array | shapely.Point) -> str:
    """A point in millimetres, such as ``[512.0, 3.0]``."""
    x, y = (point.x, point.y) if isinstance(point, shapely.Point) else point
    # Adding 0.0 turns -0.0 into 0.0.
    return f"[{round(1e3 * float(x), 1) + 0.0:.1f}, {round(1e3 * float(y), 1) + 0.0:.1f}]"
