"""Quadratic triangles whose sides on the rim and on holes follow the true curve."""

from collections.abc import Mapping

import numpy as np
import shapely
from skfem import MeshTri, MeshTri2

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.triangulate import Ints

_MARGIN = 0.2
"""Least Jacobian of a triangle's map, over that of the straight triangle; chosen: far from folding over at 0."""


def curved_mesh(flat: MeshTri, drawn: Mapping[int, Arc]) -> tuple[MeshTri2, Ints]:
    """Quadratic triangles with the middles of curved sides on their curve.

    Parameters
    ----------
    flat : skfem.MeshTri
    drawn : mapping of int to Arc
        The arc of each facet on a curved line.

    Returns
    -------
    mesh : skfem.MeshTri2
        The same triangles, facets and names.
    straightened : (n,) int array
        Facets left straight because a triangle would fold over.
    """
    mesh = MeshTri2.from_mesh(flat)
    doflocs = mesh.doflocs.copy()
    facets = np.array(sorted(drawn), dtype=int)
    nodes = mesh.dofs.facet_dofs[0, facets]
    straight = doflocs[:, nodes].copy()
    # Each side's own arc, not the nearest: where the rim comes back close by, that could be another one.
    lines = np.array([shapely.LineString(drawn[int(facet)].points) for facet in facets], dtype=object)
    feet = shapely.line_interpolate_point(lines, shapely.line_locate_point(lines, shapely.points(straight.T)))
    doflocs[:, nodes] = shapely.get_coordinates(feet).T
    moved = MeshTri2(doflocs, mesh.t)
    back = np.isin(facets, mesh.t2f[:, _least_jacobian(moved, flat) < _MARGIN])
    if back.any():
        doflocs[:, nodes[back]] = straight[:, back]
        moved = MeshTri2(doflocs, mesh.t)
    return moved.with_boundaries(dict(flat.boundaries)).with_subdomains(dict(flat.subdomains)), facets[back]


def _least_jacobian(mesh: MeshTri2, flat: MeshTri) -> np.ndarray:
    """Least Jacobian in each triangle over that of the straight triangle, (n,)."""
    g = np.linspace(0.0, 1.0, 5)
    X = np.array([[a, b] for a in g for b in g if a + b <= 1 + 1e-12]).T
    straight = flat.mapping().detDF(np.array([[1 / 3], [1 / 3]]))
    return np.asarray((mesh.mapping().detDF(X) / straight).min(axis=1))
