"""Pairs that the maker sets himself: they count, and change nothing else."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.fem.match import pair
from bracedtop.fem.pairing_by_hand import by_hand
from bracedtop.fem.taps import Measured
from bracedtop.geometry.errors import DesignError

PREDICTED = np.array([100.0, 150.0, 210.0, 214.0, 300.0])
LINES = [(0, 0)] * 5


def heard(*hz):
    return tuple(Measured(k, value, None, None, None) for k, value in enumerate(hz, start=1))


MEASURED = heard(102.0, 152.0, 215.0)
FOUND = pair(PREDICTED, LINES, MEASURED)


def by_tap(pairing):
    return {one.number: one.mode for one in pairing.pairs}


def test_nothing_chosen_changes_nothing():
    assert by_hand(FOUND, {}, PREDICTED, MEASURED) == FOUND


def test_a_choice_moves_one_tap_and_frees_the_mode_it_had():
    now = by_hand(FOUND, {2: 5}, PREDICTED, MEASURED)
    assert by_tap(now) == {**by_tap(FOUND), 2: 5}
    (one,) = (p for p in now.pairs if p.number == 2)
    assert (one.predicted_hz, one.measured_hz, one.difference_hz) == (300.0, 152.0, -148.0)
    # An interval in cents is 1200 log2 of the ratio of frequencies.
    assert one.difference_cents == pytest.approx(1200 * np.log2(152 / 300))
    assert 2 in now.unpaired_predicted
    assert 5 not in now.unpaired_predicted


def test_a_mode_taken_leaves_its_former_tap_alone():
    now = by_hand(FOUND, {1: 2}, PREDICTED, MEASURED)
    assert by_tap(now)[1] == 2
    assert 2 not in by_tap(now)
    assert now.unpaired_measured == (2,)


def test_accepting_settles_a_close_call():
    (doubtful,) = (p for p in FOUND.pairs if p.number == 3)
    assert doubtful.ambiguous_with
    now = by_hand(FOUND, {3: doubtful.mode}, PREDICTED, MEASURED)
    assert by_tap(now) == by_tap(FOUND)
    assert all(not p.ambiguous_with for p in now.pairs if p.number == 3)


def test_none_means_no_mode():
    now = by_hand(FOUND, {3: 0}, PREDICTED, MEASURED)
    assert 3 in now.unpaired_measured
    assert {p.number for p in now.pairs} == {1, 2}


@pytest.mark.parametrize("chosen", [{9: 1}, {1: 6}, {1: -1}, {1: 2, 2: 2}])
def test_what_cannot_be_is_refused(chosen):
    with pytest.raises(DesignError):
        by_hand(FOUND, chosen, PREDICTED, MEASURED)


@given(st.dictionaries(st.integers(1, 3), st.integers(0, 5)))
def test_every_choice_counts_and_all_modes_and_taps_are_accounted_for(chosen):
    modes = [mode for mode in chosen.values() if mode]
    if len(set(modes)) < len(modes):
        return
    now = by_hand(FOUND, chosen, PREDICTED, MEASURED)
    found = by_tap(now)
    assert all(found.get(tap, 0) == mode for tap, mode in chosen.items())
    assert sorted([*found, *now.unpaired_measured]) == [1, 2, 3]
    assert sorted([*found.values(), *now.unpaired_predicted]) == [1, 2, 3, 4, 5]
