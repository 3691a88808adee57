"""What both views of a template share: marks along a brace, depths in large type, free places for words.

Depends on fem/scene, fem/sheet, geometry.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from bracedtop.fem.sheet import Line, Words
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.cut import Cut, placed
from bracedtop.geometry.units import MM

STATION, STATION_WIDTH = "station", 0.25
"""Role and width of the marks of stations, mm."""

_SAME = 0.05
"""Places along a brace that are nearer than this are one, mm; and depths: half of the last digit shown."""

_APART = 1.0
"""A drawn station this near to an end of the brace or of a cut is not marked beside it, mm."""


@dataclass(frozen=True, slots=True)
class Depth:
    """A depth to write: how deep, mm, and where along the brace, mm; where it is even, the best of several places."""

    depth: float
    places: tuple[float, ...]

    @property
    def at(self) -> float:
        """The best place, mm."""
        return self.places[0]

    @property
    def text(self) -> str:
        """In tenths of a millimetre."""
        return f"{self.depth:.1f}"


@dataclass(slots=True)
class Room:
    """Places that are taken on a drawing, as boxes; grows with the words that are put down."""

    taken: list[shapely.Geometry] = field(default_factory=list)

    def put(self, candidates: Iterable[Words], gap: float = 0.4) -> Words | None:
        """The first of some places for words that is free, and from now on is not; None if none is."""
        for words in candidates:
            frame = shapely.box(*words.box).buffer(gap, join_style="mitre")
            if not any(frame.intersects(other) for other in self.taken):
                self.taken.append(shapely.box(*words.box))
                return words
        return None


def station_places(brace: Brace, cuts: Sequence[Cut]) -> list[tuple[float, bool]]:
    """Places along a brace that are marked, mm, each with whether it is an end of a cut or of the brace."""
    sure = [0.0, brace.length / MM]
    for cut in cuts:
        own = placed(brace, cut)
        sure += [own.start / MM, own.stop / MM]
    found: list[tuple[float, bool]] = []
    for s in sorted(sure):
        if not found or s - found[-1][0] > _SAME:
            found.append((s, True))
    for s in brace.stations[:, 0] / MM:
        if all(abs(s - other) > _APART for other, _ in found):
            found.append((float(s), False))
    return sorted(found)


def depths_shown(brace: Brace, cuts: Sequence[Cut], start: float = 0.0, stop: float = math.inf) -> list[Depth]:
    """Depths to write along a piece of a brace, mm: one amid what is even, one at each end of what is not."""
    found: list[Depth] = []
    runs: list[tuple[float, float, float]] = []
    for cut in sorted((placed(brace, cut) for cut in cuts), key=lambda cut: cut.start):
        a, b = max(cut.start / MM, start), min(cut.stop / MM, stop)
        if a >= b:
            continue
        slope = (cut.depth_stop - cut.depth_start) / (cut.stop - cut.start)
        first, last = (cut.depth_start / MM + slope * (s - cut.start / MM) for s in (a, b))
        if abs(first - last) >= _SAME:
            found += [Depth(first, (a,)), Depth(last, (b,))]
        elif runs and abs(runs[-1][1] - a) < _SAME and abs(runs[-1][2] - first) < _SAME:
            runs[-1] = (runs[-1][0], b, first)
        else:
            runs.append((a, b, first))
    parts = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
    found += [Depth(depth, tuple(a + part * (b - a) for part in parts)) for a, b, depth in runs]
    kept: list[Depth] = []
    for one in sorted(found, key=lambda d: (d.at, d.depth)):
        if not kept or abs(one.at - kept[-1].at) > _SAME or one.text != kept[-1].text:
            kept.append(one)
    return kept


def millimetres(value: float) -> str:
    """A length such as ``120`` or ``87.5``."""
    return f"{value:.1f}".removesuffix(".0")


def clipped(line: Line, window: shapely.Polygon) -> list[Line]:
    """The pieces of a line inside a window."""
    points = np.vstack([line.points, line.points[:1]]) if line.closed else line.points
    inside = shapely.intersection(shapely.LineString(points), window)
    pieces = [p for p in getattr(inside, "geoms", [inside]) if p.geom_type == "LineString" and not p.is_empty]
    return [replace(line, points=np.asarray(p.coords), closed=False) for p in pieces]
