"""The targets of a drawing, [[target]], and what a plan may do, [plan].

Depends on fem/case_schema, fem/plan_limits, fem/target, fem/toml_file, geometry/units.
"""

import math

from bracedtop.fem.case_schema import CaseTable, TargetTable
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.target import Target
from bracedtop.fem.toml_file import did_you_mean, refuse_value, shown
from bracedtop.geometry.units import GRAM, MM, note_frequency

FILE_NAME = "top.toml"


def targets_of(tables: CaseTable) -> tuple[Target, ...]:
    """Targets of a drawing; of each kind one a mode.

    Raises
    ------
    FileError
        If a mode has two targets of one kind, or a note is none.
    """
    targets: list[Target] = []
    for i, row in enumerate(tables.target, start=1):
        target = _target(i, row)
        for earlier in targets:
            if (earlier.mode, earlier.kind, earlier.other) == (target.mode, target.kind, target.other):
                allowed = "this mode has a target already; one a mode is allowed"
                refuse_value(FILE_NAME, f"target {i}.mode", str(row.mode), allowed)
        targets.append(target)
    return tuple(targets)


def limits_of(tables: CaseTable) -> Limits:
    """What a plan may do.

    Raises
    ------
    FileError
        If a brace that is named is none of the drawing's.
    """
    table = tables.plan
    names = [row.name for row in tables.brace]
    for key, named in (("leave_braces", table.leave_braces), ("brace_least_height_mm", table.brace_least_height_mm)):
        for name in named:
            if name not in names:
                allowed = f"no such brace; {did_you_mean(name, names)}braces: {', '.join(names) or 'none'}"
                refuse_value(FILE_NAME, f"plan.{key}", shown(name), allowed)
    return Limits(
        largest_step=table.largest_step_mm * MM,
        least_height=table.least_height_mm * MM,
        least_heights={name: height * MM for name, height in table.brace_least_height_mm.items()},
        left=tuple(table.leave_braces),
        cuts_ring=table.thin_edge_ring,
        largest_slope=table.steepest_percent / 100,
        shortest=table.shortest_cut_mm * MM,
        remove_at_most=None if table.remove_at_most_g is None else table.remove_at_most_g * GRAM,
        remove_about=None if table.remove_about_g is None else table.remove_about_g * GRAM,
        largest_turn=table.largest_bridge_turn_deg,
        largest_stress_share=table.largest_stress_share,
        confidence=table.confidence_percent / 100,
        cut_error=table.cut_error_mm * MM,
    )


def _target(number: int, row: TargetTable) -> Target:
    tolerance = row.tolerance_percent / 100
    if row.hz is not None:
        return Target(row.mode, row.hz, f"{row.hz:g} Hz", weight=row.weight, tolerance=tolerance)
    if row.note is not None:
        hz = _frequency(number, "note", row.note, row.cents)
        text = row.note.strip() + (f" {row.cents:+g} cents" if row.cents else "")
        return Target(row.mode, hz, text, weight=row.weight, tolerance=tolerance)
    if row.ratio_to_mode is not None:
        cents = row.cents if row.ratio is None else 1200 * math.log2(row.ratio)
        text = (f"{row.cents:+g} cents" if row.ratio is None else f"{row.ratio:g} times") + f" mode {row.ratio_to_mode}"
        return Target(
            row.mode,
            math.nan,
            text,
            kind="ratio",
            weight=row.weight,
            tolerance=tolerance,
            other=row.ratio_to_mode,
            cents=cents,
        )
    if row.away_from is not None and row.at_least_cents is not None:
        hz = _frequency(number, "away_from", row.away_from, 0.0)
        text = f"at least {row.at_least_cents:g} cents from {row.away_from.strip()}"
        return Target(row.mode, hz, text, kind="gap", weight=row.weight, cents=row.at_least_cents)
    if row.keep_within_cents is not None:
        text = f"left within {row.keep_within_cents:g} cents"
        return Target(row.mode, math.nan, text, kind="keep", weight=row.weight, cents=row.keep_within_cents)
    seconds = row.sustain_s or 0.0
    return Target(
        row.mode, math.nan, f"ringing {seconds:g} s or more", kind="sustain", weight=row.weight, seconds=seconds
    )


def _frequency(number: int, key: str, note: str, cents: float) -> float:
    try:
        return note_frequency(note, cents)
    except ValueError:
        allowed = "must be a letter A to G, # or b if needed, and the octave, like F#3"
        refuse_value(FILE_NAME, f"target {number}.{key}", shown(note), allowed)
