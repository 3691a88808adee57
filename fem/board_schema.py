"""Tables and keys of a board file, with the range of every number.

Depends on fem/part_schema, fem/toml_table.
"""

from typing import Annotated, Any, Literal, TypeVar

from pydantic import BeforeValidator, Field, model_validator

from bracedtop.fem.part_schema import Frequency, Length, Moisture, Thickness
from bracedtop.fem.toml_table import Line, Name, Table, Text, one_form, refuse

MOST_TAPS = 40
MOST_READINGS = 100
MOST_LINES = 6


def _as_list(value: Any) -> Any:
    return value if isinstance(value, list) else [value]


_Kind = TypeVar("_Kind")

Readings = Annotated[list[_Kind], BeforeValidator(_as_list), Field(min_length=1, max_length=MOST_READINGS)]
"""A number, or a list of repeated readings."""


Percent = Annotated[float, Field(gt=0, le=50)]
Spread = Annotated[float, Field(gt=0, le=20)]
DecayTime = Annotated[float, Field(gt=0, le=60)]
Quality = Annotated[float, Field(ge=1, le=2000)]

PLATE_MODES = ("long", "cross", "twist", "x", "ring")
STICK_MODES = ("height", "width", "twist")
MODES = tuple(dict.fromkeys((*PLATE_MODES, *STICK_MODES)))
Mode = Literal["long", "cross", "twist", "x", "ring", "height", "width"]
Lines = Annotated[int, Field(ge=0, le=MOST_LINES)]

SIZES = {"plate": ("length_mm", "width_mm", "thickness_mm"), "stick": ("length_mm", "width_mm", "height_mm")}


class TapTable(Table):
    """[[tap]]: one mode of the board."""

    mode: Mode | None = None
    nodes_across: Lines | None = None
    nodes_along: Lines | None = None
    nodes: Annotated[int, Field(ge=1, le=MOST_LINES)] | None = None
    hz: Readings[Frequency] | None = None
    t60_s: Readings[DecayTime] | None = None
    q: Readings[Quality] | None = None
    wav: Line | None = None
    near_hz: Frequency | None = None

    @model_validator(mode="after")
    def _check(self) -> "TapTable":
        one_form(self, [({"hz"}, {"t60_s", "q"}), ({"wav"}, {"near_hz"})], "a tap")
        if self.t60_s is not None and self.q is not None:
            refuse("found t60_s, q; one of them is enough")
        return self


class ErrorsTable(Table):
    """[errors]: standard errors of the measurement."""

    length_mm: Spread = 0.5
    width_mm: Spread = 0.5
    thickness_mm: Spread = 0.03
    height_mm: Spread = 0.05
    mass_g: Spread = 0.5
    hz_percent: Percent = 0.5
    decay_percent: Percent = 15.0


class BoardTable(Table):
    """The whole file."""

    name: Line | None = None
    note: Text = ""
    kind: Literal["plate", "stick"]
    grain_along: Literal["length", "width"] = "length"
    length_mm: Readings[Length]
    width_mm: Readings[Length]
    thickness_mm: Readings[Thickness] | None = None
    height_mm: Readings[Thickness] | None = None
    mass_g: Readings[Annotated[float, Field(gt=0, le=100_000)]]
    moisture_percent: Moisture | None = None
    based_on: Name = "spruce_sitka"
    errors: ErrorsTable = ErrorsTable()
    tap: Annotated[list[TapTable], Field(min_length=1, max_length=MOST_TAPS)]

    @model_validator(mode="after")
    def _check(self) -> "BoardTable":
        third, other = ("thickness_mm", "height_mm") if self.kind == "plate" else ("height_mm", "thickness_mm")
        if getattr(self, other) is not None:
            refuse(f'{other} with kind = "{self.kind}"; its keys of size are {", ".join(SIZES[self.kind])}')
        if getattr(self, third) is None:
            refuse(f'{third} missing; kind = "{self.kind}" needs {", ".join(SIZES[self.kind])}')
        if self.kind == "stick" and self.grain_along == "width":
            refuse('grain_along = "width" with kind = "stick"; the grain of a stick runs along its length')
        return self


BOARD_TABLES: dict[str, type[Table]] = {"": BoardTable, "tap": TapTable, "errors": ErrorsTable}
"""Model of each table by its name in the file; "" is the file itself."""
