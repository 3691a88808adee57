"""Picture of a coupled mode of a box: top, air and back side by side.

Depends on fem/box_modes, fem/box_parts, fem/box_shapes, fem/colours, fem/mode_picture, fem/node_line, fem/picture,
fem/scene, fem/top_view, geometry/units.

All three are drawn in the top's plan, neck up, as they lie above each other for who looks from behind the back: the top
from its inside, the back from its outside.
"""

from collections.abc import Sequence

import numpy as np

from bracedtop.fem.box_modes import BoxModes
from bracedtop.fem.box_parts import PARTS, BoxModel
from bracedtop.fem.box_shapes import BoxShapes, box_shapes
from bracedtop.fem.colours import INK, PENCIL, inward_outward, tuple_of
from bracedtop.fem.mode_picture import MARKED, MINUS, N_BANDS, drawn_node_lines, signs
from bracedtop.fem.node_line import lobes, without_specks
from bracedtop.fem.picture import DeflectionMap, PictureJob
from bracedtop.fem.scene import Area, Field, Label, Scene, Shape, Stroke, box, fitted, text_width
from bracedtop.fem.top_view import Frame, TopView, borders, ground, part_lines, top_view
from bracedtop.geometry.units import note

WIDTH = 1240
_MARGIN, _GAP = 34.0, 26.0
_HEAD, _FOOT = 210.0, 150.0
_COLUMN = (WIDTH - 2 * _MARGIN - 2 * _GAP) / 3
_LEAST_LENGTH = 300.0
_TITLE, _WORDS, _PANEL, _SMALL = 42, 28, 28, 22
_SIGN = 40
_PANEL_NODE = 4.5
"""Width of a still line, px; chosen: the panels are half as large as a whole picture of the top."""

_STILL = 0.05
"""Largest deflection over that of the other face below which a face is drawn without signs and still lines."""


def box_pictures(model: BoxModel, modes: BoxModes, names: Sequence[str]) -> list[PictureJob]:
    """One picture a mode, named ``box-mode-01`` for the lowest.

    Parameters
    ----------
    model : BoxModel
    modes : BoxModes
    names : sequence of str
    """
    shapes = box_shapes(model, modes)
    views = top_view(model.design), None if model.back is None else top_view(model.box.back)
    return [_mode_picture(shapes, views, modes, k, names[k]) for k in range(len(modes.frequencies))]


def _mode_picture(
    shapes: BoxShapes, views: tuple[TopView, TopView | None], modes: BoxModes, k: int, name: str
) -> PictureJob:
    top_plan, back_plan = views
    frames, height = _frames(top_plan)
    hz = float(modes.frequencies[k])
    share = dict(zip(PARTS, modes.shares[k].tolist(), strict=True))
    share["air"] = share["hole"] + share["cavity"]
    panels = [
        (top_plan, shapes.top, f"Top, {_percent(share['top'])}", "seen from inside", True),
        (_outlines(top_plan), shapes.air, f"Air, {_percent(share['air'])}", "pressure half-way down", False),
    ]
    if back_plan is not None and shapes.back is not None:
        panels.append((back_plan, shapes.back, f"Back, {_percent(share['back'])}", "seen from outside", True))
    drawn: list[Shape] = []
    labels: list[Label] = []
    for frame, (view, field, head, below, is_face) in zip(frames, panels, strict=False):
        x, peak = frame.width / 2, float(np.abs(field.values[k]).max())
        drawn += _panel(labels, frame, view, field, k, is_face=is_face, still=peak < _STILL)
        if is_face and peak < 0.995:
            below += f"; moves {_percent(peak)} as far"
        labels.append(Label(x, height - 150, head, _PANEL, INK, bold=True, align="centre"))
        labels.append(Label(x, height - 182, *fitted(below, _SMALL, _COLUMN, smallest=16), PENCIL, align="centre"))
    pitch, deviation = note(hz)
    aside = f"{pitch} {deviation:+.0f} cents".replace("-", MINUS)
    room = WIDTH - 2 * _MARGIN
    aside_width = text_width(aside, _WORDS) + 20
    title, size = fitted(f"Mode {k + 1}: {hz:.1f} Hz, {name}", _TITLE, room - aside_width, bold=True)
    words = f"Q {modes.q[k]:.0f}, rings for {modes.t60[k]:.2f} s (T60); per cent: shares of the energy" + (
        f", the rim has {_percent(share['rim'])}" if share["rim"] >= 0.005 else ""
    )
    labels += [
        Label(_MARGIN, height - 48, title, size, INK, bold=True),
        Label(WIDTH - _MARGIN, height - 48, aside, _WORDS, PENCIL, align="right"),
        Label(_MARGIN, height - 98, *fitted(words, _WORDS, room), PENCIL),
    ]
    drawn += _legend(labels)
    drawn += _scale_bar(labels, frames[0])
    alt = (
        f"Coupled mode {k + 1} at {hz:.1f} Hz, {name}: deflection of the top, pressure of the air half-way down, and "
        f"deflection of the back, side by side in the top's plan; shares of the energy: top {_percent(share['top'])}, "
        f"air {_percent(share['air'])}, back {_percent(share['back'])}, rim {_percent(share['rim'])}."
    )
    return PictureJob(f"box-mode-{k + 1:02d}", Scene(WIDTH, height, tuple(drawn), tuple(labels)), alt)


def _frames(view: TopView) -> tuple[list[Frame], int]:
    """Where the three plans lie, and the height of the picture, px."""
    low, high = view.outline.min(axis=0), view.outline.max(axis=0)
    length, breadth = high - low
    # A long and narrow box does not make a tower of the picture.
    scale = min(_COLUMN / breadth, 1.5 * _COLUMN / length)
    height = round(max(scale * length, _LEAST_LENGTH) + _HEAD + _FOOT)
    middle = (low + high) / 2
    frames = []
    for k in range(3):
        x = _MARGIN + (k + 0.5) * _COLUMN + k * _GAP
        plain = Frame(round(2 * x), float(scale), middle)
        # The frame of a whole picture puts its middle where that has it; moved to this picture's.
        y = float(plain.place(middle)[0, 1])
        at = (height - _HEAD + _FOOT) / 2
        frames.append(Frame(round(2 * x), float(scale), middle + np.array([(y - at) / scale, 0.0])))
    return frames, height


def _outlines(view: TopView) -> TopView:
    return TopView(view.outline, view.holes)


def _panel(
    labels: list[Label],
    frame: Frame,
    view: TopView,
    field: DeflectionMap,
    k: int,
    *,
    is_face: bool,
    still: bool,
) -> list[Shape]:
    values = without_specks(field.triangles, field.values[k])
    places = frame.place(field.points)
    shaded = Field(places, field.triangles, values, (-1.0, 1.0), inward_outward(N_BANDS))
    shapes: list[Shape] = [*ground(view, frame), shaded]
    shapes += part_lines(view, frame)
    if not still:
        shapes += [Stroke(line, _PANEL_NODE, INK) for line in drawn_node_lines(places, field.triangles, values)]
        floor = MARKED * float(np.abs(values).max())
        edges = borders(view if is_face else TopView(view.outline), frame)
        labels += signs(places, values, lobes(field.triangles, values, floor), edges, _SIGN)
    return shapes


def _legend(labels: list[Label]) -> list[Shape]:
    """What colours and lines mean, in the two lines above the scale bar."""
    colours = inward_outward(N_BANDS)
    y, x = 112.0, _MARGIN
    shapes: list[Shape] = []
    entries = (
        ("+ moves out, or air pressed", colours[-4]),
        (f"{MINUS} moves in, or air thinned", colours[3]),
        ("stands still", None),
    )
    for words, colour in entries:
        if colour is None:
            shapes.append(Stroke(np.array([[x + 4, y], [x + 40, y]]), _PANEL_NODE, INK))
        else:
            shapes.append(Area(box(x, y - 13, x + 44, y + 13), tuple_of(colour)))
        labels.append(Label(x + 56, y, words, _SMALL + 1))
        x += 56 + text_width(words, _SMALL + 1) + 34
    step = (
        "a colour step is a tenth of the largest motion of both faces, or of the largest pressure; half a swing later "
        f"+ and {MINUS} change places"
    )
    labels.append(Label(_MARGIN, 72, *fitted(step, _SMALL, WIDTH - 2 * _MARGIN, smallest=16), PENCIL))
    return shapes


def _scale_bar(labels: list[Label], frame: Frame) -> list[Shape]:
    right, y = _MARGIN + 0.1 * frame.scale, 30.0
    labels.append(Label(right + 14, y, "100 mm", _SMALL))
    words = "all in the top's plan, neck up, as seen from behind the box"
    labels.append(Label(WIDTH - _MARGIN, y, words, _SMALL, PENCIL, align="right"))
    return [
        Area(box(_MARGIN, y - 3, right, y + 3), INK),
        Area(box(_MARGIN, y - 9, _MARGIN + 4, y + 9), INK),
        Area(box(right - 4, y - 9, right, y + 9), INK),
    ]


def _percent(value: float) -> str:
    return f"{100 * value:.0f} %"
