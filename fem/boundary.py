"""Rim conditions: which unknowns are held, and springs along the rim."""

from collections.abc import Callable

import numpy as np
from scipy import sparse
from skfem import BilinearForm, FacetBasis

from bracedtop.fem.plate import N_FIELDS, Space
from bracedtop.geometry.design import Edge
from bracedtop.geometry.mesh import TopMesh

Where = Callable[[np.ndarray], np.ndarray]

_CORNER = np.cos(np.deg2rad(20.0))
"""Two rim directions that differ by more than 20 degrees make a corner; chosen: far above a curve's turn."""


def rim_facets(mesh: TopMesh, where: Where | None = None) -> np.ndarray:
    """Facets of the rim, all of them or those whose midpoints (2, n) in m satisfy `where`."""
    facets = np.asarray(mesh.flat.boundaries["rim"])
    if where is None:
        return facets
    middle = mesh.flat.p[:, mesh.flat.facets[:, facets]].mean(axis=1)
    return np.asarray(facets[np.asarray(where(middle), dtype=bool)])


def free_space(space: Space, facets: np.ndarray, edge: Edge) -> sparse.csc_matrix:
    """Matrix (n_unknowns, n_free) that expands free unknowns to all of them.

    Clamped: nothing moves. Hinged: u = v = w = 0 and no rotation along the rim (hard hinge); the rim may only
    turn about itself. Free and springs: everything moves.
    """
    n = space.n_nodes
    if edge.kind in ("free", "springs"):
        return sparse.identity(N_FIELDS * n, format="csc")
    nodes, tangents, corner = _rim_nodes(space, facets)
    held = np.zeros((n, N_FIELDS), dtype=bool)
    held[nodes, :3] = True
    held[nodes, 3:] = (edge.kind == "clamped") | corner[:, None]
    turned = nodes[~corner] if edge.kind == "hinged" else nodes[:0]
    plain = ~held
    plain[turned, 3:] = False
    rows = np.flatnonzero(plain.ravel())
    columns = np.arange(len(rows))
    values = np.ones(len(rows))
    if len(turned):
        t = tangents[~corner]
        normal = np.column_stack([t[:, 1], -t[:, 0]])
        extra = len(rows) + np.arange(len(turned))
        rows = np.concatenate([rows, N_FIELDS * turned + 3, N_FIELDS * turned + 4])
        columns = np.concatenate([columns, extra, extra])
        values = np.concatenate([values, normal[:, 0], normal[:, 1]])
    return sparse.csc_matrix((values, (rows, columns)), shape=(N_FIELDS * n, int(columns.max()) + 1))


def _rim_nodes(space: Space, facets: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nodes on facets, the rim's unit direction at each, (n, 2), and whether the rim has a corner there."""
    mesh = space.basis.mesh
    directions = _end_directions(space, facets)
    # Linear triangles have no nodes inside their sides.
    on_facets = np.zeros((0, len(facets)), dtype=int)
    if space.order > 1:
        on_facets = np.asarray(space.basis.dofs.facet_dofs)[:, facets]
    at_ends = np.asarray(space.basis.dofs.nodal_dofs)[0][mesh.facets[:, facets]]
    tangents: dict[int, np.ndarray] = {}
    corners = set()
    for row in range(len(facets)):
        for end, node in enumerate(at_ends[:, row]):
            here, before = directions[end, row], tangents.get(int(node))
            if before is None:
                tangents[int(node)] = here
                continue
            cosine = float(before @ here)
            if abs(cosine) < _CORNER:
                corners.add(int(node))
            tangents[int(node)] = before + np.copysign(1.0, cosine) * here
    for k in range(len(on_facets)):
        for node, direction in zip(on_facets[k], _directions(space, facets, on_facets[k]), strict=True):
            tangents[int(node)] = direction
    nodes = np.array(sorted(tangents), dtype=int)
    unit = np.array([tangents[i] / np.hypot(*tangents[i]) for i in nodes])
    return nodes, unit, np.array([i in corners for i in nodes], dtype=bool)


def _end_directions(space: Space, facets: np.ndarray) -> np.ndarray:
    """Unit direction of each curved side at its two ends, (2, n, 2): chords would make corners of a tight curve."""
    mesh = space.basis.mesh
    a, b = mesh.p[:, mesh.facets[0, facets]], mesh.p[:, mesh.facets[1, facets]]
    bow = 4 * (mesh.doflocs[:, mesh.dofs.facet_dofs[0, facets]] - (a + b) / 2)
    found = np.stack([(b - a + bow).T, (b - a - bow).T])
    return np.asarray(found / np.hypot(found[..., 0], found[..., 1])[..., None])


def _directions(space: Space, facets: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """Rim direction at nodes inside facets, (n, 2): the slope of the curved side through its middle."""
    mesh = space.basis.mesh
    a, b = mesh.p[:, mesh.facets[0, facets]], mesh.p[:, mesh.facets[1, facets]]
    middle = mesh.doflocs[:, mesh.dofs.facet_dofs[0, facets]]
    x = space.basis.doflocs[:, nodes]
    t = ((x - a) * (b - a)).sum(axis=0) / ((b - a) ** 2).sum(axis=0)
    return np.asarray(((b - a) + (1 - 2 * t) * 4 * (middle - (a + b) / 2)).T)


def spring_stiffness(mesh: TopMesh, space: Space, facets: np.ndarray, edge: Edge) -> sparse.csc_matrix:
    """Stiffness of springs along the rim, (n_unknowns, n_unknowns), N/m.

    Deflection, rotation about the rim, and displacement in the plane are resisted in proportion to the
    stiffnesses per length of `edge`.
    """
    basis = FacetBasis(mesh.curved, space.basis.elem, facets=facets, intorder=2 * space.order)
    forms = {
        "one": BilinearForm(lambda u, v, w: u * v),
        "xx": BilinearForm(lambda u, v, w: w.n[0] ** 2 * u * v),
        "xy": BilinearForm(lambda u, v, w: w.n[0] * w.n[1] * u * v),
        "yy": BilinearForm(lambda u, v, w: w.n[1] ** 2 * u * v),
    }
    S = {key: form.assemble(basis) for key, form in forms.items()}
    field = sparse.csr_matrix
    total = None
    for i, j, key, k in (
        (0, 0, "one", edge.inplane),
        (1, 1, "one", edge.inplane),
        (2, 2, "one", edge.deflection),
        (3, 3, "xx", edge.rotation),
        (3, 4, "xy", edge.rotation),
        (4, 3, "xy", edge.rotation),
        (4, 4, "yy", edge.rotation),
    ):
        place = field(([1.0], ([i], [j])), shape=(N_FIELDS, N_FIELDS))
        part = sparse.kron(k * S[key], place, format="csc")
        total = part if total is None else total + part
    return sparse.csc_matrix(total)
