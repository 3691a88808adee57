"""MAC of the predicted with the measured shapes, as a table of shaded figures.

Depends on fem/picture, fem/scene, fem/colours.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.colours import INK, PAPER, PENCIL, Rgb, falling, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Area, Label, Scene, Shape, Stroke, box, fitted

_WIDTH = 1000
_LEFT, _TOP, _RIGHT = 206.0, 286.0, 34.0
_LARGEST_CELL = 120.0
_CELL_HEIGHT = 56.0
_NARROW = 60.0
_STEPS = 101
_LIGHT_FROM = 0.585
"""MAC from which a cell is dark enough for light figures; chosen by the contrast of both on `falling`."""

FEW_POINTS = 4
"""Shapes at fewer points are marked, as many modes look alike at these; chosen."""


@dataclass(frozen=True, slots=True)
class ShapeColumn:
    """A measured mode with a shape: its number, frequency in Hz, and how many points the shape has."""

    number: int
    hz: float
    n_points: int


def mac_picture(
    modes: Sequence[tuple[int, float]],
    columns: Sequence[ShapeColumn],
    mac: NDArray[np.float64],
    pairs: Sequence[tuple[int, int]],
    possible: Sequence[tuple[int, int]] = (),
) -> PictureJob:
    """Matrix of the MAC, lowest modes at the bottom left, named ``mac``.

    Parameters
    ----------
    modes : sequence of (int, float)
        Identifier and frequency in Hz of each predicted mode, a row each.
    columns : sequence of ShapeColumn
    mac : (n, m) array
        NaN where it is not known.
    pairs : sequence of (int, int)
        Predicted mode and measured number taken for the same, framed.
    possible : sequence of (int, int)
        Others that could be, framed thinly.
    """
    n, m = len(modes), len(columns)
    width = min(_LARGEST_CELL, (_WIDTH - _LEFT - _RIGHT) / max(m, 1))
    few = any(c.n_points < FEW_POINTS for c in columns)
    bottom = 150.0 if few else 104.0
    height = int(_TOP + bottom + n * _CELL_HEIGHT)
    ramp = [tuple_of(colour) for colour in falling(_STEPS)]
    size = int(max(17, min(26, 0.36 * width)))
    shapes: list[Shape] = []
    labels = [
        Label(34, height - 48, "Likeness of the shapes", 42, INK, bold=True),
        Label(34, height - 98, "MAC: 1 the same shape, 0 nothing in common", 27, PENCIL),
        Label(34, height - 132, "across: tapped modes; up: predicted ones", 27, PENCIL),
    ]
    row = {mode: i for i, (mode, _) in enumerate(modes)}
    column = {c.number: j for j, c in enumerate(columns)}

    def cell(i: int, j: int, inset: float = 0.0) -> NDArray[np.float64]:
        x, y = _LEFT + j * width, bottom + i * _CELL_HEIGHT
        return box(x + inset, y + inset, x + width - inset, y + _CELL_HEIGHT - inset)

    for i in range(n):
        for j in range(m):
            text, colour, ink = _cell_look(float(mac[i, j]), ramp)
            shapes.append(Area(cell(i, j, 1.0), colour))
            x, y = cell(i, j).mean(axis=0)
            # Without its zero a figure stays legible in a narrow cell.
            short = text.removeprefix("0") if width < _NARROW else text
            labels.append(Label(float(x), float(y), short, size, ink, align="centre"))
    framed = [(pair, 2.5) for pair in possible] + [(pair, 6.0) for pair in pairs]
    for (mode, number), line in framed:
        if mode in row and number in column:
            inset = 1.0 + line / 2
            shapes.append(Stroke(cell(row[mode], column[number], inset), line, INK, closed=True))
            # Seen on a dark cell too.
            shapes.append(Stroke(cell(row[mode], column[number], 1.5 + line), 2.0, PAPER, closed=True))
    for i, (mode, hz) in enumerate(modes):
        y = bottom + (i + 0.5) * _CELL_HEIGHT
        labels.append(Label(_LEFT - 14, y + 12, f"mode {mode}", 24, INK, bold=True, align="right"))
        labels.append(Label(_LEFT - 14, y - 13, f"{hz:.1f} Hz", 20, PENCIL, align="right"))
    top = bottom + n * _CELL_HEIGHT
    for words, up, bold in (("tapped mode", 92, True), ("Hz", 58, False), ("points", 28, False)):
        labels.append(Label(_LEFT - 14, top + up, words, 22, INK if bold else PENCIL, bold, "right"))
    for j, c in enumerate(columns):
        x = _LEFT + (j + 0.5) * width
        star = "*" if c.n_points < FEW_POINTS else ""
        labels.append(Label(x, top + 92, *fitted(f"{c.number}{star}", 24, width - 2, bold=True), INK, True, "centre"))
        labels.append(Label(x, top + 58, *fitted(f"{c.hz:.0f}", 21, width - 2, smallest=12), PENCIL, align="centre"))
        labels.append(Label(x, top + 28, *fitted(str(c.n_points), 21, width - 2), PENCIL, align="centre"))
    shapes += _key(labels, bottom - 62, bool(possible))
    if few:
        labels.append(Label(34, 34, f"* fewer than {FEW_POINTS} points: many shapes look alike there", 23, PENCIL))
    scene = Scene(_WIDTH, height, tuple(shapes), tuple(label for label in labels if label.text))
    alt = f"Matrix of the MAC of {n} predicted with {m} tapped shapes, the {len(pairs)} pairs framed."
    return PictureJob("mac", scene, alt)


def _cell_look(value: float, ramp: Sequence[Rgb]) -> tuple[str, Rgb, Rgb]:
    """Figure, ground and ink of one cell."""
    if not math.isfinite(value):
        return "–", PAPER, PENCIL
    return f"{value:.2f}", ramp[round(value * (_STEPS - 1))], PAPER if value >= _LIGHT_FROM else INK


def _key(labels: list[Label], y: float, possible: bool) -> list[Shape]:
    """What the frames mean."""
    shapes: list[Shape] = [Stroke(box(37, y - 15, 75, y + 15), 6.0, INK, closed=True)]
    labels.append(Label(92, y, "taken for the same", 25, PENCIL))
    if possible:
        shapes.append(Stroke(box(407, y - 15, 445, y + 15), 2.5, INK, closed=True))
        labels.append(Label(462, y, "could also be", 25, PENCIL))
    return shapes
