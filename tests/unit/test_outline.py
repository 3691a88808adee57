"""Closed curves: exact areas, exact widths, no wiggle, no crossing."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.bodies import Body, bodies

from bracedtop.geometry.body import half_body
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Hole, Outline, body_outline, polygon_outline, rectangle, smooth_outline

SMALL_BODY = (0.48, 0.37, 0.12, 0.23, 0.29, 0.275, 0.395)
CLASSICAL_BODY = (0.485, 0.362, 0.118, 0.235, 0.298, 0.28, 0.398)


def half_of(outline: Outline) -> np.ndarray:
    """The points with y >= 0 in order of x."""
    points = outline.points[outline.points[:, 1] >= 0]
    return points[np.argsort(points[:, 0], kind="stable")]


def curvatures(points: np.ndarray) -> np.ndarray:
    """Curvature of a closed polygon at its points from the turn there, 1/m."""
    before = points - np.roll(points, 1, axis=0)
    after = np.roll(before, -1, axis=0)
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1))
    return 2 * turn / (np.hypot(*before.T) + np.hypot(*after.T))


@pytest.mark.parametrize("sizes", [SMALL_BODY, CLASSICAL_BODY], ids=["small steel-string", "classical"])
def test_body_is_sampled_about_every_millimetre_and_has_no_corners(sizes: tuple[float, ...]) -> None:
    outline = body_outline(*sizes)
    gaps = np.hypot(*(outline.points - np.roll(outline.points, 1, axis=0)).T)
    assert 0.8e-3 < gaps.min() <= gaps.max() < 1.2e-3
    assert not outline.corners.any()


@given(bodies())
@settings(max_examples=60, deadline=None)
def test_body_has_its_widths_at_its_places_and_no_other_extremum(body: Body) -> None:
    half = half_of(body.outline)
    x, y = half.T
    for width, at in zip(body.widths, body.positions, strict=True):
        assert y[np.abs(x - at).argmin()] == pytest.approx(width / 2, abs=1e-12)
        assert np.abs(x - at).min() < 1e-12
    lower_at, waist_at, upper_at = body.positions
    rises = np.diff(y)
    expected = np.where(x[:-1] < lower_at - 1e-12, 1, np.where(x[:-1] < waist_at - 1e-12, -1, 1))
    expected = np.where(x[:-1] >= upper_at - 1e-12, -1, expected)
    # A sample beside an extremum differs from it by less than rounding leaves.
    assert (rises * expected > -1e-12).all()
    assert (np.diff(x) >= 0).all()


@given(bodies())
@settings(max_examples=60, deadline=None)
def test_body_is_simple_closed_symmetric_and_of_its_length(body: Body) -> None:
    outline = body.outline
    assert outline.polygon.is_valid
    assert shapely.LinearRing(outline.points).is_ccw
    mirrored = shapely.Polygon(outline.points * [1, -1])
    assert mirrored.symmetric_difference(outline.polygon).area < 1e-12
    x0, y0, x1, y1 = outline.polygon.bounds
    assert (x0, x1) == pytest.approx((0.0, body.length), abs=1e-12)
    assert (-y0, y1) == pytest.approx((body.widths[0] / 2,) * 2, abs=1e-12)


@given(bodies())
@settings(max_examples=100, deadline=None)
def test_body_is_curved_smoothly_with_one_inflection_on_either_side_of_the_waist(body: Body) -> None:
    # Twice as fine as an outline, which a ukulele's shoulder of 17 mm radius needs to be told from a jump.
    half = half_body(body.length, body.widths, body.positions, 0.5e-3)
    points = np.vstack([half, half[-2:0:-1] * [1, -1]])
    curvature = curvatures(points[::-1])[::-1]
    # No jump: from one sample to the next the curvature changes by a small part of the tightest one.
    assert np.abs(np.diff(curvature, append=curvature[:1])).max() < 0.2 * curvature.max()
    upper = points[:, 1] > 0
    outward = curvature[upper][np.argsort(points[upper, 0])] > 1e-3
    assert (np.diff(outward.astype(int)) != 0).sum() == 2


@given(bodies(), st.floats(0.5, 3.0))
@settings(max_examples=30, deadline=None)
def test_body_scales(body: Body, factor: float) -> None:
    scaled = Body(
        factor * body.length,
        tuple(factor * w for w in body.widths),
        tuple(factor * p for p in body.positions),
        factor * body.hole_at,
        factor * body.hole_radius,
    )
    assert scaled.outline.polygon.area == pytest.approx(factor**2 * body.outline.polygon.area, rel=1e-4)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"body_length": 0.0}, r"outline.body_length_mm = 0: must be > 0"),
        ({"waist": float("nan")}, r"outline.waist_mm = nan: must be > 0"),
        ({"waist_at": 0.11}, r"outline.waist_at_mm = 110: must be greater than lower_bout_at_mm = 120"),
        ({"upper_bout_at": 0.28}, r"outline.upper_bout_at_mm = 280: must be greater than waist_at_mm = 290"),
        ({"upper_bout_at": 0.5}, r"outline.upper_bout_at_mm = 500: must be less than body_length_mm = 480"),
        ({"lower_bout_at": 0.03}, r"outline.lower_bout_at_mm = 30: must be 74.0 to 462.5 mm from the tail end"),
        ({"upper_bout_at": 0.47}, r"outline.upper_bout_at_mm = 470: must be 55.0 to 343.8 mm from the neck end"),
        ({"waist": 0.3}, r"outline.waist_mm = 300: must be less than upper_bout_mm = 275"),
        ({"waist": 0.275}, r"outline.waist_mm = 275: must be less than upper_bout_mm = 275"),
        ({"waist": 0.2745}, r"outline.waist_mm = 274.5: must be at most 27\d.\d beside upper_bout_mm = 275"),
        ({"waist_at": 0.13}, r"outline.waist_at_mm = 130: must be at least 35.0 mm away from lower_bout_at_mm"),
    ],
    ids=lambda value: ",".join(value) if isinstance(value, dict) else "",
)
def test_bad_proportions_are_refused_in_one_line(change: dict[str, float], words: str) -> None:
    keys = ("body_length", "lower_bout", "lower_bout_at", "waist", "waist_at", "upper_bout", "upper_bout_at")
    with pytest.raises(DesignError, match=words) as caught:
        body_outline(**(dict(zip(keys, SMALL_BODY, strict=True)) | change))
    assert "\n" not in str(caught.value)


@given(st.lists(st.floats(0.01, 0.6), min_size=7, max_size=7))
@settings(max_examples=150, deadline=None)
def test_any_body_is_drawn_well_or_refused(sizes: list[float]) -> None:
    try:
        outline = body_outline(*sizes)
    except DesignError:
        return
    assert outline.polygon.is_valid
    assert np.ptp(outline.points[:, 0]) == pytest.approx(sizes[0], abs=1e-12)


def test_smooth_outline_through_points_of_a_circle_is_that_circle() -> None:
    # Cubic splines interpolate to fourth order: 24 points a turn leave an error of about (2 pi / 24)^4 / 384.
    t = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    outline = smooth_outline(0.2 * np.column_stack([np.cos(t), np.sin(t)]))
    assert np.hypot(*outline.points.T) == pytest.approx(np.full(len(outline.points), 0.2), rel=2e-5)
    assert outline.polygon.area == pytest.approx(np.pi * 0.2**2, rel=5e-5)
    assert not outline.corners.any()
    assert len(outline.points) == pytest.approx(400 * np.pi, rel=0.05)


@given(bodies(), st.floats(-3.0, 3.0), st.integers(0, 20))
@settings(max_examples=20, deadline=None)
def test_smooth_outline_runs_through_its_points_wherever_it_starts_and_is_turned(
    body: Body, angle: float, start: int
) -> None:
    listed = np.roll(body.outline.points[::40], start, axis=0)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    outline = smooth_outline(listed @ turn.T)
    gaps = shapely.distance(shapely.points(listed @ turn.T), shapely.LinearRing(outline.points))
    assert gaps.max() < 1e-12
    assert outline.polygon.area == pytest.approx(body.outline.polygon.area, rel=2e-3)


def test_the_repeated_last_point_may_be_listed() -> None:
    square = np.array([[0, 0], [0.3, 0], [0.3, 0.2], [0, 0.2]])
    closed = np.vstack([square, square[:1]])
    assert (polygon_outline(closed).points == polygon_outline(square).points).all()
    assert (smooth_outline(closed).points == smooth_outline(square).points).all()


@pytest.mark.parametrize("make", [polygon_outline, smooth_outline])
@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([[0, 0], [0.3, 0.3], [0.3, 0], [0, 0.3]], r"crosses or touches itself near \[\d+.\d, \d+.\d\] mm"),
        ([[0, 0], [0.3, 0], [0.3, 0], [0, 0.3]], r"points_mm row 3 repeats row 2 = \[300.0, 0.0\]"),
        ([[0, 0], [0.3, 0], [0, 0]], r"lists 2 different points; an outline needs at least three"),
        ([[0, 0], [0.3, 0.1], [0.6, 0.2]], r"crosses or touches itself"),
        ([[0, 0], [0.3, np.nan], [0.6, 0.2]], r"two finite numbers each"),
        ([[0, 0, 0], [0.3, 0, 0], [0.6, 0.2, 0]], r"two finite numbers each"),
    ],
    ids=["crossed", "repeated", "two", "line", "nan", "3-D"],
)
def test_bad_points_are_refused(make: object, points: list[list[float]], words: str) -> None:
    with pytest.raises(DesignError, match=words):
        make(points)


def test_an_outline_is_turned_anticlockwise_with_its_corners() -> None:
    points = np.array([[0, 0], [0, 1], [1, 1], [1, 0]], dtype=float)
    outline = Outline(points, np.array([True, False, True, True]))
    assert shapely.LinearRing(outline.points).is_ccw
    assert (outline.points[~outline.corners] == [0, 1]).all()
    with pytest.raises(ValueError, match="read-only"):
        outline.points[0, 0] = 1.0
    with pytest.raises(DesignError, match="corner marks"):
        Outline(points, np.array([True]))


@given(st.floats(0.002, 0.5), st.floats(0.002, 0.5), st.floats(-7, 7))
@settings(max_examples=30, deadline=None)
def test_rectangle_has_its_size_centre_and_direction(length: float, width: float, angle: float) -> None:
    area = rectangle((0.1, -0.2), (length, width), angle)
    assert area.polygon.area == pytest.approx(length * width)
    assert area.polygon.centroid.coords[0] == pytest.approx((0.1, -0.2))
    assert area.corners.all()
    direction = np.array([np.cos(angle), np.sin(angle)])
    assert np.ptp(area.points @ direction) == pytest.approx(length)


def test_rectangle_refuses_sides_of_no_length() -> None:
    with pytest.raises(DesignError, match="both sides must be > 0"):
        rectangle((0, 0), (0.1, 0.0))


@given(st.floats(0.002, 0.2), st.floats(0.002, 0.2), st.floats(-7, 7))
@settings(max_examples=30, deadline=None)
def test_hole_has_the_area_of_its_ellipse_and_grows_by_its_ring(a: float, b: float, angle: float) -> None:
    hole = Hole(np.array([0.3, 0.01]), np.array([a, b]), angle)
    # An inscribed polygon of n sides has the ellipse's area times sin(2 pi / n) n / (2 pi).
    lost = np.sin(2 * np.pi / 360) * 360 / (2 * np.pi)
    assert hole.outline().polygon.area == pytest.approx(np.pi * a * b * lost)
    assert hole.outline(grow=0.01).polygon.area == pytest.approx(np.pi * (a + 0.01) * (b + 0.01) * lost)
    assert hole.outline(grow=0.01).polygon.contains(hole.outline().polygon)


@pytest.mark.parametrize(
    ("centre", "semi_axes", "words"),
    [
        ((0, 0), (0.05, 0), "both sizes must be > 0"),
        ((0, 0), (0.05, np.inf), "both sizes must be > 0"),
        ((np.nan, 0), (0.05, 0.05), "finite numbers"),
    ],
)
def test_bad_holes_are_refused(centre: tuple[float, float], semi_axes: tuple[float, float], words: str) -> None:
    with pytest.raises(DesignError, match=words):
        Hole(np.array(centre), np.array(semi_axes))
