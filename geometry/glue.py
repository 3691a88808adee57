"""The part of a brace's glued face that holds the plate as if it were one piece with it."""

import shapely
import shapely.ops

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import brace_footprint, butts_of
from bracedtop.geometry.design import Design

SET_BACK = 0.4
"""Length at each end of a brace that does not hold the plate, in plate thicknesses.

The plate is held on one face only and bends round the end of the glue line, as a clamped plate turns a little at its
root (W. J. O'Donnell, J. Appl. Mech. 27 (1960) 461, recalled). Chosen to fit orthotropic solids, see
tests/published/test_orthotropic_solids.py."""


def grip_ends(brace: Brace, design: Design) -> tuple[float, float]:
    """Distances along a brace between which it holds the plate, m.

    An end that runs out lower than the plate is thick is set back in proportion to its height; an end tucked
    against the rim, within a plate's thickness of it, or butted against another brace is held there and not set back
    at all.
    """
    thickness = design.plate.thickness
    rim = shapely.LinearRing(design.outline.points)
    butted = {butt.end for butt in butts_of(brace, design)}
    backs = []
    for end in (0, -1):
        held = end in butted or rim.distance(shapely.Point(brace.path[end])) < thickness
        height = float(brace.stations[end, 1])
        backs.append(0.0 if held else min(SET_BACK * min(thickness, height), brace.length / 4))
    return backs[0], brace.length - backs[1]


def gripping_face(brace: Brace, design: Design) -> shapely.Polygon:
    """The glued face between `grip_ends`, less the faces of braces against which it butts."""
    path = shapely.ops.substring(shapely.LineString(brace.path), *grip_ends(brace, design))
    face = path.buffer(brace.width / 2, cap_style="flat", join_style="mitre")
    for butt in butts_of(brace, design):
        face = face.difference(brace_footprint(design.brace(butt.against)))
    return shapely.Polygon(max(shapely.get_parts(face), key=shapely.area))
