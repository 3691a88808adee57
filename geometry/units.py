"""All conversions between the user's units (mm, g, Hz, notes) and SI."""

import math
import re

MM = 1e-3
GRAM = 1e-3
GPA = 1e9
MPA = 1e6
DEGREE = math.pi / 180.0

CONCERT_PITCH = 440.0
"""Frequency of A4, Hz (ISO 16:1975)."""

_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_NOTE = re.compile(r"([A-Ga-g])([#b]?)(-?\d)")


def cents(frequency: float, reference: float) -> float:
    """Interval from `reference` to `frequency` in cents (1200 per octave)."""
    return 1200.0 * math.log2(frequency / reference)


def note(frequency: float) -> tuple[str, float]:
    """Nearest equal-tempered note, such as ``"A4"``, and the deviation from it in cents."""
    steps = 69.0 + 12.0 * math.log2(frequency / CONCERT_PITCH)
    nearest = round(steps)
    return f"{_NAMES[nearest % 12]}{nearest // 12 - 1}", 100.0 * (steps - nearest)


def is_note(name: str) -> bool:
    """Whether `name` is a note such as ``"F#3"``."""
    return _NOTE.fullmatch(name.strip()) is not None


def note_frequency(name: str, deviation: float = 0.0) -> float:
    """Frequency in Hz of a note such as ``"F#3"`` or ``"Bb2"``, `deviation` cents above it.

    Raises
    ------
    ValueError
        If `name` is not a letter A to G, an optional # or b, and an octave digit.
    """
    match = _NOTE.fullmatch(name.strip())
    if match is None:
        message = f"{name!r} is not a note; write a letter A to G, # or b if needed, and the octave, like F#3"
        raise ValueError(message)
    letter, accidental, octave = match.groups()
    step = _STEPS[letter.upper()] + {"": 0, "#": 1, "b": -1}[accidental]
    key = step + 12 * (int(octave) + 1)
    return float(CONCERT_PITCH * 2.0 ** ((key - 69 + deviation / 100.0) / 12.0))
