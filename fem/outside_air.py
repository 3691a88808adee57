"""Mass of the air that a vibrating plane carries with it outside the box. Depends on nothing.

Rayleigh's integral at low frequency, the surface set in an infinite rigid plane as for its sound (fem/radiation): two
pieces that move see each other as 1 / distance. Resonances of a guitar's faces lie where half a wave in air is longer
than the face, so that the mass hardly depends on frequency.

References
----------
Lord Rayleigh, The Theory of Sound, vol. 2 (1896), art. 278 and 302. L. Bonsall, A. A. Maradudin, Phys.
Rev. B 15 (1977) 1959 (lattice sums; recalled).
"""

import numpy as np

SELF = 3.91
"""By how much the integral of 1 / distance exceeds the sum over the other points of a lattice, over the root of their
area: 3.900 for a square one, 3.921 for a hexagonal one, as known of charges in the plane."""

_ROWS = 500
"""Rows of the table of distances that are held at a time; chosen: 10 MB."""


def outside_mass(xy: np.ndarray, weight: np.ndarray, shapes: np.ndarray, density: float) -> np.ndarray:
    """Mass matrix of the air on one side of a plane, (N, N) in kg.

    Parameters
    ----------
    xy : (n, 2) array, m
    weight : (n,) array, m^2
        Areas for which the points stand.
    shapes : (n, N) array
        Motions along the normal.
    density : float, kg/m^3
    """
    moved = weight[:, None] * shapes
    itself = SELF / np.sqrt(weight)
    seen = np.empty_like(moved)
    for start in range(0, len(xy), _ROWS):
        rows = slice(start, start + _ROWS)
        apart = np.hypot(*(xy[rows, None] - xy[None]).transpose(2, 0, 1))
        here = np.arange(len(apart))
        apart[here, start + here] = 1.0
        near = 1 / apart
        near[here, start + here] = itself[rows]
        seen[rows] = near @ moved
    mass = density / (2 * np.pi) * (moved.T @ seen)
    return np.asarray((mass + mass.T) / 2)
