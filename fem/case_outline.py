"""The closed curves of a drawing: [outline] and [[hole]].

Depends on geometry, fem/part_schema.
"""

import numpy as np

from bracedtop.fem.part_schema import HoleTable, OutlineTable
from bracedtop.geometry.outline import Hole, Outline, body_outline, polygon_outline, smooth_outline
from bracedtop.geometry.units import DEGREE, MM


def outline_of(table: OutlineTable) -> Outline:
    """Outline of an [outline] in SI units.

    Raises
    ------
    DesignError
        If it is no simple closed curve.
    """
    if table.points_mm is not None:
        points = np.array(table.points_mm, dtype=float) * MM
        return smooth_outline(points) if table.smooth else polygon_outline(points)
    lengths = {
        key.removesuffix("_mm"): value * MM
        for key in type(table).model_fields
        if key.endswith("_mm") and isinstance(value := getattr(table, key), (int, float))
    }
    return body_outline(**lengths)


def hole_of(row: HoleTable) -> Hole:
    """Hole of a [[hole]] in SI units."""
    sizes = [row.diameter_mm, row.diameter_mm] if row.size_mm is None else row.size_mm
    return Hole(np.array(row.centre_mm) * MM, np.array(sizes) * (0.5 * MM), row.angle_deg * DEGREE)
