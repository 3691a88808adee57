"""From measured modes of several sessions to a calibrated top: pairing, what is doubtful, cuts between."""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import WOOD
from reference.tapped_top import drawn_at_random, small_top, tapped, true_hz

from bracedtop.fem.calibrated_case import (
    UNSTATED,
    after_measured,
    after_session,
    case_boards,
    cut_error,
    paired,
    standard_errors,
    tapped_sessions,
)
from bracedtop.fem.calibration import MEASURED_CUT, UNMEASURED_CUT, CutMade, Heard, start
from bracedtop.fem.case import Case, read_case
from bracedtop.fem.session import Session
from bracedtop.fem.taps import Measured, Taps
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.errors import FileError

DRAWING = """
[outline]
points_mm = [[0, 0], [400, 0], [400, 300], [0, 300]]
[top]
wood = "spruce_sitka"
thickness_mm = 2.8
[edge]
kind = "clamped"
"""


@pytest.fixture(name="top", scope="module")
def top_case():
    reduced, prior = small_top()
    return reduced, start(reduced, prior)


def modes(pairs):
    return tuple(Measured(k, hz, None, None, None) for k, (_, hz) in enumerate(pairs, start=1))


def heard(pairs):
    return Taps(modes(sorted(pairs, key=lambda pair: pair[1])), (), (), ())


def test_tops_of_other_wood_are_paired_mode_by_mode(top):
    reduced, before = top
    rng = np.random.default_rng(11)
    right = 0
    for _ in range(6):
        hz = true_hz(reduced, *drawn_at_random(before, rng))
        found = paired(reduced, before, heard(tapped(hz, rng)).measured)
        right += sum(abs(np.log(p.measured_hz / hz[p.mode - 1])) < 0.01 for p in found.pairs)
    # Modes 5 and 6 lie so close that their order is in doubt.
    assert right >= 6 * 6 - 4


def test_one_mode_that_was_not_tapped_is_no_harm(top):
    reduced, before = top
    rng = np.random.default_rng(12)
    hz = true_hz(reduced, *drawn_at_random(before, rng))
    pairs = tapped(hz, rng)
    after, found = after_measured(reduced, before, heard(pairs[:1] + pairs[2:]).measured)
    assert found.unpaired_predicted == (2,)
    (step,) = after.history
    assert isinstance(step, Heard)
    assert step.modes == tuple(p.mode - 1 for p in found.pairs)


def test_a_session_is_its_cut_and_then_its_taps(top, tmp_path):
    reduced, before = top
    (tmp_path / "cut.csv").write_text("brace,from_mm,to_mm,depth_from_mm,depth_to_mm\nx1,0,260,1,1\n")
    cuts = (Cut("x1", 0.0, 0.26, 1e-3, 1e-3),)
    hz = before.reference.frequencies
    taps = heard(list(enumerate(hz.tolist())))
    after, pairing = after_session(reduced, before, Session(1, tmp_path, cuts, taps))
    assert [type(step) for step in after.history] == [CutMade, Heard]
    assert pairing is not None
    assert after.history[0].error == UNMEASURED_CUT
    untapped, nothing = after_session(reduced, before, Session(1, tmp_path, cuts, None))
    assert nothing is None
    assert [type(step) for step in untapped.history] == [CutMade]


def test_measured_heights_are_surer_than_depths(tmp_path):
    (tmp_path / "cut.csv").write_text("brace,at_mm,height_mm\nx1,0,14\nx1,260,14\n")
    assert cut_error(tmp_path) == MEASURED_CUT


def test_errors_of_taps_are_the_best_that_are_stated():
    one = Measured(1, 200.0, None, None, None)
    rows = [one, replace(one, spread_hz=0.8), replace(one, spread_hz=0.8, std_error_hz=0.3)]
    np.testing.assert_allclose(standard_errors(rows), [200 * UNSTATED, 0.8, 0.3])


def test_a_case_without_taps_is_refused(tmp_path):
    (tmp_path / "top.toml").write_text(DRAWING)
    case = read_case(tmp_path)
    assert isinstance(case, Case)
    assert case_boards(tmp_path) == {}
    with pytest.raises(FileError, match="no taps yet; tap first"):
        tapped_sessions(case)
    assert WOOD not in case.woods


def test_a_pair_set_by_hand_is_what_counts(top, tmp_path):
    reduced, before = top
    hz = true_hz(reduced, *drawn_at_random(before, np.random.default_rng(5)))
    taps = heard([(k, value) for k, value in enumerate(hz[:4], start=1)])
    session = Session(0, tmp_path, (), taps)
    _, found = after_session(reduced, before, session)
    own = {one.number: one.mode for one in found.pairs}
    _, none = after_session(reduced, before, session, {2: 0})
    assert {one.number: one.mode for one in none.pairs} == {tap: mode for tap, mode in own.items() if tap != 2}
    after, same = after_session(reduced, before, session, own)
    assert {one.number: one.mode for one in same.pairs} == own
    assert all(not one.ambiguous_with for one in same.pairs)
    assert after.notes == ()
