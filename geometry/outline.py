"""Closed curves: the outline of a top and its sound holes."""

import re
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from bracedtop.geometry.body import half_body
from bracedtop.geometry.errors import DesignError

Array = NDArray[np.float64]

SPACING = 1e-3
"""Distance of the samples of a smooth curve, m."""


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
        if corners.shape != points.shape[:1]:
            message = f"an outline of {len(points)} points with {corners.size} corner marks; one for each is needed"
            raise DesignError(message)
        if points.ndim != 2 or points.shape[0] < 3 or points.shape[1] != 2 or not np.isfinite(points).all():
            message = "an outline needs at least three points of two finite numbers each"
            raise DesignError(message)
        ring = shapely.LinearRing(points)
        if not ring.is_simple or not ring.is_valid or shapely.Polygon(ring).area == 0:
            message = f"the outline crosses or touches itself{_near(points)}; it has to be a simple closed curve"
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
    """Outline with straight sides; every listed point, (n, 2) in m, is a corner.

    The first point may be repeated at the end.

    Raises
    ------
    DesignError
        If there are fewer than three points, two neighbours coincide, or the sides cross.
    """
    array = _listed(points)
    return Outline(array, np.ones(len(array), dtype=bool))


def rectangle(centre: object, size: object, angle: float = 0.0) -> Outline:
    """Rectangle about a centre (2,) in m.

    Parameters
    ----------
    centre : (2,) array, m
    size : (2,) array, m
        Along the direction `angle` and across it.
    angle : float, rad
        Anticlockwise from x.

    Raises
    ------
    DesignError
        If a side is not positive.
    """
    a, b = 0.5 * np.asarray(size, dtype=float)
    if not (a > 0 and b > 0):
        message = f"rectangle of {2e3 * a:g} by {2e3 * b:g} mm; both sides must be > 0"
        raise DesignError(message)
    c, s = np.cos(angle), np.sin(angle)
    corners = np.array([[-a, -b], [a, -b], [a, b], [-a, b]]) @ np.array([[c, s], [-s, c]])
    return polygon_outline(np.asarray(centre, dtype=float) + corners)


def body_outline(
    body_length: float,
    lower_bout: float,
    lower_bout_at: float,
    waist: float,
    waist_at: float,
    upper_bout: float,
    upper_bout_at: float,
) -> Outline:
    """Smooth closed outline of a guitar-like body, symmetric about y = 0, from its tail end at x = 0.

    Parameters
    ----------
    body_length : float, m
    lower_bout, waist, upper_bout : float, m
        Full widths, the only extrema of the width along x.
    lower_bout_at, waist_at, upper_bout_at : float, m
        Their distances from the tail end.

    Raises
    ------
    DesignError
        If a size is not positive, the positions are out of order, the waist is not narrower than both bouts, or
        an end is too blunt or too long to be rounded.
    """
    widths = (lower_bout, waist, upper_bout)
    positions = (lower_bout_at, waist_at, upper_bout_at)
    spacing = _spacing(2 * body_length + lower_bout + upper_bout)
    half = half_body(body_length, widths, positions, spacing)
    points = np.vstack([half, half[-2:0:-1] * [1, -1]])
    return Outline(points, np.zeros(len(points), dtype=bool))


def smooth_outline(points: object) -> Outline:
    """Smooth closed curve through listed points, (n, 2) in m: a periodic cubic spline by chord length.

    The first point may be repeated at the end.

    Raises
    ------
    DesignError
        If there are fewer than three points, two neighbours coincide, or the curve crosses itself.
    """
    array = _listed(points)
    closed = np.vstack([array, array[:1]])
    chords = np.hypot(*np.diff(closed, axis=0).T)
    knots = np.concatenate([[0.0], np.cumsum(chords)])
    spline = CubicSpline(knots, closed, bc_type="periodic")
    spacing = _spacing(float(knots[-1]))
    stretches = [
        spline(np.linspace(a, b, max(int(np.ceil((b - a) / spacing)), 1), endpoint=False)) for a, b in pairwise(knots)
    ]
    curve = np.concatenate(stretches)
    return Outline(curve, np.zeros(len(curve), dtype=bool))


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
        If a semi-axis is not positive, or the centre or the angle is not finite.
    """

    centre: Array
    semi_axes: Array
    angle: float = 0.0

    def __post_init__(self) -> None:
        """Check the sizes once."""
        object.__setattr__(self, "centre", frozen(self.centre))
        object.__setattr__(self, "semi_axes", frozen(self.semi_axes))
        if not (np.isfinite(self.semi_axes) & (self.semi_axes > 0)).all():
            a, b = 2e3 * self.semi_axes
            message = f"hole of {a:g} by {b:g} mm; both sizes must be > 0"
            raise DesignError(message)
        if not (np.isfinite(self.centre).all() and np.isfinite(self.angle)):
            message = "hole: its centre and angle have to be finite numbers"
            raise DesignError(message)

    def outline(self, n_points: int = 360, grow: float = 0.0) -> Outline:
        """Sampled curve of the hole, its semi-axes enlarged by `grow` metres."""
        t = np.linspace(0.0, 2.0 * np.pi, n_points, endpoint=False)
        a, b = self.semi_axes + grow
        c, s = np.cos(self.angle), np.sin(self.angle)
        x, y = a * np.cos(t), b * np.sin(t)
        points = self.centre + np.column_stack([c * x - s * y, s * x + c * y])
        return Outline(points, np.zeros(n_points, dtype=bool))


def _near(points: Array) -> str:
    """Where a closed curve meets itself, in words."""
    reason = shapely.is_valid_reason(shapely.Polygon(points))
    found = re.search(r"\[(\S+) (\S+)\]", reason)
    return "" if found is None else " near [{:.1f}, {:.1f}] mm".format(*(1e3 * float(v) for v in found.groups()))


def _listed(points: object) -> Array:
    """Listed points (n, 2) of a closed curve without a repeated last one."""
    array = np.array(points, dtype=float)
    if array.ndim != 2 or array.shape[1] != 2 or not np.isfinite(array).all():
        message = "an outline needs at least three points of two finite numbers each"
        raise DesignError(message)
    if len(array) > 1 and (array[0] == array[-1]).all():
        array = array[:-1]
    if len(array) < 3:
        message = f"points_mm lists {len(array)} different points; an outline needs at least three"
        raise DesignError(message)
    for i in np.flatnonzero((array == np.roll(array, -1, axis=0)).all(axis=1)):
        x, y = 1e3 * array[i]
        row, other = (i + 1) % len(array) + 1, i + 1
        message = f"points_mm row {row} repeats row {other} = [{x:.1f}, {y:.1f}]; neighbouring points have to differ"
        raise DesignError(message)
    return array


def _spacing(perimeter: float) -> float:
    """Distance of samples: the usual one, unless that gives fewer than 400 or more than 8000 of them."""
    return min(max(SPACING, perimeter / 8000), perimeter / 400)
