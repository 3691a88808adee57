"""Brace sections: areas and moments, torsion, and what fibres along a brace add to the plate under it."""

import numpy as np

from bracedtop.fem.laminate import SHEAR_CORRECTION, Fibre, strain_rotation
from bracedtop.geometry.brace import Shape

PEAK_SHARE = 0.5
"""Part of a peaked brace's height over which it narrows to its ridge; chosen: common practice, no source."""

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(8)


def width_profile(shape: Shape, width: float, height: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Integration points over a section: heights above the glued face, widths there, and weights.

    A rounded section ends in a half ellipse as wide as the brace and at most half a width high; a peaked one
    narrows in straight flanks over the last `PEAK_SHARE` of its height.

    Parameters
    ----------
    shape : {"square", "rounded", "peaked"}
    width : float, m
    height : (n,) array, m

    Returns
    -------
    zeta, breadth, weight : (n, 16) arrays, m
    """
    height = np.atleast_1d(height)
    cap = cap_height(shape, width, height)
    body = height - cap
    unit, w = (_GAUSS_X + 1) / 2, _GAUSS_W / 2
    # In the cap zeta = body + cap (1 - (1 - t)^2), so that the ellipse's end has no root to integrate.
    t = 1 - (1 - unit) ** 2
    zeta = np.concatenate([body[:, None] * unit, body[:, None] + cap[:, None] * t], axis=1)
    weight = np.concatenate([body[:, None] * w, cap[:, None] * (2 * (1 - unit) * w)], axis=1)
    if shape == "rounded":
        breadth = width * np.sqrt(1 - t**2)
    elif shape == "peaked":
        breadth = width * (1 - t)
    else:
        breadth = width + 0 * t
    full = np.full_like(unit, width)
    return zeta, np.broadcast_to(np.concatenate([full, breadth]), zeta.shape), weight


def cap_height(shape: Shape, width: float, height: np.ndarray) -> np.ndarray:
    """Height over which a section narrows to its free side, (n,) in m."""
    if shape == "square":
        return np.asarray(0.0 * height)
    if shape == "rounded":
        return np.where(height.real < width / 2, height, width / 2)
    return np.asarray(PEAK_SHARE * height)


def section_moments(shape: Shape, width: float, height: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """Area, first and second moment of a section about the plate's midplane.

    Parameters
    ----------
    shape : {"square", "rounded", "peaked"}
    width : float, m
    height : (n,) array, m
    offset : (n,) array, m
        Distance of the glued face below the midplane, positive.

    Returns
    -------
    moments : (n, 3) array, m^2, m^3, m^4
        The first moment is negative: braces lie at z < 0.
    """
    zeta, breadth, weight = width_profile(shape, width, height)
    z = -(offset[:, None] + zeta)
    return np.stack([(breadth * weight * z**k).sum(axis=1) for k in range(3)], axis=-1)


def part_moments(
    shape: Shape, width: float, height: np.ndarray, bottom: np.ndarray, top: np.ndarray, offset: np.ndarray
) -> np.ndarray:
    """Moments per width (n, 3) of the part of a section between two heights above the glued face."""
    cap = cap_height(shape, width, height)
    start = height - cap
    low = np.where(start.real > bottom.real, start, bottom)
    low = np.where(low.real < top.real, low, top)
    moments = np.zeros((len(height), 3), dtype=np.result_type(height, bottom, top))
    for first, last, narrows in ((bottom, low, False), (low, top, True)):
        zeta = first[:, None] + (last - first)[:, None] * (_GAUSS_X + 1) / 2
        weight = (last - first)[:, None] * _GAUSS_W / 2
        if narrows and shape != "square":
            r = (zeta - start[:, None]) / (cap[:, None] + 1e-12)
            # Outside the cap, where a part is empty, its points weigh nothing.
            r = np.where((r.real > 0) & (r.real < 1), r, 0.0)
            weight = weight * (np.sqrt(1 - r * r) if shape == "rounded" else 1 - r)
        z = -(offset[:, None] + zeta)
        moments += np.stack([(weight * z**k).sum(axis=1) for k in range(3)], axis=-1)
    return moments


def rectangle_torsion(width: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Saint-Venant torsion constant of a rectangle, m^4, from the exact series.

    References
    ----------
    S. Timoshenko, J. N. Goodier, Theory of Elasticity, 3rd ed. (1970), art. 109, eq. 160.
    """
    # A bar of no height has no torsion constant; the floor keeps its quotient finite.
    height = height + 1e-12
    n = np.arange(1, 80, 2)[:, None]
    series = (np.tanh(n * np.pi * height / (2 * width)) / n**5).sum(axis=0)
    return np.asarray(width**3 * height / 3 * (1 - 192 * width / (np.pi**5 * height) * series))


def torsion_stiffness(shape: Shape, width: float, height: np.ndarray, fibre: Fibre) -> np.ndarray:
    """Torsional stiffness G J of an orthotropic brace about its own axis, (n,) in N m^2.

    The rectangle is exact: scaling each side by the root of its shear modulus turns the orthotropic torsion
    problem into the isotropic one. Other shapes are scaled by A^4 / I_p.

    References
    ----------
    S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1963), art. 29 (scaling).
    A. J. C. B. de Saint-Venant's estimate J = A^4 / (4 pi^2 I_p), quoted in Timoshenko and Goodier, art. 108.
    """
    height = np.atleast_1d(height)
    across, upright = fibre.G_across, fibre.G_upright
    GJ = rectangle_torsion(width * np.sqrt(upright), height * np.sqrt(across)) / np.sqrt(across * upright)
    if shape == "square":
        return np.asarray(GJ)
    return np.asarray(GJ * _saint_venant(shape, width, height) / _saint_venant("square", width, height))


def _saint_venant(shape: Shape, width: float, height: np.ndarray) -> np.ndarray:
    zeta, breadth, weight = width_profile(shape, width, height)
    A = (breadth * weight).sum(axis=1) + 1e-18
    centre = (breadth * weight * zeta).sum(axis=1) / A
    I_p = (breadth * weight * (zeta - centre[:, None]) ** 2 + breadth**3 * weight / 12).sum(axis=1) + 1e-30
    return np.asarray(A**4 / I_p)


def fibre_stiffness(
    shape: Shape,
    width: float,
    height: np.ndarray,
    offset: np.ndarray,
    fibre: Fibre,
    angle: float,
    carrying: tuple[np.ndarray, np.ndarray] | None = None,
) -> np.ndarray:
    """What a brace's fibres add along it: every fibre in uniaxial stress (E A, E S, E I), and shear upright.

    Parameters
    ----------
    shape : {"square", "rounded", "peaked"}
    width : float, m
    height : (n,) array, m
    offset : (n,) array, m
        Distance of the glued face below the midplane, positive.
    fibre : Fibre
    angle : float, rad
        Direction of the brace, anticlockwise from x.
    carrying : pair of (n,) arrays, m, optional
        Heights above the glued face between which its fibres carry stress; all of them if not given.

    Returns
    -------
    C : (n, 9, 9) array, N/m, N and N m
        Spread evenly over the width.
    """
    height = np.atleast_1d(height)
    if carrying is None:
        moments = section_moments(shape, width, height, offset) / width
    else:
        low, high = carrying
        top = np.where(height.real < high, height, high)
        moments = part_moments(shape, width, height, np.minimum(low, top.real), top, offset)
    C = np.zeros((len(height), 9, 9), dtype=moments.dtype)
    C[:, 0, 0] = fibre.E * moments[:, 0]
    C[:, 0, 3] = C[:, 3, 0] = fibre.E * moments[:, 1]
    C[:, 3, 3] = fibre.E * moments[:, 2]
    C[:, 6, 6] = SHEAR_CORRECTION * fibre.G_upright * moments[:, 0]
    return turned(C, angle)


def turned(C: np.ndarray, angle: float) -> np.ndarray:
    """Section stiffness (n, 9, 9) given in axes turned by `angle`, rad, expressed in the plate's axes."""
    T, R = strain_rotation(angle)
    full = np.zeros((9, 9))
    full[:3, :3] = full[3:6, 3:6] = T
    full[6:8, 6:8] = R
    full[8, 8] = 1.0
    return np.asarray(full.T @ C @ full)


def brace_mass(shape: Shape, width: float, height: np.ndarray, offset: np.ndarray, density: float) -> np.ndarray:
    """Mass that a brace adds per area of its glued face, with its moments, (n, 3) in kg/m^2, kg/m, kg."""
    return density / width * section_moments(shape, width, height, offset)
