"""The log as a record: which taps are which expected modes, and what a pass did."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.fem.bench_log import Log, calibration_entry, cut_entry, note_entry, plan_entry
from bracedtop.fem.log_entry import LoggedMode, LoggedTap, TapsEntry
from bracedtop.fem.record import outcomes, passes_of
from bracedtop.geometry.cut import Cut


def taps(number: int, *hz: float) -> TapsEntry:
    modes = tuple(LoggedTap(number=k, hz=f) for k, f in enumerate(hz, start=1))
    return TapsEntry(number=number, modes=modes, files=())


def modes(*hz: float) -> tuple[LoggedMode, ...]:
    return tuple(LoggedMode(mode=k, hz=f, std_hz=1.0) for k, f in enumerate(hz, start=1))


def test_expected_against_found() -> None:
    rows = outcomes(modes(100, 200, 300), taps(0, 103, 204, 309), taps(1, 101, 199, 298, 444))
    assert [(row.mode, row.before_hz, row.found_hz) for row in rows] == [(1, 103, 101), (2, 204, 199), (3, 309, 298)]
    assert [row.off_hz for row in rows] == [1, -1, -2]
    # 1200 log2(101 / 100), from a table of logarithms.
    assert rows[0].off_cents == pytest.approx(17.226, abs=1e-3)


def test_two_modes_do_not_share_a_tap() -> None:
    rows = outcomes(modes(200, 203), None, taps(1, 201.9))
    assert [row.found_hz for row in rows] == [None, 201.9]
    assert (rows[0].off_hz, rows[0].off_cents) == (None, None)
    assert [row.found_hz for row in outcomes(modes(200, 203), None, taps(1, 202, 206))] == [202, 206]


def test_what_is_far_away_is_not_found() -> None:
    """A semitone is 5.9 %."""
    rows = outcomes(modes(100, 200), None, taps(1, 107, 211))
    assert [row.found_hz for row in rows] == [None, 211]


def test_frequencies_that_the_plan_noted_count() -> None:
    noted = LoggedMode.model_validate({"mode": 4, "hz": 200.0, "before_hz": 203.5})
    (row,) = outcomes([noted], taps(0, 201), taps(1, 200))
    assert (row.mode, row.before_hz, row.std_hz) == (4, 203.5, None)


def test_nothing_expected_or_nothing_tapped() -> None:
    assert outcomes((), taps(0), taps(1, 100)) == ()
    assert [row.found_hz for row in outcomes(modes(100), taps(0), taps(1))] == [None]


@given(st.lists(st.floats(60, 600), min_size=1, max_size=8, unique=True), st.lists(st.floats(60, 600), max_size=8))
def test_each_tap_is_given_once_and_near(expected: list[float], found: list[float]) -> None:
    rows = outcomes(modes(*expected), None, taps(1, *found))
    given_away = [row.found_hz for row in rows if row.found_hz is not None]
    assert all(given_away.count(hz) <= found.count(hz) for hz in given_away)
    assert all(abs(row.off_cents) < 100 for row in rows if row.off_cents is not None)


def test_passes() -> None:
    cut = [Cut("a", 0, 0.1, 1e-3, 1e-3)]
    late = plan_entry({"cuts": cut, "expected": modes(100, 200)}, 1)
    entries = (
        taps(0, 103, 204),
        calibration_entry({"means": {"E_L": 1.0}}, 0),
        plan_entry({"expected": modes(90)}, 1),
        late,
        cut_entry(cut, [0.5], 1),
        note_entry("first", 1),
        taps(1, 101, 199),
        note_entry("second", 1),
        cut_entry(cut * 2, [0.25, 0.125], 3),
    )
    records = passes_of(Log(entries))
    assert [record.number for record in records] == [0, 1, 2, 3]
    assert records[0].outcomes == ()
    assert records[0].calibration == entries[1]
    first = records[1]
    assert (first.plan, first.cut, first.taps, first.before) == (late, entries[4], entries[6], entries[0])
    assert [note.text for note in first.notes] == ["first", "second"]
    assert [row.found_hz for row in first.outcomes] == [101, 199]
    assert [record.grams for record in records] == [0, 0.5, 0, 0.375]
    # A pass without taps leaves those before it standing.
    assert records[3].before == entries[6]


def test_an_empty_log_has_no_passes() -> None:
    assert passes_of(Log(())) == ()
