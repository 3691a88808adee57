"""Heights that stand for a cut: exact where they can be, the same wood in the same place where not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.fem.cut_shift import cut_shift
from bracedtop.fem.parameter import Parameter
from bracedtop.geometry.cut import EDGE_RING, Cut
from bracedtop.geometry.errors import DesignError

PLACES = (0.0, 0.04, 0.08, 0.12, 0.16)
HEIGHTS = tuple(Parameter("height", "bar", at, 8e-3, 3e-3, 9e-3) for at in PLACES)
RING = Parameter("ring", "", 0.0, 2.2e-3, 1.1e-3, 2.8e-3)
THICKNESS = Parameter("thickness", "", 0.0, 1.0, 0.7, 1.15)
EVERY = (*HEIGHTS, RING, THICKNESS)
DRAWN = np.array([p.drawn for p in EVERY])


def moments(fall, cut):
    """Wood taken and its first moment by the heights and by the cut, m^2 and m^3."""
    s = np.linspace(0, PLACES[-1], 20001)
    ds = s[1] - s[0]
    by_heights, by_cut = np.interp(s, PLACES, fall[:5]), cut.depth(s)
    return [(float((p * x).sum() * ds), float((q * x).sum() * ds)) for x in (1.0, s) for p, q in [(by_heights, by_cut)]]


def test_a_cut_from_end_to_end_is_exact():
    shift = cut_shift(EVERY, DRAWN, Cut("bar", 0.0, 0.16, 1e-3, 0.2e-3))
    np.testing.assert_allclose(shift.fall[:5], np.linspace(1e-3, 0.2e-3, 5), atol=1e-9)
    np.testing.assert_allclose(shift.fall[5:], 0.0)
    np.testing.assert_allclose(np.diag(shift.spread)[:5], 1.0)
    assert shift.notes == ()


@given(st.floats(0.0, 0.1), st.floats(0.02, 0.06), st.floats(0.1e-3, 1e-3), st.floats(0.0, 1e-3))
def test_wood_and_its_place_are_kept(start, length, depth, other):
    cut = Cut("bar", start, start + length, depth, other)
    shift = cut_shift(EVERY, DRAWN, cut)
    for found, expected in moments(shift.fall, cut):
        assert found == pytest.approx(expected, rel=2e-3)


def test_the_error_is_that_of_a_plane():
    spread = cut_shift(EVERY, DRAWN, Cut("bar", 0.0, 0.16, 1e-3, 1e-3)).spread
    # Two places 40 mm apart on one cut belong together, exp(-40 / 60); parts that were not cut have no error.
    assert spread[1, 2] == pytest.approx(np.exp(-40 / 60))
    assert (spread[5:] == 0).all()
    half = cut_shift(EVERY, DRAWN, Cut("bar", 0.08, 0.16, 1e-3, 1e-3)).spread
    assert half[0, 0] < 0.05
    assert np.linalg.eigvalsh(half).min() > -1e-12


def test_the_ring_falls_by_its_own_wood():
    values = DRAWN.copy()
    values[6] = 0.9
    shift = cut_shift(EVERY, values, Cut(EDGE_RING, 0.0, 0.0, 0.18e-3, 0.18e-3))
    # The ring's wood is the factor on thickness times the parameter.
    assert shift.fall[5] == pytest.approx(0.2e-3)
    assert (shift.fall[:5] == 0).all()


def test_a_scratch_is_said_to_be_spread():
    (note,) = cut_shift(EVERY, DRAWN, Cut("bar", 0.055, 0.065, 1e-3, 1e-3)).notes
    assert note.startswith("cut of bar from 55 to 65 mm: shorter than the what-if model tells apart")


def test_unknown_parts_are_refused():
    with pytest.raises(DesignError, match='cut of "bra": no such brace in the what-if model; braces: bar'):
        cut_shift(EVERY, DRAWN, Cut("bra", 0.0, 0.1, 1e-3, 1e-3))
    with pytest.raises(DesignError, match="no edge ring"):
        cut_shift(HEIGHTS, DRAWN[:5], Cut(EDGE_RING, 0.0, 0.0, 1e-4, 1e-4))
