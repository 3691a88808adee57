"""What a mode does at the bridge: moves it as one, rocks it, or leaves it nearly still.

Depends on fem/model.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.model import Model, Modes, deflections
from bracedtop.geometry.design import Design

DISC_SHARE = 0.08
"""Radius of the disc that stands for a bridge where none is drawn, over the top's length; chosen: on a guitar about
40 mm, half the length of a bridge."""

STILL = 0.2
"""Root mean square over the bridge, over that of the whole top, below which the bridge counts as nearly still; chosen:
its mean energy is then a twenty-fifth of the top's."""

_POINTS = 400
"""Points on the bridge's area; chosen: the moments of a rectangle are then met within a hundredth."""

_TOP_POINTS = 600
"""Points on the whole top, for its root mean square; chosen likewise."""


@dataclass(frozen=True, slots=True)
class BridgeMotion:
    """How the bridge's area moves in a mode.

    Parameters
    ----------
    name : str
        "moves as one", "rocks across" (one end of the bridge up, the other down: tilting from the bass to the treble
        side), "rocks along" (front edge down, back edge up: tilting along the centreline), "bends" (no plane shows
        most of it) or "nearly still".
    shares : dict of str to float
        Parts of the mean square deflection over the area, summing to 1: "as one", "across", "along", "bends".
    level : float
        Root mean square deflection over the area, over that of the whole top.
    """

    name: str
    shares: dict[str, float]
    level: float


def bridge_area(design: Design) -> tuple[shapely.Geometry, str]:
    """Area that counts as the bridge's, and words that say which it is.

    The bridge's own outline where one is drawn; else a disc of `DISC_SHARE` of the top's length around the driving
    point. Both are cut to the wood of the top.
    """
    bridge = next((patch for patch in design.patches if patch.is_bridge), None)
    if bridge is not None:
        return bridge.polygon.intersection(design.region), f'the bridge "{bridge.name}"'
    x0, _, x1, _ = design.outline.polygon.bounds
    radius = DISC_SHARE * (x1 - x0)
    disc = shapely.Point(design.driving_point).buffer(radius)
    return disc.intersection(design.region), f"a disc of {1e3 * radius:.0f} mm radius around the driving point"


def bridge_motions(model: Model, modes: Modes) -> tuple[BridgeMotion, ...]:
    """One motion of the bridge a mode.

    A plane is fitted to the deflection over the area by least squares. Its mean, its tilt along y and its tilt along
    x, each weighed by the area's extent, divide the mean square deflection; what no plane shows is bending.
    """
    area, _ = bridge_area(model.design)
    points = grid_points(area, _POINTS)
    w = deflections(model, modes, points)
    whole = deflections(model, modes, grid_points(model.design.region, _TOP_POINTS))
    level = np.sqrt((w**2).mean(axis=1) / (whole**2).mean(axis=1))
    return tuple(_motion(row, points, float(size)) for row, size in zip(w, level, strict=True))


def grid_points(area: shapely.Geometry, n: int) -> np.ndarray:
    """About `n` points evenly over an area, (k, 2) in m."""
    x0, y0, x1, y1 = area.bounds
    step = np.sqrt(area.area / n)
    # Divided into whole numbers of cells, so that a rectangle is sampled symmetrically.
    columns, rows = max(round((x1 - x0) / step), 1), max(round((y1 - y0) / step), 1)
    x = x0 + (np.arange(columns) + 0.5) * (x1 - x0) / columns
    y = y0 + (np.arange(rows) + 0.5) * (y1 - y0) / rows
    X, Y = (field.ravel() for field in np.meshgrid(x, y, indexing="ij"))
    return np.asarray(np.column_stack([X, Y])[shapely.contains_xy(area, X, Y)])


def _motion(w: np.ndarray, points: np.ndarray, level: float) -> BridgeMotion:
    shares = plane_shares(w, points)
    if level < STILL:
        return BridgeMotion("nearly still", shares, level)
    most = max(shares, key=lambda key: shares[key])
    name = {"as one": "moves as one", "across": "rocks across", "along": "rocks along", "bends": "bends"}[most]
    return BridgeMotion(name, shares, level)


def plane_shares(w: np.ndarray, points: np.ndarray) -> dict[str, float]:
    """Parts of the mean square of w (n,) over points (n, 2) that a mean, a tilt along y and one along x make up.

    On an area whose axes are turned against x and y the two tilts share their product evenly.
    """
    total = float((w**2).mean())
    d = points - points.mean(axis=0)
    tilt = np.linalg.lstsq(d, w - w.mean(), rcond=None)[0]
    along, across = d[:, 0] * tilt[0], d[:, 1] * tilt[1]
    product = float((along * across).mean())
    parts = {
        "as one": float(w.mean()) ** 2,
        "across": float((across**2).mean()) + product,
        "along": float((along**2).mean()) + product,
    }
    parts["bends"] = max(total - sum(parts.values()), 0.0)
    return {key: value / total if total > 0 else 0.0 for key, value in parts.items()}
