"""Section stiffness and areal mass of flat layers of wood."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from bracedtop.fem.wood import Wood

Cut = Literal["quarter", "on_edge"]

SHEAR_CORRECTION = 5.0 / 6.0
"""Reissner's factor for a homogeneous section (E. Reissner, J. Appl. Mech. 12 (1945) A69)."""


@dataclass(frozen=True, slots=True)
class Fibre:
    """What a brace's section is made of: the wood as the brace sees it, along it, across it and upright.

    Parameters
    ----------
    E, E_across, E_upright : float, Pa
        Stiffness in uniaxial stress along the brace, across it and upright.
    G_upright, G_across, G_rolling : float, Pa
        Shear moduli: along the brace in the upright plane and in the plane of the top, and in its section.
    nu_across : float
        Contraction across over extension along the brace.
    Q, G : (3, 3) and (2, 2) arrays, Pa
        As of `lamina` with the cut "on_edge".
    """

    E: float
    E_across: float
    E_upright: float
    G_upright: float
    G_across: float
    G_rolling: float
    nu_across: float
    Q: np.ndarray
    G: np.ndarray


def grain_axes(cut: Cut, ring_angle: float = 0.0, runout: float = 0.0) -> np.ndarray:
    """Unit vectors of L, R and T as columns (3, 3), seen along the grain on the face, across it, and out of the top.

    The rings are turned about the grain first; then the whole wood is tipped about the direction across, so that its
    grain rises out of the face.
    """
    c, s = np.cos(ring_angle), np.sin(ring_angle)
    R = np.array([0.0, c, s]) if cut == "quarter" else np.array([0.0, s, c])
    own = np.column_stack([[1.0, 0.0, 0.0], R, np.cross([1.0, 0.0, 0.0], R)])
    c, s = np.cos(runout), np.sin(runout)
    return np.asarray(np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]]) @ own)


def lamina(
    wood: Wood, cut: Cut = "quarter", ring_angle: float = 0.0, runout: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Plane-stress stiffness of a layer in its own axes, and its transverse shear stiffness.

    Parameters
    ----------
    wood : Wood
    cut : {"quarter", "on_edge"}
        "quarter": L and R in the plane, T through it (tops, patches). "on_edge": L and T in the plane, R
        through it (braces seen from the top).
    ring_angle : float, rad
        How far the rings are turned about the grain away from that cut: a right angle makes "quarter" flat-sawn and
        lays the rings of "on_edge" flat on the side.
    runout : float, rad
        How far the grain dips out of the face.

    Returns
    -------
    Q : (3, 3) array, Pa
        For the strains along, across and in-plane shear (engineering).
    G : (2, 2) array, Pa
        Shear through the thickness along and across.

    Notes
    -----
    Turned grain couples stresses in the plane with shear through the thickness. Here either is taken with the other's
    stresses zero, as inverses of the two parts of the compliance. For bending of a single layer that is exact within
    the plate theory: in the energy the coupling multiplies a stress odd in z with one even in z. What is left out is
    the coupling of a stretched layer with shear through it.

    References
    ----------
    R. M. Jones, Mechanics of Composite Materials (1999), eq. 2.61-2.66: the inverse of the compliance's
    in-plane part. E. Reissner, J. Appl. Mech. 12 (1945) A69: stresses over the thickness.
    """
    S = wood.seen_compliance(grain_axes(cut, ring_angle, runout))
    plane, through = [0, 1, 5], [4, 3]
    return np.linalg.inv(S[np.ix_(plane, plane)]), np.linalg.inv(S[np.ix_(through, through)])


def fibre(wood: Wood, ring_angle: float = 0.0, runout: float = 0.0) -> Fibre:
    """Wood of a brace, quarter-sawn on edge but for its ring angle and run-out, rad.

    References
    ----------
    S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1963), art. 6: moduli along turned axes, 1 / S'_11
    and 1 / S'_55. A brace's coupling of stretching with shear is left out as in `lamina`.
    """
    S = wood.seen_compliance(grain_axes("on_edge", ring_angle, runout))
    Q, G = lamina(wood, "on_edge", ring_angle, runout)
    E, E_across, E_upright, G_rolling, G_upright, G_across = (float(1 / value) for value in np.diag(S))
    return Fibre(E, E_across, E_upright, G_upright, G_across, G_rolling, float(-S[0, 1] / S[0, 0]), Q, G)


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
