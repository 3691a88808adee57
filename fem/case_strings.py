"""The strings of a drawing, [strings] and [[string]], and the strengths of its woods.

Depends on geometry, fem/case_schema, fem/string_loss, fem/strings, fem/strength, fem/wood, fem/wood_table.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import NoReturn

from bracedtop.fem.case_schema import STRENGTH_KEYS, CaseTable, StringTable, WoodTable
from bracedtop.fem.strength import Strength, handbook_strength
from bracedtop.fem.string_loss import LossyString, Material, nylon_string, set_material, steel_string
from bracedtop.fem.strings import SPREAD, String, StringSet, tension
from bracedtop.fem.toml_file import shown
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import wood_names
from bracedtop.geometry.errors import FileError
from bracedtop.geometry.units import DEGREE, GRAM, MM, MPA, note_frequency

FILE_NAME = "top.toml"


def strings_of(tables: CaseTable) -> StringSet | None:
    """Strings of a drawing in SI units, None if it has none.

    Raises
    ------
    FileError
        If a table is missing or a note is none.
    DesignError
        If the strings' sizes and angles do not fit together.
    """
    table = tables.strings
    if table is None:
        if tables.string:
            _refuse("[[string]] without [strings]; add [strings] with at least saddle_height_mm")
        return None
    if not tables.string:
        _refuse("[strings] without a [[string]]; give each string by note and mass_g_per_m, or by tension_n")
    length = None if table.scale_length_mm is None else table.scale_length_mm * MM
    return StringSet(
        strings=tuple(_string(number, row, length) for number, row in enumerate(tables.string, start=1)),
        saddle_height=table.saddle_height_mm * MM,
        anchor=table.anchor,
        break_angle=(table.break_angle_deg or 0.0) * DEGREE,
        string_angle=None if table.string_angle_deg is None else table.string_angle_deg * DEGREE,
        spread=SPREAD if table.spread_mm is None else table.spread_mm * MM,
        held=table.held,
        scale_length=length,
        frets=table.frets,
    )


def lossy_strings(strings: StringSet) -> tuple[LossyString, ...]:
    """Strings with their own losses, for the sustain map; without [[string]].material by `set_material`.

    Raises
    ------
    FileError
        If the scale length or a note is missing.
    DesignError
        If a figure cannot be.
    """
    length = strings.scale_length
    if length is None:
        _refuse("strings.scale_length_mm is missing; the decay of notes needs it")
    usual = set_material([string.tension for string in strings.strings])
    return tuple(_lossy(number, string, length, usual) for number, string in enumerate(strings.strings, start=1))


def strengths_of(tables: CaseTable, woods: Mapping[str, Wood]) -> Mapping[str, Strength]:
    """Strengths of woods by their names in the drawing; built-in values where the drawing has none of its own."""
    return {name: _strength(wood, tables.wood.get(name)) for name, wood in woods.items()}


def _strength(wood: Wood, table: WoodTable | None) -> Strength:
    base = wood.name if table is None else table.based_on
    if table is not None and table.board is not None:
        # Taps tell stiffness only.
        base = wood.species
    known = handbook_strength(base) if base in wood_names() and base is not None else Strength(source="not known")
    if table is None:
        return known
    own = {key: getattr(table, key) for key in STRENGTH_KEYS if getattr(table, key) is not None}
    if not own:
        return known
    values = {key.removesuffix("_strength_mpa"): value * MPA for key, value in own.items()}
    return replace(known, source=f"{known.source}; {', '.join(own)} from {FILE_NAME}", **values)


def _string(number: int, row: StringTable, length: float | None) -> String:
    hz = None if row.note is None else _frequency(number, row.note)
    pull = row.tension_n
    if pull is None and length is None:
        _refuse("strings.scale_length_mm is missing; strings given by note and mass_g_per_m need it")
    if pull is None:
        pull = tension(hz or 0.0, length or 0.0, (row.mass_g_per_m or 0.0) * GRAM)
    return String(
        row.note or f"string {number}",
        pull,
        frequency=hz,
        material=row.material,
        diameter=None if row.diameter_mm is None else row.diameter_mm * MM,
        core=None if row.core_mm is None else row.core_mm * MM,
        bending_stiffness=None if row.bending_stiffness_n_mm2 is None else row.bending_stiffness_n_mm2 * MM**2,
        loss_factor=row.loss_factor,
    )


def _lossy(number: int, string: String, length: float, usual: Material) -> LossyString:
    if string.frequency is None:
        _refuse(f"string {number}.note is missing; the decay of notes needs it")
    mass = string.tension / (2 * length * string.frequency) ** 2
    if (string.material or usual) == "nylon":
        found = nylon_string(string.name, string.tension, mass, bending_stiffness=string.bending_stiffness)
    else:
        found = steel_string(
            string.name,
            string.tension,
            mass,
            diameter=string.diameter,
            core=string.core,
            bending_stiffness=string.bending_stiffness,
        )
    return found if string.loss_factor is None else replace(found, friction=string.loss_factor)


def _frequency(number: int, note: str) -> float:
    try:
        return note_frequency(note)
    except ValueError:
        allowed = "must be a letter A to G, # or b if needed, and the octave, like E2"
        _refuse(f"string {number}.note = {shown(note)}: {allowed}")


def _refuse(what: str) -> NoReturn:
    message = f"{FILE_NAME}: {what}"
    raise FileError(message)
