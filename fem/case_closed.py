"""What a drawing wants of its closed box: [closed].

Depends on fem/box_schema, fem/case_file, fem/case_schema, fem/closed_target, fem/toml_file, geometry/units.
"""

from bracedtop.fem.case_file import FILE_NAME
from bracedtop.fem.case_schema import CaseTable
from bracedtop.fem.closed_target import INTERVALS, ClosedLimits, ClosedNote, ClosedWish, frequency, interval, noted
from bracedtop.fem.toml_file import refuse_value, shown
from bracedtop.geometry.errors import FileError
from bracedtop.geometry.units import MM


def closed_of(tables: CaseTable) -> tuple[ClosedWish | None, ClosedLimits]:
    """What is wanted of the closed box, None for nothing, and what thinning its ring may do.

    Raises
    ------
    FileError
        If there is no box, a note is none, or more is to be left of the ring than there is.
    """
    table = tables.closed
    if table is None:
        return None, ClosedLimits()
    if tables.sides is None:
        message = f"{FILE_NAME}: [closed] without [sides]; only a closed box has an air's note and a ring to thin"
        raise FileError(message)
    least = table.least_ring_mm
    if least is not None and least > tables.top.thickness_mm:
        allowed = f"must be at most {tables.top.thickness_mm:g}, the top's thickness"
        refuse_value(FILE_NAME, "closed.least_ring_mm", f"{least:g}", allowed)
    limits = ClosedLimits(None if least is None else least * MM, table.largest_pass_mm * MM, table.cut_error_mm * MM)
    tolerance = table.tolerance_cents
    if table.of is not None and table.hz is not None:
        return frequency(table.of, table.hz, tolerance), limits
    if table.of is not None and table.note is not None:
        try:
            return noted(table.of, table.note, table.cents, tolerance), limits
        except ValueError:
            allowed = "must be a letter A to G, # or b if needed, and the octave, like F#3"
            refuse_value(FILE_NAME, "closed.note", shown(table.note), allowed)
    semitones = table.semitones if table.relation is None else INTERVALS[table.relation]
    if semitones is None:
        return None, limits
    between: tuple[ClosedNote, ...] = ("top blocked", "air") if table.between is None else tuple(table.between)
    return interval(between[0], between[1], semitones, tolerance), limits
