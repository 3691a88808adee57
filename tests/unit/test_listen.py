"""Taps and notes to listen to: read back by other means than those that made them."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.integrate
import scipy.linalg
from reference.plates import TRIAL_WOOD, WOOD, plate, rectangle
from scipy.signal import butter, hilbert, sosfiltfilt

from bracedtop.fem.body_peaks import BodyPeak, admittance_of
from bracedtop.fem.gas import air_gas
from bracedtop.fem.heard import ABOVE, Body, Heard, heard_top
from bracedtop.fem.listen import FINGERTIP, KNUCKLE, LEAD, RATE, Pulse, decaying, plucked_note, tap_sound, taper
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.modal_fit import fit_recordings
from bracedtop.fem.model import build_model, deflections, solve
from bracedtop.fem.sound import Sound
from bracedtop.fem.string_loss import LossyString
from bracedtop.fem.sustain_map import LN_60, sustain_map
from bracedtop.fem.top_loss import top_loss
from bracedtop.geometry.errors import DesignError

HZ = np.array([52.0, 97.0, 143.0, 211.0])
LOSS = 1 / np.array([60.0, 45.0, 70.0, 50.0])
SIZE = (0.5, 0.4)


def invented_top(at: tuple[float, float] = (0.11, 0.13), loss: np.ndarray = LOSS) -> tuple[Heard, np.ndarray]:
    """Four cosine shapes over a rectangle, mass 1 kg; the top, and the modes' deflections at the tap."""
    n = 40
    x, y = ((np.arange(n) + 0.5) * s / n for s in SIZE)
    xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)

    def shape(points: np.ndarray) -> np.ndarray:
        u, v = np.pi * points.T[0] / SIZE[0], np.pi * points.T[1] / SIZE[1]
        return 4.0 * np.array([np.cos(u) * np.cos(v), np.cos(2 * u), np.cos(2 * v), np.cos(2 * u) * np.cos(v)])

    place = np.array(at)
    weight = np.full(len(xy), SIZE[0] * SIZE[1] / len(xy))
    at_tap = shape(place[None])[:, 0]
    return heard_top(HZ, loss, at_tap, xy, weight, shape(xy), place, air_gas(20.0)), at_tap


def simple_body(peaks: tuple[BodyPeak, ...], per_velocity: float = 1.0, spacing: float = 0.5) -> Body:
    """A body of single resonances; the pressure is so many times the bridge's velocity."""
    hz = spacing * np.arange(round(1200 / spacing) + 1)
    Y = np.concatenate([[0j], admittance_of(peaks, hz[1:])])
    lossy = np.array([1 / p.quality for p in peaks])
    heard = Heard(spacing, per_velocity * Y, np.array([p.frequency for p in peaks]), lossy, 0.0, "at the bridge")
    return Body(heard, Y, peaks)


@pytest.mark.parametrize("pulse", [FINGERTIP, KNUCKLE, Pulse("long", 0.02, 0.5)])
def test_pulse_is_half_a_sine(pulse: Pulse) -> None:
    hz = np.array([0.0, 37.0, 0.5 / pulse.length, 1.5 / pulse.length, 2.2 / pulse.length])
    t = np.linspace(0, pulse.length, 4001)
    force = pulse.impulse * np.pi / (2 * pulse.length) * np.sin(np.pi * t / pulse.length)
    by_hand = [scipy.integrate.simpson(force * np.exp(-2j * np.pi * f * t), x=t) for f in hz]
    assert pulse.spectrum(hz) == pytest.approx(np.array(by_hand), abs=1e-8 * pulse.impulse)


def test_pressure_of_a_piston_on_its_axis() -> None:
    """A rigid disc in a wall on its axis, p = rho c v |2 sin(k (sqrt(d^2 + a^2) - d) / 2)|.

    L. E. Kinsler et al., Fundamentals of Acoustics, 4th ed. 2000, eq. 7.4.5 (recalled).
    """
    a, gas = 0.15, air_gas(20.0)
    n = 400
    r = a * np.sqrt((np.arange(n) + 0.5) / n)
    turn = 2 * np.pi * 0.381966 * np.arange(n)
    xy = np.column_stack([r * np.cos(turn), r * np.sin(turn)])
    weight = np.full(n, np.pi * a**2 / n)
    found = heard_top(np.array([800.0]), np.array([0.02]), np.ones(1), xy, weight, np.ones((1, n)), np.zeros(2), gas)
    f = found.hz[[100, 400, 700]]
    w, w0 = 2 * np.pi * f, 2 * np.pi * 800.0
    v = w / np.abs(w0**2 - w**2 + 0.02j * w * w0)
    exact = gas.density * gas.speed * v * np.abs(2 * np.sin(w / gas.speed * (np.hypot(ABOVE, a) - ABOVE) / 2))
    assert np.abs(found.pressure[[100, 400, 700]]) == pytest.approx(exact, rel=0.01)


def test_tap_has_the_modes_by_a_transform_of_its_own() -> None:
    heard, _ = invented_top()
    sound = tap_sound(heard, KNUCKLE)
    free = sound[round((LEAD + 0.02) * RATE) :]
    n = 2**20
    # A smooth window, so that the tails of the neighbours do not move a peak.
    shown = free[: round(0.8 * RATE)]
    spectrum = np.abs(np.fft.rfft(shown * np.hanning(len(shown)), n))
    t = np.arange(len(free)) / RATE
    for hz, decay in zip(HZ, np.pi * HZ * LOSS, strict=True):
        bins = np.flatnonzero(np.abs(np.arange(len(spectrum)) * RATE / n - hz) < 6)
        peak = bins[np.argmax(spectrum[bins])]
        assert peak * RATE / n == pytest.approx(hz, abs=0.15)
        band = butter(2, [hz - 12, hz + 12], "bandpass", fs=RATE, output="sos")
        level = np.log(np.abs(hilbert(sosfiltfilt(band, free))))
        within = (t > 0.15) & (t < 0.45)
        assert -np.polyfit(t[within], level[within], 1)[0] == pytest.approx(decay, rel=0.03)


def test_tap_reader_finds_the_modes_again() -> None:
    heard, _ = invented_top()
    one = tap_sound(heard, KNUCKLE, duration=1.2)
    rng = np.random.default_rng(3)
    taps = np.concatenate([np.zeros(RATE // 2), one, 0.8 * one, 1.1 * one])
    taps = 0.8 * taps / np.abs(taps).max() + 1e-4 * rng.normal(size=len(taps))
    fit = fit_recordings([("made", (Sound(taps, RATE, np.zeros(0, dtype=int), 1, 1),))])
    assert fit.frequencies == pytest.approx(HZ[1:] if len(fit.frequencies) == 3 else HZ, rel=1e-3)
    assert fit.decays == pytest.approx((np.pi * HZ * LOSS)[-len(fit.decays) :], rel=0.02)
    assert len(fit.frequencies) == len(HZ)


def test_energy_is_that_of_the_frequency_response() -> None:
    """Parseval, with the response integrated by quadrature and not on the sound's own frequencies."""
    heard, _ = invented_top()
    energy = float((tap_sound(heard, FINGERTIP) ** 2).sum() / RATE)
    real, imag = (np.interp(f := np.linspace(0.01, heard.highest, 200_001), heard.hz, part) for part in
                  (heard.pressure.real, heard.pressure.imag))  # fmt: skip
    power = (real**2 + imag**2) * taper(f, heard.highest) ** 2 * np.abs(FINGERTIP.spectrum(f)) ** 2
    assert energy == pytest.approx(2 * scipy.integrate.simpson(power, x=f), rel=0.02)


def test_silence_before_the_tap_and_no_sound_before_its_travel() -> None:
    heard, _ = invented_top()
    sound = tap_sound(heard, FINGERTIP, duration=1.0)
    assert len(sound) == RATE
    assert np.abs(sound[: round(0.5 * LEAD * RATE)]).max() < 2e-3 * np.abs(sound).max()
    assert sound[-1] == 0


def test_tap_on_a_node_line_leaves_its_mode_out() -> None:
    heard, at = invented_top((0.125, 0.2))
    assert at[:2] == pytest.approx(0, abs=1e-12)
    k = round(97.0 / heard.spacing)
    off, _ = invented_top()
    assert abs(heard.pressure[k]) < 0.2 * abs(off.pressure[k])  # the others are left


def test_loss_of_one_factor_is_every_modes_loss() -> None:
    """Stiffness all of one loss factor: every mode has it (degree one in the moduli)."""
    design = plate(rectangle(0.4, 0.3), 2.8e-3, "free")
    woods = {WOOD: TRIAL_WOOD}
    model = build_model(design, woods, size=60e-3)
    modes = solve(model, 6)
    same = dict.fromkeys(woods, LossFactors(0.013, 0.013, 0.013))
    assert top_loss(model, modes, same) == pytest.approx(np.full(6, 0.013), rel=1e-3)
    usual = top_loss(model, modes, {})
    assert (usual > 0.0065).all()
    assert (usual < 0.021).all()
    assert deflections(model, modes, design.driving_point).shape == (6, 1)


def test_sum_of_decays() -> None:
    roots, a = np.array([300 + 4j, 2000 + 20j, 31 + 0.5j]), np.array([1.0, 0.3 - 0.2j, 2j])
    t = np.arange(1003) / 8000
    exact = sum((x * np.exp(1j * w * t)).real for w, x in zip(roots, a, strict=True))
    assert decaying(roots, a, 1003, 8000) == pytest.approx(exact, abs=1e-12)


STRING = LossyString("made", 70.0, 3e-3, 0.0, 4e-4, 0.0)
LENGTH = 0.65


def exact_note(string: LossyString, length: float, peak: BodyPeak, pluck: float, n: int, seconds: float) -> np.ndarray:
    """Velocity of a mass on a spring on which a string ends, after a pluck of 1 N; modes of both together, N = 200.

    u(x, t) = w (1 - x / L) + sum of q_n sin(n pi x / L); no loss but the body's, no approximation but the series.
    """
    N = 200
    k = np.arange(1, N + 1)
    m, T, L = string.mass, string.tension, length
    M = np.diag(np.r_[peak.mass + m * L / 3, np.full(N, m * L / 2)])
    M[0, 1:] = M[1:, 0] = m * L / (k * np.pi)
    own = 2 * np.pi * peak.frequency
    K = np.diag(np.r_[peak.mass * own**2 + T / L, T * (k * np.pi) ** 2 / (2 * L)])
    C = np.diag(np.r_[peak.mass * own / peak.quality, m * L * string.friction * np.pi * k * np.sqrt(T / m) / (2 * L)])
    force = np.r_[1 - pluck, np.sin(k * np.pi * pluck)]
    start = np.linalg.solve(K, force)
    A = np.block([[np.zeros_like(K), np.eye(N + 1)], [-np.linalg.solve(M, K), -np.linalg.solve(M, C)]])
    lam, V = np.linalg.eig(A)
    a = np.linalg.solve(V, np.r_[start, np.zeros(N + 1)].astype(complex))
    kept = np.abs(lam.imag) < 2 * np.pi * 1100
    return decaying(-1j * lam[kept], a[kept] * V[N + 1, kept], n, round(n / seconds))


@pytest.mark.parametrize(
    ("peak", "least"),
    [
        pytest.param(BodyPeak(290.0, 30.0, 0.4), 0.98, id="between two partials"),
        pytest.param(BodyPeak(118.0, 30.0, 0.4), 0.98, id="on the first partial"),
        pytest.param(BodyPeak(235.0, 80.0, 0.08), 0.98, id="a split second partial"),
    ],
)
def test_note_is_that_of_string_and_body_together(peak: BodyPeak, least: float) -> None:
    """The attack too: correlation with the exact motion of one string on one oscillator over the first half second."""
    sound = plucked_note(simple_body((peak,)), STRING, LENGTH, pluck=0.2, width=0.0, duration=1.0)
    start, n = round(LEAD * RATE), RATE // 2
    exact = exact_note(STRING, LENGTH, peak, 0.2, n, 0.5)
    low = butter(6, 700, fs=RATE, output="sos")
    # Both without what lies near the model's end, where the note is tapered.
    a, b = (sosfiltfilt(low, one) for one in (sound[start : start + n], exact))
    assert a @ b / np.sqrt((a @ a) * (b @ b)) > least
    assert np.sqrt((a @ a) / (b @ b)) == pytest.approx(1, abs=0.08)


def test_partials_die_away_as_on_the_map() -> None:
    peaks = (BodyPeak(105, 25, 0.7), BodyPeak(203, 25, 0.12), BodyPeak(390, 30, 0.3))
    body = simple_body(peaks)
    fret = 3
    length = LENGTH * 2 ** (-fret / 12)
    sound = plucked_note(body, STRING, length, duration=2.5)
    chart = sustain_map([STRING], lambda f: admittance_of(peaks, f), scale_length=LENGTH, n_frets=fret, peaks=peaks)
    t = np.arange(len(sound)) / RATE
    within = (t > 0.4) & (t < 1.2)
    for n in (1, 2, 3):
        hz = chart.partial_frequency[0, fret, n - 1]
        band = butter(2, [hz - 25, hz + 25], "bandpass", fs=RATE, output="sos")
        level = np.log(np.abs(hilbert(sosfiltfilt(band, sound))))
        slope = -np.polyfit(t[within], level[within], 1)[0]
        assert LN_60 / slope == pytest.approx(chart.partial_decay_time[0, fret, n - 1], rel=0.03)


def test_twice_the_pressure_twice_the_sound_and_a_softer_finger_is_duller() -> None:
    peaks = (BodyPeak(203, 25, 0.12),)
    one, two = (plucked_note(simple_body(peaks, k), STRING, LENGTH, duration=0.5) for k in (1.0, 2.0))
    assert two == pytest.approx(2 * one)
    wide = plucked_note(simple_body(peaks), STRING, LENGTH, width=30e-3, duration=0.5)

    def treble(x: np.ndarray) -> float:
        power = np.abs(np.fft.rfft(x)) ** 2
        return float(power[round(0.5 * 3000) :].sum() / power.sum())

    assert treble(wide) < 0.5 * treble(one)


def test_refusals() -> None:
    body = simple_body((BodyPeak(203, 25, 0.12),))
    for wrong in ({"pluck": 1.0}, {"width": 1.0}, {"duration": 0.01}):
        with pytest.raises(DesignError, match="note: length"):
            plucked_note(body, STRING, LENGTH, **wrong)
    with pytest.raises(DesignError, match="tap: length 0"):
        replace(KNUCKLE, length=0.0)
    with pytest.raises(DesignError, match="modes need"):
        invented_top(loss=0 * LOSS)
