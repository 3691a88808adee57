"""The upright section of the rim under a face: a side that a lining stiffens, bent across its grain.

Depends on nothing. Where the rim is curved, a side can only bulge by stretching along its grain, so that its section is
a beam on an elastic foundation, as in the theory of cylindrical shells; where it is straight, a plain beam.
"""

import numpy as np

_FINE = 12
"""Elements under the lining; chosen: cubic ones, far shorter than the length in which a bulge dies out."""

_COARSE = 36
"""Elements below it, growing downwards; chosen."""


def edge_stiffness(height: np.ndarray, depth: np.ndarray, bending: np.ndarray, hoop: np.ndarray) -> np.ndarray:
    """Stiffness of the section's upper edge against being pushed outwards and turned, (n, 2, 2) per length of rim.

    The lower edge, at the other face, is held against displacement and free to turn.

    Parameters
    ----------
    height : (n,) array, m
        Of the stiffened upper part.
    depth : (n,) array, m
        Of the whole section.
    bending : (2, n) complex array, N m
        Bending stiffness of the upper and of the lower part.
    hoop : (2, n) complex array, N/m^3
        Resistance to bulging: stiffness along the rim, N/m, times its curvature squared.

    References
    ----------
    S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells (1959), art. 114: D w'''' + E t / R^2 w = 0.
    M. Hetenyi, Beams on Elastic Foundation (1946). Cubic elements: R. D. Cook et al., Concepts and Applications of
    Finite Element Analysis (2002), ch. 2 and 11 (the foundation's matrix is that of the mass).
    """
    n = len(depth)
    upper = np.linspace(0, 1, _FINE + 1)
    lower = np.linspace(0, 1, _COARSE + 1) ** 1.5
    levels = np.concatenate([height[:, None] * upper, height[:, None] + (depth - height)[:, None] * lower[1:]], axis=1)
    length = np.diff(levels, axis=1)
    part = (np.arange(length.shape[1]) >= _FINE).astype(int)
    # An upper part without height has no stiffness and would be infinitely stiff.
    length = np.maximum(length, 1e-9 * depth[:, None])
    D, k = bending[part].T, hoop[part].T
    size = 2 * levels.shape[1]
    K = np.zeros((n, size, size), dtype=complex)
    for e in range(length.shape[1]):
        at = slice(2 * e, 2 * e + 4)
        l = length[:, e]
        K[:, at, at] += D[:, e, None, None] * _bent(l) + k[:, e, None, None] * _borne(l)
    inner = np.r_[2 : size - 2, size - 1]
    pull = np.linalg.solve(K[:, inner[:, None], inner], K[:, inner, :2])
    return np.asarray(K[:, :2, :2] - np.swapaxes(K[:, inner, :2], 1, 2) @ pull)


def _bent(l: np.ndarray) -> np.ndarray:
    one = np.ones_like(l)
    rows = [
        [12 * one, 6 * l, -12 * one, 6 * l],
        [6 * l, 4 * l**2, -6 * l, 2 * l**2],
        [-12 * one, -6 * l, 12 * one, -6 * l],
        [6 * l, 2 * l**2, -6 * l, 4 * l**2],
    ]
    return np.asarray(np.moveaxis(np.array(rows), -1, 0) / l[:, None, None] ** 3)


def _borne(l: np.ndarray) -> np.ndarray:
    one = np.ones_like(l)
    rows = [
        [156 * one, 22 * l, 54 * one, -13 * l],
        [22 * l, 4 * l**2, 13 * l, -3 * l**2],
        [54 * one, 13 * l, 156 * one, -22 * l],
        [-13 * l, -3 * l**2, -22 * l, 4 * l**2],
    ]
    return np.asarray(np.moveaxis(np.array(rows), -1, 0) * l[:, None, None] / 420)
