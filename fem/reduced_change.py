"""What other heights of braces do to a reduced model's matrices.

Depends on fem/reduced_brace, geometry/errors. The fibres of braces have no mass: their own motion follows from that of
the basis and is eliminated, brace by brace.

References
----------
R. J. Guyan, AIAA J. 3 (1965) 380.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.linalg

from bracedtop.fem.reduced_brace import BraceTerms
from bracedtop.geometry.errors import AccuracyError

_BLOCKS = 3
"""Blocks of columns of a symmetric product, of which only one half is made; chosen: more are too small to be fast."""


@dataclass(frozen=True, slots=True)
class Slip:
    """How the fibres of one brace follow: stiffness of their own functions, factorised, and these with the basis.

    Parameters
    ----------
    factor : (q, q) array
        Lower triangle.
    reach : (q, r) array, N/m
    """

    factor: np.ndarray
    reach: np.ndarray


def brace_change(
    braces: BraceTerms,
    own: np.ndarray,
    reach: np.ndarray,
    terms: np.ndarray,
    drawn: np.ndarray,
    factors: tuple[float, float],
) -> tuple[np.ndarray, np.ndarray, list[Slip]]:
    """What braces add to stiffness and mass in the basis, their fibres eliminated, and how these follow.

    Parameters
    ----------
    braces : BraceTerms
    own, reach : (n_owners, q_O, q_O) and (n_owners, q_O, r) arrays
        As of `Reduced`.
    terms, drawn : (n_pieces, n_terms) arrays
        Values of the pieces' terms, and those that the model's own matrices hold.
    factors : pair of float
        On the braces' modulus along the grain, and on their density.

    Raises
    ------
    AccuracyError
        If fibres have no stiffness.
    """
    E, density = factors
    stiff = _summed(terms - drawn, braces.both)
    if E != 1:
        stiff += _summed((E - 1) * terms, braces.along)
    heavy = _summed(density * terms - drawn, braces.mass)
    r = braces.U.shape[2]
    pushed = np.matmul(stiff, braces.U)
    K = _symmetric(braces.U.reshape(-1, r), pushed.reshape(-1, r))
    M = _symmetric(braces.V.reshape(-1, r), np.matmul(heavy, braces.V).reshape(-1, r))
    slips = [_slip(braces, k, own[k], reach[k], stiff, pushed) for k in range(len(own))]
    if slips:
        moved = np.concatenate(
            [scipy.linalg.solve_triangular(s.factor, s.reach, lower=True, check_finite=False) for s in slips]
        )
        K -= _symmetric(moved, moved)
    return K, M, slips


def fibre_motions(slips: Sequence[Slip], Y: np.ndarray, size: int) -> np.ndarray:
    """Own motion of each brace's fibres in modes (m, r), padded to one number of functions, (n_owners, size, m)."""
    out = np.zeros((len(slips), size, len(Y)))
    for motion, slip in zip(out, slips, strict=True):
        force = slip.reach @ Y.T
        motion[: len(force)] = -scipy.linalg.cho_solve((slip.factor, True), force, check_finite=False)
    return out


def _slip(
    braces: BraceTerms, k: int, own: np.ndarray, reach: np.ndarray, stiff: np.ndarray, pushed: np.ndarray
) -> Slip:
    # The pieces of a brace lie one behind the other.
    at = slice(*np.searchsorted(braces.owner, [k, k + 1]))
    q = int(braces.n_own[k])
    O = np.ascontiguousarray(braces.O[at, :, :q])
    flat = O.reshape(-1, q)
    inner = own[:q, :q] + flat.T @ np.matmul(stiff[at], O).reshape(-1, q)
    try:
        factor = np.linalg.cholesky(inner)
    except np.linalg.LinAlgError as error:
        message = f"what-if: the fibres of brace {k + 1} have no stiffness ({error}); the reduced model does not hold"
        raise AccuracyError(message) from error
    return Slip(factor, reach[:q] + flat.T @ pushed[at].reshape(len(flat), -1))


def _symmetric(A: np.ndarray, B: np.ndarray) -> np.ndarray:
    """The product A^T B, (r, r), which is symmetric."""
    r = A.shape[1]
    cuts = [k * r // _BLOCKS for k in range(_BLOCKS + 1)]
    out = np.empty((r, r), dtype=A.dtype)
    for a, b in pairwise(cuts):
        out[a:b, a:] = A[:, a:b].T @ B[:, a:]
        out[b:, a:b] = out[a:b, b:].T
    return out


def _summed(coefficients: np.ndarray, matrices: np.ndarray) -> np.ndarray:
    """Sum over terms of (n, t) times (n, t, q, q)."""
    n, t, q, _ = matrices.shape
    coefficients = coefficients.astype(matrices.dtype)
    return np.asarray(np.matmul(coefficients[:, None, :], matrices.reshape(n, t, q * q)).reshape(n, q, q))
