"""Shaving map: what a millimetre off each stretch of a brace does to one mode; and the plan of the braces.

Depends on fem/top_view, fem/mode_picture, fem/placement.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bracedtop.fem.colours import INK, PENCIL, Rgb, falling, rising, tuple_of
from bracedtop.fem.mode_picture import drawn_node_lines
from bracedtop.fem.node_line import without_specks
from bracedtop.fem.picture import DeflectionMap, PictureJob
from bracedtop.fem.placement import beside
from bracedtop.fem.scene import Area, Label, Shape, Stroke, box, dashes, fitted, printable, text_width
from bracedtop.fem.top_view import (
    BRACE_WIDTH,
    MARGIN,
    SMALL,
    Frame,
    TopView,
    borders,
    frame_of,
    ground,
    heading,
    part_lines,
    scene,
    strip,
)
from bracedtop.geometry.design import Design

if TYPE_CHECKING:
    from bracedtop.fem.describe import ModeSummary
    from bracedtop.fem.sensitivity import ShavingRow

_STEPS = 101
_BRACE_WOOD: Rgb = (217, 184, 138)
_FAINT: Rgb = (158, 150, 140)
_SILENT = 0.03
"""Stretches with less than this part of the strongest effect carry no figure; chosen."""


@dataclass(frozen=True, slots=True)
class StretchShape:
    """A brace stretch, its border (n, 2) in m, and what a millimetre off it does to a mode."""

    brace: str
    border: np.ndarray
    hz_per_mm: float


def stretch_shapes(design: Design, rows: Iterable["ShavingRow"], mode: int) -> tuple[StretchShape, ...]:
    """The stretches of a shaving table with their effect on one mode."""
    return tuple(
        StretchShape(row.brace, strip(design.brace(row.brace), row.start, row.stop), row.hz_per_mm)
        for row in rows
        if row.mode == mode
    )


def shaving_picture(
    view: TopView, deflection: DeflectionMap, summary: "ModeSummary", stretches: Sequence[StretchShape]
) -> PictureJob:
    """Shaving map of one mode, named ``shaving-03`` for mode 3.

    Parameters
    ----------
    view : TopView
    deflection : DeflectionMap
        Its row `summary.mode` - 1 gives the node lines.
    summary : ModeSummary
    stretches : sequence of StretchShape
    """
    frame = frame_of(view)
    places = frame.place(deflection.points)
    cleaned = without_specks(deflection.triangles, deflection.values[summary.mode - 1])
    strongest = max((abs(s.hz_per_mm) for s in stretches), default=0.0)
    top = nice_limit(strongest)
    order = sorted(stretches, key=lambda s: abs(s.hz_per_mm))
    shapes: list[Shape] = [*ground(view, frame)]
    for line in drawn_node_lines(places, deflection.triangles, cleaned):
        shapes += [Stroke(dash, 4.0, _FAINT) for dash in dashes(line, 12.0, 14.0)]
    shapes += part_lines(view, frame, braces=False)
    for s, colour in zip(order, _colours([s.hz_per_mm for s in order], top), strict=True):
        border = frame.place(s.border)
        shapes += [Area(border, colour), Stroke(border, BRACE_WIDTH, INK, closed=True)]
    decimals = max(0, 1 - int(np.floor(np.log10(top))))
    wanted = [
        (signed(s.hz_per_mm, decimals), frame.place(s.border))
        for s in reversed(order)
        if abs(s.hz_per_mm) > max(_SILENT * strongest, 0.5 * 10.0**-decimals)
    ]
    bar_shapes, bar_labels = _colour_bar(frame, top, [s.hz_per_mm for s in stretches])
    title = f"Shaving map, mode {summary.mode}"
    words = "Hz a millimetre taken off moves this mode; dashed: its node lines"
    labels = [
        *heading(frame, title, f"{summary.hz:.1f} Hz", words),
        *beside(wanted, SMALL - 2, frame.width, borders(view, frame)),
        *bar_labels,
    ]
    return PictureJob(
        f"shaving-{summary.mode:02d}", scene(frame, [*shapes, *bar_shapes], labels), _alt(summary.mode, order)
    )


def plan_picture(view: TopView) -> PictureJob:
    """The braces with their names, and a dot at the end from which distances along them count; named ``plan``."""
    frame = frame_of(view)
    shapes: list[Shape] = [*ground(view, frame)]
    shapes += [Area(frame.place(border), _BRACE_WOOD) for _, border, _ in view.braces]
    shapes += part_lines(view, frame)
    wanted = []
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    for name, border, start in view.braces:
        end, middle = frame.place(start)[0], frame.place(border).mean(axis=0)
        inward = (middle - end) / max(float(np.hypot(*(middle - end))), 1.0)
        shapes.append(Area(end + 9 * inward + 9 * np.column_stack([np.cos(turn), np.sin(turn)]), INK))
        wanted.append((fitted(name, SMALL, 0.4 * frame.width, smallest=SMALL, bold=True)[0], frame.place(border)))
    words = "black dot: from here count the millimetres along a brace"
    labels = [*heading(frame, "The braces", "", words), *beside(wanted, SMALL, frame.width, borders(view, frame))]
    names = ", ".join(printable(name) for name, _, _ in view.braces) or "none"
    return PictureJob("plan", scene(frame, shapes, labels), f"Plan of the braces seen from inside, neck up: {names}.")


def nice_limit(value: float) -> float:
    """The next of 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten that is no less than `value`; 1 for zero."""
    if value <= 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value) + 1e-12)
    return float(next(k * power for k in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if k * power >= value * (1 - 1e-9)))


def signed(value: float, decimals: int) -> str:
    """Number with its sign, such as ``-0.4`` with a true minus."""
    return f"{value:+.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def _colours(values: Sequence[float] | np.ndarray, top: float) -> list[Rgb]:
    """Colour of each effect when the darkest stands for `top` Hz per mm."""
    down, up = falling(_STEPS), rising(_STEPS)
    steps = [round(min(abs(value) / top, 1.0) * (_STEPS - 1)) for value in values]
    return [tuple_of((up if value > 0 else down)[step]) for value, step in zip(values, steps, strict=True)]


def _colour_bar(frame: Frame, top: float, values: Sequence[float]) -> tuple[list[Shape], list[Label]]:
    """Bar of colours with its scale: falling on the left of zero, rising on its right if any stretch does."""
    most, least = max(values, default=0.0), min(values, default=0.0)
    stop = nice_limit(most) if most > 0 else 0.0
    start = -nice_limit(-least) if least < 0 or stop == 0 else 0.0
    words = "Hz per mm"
    left, right = MARGIN + text_width(words, SMALL) + 40.0, frame.width - MARGIN - 24.0
    low, high, n = 116.0, 146.0, 100
    ends = np.linspace(left, right, n + 1)
    at = start + (np.arange(n) + 0.5) / n * (stop - start)
    shapes: list[Shape] = [
        Area(box(a, low, b, high), colour) for a, b, colour in zip(ends[:-1], ends[1:], _colours(at, top), strict=True)
    ]
    shapes.append(Stroke(box(left, low, right, high), 1.4, PENCIL, closed=True))
    labels = [Label(MARGIN, (low + high) / 2, words, SMALL)]
    ticks: list[float] = []
    for tick in (0.0, start, stop, start / 2, stop / 2):
        if all(abs(tick - other) > 0.13 * (stop - start) for other in ticks):
            ticks.append(tick)
            x = left + (tick - start) / (stop - start) * (right - left)
            shapes.append(Stroke(np.array([[x, low - 8], [x, low]]), 2.0, INK))
            text = f"{tick:+g}".replace("-", "\N{MINUS SIGN}") if tick else "0"
            labels.append(Label(x, low - 24, text, SMALL, align="centre"))
    return shapes, labels


def _alt(mode: int, order: Sequence[StretchShape]) -> str:
    if not order:
        return f"Shaving map of mode {mode}: there is no brace."
    most = order[-1]
    return (
        f"Shaving map of mode {mode}, seen from inside, neck up: the strongest effect is "
        f"{signed(most.hz_per_mm, 2)} Hz per mm on brace {printable(most.brace)}; all figures are in the table."
    )
