"""The plate of a drawing: [top], [[thickness]] and the file of measured thicknesses.

Depends on geometry, fem/part_schema, fem/thickness_file.
"""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bracedtop.fem.part_schema import ThicknessTable, TopTable
from bracedtop.fem.thickness_file import read_thickness
from bracedtop.geometry.design import Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, polygon_outline
from bracedtop.geometry.thickness import ThicknessRegion
from bracedtop.geometry.units import DEGREE, MM


def plate_of(top: TopTable, folder: Path, regions: Sequence[ThicknessTable] = (), *, table: str = "top") -> Plate:
    """Plate of a drawing in SI units, without its dome.

    Parameters
    ----------
    top : TopTable
        Or that of the back.
    folder : Path
        The case's folder, where a file of measured thicknesses lies.
    regions : sequence of ThicknessTable
    table : str
        Its name in the drawing, for messages.

    Raises
    ------
    FileError, DesignError
    """
    return Plate(
        wood=top.wood,
        thickness=top.thickness_mm * MM,
        grain_angle=top.grain_angle_deg * DEGREE,
        ring_angle=top.ring_angle_deg * DEGREE,
        runout=top.runout_deg * DEGREE,
        ring_width=top.edge_ring_width_mm * MM,
        ring_reduction=top.edge_ring_reduction_mm * MM,
        regions=tuple(_region(k, row) for k, row in enumerate(regions, start=1)),
        grid=None if top.thickness_csv is None else read_thickness(folder, top.thickness_csv, f"{table}.thickness_csv"),
    )


def dome_of(top: TopTable, driving_point: Array) -> Dome | None:
    """Dome of a drawing, None if it is flat; its crown is the driving point (2,) in m, unless the drawing names one."""
    along = top.dome_radius_mm or top.dome_radius_along_mm
    across = top.dome_radius_mm or top.dome_radius_across_mm
    if along is None and across is None:
        return None
    crown = driving_point if top.crown_mm is None else np.array(top.crown_mm) * MM
    return Dome(
        math.inf if along is None else along * MM,
        math.inf if across is None else across * MM,
        (float(crown[0]), float(crown[1])),
    )


def _region(number: int, row: ThicknessTable) -> ThicknessRegion:
    try:
        outline = polygon_outline(np.array(row.points_mm, dtype=float) * MM)
    except DesignError as error:
        message = f"thickness {number}: {error}"
        raise DesignError(message) from None
    return ThicknessRegion(outline, row.thickness_mm * MM)
