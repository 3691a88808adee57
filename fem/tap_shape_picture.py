"""Picture of the measured shapes: signed dots on the top's outline, one panel a mode.

Depends on fem/picture, fem/scene, fem/colours, fem/top_view, fem/taps.
"""

from collections.abc import Sequence

import numpy as np

from bracedtop.fem.colours import INK, PAPER, PENCIL, inward_outward, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Area, Label, Scene, Shape, Stroke, fitted
from bracedtop.fem.taps import Measured
from bracedtop.fem.top_view import TopView
from bracedtop.geometry.units import note

MINUS = "\N{MINUS SIGN}"

_PANEL, _GAP, _MARGIN = 340.0, 24.0, 34.0
_HEAD, _FOOT, _CAPTION = 142.0, 104.0, 74.0
_IN_ROW = 4
_LARGEST = 0.066
"""Radius of the dot of a value of 1, parts of the panel's width; chosen: neighbours in a grid of 20 stay apart."""

_SIGNED = 0.35
"""Value from which a dot has room for its sign."""

_COLOURS = inward_outward(20)
_OUT, _IN = tuple_of(_COLOURS[-2]), tuple_of(_COLOURS[1])
_TURN = np.linspace(0, 2 * np.pi, 33)[:-1]
_CIRCLE = np.column_stack([np.cos(_TURN), np.sin(_TURN)])


def shapes_picture(view: TopView, measured: Sequence[Measured]) -> PictureJob:
    """Picture of all measured modes that have a shape, named ``shapes``.

    The area of a dot is proportional to the value; a hollow one is a point whose value lies within two standard errors
    of nothing, so its sign is not known.

    Parameters
    ----------
    view : TopView
    measured : sequence of Measured
    """
    shown = [mode for mode in measured if mode.shape is not None]
    low, high = view.outline.min(axis=0), view.outline.max(axis=0)
    scale = _PANEL / float((high - low)[1])
    tall = scale * float((high - low)[0])
    n_columns = max(min(_IN_ROW, len(shown)), 2)
    n_rows = -(-len(shown) // n_columns)
    width = int(2 * _MARGIN + n_columns * _PANEL + (n_columns - 1) * _GAP)
    height = int(_HEAD + _FOOT + n_rows * (tall + _CAPTION + _GAP))
    shapes: list[Shape] = []
    labels = [
        Label(_MARGIN, height - 48, "Shapes as tapped", 42, INK, bold=True),
        Label(_MARGIN, height - 98, *fitted(_words(shown), 28, width - 2 * _MARGIN), PENCIL),
    ]
    for k, mode in enumerate(shown):
        left = _MARGIN + (k % n_columns) * (_PANEL + _GAP)
        bottom = height - _HEAD - (k // n_columns + 1) * (tall + _CAPTION + _GAP) + _GAP
        _panel(mode, view, (left, bottom), low, scale, shapes, labels)
        name, deviation = note(mode.hz)
        pitch = f"{name} {deviation:+.0f}".replace("-", MINUS)
        labels += [
            Label(left + _PANEL / 2, bottom + tall + 50, f"{mode.number}: {mode.hz:.1f} Hz", 28, INK, True, "centre"),
            Label(left + _PANEL / 2, bottom + tall + 21, f"{pitch} cents", 22, PENCIL, align="centre"),
        ]
    _legend(shapes, labels, width)
    alt = f"Tapped shapes of {len(shown)} modes as signed dots on the top's outline, seen from inside, neck up: " + (
        "; ".join(_told(mode) for mode in shown)
    )
    return PictureJob("shapes", Scene(width, height, tuple(shapes), tuple(labels)), alt)


def _words(shown: Sequence[Measured]) -> str:
    most = max((len(mode.shape.points) for mode in shown if mode.shape), default=0)
    return f"{len(shown)} modes at up to {most} points; half a swing later + and {MINUS} change places"


def _told(mode: Measured) -> str:
    values = mode.shape.values if mode.shape else np.zeros(0)
    return f"{mode.hz:.1f} Hz, {int((values > 0).sum())} points out, {int((values < 0).sum())} in"


def _panel(
    mode: Measured,
    view: TopView,
    corner: tuple[float, float],
    low: np.ndarray,
    scale: float,
    shapes: list[Shape],
    labels: list[Label],
) -> None:
    def place(points: np.ndarray) -> np.ndarray:
        return np.asarray(np.array(corner) + ((points - low) * scale)[:, ::-1])

    shapes += [Stroke(place(hole), 2.0, PENCIL, closed=True) for hole in view.holes]
    shapes.append(Stroke(place(view.outline), 3.0, INK, closed=True))
    if mode.shape is None:
        return
    shape = mode.shape
    # Large ones first, so that small neighbours lie on them.
    order = np.argsort(-np.abs(shape.values))
    for (x, y), value, error in zip(place(shape.points)[order], shape.values[order], shape.errors[order], strict=True):
        known = abs(value) > 2 * error
        radius = max(_LARGEST * _PANEL * abs(value) ** 0.5, 5.0)
        ring = np.array([x, y]) + radius * _CIRCLE
        shapes.append(Area(ring, (_OUT if value > 0 else _IN) if known else PAPER))
        shapes.append(Stroke(ring, 1.5, INK if known else PENCIL, closed=True))
        if known and abs(value) > _SIGNED:
            labels.append(Label(float(x), float(y), "+" if value > 0 else MINUS, 24, INK, True, "centre"))


def _legend(shapes: list[Shape], labels: list[Label], width: float) -> None:
    x, y = _MARGIN + 14, 70.0
    for words, colour in (("+ moves out", _OUT), (f"{MINUS} moves in", _IN), ("not told from nothing", PAPER)):
        ring = np.array([x, y]) + 13 * _CIRCLE
        shapes.append(Area(ring, colour))
        shapes.append(Stroke(ring, 1.5, PENCIL if colour == PAPER else INK, closed=True))
        labels.append(Label(x + 24, y, words, 25))
        x += 215
    labels.append(Label(width - _MARGIN, 30, "seen from inside, neck up", 25, PENCIL, align="right"))
