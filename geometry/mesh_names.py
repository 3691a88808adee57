"""Names of a triangulation's lines and areas, and their comparison with the drawing."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse
from skfem import MeshTri, MeshTri2

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.glue import gripping_face
from bracedtop.geometry.layout import Crossing
from bracedtop.geometry.mesh_lines import joint_name, ring_border
from bracedtop.geometry.outline import Array
from bracedtop.geometry.sides import Sides
from bracedtop.geometry.triangulate import Ints

UNNAMED = ("patch", "region", "ring")
"""Lines that a mesh follows but that get no name in it."""


def named_mesh(design: Design, p: Array, t: Ints, arcs: Sequence[Arc], sides: Sides) -> tuple[MeshTri, dict[int, Arc]]:
    """The straight-sided mesh with its names, and the arc of each facet on a curved line."""
    mesh = MeshTri(np.ascontiguousarray(p.T), np.ascontiguousarray(np.sort(t, axis=1).T))
    number = {(int(a), int(b)): k for k, (a, b) in enumerate(mesh.facets.T)}
    boundaries: dict[str, list[int]] = {}
    drawn: dict[int, Arc] = {}
    walls = np.zeros(mesh.facets.shape[1], dtype=bool)
    for (a, b), k in zip(sides.pairs.tolist(), sides.arc.tolist(), strict=True):
        arc = arcs[k]
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
    named = {name: np.unique(np.array(f)) for name, f in sorted(boundaries.items()) if name not in UNNAMED}
    return mesh.with_boundaries(named).with_subdomains(_subdomains(design, mesh, walls)), drawn


def _subdomains(design: Design, mesh: MeshTri, walls: NDArray[np.bool_]) -> dict[str, Ints]:
    """Triangles of each area. A face of the drawing belongs to the areas that hold most of its triangles."""
    n = mesh.t.shape[1]
    left, right = mesh.f2t[:, ~walls]
    links = sparse.coo_matrix((np.ones(len(left)), (left, right)), shape=(n, n))
    n_faces, face = sparse.csgraph.connected_components(links, directed=False)
    x, y = mesh.p[:, mesh.t].mean(axis=1)
    areas = _areas(mesh)
    whole = np.bincount(face, areas, minlength=n_faces)
    out = {"top": np.arange(n)}
    for name, polygon in _drawn_areas(design).items():
        inside = shapely.contains_xy(polygon, x, y)
        share = np.bincount(face, areas * inside, minlength=n_faces) / whole
        out[name] = np.flatnonzero(share[face] > 0.5)
    return out


def _drawn_areas(design: Design) -> dict[str, shapely.Geometry]:
    """Areas of the drawing that get a name of their own."""
    areas: dict[str, shapely.Geometry] = {
        f"brace {brace.name}": gripping_face(brace, design) for brace in design.braces
    }
    areas |= {f"patch {patch.name}": patch.polygon for patch in design.patches}
    areas |= {f"region {k}": region.polygon for k, region in enumerate(design.plate.regions, start=1)}
    if design.plate.ring_width > 0:
        areas["ring"] = design.outline.polygon.difference(ring_border(design))
    return areas


def check_mesh(design: Design, found: Sequence[Crossing], flat: MeshTri, curved: MeshTri2, tolerance: float) -> None:
    """Compare names, lengths and areas with the design."""
    region = design.region
    names = ["rim", *(f"hole {k}" for k in range(1, len(design.holes) + 1))]
    names += [f"brace {brace.name}" for brace in design.braces] + [joint_name(crossing) for crossing in found]
    for name in names:
        if name not in flat.boundaries:
            message = f'the triangulation has no line "{name}"; every brace, crossing and hole needs one'
            raise MeshError(message)
    areas = np.abs(curved.mapping().detDF(_RULE[0]) @ _RULE[1])
    expected = {"top": region, **_drawn_areas(design)}
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
