"""Whether sides, back, linings, blocks and finish make a box around their top.

Depends on geometry/box, geometry/check_region, geometry/layout.
"""

import re
from collections.abc import Sequence

import numpy as np
import shapely

from bracedtop.geometry.box import Box, block_area
from bracedtop.geometry.check_region import LEAST_PART, SLACK, shown_point
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.layout import check_layout
from bracedtop.geometry.outline import Array

FARTHEST_OUTLINE = 15e-3
"""Farthest that the back's outline may lie from the top's, m; chosen: sides that lean more make another volume than the
top's plan times the depth."""

FARTHEST_STATION = 1 / 4
"""Farthest that a station of the sides may lie off the outline, over its length; chosen: farther is a slip."""

THICKEST_SIDES = 1 / 10
"""Largest thickness of the sides over their least depth; chosen: thicker ones are blocks."""

THICKEST_FILM = 1 / 10
"""Largest thickness of a film over that of the wood under it; chosen: a slip of the decimal point exceeds it."""

HEAVIEST_FINISH = 1.0
"""Largest mass of a finish over that of the wood's volume at 1000 kg/m^3; chosen: a slip exceeds it."""

WARMEST = (-50.0, 60.0)
"""Range of the air's temperature, degrees Celsius; chosen."""

_STEP = 5e-3


def check_box(design: Design, box: Box) -> None:
    """Refuse a box whose parts do not fit together, at the first fault found.

    Parameters
    ----------
    design : Design
        The top, checked before.
    box : Box

    Raises
    ------
    DesignError
        If the back or its parts do not fit, or its outline is not about the top's; if the sides are thicker than
        likely or drawn elsewhere; if a face, an end or the sides have two of what there is one; if linings are as wide
        as the body, as deep as the sides, or under a hole; if a block sticks out, meets the other or a hole; if braces
        of top and back meet; if a finish, the ring or a mass has no likely size.
    """
    _check_back(design, box)
    _check_sides(design, box)
    _check_single("lining of the", [lining.face for lining in box.linings])
    _check_single("finish of the", [finish.face for finish in box.finishes])
    _check_single("block at the", [block.end for block in box.blocks])
    _check_linings(design, box)
    _check_blocks(design, box)
    _check_braces(design, box)
    _check_finishes(design, box)
    _check_rest(design, box)


def back_words(text: str) -> str:
    """Message about a top turned into one about the back; names stand between quotes and stay."""
    pieces = text.split('"')
    pieces[::2] = [re.sub(r"\btop\b", "back", piece) for piece in pieces[::2]]
    words = '"'.join(pieces)
    return words if words.startswith("back.") else f"back: {words}"


def _check_back(design: Design, box: Box) -> None:
    back = box.back
    if back.holes:
        message = "back: it has a hole; the holes of a box are those of its top"
        raise DesignError(message)
    if any(patch.is_bridge for patch in back.patches):
        message = "back: it has a bridge; the bridge of a box is that of its top"
        raise DesignError(message)
    try:
        check_layout(back)
    except DesignError as error:
        raise DesignError(back_words(str(error))) from None
    if back.outline is design.outline:
        return
    drawn, wanted = back.outline, design.outline
    off = max(_farthest(drawn.points, wanted.polygon), _farthest(wanted.points, drawn.polygon))
    if off > FARTHEST_OUTLINE:
        message = (
            f"back: its outline lies up to {1e3 * off:.1f} mm from the top's; must be drawn in the top's plan, "
            f"at most {1e3 * FARTHEST_OUTLINE:g} mm off"
        )
        raise DesignError(message)


def _farthest(points: Array, polygon: shapely.Polygon) -> float:
    return float(shapely.distance(shapely.points(points), polygon.exterior).max())


def _check_sides(design: Design, box: Box) -> None:
    sides = box.sides
    x = design.outline.points[:, 0]
    length = float(np.ptp(x))
    low, high = x.min() - FARTHEST_STATION * length, x.max() + FARTHEST_STATION * length
    for row, station in enumerate(sides.stations[:, 0], start=1):
        if not low <= station <= high:
            message = (
                f"sides.depth_mm row {row}: x = {1e3 * station:g}; must lie from {1e3 * low:.0f} to {1e3 * high:.0f}, "
                "near the outline"
            )
            raise DesignError(message)
    depth = sides.stations[:, 1]
    largest = float(np.ptp(design.outline.points, axis=0).max())
    if depth.max() > largest:
        row = int(depth.argmax()) + 1
        message = (
            f"sides.depth_mm row {row}: depth {1e3 * depth.max():g}; must be at most {1e3 * largest:.0f}, the "
            "outline's largest extent"
        )
        raise DesignError(message)
    most = THICKEST_SIDES * float(depth.min())
    if sides.thickness > most:
        message = (
            f"sides.thickness_mm = {1e3 * sides.thickness:g}: must be at most {1e3 * most:.1f}, {THICKEST_SIDES:g} of "
            "the least depth"
        )
        raise DesignError(message)


def _check_single(what: str, values: Sequence[str]) -> None:
    for i, value in enumerate(values):
        if value in values[:i]:
            message = f"{what} {value}: there are {values.count(value)}; at most one is allowed"
            raise DesignError(message)


def _check_linings(design: Design, box: Box) -> None:
    polygon = design.outline.polygon
    least = float(box.sides.stations[:, 1].min())
    for lining in box.linings:
        where = f"lining of the {lining.face}"
        inner = polygon.buffer(-lining.width)
        if inner.is_empty or inner.geom_type != "Polygon":
            message = (
                f"{where}: width {1e3 * lining.width:g} mm closes the body or its waist; must be less than half of the "
                "narrowest width"
            )
            raise DesignError(message)
        if lining.height > least:
            message = f"{where}: height {1e3 * lining.height:g} mm; must be at most {1e3 * least:g}, the least depth"
            raise DesignError(message)
        for number, hole in enumerate(design.holes if lining.face == "top" else (), start=1):
            if not inner.buffer(SLACK).contains(hole.outline().polygon):
                message = (
                    f"{where}: width {1e3 * lining.width:g} mm reaches under hole {number}; the hole has to clear it"
                )
                raise DesignError(message)
    both = sum(lining.height for lining in box.linings)
    if both > least:
        message = (
            f"linings: {1e3 * both:g} mm high together; must be at most {1e3 * least:g}, the least depth of the sides"
        )
        raise DesignError(message)


def _check_blocks(design: Design, box: Box) -> None:
    polygon = design.outline.polygon
    x = design.outline.points[:, 0]
    for block in box.blocks:
        where = f"block at the {block.end}"
        if not (0 < block.length < np.inf and 0 < block.width < np.inf):
            message = f"{where}: {1e3 * block.length:g} by {1e3 * block.width:g} mm; both must be > 0"
            raise DesignError(message)
        inner = x.max() - block.length if block.end == "neck" else x.min() + block.length
        half = block.width / 2 + LEAST_PART
        face = shapely.LineString([(inner, -half), (inner, half)])
        if not polygon.covers(face):
            message = (
                f"{where}: its inner face, {1e3 * block.width:g} mm wide at x = {1e3 * inner:.1f} mm, sticks out of "
                f"the outline or comes nearer to it than {1e3 * LEAST_PART:g} mm; it has to lie inside"
            )
            raise DesignError(message)
        area = block_area(block, design.outline)
        for number, hole in enumerate(design.holes, start=1):
            if hole.outline().polygon.distance(area) < LEAST_PART:
                message = (
                    f"{where}: reaches under hole {number}, or nearer to it than {1e3 * LEAST_PART:g} mm; "
                    "it has to clear it"
                )
                raise DesignError(message)
    if sum(block.length for block in box.blocks) > np.ptp(x) - LEAST_PART:
        message = "blocks: they fill the whole length of the body; air has to be left"
        raise DesignError(message)


def _check_braces(design: Design, box: Box) -> None:
    """Refuse braces that are deeper than the box, or that meet across it; domes only add to its depth."""
    for face, what in ((design, "brace"), (box.back, "back_brace")):
        for brace in face.braces:
            # Heights are linear between stations and so is the depth but for its own stations.
            s = np.union1d(np.arange(0.0, brace.length, _STEP), np.clip(brace.stations[:, 0], 0.0, brace.length))
            xy, _ = brace.position(s)
            room = box.sides.depth(xy[:, 0]) - brace.height(s)
            k = int(room.argmin())
            if room[k] <= 0:
                message = (
                    f'{what} "{brace.name}": {1e3 * brace.height(s)[k]:.1f} mm high at {shown_point(xy[k])} mm; must '
                    f"be less than the depth of the box there, {1e3 * box.sides.depth(xy[k : k + 1, 0])[0]:.1f}"
                )
                raise DesignError(message)
    if not (design.braces and box.back.braces):
        return
    lines = [[shapely.LineString(brace.path) for brace in face.braces] for face in (design, box.back)]
    tree = shapely.STRtree(lines[1])
    for i, j in tree.query(lines[0], predicate="intersects").T:
        above, below = design.braces[i], box.back.braces[j]
        for point in shapely.points(shapely.get_coordinates(lines[0][i].intersection(lines[1][j]))):
            heights = [
                float(b.height(np.array(line.project(point))))
                for b, line in ((above, lines[0][i]), (below, lines[1][j]))
            ]
            depth = float(box.sides.depth(np.array([point.x]))[0])
            if sum(heights) > depth:
                message = (
                    f'brace "{above.name}" and back_brace "{below.name}": {1e3 * sum(heights):.1f} mm high together at '
                    f"{shown_point(point)} mm; must be at most the depth of the box there, {1e3 * depth:.1f}"
                )
                raise DesignError(message)


def _check_finishes(design: Design, box: Box) -> None:
    thickness = {"top": design.plate.thickness, "back": box.back.plate.thickness, "sides": box.sides.thickness}
    for finish in box.finishes:
        where = f"finish of the {finish.face}"
        most = 1e3 * HEAVIEST_FINISH * thickness[finish.face]
        if not 0 <= finish.mass <= most:
            message = f"{where}: {1e3 * finish.mass:g} g/m2; must be from 0 to {1e3 * most:.0f} on this wood"
            raise DesignError(message)
        thickest = THICKEST_FILM * thickness[finish.face]
        if not 0 <= finish.thickness <= thickest:
            message = (
                f"{where}: film of {1e3 * finish.thickness:g} mm; must be from 0 to {1e3 * thickest:.2f}, "
                f"{THICKEST_FILM:g} of the wood's thickness"
            )
            raise DesignError(message)
        if not (0 <= finish.modulus < np.inf and 0 <= finish.loss < 1 and -1 < finish.poisson < 0.5):
            message = (
                f"{where}: modulus {finish.modulus / 1e9:g} GPa, loss {finish.loss:g}, Poisson's ratio "
                f"{finish.poisson:g}; must be >= 0, from 0 to below 1, and between -1 and 0.5"
            )
            raise DesignError(message)


def _check_rest(design: Design, box: Box) -> None:
    if not 0 <= box.neck_mass < np.inf:
        message = f"box.neck_mass_g = {1e3 * box.neck_mass:g}: must be >= 0"
        raise DesignError(message)
    low, high = WARMEST
    if not low <= box.temperature <= high:
        message = f"box.temperature_c = {box.temperature:g}: must be from {low:g} to {high:g}"
        raise DesignError(message)
    where = f"box.ring_width_mm = {1e3 * box.ring_width:g}"
    if not LEAST_PART / 2 <= box.ring_width < np.inf:
        message = f"{where}: must be at least {1e3 * LEAST_PART / 2:g}"
        raise DesignError(message)
    inner = design.outline.polygon.buffer(-box.ring_width - LEAST_PART / 2)
    if inner.is_empty or inner.geom_type != "Polygon":
        message = f"{where}: leaves no wood inside the ring or cuts it in two; must be less than half of the waist"
        raise DesignError(message)
