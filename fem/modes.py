"""Eigenpairs of a top with their checks."""

from dataclasses import dataclass

import numpy as np
from bracedtop.geometry.errors import AccuracyError
from scipy import sparse
from scipy.sparse.linalg import ArpackError, LinearOperator, SuperLU, eigsh, splu

SHIFT_HZ = 30.0
"""The shift is -(2 pi 30 Hz)^2: definite for a free top as well; 20 to 50 Hz gave residuals below 1e-8."""

RESIDUAL_LIMIT = 1e-6
"""Largest accepted ||K phi - lambda M phi|| / ||K phi||; a frequency is then good to about 1e-12."""


@dataclass(frozen=True, slots=True)
class Eigenpairs:
    """Eigenpairs of K phi = lambda M phi in free unknowns, ascending, phi^T M phi = 1.

    Parameters
    ----------
    values : (n,) array, 1/s^2
    vectors : (n_free, n) array
    residual : float
        Largest relative residual of the elastic pairs.
    orthogonality : float
        Largest deviation of phi^T M phi from the identity.
    n_rigid : int
        Number of leading pairs that are rigid-body motions.
    """

    values: np.ndarray
    vectors: np.ndarray
    residual: float
    orthogonality: float
    n_rigid: int


def factorised(matrix: sparse.csc_matrix) -> SuperLU:
    """Symmetric sparse factorisation of a positive definite matrix.

    Raises
    ------
    AccuracyError
        If the matrix is singular.
    """
    try:
        return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    except RuntimeError as error:
        message = f"the stiffness matrix cannot be factorised ({error}); a part of the top has no stiffness or mass"
        raise AccuracyError(message) from error


def eigenpairs(K: sparse.csc_matrix, M: sparse.csc_matrix, n_pairs: int, rigid: np.ndarray) -> Eigenpairs:
    """The lowest eigenpairs by shift and invert, rigid-body motions first.

    Parameters
    ----------
    K, M : (n, n) sparse, N/m and kg
    n_pairs : int
        Number of elastic pairs.
    rigid : (n, k) array
        Motions without strain that the held unknowns and springs leave free; they are set apart and checked.

    Raises
    ------
    AccuracyError
        If the solver does not converge, a residual is too large, or rigid motions are not found as such.

    References
    ----------
    R. B. Lehoucq, D. C. Sorensen, C. Yang, ARPACK Users' Guide (1998), ch. 4.
    """
    n, n_rigid = K.shape[0], rigid.shape[1]
    wanted = n_pairs + n_rigid
    if wanted > n - 2:
        message = f"{n_pairs} modes asked of a mesh with {n} unknowns; at most {n - 2 - n_rigid} can be found"
        raise AccuracyError(message)
    shift = -((2 * np.pi * SHIFT_HZ) ** 2)
    solve = factorised(sparse.csc_matrix(K - shift * M)).solve
    start = np.random.default_rng(1).standard_normal(n)
    try:
        values, vectors = eigsh(
            K, k=wanted, M=M, sigma=shift, OPinv=LinearOperator(K.shape, solve), v0=start, ncv=min(n, 2 * wanted + 8)
        )
    except ArpackError as error:
        message = f"the eigenvalue solver did not converge: {error}"
        raise AccuracyError(message) from error
    order = np.argsort(values)
    values, vectors = values[order], vectors[:, order]
    gram = vectors.T @ (M @ vectors)
    orthogonality = float(np.abs(gram - np.eye(wanted)).max())
    force = K @ vectors[:, n_rigid:]
    miss = force - (M @ vectors[:, n_rigid:]) * values[n_rigid:]
    residual = float((np.linalg.norm(miss, axis=0) / np.linalg.norm(force, axis=0)).max())
    if not residual < RESIDUAL_LIMIT or not orthogonality < 1e-8:
        message = (
            f"eigenpairs with relative residual {residual:.1e} and M-orthogonality {orthogonality:.1e}; "
            f"allowed are {RESIDUAL_LIMIT:.0e} and 1e-8"
        )
        raise AccuracyError(message)
    floor = 1e-5 * values[n_rigid]
    if n_rigid and np.abs(values[:n_rigid]).max() > floor:
        worst = np.sqrt(np.abs(values[:n_rigid]).max()) / (2 * np.pi)
        message = f"a rigid-body motion came out at {worst:.3g} Hz instead of 0 Hz"
        raise AccuracyError(message)
    if values[n_rigid] <= 0:
        message = "more motions without strain than the edge allows; the top is not one connected piece"
        raise AccuracyError(message)
    return Eigenpairs(values, vectors, residual, orthogonality, n_rigid)


def rigid_motions(xy: np.ndarray) -> np.ndarray:
    """The six rigid-body motions of a plate with nodes at `xy` (2, n) in m, (5 n, 6)."""
    x, y = xy
    n = len(x)
    motions = np.zeros((n, 5, 6))
    motions[:, 0, 0] = motions[:, 1, 1] = motions[:, 2, 2] = 1.0
    motions[:, 0, 3], motions[:, 1, 3] = -y, x
    # A tilt w = a x turns the section by beta_x = -a, so that there is no shear.
    motions[:, 2, 4], motions[:, 3, 4] = x, -1.0
    motions[:, 2, 5], motions[:, 4, 5] = y, -1.0
    return motions.reshape(5 * n, 6)


def unresisted(K: sparse.csc_matrix, motions: np.ndarray) -> np.ndarray:
    """Combinations of rigid `motions` (n, k) that K does not resist, (n, m).

    A motion counts as free when its stiffness is below 1e-9 of the largest diagonal entry per unit of it.
    """
    if motions.shape[1] == 0:
        return motions
    Q, _ = np.linalg.qr(motions)
    stiffness, mix = np.linalg.eigh(Q.T @ (K @ Q))
    return np.asarray(Q @ mix[:, stiffness < 1e-10 * K.diagonal().max()])
