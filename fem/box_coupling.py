"""Walls and the air that they enclose: symmetric matrices, modes, and where a mode's energy is.

Depends on geometry/errors. The formulation is in DEVELOPERS.md, "Closed box".

The air is given by pressures psi_n of the rigid-walled cavity, of unit compliance, integral psi_n psi_m / (rho c^2) dV
= delta_nm, and by C_in = integral of w_i psi_n over the walls. Instead of its pressures, the unknowns are the air's
own motions y_n, of unit mass, which keeps the matrices symmetric: pressures are P = Omega y - C^T x.

References
----------
E. H. Dowell, G. F. Gorman, D. A. Smith, J. Sound Vib. 52 (1977) 519 (recalled): walls and cavity in the modes that each
has by itself.
"""

from dataclasses import dataclass

import numpy as np
import scipy.linalg

from bracedtop.geometry.errors import AccuracyError

SHIFT = (2 * np.pi * 15.0) ** 2
"""Added to all eigenvalues, 1/s^2, so that a free box has a definite stiffness; chosen: far below its modes."""

RESIDUAL_LIMIT = 1e-6
"""Largest accepted ||K phi - lambda M phi|| over the same of its terms."""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Eigenpairs of a coupled box, lowest first.

    Parameters
    ----------
    values : (n,) array, 1/s^2
    vectors : (n_unknowns, n) array
        phi^T M phi = 1 kg.
    residual : float
    n_rigid : int
        Motions that nothing resists, set apart.
    """

    values: np.ndarray
    vectors: np.ndarray
    residual: float
    n_rigid: int


def coupled_matrices(K: np.ndarray, M: np.ndarray, C: np.ndarray, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness and mass of walls and air together.

    Parameters
    ----------
    K, M : (n, n) arrays, N/m and kg
        Of everything that bounds the air, in a vacuum.
    C : (n, m) array
        What a metre of each motion of the walls, outwards, draws from each pressure of the air.
    omega : (m,) array, rad/s
        Angular frequencies of the rigid-walled cavity; pressures without one (the uniform) only resist.

    Returns
    -------
    K, M : (n + m', n + m') arrays
        The last unknowns are the motions of the m' pressures with a frequency.
    """
    n = len(K)
    moving = omega > 0
    pull = -C[:, moving] * omega[moving]
    stiff = np.zeros((n + pull.shape[1],) * 2)
    mass = np.eye(len(stiff))
    stiff[:n, :n] = K + C @ C.T
    stiff[:n, n:] = pull
    stiff[n:, :n] = pull.T
    stiff[n:, n:] = np.diag(omega[moving] ** 2)
    mass[:n, :n] = M
    return stiff, mass


def pressure_rows(C: np.ndarray, omega: np.ndarray) -> np.ndarray:
    """Amplitudes of the pressures per unit of each unknown of `coupled_matrices`, (m, n + m')."""
    moving = np.flatnonzero(omega > 0)
    own = np.zeros((len(omega), len(moving)))
    own[moving, np.arange(len(moving))] = omega[moving]
    return np.column_stack([-C.T, own])


def lowest(K: np.ndarray, M: np.ndarray, n_modes: int, n_rigid: int) -> Pairs:
    """The lowest modes, after the motions that nothing resists.

    The largest mass per stiffness is sought, since a basis of plates is of even stiffness, and its last vectors have
    hardly any mass.

    Raises
    ------
    AccuracyError
        If there are fewer modes than are wanted or one misses its residual.
    """
    n = len(K)
    wanted = n_modes + n_rigid
    if wanted > n:
        message = f"box: {n_modes} modes wanted of {n - n_rigid} unknowns"
        raise AccuracyError(message)
    shifted = K + SHIFT * M
    try:
        mu, vectors = scipy.linalg.eigh(
            M, shifted, subset_by_index=[n - wanted, n - 1], driver="gvx", check_finite=False
        )
    except np.linalg.LinAlgError as error:
        message = f"box: the eigenvalue problem failed ({error})"
        raise AccuracyError(message) from error
    mu, vectors = mu[::-1][n_rigid:], vectors[:, ::-1][:, n_rigid:]
    if not mu[-1] > 0:
        message = f"box: only {int((mu > 0).sum())} modes with mass; {n_modes} are wanted"
        raise AccuracyError(message)
    lam = 1 / mu - SHIFT
    vectors = vectors / np.sqrt(mu)
    force = K @ vectors
    off = np.linalg.norm(force - lam * (M @ vectors), axis=0) / np.linalg.norm(force, axis=0)
    residual = float(off.max())
    if not residual < RESIDUAL_LIMIT:
        message = f"box: residual {residual:.1e} of a mode; at most {RESIDUAL_LIMIT:g}"
        raise AccuracyError(message)
    return Pairs(lam, vectors, residual, n_rigid)


def quadratic(matrix: np.ndarray, vectors: np.ndarray) -> np.ndarray:
    """phi^T A phi of each column, (k,)."""
    return np.asarray(np.einsum("ik,ik->k", vectors, matrix @ vectors))
