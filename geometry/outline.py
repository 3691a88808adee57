"""Closed curves: the outline of a top and its sound holes."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from bracedtop.geometry.errors import DesignError

Array = NDArray[np.float64]


def frozen(values: object) -> Array:
    """Read-only float copy of `values`."""
    array = np.array(values, dtype=float)
    array.flags.writeable = False
    return array


@dataclass(frozen=True, slots=True)
class Outline:
    """A simple closed curve, anticlockwise.

    Parameters
    ----------
    points : (n, 2) array, m
        Vertices without the repeated last one. A smooth curve is sampled about every millimetre.
    corners : (n,) bool array
        Vertices that are true corners and have to be vertices of a mesh.

    Raises
    ------
    DesignError
        If there are fewer than three points, a value is not finite, or the curve crosses itself.
    """

    points: Array
    corners: NDArray[np.bool_]

    def __post_init__(self) -> None:
        """Check the curve once and turn it anticlockwise."""
        points = np.array(self.points, dtype=float)
        corners = np.array(self.corners, dtype=bool)
        if points.ndim != 2 or points.shape[0] < 3 or points.shape[1] != 2 or not np.isfinite(points).all():
            message = "an outline needs at least three points of two finite numbers each"
            raise DesignError(message)
        ring = shapely.LinearRing(points)
        if not ring.is_simple or not ring.is_valid:
            message = "the outline crosses or touches itself; it has to be a simple closed curve"
            raise DesignError(message)
        if not ring.is_ccw:
            points, corners = points[::-1].copy(), corners[::-1].copy()
        points.flags.writeable = False
        corners.flags.writeable = False
        object.__setattr__(self, "points", points)
        object.__setattr__(self, "corners", corners)

    @property
    def polygon(self) -> shapely.Polygon:
        """Shapely polygon of the enclosed area."""
        return shapely.Polygon(self.points)

    @property
    def length(self) -> float:
        """Extent along x, m."""
        return float(np.ptp(self.points[:, 0]))


def polygon_outline(points: object) -> Outline:
    """Outline with straight sides; every listed point, (n, 2) in m, is a corner."""
    array = np.array(points, dtype=float)
    return Outline(array, np.ones(len(array), dtype=bool))


@dataclass(frozen=True, slots=True)
class Hole:
    """A round or elliptical sound hole.

    Parameters
    ----------
    centre : (2,) array, m
    semi_axes : (2,) array, m
        Half of the length along the direction `angle`, and half of the width across it.
    angle : float, rad
        Anticlockwise from x.

    Raises
    ------
    DesignError
        If a semi-axis is not positive.
    """

    centre: Array
    semi_axes: Array
    angle: float = 0.0

    def __post_init__(self) -> None:
        """Check the sizes once."""
        object.__setattr__(self, "centre", frozen(self.centre))
        object.__setattr__(self, "semi_axes", frozen(self.semi_axes))
        if not (self.semi_axes > 0).all():
            message = f"hole semi-axes {self.semi_axes.tolist()} m; both must be > 0"
            raise DesignError(message)

    def outline(self, n_points: int = 360, grow: float = 0.0) -> Outline:
        """Sampled curve of the hole, its semi-axes enlarged by `grow` metres."""
        t = np.linspace(0.0, 2.0 * np.pi, n_points, endpoint=False)
        a, b = self.semi_axes + grow
        c, s = np.cos(self.angle), np.sin(self.angle)
        x, y = a * np.cos(t), b * np.sin(t)
        points = self.centre + np.column_stack([c * x - s * y, s * x + c * y])
        return Outline(points, np.zeros(n_points, dtype=bool))
