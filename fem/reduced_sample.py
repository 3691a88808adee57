"""Strains and motions of the parts of a top in the vectors of a basis, and quadratic forms of them.

Depends on fem/layer, fem/plate, fem/sampling.
"""

from collections.abc import Mapping

import numpy as np
from scipy import sparse

from bracedtop.fem.layer import Layer, n_unknowns, part_operator
from bracedtop.fem.plate import N_FIELDS, Space, shape_functions
from bracedtop.fem.sampling import Group

N_MOTIONS = 5
"""u and v at z = 0, w, and two rotations."""


def strain_rows(space: Space, layers: Mapping[str, Layer], group: Group) -> sparse.csr_matrix:
    """Operator from all unknowns to a part's strains, (n_points k, n_unknowns), k = 9, or 11 for a layer."""
    B, _ = part_operator(space, group)
    return _rows(B, _numbers(space, layers, group), n_unknowns(space, layers))


def motion_rows(space: Space, layers: Mapping[str, Layer], group: Group) -> sparse.csr_matrix:
    """Operator from all unknowns to u, v (at z = 0), w and the rotations by which a part moves, (5 n, n_unknowns)."""
    values, _ = shape_functions(space, group.points)
    n, n_local = values.shape
    n_fields = N_FIELDS if group.face is None else N_FIELDS + 4
    F = np.zeros((n, N_MOTIONS, n_local, n_fields))
    F[:, 0, :, 0] = F[:, 1, :, 1] = F[:, 2, :, 2] = values
    if group.face is None:
        F[:, 3, :, 3] = F[:, 4, :, 4] = values
    else:
        carried = group.face[:, None] * values
        for a in range(2):
            F[:, a, :, 5 + a] = F[:, 3 + a, :, 7 + a] = values
            F[:, a, :, 3 + a], F[:, a, :, 7 + a] = carried, -carried
    return _rows(F.reshape(n, N_MOTIONS, -1), _numbers(space, layers, group), n_unknowns(space, layers))


def _numbers(space: Space, layers: Mapping[str, Layer], group: Group) -> np.ndarray:
    dofs = space.dofs[group.points.element]
    if group.face is None:
        numbers = N_FIELDS * dofs[..., None] + np.arange(N_FIELDS)
    else:
        numbers = layers[group.part].unknowns(dofs)
    return np.asarray(numbers.reshape(len(dofs), -1))


def _rows(B: np.ndarray, numbers: np.ndarray, size: int) -> sparse.csr_matrix:
    point, row, column = np.nonzero(B)
    counts = np.bincount(point * B.shape[1] + row, minlength=B.shape[0] * B.shape[1])
    indptr = np.concatenate([[0], np.cumsum(counts)])
    shape = (B.shape[0] * B.shape[1], size)
    return sparse.csr_matrix((B[point, row, column], numbers[point, column], indptr), shape=shape)


def seen(rows: sparse.csr_matrix, vectors: np.ndarray, n_points: int) -> np.ndarray:
    """What an operator makes of vectors (n_unknowns, r): (n_points, k, r)."""
    return np.asarray(rows @ vectors).reshape(n_points, rows.shape[0] // max(n_points, 1), vectors.shape[1])


def mass_form(moments: np.ndarray) -> np.ndarray:
    """Inertia per area for the five motions, (n, 5, 5), from moments of the mass (n, 3)."""
    m = np.zeros((len(moments), N_MOTIONS, N_MOTIONS))
    m[:, 0, 0] = m[:, 1, 1] = m[:, 2, 2] = moments[:, 0]
    m[:, 0, 3] = m[:, 3, 0] = m[:, 1, 4] = m[:, 4, 1] = moments[:, 1]
    m[:, 3, 3] = m[:, 4, 4] = moments[:, 2]
    return m


def form(X: np.ndarray, C: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Sum over points of weight X^T C X, (r, r), for X (n, k, r) and C (n, k, k)."""
    n, k, r = X.shape
    CX = np.matmul(C * weight[:, None, None], X)
    out = X.reshape(n * k, r).T @ CX.reshape(n * k, r)
    return np.asarray((out + out.T) / 2)
