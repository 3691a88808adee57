"""How the instrument was built, in its maker's words: the table [build] of top.toml.

Depends on fem/toml_table. Nothing here is computed with: it is for whoever opens the instrument later.
"""

import re
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field, model_validator

from bracedtop.fem.toml_table import Line, Table, Text, refuse

MOST_CAUTIONS = 50

_DATE = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?", re.ASCII)

DATE_ALLOWED = 'must be a year, month or day in quotes, such as "2026", "2026-03" or "2026-03-14"'


class BuildTable(Table):
    """[build]: who built it, with what it was glued and finished, and what a restorer has to know."""

    maker: Line | None = None
    serial: Line | None = None
    date: Line | None = None
    glue_of_braces: Line | None = None
    glue_of_bridge: Line | None = None
    glue_of_rim: Line | None = None
    finish_kind: Line | None = None
    cautions: Annotated[list[Line], Field(max_length=MOST_CAUTIONS)] = Field(default_factory=list)
    words: Text = ""

    @model_validator(mode="after")
    def _check(self) -> "BuildTable":
        if self.date is not None and not is_date(self.date):
            refuse(f'date = "{self.date}"; {DATE_ALLOWED}')
        return self


def is_date(text: str) -> bool:
    """Whether a text is a year, a month or a day, written as in ISO 8601."""
    return _DATE.fullmatch(text) is not None


@dataclass(frozen=True, slots=True)
class Build:
    """What the maker says of the building; texts are empty where nothing is said.

    Parameters
    ----------
    maker, serial, date : str
    glue_of_braces, glue_of_bridge, glue_of_rim : str
    finish_kind : str
    cautions : tuple of str
        For the restorer.
    words : str
        Whatever else is worth keeping; blank lines part paragraphs.
    """

    maker: str = ""
    serial: str = ""
    date: str = ""
    glue_of_braces: str = ""
    glue_of_bridge: str = ""
    glue_of_rim: str = ""
    finish_kind: str = ""
    cautions: tuple[str, ...] = ()
    words: str = ""


def build_of(table: BuildTable | None) -> Build:
    """What the table says."""
    if table is None:
        return Build()
    said = {key: value or "" for key, value in table.model_dump(exclude={"cautions"}).items()}
    return Build(**said, cautions=tuple(table.cautions))
