"""Sounds brought to one loudness, so that louder does not pass for better.

Depends on nothing inside the project. Loudness is that of ITU-R BS.1770 by pyloudnorm (permissive licence, pure Python
on NumPy and SciPy), with its filters that keep the recommendation's own coefficients at 48 kHz. A-weighted energy would
be simpler, but it leaves out the gate: the longer silence behind a short note would count as softness.

References
----------
ITU-R BS.1770-4 (2015), annex 1: weighting, blocks of 0.4 s, gates at -70 LKFS and 10 LU below the mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyloudnorm
from numpy.typing import NDArray

from bracedtop.geometry.errors import DesignError

Real = NDArray[np.float64]

BLOCK = 0.4
"""Length of a gating block, s (BS.1770-4)."""

TARGET = -23.0
"""Loudness to which sounds are brought, LKFS; chosen: that of broadcasting (EBU R 128, from memory), well below what
hurts with headphones on."""

HIGHEST_PEAK = 10 ** (-1.0 / 20.0)
"""Largest sample, of full scale; chosen: 1 dB of room for what a converter makes between samples."""

_SCALE = 0.1
"""Peak to which a sound is brought before it is measured, so that the gates do not cut a soft one away."""


@dataclass(frozen=True, slots=True, eq=False)
class Matched:
    """Sounds of one loudness.

    Parameters
    ----------
    sounds : tuple of (n,) arrays
        Full scale is 1.
    gains : tuple of float, dB
        By which each was raised beyond the one that was loudest; 0 for that one.
    loudness : float, LKFS
        Of all of them: `TARGET`, or less where a peak would have been too high.
    """

    sounds: tuple[Real, ...]
    gains: tuple[float, ...]
    loudness: float


def loudness(samples: Real, rate: int) -> float:
    """Integrated loudness of one channel, LKFS.

    Parameters
    ----------
    samples : (n,) array
        Full scale is 1. What is shorter than one block is measured with silence behind it.
    rate : int
        Samples per second.

    Raises
    ------
    DesignError
        If the sound is silent or has samples that are not numbers.
    """
    peak = float(np.abs(samples).max(initial=0.0))
    if not 0 < peak < np.inf:
        message = f"loudness: largest sample {peak:g}; must be > 0 and a number"
        raise DesignError(message)
    filled = np.zeros(max(len(samples), int(np.ceil(BLOCK * rate)) + 1))
    filled[: len(samples)] = samples * (_SCALE / peak)
    measured = float(pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(filled))
    return measured + 20.0 * float(np.log10(peak / _SCALE))


def matched(sounds: Sequence[Real], rate: int, target: float = TARGET) -> Matched:
    """Sounds brought to one loudness; if one of them would clip, all are lowered together.

    Parameters
    ----------
    sounds : sequence of (n,) arrays
        In any unit, the same for all.
    rate : int
    target : float, LKFS

    Raises
    ------
    DesignError
        As `loudness`, or if there is no sound.
    """
    if not sounds:
        message = "loudness: no sound to match; needs one at least"
        raise DesignError(message)
    found = np.array([loudness(one, rate) for one in sounds])
    factors = 10.0 ** ((target - found) / 20.0)
    peak = max(float(np.abs(one).max() * k) for one, k in zip(sounds, factors, strict=True))
    guard = min(1.0, HIGHEST_PEAK / peak)
    scaled = tuple(np.asarray(one * (k * guard)) for one, k in zip(sounds, factors, strict=True))
    return Matched(scaled, tuple(float(g) for g in found.max() - found), target + 20.0 * float(np.log10(guard)))
