"""Thickness of the top from place to place: regions, measured grids, and what they ask of a mesh."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.layout import check_layout
from bracedtop.geometry.mesh import mesh_top
from bracedtop.geometry.outline import Hole, polygon_outline, rectangle
from bracedtop.geometry.thickness import ThicknessGrid, ThicknessRegion, region_of, thickness_at, triangle_regions

coordinates = st.integers(-300, 300).map(lambda k: k * 1e-3)
places = hnp.arrays(float, st.tuples(st.integers(3, 40), st.just(2)), elements=coordinates)
queries = hnp.arrays(float, st.tuples(st.integers(1, 20), st.just(2)), elements=st.floats(-0.4, 0.4))


def grid_of(xy: np.ndarray, thickness: object) -> ThicknessGrid:
    xy = np.unique(xy, axis=0)
    assume(len(xy) >= 3)
    spans = np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)
    assume(spans[1] > 0.011 * spans[0])
    values = thickness(xy) if callable(thickness) else np.full(len(xy), thickness)
    return ThicknessGrid(np.column_stack([xy, values]))


@settings(max_examples=60, deadline=None)
@given(places, queries)
def test_constant_grid_gives_the_constant_everywhere(xy, at):
    np.testing.assert_allclose(grid_of(xy, 2.7e-3).at(at), 2.7e-3, rtol=1e-12)


@settings(max_examples=60, deadline=None)
@given(places, st.floats(-2e-3, 2e-3), st.floats(-2e-3, 2e-3), st.data())
def test_slanted_grid_is_exact_inside_its_hull(xy, a, b, data):
    def plane(p):
        return 3e-3 + p @ np.array([a, b])

    grid = grid_of(xy, plane)
    n = len(grid.points)
    mix = data.draw(hnp.arrays(float, (5, n), elements=st.floats(0.01, 1)))
    inside = (mix / mix.sum(axis=1, keepdims=True)) @ grid.points[:, :2]
    np.testing.assert_allclose(grid.at(inside), plane(inside), rtol=1e-9)
    np.testing.assert_allclose(grid.at(grid.points[:, :2]), grid.points[:, 2], rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(places, queries, st.data())
def test_nothing_lies_beyond_what_was_measured(xy, at, data):
    heights = st.floats(1e-3, 5e-3)
    grid = grid_of(xy, lambda p: data.draw(hnp.arrays(float, len(p), elements=heights)))
    found = grid.at(at)
    assert np.isfinite(found).all()
    assert (found >= grid.points[:, 2].min() - 1e-12).all()
    assert (found <= grid.points[:, 2].max() + 1e-12).all()


def test_outside_the_hull_counts_the_nearest_point_of_it():
    grid = ThicknessGrid(np.array([[0, 0, 2e-3], [0.1, 0, 4e-3], [0, 0.1, 2e-3], [0.1, 0.1, 4e-3]]))
    np.testing.assert_allclose(grid.at([[0.05, -0.5], [-1, 0.05], [0.2, 0.3]]), [3e-3, 2e-3, 4e-3])


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        ([[0, 0, 2e-3], [0.1, 0, 2e-3]], "three or more points"),
        ([[0, 0, 2e-3], [0.1, 0, 2e-3], [0.05, np.nan, 2e-3]], "all finite"),
        ([[0, 0, 2e-3], [0.1, 0, 0.0], [0.05, 0.1, 2e-3]], "point 2 is 0 mm thick; must be > 0"),
        ([[0, 0, 2e-3], [0.1, 0, 2e-3], [0.1, 0, 3e-3]], "points 2 and 3 both lie at [100.0, 0.0] mm"),
        ([[0, 0, 2e-3], [0.1, 0.1, 2e-3], [0.2, 0.2001, 3e-3]], "on one line"),
    ],
)
def test_bad_grid_gets_one_line(points, expected):
    with pytest.raises(DesignError) as caught:
        ThicknessGrid(np.array(points))
    assert expected in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


# Regions ---------------------------------------------------------------------------------------------------------


def square(x, y, side, thickness):
    return ThicknessRegion(rectangle([x, y], [side, side]), thickness)


def top(**plate):
    outline = polygon_outline(np.array([[0, -0.15], [0.4, -0.15], [0.4, 0.15], [0, 0.15]]))
    return Design(outline, Plate("wood", 2.8e-3, **plate), holes=(Hole([0.3, 0], [0.04, 0.04]),))


def test_later_regions_win_over_earlier_ones_and_over_the_grid():
    plate = Plate("wood", 2.8e-3, regions=(square(0, 0, 0.2, 3e-3), square(0.1, 0, 0.2, 2e-3)))
    xy = np.array([[-0.05, 0], [0.05, 0], [0.15, 0], [0.3, 0]])
    np.testing.assert_array_equal(region_of(plate, xy), [0, 1, 1, -1])
    np.testing.assert_allclose(thickness_at(plate, xy), [3e-3, 2e-3, 2e-3, 2.8e-3])
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    measured = replace(plate, grid=ThicknessGrid(np.column_stack([corners, np.full(4, 2.5e-3)])))
    np.testing.assert_allclose(thickness_at(measured, xy), [3e-3, 2e-3, 2e-3, 2.5e-3])


def test_the_mesh_follows_regions():
    regions = (square(0.1, 0, 0.1, 3e-3), square(0.3, 0.02, 0.15, 2e-3), square(0.02, 0.14, 0.12, 2.5e-3))
    design = top(regions=regions, ring_width=0.02, ring_reduction=0.3e-3)
    check_layout(design)
    mesh = mesh_top(design, 0.03)
    p = mesh.flat.p[:, mesh.flat.t]
    # Three points of equal weight integrate a quadratic triangle's Jacobian exactly.
    middles = np.array([[0.5, 0.5, 0], [0, 0.5, 0.5]])
    areas = np.abs(mesh.curved.mapping().detDF(middles)).mean(axis=1) / 2
    for k, region in enumerate(regions, start=1):
        expected = region.polygon.intersection(design.region).area
        np.testing.assert_allclose(areas[mesh.flat.subdomains[f"region {k}"]].sum(), expected, rtol=3e-4)
    number = triangle_regions(design.plate, mesh.flat.subdomains, mesh.n_triangles)
    np.testing.assert_array_equal(number, region_of(design.plate, p.mean(axis=1).T))
    assert "region" not in mesh.flat.boundaries


@pytest.mark.parametrize(
    ("plate", "expected"),
    [
        ({"regions": (square(0.1, 0, 0.1, 20e-3),)}, "thickness 1.thickness_mm = 20; must lie from 0.7 to 11.2"),
        ({"regions": (square(0.1, 0.5, 0.1, 2e-3),)}, "thickness 1: less than 2 mm of it lies on the top's wood"),
        ({"regions": (square(0.3, 0, 0.05, 2e-3),)}, "thickness 1: less than 2 mm of it lies on the top's wood"),
        (
            {"grid": ThicknessGrid(np.array([[0, 0, 2e-3], [0.1, 0, 2e-3], [0.1, 0.3, 3e-3]]))},
            "point 3 at [100.0, 300.0] mm lies 150 mm off the top; must be at most 100 mm off",
        ),
        (
            {"grid": ThicknessGrid(np.array([[0, 0, 2e-3], [0.1, 0, 0.27e-3], [0.1, 0.1, 3e-3]]))},
            "point 2 at [100.0, 0.0] mm is 0.27 mm; must lie from 0.7 to 11.2",
        ),
        (
            {"regions": (square(0, 0, 0.1, 1e-3),), "ring_width": 0.02, "ring_reduction": 1.2e-3},
            "top.edge_ring_reduction_mm = 1.2: the wood at",
        ),
        (
            {
                "grid": ThicknessGrid(np.array([[0, 0, 1e-3], [0.4, -0.1, 3e-3], [0.4, 0.1, 3e-3]])),
                "ring_width": 0.02,
                "ring_reduction": 1.2e-3,
            },
            "top.edge_ring_reduction_mm = 1.2: the wood at",
        ),
    ],
)
def test_what_does_not_fit_is_refused(plate, expected):
    with pytest.raises(DesignError) as caught:
        check_layout(top(**plate))
    assert expected in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_a_thin_region_under_a_thicker_one_is_let_pass_in_the_ring():
    regions = (square(0, 0, 0.1, 1e-3), square(0, 0, 0.12, 2e-3))
    check_layout(top(regions=regions, ring_width=0.02, ring_reduction=1.2e-3))
