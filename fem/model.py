"""From a design to its matrices, and from these to modes."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from bracedtop.fem.boundary import Where, free_space, rim_facets, spring_stiffness
from bracedtop.fem.footprint import Points
from bracedtop.fem.locate import Locator
from bracedtop.fem.modes import eigenpairs, rigid_motions, unresisted
from bracedtop.fem.plate import N_FIELDS, Space, assemble, displacements, own_points, plate_space
from bracedtop.fem.sampling import (
    Block,
    Glued,
    Group,
    block_group,
    brace_group,
    glued_faces,
    let_in_groups,
    plate_layers,
)
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design
from bracedtop.geometry.mesh import TopMesh, mesh_top

MESH_SIZE = 22e-3
"""Default size of the triangles, m; chosen: cubic elements of this size keep 12 modes of the starter top within 0.5 %
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
        All parts: "top", "ring", "patch NAME", "brace NAME", "joint UNDER|OVER".
    glued, blocks : tuples of Glued and Block
        Where the braces' points lie, for sensitivities.
    K, M : sparse (5 n_nodes, 5 n_nodes), N/m and kg
        Springs included, nothing held yet.
    springs : sparse, N/m
        The springs' part of K.
    expand : sparse (5 n_nodes, n_free)
    warnings : tuple of str
        What the model leaves out of this design.
    """

    design: Design
    woods: Mapping[str, Wood]
    mesh: TopMesh
    space: Space
    locator: Locator
    groups: tuple[Group, ...]
    glued: tuple[Glued, ...]
    blocks: tuple[Block, ...]
    K: sparse.csc_matrix
    M: sparse.csc_matrix
    springs: sparse.csc_matrix
    expand: sparse.csc_matrix
    warnings: tuple[str, ...]

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
    shapes : (n, n_nodes, 5) array
        u, v, w in m and the two rotations in rad, scaled to phi^T M phi = 1 kg. The sign makes the deflection
        at the driving point positive, or the largest deflection where that point stands nearly still.
    n_rigid : int
        Rigid-body motions set apart.
    residual, orthogonality : float
        See `Eigenpairs`.
    """

    frequencies: np.ndarray
    shapes: np.ndarray
    n_rigid: int
    residual: float
    orthogonality: float

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
    space = plate_space(mesh, order)
    locator = Locator.from_mesh(mesh)
    thickness = np.full(mesh.flat.t.shape[1], design.plate.thickness)
    ring = np.asarray(mesh.flat.subdomains.get("ring", []), dtype=int)
    thickness[ring] -= design.plate.ring_reduction
    layers = plate_layers(design, woods)
    glued, blocks = glued_faces(design, locator, thickness)
    groups = _layer_groups(space, mesh, layers)
    faces = [g.points for g in glued] + [b.points for b in blocks]
    groups += let_in_groups(design, layers, locator, faces)
    groups += [brace_group(g, design.brace(g.brace), woods[design.brace(g.brace).wood]) for g in glued]
    for block in blocks:
        pair = (design.brace(block.crossing.under), design.brace(block.crossing.over))
        groups.append(block_group(block, pair, (woods[pair[0].wood], woods[pair[1].wood])))
    K, M = assemble(space, groups)
    facets = rim_facets(mesh, where)
    springs = sparse.csc_matrix(K.shape)
    if design.edge.kind == "springs":
        springs = spring_stiffness(mesh, space, facets, design.edge)
        K = sparse.csc_matrix(K + springs)
    expand = free_space(space, facets, design.edge)
    return Model(
        design, woods, mesh, space, locator, tuple(groups), glued, blocks, K, M, springs, expand, _warnings(design)
    )


def solve(model: Model, n_modes: int = 12) -> Modes:
    """The lowest elastic modes of a model.

    Raises
    ------
    AccuracyError
        If the eigenpairs fail their checks.
    """
    E = model.expand
    K, M = model.K, model.M
    if model.design.edge.kind in ("clamped", "hinged"):
        K, M = sparse.csc_matrix(E.T @ K @ E), sparse.csc_matrix(E.T @ M @ E)
    motions = np.zeros((K.shape[0], 0))
    if model.design.edge.kind in ("free", "springs"):
        motions = unresisted(K, rigid_motions(model.space.basis.doflocs))
    pairs = eigenpairs(K, M, n_modes, motions)
    frequencies = np.sqrt(pairs.values) / (2 * np.pi)
    shapes = (E @ pairs.vectors).T.reshape(n_modes, -1, N_FIELDS)
    return Modes(frequencies, _signed(model, shapes), pairs.n_rigid, pairs.residual, pairs.orthogonality)


def deflections(model: Model, modes: Modes, points: np.ndarray) -> np.ndarray:
    """Deflection w of each mode at points (k, 2) in m of the top, (n_modes, k)."""
    element, local = model.locator.locate(np.atleast_2d(points))
    return displacements(model.space, Points(element, local, np.ones(len(element))), modes.shapes)[:, :, 2]


def _layer_groups(space: Space, mesh: TopMesh, layers: Mapping[str, tuple[np.ndarray, np.ndarray]]) -> list[Group]:
    points, counts = own_points(space)
    n_points = counts[0]
    regions = {key: np.asarray(value, dtype=int) for key, value in mesh.flat.subdomains.items()}
    every = np.arange(len(counts))
    regions["ring"] = regions.get("ring", every[:0])
    regions["top"] = np.setdiff1d(every, regions["ring"])
    groups = []
    for part, (C, mass) in layers.items():
        elements = regions[part]
        if not len(elements):
            continue
        at = (elements[:, None] * n_points + np.arange(n_points)).ravel()
        inside = Points(points.element[at], points.local[:, at], points.weight[at])
        groups.append(Group(part, inside, np.broadcast_to(C, (len(at), 9, 9)), np.broadcast_to(mass, (len(at), 3))))
    return groups


def _signed(model: Model, shapes: np.ndarray) -> np.ndarray:
    w = shapes[:, :, 2]
    peak = w[np.arange(len(w)), np.abs(w).argmax(axis=1)]
    element, local = model.locator.locate(model.design.driving_point[None, :])
    drive = displacements(model.space, Points(element, local, np.ones(1)), shapes)[:, 0, 2]
    sign = np.where(np.abs(drive) > 0.05 * np.abs(peak), np.sign(drive), np.sign(peak))
    return np.asarray(shapes * np.where(sign == 0, 1.0, sign)[:, None, None])


def _warnings(design: Design) -> tuple[str, ...]:
    if design.plate.dome is None or design.plate.dome.is_flat:
        return ()
    return ("the dome is stored but not used: the top is solved flat",)
