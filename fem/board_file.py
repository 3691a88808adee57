"""A board file to a board in SI units with the standard errors of all that was measured.

Depends on fem/board, fem/board_schema, fem/board_taps, fem/moisture, fem/toml_file, fem/wood_table.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from bracedtop.fem.board import Board, Reading
from bracedtop.fem.board_schema import BOARD_TABLES, SIZES, BoardTable
from bracedtop.fem.board_taps import read_taps
from bracedtop.fem.moisture import Climate, wood_at
from bracedtop.fem.toml_file import Layout, did_you_mean, read_layout, refuse_value, regular_bytes, shown, shown_text
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import MOISTURE, handbook_wood, wood_names
from bracedtop.geometry.units import GRAM, MM

LAYOUT = Layout(BOARD_TABLES, 100_000, "a board file", "kind, sizes, mass_g and one [[tap]]")

LIGHTEST, HEAVIEST = 60.0, 1600.0
"""Densities of woods, kg/m^3; chosen: lighter than any balsa, heavier than any lignum vitae."""

UNEVEN = 0.05
"""Scatter of thickness over its mean that is worth a warning; chosen: the stiffness's mean is then 1 % above that of
the mean thickness."""


def read_board(path: Path) -> Board:
    """Board of a board file, recordings included.

    Raises
    ------
    FileError
        If the file, or a recording that it names, cannot be read, or a line, key or value in it is wrong.
    """
    path = Path(path)
    file = shown_text(str(path))
    content = regular_bytes(path, LAYOUT.max_bytes + 1, "give a board file (TOML); see bracedtop wood --help")
    table = read_layout(content, file, LAYOUT, BoardTable)
    errors = table.errors
    sizes = [_size(table, key, file) for key in SIZES[table.kind]]
    if table.grain_along == "width":
        sizes[:2] = sizes[1::-1]
    mass = _reading(table.mass_g, errors.mass_g, GRAM)
    board = Board(
        kind=table.kind,
        name=table.name or shown_text(path.stem) or "board",
        note=table.note,
        sizes=(sizes[0], sizes[1], sizes[2]),
        mass=mass,
        base=_base(table, file),
        taps=(),
        file=file,
    )
    _check_proportions(board, file)
    taps, warnings = read_taps(table, path, file)
    if table.kind == "plate":
        warnings = [*_thickness_warnings(table), *warnings]
    return replace(board, taps=tuple(taps), warnings=tuple(warnings))


def _size(table: BoardTable, key: str, file: str) -> Reading:
    reading = _reading(getattr(table, key), getattr(table.errors, key), MM)
    if reading.relative > 0.2:
        found = f"{reading.value / MM:g} with a standard error of {reading.error / MM:.2g}"
        refuse_value(file, key, found, "must be known to a fifth; see [errors]")
    return reading


def _reading(values: Sequence[float], error: float, unit: float) -> Reading:
    """Mean; its error is that of the tool, common to all readings, and the scatter's over the root of their number."""
    scatter = float(np.std(values, ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else 0.0
    return Reading(float(np.mean(values)) * unit, math.hypot(error, scatter) * unit)


def _base(table: BoardTable, file: str) -> Wood:
    name = table.based_on
    if name not in wood_names():
        known = ", ".join(wood_names())
        refuse_value(file, "based_on", shown(name), f"no such wood; {did_you_mean(name, wood_names())}known: {known}")
    moisture = MOISTURE if table.moisture_percent is None else table.moisture_percent / 100
    return wood_at(handbook_wood(name), Climate(moisture))


def _check_proportions(board: Board, file: str) -> None:
    a, b, c = (size.value for size in board.sizes)
    if board.kind == "plate" and c > min(a, b) / 5:
        allowed = f'must be at most a fifth of the shorter side, {min(a, b) / MM / 5:.3g}; else kind = "stick"'
        refuse_value(file, "thickness_mm", f"{c / MM:g}", allowed)
    if board.kind == "stick" and a < 5 * max(b, c):
        refuse_value(file, "length_mm", f"{a / MM:g}", f"must be at least 5 times the section, {5 * max(b, c) / MM:g}")
    if board.kind == "stick" and a > 1000 * min(b, c):
        refuse_value(file, "length_mm", f"{a / MM:g}", "must be at most 1000 times the section's thinner side")
    if not LIGHTEST <= board.density <= HEAVIEST:
        allowed = f"wood has {LIGHTEST:g} to {HEAVIEST:g} kg/m3; check mass_g and the sizes in mm"
        refuse_value(file, "mass over volume", f"{board.density:.0f} kg/m3", allowed)


def _thickness_warnings(table: BoardTable) -> list[str]:
    values = table.thickness_mm or []
    if len(values) == 1:
        return ["one reading of the thickness; five or more places would tell how even the board is"]
    scatter = float(np.std(values, ddof=1) / np.mean(values))
    if scatter <= UNEVEN:
        return []
    return [
        f"the thickness scatters by {100 * scatter:.0f} %; the board counts as even, so plane it before you trust it"
    ]
