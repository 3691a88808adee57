"""Rendered taps: recordings of hits on a top whose modes are known, for tests and for invented cases.

Depends on geometry/errors.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from bracedtop.geometry.errors import FileError

DRIFTING = (0.05, 0.6)
"""Frequencies at which the hum's strength changes, Hz; chosen: motors and lamps come and go over seconds."""

SOUNDING = 0.1
"""The signal's level is its root mean square over this time after the first hit, s; chosen: tops ring as long."""


@dataclass(frozen=True, slots=True)
class Disturbance:
    """What spoils a recording.

    Parameters
    ----------
    noise_db : float or None
        White noise, its root mean square in dB relative to the signal's over the first 0.1 s after the first hit
        (-30 for a signal-to-noise ratio of 30 dB). None for no noise.
    hum_hz : float or None
        Mains frequency; its first six multiples are added.
    hum_db : float
        Level of the hum's fundamental, as for the noise; multiples fall by 4 dB each.
    hum_drift : float
        Standard deviation of the slow change of the hum's strength, relative to it.
    bounce : (float, float) or None
        Delay in s and relative strength of a second, unwanted strike after every hit.
    clip : float
        Level at which samples are cut off, relative to the largest; 1 for none.
    """

    noise_db: float | None = None
    hum_hz: float | None = None
    hum_db: float = -20.0
    hum_drift: float = 0.0
    bounce: tuple[float, float] | None = None
    clip: float = 1.0


def tap_signal(
    hz: np.ndarray,
    decay_times: np.ndarray,
    amplitudes: np.ndarray,
    *,
    rate: int,
    duration: float,
    hit_times: np.ndarray,
    rng: np.random.Generator,
    strength_spread: float = 0.2,
    place_spread: float = 0.15,
    click: float = 0.5,
    disturbance: Disturbance | None = None,
) -> np.ndarray:
    """Sound of several taps: decaying sinusoids and a click a hit, with noise, hum and faults as asked.

    Every hit differs a little in strength, and in how much of each mode it excites, as taps by hand do; the
    frequencies and decays stay the same.

    Parameters
    ----------
    hz, decay_times, amplitudes : (n_modes,) arrays
        Frequencies in Hz, times T60 in s in which a mode falls by 60 dB, amplitudes right after a hit.
    rate : int
        Samples per second.
    duration : float, s
    hit_times : (n_hits,) array, s
    rng : Generator
        Source of all chance; the same seed gives the same sound.
    strength_spread, place_spread : float
        Standard deviations of the logarithms of a hit's strength and of each mode's share in it.
    click : float
        Peak of the strike's own broadband noise, relative to the sum of the amplitudes; it is gone after 2 ms.
    disturbance : Disturbance, optional

    Returns
    -------
    (n_samples,) array
        Largest magnitude 0.9, or 1 where it is clipped.
    """
    faults = disturbance or Disturbance()
    strikes = [(float(t), 1.0) for t in hit_times]
    if faults.bounce is not None:
        delay, strength = faults.bounce
        strikes += [(t + delay, strength) for t, _ in strikes]
    hz, amplitudes = np.asarray(hz, dtype=float), np.asarray(amplitudes, dtype=float)
    decay = np.log(1e3) / np.asarray(decay_times, dtype=float)
    signal = np.zeros(round(duration * rate))
    for start, strength in strikes:
        first = int(np.ceil(start * rate))
        t = np.arange(first, len(signal)) / rate - start
        force = strength * np.exp(strength_spread * rng.normal())
        a = force * amplitudes * np.exp(place_spread * rng.normal(size=len(hz)))
        for k in range(len(hz)):
            signal[first:] += a[k] * np.exp(-decay[k] * t) * np.sin(2 * np.pi * hz[k] * t)
        # Gone by 60 dB after 2 ms.
        signal[first:] += force * click * amplitudes.sum() * np.exp(-t / 0.3e-3) * rng.uniform(-1, 1, len(t))
    first = round(min(hit_times) * rate)
    level = float(np.sqrt(np.mean(signal[first : first + round(SOUNDING * rate)] ** 2)))
    t = np.arange(len(signal)) / rate
    if faults.hum_hz is not None:
        for k in range(1, 7):
            peak = np.sqrt(2) * level * 10 ** ((faults.hum_db - 4 * (k - 1)) / 20)
            hum = np.sin(2 * np.pi * k * faults.hum_hz * t + rng.uniform(0, 2 * np.pi))
            if faults.hum_drift:
                hum *= 1 + faults.hum_drift * _slow_change(t, rng)
            signal += peak * hum
    if faults.noise_db is not None:
        signal += level * 10 ** (faults.noise_db / 20) * rng.normal(size=len(signal))
    largest = np.abs(signal).max()
    if faults.clip < 1:
        return np.asarray(np.clip(signal / (faults.clip * largest), -1.0, 1.0))
    return np.asarray(0.9 * signal / largest)


def _slow_change(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A sum of slow waves of mean square one."""
    waves = [(rng.uniform(*DRIFTING), rng.uniform(0, 2 * np.pi)) for _ in range(6)]
    return np.asarray(sum(np.cos(2 * np.pi * f * t + phase) for f, phase in waves) / np.sqrt(3))


def write_wav(path: Path, signal: np.ndarray, rate: int) -> None:
    """Write a 16-bit WAV file; `signal` is (n_samples,) or (n_samples, n_channels) between -1 and 1.

    Raises
    ------
    FileError
        If the file cannot be written.
    """
    try:
        soundfile.write(path, np.clip(signal, -1.0, 1.0), rate, subtype="PCM_16", format="WAV")
    except soundfile.LibsndfileError as error:
        message = f"{path}: cannot be written ({error.error_string})"
        raise FileError(message) from error
