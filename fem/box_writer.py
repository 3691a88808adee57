"""Text of top.toml for a closed box.

Depends on geometry, fem/part_writer.
"""

from collections.abc import Mapping

import numpy as np

from bracedtop.fem.part_writer import (
    Value,
    brace_text,
    corner_points,
    in_mm,
    joint_text,
    patch_text,
    plate_text,
    table,
)
from bracedtop.geometry.box import Block, Box, Finish, Lining, Sides
from bracedtop.geometry.outline import Outline
from bracedtop.geometry.units import GPA, GRAM, MM

BACK_THICKNESS_FILE = "back_thickness.csv"
"""Name under which a written case expects the measured thicknesses of its back."""


def box_text(box: Box, top_outline: Outline, back_outline: Mapping[str, Value] | None = None) -> list[str]:
    """Tables of a closed box, from [sides] to [box].

    Parameters
    ----------
    box : Box
    top_outline : Outline
    back_outline : mapping of str to value, mm
        Keys of [back.outline] that gave the back's outline. Without it a back that is not as the top is written as
        points, which only works where all its points are corners.

    Raises
    ------
    DesignError
        If a border is a smooth curve whose origin is not known.
    """
    back = box.back
    shape = back_outline
    if shape is None and not np.array_equal(back.outline.points, top_outline.points):
        shape = corner_points(back.outline, "the outline of the back")
    return [
        _sides(box.sides),
        plate_text(back.plate, "back", BACK_THICKNESS_FILE),
        "" if shape is None else table("back.outline", shape),
        brace_text(back.braces, "back_brace"),
        *(patch_text(patch, header="back_patch") for patch in back.patches),
        *(joint_text(joint, "back_joint") for joint in back.joints),
        *(_lining(lining) for lining in box.linings),
        *(_block(block) for block in box.blocks),
        *(_finish(finish) for finish in box.finishes),
        _rest(box),
    ]


def _sides(sides: Sides) -> str:
    values: dict[str, Value] = {
        "wood": sides.wood,
        "thickness_mm": sides.thickness / MM,
        "depth_mm": in_mm(sides.stations),
    }
    return table("sides", values)


def _lining(lining: Lining) -> str:
    values: dict[str, Value] = {
        "face": lining.face,
        "wood": lining.wood,
        "width_mm": lining.width / MM,
        "height_mm": lining.height / MM,
    }
    if lining.kerf_pitch:
        values["kerf_every_mm"] = lining.kerf_pitch / MM
        values["kerf_width_mm"] = lining.kerf_width / MM
        values["kerf_depth_mm"] = lining.kerf_depth / MM
    values["face_rests_on"] = "lining" if lining.alone else "lining and sides"
    return table("[lining]", values)


def _block(block: Block) -> str:
    values: dict[str, Value] = {
        "end": block.end,
        "wood": block.wood,
        "length_mm": block.length / MM,
        "width_mm": block.width / MM,
    }
    return table("[block]", values)


def _finish(finish: Finish) -> str:
    values: dict[str, Value] = {"face": finish.face, "mass_g_per_m2": finish.mass / GRAM}
    if finish.thickness:
        values["film_mm"] = finish.thickness / MM
        values["modulus_gpa"] = finish.modulus / GPA
        values["loss"] = finish.loss
    return table("[finish]", values)


def _rest(box: Box) -> str:
    values: dict[str, Value] = {
        "rim": "held" if box.held else "free",
        "neck_mass_g": box.neck_mass / GRAM,
        "ring_width_mm": box.ring_width / MM,
        "temperature_c": box.temperature,
    }
    return table("box", values)
