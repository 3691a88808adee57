"""Any drawing whose parts lie on the top gets a triangulation: random layouts, far worse than a maker would draw.

The layouts include braces that nearly coincide, meet at small angles, run through one point, end on each other or on
the rim, and patches that overlap crossings, holes and the rim.
"""

import numpy as np
import pytest
import shapely
import shapely.ops
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import crossings
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.glue import gripping_face
from bracedtop.geometry.mesh import TopMesh, mesh_top
from bracedtop.geometry.mesh_lines import arrange
from bracedtop.geometry.outline import Hole, Outline, body_outline, polygon_outline, rectangle
from bracedtop.geometry.patch import Patch

WOOD = "spruce"
SIZE = 25e-3
TOLERANCE = 0.5e-3


def ellipse(a: float, b: float) -> Outline:
    """Smooth outline."""
    t = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    return Outline(np.column_stack([a * np.cos(t), b * np.sin(t)]), np.zeros(900, dtype=bool))


OUTLINES = (
    body_outline(0.48, 0.38, 0.125, 0.235, 0.29, 0.28, 0.4),
    rectangle([0.0, 0.0], [0.4, 0.3]),
    rectangle([0.1, 0.2], [0.4, 0.3], 0.3),
    ellipse(0.2, 0.15),
    polygon_outline(np.array([[0, 0], [0.3, 0.02], [0.4, 0.2], [0.2, 0.15], [0.05, 0.3]])),
)

unit = st.floats(0.0, 1.0)
near = st.sampled_from([0.0, 2e-4, 4e-4, 6e-4, 1e-3, 3e-3, 8e-3])
sign = st.sampled_from([-1.0, 1.0])


@st.composite
def layouts(draw: st.DrawFn) -> Design:
    """A top with holes, braces and patches anywhere on it."""
    outline = draw(st.sampled_from(OUTLINES))
    x0, y0, x1, y1 = outline.polygon.bounds
    inside = outline.polygon.buffer(-2e-3)

    def point(region: shapely.Polygon) -> np.ndarray:
        xy = np.array([x0 + draw(unit) * (x1 - x0), y0 + draw(unit) * (y1 - y0)])
        nearest = shapely.ops.nearest_points(region, shapely.Point(xy))[0]
        return np.array(nearest.coords[0])

    holes: list[Hole] = []
    for _ in range(draw(st.integers(0, 2))):
        hole = Hole(
            point(inside), np.array([draw(st.floats(0.004, 0.05)), draw(st.floats(0.004, 0.05))]), 3 * draw(unit)
        )
        area = hole.outline().polygon.buffer(4e-3)
        if inside.contains(area) and not any(area.intersects(h.outline().polygon) for h in holes):
            holes.append(hole)
    region = shapely.Polygon(outline.points, [h.outline().points for h in holes])
    room = region.buffer(-1e-3)
    braces: list[Brace] = []
    for k in range(draw(st.integers(0, 7))):
        path = draw_path(draw, braces, region, room, point)
        line = shapely.LineString(path)
        if line.length > 0.03 and region.buffer(1e-6).covers(line):
            stations = np.array([[0.0, 0.012], [line.length, 0.012]])
            braces.append(Brace(f"b{k}", WOOD, path, draw(st.sampled_from([4e-3, 6e-3, 8e-3, 12e-3])), stations))
    patches = []
    for k in range(draw(st.integers(0, 3))):
        border = draw_border(draw, holes, braces, region, point)
        if border.polygon.intersection(region).area > 4e-5:
            patches.append(Patch(f"p{k}", WOOD, border, 2e-3))
    ring = draw(st.sampled_from([0.0, 0.0, 0.008, 0.02]))
    plate = Plate(WOOD, 2.8e-3, ring_width=ring, ring_reduction=0.5e-3 if ring else 0.0)
    return Design(outline, plate, tuple(holes), tuple(braces), tuple(patches))


def draw_path(draw, braces, region, room, point) -> np.ndarray:  # type: ignore[no-untyped-def]
    """A straight path, often related to an earlier brace."""
    kind = draw(st.integers(0, 5)) if braces else 5
    if kind == 5:
        return np.array([point(room), point(region)])
    path = braces[draw(st.integers(0, len(braces) - 1))].path
    along = path[-1] - path[0]
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    start = path[0] + draw(unit) * along
    if kind == 0:  # beside it
        shift = draw(near) * draw(sign) * across
        return np.array([path[0], path[-1]]) + shift + 0.1 * np.outer([draw(unit), -draw(unit)], along)
    if kind == 1:  # at a small angle
        t = np.deg2rad(draw(st.sampled_from([3.0, 15.0, 20.0, 30.0]))) * draw(sign)
        turned = np.array([[np.cos(t), -np.sin(t)], [np.sin(t), np.cos(t)]]) @ along
        return np.array([start - 0.4 * turned, start + 0.4 * turned])
    if kind == 2:  # ends on it, or nearly
        return np.array([start + draw(near) * draw(sign) * across, point(room)])
    middle = (path[0] + path[-1]) / 2
    other = point(room)
    if kind == 3:  # through its middle
        return np.array([other, middle + draw(unit) * (middle - other)])
    rim = np.array(region.exterior.interpolate(draw(unit), normalized=True).coords[0])
    return np.array([start, rim])


def draw_border(draw, holes, braces, region, point) -> Outline:  # type: ignore[no-untyped-def]
    """A patch border anywhere, round a hole, or along a brace."""
    kind = draw(st.integers(0, 3))
    size = np.array([draw(st.floats(0.01, 0.15)), draw(st.floats(0.01, 0.15))])
    if kind == 0 and holes:
        return holes[0].outline(draw(st.sampled_from([90, 360, 500])), draw(st.sampled_from([3e-4, 5e-3, 0.015])))
    if kind == 1 and braces:
        brace = braces[draw(st.integers(0, len(braces) - 1))]
        along = (brace.path[-1] - brace.path[0]) / brace.length
        across = np.array([-along[1], along[0]])
        edge = brace.path[0] + across * (brace.width / 2 + draw(near) * draw(sign))
        return polygon_outline(
            [edge, edge + size[0] * along, edge + size[0] * along + size[1] * across, edge + size[1] * across]
        )
    if kind == 2:
        t = np.linspace(0, 2 * np.pi, 240, endpoint=False)
        circle = np.column_stack([np.cos(t), np.sin(t)]) * size / 2
        return Outline(point(region) + circle, np.zeros(240, dtype=bool))
    return rectangle(point(region), size, draw(st.sampled_from([0.0, 0.4, 1.0])))


def check(design: Design, mesh: TopMesh) -> None:
    """What holds for every triangulation."""
    flat = mesh.flat
    n_holes = len(design.holes)
    assert flat.p.shape[1] - flat.facets.shape[1] + flat.t.shape[1] == 1 - n_holes
    # The border is the rim and the holes and nothing else.
    outer = np.concatenate([flat.boundaries["rim"], *(flat.boundaries[f"hole {k + 1}"] for k in range(n_holes))])
    np.testing.assert_array_equal(np.sort(outer), flat.boundary_facets())
    X = np.array([[1 / 6, 2 / 3, 1 / 6, 0, 1, 0], [1 / 6, 1 / 6, 2 / 3, 0, 0, 1]])
    det = mesh.curved.mapping().detDF(X) / flat.mapping().detDF(np.full((2, 1), 1 / 3))
    assert det.min() > 0
    areas = np.abs(mesh.curved.mapping().detDF(X[:, :3])).mean(axis=1) / 2
    assert areas.sum() == pytest.approx(design.region.area, rel=2e-4)
    drawn = {f"brace {b.name}": gripping_face(b, design) for b in design.braces}
    drawn |= {f"patch {p.name}": p.polygon for p in design.patches}
    for name, polygon in drawn.items():
        part = polygon.intersection(design.region)
        assert areas[flat.subdomains[name]].sum() == pytest.approx(part.area, rel=1e-3, abs=TOLERANCE * part.length)
        assert name.startswith("patch") or len(flat.boundaries[name])
    assert sum(name.startswith("joint") for name in flat.boundaries) == len(
        {(c.under, c.over) for c in crossings(design)}
    )


def meet_elsewhere(arcs: list[Arc]) -> int:
    """Number of pairs of straight arcs that share a point which is no common node."""
    straight = [arc for arc in arcs if arc.is_straight]
    ends = np.array([(arc.start, arc.stop) for arc in straight])
    lines = shapely.linestrings([arc.points for arc in straight])
    i, j = shapely.STRtree(lines).query(lines, predicate="intersects")
    return int((ends[i][:, :, None] != ends[j][:, None, :]).all(axis=(1, 2)).sum())


COMMON = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck)}


@settings(max_examples=25, **COMMON)
@given(layouts())
def test_every_layout_is_meshed(design: Design) -> None:
    check(design, mesh_top(design, SIZE))


@pytest.mark.slow
@settings(max_examples=300, **COMMON)
@given(layouts())
def test_every_layout_is_meshed_long(design: Design) -> None:
    check(design, mesh_top(design, SIZE))


@settings(max_examples=25, **COMMON)
@given(layouts())
def test_lines_meet_in_nodes_only(design: Design) -> None:
    arcs = arrange(design, crossings(design), TOLERANCE)
    if any(arc.is_straight for arc in arcs):
        assert meet_elsewhere(arcs) == 0


@settings(max_examples=8, **COMMON)
@given(st.floats(30, 60), st.floats(0.03, 0.05), st.sampled_from([4e-3, 6e-3]), st.floats(-0.02, 0.02))
def test_lattices(half_angle: float, spacing: float, width: float, shift: float) -> None:
    """Two families of parallel braces from rim to rim, 30 crossings and more."""
    outline = OUTLINES[0]
    room = outline.polygon.buffer(-4e-3)
    braces = []
    for side in (1, -1):
        t = np.deg2rad(half_angle) * side
        along, across = np.array([np.cos(t), np.sin(t)]), np.array([-np.sin(t), np.cos(t)])
        for k in range(-4, 5):
            middle = np.array([0.2 + shift, 0.0]) + k * spacing * across
            for piece in shapely.get_parts(room.intersection(shapely.LineString([middle - along, middle + along]))):
                if piece.length > 0.05:
                    stations = np.array([[0.0, 0.01], [piece.length, 0.01]])
                    braces.append(Brace(f"b{len(braces)}", WOOD, np.array(piece.coords), width, stations))
    design = Design(outline, Plate(WOOD, 2.2e-3), braces=tuple(braces))
    assert len(crossings(design)) >= 30
    mesh = mesh_top(design, SIZE)
    check(design, mesh)
    assert mesh.min_angle > np.deg2rad(0.5)


@settings(max_examples=10, **COMMON)
@given(st.floats(6e-3, 60e-3), st.floats(0.3, 1.0))
def test_any_size_and_grading(size: float, grading: float) -> None:
    brace = Brace("a", WOOD, np.array([[-0.15, -0.1], [0.15, 0.1]]), 8e-3, np.array([[0.0, 0.01], [0.3, 0.01]]))
    mesh = mesh_top(Design(OUTLINES[1], Plate(WOOD, 2.8e-3), braces=(brace,)), size, grading)
    assert mesh.longest_edge < 2 * size
    assert mesh.min_angle > np.deg2rad(5)
