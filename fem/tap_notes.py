"""The bench notes `taps.csv`: one line a mode that was heard.

Depends on geometry/errors, geometry/units.
"""

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from bracedtop.geometry.errors import FileError
from bracedtop.geometry.units import MM

FILE_NAME = "taps.csv"

COLUMNS = (
    "hz",
    "t60_s",
    "q",
    "label",
    "tap_x_mm",
    "tap_y_mm",
    "nodes_across",
    "nodes_along",
    "node_points_mm",
    "spread_hz",
)

LARGEST_FILE = 1_000_000
HIGHEST_HZ = 20_000.0
LONGEST_T60 = 60.0
FARTHEST_MM = 3000.0
MOST_NODES = 30

# Plain decimal numbers only: float() would also take "nan", "1_0" and other alphabets' digits.
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+", re.ASCII)


@dataclass(frozen=True, slots=True)
class Note:
    """One line of `taps.csv` in SI units; None or empty where the field is empty.

    Parameters
    ----------
    line : int
        Line of the file, counted from 1.
    hz : float
    decay_time : float or None, s
        T60.
    q, spread_hz : float or None
    label : str
    tap_point : (float, float) or None, m
    nodes : tuple of (float, float), m
        Points where the mode stood still.
    nodal_lines : (int or None, int or None)
        Across the grain, along it.
    """

    line: int
    hz: float
    decay_time: float | None
    q: float | None
    spread_hz: float | None
    label: str
    tap_point: tuple[float, float] | None
    nodes: tuple[tuple[float, float], ...]
    nodal_lines: tuple[int | None, int | None]


def read_notes(path: Path) -> tuple[tuple[Note, ...], tuple[str, ...]]:
    """Lines of a `taps.csv`, in the file's order, and warnings.

    Comma or semicolon between fields, as the header shows; a point in numbers; lines that begin with # and empty
    ones are skipped.

    Raises
    ------
    FileError
        If the file is not UTF-8 text in this form, or a field is not what its column holds.
    """
    lines = [
        (number, line)
        for number, line in enumerate(_text(path).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        _refuse(None, f"is empty; needs a header line with at least the column hz, such as: {', '.join(COLUMNS[:4])}")
    number, header = lines[0]
    separator = _separator(number, header)
    names = [name.strip().lower() for name in _fields(number, header, separator)]
    _check_header(number, names)
    notes: list[Note] = []
    warnings: list[str] = []
    for number, line in lines[1:]:
        fields = [field.strip() for field in _fields(number, line, separator)]
        if len(fields) != len(names):
            hint = ""
            if separator == "," and _DECIMAL_COMMA.search(line):
                hint = " (a decimal comma? numbers take a point, as in 98.5)"
            _refuse(number, f"{len(fields)} fields; must be {len(names)} as in the header{hint}")
        note, warning = _note(number, dict(zip(names, fields, strict=True)))
        if warning:
            warnings.append(f"{FILE_NAME}: line {number}: {warning}")
        warnings.extend(
            f"{FILE_NAME}: line {number}: {note.hz:g} Hz stands on line {other.line} too"
            for other in notes
            if abs(other.hz - note.hz) < 1e-3 * note.hz
        )
        notes.append(note)
    return tuple(notes), tuple(warnings)


def _refuse(line: int | None, message: str) -> NoReturn:
    where = FILE_NAME if line is None else f"{FILE_NAME}: line {line}"
    message = f"{where}: {message}"
    raise FileError(message)


def _text(path: Path) -> str:
    # A pipe or a device would make reading wait for ever.
    if path.exists() and not path.is_file():
        _refuse(None, "is not a regular file; must be a text file")
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        message = f"{path}: cannot be read ({error.strerror})"
        raise FileError(message) from error
    if len(data) > LARGEST_FILE:
        _refuse(None, f"is larger than {LARGEST_FILE / 1e6:g} MB; a table of taps has to be smaller")
    try:
        # Spreadsheets put a byte order mark in front.
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        message = f"{FILE_NAME}: line {line}: byte 0x{data[error.start]:02x} is not UTF-8 text; save the table as UTF-8"
        raise FileError(message) from error
    control = re.search(r"[\x00-\x08\x0e-\x1f\x7f]", text)
    if control:
        _refuse(text[: control.start()].count("\n") + 1, f"has the control character {control.group()!r}; must be text")
    return text


def _separator(number: int, header: str) -> str:
    if "\t" in header:
        _refuse(number, "fields are separated by tabs; must be commas or semicolons")
    return ";" if ";" in header and "," not in header else ","


def _fields(number: int, line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator, strict=True, skipinitialspace=True))
    except csv.Error as error:
        message = f'{FILE_NAME}: line {number}: {error}; a quoted field must end with " before the separator'
        raise FileError(message) from error


def _check_header(number: int, names: list[str]) -> None:
    for name in names:
        if name not in COLUMNS:
            shown = name if len(name) <= 40 else name[:40] + "..."
            _refuse(number, f'column "{shown}" is unknown; the first line must name columns of: {", ".join(COLUMNS)}')
        if names.count(name) > 1:
            _refuse(number, f'column "{name}" stands twice; must stand once')
    if "hz" not in names:
        _refuse(number, "has no column hz; it must have one")
    for a, b in (("tap_x_mm", "tap_y_mm"), ("tap_y_mm", "tap_x_mm")):
        if a in names and b not in names:
            _refuse(number, f"has the column {a} without {b}; must have both or neither")


def _number(line: int, name: str, text: str, low: float, high: float, allowed: str) -> float:
    shown = text if len(text) <= 40 else text[:40] + "..."
    if _DECIMAL_COMMA.fullmatch(text):
        _refuse(line, f'{name} = "{text}"; has a decimal comma, must be written with a point: {text.replace(",", ".")}')
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not low <= value <= high:
        _refuse(line, f'{name} = "{shown}"; must be {allowed}')
    return value


def _positive(line: int, name: str, text: str, high: float) -> float | None:
    if not text:
        return None
    # Denormal sizes would overflow where they divide.
    return _number(line, name, text, 1e-6, high, f"a number > 0, at most {high:g}")


def _count(line: int, name: str, text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdecimal() and len(text) < 4 and int(text) <= MOST_NODES):
        shown = text if len(text) <= 40 else text[:40] + "..."
        _refuse(line, f'{name} = "{shown}"; must be a whole number from 0 to {MOST_NODES}')
    return int(text)


def _place(line: int, name: str, text: str) -> float:
    return _number(line, name, text, -FARTHEST_MM, FARTHEST_MM, f"a number of mm within {FARTHEST_MM:g}") * MM


def _points(line: int, text: str) -> tuple[tuple[float, float], ...]:
    points = []
    for pair in text.split(";") if text else ():
        values = pair.split()
        if len(values) != 2:
            shown = pair.strip()[:40]
            _refuse(line, f'node_points_mm has "{shown}"; must be pairs x y with ; between, such as 100 0; 100 20')
        points.append((_place(line, "node_points_mm", values[0]), _place(line, "node_points_mm", values[1])))
    return tuple(points)


def _spread(line: int, text: str) -> float | None:
    return _number(line, "spread_hz", text, 0.0, 1e4, "a number >= 0") if text else None


def _note(line: int, row: dict[str, str]) -> tuple[Note, str]:
    """The line's note and a warning or nothing."""
    text = {name: row.get(name, "") for name in COLUMNS}
    if not text["hz"]:
        _refuse(line, "hz is empty; must be a number > 0")
    hz = _positive(line, "hz", text["hz"], HIGHEST_HZ) or math.nan
    decay_time = _positive(line, "t60_s", text["t60_s"], LONGEST_T60)
    q = _positive(line, "q", text["q"], 1e5)
    warning = ""
    # Q = pi f tau, T60 = tau ln 1000.
    factor = math.pi * hz / math.log(1e3)
    if decay_time is not None and q is not None and not 0.9 < q / (factor * decay_time) < 1.1:
        warning = f"q = {q:g} and t60_s = {decay_time:g} disagree at {hz:g} Hz; t60_s was used"
        q = None
    if decay_time is not None:
        q = factor * decay_time if q is None else q
    elif q is not None:
        decay_time = q / factor
    if bool(text["tap_x_mm"]) != bool(text["tap_y_mm"]):
        _refuse(line, "only one of tap_x_mm and tap_y_mm is given; must be both or neither")
    tap_point = None
    if text["tap_x_mm"]:
        tap_point = (_place(line, "tap_x_mm", text["tap_x_mm"]), _place(line, "tap_y_mm", text["tap_y_mm"]))
    note = Note(
        line=line,
        hz=hz,
        decay_time=decay_time,
        q=q,
        spread_hz=_spread(line, text["spread_hz"]),
        label=text["label"],
        tap_point=tap_point,
        nodes=_points(line, text["node_points_mm"]),
        nodal_lines=(
            _count(line, "nodes_across", text["nodes_across"]),
            _count(line, "nodes_along", text["nodes_along"]),
        ),
    )
    return note, warning
