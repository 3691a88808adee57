"""From a design to a named triangulation.

The drawing's lines become a planar graph (`arrangement`), its arcs are divided by a size field (`size_field`,
`sides`), points are spread between them (`fill`), and a constrained Delaunay triangulation holds all sides
(`triangulate`). Triangles have sides along the borders of the braces' glued faces and not along their
centrelines: stiffness jumps at these borders, and cubic triangles of 25 mm that are cut by them miss the frequencies
of a crossed-braced plate by 0.9 % on average, aligned ones of the same number by 0.2 %.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import meshio
import numpy as np
import shapely
from skfem import MeshTri, MeshTri2

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.curved import curved_mesh
from bracedtop.geometry.design import Design
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.fill import fill
from bracedtop.geometry.layout import crossings
from bracedtop.geometry.mesh_lines import arrange
from bracedtop.geometry.mesh_names import check_mesh, named_mesh
from bracedtop.geometry.sides import divide
from bracedtop.geometry.size_field import SizeField, drawing_sizes
from bracedtop.geometry.triangulate import constrained_delaunay

SNAP = 0.02
"""Features closer than this part of the wanted size are merged (0.5 mm at 25 mm); chosen: below what a maker
draws on purpose, above what rounding and drawing by hand leave between two lines meant to meet."""

SMALLEST = 0.2
"""Smallest size asked for beside a gap or short line, over the wanted size; chosen: narrower gaps get longer triangles
and not more of them."""

_TRIES = (1.0, 0.4, 2.0, 0.1)
"""Tolerances tried in turn, over the usual one, should a drawing resist; the last 500 random drawings tried, most of
them unbuildable, needed the first only."""

_REPAIRS = 4
"""Times that triangles are made; each time, curved sides on which a triangle would fold over are halved."""


@dataclass(frozen=True, slots=True)
class TopMesh:
    """A triangulated top.

    Boundaries: "rim", "hole 1" and so on in the drawing's order, "brace NAME" round its glued face, "joint
    UNDER|OVER" round the area that two crossing braces share. Subdomains: "top" (all triangles), "ring" if the
    plate has one, "brace NAME", "patch NAME", "region 1" and so on for the plate's thickness regions.

    Parameters
    ----------
    flat : skfem.MeshTri
        Straight-sided triangles.
    curved : skfem.MeshTri2
        The same triangles, sides and names; the middles of sides on the rim and on holes lie on the true curve.
    size : float, m
        Wanted size of the triangles.
    min_angle : float, rad
        Smallest angle of the straight-sided triangles.
    shortest_edge, longest_edge : float, m
    n_straightened : int
        Sides left straight because their triangle would have folded over.
    """

    flat: MeshTri
    curved: MeshTri2
    size: float
    min_angle: float
    shortest_edge: float
    longest_edge: float
    n_straightened: int

    @property
    def n_triangles(self) -> int:
        """Number of triangles."""
        return int(self.flat.t.shape[1])


def mesh_top(design: Design, size: float = 25e-3, grading: float = 0.7) -> TopMesh:
    """Triangulation of a top.

    Parameters
    ----------
    design : Design
    size : float, m
        Wanted size of the triangles away from details.
    grading : float
        Growth of the size per distance from details.

    Returns
    -------
    mesh : TopMesh
        The same design and size give the same arrays.

    Raises
    ------
    MeshError
        If the design cannot be triangulated or the triangulation differs from it.
    """
    error: MeshError | None = None
    for factor in _TRIES:
        try:
            return _meshed(design, size, grading, factor * SNAP * size)
        except MeshError as reason:
            error = error or reason
    assert error is not None
    raise error


def _meshed(design: Design, size: float, grading: float, tolerance: float) -> TopMesh:
    found = crossings(design)
    arcs = arrange(design, found, tolerance)
    field = drawing_sizes(arcs, size, SMALLEST * size, grading)
    mesh = triangulated(design, arcs, field, design.region, size)
    check_mesh(design, found, mesh.flat, mesh.curved, tolerance)
    return mesh


def triangulated(design: Design, arcs: Sequence[Arc], field: SizeField, area: shapely.Polygon, size: float) -> TopMesh:
    """Triangles over an area between arcs, named after a design, not yet compared with it.

    Parameters
    ----------
    design : Design
    arcs : sequence of Arc
    field : SizeField
        Wanted sizes.
    area : Polygon, m
    size : float, m
        Size to be kept with the mesh.

    Raises
    ------
    MeshError
    """
    for _ in range(_REPAIRS):
        sides = divide(arcs, field)
        points = np.vstack([sides.points, fill(sides.points, sides.pairs, field, area)])
        triangles = constrained_delaunay(points, sides.pairs, sides.outer)
        flat, drawn = named_mesh(design, points, triangles, arcs, sides)
        curved, straightened = curved_mesh(flat, drawn)
        if not len(straightened):
            break
        ends = flat.p[:, flat.facets[:, straightened]]
        field = field.with_sources(ends.mean(axis=1).T, np.hypot(*(ends[:, 0] - ends[:, 1])) / 2)
    edges = np.hypot(*(flat.p[:, flat.facets[0]] - flat.p[:, flat.facets[1]]))
    return TopMesh(flat, curved, size, _min_angle(flat), float(edges.min()), float(edges.max()), len(straightened))


def write_mesh(mesh: TopMesh, path: Path, dome: Dome | None = None) -> None:
    """Write a mesh as VTU with one cell array per named line and area (1 on it, 0 elsewhere).

    Cells are the quadratic triangles and, for the lines, quadratic sides; z is the dome's height, 0 without one.
    """
    curved = mesh.curved
    names = sorted(mesh.flat.boundaries)
    facets = np.unique(np.concatenate([np.asarray(mesh.flat.boundaries[name]) for name in names]))
    middles = curved.dofs.facet_dofs[0]
    triangles = np.vstack([curved.t, middles[curved.t2f]]).T
    lines = np.vstack([curved.facets[:, facets], middles[facets]]).T
    data = {}
    for name in names:
        on = np.isin(facets, np.asarray(mesh.flat.boundaries[name]))
        data[name] = [np.zeros(len(triangles), dtype=np.int8), on.astype(np.int8)]
    for name, elements in sorted(mesh.flat.subdomains.items()):
        of = np.zeros(len(triangles), dtype=np.int8)
        of[np.asarray(elements)] = 1
        data[name] = [of, np.zeros(len(lines), dtype=np.int8)]
    xy = curved.doflocs.T
    points = np.column_stack([xy, np.zeros(len(xy)) if dome is None else dome.height(xy)])
    out = meshio.Mesh(points, [("triangle6", triangles), ("line3", lines)], cell_data=data)
    out.write(path, file_format="vtu")


def _min_angle(mesh: MeshTri) -> float:
    corners = mesh.p[:, mesh.t]
    u, v = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    return float(np.arctan2(np.abs(u[0] * v[1] - u[1] * v[0]), (u * v).sum(axis=0)).min())
