"""Decaying sinusoids: closed forms, a filter of known poles, and the Cramér-Rao bound.

Outside references: numpy's Fourier transform of sampled sequences; the poles of `scipy.signal.iirpeak` (roots of its
denominator) for its impulse response; the Cramér-Rao bound (S. M. Kay, "Fundamentals of statistical signal processing:
estimation theory", Prentice Hall 1993, ch. 3), worked out for one decaying sinusoid: with amplitude a, decay rate
sigma, noise variance v and `rate` samples a second, var(omega) = var(sigma) = 16 sigma^3 v / (a^2 rate).
"""

import numpy as np
import pytest
from scipy.signal import iirpeak, lfilter

from bracedtop.fem.bounce import late_strikes
from bracedtop.fem.decay import Decays, misfit, refit, transform
from bracedtop.fem.modal_fit_order import find_poles

RATE = 8000.0
BAND = (30.0, 2400.0)


def sinusoids(hz, q, amplitude, n, phase=0.7):
    t = np.arange(n) / RATE
    return sum(
        a * np.exp(-np.pi * f / k * t) * np.cos(2 * np.pi * f * t + phase)
        for f, k, a in zip(hz, q, amplitude, strict=True)
    )


def test_transform_is_that_of_the_samples():
    n = 400
    s = np.array([-30 + 2j * np.pi * 200, -3 - 2j * np.pi * 610, -1e-3 + 2j * np.pi * 500.0])
    omega = 2 * np.pi * np.arange(5, 120) * RATE / n
    value, slope = transform(s, omega, RATE, n)
    t = np.arange(n) / RATE
    sampled = np.fft.fft(np.exp(np.outer(s, t)))[:, 5:120].T
    np.testing.assert_allclose(value, sampled, rtol=1e-7, atol=1e-7)
    # d/ds exp(s t) = t exp(s t).
    np.testing.assert_allclose(slope, np.fft.fft(t * np.exp(np.outer(s, t)))[:, 5:120].T, rtol=1e-4, atol=1e-7)


def test_clean_decays_are_found_to_rounding():
    hz, q, a = [93.0, 101.0, 187.3, 455.5, 1210.0], [30.0, 55.0, 41.0, 80.0, 64.0], [1.0, 0.4, 0.1, 0.6, 0.05]
    decays = Decays.from_samples(np.array([sinusoids(hz, q, a, 5000)]), RATE, BAND)
    poles = find_poles(decays, np.array([]))
    strong = poles.kept(np.abs(poles.amplitude[0]) > 1e-3)
    np.testing.assert_allclose(strong.omega / (2 * np.pi), hz, rtol=1e-6)
    np.testing.assert_allclose(strong.omega / (2 * strong.sigma), q, rtol=1e-3)
    np.testing.assert_allclose(np.abs(strong.amplitude[0]), a, rtol=1e-3)


@pytest.mark.parametrize(("hz", "q"), [(110.0, 30.0), (311.0, 75.0), (702.0, 45.0)])
def test_resonator_of_scipy(hz, q):
    b, a = iirpeak(hz, q, fs=RATE)
    impulse = np.zeros(6000)
    impulse[0] = 1.0
    # The first samples carry the filter's direct path.
    ring = lfilter(b, a, impulse)[10:]
    s = RATE * np.log(max(np.roots(a), key=np.imag))
    poles = find_poles(Decays.from_samples(ring[None, :], RATE, BAND), np.array([]))
    k = np.argmax(np.abs(poles.amplitude[0]))
    assert poles.omega[k] == pytest.approx(s.imag, rel=1e-6)
    assert poles.sigma[k] == pytest.approx(-s.real, rel=1e-4)
    assert poles.omega[k] / (2 * poles.sigma[k]) == pytest.approx(q, rel=0.02)  # bilinear transform


def test_error_is_that_of_the_cramer_rao_bound():
    hz, q, noise, n_trials = 240.0, 40.0, 0.1, 60
    sigma = np.pi * hz / q
    bound = np.sqrt(16 * sigma**3 * noise**2 / RATE)
    rng = np.random.default_rng(4)
    errors = []
    for _ in range(n_trials):
        y = sinusoids([hz], [q], [1.0], 4000, rng.uniform(0, 6)) + noise * rng.normal(size=4000)
        poles = find_poles(Decays.from_samples(y[None, :], RATE, BAND), np.array([]))
        k = np.argmax(np.abs(poles.amplitude[0]))
        errors.append([poles.omega[k] - 2 * np.pi * hz, poles.sigma[k] - sigma])
    rms = np.sqrt(np.mean(np.square(errors), axis=0))
    # Root mean square of 60 trials: known to 9 %; the local bins give away a few per cent.
    assert (rms < 1.3 * bound).all(), rms / bound
    assert (rms > 0.7 * bound).all(), rms / bound


def test_noise_has_no_poles():
    rng = np.random.default_rng(2)
    n_found = [
        len(find_poles(Decays.from_samples(rng.normal(size=(3, 4000)), RATE, BAND), np.array([])).omega)
        for _ in range(20)
    ]
    assert sum(n_found) == 0


def test_mode_beside_a_steady_tone():
    t = np.arange(6000) / RATE
    rng = np.random.default_rng(5)
    y = sinusoids([101.0, 240.0], [35.0, 50.0], [1.0, 0.5], 6000)
    y = y + 0.3 * np.sin(2 * np.pi * 100.02 * t + 1.0) + 1e-3 * rng.normal(size=6000)
    poles = find_poles(Decays.from_samples(y[None, :], RATE, BAND), np.array([100.0]))
    modes = poles.kept(~poles.steady & (poles.sigma > 2))
    np.testing.assert_allclose(modes.omega / (2 * np.pi), [101.0, 240.0], atol=0.05)
    np.testing.assert_allclose(modes.omega / (2 * modes.sigma), [35.0, 50.0], rtol=0.03)


def test_one_hit_alone_starts_from_all():
    rng = np.random.default_rng(6)
    hits = [sinusoids([150.0 + d, 330.0], [40.0, 60.0], [1.0, 0.5], 4000) for d in (-0.5, 0.0, 0.5)]
    decays = Decays.from_samples(np.array(hits) + 1e-3 * rng.normal(size=(3, 4000)), RATE, BAND)
    together = find_poles(decays, np.array([]))
    lowest = np.argmin(np.abs(together.omega - 2 * np.pi * 150))
    alone = [refit(decays.of_hit(k), together).omega[lowest] / (2 * np.pi) for k in range(3)]
    np.testing.assert_allclose(alone, [149.5, 150.0, 150.5], atol=0.02)


def test_second_strike_is_found_at_its_moment():
    n, delay = 5000, 0.046
    hz, q, a = [95.0, 160.0, 290.0], [35.0, 45.0, 60.0], [1.0, 0.7, 0.4]
    y = sinusoids(hz, q, a, n)
    late = round(delay * RATE)
    bounced = y.copy()
    bounced[late:] += 0.4 * sinusoids(hz, q, [0.6, 1.0, 0.5], n - late, phase=-1.5)
    rng = np.random.default_rng(7)
    decays = Decays.from_samples(np.array([y, bounced]) + 1e-2 * rng.normal(size=(2, n)), RATE, BAND)
    poles = find_poles(decays, np.array([]), n_rounds=2)
    delays = np.arange(0.004, 0.15, 0.002)
    part = late_strikes(decays, poles, delays)
    assert delays[part[1].argmax()] == pytest.approx(delay, abs=0.0021)
    left = misfit(decays, poles)
    assert part[1].max() * left[1] > 10 * part[0].max() * left[0]
