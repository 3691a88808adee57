"""Curves over frequency, with notes on the axis and the modes numbered above: admittance at the bridge, sound.

Depends on fem/box_parts, fem/box_state, fem/colours, fem/ladder_picture, fem/mode_picture, fem/picture, fem/response,
fem/scene, geometry/units.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_state import BoxState
from bracedtop.fem.colours import INK, PENCIL, Rgb, falling, rising, tuple_of
from bracedtop.fem.ladder_picture import spread
from bracedtop.fem.mode_picture import MINUS
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.response import REFERENCE, decibels
from bracedtop.fem.scene import Label, Scene, Shape, Stroke, box, dashes, fitted, text_width
from bracedtop.geometry.units import note_frequency

WIDTH = 1500
_LEFT, _RIGHT = 110.0, 34.0
_PLOT = 470.0
_HEAD, _ROW = 214.0, 30.0
_COLUMNS = 3
_TITLE, _WORDS, _TICK, _KEY = 42, 27, 23, 21
_GRID: Rgb = (226, 221, 214)

_LEADER: Rgb = (168, 160, 152)

NOTES = ("E2", "A2", "D3", "G3", "B3", "E4", "A4", "E5", "A5")
"""Notes on the axis: the open strings of the usual tuning and some above."""

HERTZ = (80, 100, 150, 200, 300, 400, 500, 600, 800, 1000)

BROWN, BLUE = tuple_of(falling(7)[5]), tuple_of(rising(7)[5])


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve: frequencies in Hz and levels in dB, both (n,)."""

    name: str
    hz: np.ndarray
    level: np.ndarray
    colour: Rgb = INK
    width: float = 3.5
    dashed: bool = False


SHOWN = 0.25
"""Part of the whole admittance at its frequency from which a mode is numbered; chosen: weaker ones show no peak."""


def shown_modes(model: BoxModel, state: BoxState) -> np.ndarray:
    """Which modes move the bridge enough to be seen in its admittance, (n,) bool."""
    modes = state.modes
    at_bridge = modes.vectors[:, model.parts["top"]] @ model.drive
    own = at_bridge**2 / (2 * np.pi * modes.frequencies * modes.loss)
    return np.asarray(own > SHOWN * np.interp(modes.frequencies, state.response.hz, np.abs(state.response.admittance)))


def admittance_picture(model: BoxModel, state: BoxState, names: Sequence[str]) -> PictureJob:
    """Admittance at the bridge, named ``box-admittance``."""
    response = state.response
    return curve_picture(
        "box-admittance",
        "How easily the bridge moves",
        "admittance (velocity per newton) at the bridge, dB re 1 s/kg; in bold the modes that show",
        [Curve("at the bridge", response.hz, response.admittance_level, BROWN)],
        state.modes.frequencies,
        names,
        shown_modes(model, state),
    )


def sound_picture(model: BoxModel, state: BoxState, names: Sequence[str]) -> PictureJob:
    """Sound pressure per newton at the bridge, named ``box-sound``."""
    response = state.response
    at_ear = decibels(np.abs(response.ear) ** 2 / REFERENCE**2)
    return curve_picture(
        "box-sound",
        "What is heard of a newton at the bridge",
        "sound pressure, dB re 20 \N{MICRO SIGN}Pa per newton at the bridge; in bold the modes that show",
        [
            Curve("at the player's ear", response.hz, at_ear, BLUE, 2.5, dashed=True),
            Curve("1 m in front, mean within 30 degrees", response.hz, response.pressure_level, BROWN),
        ],
        state.modes.frequencies,
        names,
        shown_modes(model, state),
    )


def curve_picture(
    name: str,
    title: str,
    words: str,
    curves: Sequence[Curve],
    modes: np.ndarray,
    mode_names: Sequence[str],
    numbered: np.ndarray | None = None,
) -> PictureJob:
    """Levels over a logarithmic axis of frequency.

    Parameters
    ----------
    name, title, words : str
    curves : sequence of Curve
        Later ones cover earlier ones; the last one is what the modes are marked on.
    modes : (n,) array, Hz
        Rising.
    mode_names : sequence of n str
    numbered : (n,) bool array, optional
        Modes that are numbered in the plot; the others stand in the list only.
    """
    low, high = float(curves[-1].hz[0]), float(curves[-1].hz[-1])
    shown = [k for k, hz in enumerate(modes) if low < hz < high]
    seen = [k for k in shown if numbered is None or numbered[k]]
    rows = -(-len(shown) // _COLUMNS)
    bottom = 120.0 + rows * _ROW + (26.0 if rows else 0.0) + (_ROW + 8.0 if len(curves) > 1 else 0.0)
    height = round(bottom + _PLOT + _HEAD)
    floor, ceiling = _limits([curve.level for curve in curves])
    frame = _Axes(low, high, floor, ceiling, bottom)
    shapes = frame.grid()
    labels = [
        Label(34, height - 48, *fitted(title, _TITLE, WIDTH - 68, bold=True), INK, bold=True),
        Label(34, height - 98, *fitted(words, _WORDS, WIDTH - 68), PENCIL),
        *frame.ticks(),
    ]
    last = curves[-1]
    peaks = np.interp(modes[seen], last.hz, last.level) if seen else np.zeros(0)
    shapes += _numbers(labels, frame, [(k + 1, float(modes[k])) for k in seen], peaks)
    for curve in curves:
        line = frame.place(curve.hz, curve.level)
        pieces = dashes(line, 12.0, 8.0) if curve.dashed else [line]
        shapes += [Stroke(piece, curve.width, curve.colour) for piece in pieces]
    shapes.append(Stroke(box(_LEFT, bottom, WIDTH - _RIGHT, bottom + _PLOT), 2.0, PENCIL, closed=True))
    y = bottom - 106
    if len(curves) > 1:
        shapes += _curve_key(labels, curves, y)
        y -= _ROW + 8
    _mode_key(labels, [(k + 1, float(modes[k]), mode_names[k], k in seen) for k in shown], y - 8, rows)
    top = int(np.argmax(last.level))
    alt = (
        f"{title}: {words}; from {low:.0f} to {high:.0f} Hz, highest {last.level[top]:.0f} dB at {last.hz[top]:.0f} "
        "Hz. The modes are in the table."
    )
    return PictureJob(name, Scene(WIDTH, height, tuple(shapes), tuple(labels)), alt)


@dataclass(frozen=True, slots=True)
class _Axes:
    low: float
    high: float
    floor: float
    ceiling: float
    bottom: float

    def x(self, hz: float) -> float:
        part = np.log(hz / self.low) / np.log(self.high / self.low)
        return float(_LEFT + part * (WIDTH - _LEFT - _RIGHT))

    def y(self, level: float) -> float:
        return float(self.bottom + _PLOT * (level - self.floor) / (self.ceiling - self.floor))

    def place(self, hz: np.ndarray, level: np.ndarray) -> np.ndarray:
        part = np.log(hz / self.low) / np.log(self.high / self.low)
        x = _LEFT + part * (WIDTH - _LEFT - _RIGHT)
        height = np.clip((level - self.floor) / (self.ceiling - self.floor), 0.0, 1.0)
        return np.column_stack([x, self.bottom + _PLOT * height])

    @property
    def levels(self) -> np.ndarray:
        return np.arange(self.floor, self.ceiling + 1.0, 10.0)

    @property
    def notes(self) -> list[tuple[str, float]]:
        """Notes within the axis and their places."""
        found = [(name, note_frequency(name)) for name in NOTES]
        return [(name, self.x(hz)) for name, hz in found if self.low < hz < self.high]

    @property
    def hertz(self) -> list[tuple[str, float]]:
        """Round frequencies within the axis and their places."""
        return [(str(hz), self.x(hz)) for hz in HERTZ if self.low < hz < self.high]

    def grid(self) -> list[Shape]:
        """Lines of the levels and the notes, and ticks of the frequencies."""
        right, top = WIDTH - _RIGHT, self.bottom + _PLOT
        upright = [np.array([[x, self.bottom], [x, top]]) for _, x in self.notes]
        ticks = [np.array([[x, self.bottom], [x, self.bottom - 10]]) for _, x in self.hertz]
        levels = [np.array([[_LEFT, self.y(level)], [right, self.y(level)]]) for level in self.levels]
        return [
            *(Stroke(line, 1.4, _GRID) for line in levels),
            *(Stroke(piece, 1.4, _GRID) for line in upright for piece in dashes(line, 6.0, 6.0)),
            *(Stroke(line, 2.0, PENCIL) for line in ticks),
        ]

    def ticks(self) -> list[Label]:
        """Lettering of the axes."""
        left, hertz, notes = _LEFT - 14, self.bottom - 26, self.bottom - 58
        return [
            *(Label(left, self.y(v), f"{v:.0f}".replace("-", MINUS), _TICK, INK, align="right") for v in self.levels),
            Label(left, hertz, "Hz", _TICK, PENCIL, align="right"),
            Label(left, notes, "note", _TICK, PENCIL, align="right"),
            *(Label(x, hertz, words, _TICK, INK, align="centre") for words, x in self.hertz),
            *(Label(x, notes, words, _TICK, INK, align="centre") for words, x in self.notes),
        ]


def _limits(levels: Sequence[np.ndarray]) -> tuple[float, float]:
    """Whole tens around the curves, with room above; deep notches are cut off."""
    most = max(float(level.max()) for level in levels)
    least = min(float(np.percentile(level, 1.0)) for level in levels)
    ceiling = 10.0 * np.ceil(most / 10.0)
    return float(min(10.0 * np.floor(least / 10.0), ceiling - 30.0)), float(ceiling)


def _numbers(labels: list[Label], frame: _Axes, modes: Sequence[tuple[int, float]], peaks: np.ndarray) -> list[Shape]:
    """Numbers of the modes in a row above the plot, with a line from each to the curve."""
    if not modes:
        return []
    y = frame.bottom + _PLOT + 44
    pitch = text_width("88", _KEY, bold=True) + 9
    at = spread([frame.x(hz) for _, hz in modes], pitch, _LEFT, WIDTH - _RIGHT)
    shapes: list[Shape] = []
    for (number, hz), x, level in zip(modes, at, peaks, strict=True):
        foot = frame.bottom + _PLOT
        line = np.array([[x, y - 16], [frame.x(hz), foot], [frame.x(hz), frame.y(float(level)) + 8]])
        shapes.append(Stroke(line, 1.1, _LEADER))
        labels.append(Label(x, y, str(number), _KEY, INK, bold=True, align="centre"))
    return shapes


def _curve_key(labels: list[Label], curves: Sequence[Curve], y: float) -> list[Shape]:
    x = _LEFT
    shapes: list[Shape] = []
    for curve in reversed(curves):
        line = np.array([[x, y], [x + 52, y]])
        pieces = dashes(line, 12.0, 8.0) if curve.dashed else [line]
        shapes += [Stroke(piece, curve.width, curve.colour) for piece in pieces]
        labels.append(Label(x + 64, y, curve.name, _TICK, INK))
        x += 64 + text_width(curve.name, _TICK) + 40
    return shapes


def _mode_key(labels: list[Label], modes: Sequence[tuple[int, float, str, bool]], top: float, rows: int) -> None:
    column = (WIDTH - 68.0) / _COLUMNS
    for k, (number, hz, name, seen) in enumerate(modes):
        x, y = 34.0 + column * (k // rows), top - (k % rows) * _ROW
        ink = INK if seen else PENCIL
        labels.append(Label(x + 30, y, str(number), _KEY, ink, bold=seen, align="right"))
        text, size = fitted(f"{hz:.0f} Hz, {name}", _KEY, column - 60, smallest=15)
        labels.append(Label(x + 42, y, text, size, PENCIL))
