"""A recording of taps: its modes' frequencies, decays and how well the taps agree.

Depends on fem/sound, fem/hits, fem/modal_fit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.hits import Hit
from bracedtop.fem.modal_fit import ModalFit, fit_recordings
from bracedtop.fem.sound import Sound, read_sound

T60 = float(np.log(1e3))
"""Time in which a decay falls by 60 dB, over its time constant."""

FURTHEST_BACK = 1.0
"""Time constants by which a level is followed back from the decay's start to the strike; chosen: what dies sooner than
it is heard would be the loudest of all by mere extrapolation."""

QUIETEST = -35.0
"""Level of the weakest mode reported, dB relative to the strongest; chosen."""


@dataclass(frozen=True, slots=True)
class Peak:
    """One mode heard in a recording.

    Parameters
    ----------
    hz : float
    spread_hz : float or None
        Standard deviation over the hits in which it was found; None for a single one.
    decay_time : float or None, s
        Time T60 in which it falls by 60 dB.
    q : float or None
        Quality factor pi f T60 / ln 1000.
    level_db : float
        Amplitude at the strike, mean square over the hits, relative to the strongest mode.
    n_hits : int
        Hits in which it stood out by itself.
    std_error_hz : float or None
        Standard error of `hz`, from the spread over the hits and not below what the noise makes.
    std_error_decay_time : float or None, s
        The same of `decay_time`.
    """

    hz: float
    spread_hz: float | None
    decay_time: float | None
    q: float | None
    level_db: float
    n_hits: int
    std_error_hz: float | None = None
    std_error_decay_time: float | None = None


@dataclass(frozen=True, slots=True)
class Recording:
    """What a recording tells.

    Parameters
    ----------
    path : Path
    rate : int
        Samples per second.
    n_hits : int
        Hits that were used.
    peaks : tuple of Peak
        In order of frequency.
    warnings : tuple of str
        What limits the result, in words.
    hits : tuple of Hit
    steady_hz : tuple of float
        Tones that do not decay (hum); not among the peaks.
    frequency : (n,) array, Hz
    level : (n,) array, dB
        Mean power spectrum of the free decays, relative to its largest value.
    amplitudes : (n_hits, n_peaks) complex array
        Of each peak after each of `hits`, referred to its `strike_s`; relative to full scale.
    """

    path: Path
    rate: int
    n_hits: int
    peaks: tuple[Peak, ...]
    warnings: tuple[str, ...]
    hits: tuple[Hit, ...]
    steady_hz: tuple[float, ...]
    frequency: NDArray[np.float64]
    level: NDArray[np.float64]
    amplitudes: NDArray[np.complex128] = field(default_factory=lambda: np.zeros((0, 0), dtype=complex))


def analyse_recording(
    path: Path, *, lowest: float = 50.0, highest: float = 2000.0, channel: int | None = None
) -> Recording:
    """Frequencies and decays of the modes in a WAV or FLAC file of one or more taps.

    Each tap's free decay is cut out; all decays together are fitted by decaying sinusoids that share their
    frequencies and decay rates (fem/decay), then each decay alone for the spread. Bounces end the part that is
    left out at a tap's start. Tones that were there before the first tap, or do not decay, are no modes.

    Parameters
    ----------
    path : Path
    lowest, highest : float, Hz
        Range of interest.
    channel : int, optional
        Counted from 1; the loudest if not given.

    Raises
    ------
    FileError
        If the file cannot be used: see fem/sound, or no clear hit, no hit followed by 0.2 s of decay, or nothing
        that decays in the range of interest.
    """
    path = Path(path)
    sound = read_sound(path, channel)
    (recording,) = analyse_together([(path, (sound,))], lowest=lowest, highest=highest)
    if sound.n_channels > 1 and channel is None:
        said = f"{sound.n_channels} channels; only channel {sound.channel} was used"
        return replace(recording, warnings=(said, *recording.warnings))
    return recording


def analyse_together(
    recordings: Sequence[tuple[Path, Sequence[Sound]]], *, lowest: float = 50.0, highest: float = 2000.0
) -> tuple[Recording, ...]:
    """Several recordings of a top that was held in one way: one set of modes, told recording by recording.

    Parameters
    ----------
    recordings : sequence of (Path, sequence of Sound)
        Each with those of its channels that hear the top; spectra and levels are the first one's.
    lowest, highest : float, Hz

    Raises
    ------
    FileError
        As `analyse_recording`.
    """
    fit = fit_recordings([(str(path), sounds) for path, sounds in recordings], lowest=lowest, highest=highest)
    first_hit = np.cumsum([0, *(len(own.hits) for own in fit.recordings)])
    found = []
    for k, (path, sounds) in enumerate(recordings):
        own = fit.recordings[k]
        warnings = list(own.warnings)
        if fit.steady_hz:
            heard = ", ".join(f"{hz:.1f}" for hz in fit.steady_hz)
            warnings.append(f"steady tones, not taken for modes: {heard} Hz")
        # In any channel: one may lie on a line that stands still.
        size = np.sqrt((np.abs(own.amplitudes) ** 2).mean(axis=1)).max(axis=0)
        level_db = 20 * np.log10(np.maximum(size / size.max(), 1e-10))
        loud = np.flatnonzero(level_db >= QUIETEST)
        hits = slice(int(first_hit[k]), int(first_hit[k + 1]))
        sound = sounds[0]
        frequency, level = _spectrum(sound, own.hits, fit.duration, (lowest, min(highest, 0.45 * sound.rate)))
        found.append(
            Recording(
                path=path,
                rate=sound.rate,
                n_hits=len(own.hits),
                peaks=tuple(_peak(fit, int(m), float(level_db[m]), hits) for m in loud),
                warnings=tuple(warnings),
                hits=own.hits,
                steady_hz=fit.steady_hz,
                frequency=frequency,
                level=level,
                amplitudes=own.amplitudes[0][:, loud],
            )
        )
    return tuple(found)


def _peak(fit: ModalFit, k: int, level_db: float, hits: slice) -> Peak:
    """Mode k in one recording, whose hits these are among all."""
    frequencies = fit.hit_frequencies[hits, k]
    alone = frequencies[np.isfinite(frequencies)]
    sigma = float(fit.decays[k])
    return Peak(
        hz=float(fit.frequencies[k]),
        spread_hz=float(np.std(alone, ddof=1)) if len(alone) > 1 else None,
        decay_time=T60 / sigma,
        q=float(np.pi * fit.frequencies[k] / sigma),
        level_db=level_db,
        n_hits=len(alone),
        std_error_hz=float(fit.frequency_errors[k]),
        std_error_decay_time=T60 / sigma * float(fit.decay_errors[k]) / sigma,
    )


def _spectrum(
    sound: Sound, hits: tuple[Hit, ...], duration: float, limits: tuple[float, float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    n = int(duration * sound.rate)
    # Interpolated to half a hertz or finer, so that a drawn peak has its height.
    padded = max(n, 2 * sound.rate)
    # Falls to nothing at the end, so that the noise floor is not cut off.
    taper = np.cos(np.linspace(0, np.pi / 2, n)) ** 2
    power = np.zeros(padded // 2 + 1)
    for hit in hits:
        start = min(round(hit.decay_s * sound.rate), len(sound.samples) - n)
        power += np.abs(np.fft.rfft(taper * sound.samples[start : start + n], padded)) ** 2
    frequency = np.fft.rfftfreq(padded, 1 / sound.rate)
    inside = (frequency >= limits[0]) & (frequency <= limits[1])
    power = power[inside]
    return np.asarray(frequency[inside], dtype=float), 10 * np.log10(np.maximum(power / power.max(), 1e-12))
