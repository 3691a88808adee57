"""The air in the sound holes: mass outside the cavity, and what friction takes.

Depends on fem/gas, geometry.

The air in a hole moves as a piston with the hole's area, as thick as the edge of the hole. Outside, the top is taken as
a large flange. The mass inside the box is not counted here: the field in the cavity has it (fem/air).

Real air is no piston: it goes faster beside the edge, the more so the thinner the edge, and 3 to 7 % less of it moves
than a piston would take along. The field inside knows pistons only, so this share of both ends is taken off outside.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.special import ellipk

from bracedtop.fem.gas import Gas
from bracedtop.geometry.design import Design
from bracedtop.geometry.outline import Array, Hole
from bracedtop.geometry.patch import patch_thickness_at
from bracedtop.geometry.thickness import thickness_at

ENDS = np.array(
    [
        [0.0, 1.5708],
        [0.01, 1.5796],
        [0.02, 1.5851],
        [0.03, 1.5896],
        [0.05, 1.5967],
        [0.07, 1.6022],
        [0.1, 1.6088],
        [0.15, 1.6168],
        [0.2, 1.6226],
        [0.3, 1.6301],
        [0.5, 1.6377],
        [1.0, 1.6426],
        [4.0, 1.6434],
    ]
)
"""Thickness of a round hole's edge, and the length that moves at both its ends together, over the radius: potential
flow through a hole between two half spaces, computed (tests/published/test_helmholtz_ends.py); pi/2 for no thickness
(Rayleigh 1896, art. 306) and twice 0.8217 for a thick edge (King 1936, Phil. Mag. 21, 128). Pistons have
16 / (3 pi) = 1.698."""

_BESIDE = 1e-3
"""How far from its edge a hole's thickness is taken, m; chosen: inside the narrowest reinforcement."""


@dataclass(frozen=True, slots=True, eq=False)
class HoleAir:
    """The pistons of air in the holes of a top.

    Parameters
    ----------
    area : (n,) array, m^2
    radius : (n,) array, m
        Of a circle with the hole's area.
    thickness : (n,) array, m
        Of the hole's edge: top and what is glued round the hole.
    mass : (n, n) array, kg
        Of the air in the hole and outside it. Off the diagonal: what one hole's motion costs another's.
    """

    area: Array
    radius: Array
    thickness: Array
    mass: Array


def hole_air(design: Design, gas: Gas) -> HoleAir:
    """Pistons of air in the holes of a top, without the mass inside the box.

    Parameters
    ----------
    design : Design
    gas : Gas

    References
    ----------
    Lord Rayleigh, The Theory of Sound, vol. 2 (1896), art. 302: the static mass of a piston in a large flange is that
    of a length 8 r / (3 pi). Two pistons far apart see each other as sources: density S1 S2 / (2 pi distance).
    """
    area = np.array([np.pi * hole.semi_axes.prod() for hole in design.holes])
    thickness = np.array([_thickness(design, hole) for hole in design.holes])
    outside = np.array([piston_length(*hole.semi_axes) for hole in design.holes])
    centre = np.array([hole.centre for hole in design.holes]).reshape(-1, 2)
    apart = np.hypot(*(centre[:, None] - centre[None, :]).transpose(2, 0, 1))
    np.fill_diagonal(apart, 1.0)
    radius = np.sqrt(area / np.pi)
    # A piston's length on both sides, times the share that moves, less the piston's inside.
    outside = outside * (2 * moving_share(thickness / radius) - 1)
    mass = gas.density * area[:, None] * area[None, :] / (2 * np.pi * apart)
    np.fill_diagonal(mass, gas.density * area * (thickness + outside))
    return HoleAir(area, radius, thickness, mass)


def moving_share(thickness: Array) -> Array:
    """Length that moves at both ends of a hole over that of two pistons, by its thickness over its radius, (n,).

    For an ellipse too: in a sheet of no thickness its share is the circle's, since the lengths of the pistons and of
    potential flow, b K(e^2) (Rayleigh 1896, art. 306), stay in proportion.
    """
    return np.asarray(np.interp(thickness, *ENDS.T) * 3 * np.pi / 16)


def piston_length(a: float, b: float) -> float:
    """Length of air that moves with one side of an elliptical piston in a large flange, m.

    Parameters
    ----------
    a, b : float, m
        Semi-axes.

    Notes
    -----
    Rayleigh's integral of 1 / (2 pi distance) over the piston twice, by the Fourier transform of an ellipse:
    16 b K(e^2) / (3 pi^2) with a >= b, e^2 = 1 - b^2/a^2 and K the complete elliptic integral. A circle has
    8 r / (3 pi); an ellipse half as wide as long has 3 % less than the circle of its area.
    """
    long, short = max(a, b), min(a, b)
    return float(16 * short * ellipk(1 - (short / long) ** 2) / (3 * np.pi**2))


def hole_resistance(holes: HoleAir, gas: Gas, frequency: float) -> Array:
    """Resistance of friction at the edges of the holes, (n,) in N s/m, at a frequency in Hz.

    The walls' boundary layer over the thickness of the edge, with one radius more on either face.

    References
    ----------
    U. Ingard, On the theory and design of acoustic resonators, J. Acoust. Soc. Am. 25 (1953) 1037-1061 (RECALLED):
    specific resistance density sqrt(8 nu omega) (1 + t / (2 r)).
    """
    omega = 2 * np.pi * frequency
    specific = np.sqrt(8 * gas.density * gas.viscosity * omega) * (1 + holes.thickness / (2 * holes.radius))
    return np.asarray(specific * holes.area)


def _thickness(design: Design, hole: Hole) -> float:
    """Mean thickness of top and patches round the edge of a hole."""
    xy = hole.outline(72, grow=_BESIDE).points
    thickness = thickness_at(design.plate, xy)
    for patch in design.patches:
        thickness = thickness + patch_thickness_at(patch, xy) * shapely.contains_xy(patch.polygon, xy[:, 0], xy[:, 1])
    return float(thickness.mean())
