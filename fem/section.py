"""Brace sections: what a strip of wood on edge adds to the plate that it is glued to."""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.laminate import (
    SHEAR_CORRECTION,
    Fibre,
    layer_moments,
    rotated,
    stiffness_from_moments,
    strain_rotation,
)
from bracedtop.geometry.brace import Brace, Shape

PEAK_SHARE = 0.5
"""Part of a peaked brace's height over which it narrows to its ridge; chosen: common practice, no source."""

BED = 2.2
"""Stiffness of the plate's own wood beside the glue, over that of a brace as wide and of the same moduli.

Infinite for a plate whose face follows its theory strictly. Chosen to fit orthotropic solids: braces of 6 to 15 mm
along, across and at angles to the grain, free, hinged and clamped, tests/reference."""

NOTCH = 0.46
"""Length beside a notch over which the fibres cut by it carry nothing, in heights of the notch's floor above the top;
chosen to fit orthotropic solids of half laps, tests/reference. It rests on the joint alone, so that shaving does not
move it."""

FREE_CUT = 1.2
"""Growth of that length for the fibres of the under brace where the over one is rounded or peaked: its flanks do not
meet all of their cut ends. Chosen to fit orthotropic solids of rounded half laps, tests/reference."""

CROSS_SPREAD = 1.45
"""Growth of the stiffness across the grain in the block of a crossing, where stress spreads beyond the other brace's
width; chosen to fit orthotropic solids of a cut brace, tests/reference."""

BUTT_SPREAD = 2.2
"""The same where a brace is butted against another, whose wood runs on to both sides; chosen to fit an orthotropic
solid, tests/reference."""

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


@dataclass(frozen=True, slots=True)
class Bed:
    """The plate's wood on which a brace is glued, in the brace's axes.

    Parameters
    ----------
    shear : float, Pa
        Mean of its shear moduli along the brace, in the plane and through the thickness (geometric).
    stretch : float, Pa
        Mean of its stiffness across the brace and of its shear modulus across it (geometric).
    shear_through : float, Pa
        Shear modulus along the brace through the thickness.
    """

    shear: float
    stretch: float
    shear_through: float

    @classmethod
    def of_plate(cls, Q: np.ndarray, G: np.ndarray, angle: float) -> "Bed":
        """Bed of a brace at `angle`, rad, on a plate of stiffness Q (3, 3) and G (2, 2), Pa, in the same axes."""
        S, F = (np.diag(np.linalg.inv(part)) for part in rotated(Q, G, -angle))
        return cls(float(1 / np.sqrt(S[2] * F[0])), float(1 / np.sqrt(S[1] * F[1])), float(1 / F[0]))


def _share(bed: float, brace: float) -> float:
    """Part of the resistance of a brace's glued side that is left where its bed gives as well: springs in a row."""
    return float(BED * bed / (brace + BED * bed))


def glued_side(width: float, height: np.ndarray, G_ns: float, G_zs: float) -> tuple[np.ndarray, np.ndarray]:
    """Resistance of a brace's glued side to being sheared, and its share in the brace's torsion.

    A bar of rectangular section is twisted by 1 rad/m while its glued side is sheared in its plane by e. Above the
    free bar's, its energy per length is grip (e - lever)^2 / 2. The warping is n z + a sum over odd k of
    sin(k pi n / b) c_k g_k(z) with n = the sum of c_k sin(k pi n / b); each g_k is a sum of two exponentials. The same
    sum with moduli of the section's plane serves for stretching across.

    Parameters
    ----------
    width : float, m
    height : (n,) array, m
    G_ns, G_zs : float, Pa
        Shear moduli in the plane of the glued side and upright.

    Returns
    -------
    grip : (n,) array, N
    lever : (n,) array, m
        The shear at which a free bar's side would stand when twisted by 1 rad/m.

    References
    ----------
    The torsion problem of Timoshenko and Goodier (1970), art. 105 and 109, with the warping prescribed on one side.
    """
    h = np.atleast_1d(height)[:, None] + 1e-7
    k = np.arange(1, 40, 2)
    mu = k * np.pi / width * np.sqrt(G_ns / G_zs)
    weight = 8 * width**3 / (np.pi * k) ** 4 * G_zs
    # Beyond 30 the functions are 1 and 0 to the last digit.
    x = np.where((mu * h).real < 30, mu * h, 30.0)
    grip = (weight * mu * np.tanh(x)).sum(axis=1)
    cross = (weight * 2 * (1 - 1 / np.cosh(x))).sum(axis=1)
    return np.asarray(grip), np.asarray(cross / grip)


def brace_stiffness(
    shape: Shape, width: float, height: np.ndarray, offset: np.ndarray, fibre: Fibre, angle: float
) -> np.ndarray:
    """Section stiffness that a brace adds per area of its glued face, on a rigid bed and not slipping, (n, 9, 9).

    The sum of `fibre_stiffness` and `side_stiffness`.
    """
    along = fibre_stiffness(shape, width, height, offset, fibre, angle)
    return np.asarray(along + side_stiffness(shape, width, height, offset, fibre, angle))


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


def side_stiffness(
    shape: Shape,
    width: float,
    height: np.ndarray,
    offset: np.ndarray,
    fibre: Fibre,
    angle: float,
    bed: Bed | None = None,
) -> np.ndarray:
    """What a brace adds by being twisted, and by its glued side's being sheared, stretched across and bent across.

    Torsion is that of the free bar, and its glued side resists by `glued_side` being sheared otherwise than the free
    bar's, and being stretched across. Bending of the face across the brace presses on its wood.

    Parameters
    ----------
    shape, width, height, offset, fibre, angle
        As of `fibre_stiffness`.
    bed : Bed, optional
        The plate's wood beside the glue; rigid if not given.

    Returns
    -------
    C : (n, 9, 9) array, N/m, N and N m
        Spread evenly over the width.
    """
    height = np.atleast_1d(height)
    n = len(height)
    # The brace's rate of twist is d beta_n / ds = (kappa_sn + omega) / 2. With kappa_sn alone the twisting moment
    # would jump at the brace's flanks, and the plate would turn away from it in a layer thinner than itself.
    twist = np.zeros((n, 9))
    twist[:, 5] = twist[:, 8] = 0.5
    sheared, stretched = np.zeros((n, 9)), np.zeros((n, 9))
    sheared[:, 2], sheared[:, 5] = 1.0, -offset
    stretched[:, 1], stretched[:, 4] = 1.0, -offset
    stretched[:, 0], stretched[:, 3] = fibre.nu_across, -fibre.nu_across * offset
    grip, lever = glued_side(width, height, fibre.G_across, fibre.G_upright)
    across, _ = glued_side(width, height, fibre.E_across, fibre.G_rolling)
    of_shear = of_stretch = 1.0
    if bed is not None:
        of_shear = _share(bed.shear, np.sqrt(fibre.G_across * fibre.G_upright))
        of_stretch = _share(bed.stretch, np.sqrt(fibre.E_across * fibre.G_rolling))
    C = np.zeros((n, 9, 9), dtype=height.dtype)
    for row, stiffness in (
        (twist, torsion_stiffness(shape, width, height, fibre)),
        # Twist by theta' is -theta' of d beta_n / ds: the lever comes in with the opposite sign.
        (sheared - lever[:, None] * twist, of_shear * grip),
        (stretched, of_stretch * across),
    ):
        C += (stiffness / width)[:, None, None] * row[:, :, None] * row[:, None, :]
    C[:, 4, 4] += of_stretch * _pressing(width, height, fibre)
    return turned(C, angle)


def _pressing(width: float, height: np.ndarray, fibre: Fibre) -> np.ndarray:
    """Bending stiffness across that comes of pressing on the brace's wood when its face is curved, (n,) in N m.

    A deflection kappa n^2 / 2 is a sum of cosines with (b^2 kappa / (2 pi^2 j^2)); each dies out upwards by the
    stiffness upright and in shear across.
    """
    j = np.arange(1, 20)
    mu = 2 * np.pi * j / width * np.sqrt(fibre.G_rolling / fibre.E_upright)
    x = mu * (np.atleast_1d(height)[:, None] + 1e-7)
    decay = np.tanh(np.where(x.real < 30, x, 30.0))
    amplitude = width**2 / (2 * np.pi**2 * j**2)
    return np.asarray((0.5 * amplitude**2 * fibre.E_upright * mu * decay).sum(axis=1))


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


def part_moments(
    shape: Shape, width: float, height: np.ndarray, bottom: np.ndarray, top: np.ndarray, offset: np.ndarray
) -> np.ndarray:
    """Moments per width (n, 3) of the part of a section between two heights above the glued face."""
    cap = _cap(shape, width, height)
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


def idle_beside_notch(
    braces: tuple[Brace, Brace], under: float, over: float, kept: float
) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Heights between which each brace passes through a crossing, and how far beside it cut fibres are idle, m.

    Parameters
    ----------
    braces : pair of Brace
        The under and the over brace.
    under, over, kept : float, m
        Heights of the two braces there, and of the under brace's wood in the notch.

    Returns
    -------
    under, over : (bottom, top, length) each
        The length is 0 for a brace that is not cut, and for one that is cut through and glued to the other's flanks.
    """
    top_under, bottom_over, top_over = (float(z[0]) for z in crossing_layers(np.array([under]), np.array([over]), kept))
    length = NOTCH * top_under
    longer = 1.0 if braces[1].shape == "square" else 1.0 + FREE_CUT
    return (
        (0.0, top_under, length * longer if top_under < under else 0.0),
        (bottom_over, top_over, length if 0 < top_over - bottom_over < over else 0.0),
    )


def _crossing_moments(
    braces: tuple[Brace, Brace], under: np.ndarray, over: np.ndarray, kept: float, offset: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    top_under, bottom_over, top_over = crossing_layers(under, over, kept)
    return (
        part_moments(braces[0].shape, braces[0].width, under, 0 * top_under, top_under, offset),
        part_moments(braces[1].shape, braces[1].width, over, bottom_over, top_over, offset),
    )


def crossing_stiffness(
    braces: tuple[Brace, Brace],
    under: np.ndarray,
    over: np.ndarray,
    kept: float,
    offset: np.ndarray,
    fibres: tuple[Fibre, Fibre],
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
    fibres, angles : pairs for the under and the over brace; rad
    """
    moments = _crossing_moments(braces, under, over, kept, offset)
    spread = np.diag([1.0, np.sqrt(CROSS_SPREAD), 1.0])
    return np.asarray(
        sum(
            stiffness_from_moments(*rotated(spread @ fibre.Q @ spread, fibre.G, angle), m)
            for fibre, angle, m in zip(fibres, angles, moments, strict=True)
        )
    )


def cap_stiffness(fibre: Fibre, angle: float, bottom: np.ndarray, top: np.ndarray) -> np.ndarray:
    """Section stiffness (n, 9, 9) of a piece glued along a brace, between two heights (n,) above the midplane, m."""
    along = np.diag([fibre.E, 0.0, 0.0])
    return stiffness_from_moments(*rotated(along, np.diag([fibre.G_upright, 0.0]), angle), layer_moments(bottom, top))


def butt_stiffness(
    braces: tuple[Brace, Brace],
    through: np.ndarray,
    butted: np.ndarray,
    offset: np.ndarray,
    fibre: Fibre,
    angle: float,
) -> np.ndarray:
    """Section stiffness that a through brace adds where another one's end is glued to its flank, (n, 9, 9).

    Up to the lower of the two its wood there takes the other's bending across its grain, as in a crossing. Its own
    fibres are counted in `brace_stiffness`.

    Parameters
    ----------
    braces : pair of Brace
        The through and the butted one.
    through, butted : (n,) arrays, m
        Their heights there.
    offset : (n,) array, m
        Distance of the glued face below the midplane, positive.
    fibre, angle : Fibre and float, rad
        Of the through brace.
    """
    body = through - _cap(braces[0].shape, braces[0].width, through)
    met = np.where(body.real < butted.real, body, butted)
    spread = np.diag([1.0, np.sqrt(BUTT_SPREAD), 1.0])
    Q = spread @ fibre.Q @ spread
    Q[0, 0] -= fibre.E
    Q[2] = Q[:, 2] = 0.0
    layer = layer_moments(-offset - met, -offset)
    return stiffness_from_moments(*rotated(Q, np.zeros((2, 2)), angle), layer)


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
