"""Picture of a loaded top: where it bellies out and where it dips.

Depends on fem/deflection, fem/load_summary, fem/mode_picture, fem/static, fem/top_view.
"""

import numpy as np

from bracedtop.fem.colours import INK, inward_outward
from bracedtop.fem.deflection import fine_triangles
from bracedtop.fem.load_summary import LoadSummary, Spot
from bracedtop.fem.mode_picture import MINUS, N_BANDS, NODE_WIDTH, drawn_node_lines, legend
from bracedtop.fem.node_line import without_specks
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Field, Label, Shape, Stroke
from bracedtop.fem.static import fields_at
from bracedtop.fem.top_view import Frame, TopView, frame_of, ground, heading, part_lines, scene

_MARK = 30
_CROSS = 11.0
"""Half the size of a mark at a dip or belly, px."""


def load_picture(
    view: TopView, summary: LoadSummary, *, name: str = "load", title: str = "Under the strings"
) -> PictureJob:
    """Picture of the deflection under the strings.

    Parameters
    ----------
    view : TopView
    summary : LoadSummary
    name : str
        File name without its ending.
    title : str
    """
    frame = frame_of(view)
    points, xy, triangles = fine_triangles(summary.static.model)
    w = fields_at(summary.static, points)[:, 2]
    most = float(np.abs(w).max()) or 1.0
    # Along a held rim the deflection is zero; only lines inside the top say something.
    w = most * without_specks(triangles, w / most)
    places = frame.place(xy)
    shapes: list[Shape] = [
        *ground(view, frame),
        Field(places, triangles, w, (-most, most), inward_outward(N_BANDS)),
        *part_lines(view, frame),
        *(Stroke(line, NODE_WIDTH, INK) for line in drawn_node_lines(places, triangles, w)),
    ]
    labels: list[Label] = []
    for word, spot in (("dip", summary.dip), ("belly", summary.belly)):
        if spot is not None:
            marks, label = _mark(frame, word, spot)
            shapes += marks
            labels.append(label)
    turn = np.rad2deg(summary.rotation)
    words = f"{summary.pull:.0f} N toward the neck; the bridge turns {degrees(turn)}"
    step = f"one colour step is {1e3 * most / (N_BANDS / 2):.2g} mm, when the strings go on"
    legend_shapes, legend_labels = legend("+ out", f"{MINUS} in", "where it was", step)
    aside = f"largest {1e3 * most:.2f} mm"
    every = [*heading(frame, title, aside, words), *labels, *legend_labels]
    return PictureJob(name, scene(frame, [*shapes, *legend_shapes], every), _alt(summary, title))


def degrees(value: float) -> str:
    """An angle in degrees with a true minus sign."""
    return f"{value:.2f} degrees".replace("-", MINUS)


def millimetres(spot: Spot) -> str:
    """A deflection in mm with its sign."""
    return f"{1e3 * spot.deflection:+.2f} mm".replace("-", MINUS)


def _mark(frame: Frame, word: str, spot: Spot) -> tuple[list[Shape], Label]:
    x, y = frame.place(np.array([spot.place]))[0]
    cross: list[Shape] = [
        Stroke(np.array([[x - _CROSS, y - dy], [x + _CROSS, y + dy]]), 3.0, INK) for dy in (_CROSS, -_CROSS)
    ]
    text = f"{word} {millimetres(spot)}"
    return cross, Label(x, y + 1.2 * _MARK, text, _MARK, INK, bold=True, align="centre", halo=True)


def _alt(summary: LoadSummary, title: str) -> str:
    spots = [
        f"{word} of {millimetres(spot)} at x {1e3 * spot.place[0]:.0f}, y {1e3 * spot.place[1]:.0f} mm"
        for word, spot in (("dip", summary.dip), ("belly", summary.belly))
        if spot is not None
    ]
    turn = degrees(np.rad2deg(summary.rotation))
    return f"{title}, seen from inside, neck up: the bridge turns {turn}; {'; '.join(spots) or 'no dip or belly'}."
