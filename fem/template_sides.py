"""The braces of a template from the side, at full size: as they are, as they should be, and what comes off.

Depends on fem/sheet, fem/template_marks, geometry.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

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
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.design import Design
from bracedtop.geometry.units import MM

OVERLAP = 12.0
"""Of the pieces of a brace that is longer than a sheet, mm."""

_BELOW, _ABOVE, _BETWEEN = 9.5, 15.0, 4.0
"""Room under a brace's glued face for stations and heights, above it for depths and its name, and between rows, mm."""

_BIG = 6.0
_SHADE = 0.78


@dataclass(frozen=True, slots=True)
class Row:
    """A piece of a brace from the side: `start` to `stop` along it, mm, and the height that it takes on paper."""

    before: Brace
    after: Brace
    cuts: tuple[Cut, ...]
    start: float
    stop: float
    is_part: bool

    @property
    def height(self) -> float:
        """Of the row, mm."""
        return _BELOW + float(self.before.stations[:, 1].max()) / MM + _ABOVE


def side_sheets(
    cuts: Sequence[Cut], design: Design, after: Design, paper: tuple[float, float], margin: float, foot: float
) -> list[Sheet]:
    """Sheets of the braces' sides, without their feet; those that are cut come first.

    Parameters
    ----------
    cuts : sequence of Cut
    design, after : Design
        Before and after these cuts.
    paper : (float, float), mm
        Upright; it is laid on its side.
    margin, foot : float, mm
    """
    width, height = paper[1], paper[0]
    room, top = width - 2 * margin, height - margin
    rows: list[Row] = []
    order = sorted(design.braces, key=lambda brace: not any(cut.part == brace.name for cut in cuts))
    for brace in order:
        own = tuple(cut for cut in cuts if cut.part == brace.name)
        pieces = _pieces(brace.length / MM, room - 8.0)
        rows += [Row(brace, after.brace(brace.name), own, a, b, len(pieces) > 1) for a, b in pieces]
    sheets: list[Sheet] = []
    items: list[Item] = []
    y = top
    for row in rows:
        if items and y - row.height < margin + foot:
            sheets.append(_sheet(width, height, items))
            items, y = [], top
        items += _side(row, margin + 4.0, y - row.height + _BELOW)
        y -= row.height + _BETWEEN
    return [*sheets, _sheet(width, height, items)] if items else sheets


def _sheet(width: float, height: float, items: Sequence[Item]) -> Sheet:
    return Sheet(width, height, "braces from the side, glued face down", tuple(items))


def _pieces(length: float, room: float) -> list[tuple[float, float]]:
    if length <= room:
        return [(0.0, length)]
    step = room - OVERLAP
    n = int(np.ceil((length - OVERLAP) / step - 1e-9))
    # Pieces of one length, so that the last one is not a stub.
    size = (length - OVERLAP) / n + OVERLAP
    return [(k * (size - OVERLAP), k * (size - OVERLAP) + size) for k in range(n)]


def profile(brace: Brace) -> np.ndarray:
    """Border of a brace's side, (n, 2) in mm: distance along it and height."""
    s = np.concatenate([[0.0], brace.stations[:, 0], [brace.length]])
    h = np.concatenate([brace.stations[:1, 1], brace.stations[:, 1], brace.stations[-1:, 1]])
    return np.column_stack([s, h]) / MM


def _side(row: Row, left: float, base: float) -> list[Item]:
    """One row: `left` and `base` are the paper's place of its start on the glued face, mm."""
    before, after = profile(row.before), profile(row.after)
    shift = np.array([left - row.start, base])
    window = shapely.box(row.start, -1.0, row.stop, 1000.0)
    shapes: list[Line | Fill] = []
    if row.cuts:
        taken = _under(before).difference(_under(after).buffer(1e-6)).intersection(window)
        pieces = [p for p in getattr(taken, "geoms", [taken]) if p.geom_type == "Polygon" and not p.is_empty]
        shapes += [Fill(np.asarray(p.exterior.coords)[:-1], _SHADE, "cut") for p in pieces]
        shapes += clipped(Line(before, 0.2, (2.0, 1.2), role="before"), window)
    shapes += clipped(Line(after, 0.45, role="after"), window)
    shapes.append(Line(np.array([[row.start, 0.0], [row.stop, 0.0]]), 0.45))
    for s in (row.start, row.stop):
        h = float(row.after.height(np.array(min(max(s * MM, 0.0), row.after.length)))) / MM
        shapes.append(Line(np.array([[s, 0.0], [s, h]]), 0.2, (1.0, 1.0) if 0 < s < row.before.length / MM else None))
    places = [(s, sure) for s, sure in station_places(row.before, row.cuts) if row.start - 1e-6 <= s <= row.stop + 1e-6]
    shapes += [Line(np.array([[s, -2.2], [s, 0.0]]), STATION_WIDTH, role=STATION) for s, _ in places]
    placed: list[Item] = [replace(shape, points=shape.points + shift) for shape in shapes]
    return [*placed, *_lettering(row, places, left - row.start, base)]


def _lettering(row: Row, places: Sequence[tuple[float, bool]], x0: float, base: float) -> list[Words]:
    room = Room()
    found: list[Words | None] = []
    top = base + float(row.before.stations[:, 1].max()) / MM
    for one in depths_shown(row.before, row.cuts, row.start, row.stop):
        y = base + float(row.before.height(np.array(one.at * MM))) / MM + 1.2 + _BIG / 2
        words = [Words(x0 + s, y, one.text, _BIG, bold=True, align="centre") for s in one.places]
        found.append(room.put([*words, replace(words[0], y=y + _BIG)]))
    for s, _ in sorted(places, key=lambda place: not place[1]):
        found.append(room.put([Words(x0 + s, base - 4.0, millimetres(s), 2.6, align="centre")]))
    for s, _ in sorted(places, key=lambda place: not place[1]):
        found.append(room.put([Words(x0 + s, base - 7.2, _heights(row, s), 2.2, align="centre", grey=0.3)]))
    wood = f"{row.before.wood}, {millimetres(row.before.width / MM)} wide"
    part = f", {row.start:.0f} to {row.stop:.0f} of {row.before.length / MM:.0f} mm" if row.is_part else ""
    head = f"{row.before.name}{'' if row.cuts else ' (leave)'}{part}"
    name = Words(x0 + row.start, top + _BIG + 5.5, head, 3.6, bold=True)
    return [w for w in found if w is not None] + [name, Words(name.box[2] + 4, name.y, wood, 2.7, grey=0.3)]


def _heights(row: Row, s: float) -> str:
    at = np.array(min(max(s * MM, 0.0), row.before.length))
    now = float(row.before.height(at)) / MM
    # At an end of a cut there is a step: what counts is the side that was cut.
    then = float(min(row.after.height(at), row.after.height_before(at))) / MM
    return f"{now:.1f}" if abs(now - then) < 0.05 else f"{now:.1f} → {then:.1f}"


def _under(border: np.ndarray) -> shapely.Polygon:
    """The area between a side's border and the glued face."""
    polygon = shapely.Polygon([*border, (border[-1, 0], 0.0), (border[0, 0], 0.0)])
    return polygon if polygon.is_valid else polygon.buffer(0)
