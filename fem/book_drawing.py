"""Drawings of the instrument's book: the plan with its sizes, the braces from the side, measured thicknesses.

Depends on fem/sheet, fem/template_marks, fem/template_plan, fem/template_sides, geometry.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from bracedtop.fem.book_data import Figure
from bracedtop.fem.sheet import Fill, Item, Line, Sheet, Words, sheet_svg
from bracedtop.fem.template_marks import Room, millimetres, station_places
from bracedtop.fem.template_plan import on_plan
from bracedtop.fem.template_sides import profile
from bracedtop.geometry.design import Design
from bracedtop.geometry.units import MM

_AROUND = 42.0
"""Room for the sizes around a plan, mm of the top."""

_WORD, _SMALL = 7.0, 5.5
"""Sizes of letters, mm of the top: the plan is printed at about 2 to 5."""

_MOST_FIGURES = 250
"""Measured thicknesses that are written into their map; more are thinned out evenly, and all are in the CSV file."""


def plan_figure(design: Design, name: str, *, view: str = "from the inside, neck up") -> Figure:
    """The plan with the outline's sizes; braces carry the numbers that their tables have."""
    outline = on_plan(design.outline.points)
    left, bottom = outline.min(axis=0)
    right, top = outline.max(axis=0)
    shift = np.array([_AROUND - left, _AROUND - bottom])
    items: list[Item] = [Line(outline, 0.7, closed=True)]
    items += [Line(on_plan(hole.outline().points), 0.7, closed=True) for hole in design.holes]
    for patch in design.patches:
        items.append(Line(_border(patch.polygon), 0.35, (3.0, 2.0), closed=True, grey=0.35))
    strips = [
        shapely.LineString(b.path).buffer(b.width / 2, cap_style="flat", join_style="mitre") for b in design.braces
    ]
    for strip in strips:
        items += [Fill(_border(strip), 0.88), Line(_border(strip), 0.45, closed=True)]
    room = Room([shapely.Polygon(_border(strip)) for strip in strips])
    for number, brace in enumerate(design.braces, start=1):
        words = room.put(_beside(brace.path, brace.width, str(number)))
        items += [words] if words else []
        start = on_plan(brace.path[:1])[0]
        items.append(Fill(_disc(start, 2.2), 0.0))
    sizes = _sizes(design, outline)
    room.taken += [shapely.box(*item.box) for item in sizes if isinstance(item, Words)]
    for patch in design.patches:
        x, y = on_plan(np.array([patch.polygon.centroid.coords[0]]))[0]
        places = [Words(x, y + d, patch.name, _SMALL, align="centre", grey=0.35) for d in (0, 7, -7, 14, -14, 21, -21)]
        words = room.put(places)
        items += [words] if words else []
    items += sizes
    shifted = [_shifted(item, shift) for item in items]
    width, height = right - left + 2 * _AROUND, top - bottom + 2 * _AROUND
    svg = sheet_svg(Sheet(width, height, f"{name}, {view}", tuple(shifted)))
    caption = (
        f"{name}, {view}. Sizes in mm; the dot is where a brace's distances begin; numbers are those of the tables."
    )
    return Figure(svg, caption, caption, is_wide=True)


def sides_figure(drawn: Design, built: Design) -> Figure | None:
    """Braces from the side, the glued face down: as built, and dashed as drawn; heights in mm. None without braces."""
    if not built.braces:
        return None
    longest = max(brace.length for brace in built.braces) / MM
    items: list[Item] = []
    y = 10.0
    for number, brace in reversed(list(enumerate(built.braces, start=1))):
        first = drawn.brace(brace.name)
        base = np.array([10.0, y + 14.0])
        highest = float(first.stations[:, 1].max()) / MM
        if first is not brace:
            items.append(Line(profile(first) + base, 0.3, (3.0, 2.0)))
        side = profile(brace)
        items.append(Line(np.vstack([[0.0, 0.0], side, [side[-1, 0], 0.0], [0.0, 0.0]]) + base, 0.6))
        room = Room()
        for s, _ in sorted(station_places(brace, ()), key=lambda place: not place[1]):
            h = float(brace.height(np.array(s * MM))) / MM
            items.append(Line(np.array([[s, 0.0], [s, -2.5]]) + base, 0.3))
            at = room.put([Words(base[0] + s, base[1] - 6.0, millimetres(s), 4.5, align="centre")])
            if at is not None:
                items += [at, replace(at, y=base[1] - 11.0, text=f"{h:.1f}", grey=0.3)]
        items.append(Words(base[0], base[1] + highest + 5.0, f"{number}  {brace.name}", 6.0, bold=True))
        y += 14.0 + highest + 14.0
    svg = sheet_svg(Sheet(longest + 30.0, y + 4.0, "Braces from the side", tuple(items)))
    caption = (
        "Braces from the side, glued face down; solid as built, dashed as drawn. Under each: distance along it and, in "
        "grey, its height as built, mm."
    )
    return Figure(svg, caption, caption, is_wide=True)


def thickness_figure(design: Design) -> Figure | None:
    """Measured thicknesses on the plan, mm; None if none were measured."""
    grid = design.plate.grid
    if grid is None:
        return None
    points = grid.points[:: max(1, -(-len(grid.points) // _MOST_FIGURES))]
    outline = on_plan(design.outline.points)
    shift = np.array([10.0, 10.0]) - outline.min(axis=0)
    places = on_plan(points[:, :2]) + shift
    items: list[Item] = [Line(outline + shift, 0.7, closed=True)]
    items += [Line(on_plan(hole.outline().points) + shift, 0.7, closed=True) for hole in design.holes]
    figures = zip(places, points[:, 2] / MM, strict=True)
    items += [Words(float(x), float(y), f"{h:.2f}", 5.0, align="centre") for (x, y), h in figures]
    width, height = np.ptp(outline, axis=0) + 20.0
    words = "Thickness of the top as measured, mm, seen from the inside with the neck up."
    return Figure(sheet_svg(Sheet(float(width), float(height), words, tuple(items))), words, words, is_wide=True)


def widths(outline: np.ndarray) -> list[tuple[float, float, str]]:
    """Widest and narrowest places of an outline on the plan: height y, width, and what it is; ends are left out."""
    polygon = shapely.Polygon(outline)
    left, bottom, right, top = polygon.bounds
    ys = np.linspace(bottom, top, 402)[1:-1]
    chords = shapely.intersection(polygon, shapely.linestrings([[[left - 1, y], [right + 1, y]] for y in ys]))
    w = shapely.length(chords)
    found = []
    for k in range(1, len(w) - 1):
        if w[k] > w[k - 1] and w[k] >= w[k + 1]:
            found.append((float(ys[k]), float(w[k]), "widest"))
        elif w[k] < w[k - 1] and w[k] <= w[k + 1]:
            found.append((float(ys[k]), float(w[k]), "narrowest"))
    return found or [(float(ys[int(w.argmax())]), float(w.max()), "widest")]


def _sizes(design: Design, outline: np.ndarray) -> list[Item]:
    """Length of the outline on its left, its widths across it, diameters of round holes."""
    left, bottom = outline.min(axis=0)
    right, top = outline.max(axis=0)
    x = left - 14.0
    items: list[Item] = _arrow((x, bottom), (x, top))
    items.append(Words(x, top + 8.0, f"{top - bottom:.1f}", _WORD, align="centre"))
    for y, width, _ in widths(outline):
        polygon = shapely.Polygon(outline)
        chord = polygon.intersection(shapely.LineString([(left - 1, y), (right + 1, y)]))
        x1 = chord.bounds[2]
        items.append(Line(np.array([[chord.bounds[0], y], [right + 4.0, y]]), 0.2, (1.0, 3.0), grey=0.4))
        items.append(Words(max(x1, right) + 5.0, y + 4.5, f"{width:.1f}", _WORD))
        items.append(Words(max(x1, right) + 5.0, y - 3.5, f"at {y - bottom:.0f}", _SMALL, grey=0.3))
    for hole in design.holes:
        border = on_plan(hole.outline().points)
        (hx, hy), size = (border.min(axis=0) + border.max(axis=0)) / 2, np.ptp(border, axis=0)
        text = f"⌀ {size[0]:.1f}" if abs(size[0] - size[1]) < 0.2 else f"{size[0]:.1f} × {size[1]:.1f}"
        items.append(Words(float(hx), float(hy) + 4.5, text, _WORD, align="centre"))
        items.append(Words(float(hx), float(hy) - 4.0, f"at {hy - bottom:.0f}", _SMALL, align="centre", grey=0.3))
    return items


def _arrow(start: Sequence[float], stop: Sequence[float]) -> list[Item]:
    a, b = np.asarray(start, dtype=float), np.asarray(stop, dtype=float)
    along = (b - a) / np.hypot(*(b - a))
    across = 3.0 * np.array([-along[1], along[0]])
    return [Line(np.array([a, b]), 0.35), *(Line(np.array([p - across, p + across]), 0.35) for p in (a, b))]


def _beside(path: np.ndarray, width: float, text: str) -> list[Words]:
    line = shapely.LineString(on_plan(path))
    found = []
    for part in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8):
        at = np.array(line.interpolate(part, normalized=True).coords[0])
        ahead = np.array(line.interpolate(min(part + 0.01, 1.0), normalized=True).coords[0])
        along = (ahead - at) / np.hypot(*(ahead - at))
        for side in (1, -1):
            x, y = at + side * (width / MM / 2 + 5.5) * np.array([-along[1], along[0]])
            found.append(Words(float(x), float(y), text, _WORD, bold=True, align="centre"))
    return found


def _border(polygon: shapely.Polygon) -> np.ndarray:
    return on_plan(np.asarray(polygon.exterior.coords)[:-1])


def _disc(centre: np.ndarray, radius: float) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    return centre + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def _shifted(item: Item, shift: np.ndarray) -> Item:
    if isinstance(item, Words):
        return replace(item, x=item.x + float(shift[0]), y=item.y + float(shift[1]))
    return replace(item, points=item.points + shift)
