"""Free bars against ASTM E1876 and against the exact solution of Timoshenko's equations.

ASTM E1876-15, Standard test method for dynamic Young's modulus, shear modulus and Poisson's ratio by impulse excitation
of vibration: eq. 1 and 2 (bending of a rectangular bar, T1 after Spinner, Reichard and Tefft 1960), eq. 12 and 13
(torsion). Equations written from memory; the constant 0.9465 follows from beta L = 4.73004.
"""

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import brentq

from bracedtop.fem.board_start import bar_modulus
from bracedtop.fem.free_bar import BarMode, bending_frequencies, stick_frequency

# A steel bar: Young's modulus 205 GPa, Poisson's ratio 0.29, 7850 kg/m^3 (common values, no source).
E, NU, DENSITY = 205e9, 0.29, 7850.0
G = E / (2 * (1 + NU))
LENGTH, WIDTH = 0.150, 0.020


def young_e1876(hz, t):
    r = t / LENGTH
    t1 = 1 + 6.585 * (1 + 0.0752 * NU + 0.8109 * NU**2) * r**2 - 0.868 * r**4
    t1 -= 8.340 * (1 + 0.2023 * NU + 2.173 * NU**2) * r**4 / (1 + 6.338 * (1 + 0.1408 * NU + 1.536 * NU**2) * r**2)
    mass = DENSITY * LENGTH * WIDTH * t
    return 0.9465 * mass * hz**2 / WIDTH * (LENGTH / t) ** 3 * t1


def isotropic_bar(t, mode):
    values = np.array([E, G, G, LENGTH, WIDTH, t, DENSITY * LENGTH * WIDTH * t])
    return stick_frequency(values, mode)


# The standard's T1 and Timoshenko's beam with a shear factor of 5/6 differ in the second decimal of the correction.
@pytest.mark.parametrize(("t", "allowed"), [(7.5e-3, 3e-4), (10e-3, 6e-4), (15e-3, 1.2e-3)])
def test_youngs_modulus_of_a_steel_bar(t, allowed):
    assert young_e1876(isotropic_bar(t, BarMode("height", 2)), t) == pytest.approx(E, rel=allowed)


def test_thin_formula_is_the_standards_with_t1_of_one():
    t = 0.5e-3
    hz = isotropic_bar(t, BarMode("height", 2))
    assert bar_modulus(hz, 2, LENGTH, t, DENSITY) == pytest.approx(E, rel=2e-4)
    constant = bar_modulus(1.0, 2, 1.0, 1.0, 1.0)
    # 48 pi^2 / 4.730041^4 = 0.94641; the standard rounds up.
    assert constant == pytest.approx(0.9465, abs=1e-4)


def test_shear_modulus_of_a_steel_bar():
    # Eq. 13 without its correction A, which is below 1 % here; the series for B is good to 0.2 %.
    t = 10e-3
    b_t = WIDTH / t
    B = (b_t + 1 / b_t) / (4 / b_t - 2.52 / b_t**2 + 0.21 / b_t**6)
    mass = DENSITY * LENGTH * WIDTH * t
    hz = isotropic_bar(t, BarMode("twist", 1))
    assert 4 * LENGTH * mass * hz**2 / (WIDTH * t) * B == pytest.approx(G, rel=2e-3)


@pytest.mark.parametrize(("ratio", "slenderness"), [(2.6, 20), (15.0, 20), (15.0, 8)])
def test_bending_against_the_exact_solution(ratio, slenderness):
    # Free ends: no moment, no shear force. The state (w, psi, M, Q) is carried along the bar by a matrix exponential.
    length, h = 0.5, 0.5 / slenderness
    EI, GA = 12e9 * h**3 / 12, 5 / 6 * 12e9 / ratio * h
    mass, turn = 400.0 * h, 400.0 * h**3 / 12

    def carried(hz):
        w2 = (2 * np.pi * hz) ** 2
        A = np.array([[0, -1, 0, 1 / GA], [0, 0, 1 / EI, 0], [0, -turn * w2, 0, 1], [-mass * w2, 0, 0, 0]])
        return np.linalg.det(expm(A * length)[2:, :2])

    found = bending_frequencies(length, EI, GA, mass, turn, 5)
    for hz in found:
        assert brentq(carried, 0.98 * hz, 1.02 * hz, xtol=1e-9) == pytest.approx(hz, rel=1e-7)
