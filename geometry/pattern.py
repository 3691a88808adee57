"""Families of braces for an outline and its sound hole. Depends on geometry/bar, geometry/crossing.

A pattern is a start to be changed: its braces are ordinary ones. Sizes left out are common practice for a body of
490 mm (no source), scaled to the body's length.
"""

from collections.abc import Sequence

import numpy as np
import shapely

from bracedtop.geometry.bar import (
    CLOSING_BAR,
    FINGER,
    HARMONIC_BAR,
    LADDER_BAR,
    LATTICE_BAR,
    LEG,
    STRUT,
    TONE_BAR,
    TRANSVERSE,
    USUAL_LENGTH,
    Bar,
    straight_brace,
)
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import brace_footprint
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, Hole, Outline
from bracedtop.geometry.units import DEGREE, MM


def crossed_x(
    outline: Outline,
    hole: Hole | None,
    wood: str,
    *,
    crossing_at: float | None = None,
    half_angle: float = 49 * DEGREE,
    n_tone_bars: int = 2,
    n_fingers: int = 2,
    leg: Bar | None = None,
    tone_bar: Bar | None = None,
    finger: Bar | None = None,
    transverse: Bar | None = None,
    clearance: float | None = None,
) -> tuple[Brace, ...]:
    """A crossed X with tone bars, finger braces and a transverse brace between hole and neck.

    Parameters
    ----------
    outline : Outline
    hole : Hole or None
    wood : str
    crossing_at : float or None, m
        Where the legs cross on the centreline, from the tail end. None: beside the hole on its tail side.
    half_angle : float, rad
        Between the centreline and either leg.
    n_tone_bars, n_fingers : int
        Tone bars; finger braces on either side.
    leg, tone_bar, finger, transverse : Bar or None
    clearance : float or None, m
        Distance of the ends from the rim; 0 lets them reach it. None: 6 mm, scaled.

    Returns
    -------
    braces : tuple of Brace
        "x1", "x2", "tone 1", ..., "finger 1", ..., "transverse". Tone bars and finger braces butt on the legs.

    Raises
    ------
    DesignError
        If a brace has no room.
    """
    s = outline.length / USUAL_LENGTH
    leg, tone_bar, finger, transverse = (
        given or usual.scaled(s)
        for given, usual in ((leg, LEG), (tone_bar, TONE_BAR), (finger, FINGER), (transverse, TRANSVERSE))
    )
    room = _room(outline, clearance, s)
    tail_side, neck_side = _beside_hole(outline, hole, 28 * MM * s)
    if crossing_at is None:
        crossing_at = tail_side
        if hole is not None:
            reach = hole.semi_axes.max() + leg.width / 2 + 4 * MM * s
            crossing_at = min(crossing_at, float(hole.centre[0] - reach / np.sin(half_angle)))
    c, d = np.cos(half_angle), np.sin(half_angle)
    middle = np.array([crossing_at, 0.0])
    braces = [
        straight_brace(f"x{k}", wood, _through(room, middle, (c, sign * d), f"x{k}"), leg, middle)
        for k, sign in ((1, 1.0), (2, -1.0))
    ]
    lower = [float(np.hypot(*(brace.path[0] - middle))) for brace in braces]
    # Tone bars butt on the first leg's tail half and run beside the second one's.
    for k, part in enumerate(_parts(n_tone_bars, 0.38, 0.7), start=1):
        start = middle - part * lower[0] * np.array([c, d])
        start = start + np.array([-c, d]) * leg.width / 2 / np.sin(2 * half_angle)
        path = _onward(room, start, (-c, d), f"tone {k}")
        braces.append(straight_brace(f"tone {k}", wood, path, tone_bar))
    number = 0
    for sign, length in ((-1.0, lower[0]), (1.0, lower[1])):
        for part in _parts(n_fingers, 0.35, 0.68):
            number += 1
            out = np.array([d, sign * c])
            start = middle + part * length * np.array([-c, sign * d]) + out * leg.width / 2
            path = _onward(room, start, out, f"finger {number}")
            braces.append(straight_brace(f"finger {number}", wood, path, finger))
    across = _through(room, np.array([neck_side, 0.0]), (0.0, 1.0), "transverse")
    braces.append(straight_brace("transverse", wood, across, transverse))
    return tuple(braces)


def ladder(
    outline: Outline,
    hole: Hole | None,
    wood: str,
    *,
    n_lower: int = 3,
    positions: Sequence[float] | None = None,
    bar: Bar | None = None,
    clearance: float | None = None,
) -> tuple[Brace, ...]:
    """Bars across the top: one on either side of the hole and more in the lower bout.

    Parameters
    ----------
    outline : Outline
    hole : Hole or None
    wood : str
    n_lower : int
        Bars between the tail end and the one beside the hole.
    positions : sequence of float or None, m
        Distances of all bars from the tail end, instead of the usual places.
    bar : Bar or None
    clearance : float or None, m
        Distance of the ends from the rim. None: 6 mm, scaled.

    Returns
    -------
    braces : tuple of Brace
        "bar 1", ... from the tail end on.

    Raises
    ------
    DesignError
        If a bar has no room.
    """
    s = outline.length / USUAL_LENGTH
    bar = bar or LADDER_BAR.scaled(s)
    room = _room(outline, clearance, s)
    if positions is None:
        tail_side, neck_side = _beside_hole(outline, hole, 20 * MM * s)
        tail_end = float(outline.points[:, 0].min())
        gap = (tail_side - tail_end) / (n_lower + 1)
        positions = [tail_end + (k + 1) * gap for k in range(n_lower)] + [tail_side, neck_side]
    return tuple(
        straight_brace(f"bar {k}", wood, _through(room, np.array([x, 0.0]), (0.0, 1.0), f"bar {k}"), bar)
        for k, x in enumerate(sorted(positions), start=1)
    )


def fan(
    outline: Outline,
    hole: Hole | None,
    wood: str,
    *,
    n_struts: int = 7,
    spacing: float | None = None,
    spaced_at: float | None = None,
    focus_at: float | None = None,
    strut: Bar | None = None,
    closing_bar: Bar | None = None,
    harmonic_bar: Bar | None = None,
    clearance: float | None = None,
) -> tuple[Brace, ...]:
    """Struts that fan out towards the tail, closed by two bars, with a harmonic bar on either side of the hole.

    Parameters
    ----------
    outline : Outline
    hole : Hole or None
    wood : str
    n_struts : int
    spacing, spaced_at : float or None, m
        Distance of neighbouring struts, at that distance from the tail end. None: 27 mm, scaled, at 0.3 of the
        body's length.
    focus_at : float or None, m
        Where the struts' lines meet on the centreline. None: the body's neck end.
    strut, closing_bar, harmonic_bar : Bar or None
    clearance : float or None, m
        Distance of the ends from the rim and from other braces. None: 6 mm, scaled.

    Returns
    -------
    braces : tuple of Brace
        "fan 1", ... from negative y to positive, "closing 1", "closing 2", "lower bar", "upper bar".

    Raises
    ------
    DesignError
        If a brace has no room.
    """
    s = outline.length / USUAL_LENGTH
    strut, closing_bar, harmonic_bar = (
        given or usual.scaled(s)
        for given, usual in ((strut, STRUT), (closing_bar, CLOSING_BAR), (harmonic_bar, HARMONIC_BAR))
    )
    room = _room(outline, clearance, s)
    tail_end, neck_end = float(outline.points[:, 0].min()), float(outline.points[:, 0].max())
    tail_side, neck_side = _beside_hole(outline, hole, 18 * MM * s)
    spacing = 27 * MM * s if spacing is None else spacing
    spaced_at = tail_end + 0.3 * outline.length if spaced_at is None else spaced_at
    focus = np.array([neck_end if focus_at is None else focus_at, 0.0])
    closing = []
    for k, sign in ((1, -1.0), (2, 1.0)):
        start = np.array([tail_end + 0.09 * outline.length, sign * 5 * MM * s])
        path = _onward(room, start, (0.42, sign * 0.91), f"closing {k}")
        closing.append(straight_brace(f"closing {k}", wood, path, closing_bar))
    bars = [
        straight_brace(name, wood, _through(room, np.array([x, 0.0]), (0.0, 1.0), name), harmonic_bar)
        for name, x in (("lower bar", tail_side), ("upper bar", neck_side))
    ]
    gap = 6 * MM * s if clearance is None else max(clearance, 1 * MM)
    free = _beside(room, [*closing, *bars], strut.width / 2 + gap / 2)
    struts = []
    for k in range(n_struts):
        point = np.array([spaced_at, spacing * (k - (n_struts - 1) / 2)])
        path = _through(free, point, focus - point, f"fan {k + 1}")
        struts.append(straight_brace(f"fan {k + 1}", wood, path, strut))
    return (*struts, *closing, *bars)


def lattice(
    outline: Outline,
    hole: Hole | None,
    wood: str,
    *,
    spacing: float | None = None,
    half_angle: float = 45 * DEGREE,
    bar: Bar | None = None,
    transverse: Bar | None = None,
    clearance: float | None = None,
) -> tuple[Brace, ...]:
    """Two families of small bars crossing in the lower bout, and a transverse brace on either side of the hole.

    Parameters
    ----------
    outline : Outline
    hole : Hole or None
    wood : str
    spacing : float or None, m
        Distance of neighbouring parallel bars. None: 42 mm, scaled.
    half_angle : float, rad
        Between the centreline and either family.
    bar, transverse : Bar or None
    clearance : float or None, m
        Distance of the ends from the rim and from the transverse brace. None: 6 mm, scaled.

    Returns
    -------
    braces : tuple of Brace
        "a1", ..., "b1", ..., "lower transverse", "upper transverse".

    Raises
    ------
    DesignError
        If the spacing is less than three widths, or a brace has no room.
    """
    s = outline.length / USUAL_LENGTH
    bar, transverse = bar or LATTICE_BAR.scaled(s), transverse or TRANSVERSE.scaled(s)
    spacing = 42 * MM * s if spacing is None else spacing
    if not spacing >= 3 * bar.width:
        message = (
            f"lattice spacing {1e3 * spacing:g} mm; must be at least three widths of a bar, {3e3 * bar.width:.1f} mm"
        )
        raise DesignError(message)
    room = _room(outline, clearance, s)
    tail_side, neck_side = _beside_hole(outline, hole, 20 * MM * s)
    across = [
        straight_brace(name, wood, _through(room, np.array([x, 0.0]), (0.0, 1.0), name), transverse)
        for name, x in (("lower transverse", tail_side), ("upper transverse", neck_side))
    ]
    gap = 6 * MM * s if clearance is None else max(clearance, 1 * MM)
    x0, y0, _, y1 = outline.polygon.bounds
    free = _beside(room, across, bar.width / 2 + gap / 2).intersection(shapely.box(x0, y0, tail_side, y1))
    middle = np.array([(x0 + tail_side) / 2, 0.0])
    shortest = 2 * spacing
    braces = []
    for family, sign in (("a", 1.0), ("b", -1.0)):
        along = np.array([np.cos(half_angle), sign * np.sin(half_angle)])
        side = np.array([-along[1], along[0]]) * sign
        paths = []
        reach = int(np.ceil(outline.length / spacing))
        for k in range(-reach, reach + 1):
            # Half a spacing off the middle, so that no two bars' ends meet on the centreline of the transverse brace.
            line = _line(middle + (k + 0.5) * spacing * side, along, outline.length)
            parts = [part for part in shapely.get_parts(line.intersection(free)) if part.length >= shortest]
            paths += [_ends(part, along) for part in parts]
        braces += [straight_brace(f"{family}{n}", wood, path, bar) for n, path in enumerate(paths, start=1)]
    if not braces:
        message = "lattice: no bar has room between the tail end and the lower transverse brace"
        raise DesignError(message)
    return (*braces, *across)


def _room(outline: Outline, clearance: float | None, s: float) -> shapely.Geometry:
    """Where centrelines may run."""
    room = outline.polygon.buffer(-(6 * MM * s if clearance is None else clearance))
    if room.is_empty:
        message = f"clearance {1e3 * (clearance or 0):g} mm leaves no room for braces; must be less than half the top"
        raise DesignError(message)
    return room


def _beside_hole(outline: Outline, hole: Hole | None, gap: float) -> tuple[float, float]:
    """Places on the centreline on the tail side and on the neck side of the hole, `gap` from it."""
    if hole is None:
        x0 = float(outline.points[:, 0].min())
        return x0 + 0.56 * outline.length, x0 + 0.84 * outline.length
    x = hole.outline().points[:, 0]
    return float(x.min()) - gap, float(x.max()) + gap


def _beside(room: shapely.Geometry, braces: Sequence[Brace], gap: float) -> shapely.Geometry:
    faces = [brace_footprint(brace).buffer(gap, join_style="mitre") for brace in braces]
    return room.difference(shapely.union_all(faces))


def _parts(n: int, first: float, last: float) -> list[float]:
    return [float(v) for v in np.linspace(first, last, n)] if n > 1 else [first] * n


def _line(point: Array, direction: object, reach: float) -> shapely.LineString:
    d = np.asarray(direction, dtype=float)
    d = d / np.hypot(*d)
    return shapely.LineString([point - reach * d, point + reach * d])


def _through(room: shapely.Geometry, point: Array, direction: object, name: str) -> Array:
    """Both ends, (2, 2), of the straight piece through a point that has room."""
    x0, y0, x1, y1 = room.bounds
    line = _line(point, direction, 2 * float(np.hypot(x1 - x0, y1 - y0)))
    parts = [p for p in shapely.get_parts(line.intersection(room)) if p.distance(shapely.Point(point)) < 1e-9]
    if not parts or not parts[0].length > 0:
        message = f'brace "{name}": no room for it through [{1e3 * point[0]:.1f}, {1e3 * point[1]:.1f}] mm'
        raise DesignError(message)
    return _ends(parts[0], direction)


def _ends(piece: shapely.LineString, direction: object) -> Array:
    """Both ends, (2, 2), of a straight piece in the order of a direction."""
    ends = np.asarray(shapely.get_coordinates(piece)[[0, -1]])
    return ends if (ends[1] - ends[0]) @ np.asarray(direction) > 0 else ends[::-1]


def _onward(room: shapely.Geometry, start: Array, direction: object, name: str) -> Array:
    """Both ends, (2, 2), of the straight piece from a start that has room."""
    path = _through(room, start, direction, name)
    return np.array([start, path[1]])
