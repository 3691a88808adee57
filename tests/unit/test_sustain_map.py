"""The sustain map in its limits: rigid bridge, steady conductance, spring and mass at the bridge, one weak note."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.fem.body_peaks import BodyPeak, admittance_of
from bracedtop.fem.case import read_case
from bracedtop.fem.case_strings import lossy_strings
from bracedtop.fem.string_loss import LossyString, nylon_string, string_rate
from bracedtop.fem.sustain_map import LN_60, PLUCK, sustain_map
from bracedtop.fem.sustain_words import doubtful_notes, sustain_words
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.units import note_frequency

NYLON = [nylon_string("E2", 71.6, 6.24e-3), nylon_string("G3", 58.3, 0.90e-3)]
PEAKS = (BodyPeak(105, 25, 0.7), BodyPeak(203, 25, 0.12), BodyPeak(390, 30, 0.3), BodyPeak(620, 30, 0.3))


def steady(value: complex):
    return lambda f: np.full(np.shape(f), value, dtype=complex)


def test_rigid_bridge_leaves_the_strings_own_loss() -> None:
    found = sustain_map(NYLON, steady(0.0), scale_length=0.65)
    n = np.arange(1, 11)
    for i, string in enumerate(NYLON):
        for fret in (0, 12, 20):
            own = string_rate(string, 0.65 * 2 ** (-fret / 12), n)
            assert found.partial_decay_time[i, fret] == pytest.approx(LN_60 / own)
    assert not found.bridge_rate.any()
    assert not found.wolf.any()
    assert found.peaks == ()
    assert (found.nearest == -1).all()


def test_lossless_bridge_and_one_partial_decay_alike_in_both_times() -> None:
    found = sustain_map(NYLON, steady(0.002), scale_length=0.65, n_partials=1)
    assert found.decay_time == pytest.approx(found.partial_decay_time[..., 0], rel=1e-3)
    assert found.early_decay_time == pytest.approx(found.decay_time, rel=1e-3)


def test_frets_are_tempered() -> None:
    string = LossyString("A2", 73.9, 73.9 / (1.3 * note_frequency("A2")) ** 2, 0.0, 1e-4, 0.0)
    found = sustain_map([string], steady(0.001), scale_length=0.65)
    assert found.nominal[0, [0, 3, 12]] == pytest.approx([note_frequency(n) for n in ("A2", "C3", "A3")])


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 0.05), st.floats(0, 0.05), st.floats(-0.02, 0.02))
def test_more_conductance_shorter_notes(one: float, two: float, susceptance: float) -> None:
    low, high = sorted([one, two])
    short, long = (
        sustain_map(NYLON, steady(real + 1j * susceptance), scale_length=0.65, n_frets=3) for real in (high, low)
    )
    assert (short.decay_time <= long.decay_time * (1 + 1e-9)).all()
    assert (short.partial_decay_time <= long.partial_decay_time * (1 + 1e-9)).all()


@pytest.mark.parametrize(("what", "size"), [("spring", 3e5), ("mass", 0.5)])
def test_shift_by_a_spring_or_a_mass(what: str, size: float) -> None:
    """At the end tan(k L) = -T k / K for a spring and T k / (M omega^2) for a mass, solved exactly.

    The map is first order in Y: kL differs from n pi by 1 % at most here, so its square is 1e-4 of n pi.
    """
    string = LossyString("s", 71.6, 6.24e-3, 0.0, 1e-9, 0.0)
    c = np.sqrt(71.6 / 6.24e-3)

    def admittance(f):
        omega = 2 * np.pi * f
        return 1j * omega / size if what == "spring" else 1 / (1j * omega * size)

    found = sustain_map([string], admittance, scale_length=0.65, n_frets=0, n_partials=3, peaks=())
    n = np.arange(1, 4)
    k = n * np.pi / 0.65
    for _ in range(50):
        tangent = -71.6 * k / size if what == "spring" else 71.6 / (size * c**2 * k)
        k = (n * np.pi + np.arctan(tangent)) / 0.65
    shift = found.partial_frequency[0, 0] / found.nominal[0, 0] / n - 1
    assert found.partial_frequency[0, 0] == pytest.approx(k * c / (2 * np.pi), rel=1e-4)
    assert (np.sign(shift) == (-1 if what == "spring" else 1)).all()
    assert (np.abs(shift) > 3e-4).any()


def test_far_from_resonances_first_order_holds() -> None:
    """(T / L) Re Y from the whole admittance, whatever resonance is taken out and put back."""
    string = [LossyString("s", 58.3, 0.90e-3, 0.0, 1e-4, 0.0)]
    found = sustain_map(string, lambda f: admittance_of(PEAKS, f), scale_length=0.65, n_frets=12)
    far = found.coupling / np.abs(found.partial_frequency / 300.0 - 1) < 10
    far &= np.min(np.abs(found.partial_frequency[..., None] / [p.frequency for p in PEAKS] - 1), axis=-1) > 0.2
    assert far.sum() > 5
    first = LN_60 / (found.own_rate + found.bridge_rate)
    assert found.partial_decay_time[far] == pytest.approx(first[far], rel=0.02)


def test_a_note_on_a_resonance_is_found_and_named() -> None:
    # Coupled too weakly for a wolf; one partial, as the others would sound on.
    G3 = nylon_string("G3", 58.3, 0.90e-3)
    peak = BodyPeak(float(sustain_map([G3], steady(0), scale_length=0.65).nominal[0, 5]), 35, 0.8)
    found = sustain_map([G3], lambda f: 0.0005 + admittance_of((peak,), f), scale_length=0.65, n_partials=1)
    assert found.weak[0, 5]
    assert not found.weak[0, [0, 1, 9, 10]].any()
    first = next(d for d in doubtful_notes(found) if d.fret == 5)
    assert (first.string, first.note, first.resonance) == ("G3", "C4", pytest.approx(peak.frequency, rel=1e-3))
    assert first.part == pytest.approx(found.part[0, 5])
    words = " ".join(sustain_words(found))
    assert f"C4 at fret 5 of the G3 string (body at {peak.frequency:.0f} Hz)" in words
    assert "No note is held so firmly" in words


def test_a_wolf_is_found_and_named() -> None:
    E2 = nylon_string("E2", 71.6, 6.24e-3)
    peak = BodyPeak(float(sustain_map([E2], steady(0), scale_length=0.65).nominal[0, 7]), 40, 0.15)
    found = sustain_map([E2], lambda f: 0.0005 + admittance_of((peak,), f), scale_length=0.65)
    assert found.wolf[0, 7]
    assert found.split[0, 7] > 1
    assert not found.wolf[0, [0, 4, 10, 14]].any()
    assert "B2 at fret 7 of the E2 string" in sustain_words(found)[-1]


def test_level_of_a_steady_response() -> None:
    """1 Pa/N at all frequencies: the mean square of the force of a pluck, by Parseval.

    A string let go at b of its length pulls the bridge by 1 - b newtons for a part b of the period in one sense
    and by b for the rest in the other: mean square b (1 - b).
    """
    string = LossyString("s", 71.6, 6.24e-3, 0.0, 0.0, 0.0, air=1e-6)
    found = sustain_map([string], steady(0), scale_length=0.65, n_frets=0, n_partials=4000, pressure=steady(1.0))
    assert found.level is not None
    assert found.level[0, 0] == pytest.approx(10 * np.log10(PLUCK * (1 - PLUCK) / 4e-10), abs=0.05)


def test_a_quiet_note_is_weak() -> None:
    nominal = sustain_map(NYLON[1:], steady(0.001), scale_length=0.65).nominal[0]

    def pressure(f):
        return np.where(np.abs(f / nominal[6] - 1) < 0.01, 0.05, 1.0)

    found = sustain_map(NYLON[1:], steady(0.001), scale_length=0.65, n_partials=1, pressure=pressure)
    assert np.flatnonzero(found.weak[0]).tolist() == [6]
    assert found.soft[0, 6]
    assert not found.short.any()
    assert "One note is weak, too soft (6 dB below 3 frets to each side): C#4 at fret 6" in " ".join(
        sustain_words(found)
    )


def test_strings_of_the_starter_case() -> None:
    strings = read_case(Path(__file__).parents[2] / "cases" / "wren").strings
    assert strings is not None
    assert strings.scale_length is not None
    lossy = lossy_strings(strings)
    assert all(string.source.startswith("Valette") for string in lossy)
    found = sustain_map(lossy, lambda f: admittance_of(PEAKS, f), scale_length=strings.scale_length, highest=900.0)
    assert found.decay_time.shape == (6, 21)
    assert [round(found.nominal[i, 0]) for i in range(6)] == [82, 110, 147, 196, 247, 330]
    assert ((found.decay_time > 0.3) & (found.decay_time < 60)).all()
    assert (found.early_decay_time <= found.decay_time * 1.001).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"strings": []}, "no string"),
        ({"scale_length": 0.0}, "scale length 0 mm"),
        ({"n_frets": -1}, "-1 frets"),
        ({"n_partials": 0}, "0 partials"),
        ({"pluck": 1.0}, "pluck at 1 of the string"),
    ],
)
def test_bad_input(change: dict, words: str) -> None:
    given_ = {"strings": NYLON, "scale_length": 0.65} | change
    with pytest.raises(DesignError, match=words):
        sustain_map(given_.pop("strings"), steady(0), **given_)
