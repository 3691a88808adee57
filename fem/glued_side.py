"""What the glued side of a brace resists: being sheared, stretched and bent across, and twisted with the plate."""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.laminate import Fibre, rotated
from bracedtop.fem.section import fibre_stiffness, torsion_stiffness, turned
from bracedtop.geometry.brace import Shape

BED = 2.2
"""Stiffness of the plate's own wood beside the glue, over that of a brace as wide and of the same moduli.

Infinite for a plate whose face follows its theory strictly. Chosen to fit orthotropic solids: braces of 6 to 15 mm
along, across and at angles to the grain, free, hinged and clamped, tests/reference."""


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


def brace_stiffness(
    shape: Shape, width: float, height: np.ndarray, offset: np.ndarray, fibre: Fibre, angle: float
) -> np.ndarray:
    """Section stiffness that a brace adds per area of its glued face, on a rigid bed and not slipping, (n, 9, 9).

    The sum of `fibre_stiffness` and `side_stiffness`.
    """
    along = fibre_stiffness(shape, width, height, offset, fibre, angle)
    return np.asarray(along + side_stiffness(shape, width, height, offset, fibre, angle))
