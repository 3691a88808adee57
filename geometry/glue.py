"""The part of a brace's glued face that holds the plate as if it were one piece with it."""

import shapely
import shapely.ops

from bracedtop.geometry.brace import Brace

SET_BACK = 0.7
"""Length at each end of a brace that does not hold the plate, in plate thicknesses.

The plate is held on one face only and bends round the end of the glue line, as a clamped plate turns a little at its
root (W. J. O'Donnell, J. Appl. Mech. 27 (1960) 461, recalled). Chosen to fit orthotropic solids, see
tests/published/test_orthotropic_solids.py."""


def grip_ends(brace: Brace, thickness: float) -> tuple[float, float]:
    """Distances along a brace between which it holds a plate of that thickness, m.

    A brace that runs out lower than the plate is thick is set back in proportion to its end's height.
    """
    s, h = brace.stations.T
    first, last = (SET_BACK * min(thickness, float(end)) for end in (h[0], h[-1]))
    room = brace.length / 4
    return min(first, room), brace.length - min(last, room)


def gripping_face(brace: Brace, thickness: float) -> shapely.Polygon:
    """The glued face between `grip_ends`."""
    path = shapely.ops.substring(shapely.LineString(brace.path), *grip_ends(brace, thickness))
    return shapely.Polygon(path.buffer(brace.width / 2, cap_style="flat", join_style="mitre"))
