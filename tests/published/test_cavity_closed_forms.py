"""Rigid-walled cavities with exact modes.

Rectangular room: f = c/2 sqrt((l/Lx)^2 + (m/Ly)^2 + (n/Lz)^2) (Lord Rayleigh, The Theory of Sound, vol. 2 (1896), art.
267; H. Kuttruff, Room Acoustics, 6th ed. (2016), eq. 3.17).

Cylinder: f = c/(2 pi) sqrt((j'_mn / R)^2 + (n_z pi / H)^2) (P. M. Morse, K. U. Ingard, Theoretical Acoustics (1968),
ch. 9); zeros of the derivatives of Bessel functions from M. Abramowitz, I. A. Stegun, Handbook of Mathematical
Functions (1964), table 9.5 (RECALLED, recomputed below).

Tolerance 0.1 %: what the mesh is chosen for.
"""

import numpy as np
import pytest
from reference.air_boxes import cuboid, drum
from scipy.special import jnp_zeros

from bracedtop.fem.air import Air, build_air

TOLERANCE = 1e-3

ZEROS = {(1, 1): 1.84118, (2, 1): 3.05424, (0, 1): 3.83171, (3, 1): 4.20119, (4, 1): 5.31755, (1, 2): 5.33144}


def misses(air: Air, wave_numbers: list[float], n: int) -> np.ndarray:
    """Relative misses of the lowest n modes above the uniform pressure."""
    exact = air.speed * np.sort(np.array(wave_numbers))[:n] / (2 * np.pi)
    return air.frequencies[1 : n + 1] / exact - 1


@pytest.mark.parametrize("sides", [(0.48, 0.37, 0.10), (0.30, 0.28, 0.26)], ids=["flat", "deep"])
def test_rectangular_room(sides: tuple[float, float, float]) -> None:
    orders = [(k, m, n) for k in range(9) for m in range(9) for n in range(9) if k + m + n]
    wave_numbers = [np.pi * np.hypot.reduce(np.array(order) / sides) for order in orders]
    air = build_air(*cuboid(*sides))
    found = misses(air, wave_numbers, 10)
    assert np.abs(found).max() < TOLERANCE
    assert found.min() > -1e-9, "modes of a subspace lie above the exact ones"


def test_every_mode_asked_for() -> None:
    sides = (0.48, 0.37, 0.10)
    air = build_air(*cuboid(*sides), highest=1950.0)
    orders = [(k, m, n) for k in range(9) for m in range(9) for n in range(4) if k + m + n]
    wave_numbers = [np.pi * np.hypot.reduce(np.array(order) / sides) for order in orders]
    below = [k for k in wave_numbers if air.speed * k / (2 * np.pi) < 1950.0]
    assert air.n_resonant == len(below) + 1
    assert np.abs(misses(air, wave_numbers, len(below))).max() < TOLERANCE


def test_zeros_as_printed() -> None:
    for (m, n), printed in ZEROS.items():
        # scipy counts the zero at 0 of J0' as none, like the table's second row on.
        assert jnp_zeros(m, n)[-1] == pytest.approx(printed, abs=6e-6)


def test_cylinder() -> None:
    radius, depth = 0.2, 0.1
    in_plan = [0.0] + [zero / radius for (m, _), zero in ZEROS.items() for _ in range(1 if m == 0 else 2)]
    wave_numbers = [np.hypot(k, n * np.pi / depth) for k in in_plan for n in range(2)]
    wave_numbers = sorted(k for k in wave_numbers if 0 < k < 5.34 / radius)
    air = build_air(*drum(radius, depth))
    assert np.abs(misses(air, wave_numbers, len(wave_numbers))).max() < TOLERANCE
