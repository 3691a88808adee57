"""Section stiffness and areal mass of flat layers of wood."""

from typing import Literal

import numpy as np

from bracedtop.fem.wood import Wood

Cut = Literal["quarter", "on_edge"]

SHEAR_CORRECTION = 5.0 / 6.0
"""Reissner's factor for a homogeneous section (E. Reissner, J. Appl. Mech. 12 (1945) A69)."""


def lamina(wood: Wood, cut: Cut = "quarter") -> tuple[np.ndarray, np.ndarray]:
    """Plane-stress stiffness of a layer in its own axes, and its two transverse shear moduli.

    Parameters
    ----------
    wood : Wood
    cut : {"quarter", "on_edge"}
        "quarter": L and R in the plane, T through it (tops, patches). "on_edge": L and T in the plane, R
        through it (braces seen from the top).

    Returns
    -------
    Q : (3, 3) array, Pa
        For the strains along, across and in-plane shear (engineering).
    G : (2, 2) array, Pa
        Diagonal: shear through the thickness along and across.

    References
    ----------
    R. M. Jones, Mechanics of Composite Materials (1999), eq. 2.61-2.66: the inverse of the compliance's
    in-plane part.
    """
    s = wood.compliance()
    if cut == "quarter":
        keep, shear, through = [0, 1], 5, [4, 3]
    else:
        keep, shear, through = [0, 2], 4, [5, 3]
    Q = np.zeros((3, 3))
    Q[:2, :2] = np.linalg.inv(s[np.ix_(keep, keep)])
    Q[2, 2] = 1.0 / s[shear, shear]
    return Q, np.diag(1.0 / np.diag(s)[through])


def rotated(Q: np.ndarray, G: np.ndarray, angle: float) -> tuple[np.ndarray, np.ndarray]:
    """Stiffnesses of `lamina` in axes from which the grain is turned by `angle`, rad, anticlockwise.

    References
    ----------
    Jones (1999), eq. 2.82-2.85.
    """
    T, R = strain_rotation(angle)
    return T.T @ Q @ T, R.T @ G @ R


def strain_rotation(angle: float) -> tuple[np.ndarray, np.ndarray]:
    """Matrices that turn plate strains (3, 3) and transverse shears (2, 2) into axes turned by `angle`, rad."""
    c, s = np.cos(angle), np.sin(angle)
    T = np.array([[c * c, s * s, s * c], [s * s, c * c, -s * c], [-2 * s * c, 2 * s * c, c * c - s * s]])
    return T, np.array([[c, s], [-s, c]])


def layer_stiffness(Q: np.ndarray, G: np.ndarray, bottom: np.ndarray, top: np.ndarray) -> np.ndarray:
    """Section stiffness of a layer from height `bottom` to `top` above the reference plane.

    Parameters
    ----------
    Q, G : (3, 3) and (2, 2) arrays, Pa
    bottom, top : (n,) arrays, m

    Returns
    -------
    C : (n, 9, 9) array, N/m, N and N m
        For the strains in the order of DEVELOPERS.md, "Conventions".

    References
    ----------
    Jones (1999), eq. 4.22-4.24 (A, B, D); transverse shear with `SHEAR_CORRECTION`.
    """
    return stiffness_from_moments(Q, G, layer_moments(bottom, top))


def layer_moments(bottom: np.ndarray, top: np.ndarray) -> np.ndarray:
    """Thickness of a layer and its first and second moment about the reference plane, (n, 3) in m, m^2, m^3."""
    bottom, top = np.atleast_1d(bottom), np.atleast_1d(top)
    return np.stack([top - bottom, (top**2 - bottom**2) / 2, (top**3 - bottom**3) / 3], axis=-1)


def stiffness_from_moments(Q: np.ndarray, G: np.ndarray, moments: np.ndarray) -> np.ndarray:
    """Section stiffness (n, 9, 9) of a layer with the given moments (n, 3)."""
    C = np.zeros((len(moments), 9, 9), dtype=np.result_type(Q, moments))
    m0, m1, m2 = (moments[:, k, None, None] for k in range(3))
    C[:, :3, :3] = Q * m0
    C[:, :3, 3:6] = C[:, 3:6, :3] = Q * m1
    C[:, 3:6, 3:6] = Q * m2
    C[:, 6:8, 6:8] = SHEAR_CORRECTION * G * m0
    return C


def layer_mass(density: float, bottom: np.ndarray, top: np.ndarray) -> np.ndarray:
    """Areal mass and its first and second moment about the reference plane, (n, 3) in kg/m^2, kg/m, kg."""
    return density * layer_moments(bottom, top)
