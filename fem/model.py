"""From a design to its matrices, and from these to modes."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from bracedtop.fem.assembly import assemble
from bracedtop.fem.attached import mass_groups
from bracedtop.fem.boundary import Where, free_space, rim_facets, spring_stiffness
from bracedtop.fem.brace_points import Block, Glued, block_group, brace_groups, glued_faces
from bracedtop.fem.footprint import Points
from bracedtop.fem.layer import N_OWN, Layer, own_layers, own_space
from bracedtop.fem.locate import Locator
from bracedtop.fem.modes import eigenpairs, rigid_motions, unresisted
from bracedtop.fem.plate import N_FIELDS, Space, displacements, own_points, plate_space
from bracedtop.fem.sampling import Group, TopWood, patch_groups, top_groups
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design
from bracedtop.geometry.mesh import TopMesh, mesh_top

MESH_SIZE = 22e-3
"""Default size of the triangles, m; chosen: cubic elements of this size keep 12 modes of the starter top within 0.6 %
of quartic ones on a finer mesh."""


@dataclass(frozen=True, slots=True)
class Model:
    """A meshed and assembled top.

    Parameters
    ----------
    design : Design
    woods : mapping of str to Wood
    mesh : TopMesh
    space : Space
    locator : Locator
    groups : tuple of Group
        All parts: "top", "ring", "patch NAME", "brace NAME", "joint UNDER|OVER", "mass NAME".
    top : TopWood
        Where the top's own wood lies.
    layers : mapping of str to Layer
        Own unknowns of the parts that move by themselves.
    glued, blocks : tuples of Glued and Block
        Where the braces' points lie, for sensitivities.
    K, M : sparse (n, n), N/m and kg
        Springs included, nothing held yet. The first 5 n_nodes unknowns are the plate's, the others the layers' own.
    springs : sparse, N/m
        The springs' part of K.
    expand : sparse (n, n_free)
        All unknowns from those that are free to move.
    shrink : sparse (n_free, n)
        The free ones out of all; its product with `expand` is the identity.
    """

    design: Design
    woods: Mapping[str, Wood]
    mesh: TopMesh
    space: Space
    locator: Locator
    groups: tuple[Group, ...]
    top: TopWood
    layers: Mapping[str, Layer]
    glued: tuple[Glued, ...]
    blocks: tuple[Block, ...]
    K: sparse.csc_matrix
    M: sparse.csc_matrix
    springs: sparse.csc_matrix
    expand: sparse.csc_matrix
    shrink: sparse.csc_matrix

    @property
    def n_unknowns(self) -> int:
        """Number of free unknowns."""
        return int(self.expand.shape[1])

    def mass(self, part: str = "") -> float:
        """Mass of a part by its name, of all of a kind ("brace", "joint", "patch"), or of everything, kg."""
        return float(
            sum(
                (g.points.weight * g.mass[:, 0]).sum()
                for g in self.groups
                if part in ("", g.part, g.part.split(" ", maxsplit=1)[0])
            )
        )


@dataclass(frozen=True, slots=True)
class Modes:
    """Elastic modes of a top, lowest first.

    Parameters
    ----------
    frequencies : (n,) array, Hz
    vectors : (n, n_unknowns) array
        All unknowns in m and rad, scaled to phi^T M phi = 1 kg. The sign makes the deflection at the driving point
        positive, or the largest deflection where that point stands nearly still.
    n_nodes : int
    n_rigid : int
        Rigid-body motions set apart.
    residual, orthogonality : float
        See `Eigenpairs`.
    """

    frequencies: np.ndarray
    vectors: np.ndarray
    n_nodes: int
    n_rigid: int
    residual: float
    orthogonality: float

    @property
    def shapes(self) -> np.ndarray:
        """The plate's u, v, w in m and its two rotations in rad, (n, n_nodes, 5)."""
        return plate_part(self.vectors, self.n_nodes)

    @property
    def eigenvalues(self) -> np.ndarray:
        """(2 pi f)^2, (n,) in 1/s^2."""
        return np.asarray((2 * np.pi * self.frequencies) ** 2)


def build_model(
    design: Design,
    woods: Mapping[str, Wood],
    *,
    size: float | None = None,
    order: int = 3,
    mesh: TopMesh | None = None,
    where: Where | None = None,
) -> Model:
    """Mesh and assemble a design.

    Parameters
    ----------
    design : Design
    woods : mapping of str to Wood
        For every wood that the design names.
    size : float, m, optional
        Target size of the triangles, `MESH_SIZE` if not given.
    order : int
        Polynomial order of the triangles, 1 to 4.
    mesh : TopMesh, optional
        A mesh of the same drawing made before; braces may differ in height.
    where : callable, optional
        Limits the edge condition to rim sides whose midpoints (2, n) in m satisfy it.

    Raises
    ------
    DesignError, MeshError
    """
    mesh = mesh_top(design, size or MESH_SIZE) if mesh is None else mesh
    space = plate_space(mesh, order, design.plate.dome)
    locator = Locator.from_mesh(mesh)
    top = TopWood.from_mesh(design, mesh, locator)
    own, _ = own_points(space)
    glued, blocks = glued_faces(design, woods[design.plate.wood], locator, own)
    faces = [part.points for part in glued] + [block.points for block in blocks if not block.is_butt]
    groups = top_groups(design, woods[design.plate.wood], top, own)
    groups += patch_groups(design, woods, top, own, mesh.flat.subdomains, faces)
    for part in glued:
        brace = design.brace(part.brace)
        groups += brace_groups(part, brace, woods[brace.wood], part.height)
    for block in blocks:
        pair = (design.brace(block.crossing.under), design.brace(block.crossing.over))
        groups.append(block_group(block, pair, (woods[pair[0].wood], woods[pair[1].wood])))
    groups += mass_groups(design, locator)
    facets = rim_facets(mesh, where)
    rim = space.basis.get_dofs(facets).all() if design.edge.kind in ("clamped", "hinged") else facets[:0]
    layers = own_layers(space, groups, rim)
    K, M = assemble(space, groups, layers)
    springs = sparse.csc_matrix(K.shape)
    if design.edge.kind == "springs":
        springs = spring_stiffness(mesh, space, facets, design.edge)
        springs.resize(K.shape)
        K = sparse.csc_matrix(K + springs)
    expand, shrink = _free_unknowns(free_space(space, facets, design.edge), layers)
    parts = tuple(groups)
    return Model(design, woods, mesh, space, locator, parts, top, layers, glued, blocks, K, M, springs, expand, shrink)


def _free_unknowns(held: sparse.csc_matrix, layers: Mapping[str, Layer]) -> tuple[sparse.csc_matrix, sparse.csc_matrix]:
    if not layers:
        return held, sparse.csc_matrix(held.T)
    follow, free = own_space(layers)
    expand = sparse.bmat([[held, None], [follow @ held, free]], format="csc")
    shrink = sparse.block_diag([held.T, free.T], format="csc")
    return sparse.csc_matrix(expand), sparse.csc_matrix(shrink)


def solve(model: Model, n_modes: int = 12) -> Modes:
    """The lowest elastic modes of a model.

    Raises
    ------
    AccuracyError
        If the eigenpairs fail their checks.
    """
    E = model.expand
    K, M = free_matrix(model, model.K), free_matrix(model, model.M)
    motions = np.zeros((K.shape[0], 0))
    if model.design.edge.kind in ("free", "springs"):
        motions = unresisted(K, model.shrink @ whole_motions(model))
    pairs = eigenpairs(K, M, n_modes, motions)
    frequencies = np.sqrt(pairs.values) / (2 * np.pi)
    vectors = _signed(model, (E @ pairs.vectors).T)
    return Modes(frequencies, vectors, model.space.n_nodes, pairs.n_rigid, pairs.residual, pairs.orthogonality)


def free_matrix(model: Model, matrix: sparse.csc_matrix) -> sparse.csc_matrix:
    """A matrix of all unknowns, for those that are free to move."""
    if model.design.edge.kind in ("free", "springs") and not model.layers:
        return matrix
    return sparse.csc_matrix(model.expand.T @ matrix @ model.expand)


def plate_part(vectors: np.ndarray, n_nodes: int) -> np.ndarray:
    """The plate's five fields (n, n_nodes, 5) out of all unknowns (n, n_unknowns)."""
    return vectors[:, : N_FIELDS * n_nodes].reshape(len(vectors), n_nodes, N_FIELDS)


def whole_motions(model: Model) -> np.ndarray:
    """The six rigid-body motions in all unknowns, (n_unknowns, 6)."""
    xy, dome = model.space.basis.doflocs, model.space.dome
    plate = rigid_motions(xy, None if dome is None else dome.height(xy.T))
    own = np.zeros((N_OWN, 6))
    # A layer tilts with the plate and does not slip.
    own[2, 4] = own[3, 5] = -1.0
    n_layer_nodes = (model.K.shape[0] - len(plate)) // N_OWN
    return np.concatenate([plate, np.tile(own, (n_layer_nodes, 1))])


def deflections(model: Model, modes: Modes, points: np.ndarray) -> np.ndarray:
    """Deflection w of each mode at points (k, 2) in m of the top, (n_modes, k)."""
    element, local = model.locator.locate(np.atleast_2d(points))
    return displacements(model.space, Points(element, local, np.ones(len(element))), modes.shapes)[:, :, 2]


def _signed(model: Model, vectors: np.ndarray) -> np.ndarray:
    shapes = plate_part(vectors, model.space.n_nodes)
    w = shapes[:, :, 2]
    peak = w[np.arange(len(w)), np.abs(w).argmax(axis=1)]
    element, local = model.locator.locate(model.design.driving_point[None, :])
    drive = displacements(model.space, Points(element, local, np.ones(1)), shapes)[:, 0, 2]
    sign = np.where(np.abs(drive) > 0.05 * np.abs(peak), np.sign(drive), np.sign(peak))
    return np.asarray(vectors * np.where(sign == 0, 1.0, sign)[:, None])
