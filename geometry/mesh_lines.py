"""The lines of a drawing that a triangulation has to follow, as an arrangement."""

from collections.abc import Sequence

import numpy as np
import shapely

from bracedtop.geometry.arrangement import Arc, Arrangement
from bracedtop.geometry.chords import KINK, chords, turns
from bracedtop.geometry.design import Design
from bracedtop.geometry.glue import gripping_face
from bracedtop.geometry.layout import Crossing
from bracedtop.geometry.outline import Array, Outline


def joint_name(crossing: Crossing) -> str:
    """Name of a crossing's border in a mesh."""
    return f"joint {crossing.under}|{crossing.over}"


def ring_border(design: Design) -> shapely.Polygon | shapely.MultiPolygon:
    """The area inside the edge ring; the whole outline if there is no ring."""
    return design.outline.polygon.buffer(-design.plate.ring_width, quad_segs=32)


def arrange(design: Design, found: Sequence[Crossing], tolerance: float) -> list[Arc]:
    """All lines of a design as arcs between nodes. Braces count by the borders of their glued faces.

    The order tells who gives way to whom: rim and holes, braces, crossings, patches, thickness regions, edge ring.
    """
    region = design.region
    shapely.prepare(region)
    shore = region.boundary.buffer(0.8 * tolerance)
    shapely.prepare(shore)
    graph = Arrangement(tolerance)
    corners: list[tuple[float, float]] = []
    for name, outline in _closed_curves(design):
        # The rim runs anticlockwise, a hole clockwise: the top lies on the left.
        marks = outline.corners | (turns(outline.points) > KINK)
        corners += [(float(x), float(y)) for x, y in outline.points[marks]]
        turned = slice(None) if name == "rim" else slice(None, None, -1)
        graph.add_closed_curve(outline.points[turned], marks[turned], name)
    for brace in design.braces:
        for part in _inner_border(gripping_face(brace, design), region, shore, tolerance):
            graph.add_line(chords(part, tolerance), f"brace {brace.name}")
    for crossing in found:
        for part in _lines(crossing.polygon.exterior.intersection(region)):
            graph.add_line(chords(part, tolerance), joint_name(crossing))
    for patch in design.patches:
        for part in _inner_border(patch.polygon, region, shore, tolerance):
            graph.add_line(chords(part, tolerance), "patch")
    for own in design.plate.regions:
        for part in _inner_border(own.polygon, region, shore, tolerance):
            graph.add_line(chords(part, tolerance), "region")
    if design.plate.ring_width > tolerance:
        for polygon in shapely.get_parts(ring_border(design)):
            for part in _inner_border(polygon, region, shore, tolerance):
                graph.add_line(chords(part, tolerance), "ring")
    return graph.without_seams(corners)


def _closed_curves(design: Design) -> list[tuple[str, Outline]]:
    curves = [("rim", design.outline)]
    for k, hole in enumerate(design.holes, start=1):
        curves.append((f"hole {k}", hole.outline()))
    return curves


def _lines(geometry: shapely.Geometry) -> list[Array]:
    """The lines of an intersection, joined where they touch end to end."""
    parts = [g for g in shapely.get_parts(geometry) if g.geom_type in ("LineString", "LinearRing")]
    if geometry.geom_type in ("LineString", "LinearRing") and not geometry.is_empty:
        parts = [geometry]
    if len(parts) > 1:
        parts = list(shapely.get_parts(shapely.line_merge(shapely.MultiLineString(parts))))
    return [np.array(g.coords) for g in parts if not g.is_empty]


def _inner_border(
    polygon: shapely.Polygon, region: shapely.Polygon, shore: shapely.Polygon, tolerance: float
) -> list[Array]:
    """The border of an area on the top, without the stretches that run along the rim or a hole.

    `shore` holds what is as good as on the rim or a hole.
    """
    border = polygon.exterior
    if not shapely.contains_properly(region, border):
        border = border.intersection(region)
    elif not shapely.intersects(shore, border):
        return [np.array(border.coords)]
    beside = border.intersection(shore)
    runs = [part for part in map(shapely.LineString, _lines(beside)) if part.length > 6 * tolerance]
    for run in runs:
        border = border.difference(run.buffer(1e-6 * tolerance))
    return _lines(border)
