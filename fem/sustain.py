"""How long a tap sounds, band by band: decay times by backward integration.

Depends on fem/hits, fem/sound, fem/strike, fem/taps.

References
----------
M. R. Schroeder, "New method of measuring reverberation time", J. Acoust. Soc. Am. 37 (1965) 409-412. ISO 3382-1:2009,
5.3 and Annex A.2 (evaluation from -5 dB over 20 or 30 dB, the noise 10 dB below that); ISO 3382-2:2008, Annex B
(curvature of a decay in two slopes); both from memory. IEC 61260-1:2014, 5.4 (exact midband frequencies, base ten) and
Annex E (nominal ones); from memory. F. Jacobsen, J. H. Rindel, "Time reversed decay measurements", J. Sound Vib. 117
(1987) 187-190 (a filter run backwards lengthens no decay if bandwidth times T60 exceeds 4); from memory.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from bracedtop.fem.hits import AFTER_STRIKE, Hit
from bracedtop.fem.sound import read_sound
from bracedtop.fem.strike import read_channels
from bracedtop.fem.taps import Taps

Real = NDArray[np.float64]

RATIO = 10**0.3
"""Octave of base ten (IEC 61260-1, 5.2)."""

ORDER = 3
"""Of the Butterworth band-pass, six poles; common practice for octave filters, and within class 1 of IEC 61260."""

STEP = 1e-3
"""Resolution of decays, s; chosen."""

START_DB = 5.0
"""The evaluation begins where the decay has fallen by this (ISO 3382-1)."""

RANGES = {"T30": 30.0, "T20": 20.0}
"""Decibels over which the slope is taken, the better first (ISO 3382-1)."""

OVER_NOISE_DB = 10.0
"""The noise has to lie this far below the end of the range (ISO 3382-1)."""

LEAST_PRODUCT = 4.0
"""Bandwidth times decay time below which the filter, not the top, decays (Jacobsen and Rindel 1987)."""

LEAST_OWN = 0.3
"""Part of a filtered decay's energy that has to lie between the band's edges; chosen: else the filter's skirts pass
more from beside it."""

CURVED = 10.0
"""Per cent of curvature from which a decay is far from straight (ISO 3382-2, Annex B)."""

LOWEST_HZ, HIGHEST_HZ = 63.0, 2000.0
"""Nominal midbands between which a top is judged; chosen: where its modes are counted."""

PARTS_OF_OCTAVE = (1, 3)


@dataclass(frozen=True, slots=True)
class Band:
    """A fractional-octave band.

    Parameters
    ----------
    name : str
        Nominal midband frequency, such as ``"125 Hz"`` or ``"1.6 kHz"``.
    middle, low, high : float, Hz
        Exact.
    """

    name: str
    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class BandDecay:
    """Decay of all the sound in a band after a tap.

    Parameters
    ----------
    band : Band
    decay_time : float or None, s
        T60 by the slope over `kind`; None if it cannot be told.
    spread : float or None, s
        Standard deviation over recordings.
    kind : str
        ``"T30"``, ``"T20"`` or nothing.
    curvature : float or None
        Per cent by which the later part of the decay is slower than the earlier one.
    range_db : float
        From the level after the strike down to the noise, or to where the next hit cuts the decay off.
    n_hits : int
    remark : str
        Why there is no decay time, or what limits it.
    """

    band: Band
    decay_time: float | None
    spread: float | None
    kind: str
    curvature: float | None
    range_db: float
    n_hits: int
    remark: str


def bands(parts: int = 1, lowest: float = LOWEST_HZ, highest: float = HIGHEST_HZ) -> tuple[Band, ...]:
    """Octave bands (`parts` = 1) or third-octave bands (3) with nominal midbands from `lowest` to `highest` in Hz."""
    found = []
    half = RATIO ** (0.5 / parts)
    for k in range(-6 * parts, 5 * parts + 1):
        middle = 1000.0 * RATIO ** (k / parts)
        nominal = _nominal(middle)
        if lowest <= nominal <= highest:
            name = f"{nominal:g} Hz" if nominal < 1000 else f"{nominal / 1000:g} kHz"
            found.append(Band(name, middle, middle / half, middle * half))
    return tuple(found)


_NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0)


def _nominal(middle: float) -> float:
    decade = 10.0 ** math.floor(math.log10(middle) + 1e-9)
    nearest = min(_NOMINAL, key=lambda number: abs(math.log(number * decade / middle)))
    return round(nearest * decade, 6)


def sustain(signal: Real, rate: float, hits: Sequence[Hit], *, parts: int = 1) -> tuple[BandDecay, ...]:
    """Decay times of a recording's hits, by octave or third-octave bands that lie within its sampling rate.

    The squared decays of all hits are averaged, the noise is subtracted, and what is left is integrated backwards from
    where it sinks into the noise or is cut off; what would have followed there is added as an exponential.

    Parameters
    ----------
    signal : (n,) array
    rate : float, Hz
    hits : sequence of Hit
    parts : int
        1 for octaves, 3 for thirds.
    """
    return tuple(_band_decay(signal, rate, hits, band) for band in bands(parts) if band.high < 0.45 * rate)


def tap_sustain(taps: Taps, *, parts: int = 1) -> tuple[BandDecay, ...]:
    """Decay times of all recordings of a top together, by octave (`parts` = 1) or third-octave bands (3).

    Raises
    ------
    FileError
        If a recording cannot be read any more.
    """
    hammered = {one.path: one for one in taps.placements if one.hammer_channel is not None}
    found = []
    for recording in taps.recordings:
        if recording.path in hammered:
            heard = read_channels(hammered[recording.path]).heard
            signal = heard[:, int(np.argmax((heard**2).sum(axis=0)))]
        else:
            signal = read_sound(recording.path).samples
        found.append(sustain(signal, recording.rate, recording.hits, parts=parts))
    return joined(found)


def joined(decays: Sequence[Sequence[BandDecay]]) -> tuple[BandDecay, ...]:
    """The same bands of several recordings together: mean rate of decay, weighted by hits, and its spread."""
    by_name: dict[str, list[BandDecay]] = {}
    for one in decays:
        for decay in one:
            by_name.setdefault(decay.band.name, []).append(decay)
    return tuple(_joined(each) for each in by_name.values())


def _joined(each: Sequence[BandDecay]) -> BandDecay:
    good = [decay for decay in each if decay.decay_time]
    best = max(each, key=lambda decay: decay.range_db)
    if not good:
        return best
    weights = np.array([decay.n_hits for decay in good], dtype=float)
    times = np.array([decay.decay_time for decay in good])
    curvatures = [decay.curvature for decay in good if decay.curvature is not None]
    curvature = float(np.median(curvatures)) if curvatures else None
    return BandDecay(
        best.band,
        float(weights.sum() / (weights / times).sum()),
        float(np.std(times, ddof=1)) if len(times) > 1 else None,
        "T30" if all(decay.kind == "T30" for decay in good) else "T20",
        curvature,
        best.range_db,
        sum(decay.n_hits for decay in good),
        _bent(curvature),
    )


def _band_decay(signal: Real, rate: float, hits: Sequence[Hit], band: Band) -> BandDecay:
    sections = butter(ORDER, (band.low, band.high), "bandpass", fs=rate, output="sos")
    hop = max(round(STEP * rate), 1)
    step = hop / rate
    # Each hit by itself, run backwards, so that neither the strike nor the next one rings into its decay.
    pieces, inside, whole = [], 0.0, 0.0
    for hit in hits:
        start, stop = round(hit.decay_s * rate), min(round(hit.stop_s * rate), len(signal))
        n = (stop - start) // hop
        if n < 20:
            continue
        filtered = sosfilt(sections, signal[start : start + n * hop][::-1])[::-1]
        pieces.append((filtered.reshape(n, hop) ** 2).mean(axis=1))
        power = np.abs(np.fft.rfft(filtered)) ** 2
        frequency = np.fft.rfftfreq(len(filtered), 1 / rate)
        inside += float(power[(frequency >= band.low) & (frequency < band.high)].sum())
        whole += float(power.sum())
    if not pieces:
        return BandDecay(band, None, None, "", None, 0.0, 0, "no hit with a free decay")
    if inside < LEAST_OWN * whole:
        return BandDecay(
            band, None, None, "", None, 0.0, len(pieces), "nothing of its own; the bands beside it leak in"
        )
    # The filter's own beginning, at the end of each piece, is left out.
    settle = min(int(2 / (band.high - band.low) / step), min(map(len, pieces)) // 4)
    length = min(len(piece) for piece in pieces) - settle
    energy = np.mean([piece[:length] for piece in pieces], axis=0)
    noise = _noise(signal, rate, hits, sections, energy)
    return _evaluated(energy, noise, step, band, len(pieces))


def _noise(signal: Real, rate: float, hits: Sequence[Hit], sections: Real, energy: Real) -> float:
    """Power of the noise: before the first hit, or the quietest tenth of a second of the decays if that is less."""
    before = signal[: max(round((hits[0].start_s - 10 * AFTER_STRIKE) * rate), 0)]
    n = min(100, max(len(energy) // 8, 1))
    quietest = float(np.convolve(energy, np.ones(n) / n, mode="valid").min())
    if len(before) < 0.1 * rate:
        quarter = len(energy) // 4
        still_falling = energy[-quarter:].mean() < 0.7 * energy[-2 * quarter : -quarter].mean()
        # What still falls is no noise, and taken for noise it would steepen the slope.
        return 1e-9 * quietest if still_falling else quietest
    return min(float((sosfilt(sections, before)[len(before) // 4 :] ** 2).mean()), quietest)


def _evaluated(energy: Real, noise: float, step: float, band: Band, n_hits: int) -> BandDecay:
    """Decay time of a mean squared decay."""
    smooth_over = max(round(1 / (band.high - band.low) / step), 10)
    smooth = np.convolve(energy, np.ones(smooth_over) / smooth_over, mode="valid")
    top = float(smooth[0])
    if top <= 0.0 or noise <= 0.0:
        return BandDecay(band, None, None, "", None, 0.0, n_hits, "silent")
    sunk = np.flatnonzero(smooth < 2.0 * noise)
    stop = int(sunk[0]) if len(sunk) else len(energy)
    cut_off = not len(sunk)
    last = float(smooth[min(stop, len(smooth)) - 1])
    range_db = 10 * math.log10(top / max(noise, last if cut_off else noise))
    if stop < 10:
        return BandDecay(band, None, None, "", None, range_db, n_hits, "not heard above the noise")
    decibels, time = _backwards(energy[:stop] - noise, step)
    why = "before the next hit or the end" if cut_off else "before it sinks into the noise"
    for kind, span in RANGES.items():
        # The integral's own end is an extrapolation; the range has to be heard.
        if range_db < START_DB + span + (0.0 if cut_off else OVER_NOISE_DB):
            continue
        slope = _slope(decibels, time, START_DB, START_DB + span)
        if slope is None:
            continue
        decay_time = 60.0 / slope
        if (band.high - band.low) * decay_time < LEAST_PRODUCT:
            remark = f"decays within {1e3 * decay_time:.0f} ms, which the band's filter blurs"
            return BandDecay(band, None, None, "", None, range_db, n_hits, remark)
        curvature = _curvature(decibels, time, span)
        return BandDecay(band, decay_time, None, kind, curvature, range_db, n_hits, _bent(curvature))
    needed = START_DB + RANGES["T20"] + (0.0 if cut_off else OVER_NOISE_DB)
    remark = f"falls by {range_db:.0f} dB {why}; T20 needs {needed:.0f}"
    return BandDecay(band, None, None, "", None, range_db, n_hits, remark)


def _bent(curvature: float | None) -> str:
    if curvature is None or abs(curvature) <= CURVED:
        return ""
    return "two slopes: " + ("fast, then slow" if curvature > 0 else "slow, then fast")


def _backwards(energy: Real, step: float) -> tuple[Real, Real]:
    """Backward integral in dB relative to its beginning, and its times; the missing end as an exponential."""
    integral = np.cumsum(energy[::-1])[::-1] * step
    time: Real = np.asarray(np.arange(len(energy)) * step, dtype=np.float64)
    tail = 0.0
    for _ in range(5):
        whole = np.maximum(integral + tail, integral[0] * 1e-9)
        decibels = _decibels(whole)
        # From the later half of what fell, where the end belongs to.
        lowest = -decibels[-1]
        slope = _slope(decibels, time, 0.4 * lowest, 0.9 * lowest)
        if slope is None or slope <= 0:
            break
        # The exponential's value at the end, by its fit and not by the last sample, which is noise.
        k = slope * math.log(10) / 10
        level = float(np.interp(0.65 * lowest, -decibels, np.arange(len(decibels))))
        at = min(int(level), len(whole) - 1)
        tail = float(whole[at]) * math.exp(-k * (time[-1] + step - time[at]))
    whole = np.maximum(integral + tail, integral[0] * 1e-9)
    return _decibels(whole), time


def _decibels(integral: Real) -> Real:
    return np.asarray(10 * np.log10(integral / integral[0]), dtype=float)


def _slope(decibels: Real, time: Real, start: float, stop: float) -> float | None:
    """Fall in dB per second between two levels below the beginning; None if they are not reached."""
    first = np.flatnonzero(decibels <= -start)
    last = np.flatnonzero(decibels <= -stop)
    if not len(first) or not len(last) or last[0] - first[0] < 5:
        return None
    use = slice(int(first[0]), int(last[0]) + 1)
    slope = -float(np.polyfit(time[use], decibels[use], 1)[0])
    return slope if slope > 0 else None


def _curvature(decibels: Real, time: Real, span: float) -> float | None:
    """Per cent by which the slope over the whole range is flatter than over its first two thirds."""
    whole = _slope(decibels, time, START_DB, START_DB + span)
    early = _slope(decibels, time, START_DB, START_DB + span * 2 / 3)
    return None if whole is None or early is None else 100 * (early / whole - 1)
