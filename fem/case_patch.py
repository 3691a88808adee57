"""The patches and masses of a drawing: [[patch]] and [[mass]].

Depends on geometry, fem/case_file, fem/part_schema.
"""

from collections.abc import Sequence

import numpy as np

from bracedtop.fem.case_file import FILE_NAME
from bracedtop.fem.part_schema import MassTable, PatchTable
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.geometry.mass import DIAMETER, PointMass
from bracedtop.geometry.outline import Hole, Outline, polygon_outline, rectangle
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.units import DEGREE, GRAM, MM


def patch_of(row: PatchTable, holes: Sequence[Hole]) -> Patch:
    """Patch of a [[patch]] in SI units.

    Raises
    ------
    DesignError
        If its border or its profile cannot be drawn.
    FileError
        If it goes round a hole that is not there.
    """
    is_bridge = row.kind == "bridge"
    try:
        outline = _border(row, holes)
    except DesignError as error:
        message = f'patch "{row.name}": {error}'
        raise DesignError(message) from None
    profile = None if row.profile_mm is None else np.array(row.profile_mm, dtype=float) * MM
    return Patch(
        name=row.name,
        wood=row.wood,
        outline=outline,
        thickness=(row.thickness_mm or 0.0) * MM if profile is None else float(profile[:, 1].max()),
        side=row.side or ("outside" if is_bridge else "inside"),
        grain_angle=row.grain_angle_deg * DEGREE,
        ring_angle=row.ring_angle_deg * DEGREE,
        runout=row.runout_deg * DEGREE,
        is_bridge=is_bridge,
        profile=profile,
        profile_angle=0.0 if profile is None else _profile_angle(row),
        under_braces=row.under_braces,
    )


def mass_of(row: MassTable) -> PointMass:
    """Mass of a [[mass]] in SI units."""
    return PointMass(
        name=row.name,
        mass=row.grams * GRAM,
        at=(row.at_mm[0] * MM, row.at_mm[1] * MM),
        diameter=DIAMETER if row.diameter_mm is None else row.diameter_mm * MM,
        height=row.height_mm * MM,
    )


def _border(row: PatchTable, holes: Sequence[Hole]) -> Outline:
    if row.points_mm is not None:
        return polygon_outline(np.array(row.points_mm, dtype=float) * MM)
    if row.centre_mm is not None and row.size_mm is not None:
        return rectangle(np.array(row.centre_mm) * MM, np.array(row.size_mm) * MM, row.angle_deg * DEGREE)
    number, width = row.around_hole or 0, row.width_mm or 0.0
    if number > len(holes):
        allowed = f"must be the number of a [[hole]], 1 to {len(holes)}" if holes else "there is no [[hole]]"
        message = f'{FILE_NAME}: patch "{row.name}".around_hole = {number}: {allowed}'
        raise FileError(message)
    return holes[number - 1].outline(grow=width * MM)


def _profile_angle(row: PatchTable) -> float:
    """Direction in which a profile's distances count, rad: as named, or along a rectangle's longer side."""
    if row.profile_angle_deg is not None:
        return row.profile_angle_deg * DEGREE
    if row.size_mm is None or row.size_mm[0] == row.size_mm[1]:
        message = (
            f'patch "{row.name}": profile_mm without profile_angle_deg; only a rectangle with a longer side '
            "can do without it"
        )
        raise DesignError(message)
    angle = row.angle_deg + (90.0 if row.size_mm[1] > row.size_mm[0] else 0.0)
    # Towards the neck for a side that runs along the top, towards y > 0 for one that runs across.
    return (135.0 - (135.0 - angle) % 180.0) * DEGREE
