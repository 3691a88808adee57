"""Which pairings are a close call, why, and where to tap to settle them.

Depends on fem/match, fem/taps, geometry/design.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.match import Motion, Pair, Pairing, Real
from bracedtop.fem.taps import Measured
from bracedtop.geometry.design import Design
from bracedtop.geometry.units import MM

GRID = 10 * MM
"""Spacing of the points from which a tap is suggested; chosen: a finger's width."""

FROM_EDGE = 25 * MM
"""Least distance of a suggested tap from rim and hole; chosen: a tap at the rim knocks and rings the rim alone."""

TELLING = 0.3
"""Least difference of the two modes' amplitudes, over their largest, at a suggested tap; chosen: ten decibels between a
mode that moves half its most and one that moves a fifth."""


@dataclass(frozen=True, slots=True)
class Ambiguity:
    """Two predicted modes of which either could be a measured one.

    Parameters
    ----------
    measured : tuple of int
        The measured mode's number; two numbers where the two modes could be exchanged.
    modes : (int, int)
        Predicted modes: the paired one, and the other.
    apart_hz : float
        Between the two predicted frequencies.
    seen : str
        What was seen besides the frequency, in words.
    tap : (float, float) or None, m
        Where the two differ most in amplitude; None where they look the same.
    amplitudes : (float, float)
        Of the two modes there, relative to their largest.
    """

    measured: tuple[int, ...]
    modes: tuple[int, int]
    apart_hz: float
    seen: str
    tap: tuple[float, float] | None = None
    amplitudes: tuple[float, float] = (0.0, 0.0)

    @property
    def words(self) -> str:
        """One sentence for the bench."""
        a, b = sorted(self.modes)
        if len(self.measured) > 1:
            i, j = sorted(self.measured)
            could = f"predicted {a} and {b} could be measured {i} and {j} either way round"
        else:
            could = f"predicted {a} and {b} could both be measured {self.measured[0]}"
        facts = f"{could}: {self.apart_hz:.1f} Hz apart, {self.seen}"
        if self.tap is None:
            return f"{facts}; their shapes differ too little to tell them apart by one tap"
        x, y = (_millimetres(value) for value in self.tap)
        loud, still = (0, 1) if self.amplitudes[0] > self.amplitudes[1] else (1, 0)
        quiet = "stands nearly still" if self.amplitudes[still] < 0.1 else "moves less"
        return (
            f"{facts}; tap at x {x}, y {y} mm to tell them apart: mode {self.modes[loud]} moves there, "
            f"mode {self.modes[still]} {quiet}"
        )


def ambiguities(
    pairing: Pairing,
    predicted_hz: Real,
    measured: Sequence[Measured],
    amplitude: Motion | None = None,
    places: Real | None = None,
) -> tuple[Ambiguity, ...]:
    """Every close call of a pairing once.

    Parameters
    ----------
    pairing : Pairing
    predicted_hz : (n,) array
    measured : sequence of Measured
        As they were paired.
    amplitude : function, optional
        Gives for points (k, 2) in m each mode's |w| relative to its largest, (n, k).
    places : (g, 2) array, m, optional
        Where one could tap, as from `tap_places`.
    """
    of_mode = {p.mode: p for p in pairing.pairs}
    motion = None
    if amplitude is not None and places is not None and len(places):
        motion = np.abs(amplitude(places))
    found: dict[tuple[int, int], Ambiguity] = {}
    for p in pairing.pairs:
        for other in p.ambiguous_with:
            key = (min(p.mode, other), max(p.mode, other))
            if key in found:
                continue
            back = of_mode.get(other)
            both = back is not None and p.mode in back.ambiguous_with
            numbers = (p.number, back.number) if back is not None and both else (p.number,)
            tap, amplitudes = None, (0.0, 0.0)
            if motion is not None and places is not None:
                tap, amplitudes = _telling(motion[p.mode - 1], motion[other - 1], places)
            found[key] = Ambiguity(
                numbers,
                (p.mode, other),
                abs(float(predicted_hz[other - 1] - predicted_hz[p.mode - 1])),
                _seen(p, other, measured, pairing),
                tap,
                amplitudes,
            )
    return tuple(found[key] for key in sorted(found))


def tap_places(design: Design) -> Real:
    """Points (g, 2) in m on a grid of the top, off its rim and holes."""
    inner = design.region.buffer(-FROM_EDGE)
    if inner.is_empty:
        return np.empty((0, 2))
    x0, y0, x1, y1 = inner.bounds
    x, y = (GRID * np.arange(np.ceil(low / GRID), np.floor(high / GRID) + 1) for low, high in ((x0, x1), (y0, y1)))
    grid = np.array(np.meshgrid(x, y)).reshape(2, -1).T
    return np.asarray(grid[shapely.contains_xy(inner, grid[:, 0], grid[:, 1])])


def _telling(first: Real, second: Real, places: Real) -> tuple[tuple[float, float] | None, tuple[float, float]]:
    """Where two modes differ most in amplitude, and their amplitudes there."""
    k = int(np.argmax(np.abs(first - second)))
    here = float(first[k]), float(second[k])
    if abs(here[0] - here[1]) < TELLING:
        return None, here
    return (float(places[k, 0]), float(places[k, 1])), here


def _seen(p: Pair, other: int, measured: Sequence[Measured], pairing: Pairing) -> str:
    """What else than the frequency was measured, in words."""
    column = next(j for j, mode in enumerate(measured) if mode.number == p.number)
    mode = measured[column]
    noted = bool(mode.nodes) or any(lines is not None for lines in mode.nodal_lines)
    words = "node notes fit both" if noted else "no node notes"
    if mode.shape is None or pairing.mac is None:
        return words
    k, (own, its) = len(mode.shape.points), pairing.mac[[p.mode - 1, other - 1], column]
    return f"{words}, shape at {k} point{'s' * (k != 1)} fits both (MAC {own:.2f} and {its:.2f})"


def _millimetres(length: float) -> str:
    # Zero without a sign.
    return f"{round(length / MM)}"
