"""[closed] of a top.toml as text. Depends on fem/closed_target, fem/part_writer, geometry/units."""

from bracedtop.fem.closed_target import (
    CUT_ERROR,
    INTERVALS,
    LARGEST_PASS,
    TOLERANCE,
    ClosedLimits,
    ClosedWish,
)
from bracedtop.fem.part_writer import Value, table
from bracedtop.geometry.units import MM

USUAL = ("top blocked", "air")
"""The notes between which an interval lies if nothing is said."""


def closed_text(wish: ClosedWish | None, limits: ClosedLimits | None = None) -> str:
    """Text of [closed] that reads back as this wish and these limits; empty if there is nothing to say."""
    limits = limits or ClosedLimits()
    values: dict[str, Value] = {}
    if wish is not None and wish.over is None:
        values |= {"of": wish.of, "hz": wish.hz}
    elif wish is not None and wish.over is not None:
        semitones = wish.cents / 100
        name = next((name for name, size in INTERVALS.items() if size == semitones), None)
        values |= {"semitones": semitones} if name is None else {"relation": name}
        if (wish.of, wish.over) != USUAL:
            values["between"] = (wish.of, wish.over)
    if wish is not None and wish.tolerance != TOLERANCE:
        values["tolerance_cents"] = wish.tolerance
    if limits.least_ring is not None:
        values["least_ring_mm"] = limits.least_ring / MM
    if limits.largest_pass != LARGEST_PASS:
        values["largest_pass_mm"] = limits.largest_pass / MM
    if limits.cut_error != CUT_ERROR:
        values["cut_error_mm"] = limits.cut_error / MM
    return table("closed", values) if values else ""
