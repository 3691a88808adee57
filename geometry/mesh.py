"""From a design to a named triangulation."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import meshio
import numpy as np
import shapely
from netgen.geom2d import SplineGeometry
from numpy.typing import NDArray
from scipy import sparse
from skfem import MeshTri, MeshTri2

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.layout import Crossing, crossings
from bracedtop.geometry.mesh_lines import arrange, brace_line, joint_name, ring_border
from bracedtop.geometry.outline import Array
from bracedtop.geometry.size_field import SizeField, divided, drawing_sizes

GRADING = 0.5
"""Growth of the triangles' size per distance from where they have to be small; chosen: 0.3 needs a third more."""

SNAP = 0.02
"""Features closer than this part of the wanted size are merged (0.5 mm at 25 mm); chosen: below what a maker
draws on purpose, above what rounding and drawing by hand leave between two lines meant to meet."""

SMALLEST = 0.125
"""Smallest size asked for beside a gap or short line, over the wanted size; chosen: narrower gaps get longer triangles
and not more of them. Crossings of braces ask for half the narrower brace's width whatever it is."""


@dataclass(frozen=True, slots=True)
class TopMesh:
    """A triangulated top.

    Boundaries: "rim", "hole 1" and so on in the drawing's order, "brace NAME" along its centreline, "joint
    UNDER|OVER" round the area that two crossing braces share. Subdomains: "top" (all triangles), "ring" if the
    plate has one, "patch NAME".

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


def mesh_top(design: Design, size: float = 25e-3) -> TopMesh:
    """Triangulation of a top.

    Parameters
    ----------
    design : Design
    size : float, m
        Wanted size of the triangles away from details.

    Returns
    -------
    mesh : TopMesh
        The same design and size give the same arrays.

    Raises
    ------
    MeshError
        If the design cannot be triangulated or the triangulation differs from it.
    """
    found = crossings(design)
    arcs = arrange(design, found, SNAP * size)
    field = drawing_sizes(arcs, size, SMALLEST * size, GRADING, _crossing_sizes(design, found))
    p, t, sides = _triangulate(arcs, field)
    flat, drawn = _named(design, found, p, t, arcs, sides)
    curved, n_straightened = _curved(flat, drawn)
    _check(design, found, flat, curved, SNAP * size)
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


def _crossing_sizes(design: Design, found: Sequence[Crossing]) -> list[tuple[Array, float]]:
    sources = []
    for crossing in found:
        half = min(design.brace(crossing.under).width, design.brace(crossing.over).width) / 2
        corners = np.array(crossing.polygon.exterior.coords)[:-1]
        sources += [(xy, half) for xy in (*corners, np.asarray(crossing.point))]
    return sources


def _triangulate(arcs: Sequence[Arc], field: SizeField) -> tuple[Array, Array, list[Array]]:
    """Points (n, 2), triangles (m, 3) and the sides (k, 2) on each arc."""
    geometry = SplineGeometry()
    ids: dict[tuple[float, float], int] = {}
    for k, arc in enumerate(arcs):
        chain = divided(arc, field)
        sizes = field.at(chain)
        numbers = []
        for (x, y), wanted in zip(chain.tolist(), sizes.tolist(), strict=True):
            if (x, y) not in ids:
                ids[x, y] = geometry.AppendPoint(x, y, maxh=wanted)
            numbers.append(ids[x, y])
        outer = any(name == "rim" or name.startswith("hole ") for name in arc.names)
        for a, b in pairwise(numbers):
            geometry.Append(["line", a, b], leftdomain=1, rightdomain=0 if outer else 1, bc=f"arc {k}")
    mesh = geometry.GenerateMesh(maxh=field.largest, grading=GRADING)
    p = np.array(mesh.Coordinates()[:, :2])
    t = np.array(mesh.Elements2D().NumPy()["nodes"][:, :3], dtype=int) - 1
    sides: list[list[tuple[int, int]]] = [[] for _ in arcs]
    for element in mesh.Elements1D():
        k = int(mesh.GetBCName(element.index - 1).split()[1])
        a, b = (v.nr - 1 for v in element.points)
        sides[k].append((a, b))
    return p, t, [np.array(s, dtype=int).reshape(-1, 2) for s in sides]


def _named(
    design: Design, found: Sequence[Crossing], p: Array, t: Array, arcs: Sequence[Arc], sides: Sequence[Array]
) -> tuple[MeshTri, dict[int, Arc]]:
    """The straight-sided mesh with its names, and the arc of each facet on a curved line."""
    mesh = MeshTri(np.ascontiguousarray(p.T), np.ascontiguousarray(np.sort(t, axis=1).T))
    number = {(int(a), int(b)): k for k, (a, b) in enumerate(mesh.facets.T)}
    boundaries: dict[str, list[int]] = {}
    drawn: dict[int, Arc] = {}
    walls = np.zeros(mesh.facets.shape[1], dtype=bool)
    for arc, pairs in zip(arcs, sides, strict=True):
        for a, b in pairs.tolist():
            facet = number.get((min(a, b), max(a, b)))
            if facet is None:
                x, y = 1e3 * p[[a, b]].mean(axis=0)
                message = f"the triangulation misses a side of {', '.join(sorted(arc.names))} at [{x:.1f}, {y:.1f}] mm"
                raise MeshError(message)
            walls[facet] = True
            for name in arc.names:
                boundaries.setdefault(name, []).append(facet)
            if not arc.is_straight:
                drawn[facet] = arc
    named = {name: np.unique(np.array(f)) for name, f in sorted(boundaries.items()) if name not in ("patch", "ring")}
    return mesh.with_boundaries(named).with_subdomains(_subdomains(design, mesh, walls)), drawn


def _subdomains(design: Design, mesh: MeshTri, walls: NDArray[np.bool_]) -> dict[str, Array]:
    """Triangles of each area. A face of the drawing belongs to the areas that hold most of its triangles."""
    n = mesh.t.shape[1]
    left, right = mesh.f2t[:, ~walls]
    links = sparse.coo_matrix((np.ones(len(left)), (left, right)), shape=(n, n))
    n_faces, face = sparse.csgraph.connected_components(links, directed=False)
    x, y = mesh.p[:, mesh.t].mean(axis=1)
    areas = _areas(mesh)
    whole = np.bincount(face, areas, minlength=n_faces)
    out = {"top": np.arange(n)}
    wanted = {f"patch {patch.name}": patch.polygon for patch in design.patches}
    if design.plate.ring_width > 0:
        wanted["ring"] = design.outline.polygon.difference(ring_border(design))
    for name, polygon in wanted.items():
        inside = shapely.contains_xy(polygon, x, y)
        share = np.bincount(face, areas * inside, minlength=n_faces) / whole
        out[name] = np.flatnonzero(share[face] > 0.5)
    return out


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


def _check(design: Design, found: Sequence[Crossing], flat: MeshTri, curved: MeshTri2, tolerance: float) -> None:
    """Compare names, lengths and areas with the design."""
    region = design.region
    ends = flat.p[:, flat.facets]
    lengths = np.hypot(*(ends[:, 0] - ends[:, 1]))
    names = ["rim", *(f"hole {k}" for k in range(1, len(design.holes) + 1))]
    names += [f"brace {brace.name}" for brace in design.braces] + [joint_name(crossing) for crossing in found]
    for name in names:
        if name not in flat.boundaries:
            message = f'the triangulation has no line "{name}"; every brace, crossing and hole needs one'
            raise MeshError(message)
    for brace in design.braces:
        drawn, meshed = brace_line(brace, region).length, float(lengths[flat.boundaries[f"brace {brace.name}"]].sum())
        if abs(drawn - meshed) > 4 * tolerance:
            message = (
                f'brace "{brace.name}" is {1e3 * meshed:.2f} mm long in the mesh; the drawing has {1e3 * drawn:.2f}'
            )
            raise MeshError(message)
    areas = np.abs(curved.mapping().detDF(_RULE[0]) @ _RULE[1])
    expected = {"top": region, **{f"patch {patch.name}": patch.polygon for patch in design.patches}}
    if design.plate.ring_width > 0:
        expected["ring"] = design.outline.polygon.difference(ring_border(design))
    for name, polygon in expected.items():
        part = polygon.intersection(region)
        drawn, meshed = part.area, float(areas[flat.subdomains[name]].sum())
        allowed = 2e-4 * drawn if name == "top" else 2e-4 * drawn + tolerance * part.length
        if abs(drawn - meshed) > allowed:
            message = (
                f'area "{name}" is {1e6 * meshed:.0f} mm2 in the mesh; the drawing has {1e6 * drawn:.0f} mm2, '
                f"at most {1e6 * allowed:.0f} mm2 off"
            )
            raise MeshError(message)


_RULE = (np.array([[1 / 6, 2 / 3, 1 / 6], [1 / 6, 1 / 6, 2 / 3]]), np.full(3, 1 / 6))
"""Integrates the Jacobian of a quadratic triangle exactly."""


def _areas(mesh: MeshTri) -> Array:
    a, b, c = (mesh.p[:, mesh.t[k]] for k in range(3))
    u, v = b - a, c - a
    return np.asarray(np.abs(u[0] * v[1] - u[1] * v[0]) / 2)


def _min_angle(mesh: MeshTri) -> float:
    corners = mesh.p[:, mesh.t]
    u, v = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    return float(np.arctan2(np.abs(u[0] * v[1] - u[1] * v[0]), (u * v).sum(axis=0)).min())
