"""Picture of a calibration: what is known of each number before and after the taps, and how far each mode is off.

Depends on fem/calibration_doubts, fem/colours, fem/picture, fem/scene.
"""

from collections.abc import Sequence

import numpy as np

from bracedtop.fem.calibration_doubts import Learned, Residual
from bracedtop.fem.colours import INK, PAPER, PENCIL, Rgb, falling, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Area, Label, Scene, Shape, Stroke, box, fitted
from bracedtop.geometry.units import cents

WIDTH = 1240
_LEFT, _RIGHT = 400.0, 1000.0
_PITCH, _HEAD, _GAP, _FOOT = 46.0, 190.0, 150.0, 60.0
_REACH = 0.5
"""Change from the drawing at the ends of the scale; chosen: few woods are further from their species."""

_PALE: Rgb = tuple_of(falling(7)[2])
_DEEP: Rgb = tuple_of(falling(5)[3])
MINUS = "\N{MINUS SIGN}"


def calibration_picture(rows: Sequence[Learned], residuals: Sequence[Residual]) -> PictureJob:
    """Bars of what is known, and a ladder of what is left, named ``calibration``.

    Parameters
    ----------
    rows : sequence of Learned
        Such as `overview` gives.
    residuals : sequence of Residual
    """
    height = int(_HEAD + _PITCH * len(rows) + bool(residuals) * (_GAP + _PITCH * len(residuals)) + _FOOT)
    shapes: list[Shape] = []
    labels = [Label(34, height - 48, "What the taps tell", 42, INK, bold=True)]
    legend = "pale: before the taps; dark: now, one standard deviation either way; hollow: not told by the taps"
    labels.append(Label(34, height - 98, *fitted(legend, 26, WIDTH - 68), PENCIL))
    top = height - _HEAD
    _scale(shapes, labels, top, len(rows), (-_REACH, _REACH), [(x, _percent(x)) for x in (-0.4, -0.2, 0.0, 0.2, 0.4)])
    for k, row in enumerate(rows):
        _bar(shapes, labels, top - (k + 0.7) * _PITCH, row)
    if residuals:
        _ladder(shapes, labels, top - len(rows) * _PITCH - _GAP, residuals)
    told = sum(row.is_told for row in rows)
    alt = (
        f"Bars of {len(rows)} numbers before and after the taps, {told} of them told by the taps, and the distance of "
        f"{len(residuals)} modes from the model; all figures are in the table."
    )
    return PictureJob("calibration", Scene(WIDTH, height, tuple(shapes), tuple(labels)), alt)


def _bar(shapes: list[Shape], labels: list[Label], y: float, row: Learned) -> None:
    ends = [(row.expected, row.sd_before, 15.0, _PALE), (row.value, row.sd, 8.0, _DEEP)]
    for value, sd, half, colour in ends:
        low, high = ((value + sign * sd) / row.expected - 1 for sign in (-1, 1))
        a, b = _across(low, _REACH), _across(high, _REACH)
        shapes.append(Area(box(a, y - half, max(b, a + 2), y + half), colour))
        if not row.is_told and colour == _DEEP and b - a > 8:
            shapes.append(Area(box(a + 3, y - half + 3, b - 3, y + half - 3), PAPER))
    x = _across(row.value / row.expected - 1, _REACH)
    shapes.append(Stroke(np.array([[x, y - 13], [x, y + 13]]), 4.0, INK))
    labels.append(Label(_LEFT - 30, y, *fitted(row.name, 24, _LEFT - 64), INK, align="right"))
    labels.append(Label(_RIGHT + 30, y, *fitted(_figures(row), 22, WIDTH - _RIGHT - 50), PENCIL))


def _ladder(shapes: list[Shape], labels: list[Label], top: float, residuals: Sequence[Residual]) -> None:
    before = [cents(r.measured_hz, r.before_hz) for r in residuals]
    reach = max(20.0, 1.1 * max(abs(c) for c in (*before, *(r.cents for r in residuals))))
    labels.append(Label(34, top + 84, "How far the taps are from the model", 32, INK, bold=True))
    legend = "cents; hollow: before these taps; filled: with the numbers found; pale: what the model's own error allows"
    labels.append(Label(34, top + 46, *fitted(legend, 24, WIDTH - 68), PENCIL))
    step = next(s for s in (5, 10, 20, 50, 100, 200, 500, 1000, 2000) if 4 * s > reach)
    marks = [(float(x), f"{x:+d}".replace("-", MINUS) if x else "0") for x in range(-2 * step, 2 * step + 1, step)]
    shown = [mark for mark in marks if abs(mark[0]) <= reach]
    _scale(shapes, labels, top, len(residuals), (-reach, reach), shown)
    for k, (residual, off) in enumerate(zip(residuals, before, strict=True)):
        y = top - (k + 0.7) * _PITCH
        band = abs(cents(residual.model_hz + residual.sd_hz, residual.model_hz))
        shapes.append(Area(box(_across(-band, reach), y - 12, _across(band, reach), y + 12), _PALE))
        for value, inside in ((off, PAPER), (residual.cents, INK)):
            x = _across(value, reach)
            shapes += [Area(_diamond(x, y, 12), INK), Area(_diamond(x, y, 8), inside)]
        words = f"mode {residual.mode}, {residual.measured_hz:.1f} Hz"
        labels.append(Label(_LEFT - 30, y, words, 24, INK, align="right"))
        off_by = round(residual.cents)
        text = "left out" if residual.set_aside else f"{off_by:+d} cents".replace("-", MINUS) if off_by else "0 cents"
        labels.append(Label(_RIGHT + 30, y, text, 22, PENCIL))


def _scale(
    shapes: list[Shape],
    labels: list[Label],
    top: float,
    n: int,
    ends: tuple[float, float],
    marks: Sequence[tuple[float, str]],
) -> None:
    for value, text in marks:
        x = _across(value, ends[1])
        line = np.array([[x, top], [x, top - (n + 0.4) * _PITCH]])
        shapes.append(Stroke(line, 3.0 if value == 0 else 1.2, PENCIL))
        labels.append(Label(x, top + 18, text, 22, PENCIL, align="centre"))


def _across(value: float, reach: float) -> float:
    part = float(np.clip(value / reach, -1.0, 1.0))
    return (_LEFT + _RIGHT) / 2 + part * (_RIGHT - _LEFT) / 2


def _figures(row: Learned) -> str:
    if row.kind in ("height", "ring"):
        return f"{1e3 * row.value:.2f} ± {1e3 * row.sd:.2f} mm"
    return f"{row.value:.2f} ± {row.sd:.2f}"


def _percent(part: float) -> str:
    return f"{100 * part:+.0f} %".replace("-", MINUS) if part else "as drawn"


def _diamond(x: float, y: float, half: float) -> np.ndarray:
    return np.array([[x - half, y], [x, y - half], [x + half, y], [x, y + half]])
