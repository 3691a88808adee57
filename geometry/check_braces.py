"""Whether braces lie on their top and meet each other as wood can. Depends on geometry/crossing, check_region."""

from collections.abc import Sequence

import numpy as np
import shapely

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.check_patches import refuse_repeats
from bracedtop.geometry.check_region import SLACK, shown_point
from bracedtop.geometry.crossing import Crossing, brace_footprint
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError

NARROWEST = 1e-3
"""Least width of a brace, m; chosen: half of what any maker uses."""

WIDEST = 0.25
"""Largest width of a brace over the outline's least extent; chosen: wider pieces are patches."""

TALLEST = 20.0
"""Largest height of a brace over its width; chosen: a slip of the decimal point exceeds it."""

SHARPEST_BEND = np.deg2rad(90.0)
"""Largest turn of a path at one point; chosen: beyond it the strip lies on itself."""

OUTSIDE = 0.25
"""Largest part of a glued face off the top; chosen: a tucked end cut square stays far below."""

ALONG = 1 / np.sin(np.deg2rad(10.0))
"""Longest place that two crossing braces share, over the sum of their widths: they cross at 10 degrees or more."""

JOINT_BEND = np.deg2rad(10.0)
"""Largest bend of a path inside a crossing; chosen: laps are cut straight."""


def check_braces(design: Design) -> None:
    """Refuse braces of impossible sizes and braces that do not lie on the top.

    Raises
    ------
    DesignError
    """
    refuse_repeats("brace", [brace.name for brace in design.braces])
    top = design.outline.polygon
    grown = top.buffer(SLACK)
    holes = [hole.outline().polygon for hole in design.holes]
    x0, y0, x1, y1 = top.bounds
    widest = WIDEST * min(x1 - x0, y1 - y0)
    for brace in design.braces:
        _check_sizes(brace, widest)
        _check_path(brace)
        _check_on_top(brace, top, grown)
        _check_beside_holes(brace, holes)


def check_meetings(design: Design, found: Sequence[Crossing]) -> None:
    """Refuse braces that run along each other, bends in crossings, and crossings of more than two braces.

    Parameters
    ----------
    design : Design
    found : sequence of Crossing
        Its crossings.

    Raises
    ------
    DesignError
    """
    braces = design.braces
    if len(braces) < 2:
        return
    faces = np.array([brace_footprint(brace) for brace in braces], dtype=object)
    points: dict[frozenset[str], list[shapely.Point]] = {}
    for crossing in found:
        points.setdefault(frozenset((crossing.under, crossing.over)), []).append(shapely.Point(crossing.point))
    first, second = shapely.STRtree(faces).query(faces, predicate="intersects")
    pairs = sorted((int(i), int(j)) for i, j in zip(first, second, strict=True) if i < j)
    shared = shapely.intersection(faces[[i for i, _ in pairs]], faces[[j for _, j in pairs]])
    areas = shapely.area(shared)
    for (i, j), place, area in zip(pairs, shared, areas, strict=True):
        a, b = braces[i], braces[j]
        crossed = points.get(frozenset((a.name, b.name)), [])
        # Straight strips share their widths' product over the sine of their angle.
        plain = crossed and len(a.path) == len(b.path) == 2 and area <= a.width * b.width * ALONG
        if not plain:
            _check_meeting(a, b, place, crossed)
    for crossing in found:
        for name in (crossing.under, crossing.over):
            _check_straight(design.brace(name), crossing)
    _refuse_triples(found)


def check_joints(design: Design, found: Sequence[Crossing]) -> None:
    """Refuse joints of braces that do not cross or are not there.

    Parameters
    ----------
    design : Design
    found : sequence of Crossing
        Its crossings.

    Raises
    ------
    DesignError
    """
    names = [brace.name for brace in design.braces]
    pairs = {frozenset((c.under, c.over)) for c in found}
    seen: dict[frozenset[str], int] = {}
    for k, joint in enumerate(design.joints, start=1):
        for key, name in (("under", joint.under), ("over", joint.over)):
            if name not in names:
                message = f'joint {k}.{key} = "{name}": no such brace; braces: {", ".join(names) or "none"}'
                raise DesignError(message)
        pair = frozenset((joint.under, joint.over))
        if pair not in pairs:
            message = f'joint {k}: braces "{joint.under}" and "{joint.over}" do not cross; a joint needs a crossing'
            raise DesignError(message)
        if pair in seen:
            message = f"joint {k}: joint {seen[pair]} is of the same two braces; one joint for each two is allowed"
            raise DesignError(message)
        seen[pair] = k
        if joint.kept is not None and not 0 <= joint.kept < np.inf:
            message = f"joint {k}.kept_mm = {1e3 * joint.kept:g}: must be >= 0"
            raise DesignError(message)
        for key, value in (("cap_mm", joint.cap), ("cap_length_mm", joint.cap_length)):
            if not 0 <= value < np.inf or (value > 0) != (joint.cap > 0):
                message = (
                    f"joint {k}.{key} = {1e3 * value:g}: a cap needs a thickness and a length > 0, none has neither"
                )
                raise DesignError(message)
        if joint.cap > 0:
            _check_cap(design, f"joint {k}.cap_length_mm", [c for c in found if frozenset((c.under, c.over)) == pair])


def _check_cap(design: Design, where: str, found: Sequence[Crossing]) -> None:
    """Refuse a cap that does not reach across its joint, or that reaches beyond its brace's ends."""
    for crossing in found:
        under, over = design.brace(crossing.under), design.brace(crossing.over)
        before = float(shapely.LineString(under.path).project(shapely.Point(crossing.point)))
        room = 2 * min(before, under.length - before)
        if not over.width < crossing.cap_length <= room:
            message = (
                f"{where} = {1e3 * crossing.cap_length:g}: must be > {1e3 * over.width:g}, the width of brace "
                f'"{over.name}", and at most {1e3 * room:.1f}, where brace "{under.name}" ends'
            )
            raise DesignError(message)


def _check_sizes(brace: Brace, widest: float) -> None:
    where = f'brace "{brace.name}"'
    if not NARROWEST <= brace.width <= widest:
        message = (
            f"{where}.width_mm = {1e3 * brace.width:g}: must be {1e3 * NARROWEST:g} to {1e3 * widest:.1f}, "
            f"{WIDEST:g} of the outline's least extent"
        )
        raise DesignError(message)
    if brace.length < brace.width:
        message = (
            f"{where}.path_mm: {1e3 * brace.length:.1f} mm long, {1e3 * brace.width:g} mm wide; "
            "must be at least as long as wide (draw short pieces as patches)"
        )
        raise DesignError(message)
    tallest = float(brace.stations[:, 1].max())
    if tallest > TALLEST * brace.width:
        row = int(brace.stations[:, 1].argmax()) + 1
        message = (
            f"{where}.stations_mm row {row}: height {1e3 * tallest:g}; must be at most "
            f"{1e3 * TALLEST * brace.width:g}, {TALLEST:g} times the width"
        )
        raise DesignError(message)


def _check_path(brace: Brace) -> None:
    where = f'brace "{brace.name}".path_mm'
    turns = np.abs(_turns(brace))
    sharp = np.flatnonzero(turns > SHARPEST_BEND)
    if len(sharp):
        k = int(sharp[0]) + 1
        message = (
            f"{where} row {k + 1} = {shown_point(brace.path[k])}: bends by {np.rad2deg(turns[k - 1]):.0f} degrees; "
            f"must be at most {np.rad2deg(SHARPEST_BEND):g}"
        )
        raise DesignError(message)
    if not shapely.LineString(brace.path).is_simple:
        message = f"{where}: crosses or touches itself; draw two braces"
        raise DesignError(message)
    # On its inner side a strip loses half its width times the tangent of half the turn before and after each bend.
    lost = np.pad(brace.width / 2 * np.tan(turns / 2), 1)
    lengths = np.hypot(*np.diff(brace.path, axis=0).T)
    tight = np.flatnonzero(lost[:-1] + lost[1:] > lengths)
    # Over all it gains outside what it loses inside, unless it lies on itself.
    area, expected = brace_footprint(brace).area, brace.length * brace.width
    if len(tight) or abs(area - expected) > 0.05 * expected:
        k = max(tight[0], tight[0] + 1, key=lost.__getitem__) if len(tight) else 0
        near = f" row {k + 1} = {shown_point(brace.path[k])}" if len(tight) else ""
        message = (
            f"{where}{near}: bends too tightly for a strip {1e3 * brace.width:g} mm wide, which would lie on itself; "
            "it needs wider bends"
        )
        raise DesignError(message)


def _turns(brace: Brace) -> np.ndarray:
    """Turn of a path at each inner point, (n - 2,) in rad."""
    pieces = np.diff(brace.path, axis=0)
    before, after = pieces[:-1], pieces[1:]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.arctan2(cross, (before * after).sum(axis=1)))


def _check_on_top(brace: Brace, top: shapely.Polygon, grown: shapely.Polygon) -> None:
    where = f'brace "{brace.name}".path_mm'
    gaps = shapely.distance(shapely.points(brace.path), top)
    off = np.flatnonzero(gaps > SLACK)
    if len(off):
        k = int(off[0])
        message = (
            f"{where} row {k + 1} = {shown_point(brace.path[k])}: outside the outline by {1e3 * gaps[k]:.1f} mm; "
            "every point has to lie on the top"
        )
        raise DesignError(message)
    out = shapely.LineString(brace.path).difference(grown)
    if not out.is_empty:
        ends = shapely.points(shapely.get_coordinates(out.segmentize(1e-3)))
        depth = shapely.distance(ends, top)
        k = int(depth.argmax())
        message = (
            f"{where}: leaves the outline by {1e3 * depth[k]:.1f} mm at {shown_point(ends[k])} mm; "
            "all of it has to lie on the top"
        )
        raise DesignError(message)
    face = brace_footprint(brace)
    share = face.difference(top).area / face.area
    if share > OUTSIDE:
        message = (
            f"{where}: {100 * share:.0f} % of its glued face lies outside the outline; at most {100 * OUTSIDE:g} % may"
        )
        raise DesignError(message)


def _check_beside_holes(brace: Brace, holes: list[shapely.Polygon]) -> None:
    face = brace_footprint(brace)
    for k, hole in enumerate(holes, start=1):
        inside = face.intersection(hole.buffer(-SLACK))
        if not inside.is_empty:
            message = (
                f'brace "{brace.name}".path_mm: with its width of {1e3 * brace.width:g} mm it enters hole {k} near '
                f"{shown_point(inside.representative_point())} mm; it has to stay on the wood"
            )
            raise DesignError(message)


def _check_meeting(a: Brace, b: Brace, shared: shapely.Geometry, points: list[shapely.Point]) -> None:
    """Refuse what two braces share unless it is a crossing or the end of one on the other."""
    where = f'brace "{b.name}".path_mm'
    doubled = shapely.intersection(shapely.LineString(a.path), shapely.LineString(b.path))
    if doubled.length > SLACK:
        message = (
            f'{where}: has {1e3 * doubled.length:.1f} mm of its centreline in common with brace "{a.name}" near '
            f"{shown_point(doubled.centroid)} mm; braces may cross or touch only"
        )
        raise DesignError(message)
    small = min(a.width * a.length, b.width * b.length)
    ends = shapely.points(np.concatenate([a.path[[0, -1]], b.path[[0, -1]]]))
    reach = np.repeat([a.width, b.width], 2) / 2 + SLACK
    for part in shapely.get_parts(shared):
        if part.buffer(-SLACK / 2).is_empty:
            continue
        near = shown_point(part.representative_point())
        crossed = any(part.distance(point) < SLACK for point in points)
        butts = bool((shapely.distance(part, ends) < reach).any())
        longest = (a.width + b.width) * ALONG * (1.0 if crossed else 0.5)
        corners = shapely.get_coordinates(part.minimum_rotated_rectangle)
        extent = float(np.hypot(*(corners[:2] - corners[1:3]).T).max())
        if not (crossed or butts) or extent > longest or part.area > 0.5 * small:
            message = (
                f'{where}: runs along brace "{a.name}" for {1e3 * extent:.1f} mm near {near} mm; braces may cross at '
                "10 degrees or more, or end on each other"
            )
            raise DesignError(message)


def _check_straight(brace: Brace, crossing: Crossing) -> None:
    if len(brace.path) == 2:
        return
    turns = np.abs(_turns(brace))
    for k in np.flatnonzero(turns > JOINT_BEND) + 1:
        if crossing.polygon.distance(shapely.Point(brace.path[k])) == 0:
            other = crossing.over if brace.name == crossing.under else crossing.under
            message = (
                f'brace "{brace.name}".path_mm row {k + 1} = {shown_point(brace.path[k])}: bends by '
                f'{np.rad2deg(turns[k - 1]):.0f} degrees inside its crossing with brace "{other}"; '
                f"at most {np.rad2deg(JOINT_BEND):g} there"
            )
            raise DesignError(message)


def _refuse_triples(found: Sequence[Crossing]) -> None:
    areas = np.array([crossing.polygon for crossing in found], dtype=object)
    if len(areas) < 2:
        return
    first, second = shapely.STRtree(areas).query(areas, predicate="intersects")
    for i, j in sorted((int(i), int(j)) for i, j in zip(first, second, strict=True) if i < j):
        if areas[i].intersection(areas[j]).buffer(-SLACK / 2).is_empty:
            continue
        names = dict.fromkeys((found[i].under, found[i].over, found[j].under, found[j].over))
        listed = ", ".join(f'"{name}"' for name in names)
        message = (
            f"braces {listed}: their crossings overlap near {shown_point(found[j].point)} mm; "
            "move one of them, or end it at the crossing"
        )
        raise DesignError(message)
