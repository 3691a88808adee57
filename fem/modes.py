"""Eigenpairs of a top with their checks."""

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import ArpackError, LinearOperator, SuperLU, eigsh, splu

from bracedtop.geometry.errors import AccuracyError

SHIFT_HZ = 30.0
"""The shift is -(2 pi 30 Hz)^2: definite for a free top as well; 20 to 50 Hz gave residuals below 1e-8."""

RESIDUAL_LIMIT = 1e-6
"""Largest accepted ||K phi - lambda M phi|| / ||K phi||; a frequency is then good to about 1e-12."""

TOLERANCE = 1e-9
"""Relative accuracy of the eigenvalues at which the iteration stops; their residuals are checked afterwards."""

RIGID_LIMIT = 1e-3
"""Largest accepted frequency of a rigid-body motion over that of the lowest elastic mode."""


@dataclass(frozen=True, slots=True)
class Eigenpairs:
    """Eigenpairs of K phi = lambda M phi in free unknowns, ascending, phi^T M phi = 1.

    Parameters
    ----------
    values : (n,) array, 1/s^2
        Of elastic modes only.
    vectors : (n_free, n) array
    residual : float
        Largest relative residual.
    orthogonality : float
        Largest deviation of phi^T M phi from the identity, rigid-body motions included.
    n_rigid : int
        Number of rigid-body motions set apart.
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
    """The lowest elastic eigenpairs by shift and invert, kept M-orthogonal to the rigid-body motions.

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
    if n_pairs > (n - n_rigid) // 3:
        message = f"{n_pairs} modes asked of a mesh with {n} unknowns; at most {(n - n_rigid) // 3} can be found"
        raise AccuracyError(message)
    shift = -((2 * np.pi * SHIFT_HZ) ** 2)
    solve = factorised(sparse.csc_matrix(K - shift * M)).solve
    R = _orthonormal(rigid, M)
    MR = M @ R

    def solve_elastic(x: np.ndarray) -> np.ndarray:
        y = solve(x)
        return np.asarray(y - R @ (MR.T @ y))

    start = np.random.default_rng(1).standard_normal(n)
    start -= R @ (MR.T @ start)
    operator = LinearOperator(K.shape, solve_elastic, dtype=float)
    try:
        values, vectors = eigsh(
            K,
            k=n_pairs,
            M=M,
            sigma=shift,
            OPinv=operator,
            v0=start,
            ncv=min(n - n_rigid, 2 * n_pairs + 8),
            tol=TOLERANCE,
        )
    except ArpackError as error:
        message = f"the eigenvalue solver did not converge: {error}"
        raise AccuracyError(message) from error
    order = np.argsort(values)
    values, vectors = values[order], vectors[:, order]
    every = np.column_stack([R, vectors])
    orthogonality = float(np.abs(every.T @ (M @ every) - np.eye(n_rigid + n_pairs)).max())
    force = K @ vectors
    miss = force - (M @ vectors) * values
    residual = float((np.linalg.norm(miss, axis=0) / np.linalg.norm(force, axis=0)).max())
    if not residual < RESIDUAL_LIMIT or not orthogonality < 1e-8:
        message = (
            f"eigenpairs with relative residual {residual:.1e} and M-orthogonality {orthogonality:.1e}; "
            f"allowed are {RESIDUAL_LIMIT:.0e} and 1e-8"
        )
        raise AccuracyError(message)
    if n_rigid:
        worst = float(np.sqrt(np.abs(np.linalg.eigvalsh(R.T @ (K @ R))).max())) / (2 * np.pi)
        if worst > RIGID_LIMIT * np.sqrt(abs(values[0])) / (2 * np.pi):
            message = f"a rigid-body motion came out at {worst:.3g} Hz instead of 0 Hz"
            raise AccuracyError(message)
    if values[0] <= 0:
        message = "more motions without strain than the edge allows; the top is not one connected piece"
        raise AccuracyError(message)
    return Eigenpairs(values, vectors, residual, orthogonality, n_rigid)


def _orthonormal(vectors: np.ndarray, M: sparse.csc_matrix) -> np.ndarray:
    """Vectors (n, k) that span the same space, M-orthonormal."""
    if vectors.shape[1] == 0:
        return vectors
    lower = np.linalg.cholesky(vectors.T @ (M @ vectors))
    return np.asarray(np.linalg.solve(lower, vectors.T).T)


def rigid_motions(xy: np.ndarray, z0: np.ndarray | None = None) -> np.ndarray:
    """The six rigid-body motions of a plate with nodes at `xy` (2, n) in m, (5 n, 6).

    `z0` (n,) in m are the heights of a shallow dome at the nodes; without them the plate is flat. When a dome tilts,
    what lies lower moves back in the plane.
    """
    x, y = xy
    n = len(x)
    motions = np.zeros((n, 5, 6))
    motions[:, 0, 0] = motions[:, 1, 1] = motions[:, 2, 2] = 1.0
    motions[:, 0, 3], motions[:, 1, 3] = -y, x
    # A tilt w = a x turns the section by beta_x = -a, so that there is no shear.
    motions[:, 2, 4], motions[:, 3, 4] = x, -1.0
    motions[:, 2, 5], motions[:, 4, 5] = y, -1.0
    if z0 is not None:
        motions[:, 0, 4] = motions[:, 1, 5] = -z0
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
