"""The top as the maker sees it at the bench: from the inside, neck up, with title, scale bar and orientation.

Depends on fem/picture, fem/scene, geometry.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.ops import substring

from bracedtop.fem.colours import INK, PAPER, PENCIL, SPRUCE, Rgb
from bracedtop.fem.scene import Area, Label, Scene, Shape, Stroke, box, fitted, text_width
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design

HEIGHT = 1200
"""Height of a picture, px."""

MARGIN = 34
_HEAD = 142
_FOOT = 176
_NARROWEST, _WIDEST = 820, 1500
_TITLE, _WORDS, SMALL = 42, 28, 25
"""Font sizes, px; chosen: 12 px and more are left of the words when a phone shows the picture 390 px wide."""

_INVISIBLE = 0.1
"""Shift of a line that nobody sees, px."""

OUTLINE_WIDTH, BRACE_WIDTH, PATCH_WIDTH, FAINT_WIDTH = 4.0, 2.2, 1.4, 0.8


@dataclass(frozen=True, slots=True)
class TopView:
    """Outlines of a top's parts, each an (n, 2) array in m.

    Parameters
    ----------
    outline : array
    holes : tuple of arrays
    braces : tuple of (str, array, array)
        Name, border of the glued face, and the point that distances along the brace are measured from, (2,).
    patches : tuple of (str, array)
    faint : tuple of arrays
        Borders of thickness regions, and discs of masses.
    """

    outline: np.ndarray
    holes: tuple[np.ndarray, ...] = ()
    braces: tuple[tuple[str, np.ndarray, np.ndarray], ...] = ()
    patches: tuple[tuple[str, np.ndarray], ...] = ()
    faint: tuple[np.ndarray, ...] = ()


def top_view(design: Design) -> TopView:
    """Outlines of a design's parts."""
    faint = [part.polygon for part in design.plate.regions] + [mass.polygon for mass in design.masses]
    return TopView(
        outline=design.outline.points,
        holes=tuple(hole.outline().points for hole in design.holes),
        braces=tuple((b.name, strip(b, 0.0, b.length), b.path[0]) for b in design.braces),
        patches=tuple(
            (patch.name, border)
            for patch in design.patches
            for border in _borders(shapely.intersection(patch.polygon, design.region))
        ),
        faint=tuple(border for polygon in faint for border in _borders(shapely.intersection(polygon, design.region))),
    )


def strip(brace: Brace, start: float, stop: float) -> np.ndarray:
    """Border (n, 2) of the glued face from `start` to `stop` along the brace, all in m."""
    piece = substring(shapely.LineString(brace.path), start, stop)
    face = piece.buffer(brace.width / 2, cap_style="flat", join_style="mitre")
    return np.asarray(shapely.get_coordinates(face.exterior)[:-1])


def _borders(region: shapely.Geometry) -> list[np.ndarray]:
    parts = [part for part in shapely.get_parts(region) if part.geom_type == "Polygon"]
    return [shapely.get_coordinates(ring)[:-1] for part in parts for ring in (part.exterior, *part.interiors)]


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a top lies in its picture.

    Parameters
    ----------
    width : int, px
    scale : float, px/m
    middle : (2,) array, m
        Point of the top at the middle of the drawing area.
    """

    width: int
    scale: float
    middle: np.ndarray

    def place(self, points: np.ndarray) -> np.ndarray:
        """Pixels (n, 2) of points (n, 2) in m: y to the right, x up."""
        away = (np.atleast_2d(points) - self.middle) * self.scale
        return np.asarray(np.array([self.width / 2, (HEIGHT - _HEAD + _FOOT) / 2]) + away[:, ::-1])


def frame_of(view: TopView) -> Frame:
    """Frame in which the top fills the drawing area, true to scale."""
    low, high = view.outline.min(axis=0), view.outline.max(axis=0)
    length, breadth = high - low
    scale = min((HEIGHT - _HEAD - _FOOT) / length, (_WIDEST - 2 * MARGIN) / breadth)
    width = int(np.clip(np.ceil(scale * breadth) + 2 * MARGIN, _NARROWEST, _WIDEST))
    return Frame(width, float(scale), (low + high) / 2)


def drawn_border(border: np.ndarray, frame: Frame) -> np.ndarray:
    """A closed curve (n, 2) in px, without the points that nobody could see."""
    ring = shapely.simplify(shapely.LinearRing(frame.place(border)), _INVISIBLE)
    return np.asarray(shapely.get_coordinates(ring)[:-1])


def ground(view: TopView, frame: Frame, colour: Rgb = SPRUCE) -> list[Area]:
    """The bare top with its holes."""
    return [
        Area(drawn_border(view.outline, frame), colour),
        *(Area(drawn_border(hole, frame), PAPER) for hole in view.holes),
    ]


def part_lines(view: TopView, frame: Frame, *, braces: bool = True) -> list[Stroke]:
    """Lines around patches, braces, holes and the top."""
    lines = [Stroke(drawn_border(border, frame), PATCH_WIDTH, PENCIL, closed=True) for _, border in view.patches]
    lines += [Stroke(drawn_border(border, frame), FAINT_WIDTH, PENCIL, closed=True) for border in view.faint]
    if braces:
        lines += [Stroke(frame.place(border), BRACE_WIDTH, INK, closed=True) for _, border, _ in view.braces]
    lines += [Stroke(drawn_border(hole, frame), OUTLINE_WIDTH - 1, INK, closed=True) for hole in view.holes]
    return [*lines, Stroke(drawn_border(view.outline, frame), OUTLINE_WIDTH, INK, closed=True)]


def borders(view: TopView, frame: Frame) -> list[np.ndarray]:
    """The rim and the holes, px, which lettering keeps off where it can."""
    return [drawn_border(border, frame) for border in (view.outline, *view.holes)]


def heading(frame: Frame, title: str, aside: str, words: str) -> list[Label]:
    """Title with a remark at its right, and a line of words below."""
    room = frame.width - 2 * MARGIN
    aside, aside_size = fitted(aside, _WORDS, 0.4 * room)
    taken = text_width(aside, aside_size) + 20 if aside else 0.0
    title, title_size = fitted(title, _TITLE, room - taken, bold=True)
    words, words_size = fitted(words, _WORDS, room)
    return [
        Label(MARGIN, HEIGHT - 48, title, title_size, INK, bold=True),
        Label(frame.width - MARGIN, HEIGHT - 48, aside, aside_size, PENCIL, align="right"),
        Label(MARGIN, HEIGHT - 98, words, words_size, PENCIL),
    ]


def scale_bar(frame: Frame) -> tuple[list[Area], list[Label]]:
    """Bar of 100 mm, of 10 mm for a small piece, and how the top is seen; in the lowest line of the picture."""
    length = 0.1 if 0.1 * frame.scale < 0.45 * frame.width else 0.01
    right, y = MARGIN + length * frame.scale, 32.0
    bar = [
        Area(box(MARGIN, y - 3, right, y + 3), INK),
        Area(box(MARGIN, y - 10, MARGIN + 4, y + 10), INK),
        Area(box(right - 4, y - 10, right, y + 10), INK),
    ]
    return bar, [
        Label(right + 14, y, f"{1e3 * length:.0f} mm", SMALL),
        Label(frame.width - MARGIN, y, "seen from inside, neck up", SMALL, PENCIL, align="right"),
    ]


def scene(frame: Frame, shapes: Sequence[Shape], labels: Sequence[Label]) -> Scene:
    """Scene of the frame's size with the scale bar below."""
    bar, bar_labels = scale_bar(frame)
    return Scene(frame.width, HEIGHT, (*shapes, *bar), (*labels, *bar_labels))
