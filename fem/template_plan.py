"""The plan of a template: the top at full size, seen from the inside with the neck up, tiled over sheets.

Depends on fem/sheet, fem/template_marks, geometry.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.ops

from bracedtop.fem.sheet import Fill, Item, Line, Sheet, Words
from bracedtop.fem.template_marks import (
    STATION,
    STATION_WIDTH,
    Room,
    clipped,
    depths_shown,
    millimetres,
    station_places,
)
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.cut import EDGE_RING, Cut, placed
from bracedtop.geometry.design import Design
from bracedtop.geometry.units import MM

OUTLINE = "outline"
"""Role of the outline's lines."""

OVERLAP = 12.0
"""Of neighbouring sheets, mm; chosen: room for glue or tape, and no more."""

AROUND = 1.0
"""Left free around the outline, mm."""

_SHADE, _RING_SHADE = 0.78, 0.9
_BIG, _NAME, _STATION = 5.0, 3.0, 2.3
"""Sizes of words, mm."""


@dataclass(frozen=True, slots=True)
class Tile:
    """A sheet's part of the plan: column and row, and its window (left, bottom, right, top), mm in the plan."""

    column: int
    row: int
    window: tuple[float, float, float, float]


def on_plan(points: np.ndarray) -> np.ndarray:
    """Points (n, 2) of the top, m, as the plan has them, mm: y to the right, x up."""
    return np.asarray(points)[:, ::-1] / MM


def tiles(bounds: tuple[float, float, float, float], width: float, height: float) -> list[Tile]:
    """Windows of `width` by `height` mm over a rectangle, with `OVERLAP` where there are more than one."""
    xs = _starts(bounds[0], bounds[2], width)
    ys = _starts(bounds[1], bounds[3], height)
    return [
        Tile(i, j, (x, y, x + width, y + height)) for j, y in reversed(list(enumerate(ys))) for i, x in enumerate(xs)
    ]


def plan_sheets(
    cuts: Sequence[Cut], design: Design, paper: tuple[float, float], margin: float, foot: float
) -> list[Sheet]:
    """Sheets of the plan, without their feet.

    Parameters
    ----------
    cuts : sequence of Cut
    design : Design
        The top before these cuts.
    paper : (float, float), mm
        Upright; it is turned if that takes fewer sheets.
    margin, foot : float, mm
    """
    outline = shapely.Polygon(on_plan(design.outline.points))
    left, bottom, right, top = outline.bounds
    bounds = (left - AROUND, bottom - AROUND, right + AROUND, top + AROUND)
    choices = []
    for width, height in (paper, paper[::-1]):
        found = tiles(bounds, width - 2 * margin, height - 2 * margin - foot)
        used = [tile for tile in found if outline.intersects(shapely.box(*tile.window))]
        choices.append((len(used), width, height, used))
    _, width, height, used = min(choices, key=lambda choice: choice[0])
    shapes, words = _drawing(cuts, design)
    homes = [_home(w, used) for w in words]
    offset = np.array([margin, margin + foot])
    sheets = []
    for k, tile in enumerate(used):
        window = shapely.box(*tile.window)
        shift = offset - np.array(tile.window[:2])
        items: list[Item] = []
        for shape in shapes:
            items += _placed(shape, window, shift)
        items += _seams(tile, used, shift)
        items += [_moved(w, tile, shift) for w, home in zip(words, homes, strict=True) if k in home]
        where = f"top from the inside, neck up; part {k + 1} of {len(used)}" if len(used) > 1 else "top from the inside"
        sheets.append(Sheet(width, height, where, tuple(items)))
    return sheets


def _starts(low: float, high: float, size: float) -> list[float]:
    if high - low <= size:
        return [(low + high - size) / 2]
    step = size - OVERLAP
    n = math.ceil((high - low - OVERLAP) / step - 1e-9)
    first = (low + high - (n * step + OVERLAP)) / 2
    return [first + k * step for k in range(n)]


def _drawing(cuts: Sequence[Cut], design: Design) -> tuple[list[Line | Fill], list[Words]]:
    """The whole plan in mm: what is drawn, and the words on it."""
    shapes: list[Line | Fill] = []
    notes: list[Words] = []
    outline = on_plan(design.outline.points)
    ring = [cut for cut in cuts if cut.is_ring]
    if ring:
        shapes += _ring(design)
    shapes.append(Line(outline, 0.4, (4.0, 2.0), closed=True, role=OUTLINE))
    shapes += [Line(on_plan(hole.outline().points), 0.3, (3.0, 1.5), closed=True) for hole in design.holes]
    shapes += [
        Line(on_plan(_border(patch.polygon)), 0.15, (1.0, 1.0), closed=True, grey=0.4) for patch in design.patches
    ]
    own = {brace.name: [cut for cut in cuts if cut.part == brace.name] for brace in design.braces}
    for brace in design.braces:
        shapes += _shaded(brace, own[brace.name])
    strips = [shapely.Polygon(on_plan(_border(_strip(brace, 0.0, brace.length)))) for brace in design.braces]
    for brace, strip in zip(design.braces, strips, strict=True):
        shapes.append(Line(np.asarray(strip.exterior.coords)[:-1], 0.3, closed=True))
        shapes += [_tick(brace, s, 1.0) for s, _ in station_places(brace, own[brace.name])]
    room = Room([strip.buffer(-0.3) for strip in strips])
    for brace in design.braces:
        notes += _found(room, _depth_words(brace, own[brace.name]))
    if ring:
        text = f"{EDGE_RING}: {sum(cut.depth_start for cut in ring) / MM:.1f} off the outside, all round"
        x, y = outline[:, 0].mean(), outline[:, 1].min() + 8
        notes += _found(room, [[Words(x, y + d, text, 4.0, bold=True, align="centre") for d in (0, 6, 12, 18)]])
    for brace in design.braces:
        notes += _found(room, [_name_places(brace)])
    for sure in (True, False):
        for brace in design.braces:
            places = [s for s, is_end in station_places(brace, own[brace.name]) if is_end == sure]
            notes += _found(room, [_station_words(brace, s) for s in places])
    return shapes, notes


def _ring(design: Design) -> list[Line | Fill]:
    """The edge ring: its inner border, and light hatching across it."""
    polygon = shapely.Polygon(on_plan(design.outline.points))
    inner = polygon.buffer(-design.plate.ring_width / MM, quad_segs=32)
    lines: list[Line | Fill] = []
    ring = polygon.difference(inner)
    left, bottom, right, top = polygon.bounds
    for c in np.arange(bottom - right, top - left, 6.0):
        hatch = Line(np.array([[left, left + c], [right, right + c]]), 0.15, grey=0.6)
        lines += clipped(hatch, ring)
    borders = [p.exterior for p in getattr(inner, "geoms", [inner]) if not p.is_empty]
    lines += [Line(np.asarray(border.coords)[:-1], 0.2, (1.5, 1.0), closed=True) for border in borders]
    return lines


def _border(polygon: shapely.Polygon) -> np.ndarray:
    return np.asarray(polygon.exterior.coords)[:-1]


def _strip(brace: Brace, start: float, stop: float) -> shapely.Polygon:
    piece = shapely.ops.substring(shapely.LineString(brace.path), start, stop)
    return piece.buffer(brace.width / 2, cap_style="flat", join_style="mitre")


def _shaded(brace: Brace, cuts: Sequence[Cut]) -> list[Line | Fill]:
    own = [placed(brace, cut) for cut in cuts]
    return [Fill(on_plan(_border(_strip(brace, cut.start, cut.stop))), _SHADE, "cut") for cut in own]


def _frame(brace: Brace, s: float) -> tuple[np.ndarray, np.ndarray]:
    """Place at `s` mm along a brace in the plan, and the unit vector along it."""
    point, tangent = brace.position(np.array([s * MM]))
    return on_plan(point)[0], tangent[0, ::-1]


def _tick(brace: Brace, s: float, beyond: float) -> Line:
    at, along = _frame(brace, s)
    across = np.array([-along[1], along[0]]) * (brace.width / MM / 2 + beyond)
    return Line(np.array([at - across, at + across]), STATION_WIDTH, role=STATION)


def _beside(brace: Brace, s: float, text: str, size: float, *, bold: bool = False) -> Iterator[Words]:
    """Places for words on both sides of a brace, farther and farther out."""
    at, along = _frame(brace, s)
    across = np.array([-along[1], along[0]])
    own = Words(0.0, 0.0, text, size, bold, "centre")
    half = np.array([own.box[2], size / 2])
    for out in (1.2, 2.5, 4.5):
        for side in (1, -1):
            direction = side * across
            reach = brace.width / MM / 2 + float(np.abs(direction) @ half) + out
            x, y = at + reach * direction
            yield replace(own, x=float(x), y=float(y))


def _depth_words(brace: Brace, cuts: Sequence[Cut]) -> list[list[Words]]:
    return [
        [words for at in one.places for words in _beside(brace, at, one.text, _BIG, bold=True)]
        for one in depths_shown(brace, cuts)
    ]


def _name_places(brace: Brace) -> list[Words]:
    length = brace.length / MM
    return [
        w for part in (0.5, 0.35, 0.65, 0.2, 0.8, 0.42, 0.58) for w in _beside(brace, part * length, brace.name, _NAME)
    ]


def _station_words(brace: Brace, s: float) -> list[Words]:
    return list(_beside(brace, s, millimetres(s), _STATION))


def _found(room: Room, wanted: Sequence[Sequence[Words]]) -> list[Words]:
    return [words for places in wanted if (words := room.put(places)) is not None]


_SPILL = 5.0
"""Words may reach this far over a window's border, mm: into the sheet's margin."""


def _home(words: Words, used: Sequence[Tile]) -> set[int]:
    """Sheets that carry some words: all that hold them whole, else the one that holds most."""
    box = shapely.box(*words.box)
    whole = {k for k, tile in enumerate(used) if shapely.box(*tile.window).buffer(_SPILL).covers(box)}
    held = [box.intersection(shapely.box(*tile.window)).area for tile in used]
    near = {k for k in whole if held[k] > 0.3 * box.area}
    return near or {int(np.argmax(held))}


def _moved(words: Words, tile: Tile, shift: np.ndarray) -> Words:
    """Words on a tile's sheet, shifted inwards if they would leave the paper."""
    left, bottom, right, top = words.box
    x0, y0, x1, y1 = tile.window
    dx = max(0.0, x0 - _SPILL - left) - max(0.0, right - x1 - _SPILL)
    dy = max(0.0, y0 - _SPILL - bottom) - max(0.0, top - y1 - _SPILL)
    return replace(words, x=words.x + dx + float(shift[0]), y=words.y + dy + float(shift[1]))


def _placed(shape: Line | Fill, window: shapely.Polygon, shift: np.ndarray) -> list[Item]:
    if isinstance(shape, Line):
        return [replace(piece, points=piece.points + shift) for piece in clipped(shape, window)]
    inside = shapely.intersection(shapely.Polygon(shape.points).buffer(0), window)
    pieces = [p for p in getattr(inside, "geoms", [inside]) if p.geom_type == "Polygon" and not p.is_empty]
    return [replace(shape, points=np.asarray(p.exterior.coords)[:-1] + shift) for p in pieces]


def _seams(tile: Tile, used: Sequence[Tile], shift: np.ndarray) -> list[Item]:
    """Crosses that lie on those of the neighbouring sheets, and which these are."""
    numbers = {(t.column, t.row): k for k, t in enumerate(used, start=1)}
    x0, y0, x1, y1 = tile.window
    half = OVERLAP / 2
    items: list[Item] = []
    for dx, dy in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        other = numbers.get((tile.column + dx, tile.row + dy))
        if other is None:
            continue
        parts = np.array([0.12, 0.5, 0.88])
        if dx:
            x = x0 + half if dx < 0 else x1 - half
            points = np.column_stack([np.full(3, x), y0 + parts * (y1 - y0)])
        else:
            y = y0 + half if dy < 0 else y1 - half
            points = np.column_stack([x0 + parts * (x1 - x0), np.full(3, y)])
        for x, y in points + shift:
            items += [
                Line(np.array([[x - 4, y], [x + 4, y]]), 0.2, role="cross"),
                Line(np.array([[x, y - 4], [x, y + 4]]), 0.2, role="cross"),
            ]
        ends = points[[0, 2]] + shift
        items.append(Line(ends, 0.1, (1.0, 2.0), grey=0.5, role="seam"))
        x, y = points.mean(axis=0) + shift
        if dx:
            words = Words(
                x - 1.5 * dx, y + 8, f"part {other} here", 2.3, align="right" if dx > 0 else "left", grey=0.35
            )
        else:
            words = Words(x + 8, y - 2.2 * dy, f"part {other} here", 2.3, grey=0.35)
        items.append(words)
    return items
