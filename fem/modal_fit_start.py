"""How soon after a strike the decay is free: as early as the fitted modes, followed backwards, still explain the sound.

Every millisecond gained at a decay's start is where it is loudest. What is not free is whatever the finger or hammer
does while it touches, the click, and modes that die at once.

Depends on fem/decay, fem/modal_fit_hits.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt
from scipy.stats import chi2

from bracedtop.fem.decay import Poles, Real
from bracedtop.fem.modal_fit_hits import Tapped

BLOCK = 1e-3
"""Stretch that is judged at a time, s; chosen: a few independent samples of a band up to 2 kHz."""

REST = 0.1
"""Stretch of the free decay that tells how much is always left, s; chosen."""

FALSE_ALARM = 1e-3
"""Chance that noise alone makes a free block look touched; chosen."""

EARLIEST = 2e-3
"""A decay never starts sooner after a strike, s; chosen: strikes are found to a millisecond, and touch for one."""


def started_sooner(tap: Tapped, poles: Poles, duration: float, band: tuple[float, float]) -> Tapped:
    """The recording with the decays of its unclipped hits begun as soon as the modes explain the sound.

    Parameters
    ----------
    tap : Tapped
    poles : Poles
        Fitted; the amplitudes are those of this recording's decays, channel after channel.
    duration : float, s
        Length of the decays that were fitted.
    band : (float, float), Hz
    """
    starts, rate = tap.starts(duration), tap.rate
    block = max(round(BLOCK * rate), 4)
    clipped = np.unique(np.concatenate([sound.clipped for sound in tap.channels]))
    strikes = np.array([round((hit.strike_s + EARLIEST) * rate) for hit in tap.hits])
    free = np.array([not np.any((clipped >= a) & (clipped <= b)) for a, b in zip(strikes, starts, strict=True)])
    if not free.any():
        return tap
    n_before = int((starts - strikes)[free].max()) // block
    n_after = int(REST * rate) // block
    left = _left(tap, poles, starts, strikes, (n_before + n_after) * block, duration, band)
    # Energy in each block of each hit, over channels.
    by_row = (left.reshape(-1, block, left.shape[1]) ** 2).mean(axis=1)
    energy = by_row.reshape(len(by_row), len(tap.channels), -1).mean(axis=1)[:, free]
    always = np.median(energy[n_before:], axis=0)
    # Independent numbers in a block: two for each hertz of the band and second.
    freedom = max(2 * (band[1] - band[0]) * BLOCK, 1.0) * len(tap.channels)
    relative = energy[:n_before] / always
    own = np.array([_last(touched, freedom) for touched in relative.T])
    # All hits together, but one: a strike whose moment is mistaken concerns itself alone.
    others = np.sort(relative, axis=1)[:, : max(relative.shape[1] - 1, 1)]
    together = _last(others.mean(axis=1), freedom * others.shape[1])
    waits = iter(EARLIEST + np.maximum(own, together) * block / rate)
    sooner = (
        replace(hit, decay_s=min(hit.decay_s, hit.strike_s + float(next(waits)))) if ok else hit
        for hit, ok in zip(tap.hits, free, strict=True)
    )
    return replace(tap, hits=tuple(sooner))


def _last(energy: Real, freedom: float) -> int:
    """Blocks up to the last one that holds more than noise, given energies over what is always left."""
    touched = np.flatnonzero(energy > chi2.isf(FALSE_ALARM, freedom) / freedom)
    return int(touched[-1]) + 1 if len(touched) else 0


def _left(
    tap: Tapped,
    poles: Poles,
    starts: NDArray[np.intp],
    strikes: NDArray[np.intp],
    n: int,
    duration: float,
    band: tuple[float, float],
) -> Real:
    """What the poles leave of the sound in the band after each strike, (n, n_rows)."""
    # What rumbles below the band is left alone: a filter against it would ring over the whole stretch.
    sections = butter(4, band[1], fs=tap.rate, output="sos")
    s, t = -poles.sigma + 1j * poles.omega, poles.steady
    left = []
    # The filter settles behind the stretch that is looked at.
    n_heard = 2 * n
    for row, (sound, k) in enumerate((sound, k) for sound in tap.channels for k in range(len(tap.hits))):
        time = (strikes[k] - starts[k] + np.arange(n_heard)) / tap.rate
        waves = np.exp(np.outer(time, s))
        model = waves @ poles.amplitude[row] + time / duration * (waves[:, t] @ poles.drift[row, t])
        stretch = sound.samples[strikes[k] : strikes[k] + n_heard]
        rest = np.pad(stretch, (0, n_heard - len(stretch))) - model.real
        left.append(sosfiltfilt(sections, rest)[:n])
    return np.array(left).T
