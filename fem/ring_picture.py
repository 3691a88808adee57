"""Where along the rim a thinned ring works most on the top's note: a picture of the top seen from outside.

Depends on fem/colours, fem/picture, fem/ring_where, fem/scene, fem/top_view, geometry/design.
"""

from dataclasses import replace

import numpy as np
import shapely

from bracedtop.fem.colours import INK, PENCIL, falling, rising, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.ring_where import N_SECTORS, RingField, rim_line
from bracedtop.fem.scene import Area, Label, Shape, Stroke, box
from bracedtop.fem.top_view import (
    MARGIN,
    OUTLINE_WIDTH,
    SMALL,
    TopView,
    drawn_border,
    frame_of,
    ground,
    heading,
    scene,
    top_view,
)
from bracedtop.geometry.design import Design

_PIECES = 24
"""Points along a sector's border."""

_LABEL_IN = 1.75
"""Distance of the figures from the rim, in widths of the ring, and at least 30 mm; chosen."""

_STEPS = 64

_PLACES = (
    (0.03, "the tail end"),
    (0.22, "the lower bout, towards the tail"),
    (0.48, "the lower bout"),
    (0.7, "the waist"),
    (0.97, "the upper bout"),
    (2.0, "the neck end"),
)
"""Where on a body a point is, by its part of the length from the tail end; chosen for guitar-like bodies."""

BRACE_BEHIND = 1.2
"""Width of the lines of braces, which lie behind the top, px."""


def ring_picture(design: Design, field: RingField, mode: int, words: str) -> PictureJob:
    """The ring in sectors, each with its part of what thinning does to a mode; named ``ring-where``.

    Parameters
    ----------
    design : Design
        With the ring.
    field : RingField
    mode : int
        Of the field, from 0.
    words : str
        Which mode it is.
    """
    view = from_outside(top_view(design))
    frame = frame_of(view)
    shares, areas = field.sector_shares(mode)
    strength = shares / areas
    most = float(np.abs(strength).max())
    down, up = falling(_STEPS), rising(_STEPS)
    shapes: list[Shape] = [*ground(view, frame)]
    labels: list[Label] = []
    width = design.plate.ring_width
    for k, (share, value) in enumerate(zip(shares, strength, strict=True)):
        step = round(min(abs(value) / most, 1.0) * (_STEPS - 1))
        border, inner = _sector(design, k, width)
        shapes.append(Area(frame.place(border), tuple_of((down if value >= 0 else up)[step])))
        x, y = frame.place(inner)[0]
        labels.append(
            Label(
                x,
                y,
                f"{abs(round(100 * share)) if share > -0.005 else round(100 * share)} %",
                SMALL,
                INK,
                align="centre",
                halo=True,
            )
        )
    for _, border, _ in view.braces:
        shapes.append(Stroke(frame.place(border), BRACE_BEHIND, PENCIL, closed=True))
    shapes += [Stroke(drawn_border(b, frame), OUTLINE_WIDTH, INK, closed=True) for b in (view.outline, *view.holes)]
    bar, bar_labels = _bar(frame.width, strength, down, up)
    title = "Where the ring works"
    aside = f"{1e3 * width:.0f} mm wide"
    drawn = scene(frame, [*shapes, *bar], [*heading(frame, title, aside, words), *labels, *bar_labels])
    outside = tuple(
        replace(label, text="seen from outside, neck up") if "seen from inside" in label.text else label
        for label in drawn.labels
    )
    best = int(np.argmax(shares))
    text = (
        f"The ring along the rim in {N_SECTORS} parts, seen from outside, neck up: most of what thinning does to the "
        f"{words.split(':')[0]} comes from {sector_name(design, best)}, {100 * shares[best]:.0f} %; all figures are in "
        "the table."
    )
    return PictureJob("ring-where", replace(drawn, labels=outside), text)


def from_outside(view: TopView) -> TopView:
    """The top as it is seen from outside: turned over about its centreline."""
    flip = np.array([1.0, -1.0])
    return TopView(
        outline=view.outline * flip,
        holes=tuple(hole * flip for hole in view.holes),
        braces=tuple((name, border * flip, start * flip) for name, border, start in view.braces),
        patches=tuple((name, border * flip) for name, border in view.patches),
        faint=tuple(border * flip for border in view.faint),
    )


def sector_name(design: Design, k: int, n: int = N_SECTORS) -> str:
    """Where a sector of the rim is, in words."""
    x, y = np.asarray(rim_line(design).interpolate(k / n, normalized=True).coords[0])
    points = design.outline.points
    low, high = points[:, 0].min(), points[:, 0].max()
    part = (x - low) / (high - low)
    where = next(name for limit, name in _PLACES if part <= limit)
    right, left = points[:, 1].max(), points[:, 1].min()
    aside = (y - (right + left) / 2) / (right - left)
    if abs(aside) < 0.05:
        return where
    return f"{where}, {'bass' if aside > 0 else 'treble'} side"


def _sector(design: Design, k: int, width: float) -> tuple[np.ndarray, np.ndarray]:
    """Border (n, 2) of a sector of the ring and the place of its figure, (1, 2), both seen from outside, m."""
    line = rim_line(design)
    at = (k - 0.5 + np.linspace(0.0, 1.0, _PIECES)) / N_SECTORS
    rim = _on(line, at)
    inner = rim + width * _inward(line, at)
    middle = np.array([k / N_SECTORS])
    figure = _on(line, middle) + max(_LABEL_IN * width, 30e-3) * _inward(line, middle)
    flip = np.array([1.0, -1.0])
    return np.vstack([rim, inner[::-1]]) * flip, figure * flip


def _on(line: shapely.LineString, at: np.ndarray) -> np.ndarray:
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(line, at % 1.0, normalized=True)))


def _inward(line: shapely.LineString, at: np.ndarray) -> np.ndarray:
    """Unit normals into the top, of a line that runs from the tail over positive y: to its left."""
    along = _on(line, at + 2e-3) - _on(line, at - 2e-3)
    along /= np.hypot(*along.T)[:, None]
    return np.column_stack([along[:, 1], -along[:, 0]])


def _bar(width: int, strength: np.ndarray, down: np.ndarray, up: np.ndarray) -> tuple[list[Shape], list[Label]]:
    """What the colours stand for: effect per area over the ring's mean."""
    low, high = 116.0, 146.0
    words = "times the ring's mean"
    left, right = MARGIN + 330.0, width - MARGIN - 24.0
    most = float(np.abs(strength).max())
    start = -most if strength.min() < -0.05 * most else 0.0
    n = 100
    ends = np.linspace(left, right, n + 1)
    shapes: list[Shape] = []
    for k in range(n):
        value = start + (k + 0.5) / n * (most - start)
        step = round(min(abs(value) / most, 1.0) * (_STEPS - 1))
        shapes.append(Area(box(ends[k], low, ends[k + 1], high), tuple_of((down if value >= 0 else up)[step])))
    shapes.append(Stroke(box(left, low, right, high), 1.4, PENCIL, closed=True))
    labels = [Label(MARGIN, (low + high) / 2, words, SMALL)]
    for value in np.arange(np.ceil(2 * start) / 2, most, 0.5):
        x = left + (value - start) / (most - start) * (right - left)
        shapes.append(Stroke(np.array([[x, low - 8], [x, low]]), 2.0, INK))
        labels.append(Label(x, low - 24, f"{value:g}".replace("-", "\N{MINUS SIGN}"), SMALL, align="centre"))
    return shapes, labels
