"""Vectors in which a face's modes lie whatever holds its rim, whatever its ring, wood and film are, and under air.

Depends on fem/model, fem/modes, fem/reduced_basis, fem/reduced_sample.

Modes of the drawn face and of faces on softer and stiffer rims are found by block inverse iteration from smooth loads.
Beside them stand the responses of the drawn face to smooth pressures, to a force at the bridge, and to changes of ring,
wood and film, and its motions as a stiff body, which the rim may make. The principal directions of all this are the basis.

References
----------
L. Sirovich, Quart. Appl. Math. 45 (1987) 561-571 (principal directions). B. N. Parlett, The Symmetric Eigenvalue Problem
(1998), ch. 11 and 14 (Rayleigh-Ritz, block Krylov spaces).
"""

from collections.abc import Callable, Sequence

import numpy as np
import scipy.linalg
from numpy.polynomial.legendre import legvander2d
from scipy import sparse

from bracedtop.fem.footprint import Points
from bracedtop.fem.model import Model, free_matrix, whole_motions
from bracedtop.fem.modes import factorised
from bracedtop.fem.plate import N_FIELDS, own_points, shape_functions

SIZE = 90
"""Size of the basis; chosen: see tests/unit/test_face_terms.py for what it reaches."""

DEGREE = 8
"""Degree of the polynomials of pressure from which modes are sought; chosen: 45 of them, for 40 modes."""

SMOOTH = 2
"""Degree of the pressures whose responses are kept as such; chosen: the air's lowest motions press so."""

MODES = 40
"""Modes of each face that the basis is made of; chosen: for 25 that are wanted."""

RIGID = (2, 4, 5)
"""Motions of the whole that a stiff rim makes: along the normal, tilted along x and along y."""

HELD = ((1 / 30, 1 / 30, 1 / 30), (30.0, 30.0, 30.0), (30.0, 1 / 30, 1.0))
"""Factors on the rim's springs in other faces: soft, stiff, and hinged; chosen."""

_RANK = 1e-12

Solve = Callable[[np.ndarray], np.ndarray]


def rim_motions(model: Model) -> np.ndarray:
    """Motions (n_unknowns, 3) of a face that moves with its rim as one stiff body: up, tilted along x, along y."""
    return whole_motions(model)[:, RIGID]


def face_basis(
    model: Model,
    springs: Sequence[sparse.csc_matrix],
    forces: Callable[[np.ndarray, np.ndarray], np.ndarray],
) -> np.ndarray:
    """A basis (n_unknowns, SIZE).

    Parameters
    ----------
    model : Model
    springs : sequence of sparse (n, n), N/m
        Of the rim as drawn: deflection, rotation and stretch.
    forces : callable
        Forces (n_unknowns, k) that changes make in modes (n_unknowns, m) with their eigenvalues (m,).
    """
    solve = _solver(model, model.K)
    lam, modes = _lowest(model, model.K, solve, pressures(model, DEGREE))
    static = solve(np.column_stack([pressures(model, SMOOTH), _point_force(model)]))
    first = np.column_stack([rim_motions(model), modes[:, : MODES // 2], static])
    others = [modes[:, MODES // 2 :] / np.sqrt(lam[MODES // 2 :])]
    for factors in HELD:
        K = model.K + sum((f - 1) * S for f, S in zip(factors, springs, strict=True))
        there, found = _lowest(model, K, _solver(model, K), np.asarray(model.M @ modes))
        others.append(found / np.sqrt(there))
    # Each response over the energy of the mode that it belongs to, as large as the mode itself changes at most.
    driven = solve(forces(modes, lam))
    others.append(driven / np.sqrt(np.tile(lam, driven.shape[1] // len(lam))))
    return _principal(model.K, first, np.column_stack(others))


def pressures(model: Model, degree: int) -> np.ndarray:
    """Forces (n_unknowns, k) of pressures that are polynomials in the place, up to a degree."""
    points, _ = own_points(model.space)
    values, _ = shape_functions(model.space, points)
    xy = model.locator.positions(points.element, points.local)
    low, high = xy.min(axis=0), xy.max(axis=0)
    place = (2 * xy - low - high) / (high - low)
    shape = legvander2d(*place.T, (degree, degree)).reshape(len(xy), degree + 1, degree + 1)
    i, j = np.indices((degree + 1, degree + 1))
    shape = shape[:, i + j <= degree]
    n = model.space.n_nodes
    rows = np.repeat(np.arange(len(xy)), values.shape[1])
    gather = sparse.csr_matrix((values.ravel(), (rows, model.space.dofs[points.element].ravel())), shape=(len(xy), n))
    out = np.zeros((model.K.shape[0], shape.shape[1]))
    out[2 : N_FIELDS * n : N_FIELDS] = gather.T @ (points.weight[:, None] * shape)
    return out


def _point_force(model: Model) -> np.ndarray:
    """A force at the driving point, (n_unknowns, 1)."""
    element, local = model.locator.locate(model.design.driving_point[None])
    values, _ = shape_functions(model.space, Points(element, local, np.ones(1)))
    out = np.zeros((model.K.shape[0], 1))
    out[N_FIELDS * model.space.dofs[element[0]] + 2, 0] = values[0]
    return out


def _solver(model: Model, K: sparse.csc_matrix) -> Solve:
    lu = factorised(sparse.csc_matrix(free_matrix(model, K)))

    def solve(force: np.ndarray) -> np.ndarray:
        return np.asarray(model.expand @ lu.solve(np.asfortranarray(model.expand.T @ force)))

    return solve


def _lowest(model: Model, K: sparse.csc_matrix, solve: Solve, loads: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """About the `MODES` lowest eigenvalues and modes of mass 1, from the block Krylov space of some loads."""
    blocks = [solve(loads)]
    for _ in range(2):
        blocks.append(solve(np.asarray(model.M @ blocks[-1])))
    X = _orthonormal(K, np.column_stack(blocks))
    mu, mix = scipy.linalg.eigh(X.T @ (model.M @ X), subset_by_index=[X.shape[1] - MODES, X.shape[1] - 1])
    return 1 / mu[::-1], X @ (mix[:, ::-1] / np.sqrt(mu[::-1]))


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
    others = others - start @ ((K @ start).T @ others)
    gram = others.T @ (K @ others)
    size, mix = np.linalg.eigh((gram + gram.T) / 2)
    keep = np.flatnonzero(size > _RANK * size[-1])[::-1][: SIZE - start.shape[1]]
    rest = others @ (mix[:, keep] / np.sqrt(size[keep]))
    rest = rest - start @ ((K @ start).T @ rest)
    return np.column_stack([start, rest])
