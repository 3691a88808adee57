"""Measured thicknesses of a top: a CSV file beside top.toml.

Depends on geometry/errors, geometry/thickness, geometry/units, fem/toml_file.
"""

import csv
import math
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

import numpy as np

from bracedtop.fem.toml_file import shown, shown_text
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.geometry.thickness import ThicknessGrid
from bracedtop.geometry.units import MM

COLUMNS = ("x_mm", "y_mm", "thickness_mm")

MOST_POINTS = 5_000
LARGEST_FILE = 500_000
FARTHEST_MM = 20_000.0
"""Limits; chosen: wide enough for a soundboard measured every centimetre."""


def read_thickness(folder: Path, name: str, key: str = "top.thickness_csv") -> ThicknessGrid:
    """Grid of a CSV file with the columns x_mm, y_mm and thickness_mm, in any order.

    Comma or semicolon between fields, as the header shows; lines that begin with # and empty ones are skipped.

    Parameters
    ----------
    folder : Path
        The case's folder.
    name : str
        Path of the file within it.
    key : str
        What names it in the drawing, for messages.

    Raises
    ------
    FileError
        If the file lies outside the folder or cannot be read, or a line of it is wrong.
    """
    lines = [
        (number, line)
        for number, line in enumerate(_text(folder, name, key).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        _refuse(name, None, f"is empty; it needs the header {','.join(COLUMNS)} and a line for every measured point")
    number, header = lines[0]
    separator = ";" if ";" in header else ","
    columns = [column.strip().lower() for column in _fields(name, number, header, separator)]
    if sorted(columns) != sorted(COLUMNS):
        found = shown_text(header.strip())
        _refuse(name, number, f'header "{found}"; must be {",".join(COLUMNS)}')
    if len(lines) - 1 > MOST_POINTS:
        _refuse(name, lines[MOST_POINTS + 1][0], f"more than {MOST_POINTS} points; at most {MOST_POINTS} are allowed")
    order = [columns.index(column) for column in COLUMNS]
    rows: list[list[float]] = []
    seen: dict[tuple[float, ...], int] = {}
    for number, line in lines[1:]:
        values = _values(name, number, _fields(name, number, line, separator), columns)
        row = [values[k] for k in order]
        other = seen.setdefault(tuple(row[:2]), number)
        if other != number:
            _refuse(name, number, f"[{row[0]:g}, {row[1]:g}] mm stands on line {other} too; a place is given once")
        rows.append(row)
    if len(rows) < 3:
        _refuse(name, None, f"lists {len(rows)} points; at least three are needed")
    try:
        return ThicknessGrid(np.array(rows) * MM)
    except DesignError as error:
        _refuse(name, None, str(error))


def thickness_text(grid: ThicknessGrid) -> str:
    """Text of the CSV file for a grid."""
    rows = (",".join(f"{value / MM + 0.0:.12g}" for value in row) for row in grid.points)
    return "\n".join([",".join(COLUMNS), *rows]) + "\n"


def _refuse(name: str, line: int | None, what: str) -> NoReturn:
    where = shown_text(name) if line is None else f"{shown_text(name)}: line {line}"
    message = f"{where}: {what}"
    raise FileError(message)


def _text(folder: Path, name: str, key: str) -> str:
    home = folder.resolve()
    try:
        path = (home / name).resolve()
    except (OSError, ValueError) as error:
        _refuse(name, None, f"is no path of a file ({error})")
    # A drawing passed on to somebody else must not read files of theirs.
    if Path(name).is_absolute() or not path.is_relative_to(home):
        message = f"top.toml: {key} = {shown(name)}: must be a path inside the case's folder"
        raise FileError(message)
    if not path.exists():
        _refuse(name, None, f"no such file in the case's folder; {key} names it")
    # A pipe or a device would make reading wait for ever.
    if not path.is_file():
        _refuse(name, None, "is not a regular file; it has to be a CSV text file")
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        _refuse(name, None, f"cannot be read ({error.strerror}); it has to be a readable text file")
    if len(content) > LARGEST_FILE:
        _refuse(name, None, f"is larger than {LARGEST_FILE // 1000} kB; measured thicknesses have to be smaller")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        _refuse(name, line, f"byte 0x{content[error.start]:02x} is not UTF-8 text; save it as UTF-8")


def _fields(name: str, number: int, line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator, strict=True))
    except csv.Error as error:
        _refuse(name, number, f"is not CSV ({error})")


def _values(name: str, number: int, fields: Sequence[str], columns: Sequence[str]) -> list[float]:
    if len(fields) != len(columns):
        hint = " (a decimal comma? numbers take a point, as in 2.8)" if len(fields) > len(columns) else ""
        _refuse(name, number, f"{len(fields)} fields; must be {len(columns)} as in the header{hint}")
    values = []
    for column, field in zip(columns, fields, strict=True):
        low, high = (0.0, 2_000.0) if column == "thickness_mm" else (-FARTHEST_MM, FARTHEST_MM)
        try:
            # Plain decimal numbers only: float() would also take "1_0" and other alphabets' digits.
            value = float(field) if field.isascii() and "_" not in field else math.nan
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            _refuse(name, number, f"{column} = {shown(field.strip())}; must be a number with a decimal point")
        if not low <= value <= high or (column == "thickness_mm" and value == 0):
            allowed = "> 0 and" if column == "thickness_mm" else f"from {low:g} and"
            _refuse(name, number, f"{column} = {value:g}; must be {allowed} at most {high:g}")
        values.append(value)
    return values
