"""How the parts of a design fit together: footprints, crossings, and what cannot be built.

Depends on geometry/crossing, geometry/check_region, geometry/check_thickness, geometry/check_patches,
geometry/check_braces.
"""

from bracedtop.geometry.check_braces import check_braces, check_joints, check_meetings
from bracedtop.geometry.check_patches import check_patches, check_under_braces
from bracedtop.geometry.check_region import check_holes, check_outline, check_plate
from bracedtop.geometry.check_thickness import check_dome, check_masses, check_thickness
from bracedtop.geometry.crossing import Crossing, brace_footprint, crossings
from bracedtop.geometry.design import Design

__all__ = ["Crossing", "brace_footprint", "check_layout", "crossings"]


def check_layout(design: Design) -> None:
    """Refuse a design whose parts do not fit together, at the first fault found.

    What passes can be built and meshed. Half a millimetre is let pass wherever parts are drawn to meet.

    Parameters
    ----------
    design : Design

    Raises
    ------
    DesignError
        If the outline, a hole or the edge ring is too small, or a hole is not well inside the outline; if a thickness
        is unlikely or its place lies off the top, or the edge ring thins it through; if a dome is not shallow; if a
        mass does not sit on the wood; if a patch sticks out, lies in a hole, overlaps another on its side, is too
        small, or runs under a joint of braces; if a brace leaves the top, enters a hole, runs along or over itself
        or another, or has a size no brace has; if a joint names braces that do not cross, or its cap has no size;
        if two braces or two patches have one name.
    """
    check_outline(design.outline)
    check_plate(design)
    check_holes(design)
    check_thickness(design)
    check_dome(design)
    check_patches(design)
    check_masses(design)
    check_braces(design)
    found = crossings(design)
    check_meetings(design, found)
    check_joints(design, found)
    check_under_braces(design, found)
