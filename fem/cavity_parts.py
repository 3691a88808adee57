"""Air that braces and linings take the place of.

Depends on fem/cavity, fem/footprint, fem/locate, fem/plate, fem/section.

Their volume is taken off the depth of the air, spread over `SPREAD` to either side: they are narrower than triangles,
and the air's waves are far longer. (As a narrow strip that no triangle resolves, the same volume drifts with the mesh
by 0.5 %.) What is missing is that air has to flow round a brace that lies across its way. Patches, a few thousandths of
the volume, are left out.
"""

from collections.abc import Sequence

import numpy as np
import shapely
from scipy import sparse
from skfem import BilinearForm
from skfem.helpers import dot, grad

from bracedtop.fem.cavity import CavityMesh
from bracedtop.fem.footprint import Points
from bracedtop.fem.locate import Locator
from bracedtop.fem.modes import factorised
from bracedtop.fem.plate import Space, shape_functions
from bracedtop.fem.section import section_moments
from bracedtop.geometry.box import Lining
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.outline import Array

SPREAD = 25e-3
"""Distance over which a brace's volume is spread, m; chosen: about a triangle, a fifth of the shortest wave."""

_STEP = 10e-3
"""Distance of the points along a brace or a lining, m; chosen: a third of a triangle."""


def wooden_parts(cavity: CavityMesh, space: Space) -> tuple[Array, Array]:
    """Depth that wood takes off the air at the top and at the back, both (n_nodes,) in m.

    Volume is spread by the equation g - SPREAD^2 (g_xx + g_yy) = volume per area with reflecting walls, which keeps it.
    """
    rim = cavity.design.outline.polygon
    faces = []
    for name, face in (("top", cavity.design), ("back", cavity.box.back)):
        parts = [_brace(brace) for brace in face.braces]
        parts += [_lining(lining, rim) for lining in cavity.box.linings if lining.face == name]
        faces.append(_load(cavity, space, parts))
    if not any(load.any() for load in faces):
        return faces[0], faces[1]
    solve = factorised(sparse.csc_matrix(_spreading.assemble(space.basis))).solve
    return solve(faces[0]), solve(faces[1])


def _load(cavity: CavityMesh, space: Space, parts: Sequence[tuple[Array, Array]]) -> Array:
    """Sum of volumes times the plan's functions at their places, (n_nodes,) in m^3."""
    xy = np.concatenate([np.zeros((0, 2)), *(place for place, _ in parts)])
    volume = np.concatenate([np.zeros(0), *(taken for _, taken in parts)])
    inside = cavity.design.outline.polygon.difference(cavity.blocks)
    kept = shapely.contains_xy(inside, xy[:, 0], xy[:, 1])
    xy, volume = xy[kept], volume[kept]
    out = np.zeros(space.n_nodes)
    if len(xy):
        element, local = Locator.from_mesh(cavity.plan).locate(xy)
        values, _ = shape_functions(space, Points(element, local, volume))
        np.add.at(out, space.dofs[element], volume[:, None] * values)
    return out


def _brace(brace: Brace) -> tuple[Array, Array]:
    """Points along a brace and the volumes there."""
    n = max(int(np.ceil(brace.length / _STEP)), 2)
    distance = (np.arange(n) + 0.5) * brace.length / n
    xy, _ = brace.position(distance)
    area = section_moments(brace.shape, brace.width, brace.height(distance), np.zeros(n))[:, 0]
    return xy, np.asarray(area * brace.length / n)


def _lining(lining: Lining, rim: shapely.Polygon) -> tuple[Array, Array]:
    """Points along a lining's middle and the volumes there; a lining's section counts as a rectangle."""
    full = lining.width * lining.height
    if lining.kerf_pitch > 0:
        full *= 1 - lining.kerf_width * lining.kerf_depth / (lining.kerf_pitch * lining.width)
    places, volumes = [np.zeros((0, 2))], [np.zeros(0)]
    for part in shapely.get_parts(rim.buffer(-lining.width / 2)):
        ring = part.exterior
        n = max(int(np.ceil(ring.length / _STEP)), 8)
        points = shapely.line_interpolate_point(ring, (np.arange(n) + 0.5) * ring.length / n)
        places.append(shapely.get_coordinates(points))
        volumes.append(np.full(n, full * ring.length / n))
    return np.concatenate(places), np.concatenate(volumes)


@BilinearForm
def _spreading(u, v, w):  # type: ignore[no-untyped-def]
    return u * v + SPREAD**2 * dot(grad(u), grad(v))
