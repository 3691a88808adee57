"""Whether thickness, dome and masses make sense on their top. Depends on geometry/design, geometry/check_region."""

import numpy as np
import shapely

from bracedtop.geometry.check_patches import refuse_repeats
from bracedtop.geometry.check_region import LEAST_PART, check_corners, check_tongues, shown_point
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.thickness import thickness_at

UNLIKELY = 4.0
"""Largest ratio of a thickness of the top to its nominal one; chosen: beyond it a slip of the decimal point is likelier
than a wish."""

FARTHEST = 1 / 4
"""Farthest that a measured point may lie off the top, over the outline's larger extent; chosen: the corners of a blank
measured before it is cut to a guitar's outline lie nearer, points in other units or from another origin farther."""

STEEPEST = 1 / 5
"""Largest rise of a dome over its extent. The usual limit of shallow-shell theory (V. Z. Vlasov, General Theory of
Shells, 1949, English NASA TT F-99, 1964; recalled)."""

_STEP = 2e-3
"""Distance of the places along an edge ring where the wood left is looked at, m."""


def check_thickness(design: Design) -> None:
    """Refuse regions that do not fit, measured points off the top, and wood thinned through.

    Raises
    ------
    DesignError
    """
    plate, region = design.plate, design.region
    for k, own in enumerate(plate.regions, start=1):
        where = f"thickness {k}"
        check_corners(own.outline, where)
        check_tongues(own.polygon, where)
        if own.polygon.intersection(region).buffer(-LEAST_PART / 2).is_empty:
            message = f"{where}: less than {1e3 * LEAST_PART:g} mm of it lies on the top's wood; more of it has to"
            raise DesignError(message)
        _check_likely(f"{where}.thickness_mm = {1e3 * own.thickness:g}", own.thickness, plate)
    if plate.grid is not None:
        points = plate.grid.points
        off = shapely.distance(design.outline.polygon, shapely.points(points[:, :2]))
        most = FARTHEST * float(np.ptp(design.outline.points, axis=0).max())
        if off.max() > most:
            k = int(off.argmax())
            message = (
                f"measured thickness: point {k + 1} at {shown_point(points[k, :2])} mm lies {1e3 * off[k]:.0f} mm off "
                f"the top; must be at most {1e3 * most:.0f} mm off"
            )
            raise DesignError(message)
        for k, (*xy, t) in enumerate(points, start=1):
            where = f"measured thickness: point {k} at {shown_point(np.array(xy))} mm"
            _check_likely(f"{where} is {1e3 * t:g} mm", t, plate)
    _check_ring(design)


def _check_likely(found: str, thickness: float, plate: Plate) -> None:
    low, high = plate.thickness / UNLIKELY, plate.thickness * UNLIKELY
    if not low <= thickness <= high:
        message = (
            f"{found}; must lie from {1e3 * low:g} to {1e3 * high:g} beside top.thickness_mm = "
            f"{1e3 * plate.thickness:g}"
        )
        raise DesignError(message)


def _check_ring(design: Design) -> None:
    plate = design.plate
    if plate.ring_width == 0 or plate.ring_reduction == 0 or not (plate.regions or plate.grid):
        return
    polygon = design.outline.polygon
    ring = polygon.difference(polygon.buffer(-plate.ring_width))
    # Between measured points the thickness is linear, so it is least at one of them or on the ring's own borders.
    candidates = [shapely.get_coordinates(ring.segmentize(_STEP))]
    if plate.grid is not None:
        candidates.append(plate.grid.points[:, :2])
    for k, own in enumerate(plate.regions):
        seen = own.polygon.intersection(ring).difference(shapely.union_all([r.polygon for r in plate.regions[k + 1 :]]))
        candidates.append(shapely.get_coordinates(seen.representative_point()))
    xy = np.concatenate(candidates)
    xy = xy[shapely.intersects_xy(ring, xy[:, 0], xy[:, 1])]
    thickness = thickness_at(plate, xy)
    k = int(thickness.argmin())
    if thickness[k] <= plate.ring_reduction:
        message = (
            f"top.edge_ring_reduction_mm = {1e3 * plate.ring_reduction:g}: the wood at {shown_point(xy[k])} mm is "
            f"{1e3 * thickness[k]:.2f} mm thick; some has to remain"
        )
        raise DesignError(message)


def check_dome(design: Design) -> None:
    """Refuse a dome too steep for a shallow shell.

    Raises
    ------
    DesignError
    """
    dome = design.plate.dome
    if dome is None or dome.is_flat:
        return
    points = design.outline.points
    rises = (points - np.array(dome.crown)) ** 2 * dome.curvatures / 2
    for axis, name in enumerate(("along", "across")):
        rise, extent = float(rises[:, axis].max()), float(np.ptp(points[:, axis]))
        if rise > STEEPEST * extent:
            radius = (dome.radius_along, dome.radius_across)[axis]
            message = (
                f"top: dome of radius {1e3 * radius:g} mm {name} with its crown at {shown_point(np.array(dome.crown))} "
                f"mm rises {1e3 * rise:.1f} mm; must be at most {1e3 * STEEPEST * extent:.1f}, {STEEPEST:g} of the "
                f"outline's extent {name}: the dome has to be shallow"
            )
            raise DesignError(message)


def check_masses(design: Design) -> None:
    """Refuse masses that do not sit on the wood.

    Raises
    ------
    DesignError
    """
    refuse_repeats("mass", [mass.name for mass in design.masses])
    region = design.region
    for mass in design.masses:
        where = f'mass "{mass.name}" at {shown_point(np.array(mass.at))} mm'
        if not region.covers(shapely.Point(mass.at)):
            message = f"{where}: lies off the top or in a hole; it has to sit on the wood"
            raise DesignError(message)
        gap = region.boundary.distance(shapely.Point(mass.at))
        if gap < mass.diameter / 2:
            message = (
                f"{where}: its disc of {1e3 * mass.diameter:g} mm reaches past the rim or into a hole; "
                f"the diameter must be at most {2e3 * gap:.1f} mm there"
            )
            raise DesignError(message)
