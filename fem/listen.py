"""A tap and a plucked note to listen to, out of what the model predicts.

Depends on fem/body_peaks, fem/heard, fem/string_loss, fem/sustain_map, geometry/errors.

Tap: the force pulse's spectrum times sound pressure per force, transformed back to time.

Note: a string let go pulls the bridge by

    f(t) = Re sum over n of a_n [s_n exp(i omega_n t) + (1 - s_n) exp(i omega'_n t)],
    a_n = F 2 sin(n pi b) / (n pi) sinc(n w / 2 L),

with the coupled frequencies omega_n, omega'_n and parts s_n of fem/sustain_map, place b, and a finger of width w. Until
then the string has pulled by the constant f(0). So the body is driven by f(t) - f(0) from t = 0 on, and what it answers
to that step is the attack. Where a partial meets a resonance, the body by itself would ring at a frequency that the two
together do not have; the zero of s_n / (omega - omega_n) + (1 - s_n) / (omega - omega'_n) lies there and takes it out.

Above the highest frequency of the model, partials sound by its mean level over the octave below and die away by its
mean conductance there; that is a guess, the same before and after a change.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import fftconvolve

from bracedtop.fem.body_peaks import Complex, Real, continued
from bracedtop.fem.heard import Body, Heard, admittance_of_body
from bracedtop.fem.string_loss import LossyString, partial_frequencies, string_rate
from bracedtop.fem.sustain_map import LEAST_RATE, PLUCK, coupled
from bracedtop.geometry.errors import DesignError

RATE = 48_000
"""Samples per second."""

LEAD = 0.01
"""Silence before a sound begins, s; chosen."""

FADE = 0.05
"""Time over which the end of a sound is faded, s; chosen."""

TAPERED = 0.8
"""Part of the highest frequency from which a response is faded out, so that it does not end abruptly; chosen."""

WIDTH = 10e-3
"""Width of the finger on the string, m; common practice, no source: the flesh of a fingertip."""

NOTE_LENGTH = 3.0
"""Length of a note, s; chosen."""

HIGHEST_PARTIAL = 6000.0
"""Hz; chosen: above it the finger's width leaves nothing."""

BUILD_UP = 3e-3
"""Time in which partials above the model's frequencies set in, s; chosen: a Q of 30 at 3 kHz."""


@dataclass(frozen=True, slots=True)
class Pulse:
    """Half a sine of force.

    Parameters
    ----------
    name : str
    length : float, s
    impulse : float, N s

    Raises
    ------
    DesignError
        If a figure is not positive.
    """

    name: str
    length: float
    impulse: float = 0.01

    def __post_init__(self) -> None:
        """Check the figures once."""
        for what, value in (("length", self.length), ("impulse", self.impulse)):
            if not 0 < value < np.inf:
                message = f"tap: {what} {value:g}; must be > 0"
                raise DesignError(message)

    def spectrum(self, hz: Real) -> Complex:
        """Fourier transform of the force from t = 0 on, N s, shaped as `hz`."""
        u = hz * self.length
        shape = np.pi / 4.0 * (np.sinc(u - 0.5) + np.sinc(u + 0.5))
        return np.asarray(self.impulse * shape * np.exp(-1j * np.pi * u))


FINGERTIP = Pulse("fingertip", 5e-3)
KNUCKLE = Pulse("knuckle", 1.5e-3)
"""Common practice, no source: soft flesh stays for some milliseconds, bone for one or two."""


def tap_sound(heard: Heard, pulse: Pulse = KNUCKLE, *, rate: int = RATE, duration: float | None = None) -> Real:
    """Sound of one tap.

    Parameters
    ----------
    heard : Heard
    pulse : Pulse
    rate : int
        Samples per second.
    duration : float, s, optional
        Its end is faded; the whole period of the response, not faded, if not given.

    Returns
    -------
    (n,) array, Pa
        The force begins after `LEAD`.
    """
    period = _in_time(heard, pulse.spectrum(heard.hz) * np.exp(-2j * np.pi * heard.hz * LEAD), rate)
    if duration is None:
        return period
    out = np.zeros(round(duration * rate))
    n = min(len(out), len(period))
    out[:n] = period[:n]
    return faded(out, rate)


def plucked_note(
    body: Body,
    string: LossyString,
    length: float,
    *,
    force: float = 1.0,
    pluck: float = PLUCK,
    width: float = WIDTH,
    rate: int = RATE,
    duration: float = NOTE_LENGTH,
) -> Real:
    """Sound of one plucked note.

    Parameters
    ----------
    body : Body
        Driven at the bridge.
    string : LossyString
    length : float, m
        Sounding length: the scale's, times 2^(-fret / 12).
    force : float, N
        With which the string is drawn aside, upright to the top.
    pluck : float
        Place as a part of the sounding length.
    width : float, m
    rate : int
        Samples per second.
    duration : float, s

    Returns
    -------
    (n,) array, Pa
        The string is let go after `LEAD`; the end is faded.

    Raises
    ------
    DesignError
        If a length is not positive, or the pluck lies outside the string.
    """
    if not 0 < length < np.inf or not 0 <= width < length or not 0 < pluck < 1 or not duration > LEAD + FADE:
        message = (
            f"note: length {1e3 * length:g} mm, finger {1e3 * width:g} mm, pluck at {pluck:g}, {duration:g} s; "
            f"must be > 0, shorter than the string, between 0 and 1, and more than {LEAD + FADE:g} s"
        )
        raise DesignError(message)
    heard = body.heard
    first = float(partial_frequencies(string, length, 1))
    n = np.arange(1, max(int(HIGHEST_PARTIAL / first), 1) + 1)
    f = partial_frequencies(string, length, n)
    n, f = n[f < 0.45 * rate], f[f < 0.45 * rate]
    own = np.maximum(string_rate(string, length, n), LEAST_RATE)
    pull = string.tension / length
    Y = continued(admittance_of_body(body), heard.highest)(f)
    pairs = coupled(f, own, np.full(f.shape, pull), Y, body.peaks)
    a = force * 2.0 * np.sin(n * np.pi * pluck) / (n * np.pi) * np.sinc(n * width / (2.0 * length))
    within = f <= heard.highest
    out = np.zeros(round(duration * rate))
    start = round(LEAD * rate)
    m = len(out) - start
    roots = np.concatenate([pairs.string_root[within], pairs.body_root[within]])
    parts = np.concatenate([(a * pairs.string_part)[within], (a * pairs.body_part)[within]])
    drive = decaying(roots, parts, m, rate) - float(parts.sum().real)
    answer = _in_time(heard, np.ones(len(heard.pressure)), rate)
    out[start:] = fftconvolve(drive, answer)[:m] / rate
    # What the taper takes from partials below the end comes back here, so that power is kept.
    rest = np.sqrt(1.0 - taper(f, heard.highest) ** 2)
    late = start + round(heard.lag * rate)
    m = len(out) - late
    above = decaying(pairs.string_root, a * rest * _mean_level(heard), m, rate)
    out[late:] += above * -np.expm1(-np.arange(m) / (rate * BUILD_UP))
    return faded(out, rate)


def decaying(roots: Complex, amplitudes: Complex, n: int, rate: int) -> Real:
    """Re sum over j of a_j exp(i omega_j t) at `n` samples from t = 0.

    Parameters
    ----------
    roots : (j,) complex array, rad/s
        Imaginary parts are decay rates.
    amplitudes : (j,) array
    n, rate : int
    """
    # exp(i omega (t + s)) is a product, so that a matrix product replaces most exponentials.
    step = max(int(np.sqrt(n)), 1)
    blocks = np.arange(0, n, step) / rate
    coarse = np.exp(1j * np.outer(blocks, roots)) * amplitudes
    fine = np.exp(1j * np.outer(roots, np.arange(step) / rate))
    return np.asarray((coarse @ fine).real.ravel()[:n])


def taper(hz: Real, highest: float) -> Real:
    """1 up to `TAPERED` times the highest frequency, falling to 0 there by half a cosine."""
    x = np.clip((hz / highest - TAPERED) / (1.0 - TAPERED), 0.0, 1.0)
    return np.asarray((1.0 + np.cos(np.pi * x)) / 2.0)


def faded(samples: Real, rate: int) -> Real:
    """The same sound with its last `FADE` seconds faded out."""
    out = samples.copy()
    n = min(round(FADE * rate), len(out))
    out[len(out) - n :] *= (1.0 + np.cos(np.pi * np.arange(1, n + 1) / n)) / 2.0
    return out


def _in_time(heard: Heard, factor: Complex | Real, rate: int) -> Real:
    """One period of the tapered response times a factor (n,), samples of the inverse Fourier integral."""
    n = round(rate / heard.spacing)
    spectrum = np.zeros(n // 2 + 1, dtype=np.complex128)
    kept = min(len(heard.pressure), len(spectrum))
    spectrum[:kept] = (heard.pressure * taper(heard.hz, heard.highest) * factor)[:kept]
    return np.asarray(np.fft.irfft(spectrum, n) * rate)


def _mean_level(heard: Heard) -> float:
    """Root mean square of pressure per force over the highest octave, Pa/N."""
    return float(np.sqrt(np.mean(np.abs(heard.pressure[len(heard.pressure) // 2 :]) ** 2)))
