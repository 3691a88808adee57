"""Two ladders of frequencies, predicted and measured, with a rung between each pair.

Depends on fem/picture, fem/scene.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.colours import INK, PAPER, PENCIL, Rgb, falling, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Align, Area, Label, Scene, Shape, Stroke, box, dashes, fitted
from bracedtop.geometry.units import cents

WIDTH, LEAST_HEIGHT = 1000, 1200
_LEFT, _RIGHT = 440.0, 606.0
_TOP, _BOTTOM = 176.0, 96.0
_PITCH = 62.0
"""Least distance of two labels, px: a line of figures and a line of words."""

_RAIL = 26.0
_FIGURE, _WORDS = 30, 21
_TARGET: Rgb = tuple_of(falling(5)[3])


@dataclass(frozen=True, slots=True)
class Rung:
    """A predicted frequency in Hz, its mode's number and looks, and the measured one that belongs to it, if any."""

    mode: int
    hz: float
    name: str
    measured_hz: float | None = None


def ladder_picture(
    rungs: Sequence[Rung],
    unpaired_measured: Sequence[float] = (),
    targets: Sequence[tuple[int, float]] = (),
) -> PictureJob:
    """Ladders of the predicted modes and the tapped ones, named ``ladder``.

    Parameters
    ----------
    rungs : sequence of Rung
    unpaired_measured : sequence of float, Hz
    targets : sequence of (int, float)
        Mode and wanted frequency in Hz, drawn beside the measured ones.
    """
    measured = [(rung.measured_hz, rung) for rung in rungs if rung.measured_hz is not None]
    marks = [hz for hz, _ in measured] + list(unpaired_measured)
    every = [rung.hz for rung in rungs] + marks + [hz for _, hz in targets]
    n_right = len(marks) + len(targets)
    height = int(max(LEAST_HEIGHT, _TOP + _BOTTOM + _PITCH * max(len(rungs), n_right)))
    low, high = (min(every) / 1.03, max(every) * 1.03) if every else (100.0, 200.0)

    def y_of(hz: float) -> float:
        # Even intervals look alike, as they sound.
        return float(_BOTTOM + (height - _TOP - _BOTTOM) * np.log(hz / low) / np.log(high / low))

    shapes: list[Shape] = [Area(box(x - 2, _BOTTOM - 10, x + 2, height - _TOP + 10), PENCIL) for x in (_LEFT, _RIGHT)]
    labels = [
        Label(34, height - 48, "Predicted and tapped", 42, INK, bold=True),
        Label(34, height - 98, "higher is higher in pitch; a level line is a perfect match", 27, PENCIL),
        Label(_LEFT, height - 140, "predicted", 27, INK, bold=True, align="right"),
        Label(_RIGHT, height - 140, "tapped", 27, INK, bold=True),
    ]
    for hz, rung in measured:
        shapes.append(Stroke(np.array([[_LEFT + _RAIL, y_of(rung.hz)], [_RIGHT - _RAIL, y_of(hz)]]), 3.0, PENCIL))
    left = [(y_of(r.hz), f"{r.hz:.1f} Hz", f"mode {r.mode}: {r.name}") for r in rungs]
    right = [(y_of(hz), f"{hz:.1f} Hz", _apart(hz, r)) for hz, r in measured]
    right += [(y_of(hz), f"{hz:.1f} Hz", "belongs to no predicted mode") for hz in unpaired_measured]
    wanted = [(y_of(hz), f"{hz:.1f} Hz wanted", f"target of mode {mode}") for mode, hz in targets]
    for y, _, _ in left:
        shapes.append(Stroke(np.array([[_LEFT - _RAIL, y], [_LEFT + _RAIL, y]]), 6.0, INK))
    for y, _, _ in right:
        shapes.append(Stroke(np.array([[_RIGHT - _RAIL, y], [_RIGHT + _RAIL, y]]), 6.0, INK))
    for y, _, _ in wanted:
        shapes += [Area(_diamond(_RIGHT, y, 15), _TARGET), Area(_diamond(_RIGHT, y, 8), PAPER)]
    shapes += _written(labels, left, -1, height)
    shapes += _written(labels, right + wanted, 1, height)
    if targets:
        shapes += [Area(_diamond(50, 40, 15), _TARGET), Area(_diamond(50, 40, 8), PAPER)]
        labels.append(Label(78, 40, "what the drawing asks for", 25, PENCIL))
    scene = Scene(WIDTH, height, tuple(shapes), tuple(label for label in labels if label.text))
    alt = (
        f"Ladder of {len(rungs)} predicted and {len(marks)} tapped frequencies, {len(measured)} of them paired; "
        "all figures are in the table."
    )
    return PictureJob("ladder", scene, alt)


def _written(labels: list[Label], rows: Sequence[tuple[float, str, str]], side: int, height: int) -> list[Stroke]:
    """Add two lines of text a mark, kept apart, and return the leaders from the marks to them."""
    rows = sorted(rows)
    at = spread([y for y, _, _ in rows], _PITCH, _BOTTOM - 10, height - _TOP - 16)
    rail = _LEFT if side < 0 else _RIGHT
    room = (_LEFT if side < 0 else WIDTH - _RIGHT) - _RAIL - 34 - 34
    align: Align = "right" if side < 0 else "left"
    leaders = []
    for (y, figure, words), place in zip(rows, at, strict=True):
        start, stop = rail + side * _RAIL, rail + side * (_RAIL + 34)
        line = np.array([[start + 6 * side, y], [stop - 6 * side, place]])
        leaders += [Stroke(dash, 1.6, PENCIL) for dash in dashes(line, 60.0, 1.0)]
        labels.append(Label(stop, place + 12, *fitted(figure, _FIGURE, room, bold=True), INK, bold=True, align=align))
        labels.append(Label(stop, place - 16, *fitted(words, _WORDS, room, smallest=18), PENCIL, align=align))
    return leaders


def spread(wanted: Sequence[float], pitch: float, low: float, high: float) -> list[float]:
    """Positions in the order of `wanted`, rising, at least `pitch` apart, and as near to it as the squares allow.

    Parameters
    ----------
    wanted : sequence of float
        Rising.
    pitch, low, high : float
        The positions stay between the last two if all fit in there.

    References
    ----------
    Pooling of neighbours: R. E. Barlow et al., Statistical Inference under Order Restrictions, 1972, section 1.2.
    """
    blocks: list[tuple[float, int]] = []
    for i, y in enumerate(wanted):
        mean, count = y - i * pitch, 1
        while blocks and blocks[-1][0] > mean:
            before, n = blocks.pop()
            mean, count = (before * n + mean * count) / (n + count), n + count
        blocks.append((mean, count))
    flat = [mean for mean, count in blocks for _ in range(count)]
    room = max(low, high - (len(flat) - 1) * pitch)
    return [min(max(y, low), room) + i * pitch for i, y in enumerate(flat)]


def _apart(hz: float, rung: Rung) -> str:
    """How far a tapped frequency lies from its mode, in words."""
    apart = round(cents(hz, rung.hz))
    return (
        f"mode {rung.mode}, {abs(apart)} cents {'higher' if apart > 0 else 'lower'}" if apart else f"mode {rung.mode}"
    )


def _diamond(x: float, y: float, half: float) -> np.ndarray:
    return np.array([[x - half, y], [x, y - half], [x + half, y], [x, y + half]])
