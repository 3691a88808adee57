"""The hole resonance of a box with rigid walls.

Depends on fem/air.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

from bracedtop.fem.air import Air
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array


@dataclass(frozen=True, slots=True, eq=False)
class Helmholtz:
    """The hole resonance, by the field in the cavity and by the closed formula.

    Parameters
    ----------
    frequency : float, Hz
        Of the pistons of air in the holes on the air's field.
    formula : float, Hz
        c / (2 pi) sqrt(sum of S / L over the volume) with L = t + 16 r / (3 pi) for each hole: flanged pistons on
        either side, a uniform pressure inside.
    inside : (n,) array, m
        Length of air inside the box that moves with each hole, by the field at zero frequency.
    higher : (k,) array, Hz
        Frequencies of the modes above, with the holes open.
    """

    frequency: float
    formula: float
    inside: Array
    higher: Array


def helmholtz(air: Air) -> Helmholtz:
    """The hole resonance of a box with rigid walls.

    Raises
    ------
    DesignError
        If the box has no hole.

    References
    ----------
    Lord Rayleigh, The Theory of Sound, vol. 2 (1896), art. 303-306; for both ends of a hole 16 r / (3 pi) = 1.7 r is
    the upper of his limits, pi r / 2 that of a hole in a sheet of no thickness.
    """
    if not len(air.hole_area):
        message = "the box has no sound hole; it has no hole resonance"
        raise DesignError(message)
    n = len(air.hole_area)
    C, omega = air.at_holes, 2 * np.pi * air.frequencies
    K = np.block([[C @ C.T, -(C * omega)[:, 1:]], [-(C * omega)[:, 1:].T, np.diag(omega[1:] ** 2)]])
    M = np.eye(len(K))
    M[:n, :n] = air.holes.mass
    frequencies = np.sqrt(np.maximum(eigh(K, M, eigvals_only=True), 0.0)) / (2 * np.pi)
    length = air.holes.thickness + 16 * air.holes.radius / (3 * np.pi)
    formula = air.speed / (2 * np.pi) * np.sqrt((air.hole_area / length).sum() / air.volume)
    inside = ((C[:, 1:] / omega[1:]) ** 2).sum(axis=1) / (air.density * air.hole_area)
    # Each further hole adds a motion of air in at one and out at another that nothing resists; these come first.
    return Helmholtz(float(frequencies[n - 1]), float(formula), inside, frequencies[n : n + air.n_resonant - 1])
