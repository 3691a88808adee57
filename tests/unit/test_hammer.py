"""Hammered taps against the closed form of a damped oscillator, x'' + 2 sigma x' + omega_0^2 x = f / m.

Its receptance is 1 / (m (omega_0^2 - omega^2 + 2 i sigma omega)) and its response to a unit impulse
exp(-sigma t) sin(omega_d t) / (m omega_d) (D. J. Ewins, Modal Testing, 2nd ed. 2000, ch. 2; textbook, from memory).
"""

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.fem.hammer import frequency_response, strike_at
from bracedtop.fem.strike import modal_mass, responses, struck
from bracedtop.fem.taps import join_taps
from bracedtop.fem.taps_file import Placement
from bracedtop.geometry.errors import FileError

RATE = 12_000
OVER = 8
MASS = np.array([0.08, 0.05])
HZ = np.array([140.0, 320.0])
SIGMA = np.array([9.0, 14.0])
OMEGA = np.sqrt((2 * np.pi * HZ) ** 2 - SIGMA**2)


def pulses(n, starts, peaks, width=1.6e-3):
    """Half-sine pushes in newtons, at OVER times the rate."""
    t = np.arange(n * OVER) / (RATE * OVER)
    force = np.zeros(len(t))
    for start, peak in zip(starts, peaks, strict=True):
        inside = (t >= start) & (t <= start + width)
        force[inside] += peak * np.sin(np.pi * (t[inside] - start) / width)
    return force


def pushed(force, *, acceleration=False):
    """Motion (n,) of the oscillators together under a force at OVER times the rate, both at the rate."""
    step = 1 / (RATE * OVER)
    t = np.arange(len(force)) * step
    motion = np.zeros(len(force))
    spectrum = np.fft.rfft(force, 2 * len(force))
    for m, sigma, omega in zip(MASS, SIGMA, OMEGA, strict=True):
        h = np.exp(-sigma * t) * np.sin(omega * t) / (m * omega)
        if acceleration:
            # The second derivative, and the push itself: x'' holds f / m.
            s = -sigma + 1j * omega
            h = (s**2 * np.exp(s * t) / (1j * m * omega)).real
        motion += np.fft.irfft(spectrum * np.fft.rfft(h, 2 * len(h)))[: len(force)] * step
        motion += force / m if acceleration else 0.0
    return force[::OVER], motion[::OVER]


def receptance(s):
    total = 0
    for m, sigma, omega in zip(MASS, SIGMA, OMEGA, strict=True):
        total = total + 1 / (m * (s**2 + 2 * sigma * s + omega**2 + sigma**2))
    return total


@pytest.mark.parametrize("fade", [0.0, 12.0])
def test_h1_is_the_receptance(fade):
    """Exact but for sampling; with an exponential window it is that of s = fade + i omega."""
    n = 2 * RATE if fade == 0 else RATE // 3
    pairs = [pushed(pulses(n, [0.004], [peak])) for peak in (8.0, 15.0, 11.0)]
    force, motion = (np.array(x) for x in zip(*pairs, strict=True))
    found = frequency_response(force, motion, RATE, window_rate=fade, unit="m/N")
    inside = (found.frequency > 60) & (found.frequency < 500)
    true = receptance(fade + 2j * np.pi * found.frequency[inside])
    error = np.abs(found.response[inside] - true) / np.abs(true).max()
    # Sampled, the half-sine's own spectrum folds back by 2 / (2 T rate)^2 = 1.4e-3; a decay that is at
    # exp(-(9 + 12) / 3) when it is cut off leaves another 0.9e-3.
    assert error.max() < (2.3e-3 if fade else 1.4e-3)
    assert found.coherence[inside].min() > 0.999999
    assert (found.n_hits, found.unit) == (3, "m/N")


def test_noise_lowers_coherence_but_not_the_estimate():
    """Noise of the response alone leaves H1 right on the average (Bendat and Piersol 2010, sec. 6.1)."""
    rng = np.random.default_rng(1)
    force, motion = pushed(pulses(RATE, [0.004], [10.0]))
    noise = 0.05 * motion.std()
    forces = np.tile(force, (60, 1))
    found = frequency_response(forces, motion + noise * rng.normal(size=(60, len(motion))), RATE)
    at = int(np.argmin(np.abs(found.frequency - 140)))
    between = int(np.argmin(np.abs(found.frequency - 900)))
    assert found.coherence[at] > 0.999
    assert found.coherence[between] < 0.9
    assert found.response[at] == pytest.approx(receptance(2j * np.pi * found.frequency[at]), rel=5e-3)


def test_one_hit_has_no_coherence():
    force, motion = pushed(pulses(RATE // 2, [0.004], [10.0]))
    assert frequency_response(force[None], motion[None], RATE).coherence is None


@given(st.floats(0.5e-3, 3e-3), st.floats(1.0, 50.0))
@settings(max_examples=15, deadline=None)
def test_transform_of_a_half_sine(width, peak):
    """Integral of peak sin(pi t / T) exp(-s t) from 0 to T: peak (pi / T) (1 + exp(-s T)) / (s^2 + (pi / T)^2)."""
    s = -SIGMA + 1j * OMEGA
    t = np.arange(round(0.004 * 96_000)) / 96_000
    force = np.where(t <= width, peak * np.sin(np.pi * np.minimum(t, width) / width), 0.0)
    b = np.pi / width
    np.testing.assert_allclose(
        strike_at(force, 96_000, s), peak * b * (1 + np.exp(-s * width)) / (s**2 + b**2), rtol=2e-3
    )


@pytest.fixture(scope="module")
def hammered(tmp_path_factory):
    """Two channels: a hammer of 40 N and an accelerometer of 2000 m/s2 at full scale; the third hit bounces."""
    path = tmp_path_factory.mktemp("hammer") / "h.wav"
    rng = np.random.default_rng(2)
    starts = [0.3, 0.95, 1.6, 1.63, 2.25, 2.9]
    force, motion = pushed(pulses(round(3.6 * RATE), starts, [20.0, 30.0, 25.0, 9.0, 14.0, 22.0]), acceleration=True)
    channels = np.column_stack([force / 40, motion / 2000]) + 2e-5 * rng.normal(size=(len(force), 2))
    soundfile.write(path, channels, RATE, subtype="PCM_24")
    return path


def placed(path, **change):
    known = {
        "points": ((0.1, 0.02),),
        "microphones": ((0.105, 0.02),),
        "hammer_channel": 1,
        "hammer_newtons": 40.0,
        "sensor_full_scale": 2000.0,
        "is_accelerometer": True,
    }
    return Placement(path, **(known | change))


def test_strikes_of_any_strength_and_bounces_are_divided_out(hammered):
    found = struck(placed(hammered), OMEGA, SIGMA)
    assert found.by_hammer
    # Residue of the acceleration after a unit impulse: s^2 / (i m omega).
    s = -SIGMA + 1j * OMEGA
    true = s**2 / (1j * MASS * OMEGA)
    assert found.amplitude.shape == (5, 1, 2)
    np.testing.assert_allclose(np.abs(found.amplitude[:, 0] / true), 1, atol=0.01)
    np.testing.assert_allclose(np.angle(found.amplitude[:, 0] / true), 0, atol=0.05)


def test_modal_mass(hammered):
    np.testing.assert_allclose(modal_mass(struck(placed(hammered), OMEGA, SIGMA), OMEGA), MASS, rtol=0.01)


@pytest.mark.parametrize(
    "change",
    [
        {"microphones": ((0.2, 0.0),)},
        {"is_accelerometer": False},
        {"hammer_newtons": None},
        {"sensor_full_scale": None},
    ],
    ids=["elsewhere", "a microphone", "no newtons", "no unit"],
)
def test_no_modal_mass_without_units_or_elsewhere(hammered, change):
    assert modal_mass(struck(placed(hammered, **change), OMEGA, SIGMA), OMEGA) is None


def test_measured_response(hammered):
    (found,) = responses(placed(hammered))
    assert found.unit == "(m/s2)/N"
    s = found.window_rate + 2j * np.pi * found.frequency
    inside = (found.frequency > 80) & (found.frequency < 500)
    true = s[inside] ** 2 * receptance(s[inside])
    assert np.abs(found.response[inside] - true).max() < 0.03 * np.abs(true).max()
    at = int(np.argmin(np.abs(found.frequency - 140)))
    assert found.coherence[at] > 0.99


def test_frequencies_come_from_the_other_channel(hammered):
    taps = join_taps(None, (), (placed(hammered),))
    np.testing.assert_allclose([mode.hz for mode in taps.measured], OMEGA / (2 * np.pi), rtol=2e-3)
    assert taps.struck_numbers == (1, 2)


def test_a_hammer_needs_a_second_channel(tmp_path, hammered):
    path = tmp_path / "mono.wav"
    soundfile.write(path, soundfile.read(hammered)[0][:, 1], RATE)
    with pytest.raises(FileError, match=r"mono.wav: one channel; with hammer_channel it needs another"):
        join_taps(None, (), (placed(path),))
    with pytest.raises(FileError, match="no hammer_channel"):
        responses(placed(path, hammer_channel=None))
