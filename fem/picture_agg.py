"""Draws a scene with matplotlib's Agg, for machines without OpenGL.

Depends on fem/scene.
"""

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path as FilePath

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.tri import Triangulation

from bracedtop.fem.colours import PAPER, Rgb
from bracedtop.fem.scene import Area, Field, Scene, Shape, Stroke, finished, saved

_OVERSAMPLING = 2


def draw_scene(scene: Scene, path: FilePath) -> None:
    """Write a scene as PNG."""
    saved(finished(drawn(scene), scene), path)


def drawn(scene: Scene) -> np.ndarray:
    """Pixels of the scene's shapes, (2 height, 2 width, 3) uint8."""
    # At 72 dots per inch a point, matplotlib's unit of line widths, is a pixel.
    figure = Figure((scene.width / 72, scene.height / 72), dpi=72 * _OVERSAMPLING, facecolor=_colour(PAPER))
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, scene.width), ylim=(0, scene.height))
    axes.set_axis_off()
    axes.set_autoscale_on(False)
    for order, (_, group) in enumerate(groupby(scene.shapes, _kind), start=1):
        shapes = list(group)
        for field in shapes:
            if isinstance(field, Field):
                _add_field(axes, field, order)
        areas = [shape for shape in shapes if isinstance(shape, Area)]
        if areas:
            colours = [_colour(area.colour) for area in areas]
            faces = [area.points for area in areas]
            axes.add_collection(PolyCollection(faces, facecolors=colours, linewidths=0, zorder=order))
        strokes = [shape for shape in shapes if isinstance(shape, Stroke)]
        if strokes:
            axes.add_patch(_lines(strokes, order))
    axes.set_xlim(0, scene.width)
    axes.set_ylim(0, scene.height)
    # The canvas of matplotlib has no annotations.
    canvas.draw()  # type: ignore[no-untyped-call]
    return np.asarray(canvas.buffer_rgba())[:, :, :3]  # type: ignore[no-untyped-call]


def _kind(shape: Shape) -> tuple[object, ...]:
    """Neighbouring shapes of a kind are drawn in one go, which is much faster."""
    return (Stroke, shape.width, shape.colour) if isinstance(shape, Stroke) else (type(shape),)


def _add_field(axes: Axes, field: Field, order: int) -> None:
    mesh = Triangulation(field.points[:, 0], field.points[:, 1], field.triangles)
    levels = np.linspace(*field.limits, len(field.colours) + 1)
    values = np.clip(field.values, *field.limits)
    # Antialiased neighbours would let the paper shine through between bands.
    axes.tricontourf(mesh, values, levels=levels, colors=field.colours / 255, antialiased=False, zorder=order)


def _lines(strokes: Sequence[Stroke], order: int) -> PathPatch:
    """All lines of one width and colour."""
    paths = [Path(np.vstack([s.points, s.points[:1]]) if s.closed else s.points, closed=s.closed) for s in strokes]
    return PathPatch(
        Path.make_compound_path(*paths),
        fill=False,
        linewidth=strokes[0].width,
        edgecolor=_colour(strokes[0].colour),
        capstyle="round",
        joinstyle="round",
        zorder=order,
    )


def _colour(rgb: Rgb) -> tuple[float, float, float]:
    red, green, blue = rgb
    return red / 255, green / 255, blue / 255
