"""Strains and motions of the parts of a top in the vectors of a basis, and quadratic forms of them.

Depends on fem/layer, fem/plate, fem/sampling.
"""

from collections.abc import Mapping

import numpy as np
from scipy import sparse

from bracedtop.fem.layer import Layer, motion_operator, n_unknowns, part_operator, part_unknowns
from bracedtop.fem.plate import N_FIELDS, Space
from bracedtop.fem.sampling import Group


def strain_rows(space: Space, layers: Mapping[str, Layer], group: Group) -> sparse.csr_matrix:
    """Operator from all unknowns to a part's strains, (n_points k, n_unknowns), k = 9, or 11 for a layer."""
    B, _ = part_operator(space, group)
    return _rows(B, part_unknowns(space, layers, group), n_unknowns(space, layers))


def motion_rows(space: Space, layers: Mapping[str, Layer], group: Group) -> sparse.csr_matrix:
    """Operator from all unknowns to a part's five motions, (5 n, n_unknowns)."""
    return _rows(motion_operator(space, group), part_unknowns(space, layers, group), n_unknowns(space, layers))


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
    m = np.zeros((len(moments), N_FIELDS, N_FIELDS))
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
