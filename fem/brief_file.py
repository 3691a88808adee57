"""`brief.toml`: what a customer would like more of and less of, and the instrument that it is measured against.

Depends on fem/brief_words, fem/named_path, fem/toml_file, fem/toml_table, fem/voice, geometry/errors.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator

from bracedtop.fem.brief_words import AMOUNTS, Amount
from bracedtop.fem.named_path import named_path
from bracedtop.fem.toml_file import Layout, read_layout, regular_bytes, shown
from bracedtop.fem.toml_table import Line, Table, Text, refuse
from bracedtop.fem.voice import WORDS
from bracedtop.geometry.errors import DesignError, FileError

FILE_NAME = "brief.toml"

Decibel = Annotated[float, Field(ge=0, le=200)]
Hertz = Annotated[float, Field(ge=10, le=2000)]
Quality = Annotated[float, Field(gt=0, le=10_000)]


class WishTable(Table):
    """[wish]: words and amounts."""

    sustain: Amount | None = None
    projection: Amount | None = None
    presence: Amount | None = None
    bass: Amount | None = None
    evenness: Amount | None = None


class TheirsTable(Table):
    """[theirs]: the customer's instrument as it was measured, as far as it was."""

    name: Line | None = None
    projection_db: Decibel | None = None
    presence_db: Decibel | None = None
    bass_db: Decibel | None = None
    evenness_db: Annotated[float, Field(gt=0, le=60)] | None = None
    sustain_s: Annotated[float, Field(gt=0, le=200)] | None = None
    air_hz: Hertz | None = None
    air_q: Quality | None = None
    top_hz: Hertz | None = None
    top_q: Quality | None = None
    top_blocked_hz: Hertz | None = None
    top_blocked_q: Quality | None = None

    @model_validator(mode="after")
    def _check(self) -> "TheirsTable":
        for note in ("air", "top", "top_blocked"):
            if getattr(self, f"{note}_q") is not None and getattr(self, f"{note}_hz") is None:
                refuse(f"{note}_q without {note}_hz; a decay belongs to a note")
        if self.air_hz is not None and self.top_hz is not None and self.air_hz >= self.top_hz:
            refuse(f"air_hz = {self.air_hz:g}; must be below top_hz = {self.top_hz:g}")
        return self


class BriefTable(Table):
    """The whole file."""

    note: Text = ""
    against: Line | None = None
    theirs: TheirsTable | None = None
    wish: WishTable

    @model_validator(mode="after")
    def _check(self) -> "BriefTable":
        if self.against is not None and self.theirs is not None:
            refuse("against together with [theirs]; the other instrument is a case or a measured one")
        if not self.wish.model_fields_set:
            refuse(f"[wish] is empty; give one or more of {', '.join(word.name for word in WORDS)}")
        return self


TABLES: dict[str, type[Table]] = {"": BriefTable, "wish": WishTable, "theirs": TheirsTable}

LAYOUT = Layout(TABLES, 50_000, "a brief", '[wish] with one word, such as bass = "more"')


@dataclass(frozen=True, slots=True)
class Measured:
    """The customer's instrument as it was measured.

    Parameters
    ----------
    name : str
    figures : mapping of str to float
        By the words of fem/voice, as far as known.
    hz, q : mapping of str to float
        Of "air", "top" and "top blocked", as far as known.
    """

    name: str
    figures: Mapping[str, float] = field(default_factory=dict)
    hz: Mapping[str, float] = field(default_factory=dict)
    q: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Brief:
    """What the customer said.

    Parameters
    ----------
    note : str
    against : Path or None
        Case folder of the customer's instrument.
    theirs : Measured or None
    wish : mapping of str to str
        Amount by word, in the order of fem/voice.
    """

    note: str
    against: Path | None
    theirs: Measured | None
    wish: Mapping[str, str]


def read_brief(folder: Path, against: Path | None = None) -> Brief:
    """The brief in a case's folder.

    Parameters
    ----------
    folder : Path
    against : Path, optional
        Case to take in place of the instrument that the file names.

    Raises
    ------
    FileError
        If it cannot be read or a key or value in it is wrong.
    """
    path = Path(folder) / FILE_NAME
    what = f'write [wish] with words such as bass = "more" ({", ".join(AMOUNTS)}) into it'
    content = regular_bytes(path, LAYOUT.max_bytes + 1, what)
    table = read_layout(content, FILE_NAME, LAYOUT, BriefTable)
    wish = {word.name: getattr(table.wish, word.name) for word in WORDS}
    theirs = None if table.theirs is None or against is not None else _measured(table.theirs)
    if against is None and table.against is not None:
        against = named_folder(table.against, Path(folder))
    return Brief(
        table.note,
        against,
        theirs,
        {name: amount for name, amount in wish.items() if amount is not None},
    )


def named_folder(name: str, folder: Path) -> Path:
    """A case folder named in a brief.

    Raises
    ------
    FileError
        If it is not there, or outside the folder that holds the case.
    """
    path = named_path(f"{name}/top.toml", folder, folder / "..", f"{FILE_NAME}: against")
    if not path.is_file():
        message = f"{FILE_NAME}: against = {shown(name)}: no case folder there; must hold top.toml"
        raise FileError(message)
    return path.parent


def _measured(table: TheirsTable) -> Measured:
    figures = {
        "projection": table.projection_db,
        "presence": table.presence_db,
        "bass": table.bass_db,
        "evenness": table.evenness_db,
        "sustain": table.sustain_s,
    }
    hz = {"air": table.air_hz, "top": table.top_hz, "top blocked": table.top_blocked_hz}
    q = {"air": table.air_q, "top": table.top_q, "top blocked": table.top_blocked_q}
    return Measured(table.name or "theirs", _given(figures), _given(hz), _given(q))


def _given(values: Mapping[str, float | None]) -> dict[str, float]:
    return {name: value for name, value in values.items() if value is not None}


def parsed_wishes(text: str) -> dict[str, str]:
    """Wishes from the command line, such as "bass = more, presence = a little less".

    Raises
    ------
    DesignError
        If a word or an amount is none.
    """
    names = [word.name for word in WORDS]
    found: dict[str, str] = {}
    for part in text.split(","):
        name, _, amount = (" ".join(piece.split()) for piece in part.partition("="))
        if name not in names or amount not in AMOUNTS or name in found:
            message = (
                f"wish {shown(part.strip())}; allowed: {', '.join(names)}, each once, = {', '.join(AMOUNTS)}, with "
                "commas between"
            )
            raise DesignError(message)
        found[name] = amount
    return {name: found[name] for name in names if name in found}
