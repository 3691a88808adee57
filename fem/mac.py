"""Modal assurance criterion: how alike mode shapes are, and which mode became which.

Depends on geometry/errors.
"""

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.sparse import sparray, spmatrix

from bracedtop.geometry.errors import AccuracyError


def mac(a: np.ndarray, b: np.ndarray, weight: np.ndarray | spmatrix | sparray | None = None) -> np.ndarray:
    """Modal assurance criterion between two sets of real mode shapes.

    MAC_ij = (a_i^T W b_j)^2 / ((a_i^T W a_i) (b_j^T W b_j)): 1 for the same shape at any scale and sign, 0 for
    shapes that are orthogonal in W.

    Parameters
    ----------
    a : (n_dof, n_a) array
    b : (n_dof, n_b) array
    weight : (n_dof, n_dof) matrix, optional
        Symmetric positive definite, such as the mass matrix, dense or sparse; the identity if not given.

    Returns
    -------
    (n_a, n_b) array
        Between 0 and 1.

    Raises
    ------
    AccuracyError
        If the shapes differ in length, or one of them is zero everywhere or not finite.

    References
    ----------
    R. J. Allemang, "The modal assurance criterion - twenty years of use and abuse", Sound and Vibration 37
    (2003) no. 8, 14-23, eq. 2. With the mass matrix as weight: the weighted MAC of the same paper.
    """
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if a.ndim != 2 or b.ndim != 2 or a.shape[0] != b.shape[0]:
        message = f"mode shapes of sizes {a.shape} and {b.shape}; both must be (n_dof, n_modes) with the same n_dof"
        raise AccuracyError(message)
    Wa, Wb = (a, b) if weight is None else (weight @ a, weight @ b)
    norm_a = np.einsum("ij,ij->j", a, Wa)
    norm_b = np.einsum("ij,ij->j", b, Wb)
    if not ((norm_a > 0).all() and (norm_b > 0).all()):
        message = "a mode shape is zero or not finite; the modal assurance criterion needs shapes that move"
        raise AccuracyError(message)
    product = (a / np.sqrt(norm_a)).T @ (Wb / np.sqrt(norm_b))
    # Rounding may exceed 1 in the last digit.
    return np.asarray(np.minimum(product**2, 1.0))


def follow(mac_matrix: np.ndarray) -> tuple[int, ...]:
    """For each old mode (row) the index of the new mode (column) that it became.

    The assignment with the largest sum of MAC values, so no two old modes share a new one, and a pair that
    has mixed is kept together.

    Raises
    ------
    AccuracyError
        If there are fewer new modes than old ones.
    """
    n_old, n_new = mac_matrix.shape
    if n_new < n_old:
        message = f"{n_old} modes to follow among {n_new}; at least as many new modes are needed"
        raise AccuracyError(message)
    _, columns = linear_sum_assignment(mac_matrix, maximize=True)
    return tuple(int(column) for column in columns)
