"""Tractions by which the strings load the bridge and the top under it.

Depends on fem/static, fem/strings, fem/footprint, geometry/design.

Each string acts on its own strip of the bridge, as wide as the strings are apart: an even pull along x, and a push
whose distribution over the strip is linear, so that force and moments are exactly those of the string in its place.
The pull acts where the model has the bridge's upper side, or the top's outside face where no bridge is drawn; the push
makes up for the height that is left.
"""

import numpy as np
import shapely

from bracedtop.fem.footprint import Points, points_in
from bracedtop.fem.model import Model
from bracedtop.fem.static import Traction
from bracedtop.fem.strings import StringSet
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.patch import Patch, patch_thickness_at

FOOT = 10e-3
"""Radius of the round foot on which a string acts where no bridge is drawn, m; chosen: about half a bridge's length
along the strings."""

_LEAST = 1e-6
"""Smallest area of a string's strip, m^2; a square millimetre."""


def bridge_of(design: Design) -> Patch | None:
    """The bridge, if one is drawn."""
    return next((patch for patch in design.patches if patch.is_bridge), None)


def string_tractions(model: Model, strings: StringSet) -> list[Traction]:
    """Tractions of all strings, statically equal to their forces at the saddle.

    Raises
    ------
    DesignError
        If a string passes beside the bridge or the wood.
    """
    design = model.design
    bridge = bridge_of(design)
    x, y = design.driving_point
    crown = _outside(model, design.driving_point) + strings.saddle_height
    tractions = []
    for number, (offset, force) in enumerate(zip(strings.offsets, strings.forces(), strict=True), start=1):
        at = np.array([x, y + offset])
        cells = _foot(design, at) if bridge is None else _strip(model, bridge, at[1], strings.spacing)
        if sum(shapely.Polygon(cell).area for cell in cells) < _LEAST:
            message = (
                f"string {number} passes at y = {1e3 * at[1]:.1f} mm beside the "
                f"{'wood' if bridge is None else 'bridge'}; give a smaller [strings] spread_mm, or move the bridge"
            )
            raise DesignError(message)
        points, xy = points_in(cells, model.locator)
        tractions.append(_traction(model, bridge, points, xy, np.array([*at, crown]), force))
    return tractions


def bridge_points(model: Model, strings: StringSet) -> tuple[Points, np.ndarray]:
    """Points over the whole bridge, or over the strings' feet where none is drawn, and their positions (n, 2) in m."""
    bridge = bridge_of(model.design)
    if bridge is not None:
        return points_in(list(_triangles(model, bridge)), model.locator)
    x, y = model.design.driving_point
    feet = (_foot(model.design, np.array([x, y + offset])) for offset in strings.offsets)
    return points_in([cell for cells in feet for cell in cells], model.locator)


def _triangles(model: Model, bridge: Patch) -> np.ndarray:
    """Corners (n, 3, 2) in m of the triangles under the bridge; the mesh follows its border."""
    flat = model.mesh.flat
    under = np.asarray(flat.subdomains[f"patch {bridge.name}"], dtype=int)
    return np.asarray(flat.p[:, flat.t[:, under]].transpose(2, 1, 0))


def _foot(design: Design, at: np.ndarray) -> list[np.ndarray]:
    foot = shapely.Point(at).buffer(FOOT, quad_segs=8)
    return [shapely.get_coordinates(foot.exterior)[:-1]] if design.region.covers(foot) else []


def _strip(model: Model, bridge: Patch, y: float, spacing: float) -> list[np.ndarray]:
    """Convex cells of the bridge within half a spacing of the string at y; none if it passes beside the bridge."""
    triangles = _triangles(model, bridge)
    x0, y0 = triangles.min(axis=(0, 1))
    x1, y1 = triangles.max(axis=(0, 1))
    if not y0 <= y <= y1:
        return []
    strip = shapely.box(x0, y - spacing / 2, x1, y + spacing / 2)
    pieces = shapely.intersection(shapely.polygons(triangles), strip)
    return [shapely.get_coordinates(piece.exterior)[:-1] for piece in pieces if piece.geom_type == "Polygon"]


def _traction(
    model: Model,
    bridge: Patch | None,
    points: Points,
    xy: np.ndarray,
    at: np.ndarray,
    force: np.ndarray,
) -> Traction:
    """Tractions over one strip, equal to `force` (along, out) at the string's place `at` (3,) on the saddle."""
    _, face = model.top.faces(points)
    height, part = face, None
    if bridge is not None and bridge.side == "outside":
        height, part = face + patch_thickness_at(bridge, xy), f"patch {bridge.name}"
    weight = points.weight
    middle = (weight @ xy) / weight.sum()
    shapes = np.column_stack([np.ones(len(xy)), xy - middle])
    x, y = at[:2] - middle
    pull, push = force
    # A pull along x does no work on displacements across it, so its distribution over y alone sets its turning moment.
    along = _distributed(shapes[:, [0, 2]], weight, np.array([pull, pull * y]))
    # What the pull is short of the saddle's height, the push makes up for.
    arm = pull * at[2] - weight @ (along * (height + _rise(model, xy)))
    out = _distributed(shapes, weight, np.array([push, push * x - arm, push * y]))
    return Traction(points, along, out, height, part, face if part is not None else None)


def _outside(model: Model, at: np.ndarray) -> float:
    """Height of the outside face above the crown's middle at a point (2,), m."""
    element, local = model.locator.locate(at[None, :])
    _, face = model.top.faces(Points(element, local, np.ones(1)))
    return float(face[0] + _rise(model, at[None, :])[0])


def _rise(model: Model, xy: np.ndarray) -> np.ndarray:
    """Height of a dome's middle surface at points (n, 2), (n,) in m; zero for a flat top."""
    dome = model.space.dome
    return np.zeros(len(xy)) if dome is None else dome.height(xy)


def _distributed(shapes: np.ndarray, weight: np.ndarray, moments: np.ndarray) -> np.ndarray:
    """Combination (n,) of shapes (n, k) whose weighted products with the shapes are `moments` (k,)."""
    return np.asarray(shapes @ np.linalg.solve(shapes.T @ (weight[:, None] * shapes), moments))
