"""Two ladders of frequencies, predicted and measured, with a rung between each pair and dashes between possible ones.

Depends on fem/mode_picture, fem/picture, fem/scene.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.colours import INK, PAPER, PENCIL, Rgb, falling, tuple_of
from bracedtop.fem.mode_picture import MINUS
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Align, Area, Label, Scene, Shape, Stroke, box, dashes, fitted
from bracedtop.geometry.units import cents

WIDTH, LEAST_HEIGHT = 1000, 1200
_LEFT, _RIGHT = 436.0, 584.0
_TOP, _BOTTOM = 176.0, 60.0
_PITCH = 72.0
"""Least distance of two labels, px: a line of figures and a line of words."""

_ROOM = 1.2
"""Height for each label, over the least; chosen: labels then stay near their marks where these are not even."""

_RAIL = 26.0
_LEADER = 50.0
_FIGURE, _WORDS = 30, 25
_KEY_ROW = 44.0
_TARGET: Rgb = tuple_of(falling(5)[3])


@dataclass(frozen=True, slots=True)
class Rung:
    """A predicted mode and what it was paired with.

    Parameters
    ----------
    mode : int
    hz : float
    name : str
        What it looks like.
    measured_hz : float or None
        Of the measured mode that belongs to it.
    also : tuple of int
        Other modes that could be the same measured one.
    """

    mode: int
    hz: float
    name: str
    measured_hz: float | None = None
    also: tuple[int, ...] = ()


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
    at = {rung.mode: rung.hz for rung in rungs}
    possible = [(at[other], hz) for hz, rung in measured for other in rung.also if other in at]
    alone = len(measured) < max(len(rungs), len(marks))
    keys = [key for key, shown in (("possible", possible), ("alone", alone), ("wanted", targets)) if shown]
    bottom = _BOTTOM + _KEY_ROW * len(keys)
    most = max(len(rungs), len(marks) + len(targets))
    height = int(max(LEAST_HEIGHT, _TOP + bottom + _ROOM * _PITCH * most))
    low, high = (min(every) / 1.03, max(every) * 1.03) if every else (100.0, 200.0)

    def y_of(hz: float) -> float:
        # Even intervals look alike, as they sound.
        return float(bottom + (height - _TOP - bottom) * np.log(hz / low) / np.log(high / low))

    shapes: list[Shape] = [Area(box(x - 2, bottom - 10, x + 2, height - _TOP + 10), PENCIL) for x in (_LEFT, _RIGHT)]
    labels = [
        Label(34, height - 48, "Predicted and tapped", 42, INK, bold=True),
        Label(34, height - 98, "higher is higher in pitch; a level line is a perfect match", 27, PENCIL),
        Label(_LEFT, height - 140, "predicted", 27, INK, bold=True, align="right"),
        Label(_RIGHT, height - 140, "tapped", 27, INK, bold=True),
    ]
    for one, other in possible:
        shapes += _possible(_LEFT + _RAIL, y_of(one), _RIGHT - _RAIL, y_of(other))
    for hz, rung in measured:
        shapes.append(Stroke(np.array([[_LEFT + _RAIL, y_of(rung.hz)], [_RIGHT - _RAIL, y_of(hz)]]), 4.0, PENCIL))
    left = [(y_of(r.hz), f"mode {r.mode}: {r.hz:.1f} Hz", r.name, INK) for r in rungs]
    right = [(y_of(hz), f"{hz:.1f} Hz", _apart(hz, r), INK) for hz, r in measured]
    right += [(y_of(hz), f"{hz:.1f} Hz", "fits no predicted mode", INK) for hz in unpaired_measured]
    right += [(y_of(hz), f"{hz:.1f} Hz wanted", f"target of mode {mode}", _TARGET) for mode, hz in targets]
    for r in rungs:
        shapes += _mark(_LEFT, y_of(r.hz), paired=r.measured_hz is not None)
    for hz, _ in measured:
        shapes += _mark(_RIGHT, y_of(hz), paired=True)
    for hz in unpaired_measured:
        shapes += _mark(_RIGHT, y_of(hz), paired=False)
    for _, hz in targets:
        shapes += _diamond(_RIGHT, y_of(hz))
    shapes += _written(labels, left, -1, bottom, height)
    shapes += _written(labels, right, 1, bottom, height)
    for k, key in enumerate(reversed(keys)):
        shapes += _key(key, 40 + k * _KEY_ROW, labels)
    scene = Scene(WIDTH, height, tuple(shapes), tuple(label for label in labels if label.text))
    alt = (
        f"Ladder of {len(rungs)} predicted and {len(marks)} tapped frequencies, {len(measured)} of them paired; "
        "all figures are in the table."
    )
    return PictureJob("ladder", scene, alt)


def _mark(rail: float, y: float, *, paired: bool) -> list[Shape]:
    """A rung's end; hollow if it has no partner."""
    ends = np.array([[rail - _RAIL, y], [rail + _RAIL, y]])
    return [Stroke(ends, 7.0, INK)] if paired else [Stroke(ends, 11.0, INK), Stroke(ends, 6.0, PAPER)]


def _possible(x0: float, y0: float, x1: float, y1: float) -> list[Shape]:
    return [Stroke(dash, 2.5, PENCIL) for dash in dashes(np.array([[x0, y0], [x1, y1]]), 8.0, 9.0)]


def _key(kind: str, y: float, labels: list[Label]) -> list[Shape]:
    """One line of the key, and its sign."""
    words = {
        "possible": "could also belong together",
        "alone": "has no partner",
        "wanted": "what the drawing asks for",
    }
    labels.append(Label(106, y, words[kind], 25, PENCIL))
    if kind == "possible":
        return _possible(38, y, 86, y)
    return _mark(62, y, paired=False) if kind == "alone" else _diamond(62, y)


def _diamond(x: float, y: float) -> list[Shape]:
    def corners(half: float) -> np.ndarray:
        return np.array([[x - half, y], [x, y - half], [x + half, y], [x, y + half]])

    return [Area(corners(15), _TARGET), Area(corners(8), PAPER)]


def _written(
    labels: list[Label], rows: Sequence[tuple[float, str, str, Rgb]], side: int, bottom: float, height: int
) -> list[Stroke]:
    """Add two lines of text a mark, kept apart, and return the leaders from the marks to them."""
    rows = sorted(rows)
    at = spread([y for y, _, _, _ in rows], _PITCH, bottom + 6, height - _TOP - 16)
    rail = _LEFT if side < 0 else _RIGHT
    room = (_LEFT if side < 0 else WIDTH - _RIGHT) - _RAIL - _LEADER - 34
    align: Align = "right" if side < 0 else "left"
    leaders = []
    for (y, figure, words, colour), place in zip(rows, at, strict=True):
        start, stop = rail + side * _RAIL, rail + side * (_RAIL + _LEADER)
        line = np.array([[start + 6 * side, y], [stop - 6 * side, place]])
        leaders += [Stroke(dash, 1.6, PENCIL) for dash in dashes(line, 60.0, 1.0)]
        labels.append(
            Label(stop, place + 14, *fitted(figure, _FIGURE, room, bold=True), colour, bold=True, align=align)
        )
        labels.append(Label(stop, place - 17, *fitted(words, _WORDS, room, smallest=18), PENCIL, align=align))
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
    """Which mode a tapped frequency is taken for, and how far it lies from it."""
    apart = round(cents(hz, rung.hz))
    modes = " or ".join(str(mode) for mode in (rung.mode, *rung.also))
    if not apart:
        return f"mode {modes}"
    return f"mode {modes}, {'+' if apart > 0 else MINUS}{abs(apart)} cent{'s' * (abs(apart) != 1)}"
