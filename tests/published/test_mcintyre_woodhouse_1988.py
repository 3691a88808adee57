"""Closed formulas for free wooden plates, and where they are too low.

M. E. McIntyre, J. Woodhouse, On measuring the elastic and damping constants of orthotropic sheet materials, Acta
Metallurgica 36 (1988) 1397-1416; coefficients 0.0789 and 0.274 from memory, and re-derived here.
"""

import numpy as np
import pytest

from bracedtop.fem.board_start import bar_modulus, twist_modulus
from bracedtop.fem.free_plate import PlateMode, free_plate
from bracedtop.fem.wood_table import handbook_wood

LONG, CROSS, TWIST = PlateMode(2, 0), PlateMode(0, 2), PlateMode(1, 1)


def test_coefficients():
    # D1 = E_L / 12 (1 - nu nu'), taken there from the (2, 0) mode; D4 = G / 3.
    assert bar_modulus(1.0, 2, 1.0, 1.0, 1.0) / 12 == pytest.approx(0.0789, abs=5e-5)
    assert twist_modulus(1.0, 1.0, 1.0, 1.0, 1.0) / 3 == pytest.approx(0.274, abs=5e-4)


@pytest.fixture(scope="module")
def found():
    wood = handbook_wood("spruce_sitka")
    a, b, h = 0.56, 0.215, 3e-3
    values = [wood.E_L, wood.E_R, wood.G_LR, wood.nu_LR, wood.G_LT, wood.G_RT, a, b, h, wood.density * a * b * h]
    hz = free_plate(a, 2 * b, 0.03).response(values, [LONG, CROSS, TWIST]).hz
    return wood, hz, (a, b, h, wood.density)


def test_bending_modes_give_the_moduli_of_bars(found):
    wood, hz, (a, b, h, density) = found
    assert bar_modulus(hz[0], 2, a, h, density) == pytest.approx(wood.E_L, rel=0.01)
    assert bar_modulus(hz[1], 2, b, h, density) == pytest.approx(wood.E_R, rel=0.03)


def test_twist_formula_is_too_low_by_about_nine_per_cent(found):
    wood, hz, size = found
    low = twist_modulus(hz[2], *size) / wood.G_LR
    assert low == pytest.approx(0.91, abs=0.03)
    # Rayleigh's bound: the shape w = x y cannot ring lower than the true one.
    assert low < 1


def test_twist_formula_is_exact_where_the_plate_cannot_bend():
    # With moduli so high that only twisting is soft, w = x y is the mode, apart from shear through the thickness.
    a, b, h, density, G = 0.5, 0.3, 2e-3, 400.0, 0.5e9
    stiff = [1e12, 1e12, G, 0.3, 1e11, 1e11, a, b, h, density * a * b * h]
    hz = free_plate(a, b, 0.06).response(stiff, [TWIST]).hz
    assert twist_modulus(hz[0], a, b, h, density) == pytest.approx(G, rel=1e-3)
    assert np.isfinite(hz).all()
