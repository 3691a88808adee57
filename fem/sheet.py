"""Sheets of paper at full size: lines, fills and words in millimetres, written as PDF or SVG.

Depends on fem/scene. The origin of a sheet is its lower left corner. A sheet is measured on paper, so that nothing may
scale, simplify or snap its lines on the way.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Literal
from xml.sax.saxutils import escape, quoteattr

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as MplPath

from bracedtop.fem.scene import printable, text_width
from bracedtop.geometry.errors import DesignError

Align = Literal["left", "centre", "right"]

PAPERS: dict[str, tuple[float, float]] = {
    "A4": (210.0, 297.0),  # ISO 216
    "A3": (297.0, 420.0),  # ISO 216
    "letter": (215.9, 279.4),  # 8.5 by 11 inches
}
"""Width and height of papers, upright, mm."""

MM_PER_INCH = 25.4
POINTS = 72 / MM_PER_INCH
"""Points of print in a millimetre."""

_SETTINGS: Any = {"path.simplify": False, "lines.scale_dashes": False, "font.family": "DejaVu Sans"}


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points (n, 2), all in mm, `width` wide.

    Parameters
    ----------
    points : (n, 2) array, mm
    width : float, mm
    dash : (float, float) or None, mm
        Drawn and left out.
    closed : bool
    grey : float
        0 black, 1 white.
    role : str
        What it is, such as "bar"; the class of an SVG's line.
    """

    points: np.ndarray
    width: float = 0.2
    dash: tuple[float, float] | None = None
    closed: bool = False
    grey: float = 0.0
    role: str = "line"


@dataclass(frozen=True, slots=True)
class Fill:
    """A simple polygon (n, 2) in mm, filled with a grey."""

    points: np.ndarray
    grey: float = 0.8
    role: str = "fill"


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text whose middle height lies at y; `size` is that of the font, mm."""

    x: float
    y: float
    text: str
    size: float = 3.0
    bold: bool = False
    align: Align = "left"
    grey: float = 0.0

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top, mm."""
        width = words_width(self.text, self.size, bold=self.bold)
        left = self.x - {"left": 0.0, "centre": 0.5, "right": 1.0}[self.align] * width
        return left, self.y - 0.5 * self.size, left + width, self.y + 0.5 * self.size


Item = Line | Fill | Words


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of `width` by `height` mm; later items cover earlier ones."""

    width: float
    height: float
    title: str
    items: tuple[Item, ...]


def paper_size(paper: str) -> tuple[float, float]:
    """Width and height of a paper, upright, mm.

    Raises
    ------
    DesignError
        If it is not known.
    """
    if paper not in PAPERS:
        message = f"paper {paper}; must be one of {', '.join(PAPERS)}"
        raise DesignError(message)
    return PAPERS[paper]


def words_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a line of text, mm."""
    return text_width(printable(text), 100, bold=bold) * size / 100


def sheets_pdf(sheets: Sequence[Sheet], title: str) -> bytes:
    """A PDF file of sheets, each a page of its own size."""
    out = io.BytesIO()
    # Without a date the same sheets give the same bytes.
    about = {"Title": printable(title), "CreationDate": None, "Creator": "bracedtop"}
    with matplotlib.rc_context(_SETTINGS), PdfPages(out, metadata=about) as document:
        for sheet in sheets:
            document.savefig(_figure(sheet))
    return out.getvalue()


def sheet_png(sheet: Sheet, dpi: float = 100) -> bytes:
    """A picture of a sheet, to look at."""
    out = io.BytesIO()
    with matplotlib.rc_context(_SETTINGS):
        _figure(sheet).savefig(out, dpi=dpi, format="png")
    return out.getvalue()


def sheet_svg(sheet: Sheet) -> str:
    """An SVG file of a sheet; its unit is the millimetre."""
    W, H = sheet.width, sheet.height
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_short(W)}mm" height="{_short(H)}mm" '
        f'viewBox="0 0 {_short(W)} {_short(H)}">',
        f"<title>{escape(printable(sheet.title))}</title>",
        f'<rect width="{_short(W)}" height="{_short(H)}" fill="#fff"/>',
        *(_svg_item(item, H) for item in sheet.items),
        "</svg>\n",
    ]
    return "\n".join(parts)


def _figure(sheet: Sheet) -> Figure:
    figure = Figure(figsize=(sheet.width / MM_PER_INCH, sheet.height / MM_PER_INCH))
    FigureCanvasPdf(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, sheet.width)
    axes.set_ylim(0, sheet.height)
    axes.axis("off")
    for order, (_, group) in enumerate(groupby(sheet.items, _style), start=1):
        items = list(group)
        first = items[0]
        if isinstance(first, Words):
            for words in items:
                _write(axes, words, order)
            continue
        path = MplPath.make_compound_path(*(_path(item) for item in items))
        patch = PathPatch(path, transform=axes.transData, zorder=order, color=str(first.grey), capstyle="butt")
        if isinstance(first, Line):
            dash = None if first.dash is None else (0, (first.dash[0] * POINTS, first.dash[1] * POINTS))
            patch.set(fill=False, linewidth=first.width * POINTS, linestyle=dash or "-")
        else:
            patch.set(linewidth=0)
        axes.add_artist(patch)
    return figure


def _style(item: Item) -> tuple[object, ...]:
    """Items of one style that follow each other are drawn as one, which takes a fifth of the time."""
    if isinstance(item, Words):
        return (Words,)
    return (Line, item.width, item.dash, item.grey) if isinstance(item, Line) else (Fill, item.grey)


def _path(item: Item) -> MplPath:
    if isinstance(item, Words):
        return MplPath(np.zeros((0, 2)))
    return MplPath(item.points, closed=False) if isinstance(item, Line) and not item.closed else _closed(item.points)


def _closed(points: np.ndarray) -> MplPath:
    return MplPath(np.vstack([points, points[:1]]), closed=True)


def _write(axes: Axes, words: Item, order: int) -> None:
    if isinstance(words, Words):
        axes.text(
            words.x,
            words.y - 0.365 * words.size,
            printable(words.text),
            fontsize=words.size * POINTS,
            fontweight="bold" if words.bold else "normal",
            color=str(words.grey),
            ha="center" if words.align == "centre" else words.align,
            va="baseline",
            zorder=order,
            parse_math=False,
        )


def _svg_item(item: Item, height: float) -> str:
    colour = "#" + 3 * f"{round(255 * item.grey):02x}"
    if isinstance(item, Words):
        anchor = {"left": "start", "centre": "middle", "right": "end"}[item.align]
        bold = ' font-weight="bold"' if item.bold else ""
        return (
            f'<text x="{_short(item.x)}" y="{_short(height - item.y + 0.365 * item.size)}" '
            f'font-family="DejaVu Sans, Verdana, sans-serif" font-size="{_short(item.size)}"{bold} '
            f'text-anchor="{anchor}" fill="{colour}">{escape(printable(item.text))}</text>'
        )
    path = "M" + "L".join(f"{_short(x)} {_short(height - y)}" for x, y in item.points)
    role = quoteattr(item.role)
    if isinstance(item, Fill):
        return f'<path class={role} d="{path}Z" fill="{colour}"/>'
    dash = "" if item.dash is None else f' stroke-dasharray="{_short(item.dash[0])} {_short(item.dash[1])}"'
    return (
        f'<path class={role} d="{path}{"Z" if item.closed else ""}" fill="none" stroke="{colour}" '
        f'stroke-width="{_short(item.width)}"{dash}/>'
    )


def _short(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
