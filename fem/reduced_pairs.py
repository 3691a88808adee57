"""The lowest eigenpairs of a reduced model.

Depends on geometry/errors. The largest mass per stiffness is sought, since the basis is of even stiffness, and its
last vectors have hardly any mass.
"""

import numpy as np
import scipy.linalg

from bracedtop.geometry.errors import AccuracyError


def lowest_pairs(K: np.ndarray, M: np.ndarray, n_rigid: int, n_modes: int) -> tuple[np.ndarray, np.ndarray]:
    """The lowest elastic pairs: eigenvalues and vectors (n_modes, r), of modal mass 1.

    Parameters
    ----------
    K, M : (r, r) arrays
    n_rigid : int
        The basis begins with so many motions that nothing resists.
    n_modes : int

    Raises
    ------
    AccuracyError
        If the stiffness is not positive, or fewer modes than wanted have mass.
    """
    R, E = slice(0, n_rigid), slice(n_rigid, None)
    pull = np.zeros((n_rigid, len(K) - n_rigid))
    inertia = M[E, E]
    if n_rigid:
        pull = -np.linalg.solve(M[R, R], M[R, E])
        inertia = inertia + M[E, R] @ pull
    last = len(inertia) - 1
    try:
        mu, y = scipy.linalg.eigh(
            inertia, K[E, E], subset_by_index=[last - n_modes + 1, last], driver="gvx", check_finite=False
        )
    except np.linalg.LinAlgError as error:
        message = f"the reduced model's eigenvalue problem failed ({error})"
        raise AccuracyError(message) from error
    mu, y = mu[::-1], y[:, ::-1]
    if not mu[-1] > 0:
        message = f"the reduced model has only {int((mu > 0).sum())} modes with mass; {n_modes} are wanted"
        raise AccuracyError(message)
    y = y / np.sqrt(mu)
    return 1 / mu, np.concatenate([pull @ y, y]).T
