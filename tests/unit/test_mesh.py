"""Triangulation of tops: against exact geometry, Euler's formula and other libraries that read or make meshes."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import meshio
import numpy as np
import pytest
import pyvista
import shapely
from scipy.spatial import Delaunay
from skfem import MeshTri, MeshTri2

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.chords import chords
from bracedtop.geometry.crossing import crossings
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.glue import grip_ends, gripping_face
from bracedtop.geometry.mesh import TopMesh, mesh_top, write_mesh
from bracedtop.geometry.mesh_names import check_mesh
from bracedtop.geometry.outline import Hole, Outline, body_outline, polygon_outline, rectangle
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.pattern import crossed_x, lattice
from bracedtop.geometry.triangulate import constrained_delaunay

WOOD = "spruce"


def brace(name: str, path: list[list[float]], width: float = 8.0) -> Brace:
    """Brace 15 mm high, path and width in mm."""
    xy = 1e-3 * np.array(path)
    length = float(np.hypot(*np.diff(xy, axis=0).T).sum())
    return Brace(name, WOOD, xy, 1e-3 * width, np.array([[0.0, 15e-3], [length, 15e-3]]))


def box(x: float, y: float) -> Outline:
    """Rectangle from the origin, mm."""
    return polygon_outline(1e-3 * np.array([[0, 0], [x, 0], [x, y], [0, y]]))


def guitar(ring: float = 0.0) -> Design:
    """An invented guitar top of 480 by 380 mm with crossed X, nine braces in all, bridge plate and bridge."""
    outline = body_outline(0.48, 0.38, 0.125, 0.235, 0.29, 0.28, 0.4)
    hole = Hole(np.array([0.335, 0.0]), np.array([0.048, 0.048]))
    patches = (
        Patch("bridge plate", WOOD, rectangle([0.17, 0.0], [0.045, 0.15]), 2.5e-3),
        Patch("bridge", WOOD, rectangle([0.168, 0.0], [0.026, 0.16]), 8e-3, "outside", is_bridge=True),
    )
    plate = Plate(WOOD, 2.8e-3, ring_width=ring, ring_reduction=0.5e-3 if ring else 0.0)
    return Design(outline, plate, (hole,), crossed_x(outline, hole, WOOD), patches)


def disc(radius: float) -> Outline:
    """Circle of 1000 points."""
    t = np.linspace(0, 2 * np.pi, 1000, endpoint=False)
    return Outline(radius * np.column_stack([np.cos(t), np.sin(t)]), np.zeros(1000, dtype=bool))


def face(design: Design, b: Brace) -> shapely.Polygon:
    """Area of the top that a brace's triangles cover."""
    return gripping_face(b, design)


def areas(mesh: MeshTri2) -> np.ndarray:
    """Exact areas of quadratic triangles, (n,)."""
    X = np.array([[1 / 6, 2 / 3, 1 / 6], [1 / 6, 1 / 6, 2 / 3]])
    return np.abs(mesh.mapping().detDF(X)).mean(axis=1) / 2


def lengths(mesh: TopMesh, name: str) -> float:
    """Length of a named line."""
    ends = mesh.flat.p[:, mesh.flat.facets[:, mesh.flat.boundaries[name]]]
    return float(np.hypot(*(ends[:, 0] - ends[:, 1])).sum())


def jacobian_ratio(mesh: MeshTri2) -> float:
    """Smallest Jacobian over that of the triangle's middle; must be positive."""
    g = np.linspace(0, 1, 7)
    X = np.array([[a, b] for a in g for b in g if a + b <= 1 + 1e-12]).T
    det = mesh.mapping().detDF(X)
    return float((det / mesh.mapping().detDF(np.full((2, 1), 1 / 3))).min())


def test_rectangle_is_exact() -> None:
    mesh = mesh_top(Design(box(400, 300), Plate(WOOD, 2.8e-3)))
    assert areas(mesh.curved).sum() == pytest.approx(0.12, rel=1e-12)
    assert lengths(mesh, "rim") == pytest.approx(1.4, rel=1e-12)
    for corner in ([0, 0], [0.4, 0], [0.4, 0.3], [0, 0.3]):
        assert (np.abs(mesh.flat.p.T - corner).max(axis=1) == 0).any()
    middles = mesh.curved.doflocs[:, mesh.curved.dofs.facet_dofs[0]]
    np.testing.assert_allclose(middles, mesh.flat.p[:, mesh.flat.facets].mean(axis=1), atol=1e-15)


def test_disc_follows_the_circle() -> None:
    mesh = mesh_top(Design(disc(0.2), Plate(WOOD, 2.8e-3)))
    # The exact area; scikit-fem's quadratic sides of this length miss it by less than 1e-5.
    assert areas(mesh.curved).sum() == pytest.approx(np.pi * 0.2**2, rel=1e-5)
    rim = mesh.flat.boundaries["rim"]
    nodes = mesh.curved.doflocs[:, mesh.curved.dofs.facet_dofs[0, rim]]
    np.testing.assert_allclose(np.hypot(*nodes), 0.2, rtol=1e-5)


def test_spacing_is_the_wanted_size() -> None:
    mesh = mesh_top(Design(box(400, 300), Plate(WOOD, 2.8e-3)), 0.02)
    ends = mesh.flat.p[:, mesh.flat.facets]
    assert np.hypot(*(ends[:, 0] - ends[:, 1])).mean() == pytest.approx(0.02, rel=0.15)
    assert mesh.min_angle > np.deg2rad(25)


@pytest.mark.parametrize("ring", [0.0, 0.015])
def test_guitar_names_and_areas(ring: float) -> None:
    design = guitar(ring)
    mesh = mesh_top(design)
    braces = {f"brace {b.name}" for b in design.braces}
    assert set(mesh.flat.boundaries) == braces | {"rim", "hole 1", "joint x1|x2"}
    expected = {"top", "patch bridge plate", "patch bridge"} | braces | ({"ring"} if ring else set())
    assert set(mesh.flat.subdomains) == expected
    assert mesh.curved.boundaries.keys() == mesh.flat.boundaries.keys()
    assert mesh.curved.subdomains.keys() == mesh.flat.subdomains.keys()
    a = areas(mesh.curved)
    assert a.sum() == pytest.approx(design.region.area, rel=5e-5)
    for patch in design.patches:
        assert a[mesh.flat.subdomains[f"patch {patch.name}"]].sum() == pytest.approx(patch.polygon.area, rel=2e-3)
    for b in design.braces:
        drawn = face(design, b).intersection(design.region)
        assert a[mesh.flat.subdomains[f"brace {b.name}"]].sum() == pytest.approx(drawn.area, rel=0.02)
    if ring:
        band = design.outline.polygon.difference(design.outline.polygon.buffer(-ring, quad_segs=64))
        assert a[mesh.flat.subdomains["ring"]].sum() == pytest.approx(band.area, rel=5e-3)
    (crossing,) = crossings(design)
    assert lengths(mesh, "joint x1|x2") == pytest.approx(crossing.polygon.length, rel=1e-6)


@pytest.mark.parametrize("ring", [0.0, 0.015])
def test_guitar_size_and_quality(ring: float) -> None:
    mesh = mesh_top(guitar(ring))
    assert mesh.n_triangles < (900 if ring else 750)
    assert mesh.min_angle > np.deg2rad(4)
    assert mesh.n_straightened == 0
    assert jacobian_ratio(mesh.curved) > 0.2
    assert mesh.longest_edge < 2 * mesh.size


def test_sides_run_along_every_border() -> None:
    """No triangle lies on both sides of a brace's or patch's border by more than the tolerance allows."""
    design = guitar()
    mesh = mesh_top(design)
    corners = mesh.flat.p[:, mesh.flat.t].transpose(2, 1, 0)
    triangles = shapely.polygons(corners)
    for polygon in [face(design, b) for b in design.braces] + [p.polygon for p in design.patches]:
        shared = shapely.area(shapely.intersection(triangles, polygon))
        split = np.minimum(shared, shapely.area(triangles) - shared)
        assert split.max() < 0.5e-3 * 25e-3


@pytest.mark.parametrize("n_holes", [0, 1, 3])
def test_euler(n_holes: int) -> None:
    """Points - sides + triangles = 1 - holes (Euler's formula for a plane region)."""
    holes = tuple(Hole(np.array([0.1 + 0.1 * k, 0.1]), np.array([0.03, 0.02]), 0.3 * k) for k in range(n_holes))
    mesh = mesh_top(Design(box(400, 200), Plate(WOOD, 2.8e-3), holes)).flat
    assert mesh.p.shape[1] - mesh.facets.shape[1] + mesh.t.shape[1] == 1 - n_holes


def test_small_hole_is_round() -> None:
    design = Design(box(100, 100), Plate(WOOD, 2.8e-3), (Hole(np.array([0.05, 0.05]), np.array([4e-3, 4e-3])),))
    mesh = mesh_top(design)
    assert areas(mesh.curved).sum() == pytest.approx(0.01 - np.pi * 16e-6, rel=1e-5)
    assert len(mesh.flat.boundaries["hole 1"]) >= 8


def test_same_input_same_arrays() -> None:
    a, b = mesh_top(guitar(0.015)), mesh_top(guitar(0.015))
    assert a.flat.p.tobytes() == b.flat.p.tobytes()
    assert a.flat.t.tobytes() == b.flat.t.tobytes()
    assert a.curved.doflocs.tobytes() == b.curved.doflocs.tobytes()
    for name, facets in a.flat.boundaries.items():
        np.testing.assert_array_equal(facets, b.flat.boundaries[name])


@pytest.mark.slow
def test_same_arrays_in_another_process() -> None:
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); import hashlib, test_mesh as t;"
        "m = t.mesh_top(t.guitar(0.015));"
        "print(hashlib.sha256(m.flat.p.tobytes() + m.flat.t.tobytes()).hexdigest())"
    )
    folder = str(Path(__file__).parent)
    out = {
        subprocess.run(
            [sys.executable, "-c", code, folder],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(out) == 1


def test_scaled_drawing_gives_scaled_mesh() -> None:
    """Doubling is exact in binary numbers, so the triangles are the same ones."""
    small = Design(box(200, 150), Plate(WOOD, 2.8e-3), braces=(brace("a", [[30, 30], [170, 110]]),))
    large = Design(box(400, 300), Plate(WOOD, 5.6e-3), braces=(brace("a", [[60, 60], [340, 220]], 16),))
    a, b = mesh_top(small, 0.02), mesh_top(large, 0.04)
    np.testing.assert_allclose(2 * a.flat.p, b.flat.p, rtol=0, atol=1e-12)
    np.testing.assert_array_equal(a.flat.t, b.flat.t)


TOP = Design(
    box(400, 300),
    Plate(WOOD, 2.8e-3),
    braces=(brace("a", [[60, 150], [340, 150]]),),
    patches=(Patch("p", WOOD, rectangle([0.2, 0.1], [0.1, 0.05]), 2e-3),),
)


def with_patch(x0: float, x1: float, y0: float, y1: float) -> Design:
    """`TOP` with its patch from x0, y0 to x1, y1 in mm."""
    points = 1e-3 * np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    return replace(TOP, patches=(Patch("p", WOOD, polygon_outline(points), 2e-3),))


@pytest.mark.parametrize(
    "design",
    [
        with_patch(150, 250, 100, 146.0),
        with_patch(150, 250, 100, 145.7),
        with_patch(150, 250, 100, 146.3),
        with_patch(59.7, 250, 100, 154.2),
        with_patch(340.3, 380, 100, 200),
        with_patch(339.8, 380, 146.3, 153.8),
        with_patch(0.2, 100, 50, 100),
        with_patch(-20, 100, -20, 100),
        replace(TOP, braces=(*TOP.braces, brace("b", [[200, 154.3], [300, 250]]))),
        replace(TOP, braces=(brace("a", [[0.3, 150], [399.8, 150]]),)),
        replace(TOP, braces=(brace("a", [[60, 4.3], [340, 4.2]]),)),
    ],
)
def test_lines_that_nearly_coincide_become_one(design: Design) -> None:
    mesh = mesh_top(design)
    assert mesh.n_triangles < 1.35 * mesh_top(TOP).n_triangles
    assert mesh.shortest_edge > 0.5e-3
    part = design.patches[0].polygon.intersection(design.region)
    found = areas(mesh.curved)[mesh.flat.subdomains["patch p"]].sum()
    assert found == pytest.approx(part.area, abs=0.5e-3 * part.length)


def test_narrow_gap_costs_few_triangles() -> None:
    plain = mesh_top(TOP).n_triangles
    for gap in (0.6, 1.0, 2.0, 4.0):
        assert mesh_top(with_patch(150, 250, 100, 146 - gap)).n_triangles < plain + 150


@pytest.mark.parametrize("degrees", [15, 30, 60, 90])
def test_crossing_at_an_angle(degrees: float) -> None:
    t = np.deg2rad(degrees)
    other = [[200 - 120 * np.cos(t), 150 - 120 * np.sin(t)], [200 + 120 * np.cos(t), 150 + 120 * np.sin(t)]]
    mesh = mesh_top(replace(TOP, braces=(*TOP.braces, brace("b", other, 6)), patches=()))
    # A rhomboid between strips of widths a and b has the perimeter 2 (a + b) / sin.
    assert lengths(mesh, "joint a|b") == pytest.approx(2 * 14e-3 / np.sin(t), rel=1e-9)
    assert mesh.min_angle > np.deg2rad(min(degrees, 20) / 3)


def test_lattice() -> None:
    outline = body_outline(0.48, 0.38, 0.125, 0.235, 0.29, 0.28, 0.4)
    hole = Hole(np.array([0.335, 0.0]), np.array([0.048, 0.048]))
    design = Design(outline, Plate(WOOD, 2.2e-3), (hole,), lattice(outline, hole, WOOD))
    n_crossings = len(crossings(design))
    assert n_crossings >= 20
    mesh = mesh_top(design)
    assert sum(name.startswith("joint ") for name in mesh.flat.boundaries) == n_crossings
    assert mesh.n_triangles < 700 + 30 * n_crossings


def test_curved_brace() -> None:
    t = np.linspace(0.3, 1.2, 40)
    arc = 1e3 * 0.3 * np.column_stack([np.cos(t), np.sin(t)])
    design = replace(TOP, outline=box(400, 400), braces=(brace("bent", arc.tolist()),), patches=())
    mesh = mesh_top(design)
    drawn = face(design, design.braces[0])
    found = areas(mesh.curved)[mesh.flat.subdomains["brace bent"]].sum()
    start, stop = grip_ends(design.braces[0], design)
    # An arc of 0.9 rad at 0.3 m, without the ends that do not hold the plate.
    assert found == pytest.approx((0.9 * 0.3 - (0.27 - (stop - start))) * 8e-3, rel=0.01)
    assert lengths(mesh, "brace bent") == pytest.approx(drawn.length, rel=0.01)


def test_round_patch_keeps_its_area() -> None:
    hole = Hole(np.array([0.2, 0.15]), np.array([0.045, 0.045]))
    design = replace(TOP, holes=(hole,), braces=(), patches=(Patch("p", WOOD, hole.outline(grow=0.012), 2e-3),))
    mesh = mesh_top(design)
    ring = np.pi * (0.057**2 - 0.045**2)
    assert areas(mesh.curved)[mesh.flat.subdomains["patch p"]].sum() == pytest.approx(ring, rel=5e-3)
    assert mesh.n_triangles < 500


def test_patch_drawn_along_the_rim() -> None:
    """A graft whose border follows a smooth rim makes no slivers along it."""
    outline = body_outline(0.48, 0.38, 0.125, 0.235, 0.29, 0.28, 0.4)
    block = shapely.box(0.42, -0.2, 0.6, 0.2).intersection(outline.polygon)
    points = shapely.segmentize(block, 2.7e-3).exterior.coords[:-1]
    design = Design(outline, Plate(WOOD, 2.8e-3), patches=(Patch("graft", WOOD, polygon_outline(points), 2e-3),))
    mesh = mesh_top(design)
    assert areas(mesh.curved)[mesh.flat.subdomains["patch graft"]].sum() == pytest.approx(block.area, rel=5e-3)
    assert mesh.min_angle > np.deg2rad(15)


def test_difference_from_the_drawing_is_told_in_one_line() -> None:
    mesh = mesh_top(TOP)
    for other in (
        replace(TOP, braces=(brace("c", [[60, 150], [340, 150]]),)),
        with_patch(150, 250, 20, 100),
        replace(TOP, outline=box(401, 300)),
    ):
        with pytest.raises(MeshError) as caught:
            check_mesh(other, crossings(other), mesh.flat, mesh.curved, 0.5e-3)
        assert "\n" not in str(caught.value)


def test_file_opens_in_other_libraries(tmp_path: Path) -> None:
    design = guitar()
    mesh = mesh_top(design)
    path = tmp_path / "mesh.vtu"
    write_mesh(mesh, path)
    read = meshio.read(path)
    assert {block.type for block in read.cells} == {"triangle6", "line3"}
    assert set(read.cell_data) == set(mesh.flat.boundaries) | set(mesh.flat.subdomains)
    grid = pyvista.read(path)
    size = grid.compute_cell_sizes(length=True, area=True)
    rim = size["Length"][grid["rim"] == 1].sum()
    assert rim == pytest.approx(shapely.LinearRing(design.outline.points).length, rel=2e-3)
    bridge = size["Area"][grid["patch bridge"] == 1].sum()
    assert bridge == pytest.approx(0.026 * 0.16, rel=2e-3)


def test_without_sides_it_is_the_delaunay_triangulation() -> None:
    rng = np.random.default_rng(5)
    points = np.vstack([[[0, 0], [1, 0], [1, 1], [0, 1]], rng.uniform(0.05, 0.95, (40, 2))])
    border = np.array([[0, 1], [1, 2], [2, 3], [3, 0]])
    found = constrained_delaunay(points, border, np.ones(4, dtype=bool))
    expected = {tuple(sorted(t)) for t in Delaunay(points).simplices.tolist()}
    assert {tuple(sorted(t)) for t in found.tolist()} == expected


@pytest.mark.parametrize("seed", range(20))
def test_sides_are_recovered(seed: int) -> None:
    """Long sides through a cloud of points are edges afterwards, and the triangles still tile the square."""
    rng = np.random.default_rng(seed)
    ends = np.array([[0.02, 0.31], [0.98, 0.33], [0.02, 0.35], [0.98, 0.3501]])
    points = np.vstack([[[0, 0], [1, 0], [1, 1], [0, 1]], ends, rng.uniform(0.05, 0.95, (200, 2))])
    sides = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [6, 7]])
    t = constrained_delaunay(points, sides, np.arange(6) < 4)
    mesh = MeshTri(points.T, np.sort(t, axis=1).T)
    edges = {(int(a), int(b)) for a, b in mesh.facets.T}
    assert {(4, 5), (6, 7)} <= edges
    u, v = points[t[:, 1]] - points[t[:, 0]], points[t[:, 2]] - points[t[:, 0]]
    signed = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
    assert (signed > 0).all()
    assert signed.sum() == pytest.approx(1.0, rel=1e-12)


def test_side_through_a_point_is_refused() -> None:
    points = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0.2, 0.5], [0.5, 0.5], [0.8, 0.5]])
    sides = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [4, 6]])
    with pytest.raises(MeshError, match="meets another line"):
        constrained_delaunay(points, sides, np.arange(5) < 4)


@pytest.mark.parametrize(("a", "b"), [(0.06, 0.06), (0.05, 0.02), (0.2, 0.15), (0.01, 0.01)])
def test_chords_keep_the_area_of_an_ellipse(a: float, b: float) -> None:
    t = np.append(np.linspace(0, 2 * np.pi, 720, endpoint=False), 0.0)
    points = np.column_stack([a * np.cos(t), b * np.sin(t)])
    few = chords(points, 0.5e-3)
    assert len(few) < 40
    assert shapely.Polygon(few).area == pytest.approx(np.pi * a * b, rel=2e-3)
    assert shapely.hausdorff_distance(shapely.LineString(points), shapely.LineString(few)) < 0.7e-3


def test_chords_keep_corners_and_straight_sides() -> None:
    square = np.array([[0, 0], [0.1, 0], [0.1, 0.05], [0, 0.05], [0, 0]])
    assert {tuple(p) for p in chords(square, 0.5e-3).tolist()} == {tuple(p) for p in square.tolist()}
    rounded = shapely.box(0.005, 0.005, 0.165, 0.025).buffer(0.005, quad_segs=16)
    few = chords(np.array(rounded.exterior.coords), 0.5e-3)
    assert len(few) < 20
    assert shapely.Polygon(few).area == pytest.approx(rounded.area, rel=2e-3)


def test_chords_keep_a_slight_corner_of_a_polygon() -> None:
    """A corner of 10 degrees between long straight sides lies far off the chord past it."""
    wedge = np.array([[0, 0], [0.2, 0], [0.2, 0.1], [0.1, 0.1088], [0, 0.1], [0, 0]])
    for start in range(5):
        turned = np.roll(wedge[:-1], -start, axis=0)
        few = chords(np.vstack([turned, turned[:1]]), 0.5e-3)
        assert shapely.Polygon(few).area == pytest.approx(shapely.Polygon(wedge).area, rel=1e-9)
