"""Several boxes side by side: a row each, a column each figure, as dots on scales of their own.

Depends on fem/colours, fem/mode_picture, fem/picture, fem/scene.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.colours import INK, PENCIL, Rgb, falling, rising, tuple_of
from bracedtop.fem.mode_picture import MINUS
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Area, Label, Scene, Shape, Stroke, box, dashes, fitted, text_width

WIDTH = 1500
_LEFT, _MARGIN = 400.0, 34.0
_HEAD, _FOOT, _ROW = 230.0, 70.0, 98.0
_TITLE, _WORDS, _NAME, _FIGURE, _SMALL = 42, 27, 26, 23, 20
_SMALLEST = 15
_DOT = 9.0
_BAND: Rgb = (246, 243, 238)
_LINE: Rgb = (206, 199, 190)
_BROWN, _BLUE = tuple_of(falling(7)[5]), tuple_of(rising(7)[5])


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of all boxes.

    Parameters
    ----------
    name, unit : str
    values : sequence of float
        One a row.
    digits : int
        Decimals.
    least : float
        Width of the scale at least, so that what is nearly the same looks so.
    """

    name: str
    unit: str
    values: Sequence[float]
    digits: int
    least: float


def side_by_side(
    name: str, title: str, words: str, rows: Sequence[tuple[str, str]], figures: Sequence[Figure]
) -> PictureJob:
    """Picture of several boxes.

    Parameters
    ----------
    name, title, words : str
    rows : sequence of (str, str)
        Name and description; the first is what the others are compared with.
    figures : sequence of Figure
    """
    height = round(_HEAD + _FOOT + _ROW * len(rows))
    column = (WIDTH - _LEFT - _MARGIN) / len(figures)
    top = height - _HEAD
    shapes: list[Shape] = []
    labels = [
        Label(_MARGIN, height - 48, *fitted(title, _TITLE, WIDTH - 68, bold=True), INK, bold=True),
        Label(_MARGIN, height - 98, *fitted(words, _WORDS, WIDTH - 68), PENCIL),
    ]
    middles = [top - (k + 0.5) * _ROW for k in range(len(rows))]
    for k, (y, (head, below)) in enumerate(zip(middles, rows, strict=True)):
        if k % 2 == 0:
            shapes.append(Area(box(_MARGIN - 12, y - _ROW / 2, WIDTH - _MARGIN + 12, y + _ROW / 2), _BAND))
        room = _LEFT - _MARGIN - 16
        labels.append(Label(_MARGIN, y + 26, *fitted(head, _NAME, room, bold=True), INK, bold=True))
        lines, size = _wrapped(below, room)
        for n, line in enumerate(lines):
            labels.append(Label(_MARGIN, y - 4 - 25 * n, *fitted(line, size, room, smallest=_SMALLEST), PENCIL))
    for k, figure in enumerate(figures):
        left = _LEFT + k * column
        centre = left + column / 2
        labels.append(Label(centre, top + 78, *fitted(figure.name, _FIGURE, column - 12, bold=True, smallest=15), INK,
                            bold=True, align="centre"))  # fmt: skip
        labels.append(Label(centre, top + 46, *fitted(figure.unit, _SMALL, column - 12, smallest=13), PENCIL,
                            align="centre"))  # fmt: skip
        shapes += _column(labels, figure, left + 40, left + column - 40, middles)
    labels.append(Label(_MARGIN, 34, "the dashed line stands at the first row; every column has a scale of its own",
                        _SMALL, PENCIL))  # fmt: skip
    told = "; ".join(f"{head} {_text(figures[0], k)} {figures[0].unit}" for k, (head, _) in enumerate(rows))
    alt = f"{title}: {len(rows)} boxes in rows, {', '.join(figure.name for figure in figures)} in columns. {told}."
    return PictureJob(name, Scene(WIDTH, height, tuple(shapes), tuple(labels)), alt)


def _wrapped(words: str, room: float) -> tuple[list[str], int]:
    """Words on two lines at most, and the font size at which they fit, px."""
    lines: list[str] = []
    for size in range(_SMALL, _SMALLEST - 1, -1):
        first: list[str] = []
        rest = words.split()
        while rest and text_width(" ".join([*first, rest[0]]), size) <= room:
            first.append(rest.pop(0))
        lines = [line for line in (" ".join(first), " ".join(rest)) if line]
        if text_width(lines[-1], size) <= room:
            return lines, size
    return lines, _SMALLEST


def _column(labels: list[Label], figure: Figure, left: float, right: float, middles: Sequence[float]) -> list[Shape]:
    values = np.asarray(figure.values, dtype=float)
    centre = (values.max() + values.min()) / 2
    span = max(float(np.ptp(values)), figure.least)
    places = (left + right) / 2 + (values - centre) / span * (right - left)
    rails = [np.array([[left, y - 14], [right, y - 14]]) for y in middles]
    shapes: list[Shape] = [Stroke(rail, 1.4, _LINE) for rail in rails]
    first = np.array([[places[0], middles[0] - 14], [places[0], middles[-1] - 14]])
    shapes += [Stroke(piece, 1.6, PENCIL) for piece in dashes(first, 5.0, 6.0)]
    for k, (x, y) in enumerate(zip(places, middles, strict=True)):
        colour = _BLUE if k == 0 else _BROWN
        turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
        dot = np.array([x, y - 14]) + _DOT * np.column_stack([np.cos(turn), np.sin(turn)])
        shapes.append(Area(dot, colour))
        labels.append(Label(float(x), y + 18, _text(figure, k), _FIGURE, INK, align="centre", halo=True))
    return shapes


def _text(figure: Figure, k: int) -> str:
    return f"{figure.values[k]:.{figure.digits}f}".replace("-", MINUS)
