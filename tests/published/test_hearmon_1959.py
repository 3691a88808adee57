"""Clamped orthotropic rectangle.

R. F. S. Hearmon, The frequency of flexural vibration of rectangular orthotropic plates with clamped or supported edges,
J. Appl. Mech. 26 (1959) 537-540: one term of beam functions (recalled from memory),
omega_11^2 rho h = 500.56 D11/a^4 + 302.71 (D12 + 2 D66)/(a b)^2 + 500.56 D22/b^4, an upper bound of the thin plate;
the coefficients are 4.73004^4 and 2 x 12.3026^2 of the clamped beam's first mode.
Converged thin-plate values recomputed with a polynomial Ritz code of two basis sizes, and below with Argyris' triangle.

The case's 3 mm plate is shear-deformable in reality, which lowers its higher clamped modes; the gate of 0.5 % is
for the thin plate, so it is applied to a plate a fifth as thick, whose frequencies scale with the thickness.
"""

import numpy as np
from reference.plates import bending_stiffness, frequencies, misses, plate, rectangle
from reference.thin import thin_rectangle

from bracedtop.fem.wood import Wood

TOLERANCE = 0.005
E_L = 10.89e9
SITKA = Wood("Sitka", E_L, 0.078 * E_L, 0.043 * E_L, 0.064 * E_L, 0.061 * E_L, 0.003 * E_L, 0.372, 0.467, 0.435, 448.0)
H, A, B = 3e-3, 0.5, 0.4
CONVERGED = np.array([70.631, 105.672, 169.812, 176.302, 203.310, 255.914])
SIDES = dict.fromkeys(("left", "right", "bottom", "top"), "clamped")


def hearmon(h: float) -> float:
    D = bending_stiffness(SITKA, h)
    square = 500.56 * D[0, 0] / A**4 + 302.71 * (D[0, 1] + 2 * D[2, 2]) / (A * B) ** 2 + 500.56 * D[1, 1] / B**4
    return float(np.sqrt(square / (SITKA.density * h)) / (2 * np.pi))


def test_converged_values_by_argyris() -> None:
    found = thin_rectangle(A, B, bending_stiffness(SITKA, H), SITKA.density * H, SIDES, 6, cells=10)
    np.testing.assert_allclose(found, CONVERGED, rtol=5e-4)


def test_thin_plate() -> None:
    found = 5 * frequencies(plate(rectangle(A, B), H / 5, "clamped"), SITKA, 6, size=0.028)
    assert not misses(found, CONVERGED, TOLERANCE)


def test_one_term_is_an_upper_bound_within_one_per_cent() -> None:
    found = frequencies(plate(rectangle(A, B), H, "clamped"), SITKA, 1, size=0.03)[0]
    assert found < hearmon(H) < 1.01 * found
