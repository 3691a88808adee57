"""Brace sections: what a strip of wood on edge adds to the plate that it is glued to."""

import numpy as np

from bracedtop.fem.laminate import (
    SHEAR_CORRECTION,
    lamina,
    layer_stiffness,
    rotated,
    stiffness_from_moments,
    strain_rotation,
)
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace, Shape

PEAK_SHARE = 0.5
"""Part of a peaked brace's height over which it narrows to its ridge; chosen: common practice, no source."""

GRIP = 0.3
"""Height, in brace widths, over which a brace's glued side takes part in stretching across the brace.

Stress that enters through the glued face dies out within a fraction of the width (Saint-Venant); chosen to fit
orthotropic solids, see tests/published."""

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
    cap = _cap(shape, width, height)
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


def _cap(shape: Shape, width: float, height: np.ndarray) -> np.ndarray:
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


def rectangle_torsion(width: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Saint-Venant torsion constant of a rectangle, m^4, from the exact series.

    References
    ----------
    S. Timoshenko, J. N. Goodier, Theory of Elasticity, 3rd ed. (1970), art. 109, eq. 160.
    """
    # A bar of no height has no torsion constant; the floor keeps its quotient finite.
    height = height + 1e-12
    n = np.arange(1, 12, 2)[:, None]
    series = (np.tanh(n * np.pi * height / (2 * width)) / n**5).sum(axis=0)
    return np.asarray(width**3 * height / 3 * (1 - 192 * width / (np.pi**5 * height) * series))


def torsion_stiffness(shape: Shape, width: float, height: np.ndarray, wood: Wood) -> np.ndarray:
    """Torsional stiffness G J of an orthotropic brace about its own axis, (n,) in N m^2.

    The rectangle is exact: scaling each side by the root of its shear modulus turns the orthotropic torsion
    problem into the isotropic one. Other shapes are scaled by A^4 / I_p.

    References
    ----------
    S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1963), art. 29 (scaling).
    A. J. C. B. de Saint-Venant's estimate J = A^4 / (4 pi^2 I_p), quoted in Timoshenko and Goodier, art. 108.
    """
    height = np.atleast_1d(height)
    across, upright = wood.G_LT, wood.G_LR
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


def brace_stiffness(
    shape: Shape, width: float, height: np.ndarray, offset: np.ndarray, wood: Wood, angle: float
) -> np.ndarray:
    """Section stiffness that a brace adds per area of its glued face.

    Along the brace every fibre is in uniaxial stress (E_L A, E_L S, E_L I); the slab of `GRIP` widths next to
    the glue also resists stretching across and in-plane shear; twisting is Saint-Venant's.

    Parameters
    ----------
    shape : {"square", "rounded", "peaked"}
    width : float, m
    height : (n,) array, m
    offset : (n,) array, m
        Distance of the glued face below the midplane, positive.
    wood : Wood
    angle : float, rad
        Direction of the brace, anticlockwise from x.

    Returns
    -------
    C : (n, 9, 9) array, N/m, N and N m
        Spread evenly over the width. Linear in A, S, I, G J.
    """
    height = np.atleast_1d(height)
    moments = section_moments(shape, width, height, offset) / width
    Q, G = lamina(wood, "on_edge")
    C = np.zeros((len(height), 9, 9), dtype=moments.dtype)
    C[:, 0, 0] = wood.E_L * moments[:, 0]
    C[:, 0, 3] = C[:, 3, 0] = wood.E_L * moments[:, 1]
    C[:, 3, 3] = wood.E_L * moments[:, 2]
    C[:, 6, 6] = SHEAR_CORRECTION * wood.G_LR * moments[:, 0]
    grip = np.where(height.real < GRIP * width, height, GRIP * width)
    # The slab's share of uniaxial stress is in the moments already.
    slab = Q.copy()
    slab[0, 0] -= wood.E_L
    shear = slab[2, 2]
    slab[2, 2] = 0.0
    C += layer_stiffness(slab, np.diag([0.0, G[1, 1]]), -offset - grip, -offset)
    middle = -offset - grip / 2
    C[:, 2, 2] += shear * grip
    C[:, 2, 5] += shear * grip * middle
    C[:, 5, 2] += shear * grip * middle
    C[:, 5, 5] += shear * grip * middle**2
    # The brace's rate of twist is d beta_n / ds = (kappa_sn + omega) / 2. With kappa_sn alone the twisting moment
    # would jump at the brace's flanks, and the plate would turn away from it in a layer thinner than itself.
    twist = torsion_stiffness(shape, width, height, wood) / (4 * width)
    C[:, 5, 5] += twist
    C[:, 5, 8] += twist
    C[:, 8, 5] += twist
    C[:, 8, 8] += twist
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


def crossing_layers(under: np.ndarray, over: np.ndarray, kept: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Heights at a crossing: top of the under brace's wood, bottom and top of the over brace's, (n,) each, m.

    Where `kept` reaches the under brace's height, that brace is whole and the other one is cut, but for what
    stands above both.
    """
    whole = under.real <= kept
    top_under = np.where(whole, under, kept)
    bottom_over = np.where(whole & (over.real <= kept), over, top_under)
    top_over = np.where(over.real > bottom_over.real, over, bottom_over)
    return top_under, bottom_over, top_over


def _part_moments(
    brace: Brace, height: np.ndarray, bottom: np.ndarray, top: np.ndarray, offset: np.ndarray
) -> np.ndarray:
    """Moments per width (n, 3) of the part of a section between two heights above the glued face."""
    cap = _cap(brace.shape, brace.width, height)
    start = height - cap
    low = np.where(start.real > bottom.real, start, bottom)
    low = np.where(low.real < top.real, low, top)
    moments = np.zeros((len(height), 3), dtype=np.result_type(height, bottom, top))
    for first, last, narrows in ((bottom, low, False), (low, top, True)):
        zeta = first[:, None] + (last - first)[:, None] * (_GAUSS_X + 1) / 2
        weight = (last - first)[:, None] * _GAUSS_W / 2
        if narrows and brace.shape != "square":
            r = (zeta - start[:, None]) / (cap[:, None] + 1e-12)
            # Outside the cap, where a part is empty, its points weigh nothing.
            r = np.where((r.real > 0) & (r.real < 1), r, 0.0)
            weight = weight * (np.sqrt(1 - r * r) if brace.shape == "rounded" else 1 - r)
        z = -(offset[:, None] + zeta)
        moments += np.stack([(weight * z**k).sum(axis=1) for k in range(3)], axis=-1)
    return moments


def _crossing_moments(
    braces: tuple[Brace, Brace], under: np.ndarray, over: np.ndarray, kept: float, offset: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    top_under, bottom_over, top_over = crossing_layers(under, over, kept)
    return (
        _part_moments(braces[0], under, 0 * top_under, top_under, offset),
        _part_moments(braces[1], over, bottom_over, top_over, offset),
    )


def crossing_stiffness(
    braces: tuple[Brace, Brace],
    under: np.ndarray,
    over: np.ndarray,
    kept: float,
    offset: np.ndarray,
    woods: tuple[Wood, Wood],
    angles: tuple[float, float],
) -> np.ndarray:
    """Section stiffness of the block where two braces cross, (n, 9, 9).

    The block is glued on all its flanks, so each brace's wood counts there as a full layer, stiff along its
    own grain and soft across it: the cut brace has to pass its bending through the other one's cross grain.
    A rounded or peaked brace fills its layer only as far as its section does.

    Parameters
    ----------
    braces : pair of Brace
        The under and the over brace.
    under, over : (n,) arrays, m
        Heights of the two braces there.
    kept : float, m
        Height of the under brace left by the notch.
    offset : (n,) array, m
        Distance of the glued face below the midplane, positive.
    woods, angles : pairs for the under and the over brace; rad
    """
    moments = _crossing_moments(braces, under, over, kept, offset)
    return np.asarray(
        sum(
            stiffness_from_moments(*rotated(*lamina(wood, "on_edge"), angle), m)
            for wood, angle, m in zip(woods, angles, moments, strict=True)
        )
    )


def crossing_mass(
    braces: tuple[Brace, Brace],
    under: np.ndarray,
    over: np.ndarray,
    kept: float,
    offset: np.ndarray,
    densities: tuple[float, float],
) -> np.ndarray:
    """Areal mass of the block where two braces cross, with its moments, (n, 3)."""
    below, above = _crossing_moments(braces, under, over, kept, offset)
    return np.asarray(densities[0] * below + densities[1] * above)
