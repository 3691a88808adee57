"""Random guitar-like bodies for property-based tests."""

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from bracedtop.geometry.outline import Hole, Outline, body_outline


@dataclass(frozen=True, slots=True)
class Body:
    """Arguments of a body and of its sound hole, all in m.

    Parameters
    ----------
    length : float
    widths, positions : three floats each
        Lower bout, waist, upper bout.
    hole_at, hole_radius : float
    """

    length: float
    widths: tuple[float, float, float]
    positions: tuple[float, float, float]
    hole_at: float
    hole_radius: float

    @property
    def outline(self) -> Outline:
        (lower, waist, upper), (lower_at, waist_at, upper_at) = self.widths, self.positions
        return body_outline(self.length, lower, lower_at, waist, waist_at, upper, upper_at)

    @property
    def hole(self) -> Hole:
        return Hole(np.array([self.hole_at, 0.0]), np.full(2, self.hole_radius))


@st.composite
def bodies(draw: st.DrawFn) -> Body:
    """Bodies from ukulele to large guitar, in proportions that are built (common practice, no source)."""

    def part(low: float, high: float) -> float:
        return draw(st.floats(low, high))

    length = part(0.23, 0.55)
    lower, upper = part(0.7, 0.85) * length, part(0.54, 0.65) * length
    waist = part(0.65, 0.93) * upper
    positions = (part(0.23, 0.28) * length, part(0.57, 0.62) * length, part(0.8, 0.845) * length)
    return Body(length, (lower, waist, upper), positions, part(0.67, 0.7) * length, part(0.085, 0.108) * length)
