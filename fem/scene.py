"""A picture as plain shapes in pixels, so that two renderers can draw the same one.

The origin is the lower left corner. Later shapes cover earlier ones; lettering lies on top. The lettering is set by
Pillow whichever renderer draws the shapes: names out of a user's file are never read as markup, and both pictures
carry the same words.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

import matplotlib
import numpy as np
from matplotlib.ft2font import FT2Font
from PIL import Image, ImageDraw, ImageFont

from bracedtop.fem.colours import INK, PAPER, Rgb

Align = Literal["left", "centre", "right"]

ELLIPSIS = "…"


@dataclass(frozen=True, slots=True)
class Field:
    """Values over triangles, in bands of equal colour.

    Parameters
    ----------
    points : (n, 2) array, px
    triangles : (m, 3) int array
    values : (n,) array
    limits : (float, float)
        Values of the first band's lower and the last band's upper edge.
    colours : (n_bands, 3) uint8 array
    """

    points: np.ndarray
    triangles: np.ndarray
    values: np.ndarray
    limits: tuple[float, float]
    colours: np.ndarray


@dataclass(frozen=True, slots=True)
class Area:
    """A filled simple polygon, (n, 2) in px."""

    points: np.ndarray
    colour: Rgb


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line with round ends through points (n, 2) in px, `width` px wide."""

    points: np.ndarray
    width: float
    colour: Rgb = INK
    closed: bool = False


Shape = Field | Area | Stroke


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text whose middle height lies at y; `size` is the font size, all in px."""

    x: float
    y: float
    text: str
    size: int
    colour: Rgb = INK
    bold: bool = False
    align: Align = "left"
    halo: bool = False

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top, px."""
        width = text_width(self.text, self.size, bold=self.bold)
        left = self.x - {"left": 0.0, "centre": 0.5, "right": 1.0}[self.align] * width
        return left, self.y - 0.55 * self.size, left + width, self.y + 0.55 * self.size


@dataclass(frozen=True, slots=True)
class Scene:
    """A picture of `width` by `height` px."""

    width: int
    height: int
    shapes: tuple[Shape, ...]
    labels: tuple[Label, ...]


def box(left: float, bottom: float, right: float, top: float) -> np.ndarray:
    """Corners (4, 2) of an upright rectangle."""
    return np.array([[left, bottom], [right, bottom], [right, top], [left, top]])


def dashes(points: np.ndarray, on: float, off: float) -> Iterator[np.ndarray]:
    """Pieces of `on` px of a line (n, 2), with gaps of `off` px."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    for start in np.arange(0.0, along[-1], on + off):
        stop = min(start + on, along[-1])
        inner = along[(along > start) & (along < stop)]
        at = np.concatenate([[start], inner, [stop]])
        yield np.column_stack([np.interp(at, along, axis) for axis in points.T])


def text_width(text: str, size: int, *, bold: bool = False) -> float:
    """Width of a line of text, px."""
    return float(_font(size, bold).getlength(text))


def fitted(text: str, size: int, room: float, *, bold: bool = False, smallest: int = 20) -> tuple[str, int]:
    """`text` and the font size at which it is no wider than `room` px, shortened if it is too wide at `smallest`."""
    text = printable(text)
    while size > smallest and text_width(text, size, bold=bold) > room:
        size -= 1
    while text_width(text, size, bold=bold) > room and len(text) > 1:
        text = text.rstrip(ELLIPSIS)[:-1].rstrip() + ELLIPSIS
    return text, size


def printable(text: str) -> str:
    """`text` on one line, signs that the font lacks replaced by a question mark."""
    known = _known_signs()
    return "".join(sign if ord(sign) in known else "?" for sign in " ".join(text.split()))


def finished(pixels: np.ndarray, scene: Scene) -> Image.Image:
    """Drawn shapes, averaged down to the scene's size, with the lettering on them.

    Parameters
    ----------
    pixels : (k height, k width, 3) uint8 array
        The shapes at a whole multiple k of the scene's size; averaging smooths their edges.
    scene : Scene
    """
    picture = Image.fromarray(pixels).reduce(pixels.shape[0] // scene.height)
    draw = ImageDraw.Draw(picture)
    for label in scene.labels:
        left, bottom, _, top = label.box
        middle = scene.height - (bottom + top) / 2
        font = _font(label.size, label.bold)
        halo = max(2, label.size // 8) if label.halo else 0
        draw.text((left, middle + _drop(label.size)), label.text, label.colour, font, "ls", stroke_width=halo,
                  stroke_fill=PAPER)  # fmt: skip
        if halo:
            # Once more without the halo, which would thin the strokes of narrow letters beside it.
            draw.text((left, middle + _drop(label.size)), label.text, label.colour, font, "ls")
    return picture


def saved(picture: Image.Image, path: Path) -> None:
    """Write a picture as PNG, in full colour: Pillow's palettes change large areas or take twice the time."""
    picture.save(path, compress_level=6)


def _drop(size: int) -> float:
    """From the middle of a line of text down to its base line: half the height of a capital, px."""
    return 0.365 * size


@cache
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(_font_file(bold), size, layout_engine=ImageFont.Layout.BASIC)


def _font_file(bold: bool) -> str:
    # Comes with matplotlib, so the pictures look the same on every system.
    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / f"DejaVuSans{'-Bold' if bold else ''}.ttf")


@cache
def _known_signs() -> frozenset[int]:
    return frozenset(FT2Font(_font_file(True)).get_charmap())
