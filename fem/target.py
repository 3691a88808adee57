"""Where a maker wants the modes of a top: frequencies, intervals, distances from a note, modes to leave alone, sustain.

Depends on geometry/units. Every kind becomes a band for one sum of logarithms of frequencies, so that the plan treats
all of them alike.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from bracedtop.geometry.errors import DesignError

Kind = Literal["frequency", "ratio", "gap", "keep", "sustain"]
Weight = Literal["must", "want"]

TOLERANCE = 0.01
"""Breadth of the band behind a target, relative; chosen: 17 cents, which few ears hear in a top's tap tone."""

CENT = math.log(2) / 1200
"""One cent as a difference of logarithms."""

DECAY = math.log(1000)
"""Logarithm of the drop of 60 dB that T60 stands for."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where the maker wants a mode.

    Parameters
    ----------
    mode : int
        1 for the lowest elastic mode.
    hz : float
        Wanted frequency; of a gap the frequency to stay away from; of "keep" where the mode is now. nan where there is
        none, or none yet.
    text : str
        In words, such as ``"F#3 -10 cents"``.
    kind : str
        "frequency" (in the band that begins at `hz`), "ratio" (to mode `other`), "gap" (at least `cents` away from
        `hz`), "keep" (within `cents` of `hz`), "sustain" (T60 of at least `seconds`).
    weight : str
        "must" comes before "want".
    tolerance : float
        Breadth of the band, relative; of a frequency all of it lies above `hz`, of a ratio half of it.
    other : int
        Mode to which a ratio is, 0 for none.
    cents : float
        Of the ratio; of a gap and of "keep" the distance.
    seconds : float
        Least T60, s.
    loss_factor : float
        As measured, of "sustain"; nan if not known yet.
    """

    mode: int
    hz: float
    text: str
    kind: Kind = "frequency"
    weight: Weight = "must"
    tolerance: float = TOLERANCE
    other: int = 0
    cents: float = 0.0
    seconds: float = 0.0
    loss_factor: float = math.nan

    @property
    def is_must(self) -> bool:
        """Whether it comes before what is only wanted."""
        return self.weight == "must"

    @property
    def words(self) -> str:
        """Mode and wish in words, such as ``"mode 6 at D4 -45 cents"``."""
        return f"mode {self.mode} {self.text}" if self.kind != "frequency" else f"mode {self.mode} at {self.text}"


@dataclass(frozen=True, slots=True)
class Goal:
    """A target as a band: low <= row . ln(frequencies) <= high.

    Parameters
    ----------
    row : (n_modes,) array
    low, high : float
        Infinite where that side is open.
    risky : tuple of int
        Sides which wood taken off must not pass, -1 for the low and +1 for the high one: what lies behind them cannot
        be mended by taking off more.
    must : bool
    """

    row: np.ndarray
    low: float
    high: float
    risky: tuple[int, ...]
    must: bool

    def value(self, log_hz: np.ndarray) -> float:
        """The sum that has to lie in the band."""
        return float(self.row @ log_hz)

    def miss(self, value: float) -> float:
        """How far a value is outside: above is positive, below is negative, 0 inside."""
        return max(value - self.high, 0.0) - max(self.low - value, 0.0)


def settled(
    targets: Sequence[Target], hz: np.ndarray, loss_factors: Mapping[int, float] | None = None
) -> tuple[Target, ...]:
    """Targets that no longer depend on what was tapped: modes to keep know where they are, sustain its loss factor.

    Parameters
    ----------
    targets : sequence of Target
    hz : (n_modes,) array
        Frequencies before anything was cut.
    loss_factors : mapping of int to float
        As measured, by mode.

    Raises
    ------
    DesignError
        If a mode is not among these, or its loss factor is needed and not known.
    """
    known = loss_factors or {}
    found = []
    for target in targets:
        last = max(target.mode, target.other)
        if last > len(hz):
            message = f"target of mode {last}; modes 1 to {len(hz)} can be planned"
            raise DesignError(message)
        if target.kind == "keep" and math.isnan(target.hz):
            found.append(replace(target, hz=float(hz[target.mode - 1])))
        elif target.kind == "sustain" and math.isnan(target.loss_factor):
            if not known.get(target.mode, 0.0) > 0:
                message = (
                    f"target of mode {target.mode}: sustain_s needs the mode's decay; record taps in which it rings"
                )
                raise DesignError(message)
            found.append(replace(target, loss_factor=float(known[target.mode])))
        else:
            found.append(target)
    return tuple(found)


def sustain_limit(seconds: float, loss_factor: float) -> float:
    """Frequency in Hz below which a mode's T60 is at least `seconds`, its loss factor held.

    The amplitude falls as exp(-pi f eta t), so that T60 = ln(1000) / (pi f eta): for the same wood and glue, a lower
    mode rings longer.
    """
    return DECAY / (math.pi * loss_factor * seconds)


def goal_of(target: Target, log_hz: np.ndarray) -> Goal:
    """Band of a settled target, seen from where the modes are now.

    Parameters
    ----------
    target : Target
    log_hz : (n_modes,) array
        Logarithms of the present frequencies in Hz. They decide on which side of a note a gap is kept, and in which
        direction a target may be passed.
    """
    row = np.zeros(len(log_hz))
    row[target.mode - 1] = 1.0
    if target.other:
        row[target.other - 1] -= 1.0
    now = float(row @ log_hz)
    half = 0.5 * target.tolerance
    if target.kind == "frequency":
        low = math.log(target.hz)
        high = low + math.log1p(target.tolerance)
        # From below a mode can only be raised, and may then go too far.
        return Goal(row, low, high, (1,) if now < low else (-1,), target.is_must)
    if target.kind == "ratio":
        middle = target.cents * CENT
        low, high = middle - half, middle + half
        return Goal(row, low, high, (1,) if now < low else (-1,) if now > high else (-1, 1), target.is_must)
    distance = target.cents * CENT
    if target.kind == "keep":
        middle = math.log(target.hz)
        low, high = middle - distance, middle + distance
        return Goal(row, low, high, (1,) if now < low else (-1,) if now > high else (-1, 1), target.is_must)
    if target.kind == "gap":
        middle = math.log(target.hz)
        # Inside the gap the way out is down, as wood comes off.
        if now >= middle + distance:
            return Goal(row, middle + distance, math.inf, (-1,), target.is_must)
        return Goal(row, -math.inf, middle - distance, (1,) if now <= middle - distance else (), target.is_must)
    high = math.log(sustain_limit(target.seconds, target.loss_factor))
    return Goal(row, -math.inf, high, (1,) if now <= high else (), target.is_must)
