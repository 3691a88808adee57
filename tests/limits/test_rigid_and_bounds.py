"""Rigid motions of a free top, and bounds that hold for any elastic body (Rayleigh's principle).

Lord Rayleigh, The Theory of Sound, 2nd ed. (1894), vol. 1, art. 88 to 92: stiffness added without mass lowers no
frequency, mass added without stiffness raises none, and a constraint lowers none.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.plates import TRIAL_WOOD, WOOD, frequencies, trial_top

from bracedtop.fem.model import build_model, solve
from bracedtop.geometry.design import Edge

SIZE = 0.035
N_MODES = 8


@pytest.mark.parametrize("n_braces", [0, 1, 2])
def test_free_top_has_six_rigid_motions(n_braces: int) -> None:
    top = replace(trial_top(n_braces), edge=Edge("free"))
    modes = solve(build_model(top, {WOOD: TRIAL_WOOD}, size=SIZE), 4)
    # Three in the plane, three out of it.
    assert modes.n_rigid == 6
    assert modes.frequencies[0] > 20.0


def test_held_top_has_none() -> None:
    for kind in ("clamped", "hinged"):
        top = replace(trial_top(1), edge=Edge(kind))
        assert solve(build_model(top, {WOOD: TRIAL_WOOD}, size=SIZE), 2).n_rigid == 0


@settings(max_examples=6, deadline=None, derandomize=True)
@given(
    st.sampled_from(["E_L", "E_R", "G_LR", "G_LT", "G_RT"]),
    st.floats(1.05, 1.5),
    st.sampled_from(["free", "clamped", "hinged"]),
)
def test_stiffness_without_mass_lowers_nothing(constant: str, factor: float, kind: str) -> None:
    top = replace(trial_top(2), edge=Edge(kind))  # type: ignore[arg-type]
    # Raising a modulus alone keeps the others; with Poisson's ratio scaled the compliance only shrinks.
    before = TRIAL_WOOD
    after = replace(before, **{constant: factor * getattr(before, constant)})
    if constant == "E_L":
        after = replace(after, nu_LR=before.nu_LR * factor, nu_LT=before.nu_LT * factor)
    if constant == "E_R":
        after = replace(after, nu_RT=before.nu_RT * factor)
    low, high = (frequencies(top, wood, N_MODES, size=SIZE) for wood in (before, after))
    assert (high >= low * (1 - 1e-9)).all()
    assert high.sum() > low.sum()


def test_mass_without_stiffness_raises_nothing() -> None:
    top = trial_top(2)
    light = frequencies(top, TRIAL_WOOD, N_MODES, size=SIZE)
    heavy = frequencies(top, replace(TRIAL_WOOD, density=1.21 * TRIAL_WOOD.density), N_MODES, size=SIZE)
    np.testing.assert_allclose(heavy, light / 1.1, rtol=1e-8)


def test_edges_in_order_of_their_hold() -> None:
    found = {}
    for kind in ("clamped", "hinged"):
        found[kind] = frequencies(replace(trial_top(2), edge=Edge(kind)), TRIAL_WOOD, N_MODES, size=SIZE)
    weak = Edge("springs", deflection=2e5, rotation=50.0, inplane=1e7)
    found["weak"] = frequencies(replace(trial_top(2), edge=weak), TRIAL_WOOD, N_MODES, size=SIZE)
    assert (found["clamped"] >= found["hinged"] * (1 - 1e-9)).all()
    assert (found["clamped"] > found["weak"]).all()


def test_stiff_springs_are_a_clamp() -> None:
    stiff = Edge("springs", deflection=1e12, rotation=1e8, inplane=1e13)
    np.testing.assert_allclose(
        frequencies(replace(trial_top(1), edge=stiff), TRIAL_WOOD, N_MODES, size=SIZE),
        frequencies(trial_top(1), TRIAL_WOOD, N_MODES, size=SIZE),
        rtol=1e-3,
    )
