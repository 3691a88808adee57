"""Vectors in which a face's modes lie whatever holds its rim, whatever its ring, wood and film are, and under air.

Depends on fem/attached, fem/face_changes, fem/model, fem/modes, fem/reduced_sample.

The drawn face's modes, its responses to steady pressures and to a mass at the bridge, and its motions as a stiff body,
which the rim may make, are the basis for what is drawn. For what may change, the principal directions of more are
taken: modes of the face on other rims (snapshots), the responses K^-1 (dK - lambda dM) phi of all these to a thinner
ring, and of the drawn ones to other wood and a film. Modes are found in block Krylov spaces.

References
----------
L. Sirovich, Quart. Appl. Math. 45 (1987) 561-571 (principal directions of snapshots). B. N. Parlett, The Symmetric
Eigenvalue Problem (1998), ch. 11 and 13 (Rayleigh-Ritz, Krylov spaces). R. L. Fox, M. P. Kapoor, AIAA J. 6 (1968) 2426
(responses).
"""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import scipy.linalg
from numpy.polynomial.legendre import legvander2d
from scipy import sparse

from bracedtop.fem.attached import mass_groups
from bracedtop.fem.face_changes import Matrices, changed_matrices
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.model import Model, free_matrix, whole_motions
from bracedtop.fem.modes import factorised
from bracedtop.fem.parameter import driving_mass
from bracedtop.fem.plate import N_FIELDS, own_points, shape_functions
from bracedtop.fem.reduced_sample import mass_form, motion_rows, seen
from bracedtop.fem.rim import Rim
from bracedtop.geometry.box import Finish

SIZE = 180
"""Size of the basis for changed faces; chosen: see tests/unit/test_face_terms.py for what it reaches."""

MODES = 35
"""Modes of the drawn face in the basis; chosen: for 25 that are wanted."""

SHOTS = 30
"""Modes of a face on another rim; chosen."""

EXACT = 15
"""Of these, how many the basis for changed faces holds exactly; chosen."""

DRIVEN = 25
"""Modes whose responses to other wood, ring and film are in the basis; chosen: those that are wanted."""

LOWER = 0.15
"""Power of a mode's eigenvalue by which it counts less than the lowest; chosen: low modes are looked at most."""

DEGREE = 5
"""Degree of the polynomials of pressure from which modes are sought; chosen: 21 of them."""

STEPS = 6
"""Blocks of the Krylov space of these; chosen: 30 modes within 0.01 %."""

SMOOTH = 2
"""Degree of the pressures whose responses are kept as such; chosen: the air's lowest motions press so."""

RIGID = (2, 4, 5)
"""Motions of the whole that a stiff rim makes: along the normal, tilted along x and along y."""

SOFT, STIFF = Rim(5e6, 30.0, 5e6), Rim(2e8, 6e3, 1e8)
"""Rims between which the basis holds, at the least; chosen: foam that carries the face alone, a heavy solid lining."""

THINNED = 0.18
"""Part of the face's thickness that may be taken off the ring; chosen: 0.5 mm of a spruce top."""

CHANGES = (
    FaceValues(E_L=1.3),
    FaceValues(E_R=1.3),
    FaceValues(G_LR=1.3),
    FaceValues(thickness=0.9),
    FaceValues(finish=Finish("top", 0.15, 0.1e-3, 3e9)),
)
"""Changes of wood, thickness and finish whose responses are in the basis; chosen: what calibration may find, a film."""

_RANK = 1e-12

Solve = Callable[[np.ndarray], np.ndarray]


def rim_motions(model: Model) -> np.ndarray:
    """Motions (n_unknowns, 3) of a face that moves with its rim as one stiff body: up, tilted along x, along y."""
    return np.asarray(whole_motions(model)[:, RIGID])


def face_basis(model: Model, rim: Rim | None) -> np.ndarray:
    """A basis (n_unknowns, r) of energies 1.

    Parameters
    ----------
    model : Model
        Its edge is the rim's springs as drawn.
    rim : Rim or None
        As drawn, for a basis that holds for changed faces; None: for the drawn one only.
    """
    solve = _solver(model, model.K)
    force = _bridge_forces(model)
    loads = np.column_stack([pressures(model, DEGREE), force])
    lam, modes = _lowest(model, (model.K, model.M), solve, loads, STEPS, MODES)
    static = solve(np.column_stack([pressures(model, SMOOTH), force]))
    # What inertia adds to the response to a force at the bridge: a mass there changes high modes by it.
    swung = solve(np.asarray(model.M @ static[:, -len(RIGID) :]))
    first = np.column_stack([rim_motions(model), static, swung, solve(np.asarray(model.M @ swung))])
    if rim is None:
        return _orthonormal(model.K, np.column_stack([first, modes]))
    start = np.asarray(model.M @ modes)
    thinner = changed_matrices(model, FaceValues(ring=THINNED * model.design.plate.thickness))
    has_ring = any(group.part == "ring" for group in model.groups)

    def responses(matrices: Matrices, of: np.ndarray, values: np.ndarray, through: Solve) -> np.ndarray:
        x, weight = of[:, :DRIVEN], values[:DRIVEN]
        K, M = matrices
        found = through(np.asarray((K - model.K) @ x) - np.asarray((M - model.M) @ x) * weight)
        return np.asarray(found * (lam[0] / weight) ** LOWER)

    def snapshot(rim: Rim) -> np.ndarray:
        matrices = changed_matrices(model, FaceValues(rim=rim))
        through = _solver(model, matrices[0])
        there, found = _lowest(model, matrices, through, start, 2, SHOTS)
        shots = [found * (lam[0] / there) ** LOWER]
        if has_ring:
            shots.append(responses(thinner, found, there, through))
        return np.column_stack(shots)

    def driven(values: FaceValues) -> np.ndarray:
        return responses(changed_matrices(model, values), modes, lam, solve)

    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:
        others = [*pool.map(snapshot, _rims(rim)), *pool.map(driven, CHANGES)]
    if has_ring:
        others.append(responses(thinner, modes, lam, solve))
    first = np.column_stack([first, modes[:, :EXACT]])
    return _principal(model.K, first, np.column_stack([modes * (lam[0] / lam) ** LOWER, *others]))


def _rims(drawn: Rim) -> tuple[Rim, Rim, Rim]:
    """A soft rim, a stiff one, and one that lets the face turn."""
    low = Rim(*np.minimum(drawn.springs / 2, SOFT.springs))
    high = Rim(*np.maximum(2 * drawn.springs, STIFF.springs))
    return low, high, Rim(high.deflection, low.rotation, drawn.inplane)


def pressures(model: Model, degree: int) -> np.ndarray:
    """Forces (n_unknowns, k) of pressures that are polynomials in the place, up to a degree."""
    points, _ = own_points(model.space)
    values, _ = shape_functions(model.space, points)
    xy = model.locator.positions(points.element, points.local)
    low, high = xy.min(axis=0), xy.max(axis=0)
    place = (2 * xy - low - high) / (high - low)
    shape = legvander2d(place[:, 0], place[:, 1], [degree, degree]).reshape(len(xy), degree + 1, degree + 1)
    i, j = np.indices((degree + 1, degree + 1))
    shape = shape[:, i + j <= degree]
    n = model.space.n_nodes
    rows = np.repeat(np.arange(len(xy)), values.shape[1])
    gather = sparse.csr_matrix((values.ravel(), (rows, model.space.dofs[points.element].ravel())), shape=(len(xy), n))
    out = np.zeros((model.K.shape[0], shape.shape[1]))
    out[2 : N_FIELDS * n : N_FIELDS] = gather.T @ (points.weight[:, None] * shape)
    return out


def _bridge_forces(model: Model) -> np.ndarray:
    """What a mass at the driving point pulls with when the face moves as a whole, per m/s^2, (n_unknowns, 3)."""
    mass = replace(model.design, masses=(driving_mass(model.design, 1.0),))
    (group,) = mass_groups(mass, model.locator)
    rows = motion_rows(model.space, model.layers, group)
    n = len(group.points.weight)
    pull = mass_form(group.mass) * np.asarray(group.points.weight)[:, None, None]
    return np.asarray(rows.T @ np.matmul(pull, seen(rows, rim_motions(model), n)).reshape(-1, len(RIGID)))


def _solver(model: Model, K: sparse.csc_matrix) -> Solve:
    lu = factorised(sparse.csc_matrix(free_matrix(model, K)))

    def solve(force: np.ndarray) -> np.ndarray:
        return np.asarray(model.expand @ lu.solve(np.asfortranarray(model.expand.T @ force)))

    return solve


def _lowest(
    model: Model,
    matrices: tuple[sparse.csc_matrix, sparse.csc_matrix],
    solve: Solve,
    loads: np.ndarray,
    steps: int,
    n_modes: int,
) -> tuple[np.ndarray, np.ndarray]:
    """The lowest eigenvalues and modes, of energy 1, in the block Krylov space of loads."""
    K, M = matrices
    blocks = [_orthonormal(K, solve(loads))]
    for _ in range(steps - 1):
        blocks.append(_orthonormal(K, solve(np.asarray(M @ blocks[-1]))))
    X = _orthonormal(K, np.column_stack(blocks))
    n = X.shape[1]
    mu, y = scipy.linalg.eigh(X.T @ (M @ X), subset_by_index=[max(n - n_modes, 0), n - 1])
    return 1 / mu[::-1], np.asarray(X @ y[:, ::-1])


def _orthonormal(K: sparse.csc_matrix, vectors: np.ndarray) -> np.ndarray:
    """Vectors of energy 1 that span the same space."""
    pushed = np.asarray(K @ vectors)
    scale = 1 / np.sqrt(np.einsum("ij,ij->j", vectors, pushed))
    gram = scale[:, None] * (vectors.T @ pushed) * scale
    size, mix = np.linalg.eigh((gram + gram.T) / 2)
    keep = size > _RANK * size[-1]
    return np.asarray(vectors @ (scale[:, None] * mix[:, keep] / np.sqrt(size[keep])))


def _principal(K: sparse.csc_matrix, first: np.ndarray, others: np.ndarray) -> np.ndarray:
    """A basis of energies 1 that spans `first` and the largest directions of `others`."""
    start = _orthonormal(K, first)
    pushed = np.asarray(K @ start)
    others = others - start @ (pushed.T @ others)
    gram = others.T @ (K @ others)
    size, mix = np.linalg.eigh((gram + gram.T) / 2)
    keep = np.flatnonzero(size > _RANK * size[-1])[::-1][: SIZE - start.shape[1]]
    rest = others @ (mix[:, keep] / np.sqrt(size[keep]))
    return np.column_stack([start, rest - start @ (pushed.T @ rest)])
