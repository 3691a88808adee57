"""From a design to a named triangulation."""

from dataclasses import dataclass
from pathlib import Path

import meshio
import numpy as np
import shapely
from numpy.typing import NDArray
from skfem import MeshTri, MeshTri2

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.fill import fill
from bracedtop.geometry.layout import crossings
from bracedtop.geometry.mesh_lines import arrange
from bracedtop.geometry.mesh_names import check_mesh, named_mesh
from bracedtop.geometry.sides import divide
from bracedtop.geometry.size_field import drawing_sizes
from bracedtop.geometry.triangulate import constrained_delaunay

SNAP = 0.02
"""Features closer than this part of the wanted size are merged (0.5 mm at 25 mm); chosen: below what a maker
draws on purpose, above what rounding and drawing by hand leave between two lines meant to meet."""

SMALLEST = 0.125
"""Smallest size asked for beside a gap or short line, over the wanted size; chosen: narrower gaps get longer triangles
and not more of them."""

_TRIES = (1.0, 0.4, 2.0, 0.1)
"""Tolerances tried in turn, over the usual one, should a drawing resist; 1600 random drawings needed the first only."""


@dataclass(frozen=True, slots=True)
class TopMesh:
    """A triangulated top.

    Boundaries: "rim", "hole 1" and so on in the drawing's order, "brace NAME" round its glued face, "joint
    UNDER|OVER" round the area that two crossing braces share. Subdomains: "top" (all triangles), "ring" if the
    plate has one, "brace NAME", "patch NAME".

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
    sides = divide(arcs, field)
    points = np.vstack([sides.points, fill(sides.points, sides.pairs, field, design.region)])
    triangles = constrained_delaunay(points, sides.pairs, sides.outer)
    flat, drawn = named_mesh(design, points, triangles, arcs, sides)
    curved, n_straightened = _curved(flat, drawn)
    check_mesh(design, found, flat, curved, tolerance)
    edges = np.hypot(*(flat.p[:, flat.facets[0]] - flat.p[:, flat.facets[1]]))
    return TopMesh(flat, curved, size, _min_angle(flat), float(edges.min()), float(edges.max()), n_straightened)


def write_mesh(mesh: TopMesh, path: Path) -> None:
    """Write a mesh as VTU with one cell array per named line and area (1 on it, 0 elsewhere).

    Cells are the quadratic triangles and, for the lines, quadratic sides.
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
    points = np.vstack([curved.doflocs, np.zeros(curved.doflocs.shape[1])]).T
    out = meshio.Mesh(points, [("triangle6", triangles), ("line3", lines)], cell_data=data)
    out.write(path, file_format="vtu")


def _curved(flat: MeshTri, drawn: dict[int, Arc]) -> tuple[MeshTri2, int]:
    """Quadratic triangles with the middles of curved sides on their curve, and the number of sides left straight."""
    mesh = MeshTri2.from_mesh(flat)
    doflocs = mesh.doflocs.copy()
    facets = np.array(sorted(drawn), dtype=int)
    nodes = mesh.dofs.facet_dofs[0, facets]
    straight = doflocs[:, nodes].copy()
    for facet, node in zip(facets, nodes, strict=True):
        line = shapely.LineString(drawn[int(facet)].points)
        doflocs[:, node] = line.interpolate(line.project(shapely.Point(doflocs[:, node]))).coords[0]
    moved = MeshTri2(doflocs, mesh.t)
    bad = _folded(moved)
    hit = np.isin(mesh.t2f, facets) & bad
    back = np.isin(facets, mesh.t2f[hit])
    if back.any():
        doflocs[:, nodes[back]] = straight[:, back]
        moved = MeshTri2(doflocs, mesh.t)
    return (
        moved.with_boundaries(dict(flat.boundaries)).with_subdomains(dict(flat.subdomains)),
        int(back.sum()),
    )


def _folded(mesh: MeshTri2) -> NDArray[np.bool_]:
    """Triangles whose map is not one to one by a good margin."""
    g = np.linspace(0.0, 1.0, 5)
    X, Y = (a.ravel() for a in np.meshgrid(g, g))
    X, Y = X[X + Y <= 1 + 1e-12], Y[X + Y <= 1 + 1e-12]
    det = mesh.mapping().detDF(np.array([X, Y]))
    middle = mesh.mapping().detDF(np.array([[1 / 3], [1 / 3]]))
    return np.asarray((det / middle).min(axis=1) < 0.2)


def _min_angle(mesh: MeshTri) -> float:
    corners = mesh.p[:, mesh.t]
    u, v = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    return float(np.arctan2(np.abs(u[0] * v[1] - u[1] * v[0]), (u * v).sum(axis=0)).min())
