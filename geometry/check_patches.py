"""Whether patches fit on their top and beside each other. Depends on geometry/design, geometry/check_region."""

from collections.abc import Sequence
from itertools import combinations

import shapely

from bracedtop.geometry.check_region import LEAST_PART, SLACK, check_corners, check_tongues, shown_point
from bracedtop.geometry.crossing import Crossing, butts
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.patch import Patch


def check_patches(design: Design) -> None:
    """Refuse patches that do not fit; outline and holes have to be checked before.

    Raises
    ------
    DesignError
    """
    refuse_repeats("patch", [patch.name for patch in design.patches])
    grown = design.outline.polygon.buffer(SLACK)
    region = design.region
    left = []
    for patch in design.patches:
        _check_shape(patch)
        _check_inside(patch, design.outline.polygon, grown)
        rest = patch.polygon.intersection(region)
        if rest.buffer(-LEAST_PART / 2).is_empty:
            message = (
                f'patch "{patch.name}": lies in a sound hole, or less than {1e3 * LEAST_PART:g} mm of it lies beside; '
                "more of it has to lie on the wood"
            )
            raise DesignError(message)
        left.append(rest)
    for (i, first), (j, second) in combinations(enumerate(design.patches), 2):
        if first.side != second.side:
            continue
        shared = left[i].intersection(left[j]).buffer(-SLACK / 2)
        if not shared.is_empty:
            message = (
                f'patch "{second.name}": overlaps patch "{first.name}" near '
                f"{shown_point(shared.representative_point())} mm; patches on one side may touch but not overlap"
            )
            raise DesignError(message)


def check_under_braces(design: Design, found: Sequence[Crossing]) -> None:
    """Refuse patches that run under a crossing or a butted end of the braces, which have to sit on the top itself.

    Parameters
    ----------
    design : Design
    found : sequence of Crossing
        Its crossings.

    Raises
    ------
    DesignError
    """
    joints = [(c.polygon, f'braces "{c.under}" and "{c.over}" cross') for c in found]
    for butt in butts(design):
        end = shapely.Point(design.brace(butt.brace).path[butt.end])
        joints.append((end, f'brace "{butt.brace}" ends on "{butt.against}"'))
    for patch in design.patches:
        for place, what in joints:
            if patch.under_braces and patch.polygon.intersects(place):
                message = (
                    f'patch "{patch.name}".under_braces = true, but {what} over it near '
                    f"{shown_point(place.centroid)} mm; there braces have to sit on the top itself"
                )
                raise DesignError(message)


def refuse_repeats(kind: str, names: list[str]) -> None:
    """Refuse parts of one kind that share a name.

    Raises
    ------
    DesignError
    """
    for i, name in enumerate(names):
        if name in names[:i]:
            message = f'{kind} "{name}": {names.count(name)} have this name; names have to differ'
            raise DesignError(message)


def _check_shape(patch: Patch) -> None:
    where = f'patch "{patch.name}"'
    polygon = patch.polygon
    if polygon.buffer(-LEAST_PART / 2).is_empty:
        message = f"{where}: less than {1e3 * LEAST_PART:g} mm across; must be wider"
        raise DesignError(message)
    check_corners(patch.outline, where)
    check_tongues(polygon, where)
    sides = shapely.get_coordinates(polygon.minimum_rotated_rectangle)
    breadth = min(shapely.Point(sides[0]).distance(shapely.Point(sides[k])) for k in (1, 3))
    if patch.thickness > breadth:
        message = (
            f"{where}.thickness_mm = {1e3 * patch.thickness:g}: must be at most its breadth of {1e3 * breadth:.1f} mm"
        )
        raise DesignError(message)


def _check_inside(patch: Patch, top: shapely.Polygon, grown: shapely.Polygon) -> None:
    if not patch.polygon.intersects(top):
        message = (
            f'patch "{patch.name}": lies off the top, about {shown_point(patch.polygon.centroid)} mm; '
            "it has to lie on the top"
        )
        raise DesignError(message)
    out = patch.polygon.difference(grown)
    if not out.is_empty:
        corners = shapely.points(shapely.get_coordinates(out))
        gaps = shapely.distance(corners, top)
        message = (
            f'patch "{patch.name}": sticks out of the outline by {1e3 * gaps.max():.1f} mm at '
            f"{shown_point(corners[gaps.argmax()])} mm; it has to lie on the top"
        )
        raise DesignError(message)
