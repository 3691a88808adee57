"""Simply supported orthotropic rectangle: exact.

Thin plate: omega_mn = pi^2 / sqrt(rho h) sqrt(D11 (m/a)^4 + 2 (D12 + 2 D66) (m n / a b)^2 + D22 (n/b)^4), e.g.
S. G. Lekhnitskii, Anisotropic Plates (1968), chapter 18; A. W. Leissa, NASA SP-160 (1969), eq. 9.3 (number recalled).
Case: h 3 mm, a 0.5 m along the grain, b 0.4 m, Sitka spruce of the USDA Wood Handbook (FPL-GTR-282, 2021, Tables 5-1,
5-2, 5-3a): six values recomputed from the formula, 34.929 to 188.689 Hz.

Shear-deformable plate with the same shear factor 5/6: Navier's series solves it exactly too (J. N. Reddy, Mechanics of
Laminated Composite Plates and Shells, 2nd ed. (2004), section 6.2 and 7.2); recomputed below, three unknowns a term.

The two theories differ by 0.66 % in the fourth mode of this case (two half waves along the grain, where E_L is 16
times G_LT), so the gate of 0.5 % for thin-plate values is applied to a plate a fifth as thick, whose thin-plate
frequencies are a fifth, and the 3 mm plate is held to 0.02 % of the shear-deformable series (discretisation only).
"""

import numpy as np
import pytest
from reference.plates import bending_stiffness, frequencies, misses, plate, rectangle

from bracedtop.fem.wood import Wood
from bracedtop.geometry.outline import polygon_outline

E_L = 10.89e9
SITKA = Wood("Sitka", E_L, 0.078 * E_L, 0.043 * E_L, 0.064 * E_L, 0.061 * E_L, 0.003 * E_L, 0.372, 0.467, 0.435, 448.0)
H, A, B = 3e-3, 0.5, 0.4
PRINTED = (34.929, 66.030, 114.871, 123.025, 139.714, 188.689)
TERMS = [(m, n) for m in range(1, 8) for n in range(1, 8)]


def thin(h: float) -> np.ndarray:
    D = bending_stiffness(SITKA, h)
    values = [
        D[0, 0] * (m / A) ** 4 + 2 * (D[0, 1] + 2 * D[2, 2]) * (m * n / (A * B)) ** 2 + D[1, 1] * (n / B) ** 4
        for m, n in TERMS
    ]
    return np.sort(np.pi**2 * np.sqrt(np.array(values) / (SITKA.density * h)) / (2 * np.pi))


def shear_deformable(h: float) -> np.ndarray:
    D = bending_stiffness(SITKA, h)
    S = 5 / 6 * h * np.array([SITKA.G_LT, SITKA.G_RT])
    mass = np.diag([SITKA.density * h, SITKA.density * h**3 / 12, SITKA.density * h**3 / 12])
    lowest = []
    for m, n in TERMS:
        p, q = m * np.pi / A, n * np.pi / B
        coupling = (D[0, 1] + D[2, 2]) * p * q
        K = np.array(
            [
                [S[0] * p**2 + S[1] * q**2, S[0] * p, S[1] * q],
                [S[0] * p, D[0, 0] * p**2 + D[2, 2] * q**2 + S[0], coupling],
                [S[1] * q, coupling, D[2, 2] * p**2 + D[1, 1] * q**2 + S[1]],
            ]
        )
        lowest.append(np.linalg.eigvals(np.linalg.solve(mass, K)).real.min())
    return np.sort(np.sqrt(lowest) / (2 * np.pi))


def test_formula_gives_the_printed_values() -> None:
    np.testing.assert_allclose(thin(H)[:6], PRINTED, rtol=2e-5)


def test_against_the_thin_plate() -> None:
    found = 5 * frequencies(plate(rectangle(A, B), H / 5, "hinged"), SITKA, 6, size=0.03)
    assert not misses(found, np.array(PRINTED), 0.005)


@pytest.mark.parametrize("h", [3e-3, 12e-3])
def test_against_the_same_theory(h: float) -> None:
    found = frequencies(plate(rectangle(A, B), h, "hinged"), SITKA, 10, size=0.025)
    assert not misses(found, shear_deformable(h)[:10], 2e-4)


@pytest.mark.parametrize("angle", [90.0, 37.0])
def test_grain_turned_with_the_plate(angle: float) -> None:
    t = np.deg2rad(angle)
    turn = np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    outline = polygon_outline(rectangle(A, B).points @ turn)
    found = frequencies(plate(outline, H, "hinged", t), SITKA, 6, size=0.03)
    assert not misses(found, shear_deformable(H)[:6], 5e-4)
