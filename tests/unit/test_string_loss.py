"""Partials and losses of strings against closed forms and handbook values.

Steel wire of 0.305 mm has 0.574 g/m (7850 kg/m^3, by hand). B = pi^2 E I / (T L^2) of a hinged string: H. Fletcher,
"Normal vibration frequencies of a stiff piano string", J. Acoust. Soc. Am. 36 (1964) 203-209 (from memory).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.fem.string_loss import (
    STEEL_BENDING_LOSS,
    STEEL_FRICTION,
    LossyString,
    air_rate,
    loss_factor,
    nylon_string,
    partial_frequencies,
    set_material,
    steel_string,
    string_rate,
)
from bracedtop.geometry.errors import DesignError


def test_flexible_string_is_harmonic() -> None:
    string = LossyString("a", 80.0, 2e-3, 0.0, 1e-3, 0.0)
    f = partial_frequencies(string, 0.65, np.arange(1, 6))
    assert f == pytest.approx(np.arange(1, 6) * np.sqrt(80 / 2e-3) / 1.3)
    assert loss_factor(string, 0.65, np.arange(1, 6)) == pytest.approx(1e-3)
    assert string_rate(string, 0.65, 2) == pytest.approx(np.pi * f[1] * 1e-3)


def test_inharmonicity_of_plain_steel() -> None:
    string = steel_string("E4", 70.0, 0.574e-3)
    assert string.diameter == pytest.approx(0.305e-3, rel=2e-3)
    EI = 200e9 * np.pi * (0.305e-3 / 2) ** 4 / 4
    B = np.pi**2 * EI / (70.0 * 0.648**2)
    n = np.array([1, 5, 10, 20])
    assert partial_frequencies(string, 0.648, n) / n == pytest.approx(
        np.sqrt(70.0 / 0.574e-3) / (2 * 0.648) * np.sqrt(1 + B * n**2), rel=1e-5
    )


@pytest.mark.parametrize("mass", [0.5e-3, 1.2e-3, 2.2e-3, 10.5e-3])
def test_losses_of_steel_add_up(mass: float) -> None:
    """1 / Q = R / (omega m) + 1 / Q_te + 4 pi^2 m E I delta_ve f^2 / T^2 for a small EI (Valette and Cuesta)."""
    string = steel_string("s", 120.0, mass)
    n = np.arange(1, 4)
    f = partial_frequencies(string, 0.63, n)
    drag = 2 * np.pi * (1.8e-5 + string.diameter * np.sqrt(np.pi * 1.8e-5 * 1.2 * f))
    bending = 4 * np.pi**2 * mass * string.bending_stiffness * STEEL_BENDING_LOSS * f**2 / 120.0**2
    assert loss_factor(string, 0.63, n) == pytest.approx(
        drag / (2 * np.pi * f * mass) + STEEL_FRICTION + bending, rel=0.01
    )


def test_drag_is_the_cylinders() -> None:
    """0.3 mm at 330 Hz: exact Stokes drag of an oscillating cylinder with Bessel functions, within 15 %.

    G. G. Stokes 1851; L. Rosenhead (ed.), Laminar Boundary Layers, 1963, section VII.8 (from memory).
    """
    from scipy.special import kv

    omega, a, nu = 2 * np.pi * 330, 0.15e-3, 1.8e-5 / 1.2
    z = np.sqrt(1j * omega / nu) * a
    force = 1j * omega * 1.2 * np.pi * a**2 * (1 + 4 * kv(1, z) / (z * kv(0, z)))
    string = LossyString("s", 100.0, 0.55e-3, 0.0, 0.0, 0.0, diameter=0.3e-3)
    # A rate of amplitude is half the resistance over the mass; eta_A is twice that.
    assert air_rate(string, omega) * 0.55e-3 == pytest.approx(force.real, rel=0.15)


def test_core_and_outer_diameter() -> None:
    string = steel_string("E2", 110.0, 10.5e-3, core=0.48e-3)
    assert 1.25e-3 < string.diameter < 1.45e-3
    assert string.bending_stiffness == pytest.approx(200e9 * np.pi * 0.48e-3**4 / 64)
    assert steel_string("E2", 110.0, 10.5e-3, diameter=1.3e-3).diameter == 1.3e-3
    assert steel_string("E2", 110.0, 10.5e-3, bending_stiffness=2e-4).bending_stiffness == 2e-4


@settings(max_examples=30, deadline=None)
@given(st.floats(20, 300), st.floats(0.3e-3, 12e-3), st.floats(0.2, 1.2), st.sampled_from(["steel", "nylon"]))
def test_any_string(tension: float, mass: float, length: float, material: str) -> None:
    make = steel_string if material == "steel" else nylon_string
    n = np.arange(1, 11)
    f, eta = partial_frequencies(make("s", tension, mass), length, n), loss_factor(make("s", tension, mass), length, n)
    assert (np.diff(f) > 0).all()
    assert (f / n >= f[0] * (1 - 1e-12)).all()
    assert ((eta > 0) & (eta < 0.2)).all()


def test_material_of_a_set() -> None:
    assert set_material([70.3, 53.4, 58.3, 71.2, 73.9, 71.6]) == "nylon"
    assert set_material([114, 134, 139, 138, 109, 108]) == "steel"


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: LossyString("x", 0.0, 1e-3, 0, 0, 0), "tension 0; must be > 0"),
        (lambda: LossyString("x", 1.0, float("nan"), 0, 0, 0), "mass per length nan; must be > 0"),
        (lambda: LossyString("x", 1.0, 1e-3, 0, -1, 0), "friction -1; must not be negative"),
        (lambda: steel_string("x", 1.0, 0.0), "mass per length 0; must be > 0"),
        (lambda: nylon_string("x", 1.0, -1.0), "mass per length -1; must be > 0"),
    ],
)
def test_bad_strings(make, words) -> None:
    with pytest.raises(DesignError, match=words):
        make()
