"""The page of a closed box: one HTML file that needs no other file, no network and no script.

Depends on fem/report, fem/report_data. It wears the report's clothes: the same style sheet.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2

from bracedtop.fem.report import data_uri
from bracedtop.fem.report_data import ReportPicture


@dataclass(frozen=True, slots=True)
class BoxPage:
    """What the page shows, in words and figures.

    Parameters
    ----------
    case, remark, facts, caution, program : str
    movers, losses : sequence of str
        Columns of the table.
    modes : sequence of mapping
        Rows, as `bracedtop box --json` prints them.
    lumped : sequence of str
    words : sequence of mapping
        name, value, unit and sentence of each figure of the voice.
    curves : sequence of (str, sequence of ReportPicture)
        Headings and their pictures.
    notes : sequence of str
        What the map of the fingerboard says.
    pictures : sequence of ReportPicture
        One a mode.
    assumptions : sequence of str
    """

    case: str
    remark: str
    facts: str
    caution: str
    program: str
    movers: Sequence[str]
    losses: Sequence[str]
    modes: Sequence[Mapping[str, Any]]
    lumped: Sequence[str]
    words: Sequence[Mapping[str, str]]
    curves: Sequence[tuple[str, Sequence[ReportPicture]]]
    notes: Sequence[str]
    pictures: Sequence[ReportPicture]
    assumptions: Sequence[str]


def box_page(page: BoxPage) -> str:
    """The page as one string of HTML; every name out of the user's files is escaped."""
    return _template().render(page=page, style=_style())


def _text(name: str) -> str:
    return files("bracedtop.fem").joinpath(name).read_text(encoding="utf-8")


@cache
def _style() -> str:
    return _text("report.html").partition("<style>")[2].partition("</style>")[0]


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["png"] = data_uri
    return environment.from_string(_text("box_page.html"))
