"""Where the maker wants the top's and the air's notes of the closed box, and what thinning its ring may do.

Depends on fem/toml_file, geometry/errors, geometry/units. Everything becomes a number of cents that is still to go.
"""

import math
from dataclasses import dataclass
from typing import Literal

from bracedtop.fem.toml_file import shown
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.units import is_note, note_frequency

ClosedNote = Literal["top", "top blocked", "air"]

NOTES: tuple[ClosedNote, ...] = ("top", "top blocked", "air")
"""The top's note with the hole open, the same with it blocked, and the air's note, the lowest of the box."""

INTERVALS = {
    "fourth": 5.0,
    "fifth": 7.0,
    "minor sixth": 8.0,
    "sixth": 9.0,
    "minor seventh": 10.0,
    "seventh": 11.0,
    "octave": 12.0,
}
"""Semitones of equal temperament by name."""

TOLERANCE = 10.0
"""Breadth of the band behind a target, cents; chosen: twice what a practised ear just hears between two tones (about 5
cents, recalled)."""

LARGEST_PASS = 0.1e-3
"""Deepest pass over the ring, m; chosen: two or three strokes of a scraper or a sanding block, then a tap."""

CUT_ERROR = 0.02e-3
"""Standard deviation of the depth of a pass over the ring, m; chosen: a dial gauge over the edge reads 0.01 mm."""

LEAST_PART = 0.7
"""Part of the top's thickness that is left at the ring if the drawing says nothing; chosen."""


@dataclass(frozen=True, slots=True)
class ClosedWish:
    """Where a note of the closed box should be.

    Parameters
    ----------
    of : str
        One of `NOTES`.
    over : str or None
        The note above which `of` should lie by an interval; None for a frequency.
    cents : float
        That interval.
    hz : float
        That frequency; nan for an interval.
    text : str
        In words, such as "an octave" or "F#3 -10 cents".
    tolerance : float, cents
        The band lies above the target, on the side from which thinning comes.

    Raises
    ------
    DesignError
        If it wants something impossible.
    """

    of: ClosedNote
    over: ClosedNote | None
    cents: float
    hz: float
    text: str
    tolerance: float = TOLERANCE

    def __post_init__(self) -> None:
        """Check the numbers once."""
        if self.over is None and not 0 < self.hz < math.inf:
            message = f"closed box: {self.hz:g} Hz wanted of the {self.of}; must be > 0"
            raise DesignError(message)
        if self.over == self.of:
            message = f'closed box: an interval between "{self.of}" and itself; must be between two notes'
            raise DesignError(message)
        if not 0 < self.tolerance < math.inf:
            message = f"closed box: tolerance {self.tolerance:g} cents; must be > 0"
            raise DesignError(message)

    @property
    def words(self) -> str:
        """What is wanted, in words."""
        return f"{self.of} at {self.text}" if self.over is None else f"{self.of} {self.text} above {self.over}"

    def off(self, hz: dict[str, float]) -> float:
        """How far above the target the notes are, cents."""
        under = self.hz if self.over is None else hz[self.over]
        return 1200.0 * math.log2(hz[self.of] / under) - self.cents


@dataclass(frozen=True, slots=True)
class ClosedLimits:
    """What thinning the ring may do.

    Parameters
    ----------
    least_ring : float or None, m
        Thickness that stays; None for `LEAST_PART` of the top's.
    largest_pass : float, m
    cut_error : float, m
    """

    least_ring: float | None = None
    largest_pass: float = LARGEST_PASS
    cut_error: float = CUT_ERROR

    def least(self, thickness: float) -> float:
        """Thickness that stays at the ring of a top of this thickness, m."""
        return LEAST_PART * thickness if self.least_ring is None else self.least_ring


def interval(of: ClosedNote, over: ClosedNote, semitones: float, tolerance: float = TOLERANCE) -> ClosedWish:
    """A wish for an interval between two notes."""
    name = next((name for name, size in INTERVALS.items() if size == semitones), None)
    text = f"{semitones:g} semitones" if name is None else f"{'an' if name == 'octave' else 'a'} {name}"
    return ClosedWish(of, over, 100.0 * semitones, math.nan, text, tolerance)


def frequency(of: ClosedNote, hz: float, tolerance: float = TOLERANCE) -> ClosedWish:
    """A wish for a frequency in Hz."""
    return ClosedWish(of, None, 0.0, hz, f"{hz:g} Hz", tolerance)


def noted(of: ClosedNote, name: str, cents: float = 0.0, tolerance: float = TOLERANCE) -> ClosedWish:
    """A wish for a note.

    Raises
    ------
    ValueError
        If it is no note.
    """
    text = name.strip() + (f" {cents:+g} cents" if cents else "")
    return ClosedWish(of, None, 0.0, note_frequency(name, cents), text, tolerance)


def parsed_wish(text: str, tolerance: float = TOLERANCE) -> ClosedWish:
    """A wish from the command line: "octave", "10.5" semitones, "air = 98", "top blocked = F#3".

    Raises
    ------
    DesignError
        If it is none of these.
    """
    of, equals, rest = (part.strip() for part in text.partition("="))
    if not equals:
        semitones = INTERVALS.get(of, _number(of))
        if semitones is not None and 0 < semitones <= 48:
            return interval("top blocked", "air", semitones, tolerance)
    elif of in NOTES:
        hz = _number(rest)
        if hz is not None and 10 <= hz <= 2000:
            return frequency(of, hz, tolerance)
        if is_note(rest):
            return noted(of, rest, 0.0, tolerance)
    message = (
        f"target {shown(text)}; allowed are an interval between the blocked top and the air ({', '.join(INTERVALS)}, "
        f"or semitones), or one of {', '.join(NOTES)} = a note or Hz"
    )
    raise DesignError(message)


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
