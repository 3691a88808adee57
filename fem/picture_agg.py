"""Draws a scene with matplotlib's Agg, for machines without OpenGL.

Depends on fem/scene.
"""

from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.tri import Triangulation

from bracedtop.fem.colours import PAPER, Rgb
from bracedtop.fem.scene import Area, Field, Scene, Stroke, finished, saved

_OVERSAMPLING = 2


def draw_scene(scene: Scene, path: Path) -> None:
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
    for order, shape in enumerate(scene.shapes, start=1):
        if isinstance(shape, Field):
            mesh = Triangulation(shape.points[:, 0], shape.points[:, 1], shape.triangles)
            levels = np.linspace(*shape.limits, len(shape.colours) + 1)
            # Antialiased neighbours would let the paper shine through between bands.
            axes.tricontourf(
                mesh,
                np.clip(shape.values, *shape.limits),
                levels=levels,
                colors=shape.colours / 255,
                antialiased=False,
                zorder=order,
            )
        elif isinstance(shape, Area):
            axes.add_patch(Polygon(shape.points, closed=True, facecolor=_colour(shape.colour), lw=0, zorder=order))
        else:
            axes.add_line(_line(shape, order))
    axes.set_xlim(0, scene.width)
    axes.set_ylim(0, scene.height)
    canvas.draw()  # type: ignore[no-untyped-call]
    return np.asarray(canvas.buffer_rgba())[:, :, :3]  # type: ignore[no-untyped-call]


def _line(stroke: Stroke, order: int) -> Line2D:
    points = np.vstack([stroke.points, stroke.points[:1]]) if stroke.closed else stroke.points
    return Line2D(
        points[:, 0],
        points[:, 1],
        lw=stroke.width,
        color=_colour(stroke.colour),
        solid_capstyle="round",
        solid_joinstyle="round",
        zorder=order,
    )


def _colour(rgb: Rgb) -> tuple[float, float, float]:
    red, green, blue = rgb
    return red / 255, green / 255, blue / 255
