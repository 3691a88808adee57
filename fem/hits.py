"""Where the taps of a recording are, and which stretch after each is a free decay.

Depends on nothing inside the project.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import butter, find_peaks, sosfilt

Real = NDArray[np.float64]

HOP = 1e-3
"""Spacing of the energies that are looked at, s; chosen: shorter than a strike, a few samples at 4 kHz."""

BANDS = ((40.0, 1000.0), (400.0, 2500.0), (2500.0, 20000.0))
"""Where taps are looked for, Hz: where a top sounds; above most hum; above most ringing, for clicks and bounces."""

RISE_DB = 10.0
"""A tap rises by this over the loudest of the 30 ms before it; chosen: beats of close modes rise by less."""

OVER_NOISE_DB = 10.0
"""Over the noise floor; chosen: 5 ms of noise in the narrowest band reach this once in a million."""

WEAKEST_DB = -30.0
"""Level of the weakest tap relative to the strongest; chosen: below it, noises of the room are taken for taps."""

DECAY_DB = 8.0
"""By this a tap dies away before the next, as a mean over 20 ms; chosen: steps of a steady sound do not."""

BOUNCE_WITHIN = 0.12
"""Strikes closer than this are one tap with a bounce, s; chosen: nobody means to tap eight times a second."""

AFTER_STRIKE = 3e-3
"""From the loudest 5 ms of a strike to its free decay, s; chosen: a knuckle or soft hammer touches for 1 to 5 ms."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One tap.

    Parameters
    ----------
    start_s : float
        Moment of the strike.
    strike_s : float
        The last strike: `start_s`, or the last bounce.
    decay_s : float
        Start of the free decay: after the strike, its bounces and any clipped samples.
    stop_s : float
        End of the decay: the next tap or the end of the recording.
    quiet_s : float
        When the sound has sunk to the noise floor; at most `stop_s`.
    level_db : float
        Loudest millisecond relative to full scale.
    n_bounces : int
    """

    start_s: float
    strike_s: float
    decay_s: float
    stop_s: float
    quiet_s: float
    level_db: float
    n_bounces: int


def _decibels(energy: Real) -> Real:
    return np.asarray(10 * np.log10(energy + 1e-14))


def _energies(signal: Real, hop: int) -> Real:
    n = len(signal) // hop
    return np.asarray((signal[: n * hop].reshape(n, hop) ** 2).mean(axis=1))


def find_hits(signal: Real, rate: float, clipped: NDArray[np.intp]) -> tuple[Hit, ...]:
    """Taps in a recording, in order of time.

    Parameters
    ----------
    signal : (n,) array
        Between -1 and 1.
    rate : float, Hz
    clipped : (m,) array of int
        Samples at full scale; no decay starts before the last one of its tap.
    """
    hop = max(round(HOP * rate), 1)
    step = hop / rate
    if len(signal) < 40 * hop:
        return ()
    bands = [_Band.from_signal(signal, rate, edge, hop) for edge in BANDS if edge[0] < 0.3 * rate]
    strikes, seen_in = _strikes(bands)
    whole = bands[0]
    loudness = np.array([whole.level[k : k + 12].max() for k in strikes])
    first: list[int] = []
    bounces: list[list[int]] = []
    where: list[_Band] = []
    for k, band, loud in zip(strikes, seen_in, loudness, strict=True):
        if first and (k - first[-1]) * step < BOUNCE_WITHIN:
            bounces[-1].append(k)
        elif loud > loudness.max() + WEAKEST_DB:
            first.append(k)
            bounces.append([])
            where.append(bands[band])
    hits = []
    for i, k in enumerate(first):
        stop = first[i + 1] - 5 if i + 1 < len(first) else len(whole.level)
        last = max([k, *bounces[i]])
        peak = last + int(whole.level[last : last + 12].argmax())
        # A step of a steady sound does not die away; at the file's start it also upsets the upper bands' filters.
        slow = (whole if k < 10 else where[i]).slow
        if slow[peak:stop].min(initial=np.inf) > slow[k : k + 25].max() - DECAY_DB:
            continue
        decay_s = peak * step + AFTER_STRIKE
        near = clipped[(clipped >= k * hop) & (clipped < stop * hop)]
        if len(near):
            decay_s = max(decay_s, float(near[-1]) / rate + 1e-3)
        sunk = np.flatnonzero(whole.slow[peak:stop] < whole.floor + 3)
        hits.append(
            Hit(
                start_s=k * step,
                strike_s=last * step,
                decay_s=decay_s,
                stop_s=stop * step,
                quiet_s=(peak + int(sunk[0]) if len(sunk) else stop) * step,
                level_db=float(whole.level[k : k + 15].max()),
                n_bounces=len(bounces[i]),
            )
        )
    return tuple(hits)


@dataclass(frozen=True, slots=True)
class _Band:
    """Energy of a band in steps of a hop, dB: over 5 hops and over 20, its noise floor, and its rises."""

    energy: Real
    level: Real
    slow: Real
    floor: float
    rise: Real

    @classmethod
    def from_signal(cls, signal: Real, rate: float, edges: tuple[float, float], hop: int) -> "_Band":
        sections = butter(2, (edges[0], min(edges[1], 0.45 * rate)), "bandpass", fs=rate, output="sos")
        energy = _energies(sosfilt(sections, signal), hop)
        level = _decibels(uniform_filter1d(energy, 5))
        slow = _decibels(uniform_filter1d(energy, 20))
        floor = float(np.quantile(slow, 0.1))
        # Against the floor too: the few samples of a quiet moment may be lower than it by chance.
        audible = maximum_filter1d(level, 10, origin=-5) > floor + OVER_NOISE_DB
        return cls(energy, level, slow, floor, np.where(audible, _rise(level), 0.0))


def _rise(level: Real) -> Real:
    """Rise in dB at each hop: the loudest of the 10 ms from there over the loudest of 3 to 30 ms before."""
    n = len(level)
    ahead = maximum_filter1d(level, 10, origin=-5)
    before = np.full(n, level.min())
    wide = maximum_filter1d(level, 27, origin=13)
    before[3:] = wide[:-3]
    return np.asarray(ahead - before)


def _strikes(bands: list[_Band]) -> tuple[list[int], list[int]]:
    """Hops in which strikes begin, and the band that shows each best."""
    rises = np.array([band.rise for band in bands])
    peaks = find_peaks(np.concatenate([[0.0], rises.max(axis=0), [0.0]]), height=RISE_DB, distance=12)[0] - 1
    strikes: dict[int, int] = {}
    for k in peaks:
        # The rise is seen up to 10 ms ahead; the strike begins where the energy jumps most.
        best = int(rises[:, k].argmax())
        log = np.log(np.concatenate([[0.0], bands[best].energy[max(k - 2, 0) : k + 14]]) + 1e-14)
        if k > 2:
            log[0] = np.log(bands[best].energy[k - 3] + 1e-14)
        strikes.setdefault(int(max(k - 2, 0) + np.diff(log).argmax()), best)
    order = sorted(strikes)
    return order, [strikes[k] for k in order]
