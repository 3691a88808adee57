"""The closed box as two or three oscillators."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.fem.lumped import (
    Lumped,
    Piston,
    air_spring,
    closed_box,
    coupled,
    in_vacuo,
    moving_mass,
    split,
    split_of_taps,
    trio_of_taps,
)
from bracedtop.geometry.errors import DesignError

VOLUME, BULK = 14e-3, 1.2 * 343.5**2

masses = st.floats(0.03, 0.4)
areas = st.floats(0.02, 0.09)
stiff = st.floats(3e4, 6e5)
plates = st.builds(Piston, masses, areas, stiff)
holes = st.builds(Piston, st.floats(3e-4, 3e-3), st.floats(3e-3, 9e-3))


@given(plates, plates, holes)
def test_sums_and_products_of_three(top: Piston, back: Piston, hole: Piston) -> None:
    """The sum of squares is that of what each has on the closed box, the product that of the plates in vacuo and the
    hole."""
    f = coupled(Lumped(VOLUME, BULK, top, hole, back)).frequencies
    alone = [closed_box(piston, VOLUME, BULK) for piston in (top, back, hole)]
    assert (f**2).sum() == pytest.approx(np.square(alone).sum(), rel=1e-9)
    assert f.prod() == pytest.approx(in_vacuo(top) * in_vacuo(back) * air_spring(hole, VOLUME, BULK), rel=1e-7)


@given(plates, plates, holes)
def test_blocked_notes_interlace(top: Piston, back: Piston, hole: Piston) -> None:
    """Blocking the hole takes a motion away."""
    opened = coupled(Lumped(VOLUME, BULK, top, hole, back)).frequencies
    blocked = coupled(Lumped(VOLUME, BULK, top, None, back)).frequencies
    slack = 1e-9 * opened[2]
    assert opened[0] <= blocked[0] + slack <= opened[1] + 2 * slack <= blocked[1] + 3 * slack <= opened[2] + 4 * slack


def test_three_there_and_back() -> None:
    top, back, hole = Piston(0.11, 0.06, 1.4e5), Piston(0.19, 0.05, 3.9e5), Piston(8e-4, 6e-3)
    opened = coupled(Lumped(VOLUME, BULK, top, hole, back)).frequencies
    blocked = coupled(Lumped(VOLUME, BULK, top, None, back)).frequencies
    trio = trio_of_taps(tuple(opened), tuple(blocked))
    assert trio.top == pytest.approx((in_vacuo(top), air_spring(top, VOLUME, BULK)), rel=1e-9)
    assert trio.back == pytest.approx((in_vacuo(back), air_spring(back, VOLUME, BULK)), rel=1e-9)
    assert trio.hole == pytest.approx(air_spring(hole, VOLUME, BULK), rel=1e-9)
    turned = trio_of_taps(tuple(opened), tuple(blocked), back_is_lower=True)
    assert turned.back == pytest.approx(trio.top, rel=1e-9)


@given(plates, holes)
def test_blocked_top_tells_the_hole(top: Piston, hole: Piston) -> None:
    seen = split(Lumped(VOLUME, BULK, top, hole))
    told = split_of_taps(seen.low, seen.high, closed=seen.closed)
    assert told.hole == pytest.approx(seen.hole, rel=1e-6)
    assert told.in_vacuo == pytest.approx(seen.in_vacuo, rel=1e-6)
    assert told.air == pytest.approx(seen.air, rel=1e-4)


def test_the_air_moves_in_phase_below_and_out_of_phase_above() -> None:
    """Below the hole's resonance air goes out where the top goes in."""
    low, high = coupled(Lumped(VOLUME, BULK, Piston(0.11, 0.06, 1.4e5), Piston(8e-4, 6e-3))).motions
    assert low[0] * low[1] < 0
    assert high[0] * high[1] > 0


def test_equal_frequencies_split_by_the_spring() -> None:
    """Where top and hole agree, f_+^2 - f_-^2 = 2 f_a f_h and each has half of both."""
    top = Piston(0.11, 0.06, 1.4e5)
    f = closed_box(top, VOLUME, BULK)
    hole = Piston(BULK / VOLUME * (6e-3 / (2 * np.pi * f)) ** 2, 6e-3)
    found = coupled(Lumped(VOLUME, BULK, top, hole))
    assert found.shares == pytest.approx(0.5 * np.ones((2, 2)), abs=1e-9)
    low, high = found.frequencies
    assert high**2 - low**2 == pytest.approx(2 * air_spring(top, VOLUME, BULK) * f, rel=1e-9)


def test_added_mass_tells_the_moving_mass() -> None:
    assert moving_mass(200.0, 200.0 / np.sqrt(1.1), 0.01) == pytest.approx(0.1, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: split_of_taps(100, 200, hole=250), "between them"),
        (lambda: split_of_taps(100, 200), "exactly one"),
        (lambda: split(Lumped(VOLUME, BULK, Piston(0.1, 0.05, 1e5))), "no hole"),
        (lambda: trio_of_taps((100, 200, 250), (210, 240)), "between the open ones"),
        (lambda: moving_mass(200, 210, 0.01), "lower"),
        (lambda: Piston(0.1, -1.0), "must be > 0"),
        (lambda: Lumped(0.0, BULK, Piston(0.1, 0.05)), "must be > 0"),
    ],
)
def test_impossible_figures_are_refused(call, words) -> None:
    with pytest.raises(DesignError, match=words):
        call()
