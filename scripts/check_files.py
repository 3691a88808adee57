"""What a check expects: expected.csv and shapes.csv beside its top.toml."""

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bracedtop.geometry.errors import FileError
from bracedtop.geometry.units import MM
from bracedtop.scripts.modes import MOST_MODES

KINDS = ("exact", "converged", "theory", "solid", "upper bound", "measured")
COLUMNS = ["mode", "hz", "tolerance_percent", "kind"]
LEAST_MAC = "least_mac"
FILE_NAME = "expected.csv"
SHAPES_NAME = "shapes.csv"

FEWEST_POINTS = 20
"""Fewest points that shapes may be given at; chosen: fewer cannot tell ten modes apart."""


@dataclass(frozen=True, slots=True)
class Expected:
    """One line of expected.csv.

    Parameters
    ----------
    mode : int
    hz : float
    tolerance : float or None
        In per cent; None for what is shown only.
    kind : str
        One of `KINDS`.
    least_mac : float or None
        Least modal assurance criterion with the expected shape; None for what is shown only.
    """

    mode: int
    hz: float
    tolerance: float | None
    kind: str
    least_mac: float | None = None


@dataclass(frozen=True, slots=True)
class Shapes:
    """Expected mode shapes.

    Parameters
    ----------
    points : (k, 2) array, m
    deflections : (n, k) array
        Of modes 1 to n, at any scale.
    """

    points: np.ndarray
    deflections: np.ndarray


def read_expected(path: Path) -> list[Expected]:
    """Lines of an expected.csv.

    Raises
    ------
    FileError
        If the file is missing or a line of it is wrong.
    """
    table = _table(path, "; a check needs this file beside top.toml")
    if not table or table[0] not in (COLUMNS, [*COLUMNS, LEAST_MAC]):
        message = f"{path}: line 1: must be {','.join(COLUMNS)}, or these and {LEAST_MAC}"
        raise FileError(message)
    rows = [_row(path, number, cells, len(table[0])) for number, cells in enumerate(table[1:], start=2) if cells]
    if not rows:
        message = f"{path}: holds no value; at least one line is needed"
        raise FileError(message)
    return rows


def read_shapes(path: Path, expected: list[Expected]) -> tuple[Shapes, np.ndarray]:
    """Shapes of a shapes.csv, and the frequencies that go with them.

    Its columns are x_mm, y_mm and mode_1 to mode_n; expected.csv has to name the frequency of each of these modes in
    a line of kind "solid".

    Returns
    -------
    shapes : Shapes
    frequencies : (n,) array, Hz

    Raises
    ------
    FileError
        If a line of the file is wrong, or expected.csv does not fit.
    """
    table = _table(path, "")
    head = table[0] if table else []
    n = len(head) - 2
    if n < 1 or n > MOST_MODES or head != ["x_mm", "y_mm", *(f"mode_{k}" for k in range(1, n + 1))]:
        message = f"{path}: line 1: must be x_mm,y_mm,mode_1,mode_2, and so on, up to mode_{MOST_MODES}"
        raise FileError(message)
    values = np.array(
        [_numbers(path, number, cells, n + 2) for number, cells in enumerate(table[1:], start=2) if cells]
    )
    if len(values) < FEWEST_POINTS:
        message = f"{path}: {len(values)} points; at least {FEWEST_POINTS} are needed"
        raise FileError(message)
    still = np.flatnonzero(~values[:, 2:].any(axis=0))
    if len(still):
        message = f"{path}: mode_{still[0] + 1} is 0 at every point; a shape has to move somewhere"
        raise FileError(message)
    hz = [row.hz for row in expected if row.kind == "solid"]
    modes = [row.mode for row in expected if row.kind == "solid"]
    if modes != list(range(1, n + 1)) or hz != sorted(hz):
        message = (
            f"{path}: shapes of {n} modes; expected.csv must have one line of kind solid for each of modes 1 to {n}, "
            "in order and ascending"
        )
        raise FileError(message)
    return Shapes(MM * values[:, :2], values[:, 2:].T), np.array(hz)


def _table(path: Path, why: str) -> list[list[str]]:
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        message = f"{path}: cannot be read ({reason}){why}"
        raise FileError(message) from None
    return list(csv.reader(lines))


def _row(path: Path, number: int, cells: list[str], n_columns: int) -> Expected:
    where = f"{path}: line {number}"
    if len(cells) != n_columns:
        message = f"{where}: {len(cells)} values; must be {n_columns}"
        raise FileError(message)
    mode, hz, tolerance, kind, *rest = (cell.strip() for cell in cells)
    if kind not in KINDS:
        message = f"{where}: kind = {kind!r}; must be one of {', '.join(KINDS)}"
        raise FileError(message)
    if not (mode.isdecimal() and mode.isascii() and 1 <= int(mode) <= MOST_MODES):
        message = f"{where}: mode = {mode!r}; must be a whole number from 1 to {MOST_MODES}"
        raise FileError(message)
    value = _positive(where, "hz", hz)
    allowed = _positive(where, "tolerance_percent", tolerance) if tolerance else None
    least = _positive(where, LEAST_MAC, rest[0]) if rest and rest[0] else None
    if least is not None and least > 1:
        message = f"{where}: {LEAST_MAC} = {least:g}; must be at most 1"
        raise FileError(message)
    return Expected(int(mode), value, allowed, kind, least)


def _numbers(path: Path, number: int, cells: list[str], n: int) -> list[float]:
    where = f"{path}: line {number}"
    if len(cells) != n:
        message = f"{where}: {len(cells)} values; must be {n}"
        raise FileError(message)
    values = [_float(cell) for cell in cells]
    for cell, value in zip(cells, values, strict=True):
        if not math.isfinite(value):
            message = f"{where}: {cell!r}; must be a number"
            raise FileError(message)
    return values


def _positive(where: str, key: str, text: str) -> float:
    value = _float(text)
    if not 0 < value < math.inf:
        message = f"{where}: {key} = {text!r}; must be a number > 0"
        raise FileError(message)
    return value


def _float(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan
