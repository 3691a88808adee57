"""Where the sound of a plane surface goes: pattern, directivity index, monopole and dipoles.

Depends on fem/gas and fem/radiation, with its baffle and its conventions.

References
----------
L. E. Kinsler, A. R. Frey, A. B. Coppens, J. V. Sanders, "Fundamentals of Acoustics", 4th ed. (2000), 7.4-7.6
(directional factor, directivity and directivity index), recalled.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.gas import Gas
from bracedtop.fem.radiation import Complex, Real, far_field, half_extent, hemisphere, middle


@dataclass(frozen=True, slots=True)
class Directivity:
    """Far field of one motion of the surface.

    Parameters
    ----------
    theta : (t,) array, rad
        From the normal.
    phi : (p,) array, rad
        Around the normal, from x towards y.
    pressure : (t, p) complex array, Pa m
        Pressure times distance.
    index : (t, p) array, dB
        Mean-square pressure over that of a source of the same power that radiates evenly into all of space (4 pi).
    monopole, dipole_x, dipole_y, higher : float
        Shares of the power of the part that goes evenly everywhere, of those that go both ways along x and along y, and
        of the rest; sum 1.
    """

    theta: Real
    phi: Real
    pressure: Complex
    index: Real
    monopole: float
    dipole_x: float
    dipole_y: float
    higher: float


def directivity(
    hz: float, xy: Real, weight: Real, velocity: Complex | Real, theta: Real, phi: Real, gas: Gas
) -> Directivity:
    """Far-field pattern of normal velocities (n,) in m/s at the sources, on a grid of angles.

    Monopole and dipoles are taken about the middle of the sources.

    Parameters
    ----------
    hz : float
    xy : (n, 2) array, m
    weight : (n,) array, m^2
    velocity : (n,) array, m/s
    theta : (t,) array, rad
        Between 0 and pi / 2.
    phi : (p,) array, rad
    gas : Gas
    """
    k = 2.0 * np.pi * hz / gas.speed
    about = xy - middle(xy)
    motion = np.column_stack([velocity.real, velocity.imag])
    sine = np.sin(theta)[:, None]
    grid = np.stack([sine * np.cos(phi), sine * np.sin(phi)], axis=-1)
    unit = 1j * 2.0 * np.pi * hz * gas.density / (2.0 * np.pi)
    seen = unit * (far_field(hz, about, weight, motion, grid.reshape(-1, 2), gas) @ np.array([1.0, 1j]))

    half = hemisphere(k * half_extent(xy))
    cosines = np.concatenate([half.cosines, -half.cosines])
    share = np.concatenate([half.solid_angle, half.solid_angle]) / (4.0 * np.pi)
    field = unit * (far_field(hz, about, weight, motion, cosines, gas) @ np.array([1.0, 1j]))
    mean = float(share @ np.abs(field) ** 2)
    # The plane's image continues the field evenly to the other side, so the whole sphere's harmonics apply; those that
    # are odd in z vanish.
    monopole = abs(share @ field) ** 2 / mean
    along = [3.0 * abs((share * cosines[:, i]) @ field) ** 2 / mean for i in (0, 1)]
    pressure = seen.reshape(len(theta), len(phi))
    # The baffle sends all of the power into half of space: twice the mean over it.
    index = 10.0 * np.log10(np.maximum(2.0 * np.abs(pressure) ** 2 / mean, 1e-30))
    rest = max(1.0 - monopole - sum(along), 0.0)
    return Directivity(theta, phi, pressure, index, float(monopole), float(along[0]), float(along[1]), float(rest))
