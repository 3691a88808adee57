"""A file of rims to compare: [[rim]] with a name and the keys of [[lining]], and [wood.NAME] as in top.toml.

Depends on fem/box_schema, fem/case, fem/case_box, fem/case_losses, fem/case_schema, fem/rim_options, fem/toml_file,
fem/toml_table, fem/wood_table.
"""

from collections.abc import Collection
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from bracedtop.fem.box_schema import LiningTable
from bracedtop.fem.case import own_wood
from bracedtop.fem.case_box import lining_of
from bracedtop.fem.case_losses import losses_of_wood
from bracedtop.fem.case_schema import WoodTable
from bracedtop.fem.rim_options import RimOption, rim_words
from bracedtop.fem.toml_file import Layout, did_you_mean, read_layout, refuse_value, regular_bytes, shown, shown_text
from bracedtop.fem.toml_table import Name, Table
from bracedtop.fem.wood_table import wood_names
from bracedtop.geometry.box import Lining
from bracedtop.geometry.errors import DesignError, FileError

MOST_RIMS = 12
"""Rims that are compared at once; chosen: as many as a picture shows side by side."""


class RimTable(LiningTable):
    """[[rim]]: a lining of both faces, or of one; two of a name with different faces are one rim."""

    name: Name
    face: Literal["top", "back", "both"] = "both"  # type: ignore[assignment]


class RimsTable(Table):
    """The whole file."""

    rim: Annotated[list[RimTable], Field(min_length=1, max_length=2 * MOST_RIMS)]
    wood: Annotated[dict[Name, WoodTable], Field(default_factory=dict)]


TABLES: dict[str, type[Table]] = {"": RimsTable, "rim": RimTable, "wood": WoodTable}

LAYOUT = Layout(TABLES, 200_000, "a file of rims", "one [[rim]]")


def read_rims(path: Path, known: Collection[str]) -> tuple[RimOption, ...]:
    """Rims of a file, in its order.

    Parameters
    ----------
    path : Path
    known : collection of str
        Woods of the drawing, which may be named as well as the built-in ones.

    Raises
    ------
    FileError
        If the file cannot be read or a key or value in it is wrong.
    DesignError
        If a lining's sizes cannot be.
    """
    path = Path(path)
    file = shown_text(str(path))
    content = regular_bytes(path, LAYOUT.max_bytes + 1, "must be a text file (TOML) with [[rim]]")
    table = read_layout(content, file, LAYOUT, RimsTable)
    for name, wood in table.wood.items():
        if wood.board is not None:
            refuse_value(file, f"wood {shown(name)}.board", shown(wood.board), "only top.toml may name a board")
    woods = {name: own_wood(name, one) for name, one in table.wood.items()}
    losses = {name: losses_of_wood(woods[name], one) for name, one in table.wood.items()}
    every = tuple(dict.fromkeys((*woods, *known, *wood_names())))
    found: dict[str, list[Lining]] = {}
    for number, row in enumerate(table.rim, start=1):
        if row.wood not in every:
            allowed = f"no such wood; {did_you_mean(row.wood, every)}known: {', '.join(every)}"
            refuse_value(file, f"rim {number}.wood", shown(row.wood), allowed)
        linings = found.setdefault(row.name, [])
        for lining in _linings(file, number, row):
            if any(lining.face == other.face for other in linings):
                message = f'{file}: rim {number}: "{row.name}" has a lining of the {lining.face} already; one a face'
                raise FileError(message)
            linings.append(lining)
    if len(found) > MOST_RIMS:
        message = f"{file}: {len(found)} rims; must be at most {MOST_RIMS}"
        raise FileError(message)
    return tuple(RimOption(name, tuple(own), rim_words(own), woods, losses) for name, own in found.items())


def _linings(file: str, number: int, row: RimTable) -> list[Lining]:
    try:
        return [
            lining_of(row.model_copy(update={"face": face})) for face in ("top", "back") if row.face in (face, "both")
        ]
    except DesignError as error:
        message = f"{file}: rim {number}: {error}"
        raise DesignError(message) from None
