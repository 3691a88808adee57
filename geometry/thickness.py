"""Thickness of the top's wood from place to place.

Depends on geometry/errors, geometry/outline. The inside face is flat, half of the nominal thickness below the
reference plane: braces and patches are glued to it. A top is graduated, or thinned along its edge, on the outside.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay, KDTree

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, Outline, frozen

if TYPE_CHECKING:
    from bracedtop.geometry.design import Plate

Ints = NDArray[np.int_]

LEAST_APART = 0.1e-3
"""Least distance of two measured points, m; chosen: closer ones are one place measured twice."""

NARROWEST = 0.01
"""Least breadth of the area that measured points span, over its length; chosen: below it they lie on one line."""


@dataclass(frozen=True, slots=True)
class ThicknessRegion:
    """An area of the top with a thickness of its own.

    Parameters
    ----------
    outline : Outline
        Border; where it passes the rim or a hole it is trimmed there.
    thickness : float, m

    Raises
    ------
    DesignError
        If the thickness is not positive.
    """

    outline: Outline
    thickness: float

    def __post_init__(self) -> None:
        """Check the thickness once."""
        if not 0 < self.thickness < np.inf:
            message = f"thickness region: {1e3 * self.thickness:g} mm thick; must be > 0"
            raise DesignError(message)

    @property
    def polygon(self) -> shapely.Polygon:
        """Area inside the border."""
        return self.outline.polygon


@dataclass(frozen=True, slots=True)
class ThicknessGrid:
    """Measured thicknesses and what lies between them.

    Parameters
    ----------
    points : (n, 3) array, m
        x, y and the thickness there, in any order of the points.

    Raises
    ------
    DesignError
        If there are fewer than three points, a value is not finite, a thickness is not positive, two points coincide,
        or all lie on one line.
    """

    points: Array

    def __post_init__(self) -> None:
        """Check the points once."""
        object.__setattr__(self, "points", frozen(self.points))
        points = self.points
        if points.ndim != 2 or points.shape[0] < 3 or points.shape[1] != 3 or not np.isfinite(points).all():
            message = "measured thickness needs three or more points, each of x, y and thickness, all finite"
            raise DesignError(message)
        if points[:, 2].min() <= 0:
            k = int(points[:, 2].argmin())
            message = f"measured thickness: point {k + 1} is {1e3 * points[k, 2]:g} mm thick; must be > 0"
            raise DesignError(message)
        gaps, nearest = KDTree(points[:, :2]).query(points[:, :2], k=2)
        if gaps[:, 1].min() < LEAST_APART:
            k = int(gaps[:, 1].argmin())
            first, second = sorted((k + 1, int(max(nearest[k], key=lambda j: int(j) != k)) + 1))
            x, y = 1e3 * points[second - 1, :2]
            message = (
                f"measured thickness: points {first} and {second} both lie at [{x:.1f}, {y:.1f}] mm; "
                f"must be at least {1e3 * LEAST_APART:g} mm apart"
            )
            raise DesignError(message)
        spans = np.linalg.svd(points[:, :2] - points[:, :2].mean(axis=0), compute_uv=False)
        if spans[1] < NARROWEST * spans[0]:
            message = "measured thickness: all points lie on one line; they have to span an area"
            raise DesignError(message)

    def at(self, xy: Array) -> Array:
        """Thickness at points (n, 2) in m, (n,) in m.

        Linear on the triangles between neighbouring measured points (Delaunay's); outside their convex hull, the value
        of the nearest point of the hull.
        """
        plane, values = self.points[:, :2], self.points[:, 2]
        # About their middle and of order one, so that the triangles do not depend on the place of the origin.
        middle, scale = plane.mean(axis=0), float(np.ptp(plane, axis=0).max())
        triangles = Delaunay((plane - middle) / scale)
        query = (np.asarray(xy, dtype=float).reshape(-1, 2) - middle) / scale
        out = np.asarray(LinearNDInterpolator(triangles, values)(query), dtype=float)
        off = np.isnan(out)
        if off.any():
            hull = np.unique(triangles.convex_hull)
            spokes = triangles.points[hull] - triangles.points[hull].mean(axis=0)
            hull = hull[np.argsort(np.arctan2(spokes[:, 1], spokes[:, 0]))]
            closed = np.append(hull, hull[0])
            border = triangles.points[closed]
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(border, axis=0).T))])
            s = shapely.line_locate_point(shapely.LineString(border), shapely.points(query[off]))
            out[off] = np.interp(s, along, values[closed])
        return out


def region_of(plate: "Plate", xy: Array) -> Ints:
    """Number of the region that sets the thickness at points (n, 2) in m, from 0; -1 for none. Later ones win."""
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    out = np.full(len(xy), -1)
    for k, region in enumerate(plate.regions):
        out[shapely.intersects_xy(region.polygon, xy[:, 0], xy[:, 1])] = k
    return out


def triangle_regions(plate: "Plate", subdomains: Mapping[str, Ints], n_triangles: int) -> Ints:
    """As `region_of`, for each triangle of a mesh, by its subdomains "region 1" and so on."""
    out = np.full(n_triangles, -1)
    for k in range(len(plate.regions)):
        out[np.asarray(subdomains.get(f"region {k + 1}", []), dtype=int)] = k
    return out


def thickness_at(plate: "Plate", xy: Array, region: Ints | None = None) -> Array:
    """Thickness of the top's wood before the edge ring is taken off, (n,) in m.

    The nominal thickness; instead of it the measured one, if there is a grid; instead of either the thickness of the
    last region that holds the point.

    Parameters
    ----------
    plate : Plate
    xy : (n, 2) array, m
    region : (n,) int array, optional
        As from `region_of`; given by triangle, it keeps points on a border on their own side.
    """
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    out = np.full(len(xy), plate.thickness) if plate.grid is None else plate.grid.at(xy)
    if plate.regions:
        number = region_of(plate, xy) if region is None else np.asarray(region)
        own = np.array([r.thickness for r in plate.regions])
        out = np.where(number >= 0, own[number], out)
    return out
