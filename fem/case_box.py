"""The closed box of a drawing: [sides], [back] and its parts, [[lining]], [[block]], [[finish]], [box].

Depends on geometry, fem/box_schema, fem/case_braces, fem/case_file, fem/case_outline, fem/case_patch, fem/case_schema,
fem/case_top, fem/part_schema, fem/toml_file.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

import numpy as np

from bracedtop.fem.box_schema import BackTable, BlockTable, BoxTable, FinishTable, LiningTable, SidesTable
from bracedtop.fem.case_braces import brace_of, joints_of, refuse_repeats
from bracedtop.fem.case_file import FILE_NAME
from bracedtop.fem.case_outline import outline_of
from bracedtop.fem.case_patch import patch_of
from bracedtop.fem.case_schema import CaseTable
from bracedtop.fem.case_top import dome_of, plate_of
from bracedtop.fem.part_schema import PatchTable
from bracedtop.fem.toml_file import refuse_value
from bracedtop.geometry.box import Block, Box, Finish, Lining, Sides
from bracedtop.geometry.check_box import back_words, check_box
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.units import GPA, GRAM, MM

AIR_TEMPERATURE = 20.0
"""Of a drawing that names none, degrees Celsius; common practice, no source."""

LISTS = ("back_brace", "back_patch", "back_joint", "lining", "block", "finish")
"""Tables of the box that may be repeated."""


def box_of(tables: CaseTable, design: Design, folder: Path) -> Box | None:
    """Closed box of a drawing in SI units, None if it has no [sides].

    Parameters
    ----------
    tables : CaseTable
    design : Design
        The top.
    folder : Path
        The case's folder, where a file of measured thicknesses lies.

    Raises
    ------
    FileError
        If a table is missing or one too many.
    DesignError
        If the parts do not fit together.
    """
    sides, back = tables.sides, tables.back
    if sides is None:
        _refuse_without_sides(tables)
        return None
    if back is None:
        _refuse("[sides] without [back]; a box needs [back] with at least wood and thickness_mm")
    _refuse_second("lining", "face", [row.face for row in tables.lining])
    _refuse_second("block", "end", [row.end for row in tables.block])
    _refuse_second("finish", "face", [row.face for row in tables.finish])
    rest = BoxTable() if tables.box is None else tables.box
    box = Box(
        sides=_sides(sides),
        back=_back(tables, back, design, folder),
        linings=tuple(lining_of(row) for row in tables.lining),
        blocks=tuple(_block(row) for row in tables.block),
        finishes=tuple(_finish(row) for row in tables.finish),
        held=rest.rim == "held",
        neck_mass=rest.neck_mass_g * GRAM,
        ring_width=rest.ring_width_mm * MM,
        temperature=_temperature(tables, rest),
    )
    check_box(design, box)
    return box


def box_woods(tables: CaseTable) -> Iterator[tuple[str, str]]:
    """Where the box names a wood, in the maker's words, and that name."""
    if tables.sides is not None:
        yield "sides.wood", tables.sides.wood
    if tables.back is not None:
        yield "back.wood", tables.back.wood
    for kind, rows in (("back_brace", tables.back_brace), ("back_patch", tables.back_patch)):
        for row in rows:
            yield f'{kind} "{row.name}".wood', row.wood
    for number, lining in enumerate(tables.lining, start=1):
        yield f"lining {number}.wood", lining.wood
    for number, block in enumerate(tables.block, start=1):
        yield f"block {number}.wood", block.wood


def _refuse_without_sides(tables: CaseTable) -> None:
    found = [f"[{key}]" for key in ("back", "box") if getattr(tables, key) is not None]
    found += [f"[[{key}]]" for key in LISTS if getattr(tables, key)]
    if found:
        _refuse(
            f"{found[0]} without [sides]; a box needs [sides] with wood, thickness_mm and depth_mm, a top alone has "
            f"no {found[0]}"
        )


def _refuse_second(table: str, key: str, values: Sequence[str]) -> None:
    for i, value in enumerate(values):
        if value in values[:i]:
            allowed = f"{table} {values.index(value) + 1} is there already; one for each {key} is allowed"
            refuse_value(FILE_NAME, f"{table} {i + 1}.{key}", f'"{value}"', allowed)


def _refuse(what: str) -> NoReturn:
    message = f"{FILE_NAME}: {what}"
    raise FileError(message)


def _temperature(tables: CaseTable, rest: BoxTable) -> float:
    if rest.temperature_c is not None:
        return rest.temperature_c
    return AIR_TEMPERATURE if tables.climate is None else tables.climate.temperature_c


def _sides(table: SidesTable) -> Sides:
    return Sides(table.wood, table.thickness_mm * MM, np.array(table.depth_mm, dtype=float) * MM)


def _back(tables: CaseTable, table: BackTable, design: Design, folder: Path) -> Design:
    refuse_repeats("back_brace", [row.name for row in tables.back_brace])
    refuse_repeats("back_patch", [row.name for row in tables.back_patch])
    joints = joints_of(tables.back_joint, [row.name for row in tables.back_brace], "back_joint")
    patches = tuple(_patch(row) for row in tables.back_patch)
    try:
        flat = Design(
            outline=design.outline if table.outline is None else outline_of(table.outline),
            plate=plate_of(table, folder, table="back"),
            braces=tuple(brace_of(row) for row in tables.back_brace),
            patches=patches,
            joints=joints,
        )
        return replace(flat, plate=replace(flat.plate, dome=dome_of(table, flat.driving_point)))
    except DesignError as error:
        raise DesignError(back_words(str(error))) from None


def _patch(row: PatchTable) -> Patch:
    where = f'back_patch "{row.name}"'
    if row.kind == "bridge":
        refuse_value(FILE_NAME, f"{where}.kind", '"bridge"', "a back has no bridge; allowed is any other kind")
    if row.around_hole is not None:
        allowed = "a back has no hole; allowed are points_mm, or centre_mm and size_mm"
        refuse_value(FILE_NAME, f"{where}.around_hole", str(row.around_hole), allowed)
    return patch_of(row, ())


def lining_of(row: LiningTable) -> Lining:
    """Lining of a table."""
    return Lining(
        face=row.face,
        wood=row.wood,
        width=row.width_mm * MM,
        height=row.height_mm * MM,
        kerf_pitch=(row.kerf_every_mm or 0.0) * MM,
        kerf_width=(row.kerf_width_mm or 0.0) * MM,
        kerf_depth=(row.kerf_depth_mm or 0.0) * MM,
        alone=row.face_rests_on == "lining",
    )


def _block(row: BlockTable) -> Block:
    return Block(row.end, row.wood, row.length_mm * MM, row.width_mm * MM)


def _finish(row: FinishTable) -> Finish:
    return Finish(
        face=row.face,
        mass=row.mass_g_per_m2 * GRAM,
        thickness=(row.film_mm or 0.0) * MM,
        modulus=(row.modulus_gpa or 0.0) * GPA,
        loss=row.loss or 0.0,
    )
