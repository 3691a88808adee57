"""The air in a box as a plan of curved triangles between two surfaces.

Depends on geometry/box, geometry/mesh and its lower modules.

Plan: the outline less the blocks, with sides along the holes, so that a hole is a set of whole triangles. Over each
triangle the air stands as a prism from the back's inside face to the top's, in layers that get thinner towards the top,
where the holes are (fem/layers). z = 0 is the top's inside face at the rim.

A domed face meets sides that are cut to it. The depth of the air is therefore the sides' depth at the rim on either
side, plus what the domes rise above the rim at the same x. Over a level rim, such as a disc's, that is the whole dome;
what else a dome rises along the box is in the sides' depth already.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.geometry.arrangement import Arc, Arrangement
from bracedtop.geometry.box import Box, block_area
from bracedtop.geometry.chords import KINK, turns
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError, MeshError
from bracedtop.geometry.mesh import SMALLEST, SNAP, TopMesh, triangulated
from bracedtop.geometry.outline import Array, Outline
from bracedtop.geometry.size_field import SizeField, drawing_sizes

GRADING = 0.5
"""Growth of the triangles per distance from a hole's edge; chosen: as fine near it as the end correction needs."""

HOLE_SIDES = 16
"""Triangle sides round a hole; chosen: the length of air inside is then within 0.5 %
(tests/rates/test_air_convergence.py)."""


@dataclass(frozen=True, slots=True, eq=False)
class CavityMesh:
    """The air's plan and depth.

    Parameters
    ----------
    plan : TopMesh
        Triangles over the whole outline less the blocks, holes included.
    holes : tuple of int arrays
        Triangles in each hole.
    blocks : shapely geometry
        Area of the blocks.
    design : Design
    box : Box
    """

    plan: TopMesh
    holes: tuple[np.ndarray, ...]
    blocks: shapely.Geometry
    design: Design
    box: Box

    def faces(self, xy: Array) -> tuple[Array, Array]:
        """Depth of the air at points (n, 2) in m, and height z of the back's inside face, both (n,) in m.

        Raises
        ------
        DesignError
            If the depth is not positive somewhere.
        """
        sides, back = self.box.sides.depth(xy[:, 0]), _rise(self.box.back, self.design.outline, xy)
        depth = sides + back + _rise(self.design, self.design.outline, xy)
        worst = int(depth.argmin())
        if depth[worst] <= 0:
            x, y = 1e3 * xy[worst]
            message = f"the air is {1e3 * depth[worst]:.1f} mm deep at [{x:.1f}, {y:.1f}] mm; must be > 0"
            raise DesignError(message)
        return np.asarray(depth), np.asarray(-sides - back)


def cavity_mesh(design: Design, box: Box, size: float) -> CavityMesh:
    """The air in a box.

    Parameters
    ----------
    design : Design
        The top.
    box : Box
    size : float, m
        Wanted size of the triangles away from the holes.

    Raises
    ------
    DesignError
        If a hole lies over a block or the blocks leave no air.
    MeshError
        If the plan cannot be triangulated.
    """
    outline = design.outline
    blocks = shapely.union_all([block_area(block, outline) for block in box.blocks])
    plan = _largest(outline.polygon.difference(blocks))
    for number, hole in enumerate(design.holes, start=1):
        if not plan.contains(hole.outline().polygon):
            message = f"hole {number} does not lie wholly over the air in the box; it must clear the rim and the blocks"
            raise DesignError(message)
    mesh = _triangulated(design, plan, size)
    x, y = mesh.flat.p[:, mesh.flat.t].mean(axis=1)
    holes = tuple(np.flatnonzero(shapely.contains_xy(hole.outline().polygon, x, y)) for hole in design.holes)
    return CavityMesh(mesh, holes, blocks, design, box)


def _largest(area: shapely.Geometry) -> shapely.Polygon:
    parts = [part for part in shapely.get_parts(area) if part.geom_type == "Polygon" and part.area > 0]
    if not parts:
        message = "the blocks fill the whole box; they must leave air"
        raise DesignError(message)
    return max(parts, key=lambda part: part.area)


def _triangulated(design: Design, area: shapely.Polygon, size: float) -> TopMesh:
    tolerance = SNAP * size
    arcs = _arcs(design, area, tolerance)
    field = _near_holes(design, drawing_sizes(arcs, size, SMALLEST * size, GRADING))
    mesh = triangulated(Design(design.outline, design.plate), arcs, field, area, size)
    x, w = np.array([[1 / 6, 2 / 3, 1 / 6], [1 / 6, 1 / 6, 2 / 3]]), np.full(3, 1 / 6)
    meshed = float((np.abs(mesh.curved.mapping().detDF(x)) @ w).sum())
    if abs(meshed - area.area) > 1e-3 * area.area:
        message = (
            f"the plan of the air is {1e4 * meshed:.1f} cm2 in the mesh; the drawing has {1e4 * area.area:.1f} cm2"
        )
        raise MeshError(message)
    return mesh


def _arcs(design: Design, area: shapely.Polygon, tolerance: float) -> Sequence[Arc]:
    """The border of the air and the holes' edges as arcs."""
    border = np.array(shapely.geometry.polygon.orient(shapely.Polygon(area.exterior)).exterior.coords)[:-1]
    drawn = {(float(x), float(y)) for x, y in design.outline.points[design.outline.corners]}
    marks = np.array([(float(x), float(y)) in drawn for x, y in border]) | (turns(border) > KINK)
    graph = Arrangement(tolerance)
    graph.add_closed_curve(border, marks, "rim")
    for number, hole in enumerate(design.holes, start=1):
        edge = hole.outline().points
        graph.add_closed_curve(edge, np.zeros(len(edge), dtype=bool), f"mouth {number}")
    return graph.without_seams([(float(x), float(y)) for x, y in border[marks]])


def _near_holes(design: Design, field: SizeField) -> SizeField:
    for hole in design.holes:
        edge = hole.outline(4 * HOLE_SIDES)
        size = edge.polygon.exterior.length / HOLE_SIDES
        field = field.with_sources(edge.points, np.full(len(edge.points), min(size, field.largest)))
    return field


def _rise(face: Design, outline: Outline, xy: Array) -> Array:
    """How far a face stands outside the rim at the same x, (n,) in m."""
    dome = face.plate.dome
    if dome is None or dome.is_flat:
        return np.zeros(len(xy))
    x, y = xy.T
    low, high = _across(outline, x)
    at_low, at_high = (dome.height(np.column_stack([x, rim])) for rim in (low, high))
    t = np.clip((y - low) / np.maximum(high - low, np.finfo(float).tiny), 0.0, 1.0)
    return np.asarray(dome.height(xy) - (1 - t) * at_low - t * at_high)


def _across(outline: Outline, x: Array) -> tuple[Array, Array]:
    """Lowest and highest y of an outline at places along the centreline, both (n,) in m."""
    starts = outline.points
    ends = np.roll(starts, -1, axis=0)
    inset = 1e-6 * np.ptp(starts[:, 0])
    x = np.clip(x, starts[:, 0].min() + inset, starts[:, 0].max() - inset)[:, None]
    run = ends[:, 0] - starts[:, 0]
    t = (x - starts[:, 0]) / np.where(run == 0, np.inf, run)
    met = (t >= 0) & (t <= 1) & (run != 0)
    y = starts[:, 1] + t * (ends[:, 1] - starts[:, 1])
    return np.where(met, y, np.inf).min(axis=1), np.where(met, y, -np.inf).max(axis=1)
