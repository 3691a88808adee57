"""One set of modes for several recordings: what is common, what is each hit's own, and what must not matter.

Outside references: the known modes of rendered sounds; numpy's least squares for amplitudes at known poles.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.fem.decay import Decays, Poles, refit, with_amplitudes
from bracedtop.fem.modal_fit import fit_recordings
from bracedtop.fem.modal_fit_errors import amplitude_error, standard_errors
from bracedtop.fem.modal_fit_order import evidence, find_poles, pruned
from bracedtop.fem.sound import Sound, read_channels
from bracedtop.fem.synthesis import write_wav
from bracedtop.geometry.errors import FileError

RATE = 8000
HZ = np.array([92.0, 151.5, 203.0, 331.0])
SIGMA = np.array([6.0, 9.0, 8.0, 20.0])
ONSETS = (0.5, 1.4, 2.35)


def sound(amplitudes, rate=RATE, onsets=ONSETS, noise=1e-4, seed=1, hz=HZ, sigma=SIGMA):
    """Hits with given complex amplitudes (n_hits, n_modes), a click at each."""
    rng = np.random.default_rng(seed)
    t = np.arange(int((onsets[-1] + 0.9) * rate)) / rate
    samples = noise * rng.normal(size=len(t))
    for onset, own in zip(onsets, np.atleast_2d(amplitudes), strict=True):
        after = t >= onset
        waves = np.exp(np.outer(t[after] - onset, -sigma + 2j * np.pi * hz))
        samples[after] += (waves @ own).real
        samples[after] += 0.3 * rng.normal(size=after.sum()) * np.exp(-(t[after] - onset) / 3e-4)
    return Sound(samples, rate, np.array([], dtype=np.intp), 1, 1)


def drawn(seed, shape=(3, 4)):
    rng = np.random.default_rng(seed)
    return 0.1 * np.exp(rng.normal(0, 0.3, shape)) * np.exp(1j * rng.uniform(0, 2 * np.pi, shape))


def test_amplitudes_and_phases_of_every_hit():
    amplitudes = [drawn(3), drawn(4)]
    fit = fit_recordings([("a", (sound(amplitudes[0]),)), ("b", (sound(amplitudes[1], seed=2),))])
    np.testing.assert_allclose(fit.frequencies, HZ, atol=0.01)
    np.testing.assert_allclose(fit.decays, SIGMA, rtol=0.005)
    for k, own in enumerate(amplitudes):
        assert fit.recordings[k].amplitudes.shape == (1, 3, 4)
        found = fit.amplitudes_at(k, np.array(ONSETS))[0]
        np.testing.assert_allclose(found, own, atol=0.002)
        np.testing.assert_allclose(fit.recordings[k].onsets, ONSETS, atol=2e-3)


def test_a_mode_silent_at_one_point_is_still_fitted_there():
    amplitudes = [drawn(3), drawn(4)]
    amplitudes[1][:, 2] = 0.0
    fit = fit_recordings([("a", (sound(amplitudes[0]),)), ("b", (sound(amplitudes[1], seed=2),))])
    found = fit.amplitudes_at(1, np.array(ONSETS))[0]
    assert np.abs(found[:, 2]).max() < 0.002
    np.testing.assert_allclose(fit.frequencies, HZ, atol=0.01)


def test_channels_hear_the_same_hits(tmp_path):
    amplitudes = [drawn(5), drawn(6)]
    pair = [sound(a, seed=7 + k).samples for k, a in enumerate(amplitudes)]
    write_wav(tmp_path / "two.wav", np.column_stack(pair), RATE)
    channels = read_channels(tmp_path / "two.wav")
    assert [c.channel for c in channels] == [1, 2]
    fit = fit_recordings([("two", channels)])
    assert fit.recordings[0].amplitudes.shape == (2, 3, 4)
    found = fit.amplitudes_at(0, np.array(ONSETS))
    for k in range(2):
        np.testing.assert_allclose(found[k], amplitudes[k], atol=0.002)


def test_rates_may_differ():
    fit = fit_recordings([("a", (sound(drawn(3)),)), ("b", (sound(drawn(4), rate=22_050),))])
    np.testing.assert_allclose(fit.frequencies, HZ, atol=0.02)
    np.testing.assert_allclose(fit.amplitudes_at(1, np.array(ONSETS))[0], drawn(4), atol=0.004)


def test_gain_and_order_of_the_recordings_do_not_matter():
    a, b = (("a", (sound(drawn(3)),)), ("b", (sound(drawn(4), seed=2),)))
    quiet = Sound(0.03 * b[1][0].samples, RATE, b[1][0].clipped, 1, 1)
    fit, other = fit_recordings([a, b]), fit_recordings([("b", (quiet,)), a])
    np.testing.assert_allclose(other.frequencies, fit.frequencies, atol=1e-4)
    np.testing.assert_allclose(
        other.recordings[0].amplitudes, 0.03 * fit.recordings[1].amplitudes, rtol=1e-3, atol=1e-5
    )


def test_amplitude_errors_are_their_scatter_at_known_poles():
    rng = np.random.default_rng(3)
    t = np.arange(6000) / RATE
    clean = (np.exp(np.outer(t, -SIGMA + 2j * np.pi * HZ)) @ drawn(3)[0]).real
    start = Poles.starting(2 * np.pi * HZ, SIGMA, 1)
    found, stated = [], []
    for _ in range(100):
        decays = Decays.from_samples((clean + 0.02 * rng.normal(size=len(t)))[None], RATE, (30.0, 1000.0))
        poles = with_amplitudes(decays, start)
        found.append(poles.amplitude[0] - drawn(3)[0])
        stated.append(amplitude_error(decays, poles)[0])
    # 100 trials of 2 parts: known to 5 %.
    ratio = np.sqrt(np.mean(np.abs(found) ** 2, axis=0) / 2) / np.sqrt(np.mean(np.square(stated), axis=0))
    np.testing.assert_allclose(ratio, 1.0, atol=0.15)


def test_no_recordings():
    with pytest.raises(FileError, match="no recordings"):
        fit_recordings([])


def test_a_recording_that_cannot_be_used_is_named():
    silent = Sound(1e-3 * np.random.default_rng(1).normal(size=2 * RATE), RATE, np.array([], dtype=np.intp), 1, 1)
    with pytest.raises(FileError, match="second: no clear hit"):
        fit_recordings([("first", (sound(drawn(3)),)), ("second", (silent,))])


@settings(max_examples=6, deadline=None)
@given(
    gaps=st.lists(st.floats(12.0, 90.0), min_size=2, max_size=8),
    qs=st.lists(st.floats(35.0, 120.0), min_size=8, max_size=8),
    levels=st.lists(st.floats(-20.0, 0.0), min_size=8, max_size=8),
    seed=st.integers(0, 1000),
)
def test_modes_are_found_and_no_others(gaps, qs, levels, seed):
    hz = 70 + np.cumsum(gaps)
    n = len(hz)
    sigma = np.pi * hz / np.array(qs[:n])
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, (3, n))
    amplitudes = 0.2 * 10 ** (np.array(levels[:n]) / 20) * np.exp(1j * phases)
    fit = fit_recordings([("a", (sound(amplitudes, noise=1e-5, seed=seed, hz=hz, sigma=sigma),))])
    assert len(fit.frequencies) == n, (fit.frequencies, hz)
    np.testing.assert_allclose(fit.frequencies, hz, atol=0.05)
    np.testing.assert_allclose(fit.decays, sigma, rtol=0.02)


def test_extra_poles_are_thrown_out():
    rng = np.random.default_rng(2)
    t = np.arange(6000) / RATE
    samples = np.array([(np.exp(np.outer(t, -SIGMA + 2j * np.pi * HZ)) @ a).real for a in drawn(8)])
    decays = Decays.from_samples(samples + 0.01 * rng.normal(size=samples.shape), RATE, (30.0, 1000.0))
    extra_hz = np.array([60.0, 120.0, 175.0, 198.0, 209.0, 260.0, 325.0, 340.0, 500.0, 800.0])
    start = Poles.starting(
        2 * np.pi * np.append(HZ, extra_hz), np.append(SIGMA, np.full(len(extra_hz), 10.0)), len(samples)
    )
    crowded = refit(decays, start)
    # The true poles take their places again, whatever the others did meanwhile.
    found = pruned(decays, crowded)
    assert len(found.omega) == len(HZ), found.omega / (2 * np.pi)
    np.testing.assert_allclose(found.omega / (2 * np.pi), HZ, atol=0.3)
    assert (evidence(decays, found) > 1).all()


def test_noise_makes_no_pole_in_many_recordings():
    # One in ten thousand is allowed; neither 1 nor 20 hits, and noise that is not white.
    rng = np.random.default_rng(9)
    n_found = 0
    for trial in range(60):
        noise = rng.normal(size=((1, 3, 20)[trial % 3], 3000))
        if trial % 2:
            noise[:, 1:] += 0.9 * noise[:, :-1]
        n_found += len(find_poles(Decays.from_samples(noise, RATE, (30.0, 2400.0)), np.array([])).omega)
    assert n_found == 0


@pytest.mark.parametrize("scatter_hz", [0.0, 0.3])
def test_standard_errors_tell_the_scatter(scatter_hz):
    # Hits that differ by noise alone, or whose modes lie elsewhere each time, as when a top is held by hand.
    rng = np.random.default_rng(5)
    t = np.arange(4000) / RATE
    normalised = []
    for _ in range(60):
        rows = []
        for own in drawn(int(rng.integers(1e6)), (8, 2)):
            hz = np.array([150.0, 290.0]) + scatter_hz * rng.normal(size=2)
            rows.append((np.exp(np.outer(t, -np.array([9.0, 15.0]) + 2j * np.pi * hz)) @ own).real)
        samples = np.array(rows) + 0.02 * rng.normal(size=(8, len(t)))
        decays = Decays.from_samples(samples, RATE, (50.0, 600.0))
        start = Poles.starting(2 * np.pi * np.array([150.0, 290.0]), np.array([9.0, 15.0]), 8)
        poles = refit(decays, start)
        by_omega, by_sigma = standard_errors(decays, poles, np.arange(8))
        normalised.append(
            [
                *((poles.omega / (2 * np.pi) - [150.0, 290.0]) * 2 * np.pi / by_omega),
                *((poles.sigma - [9, 15]) / by_sigma),
            ]
        )
    rms = np.sqrt(np.mean(np.square(normalised), axis=0))
    # 60 trials: known to 9 %. A scatter found from 8 hits makes the ratio Student's, of root mean square (7 / 5)^0.5;
    # the decay of modes that move is biased upwards, so only the frequency is held there.
    checked = rms if not scatter_hz else rms[:2] / np.sqrt(7 / 5)
    assert (checked > 0.7).all(), rms
    assert (checked < 1.4).all(), rms
