"""The cut list as a template at full size: the top from the inside on as many sheets as it takes, and braces' sides.

Depends on fem/sheet, fem/template_marks, fem/template_plan, fem/template_sides, geometry.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bracedtop.fem.sheet import Item, Line, Sheet, Words, paper_size, sheet_svg, sheets_pdf
from bracedtop.fem.template_plan import plan_sheets
from bracedtop.fem.template_sides import side_sheets
from bracedtop.geometry.cut import Cut, cut_design
from bracedtop.geometry.design import Design

BAR, BAR_MM = "bar", 100.0
"""Role and length of the printed bar, mm."""

MARGIN = 8.0
"""Left free along the edges of the paper, mm; common practice, no source: office printers reach to 5 mm."""

FOOT = 24.0
"""Height of the strip with the bar, mm."""


def template_sheets(cuts: Sequence[Cut], design: Design, paper: str = "A4", *, title: str = "") -> tuple[Sheet, ...]:
    """Sheets of a template at full size.

    Parameters
    ----------
    cuts : sequence of Cut
        Those of one pass, such as a plan's; none for the drawing alone.
    design : Design
        The top before these cuts.
    paper : {"A4", "A3", "letter"}
    title : str
        Of the top and the pass, printed on each sheet.

    Raises
    ------
    DesignError
        If a cut does not fit the top, or the paper is not known.
    """
    after = cut_design(design, cuts)
    size = paper_size(paper)
    bare = [
        *plan_sheets(cuts, design, size, MARGIN, FOOT),
        *side_sheets(cuts, design, after, size, MARGIN, FOOT),
    ]
    return tuple(
        replace(sheet, title=f"{title}: {sheet.title}" if title else sheet.title, items=(*sheet.items, *foot))
        for number, sheet in enumerate(bare, start=1)
        for foot in [_foot(sheet, title, number, len(bare))]
    )


def template_pdf(cuts: Sequence[Cut], design: Design, paper: str = "A4", *, title: str = "") -> bytes:
    """The template as a PDF file; see `template_sheets`.

    Raises
    ------
    DesignError
        If a cut does not fit the top, or the paper is not known.
    """
    return sheets_pdf(template_sheets(cuts, design, paper, title=title), title or "template")


def template_svg(cuts: Sequence[Cut], design: Design, paper: str = "A4", *, title: str = "") -> tuple[str, ...]:
    """The template as SVG files, one a sheet, in mm; see `template_sheets`.

    Raises
    ------
    DesignError
        If a cut does not fit the top, or the paper is not known.
    """
    return tuple(sheet_svg(sheet) for sheet in template_sheets(cuts, design, paper, title=title))


def _foot(sheet: Sheet, title: str, number: int, n_sheets: int) -> list[Item]:
    """The bar to measure, how to print, and which sheet it is."""
    y = MARGIN + 7.0
    left, right = MARGIN, MARGIN + BAR_MM
    aside = right + 11.0
    words = [
        Words(left, y + 12.5, "Measure this bar before use: 100 mm", 3.4, bold=True),
        Words(left, y + 7.5, "Print at 100 % (actual size), no fitting to the page.", 2.7),
        Words(left, y - 4.5, "0", 2.7, align="centre"),
        Words(right, y - 4.5, "100 mm", 2.7, align="centre"),
        Words(aside, y + 12.5, title, 3.4, bold=True),
        Words(aside, y + 7.5, sheet.title, 2.7),
        Words(aside, y + 2.5, f"Sheet {number} of {n_sheets}", 2.7),
        Words(aside, y - 2.5, "Depths and stations in mm. Wood cannot be put back:", 2.7),
        Words(aside, y - 6.5, "take half, tap, then go on.", 2.7),
    ]
    ends = [Line(np.array([[x, y - 2.5], [x, y + 2.5]]), 0.2) for x in (left, right)]
    marks = [Line(np.array([[left + k, y], [left + k, y + 1.8]]), 0.15) for k in range(10, 100, 10)]
    bar = Line(np.array([[left, y], [right, y]]), 0.5, role=BAR)
    return [bar, *ends, *marks, *(w for w in words if w.text)]
