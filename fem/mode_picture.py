"""Picture of a mode: which parts of the top move out and in, and the lines that stand still.

Depends on fem/top_view, fem/node_line, fem/picture.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from bracedtop.fem.colours import INK, PENCIL, inward_outward, tuple_of
from bracedtop.fem.node_line import Lobe, lobes, node_lines, smoothed, without_specks
from bracedtop.fem.picture import DeflectionMap, PictureJob
from bracedtop.fem.scene import Area, Field, Label, Shape, Stroke, box, text_width
from bracedtop.fem.top_view import MARGIN, SMALL, TopView, borders, frame_of, ground, heading, part_lines, scene
from bracedtop.geometry.units import note

if TYPE_CHECKING:
    from bracedtop.fem.describe import ModeSummary

N_BANDS = 20
"""Bands of equal deflection from -1 to 1; chosen: each is a tenth of the largest deflection."""

NODE_WIDTH = 7.0
_NODE_STEP = 14.0
"""Distance of the points of a drawn node line, px; chosen: two line widths."""

MINUS = "\N{MINUS SIGN}"

_SIGN = 46
MARKED = 0.2
"""Part of the largest deflection that a lobe must reach to be marked with its sign."""


def mode_picture(view: TopView, deflection: DeflectionMap, summary: "ModeSummary") -> PictureJob:
    """Picture of one mode, named ``mode-03`` for mode 3.

    Parameters
    ----------
    view : TopView
    deflection : DeflectionMap
        Its row `summary.mode` - 1 is drawn.
    summary : ModeSummary
    """
    frame = frame_of(view)
    cleaned = without_specks(deflection.triangles, deflection.values[summary.mode - 1])
    found = lobes(deflection.triangles, cleaned, MARKED)
    places = frame.place(deflection.points)
    shapes: list[Shape] = [
        *ground(view, frame),
        Field(places, deflection.triangles, cleaned, (-1.0, 1.0), inward_outward(N_BANDS)),
        *part_lines(view, frame),
        *(Stroke(line, NODE_WIDTH, INK) for line in drawn_node_lines(places, deflection.triangles, cleaned)),
    ]
    legend_shapes, legend_labels = legend(
        "+ moves out",
        f"{MINUS} moves in",
        "stands still",
        f"one colour step is a tenth; half a swing later + and {MINUS} change places",
    )
    across, along = summary.nodal_lines
    name, deviation = note(summary.hz)
    pitch = f"{name} {deviation:+.0f} cents".replace("-", "\N{MINUS SIGN}")
    lines = f"node lines: {across} across, {along} along the grain"
    words = summary.name if summary.name.endswith("along") else f"{summary.name}; {lines}"
    labels = [
        *heading(
            frame,
            f"Mode {summary.mode}: {summary.hz:.1f} Hz",
            pitch,
            words,
        ),
        *signs(places, cleaned, found, borders(view, frame)),
        *legend_labels,
    ]
    n_out, n_in = (sum(lobe.sign == sign for lobe in found) for sign in (1, -1))
    alt = (
        f"Mode {summary.mode} at {summary.hz:.1f} Hz seen from inside, neck up: {summary.name}; {lines}; "
        f"{_areas(n_out)} out while {_areas(n_in)} in."
    )
    return PictureJob(f"mode-{summary.mode:02d}", scene(frame, [*shapes, *legend_shapes], labels), alt)


def drawn_node_lines(places: np.ndarray, triangles: np.ndarray, values: np.ndarray) -> list[np.ndarray]:
    """Node lines (n, 2) as drawn, px; shorter bits than the line is wide are left out."""
    lines = (smoothed(line, _NODE_STEP) for line in node_lines(places, triangles, values))
    return [line for line in lines if np.hypot(*np.diff(line, axis=0).T).sum() > NODE_WIDTH]


def _areas(n: int) -> str:
    return {0: "no area moves", 1: "1 area moves"}.get(n, f"{n} areas move")


def signs(
    places: np.ndarray, values: np.ndarray, found: Sequence[Lobe], lines: Sequence[np.ndarray], size: int = _SIGN
) -> list[Label]:
    """A plus or minus on every lobe, so that black and white print tells them apart."""
    edge = shapely.multilinestrings([shapely.linearrings(line) for line in lines])
    shapely.prepare(edge)
    labels: list[Label] = []
    for lobe in found:
        high = lobe.vertices[np.abs(values[lobe.vertices]) > 0.5 * lobe.peak]
        high = high[:: 1 + len(high) // 200]
        room = np.minimum(shapely.distance(shapely.points(places[high]), edge), 1.2 * size)
        at = places[high[(room * np.abs(values[high])).argmax()]]
        sign = "+" if lobe.sign > 0 else MINUS
        labels.append(Label(at[0], at[1], sign, size, INK, bold=True, align="centre", halo=True))
    return labels


def legend(out: str, inward: str, line: str, step: str) -> tuple[list[Shape], list[Label]]:
    """What the two colours and the line mean, and what a step of colour is, in the two lines above the scale bar."""
    colours = inward_outward(N_BANDS)
    y, x = 128.0, float(MARGIN)
    shapes: list[Shape] = []
    labels: list[Label] = []
    for words, colour in ((out, colours[-4]), (inward, colours[3]), (line, None)):
        if colour is None:
            shapes.append(Stroke(np.array([[x + 4, y], [x + 40, y]]), NODE_WIDTH, INK))
        else:
            shapes.append(Area(box(x, y - 14, x + 44, y + 14), tuple_of(colour)))
        labels.append(Label(x + 56, y, words, SMALL))
        x += 56 + text_width(words, SMALL) + 34
    labels.append(Label(MARGIN, 84, step, SMALL - 3, PENCIL))
    return shapes, labels
