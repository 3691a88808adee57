"""Braces and patches: heights along them, wood planed off, sizes refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import polygon_outline, rectangle
from bracedtop.geometry.patch import Patch

LENGTH = 0.25


def brace(stations: object, path: object = ((0.0, 0.0), (0.15, 0.0), (0.15, 0.1))) -> Brace:
    return Brace("b", "wood", np.array(path), 0.007, np.array(stations))


@st.composite
def profiles(draw: st.DrawFn) -> Brace:
    """Braces 250 mm long of up to seven stations, some of them steps, at least 2 mm high."""
    distances = sorted(draw(st.lists(st.integers(0, 25), min_size=2, max_size=7)))
    heights = draw(st.lists(st.integers(2, 15), min_size=len(distances), max_size=len(distances)))
    return brace(np.column_stack([np.array(distances) * 0.01, np.array(heights) * 1e-3]))


@st.composite
def cuts(draw: st.DrawFn) -> tuple[float, float]:
    start, stop = sorted(draw(st.lists(st.integers(0, 250), min_size=2, max_size=2, unique=True)))
    return start * 1e-3, stop * 1e-3


def side_area(b: Brace, start: float = 0.0, stop: float = LENGTH) -> float:
    """Area under the profile: its integral by the trapezoidal rule, exact between its stations, m^2."""
    inner = b.stations[(b.stations[:, 0] > start) & (b.stations[:, 0] < stop), 0]
    knots = np.unique(np.concatenate([[start], inner, [stop]]))
    tiny = 1e-12
    return float((np.diff(knots) * (b.height(knots[:-1] + tiny) + b.height(knots[1:] - tiny)) / 2).sum())


def test_height_is_linear_between_stations_and_constant_beyond_them() -> None:
    b = brace([[0.05, 0.004], [0.15, 0.014]])
    assert b.height(np.array([0.0, 0.05, 0.1, 0.15, 0.25])) == pytest.approx([0.004, 0.004, 0.009, 0.014, 0.014])


def test_a_step_has_its_near_height_before_and_its_far_height_from_it_on() -> None:
    b = brace([[0.0, 0.01], [0.1, 0.01], [0.1, 0.004], [0.25, 0.004]])
    assert b.height(np.array([0.1 - 1e-9, 0.1, 0.1 + 1e-9])) == pytest.approx([0.01, 0.004, 0.004])


def test_steps_at_either_end_keep_the_outer_height_beyond() -> None:
    b = brace([[0.05, 0.002], [0.05, 0.01], [0.2, 0.01], [0.2, 0.003]])
    assert b.height(np.array([0.0, 0.05, 0.1, 0.2, 0.25])) == pytest.approx([0.002, 0.01, 0.01, 0.003, 0.003])


def test_height_takes_a_single_distance() -> None:
    assert float(brace([[0.0, 0.01], [0.2, 0.02]]).height(np.array(0.1))) == pytest.approx(0.015)


def test_position_follows_the_path_round_its_bend() -> None:
    b = brace([[0.0, 0.01], [0.25, 0.01]])
    points, tangents = b.position(np.array([0.0, 0.1, 0.2, 0.25]))
    assert b.length == pytest.approx(LENGTH)
    assert points == pytest.approx(np.array([[0, 0], [0.1, 0], [0.15, 0.05], [0.15, 0.1]]))
    assert tangents == pytest.approx(np.array([[1, 0], [1, 0], [0, 1], [0, 1]]))


@given(profiles(), cuts(), st.integers(0, 2000))
@settings(max_examples=150, deadline=None)
def test_planing_takes_depth_times_stretch_and_nothing_elsewhere(b: Brace, cut: tuple[float, float], um: int) -> None:
    (start, stop), depth = cut, um * 1e-6
    planed = b.shaved(start, stop, depth)
    assert side_area(b) - side_area(planed) == pytest.approx(depth * (stop - start), abs=1e-10)
    s = np.linspace(0.0, LENGTH, 501) + 1e-7
    s = s[(s < LENGTH) & (np.abs(s - start) > 1e-6) & (np.abs(s - stop) > 1e-6)]
    expected = b.height(s) - np.where((s > start) & (s < stop), depth, 0.0)
    assert planed.height(s) == pytest.approx(expected, abs=1e-9)
    assert (planed.path == b.path).all()
    assert planed.length == b.length


@given(profiles(), cuts(), cuts())
@settings(max_examples=150, deadline=None)
def test_planing_twice_adds_up_in_either_order(b: Brace, one: tuple[float, float], two: tuple[float, float]) -> None:
    first = b.shaved(*one, 0.5e-3).shaved(*two, 0.8e-3)
    second = b.shaved(*two, 0.8e-3).shaved(*one, 0.5e-3)
    s = np.linspace(0.0, LENGTH, 400) + 3.3e-7
    s = s[s < LENGTH]
    taken = 0.5e-3 * ((s > one[0]) & (s < one[1])) + 0.8e-3 * ((s > two[0]) & (s < two[1]))
    assert first.height(s) == pytest.approx(b.height(s) - taken, abs=1e-8)
    assert second.height(s) == pytest.approx(first.height(s), abs=1e-8)


@given(profiles(), cuts())
@settings(max_examples=50, deadline=None)
def test_planing_in_two_strokes_is_planing_at_once(b: Brace, cut: tuple[float, float]) -> None:
    once, twice = b.shaved(*cut, 1.6e-3), b.shaved(*cut, 0.9e-3).shaved(*cut, 0.7e-3)
    assert once.stations.shape == twice.stations.shape
    assert twice.stations == pytest.approx(once.stations, abs=1e-9)


def test_planing_to_the_ends_leaves_no_wood_standing_there() -> None:
    planed = brace([[0.0, 0.01], [0.25, 0.01]]).shaved(0.0, 0.25, 0.004)
    assert planed.stations == pytest.approx(np.array([[0.0, 0.006], [0.25, 0.006]]))
    assert planed.height(np.array([0.0, 0.25])) == pytest.approx([0.006, 0.006])


def test_a_brace_can_be_planed_away_but_not_deeper() -> None:
    b = brace([[0.0, 0.003], [0.1, 0.01], [0.25, 0.01]])
    assert b.shaved(0.1, 0.25, 0.01).height(np.array(0.2)) == 0
    with pytest.raises(DesignError, match=r"where the lowest point is 3.00 mm high; must be between 0 and that"):
        b.shaved(0.0, 0.25, 0.0031)


def test_the_foot_of_a_step_beside_a_stretch_does_not_limit_it() -> None:
    b = brace([[0.0, 0.01], [0.1, 0.01], [0.1, 0.001], [0.25, 0.001]])
    assert b.shaved(0.0, 0.1, 0.008).height(np.array([0.05, 0.1, 0.2])) == pytest.approx([0.002, 0.001, 0.001])


@pytest.mark.parametrize(
    ("start", "stop", "depth"),
    [(0.1, 0.1, 1e-3), (0.2, 0.1, 1e-3), (-0.01, 0.1, 1e-3), (0.1, 0.26, 1e-3), (np.nan, 0.1, 1e-3)],
)
def test_stretches_off_the_brace_are_refused(start: float, stop: float, depth: float) -> None:
    with pytest.raises(DesignError, match=r"must run forward inside 0 to 250\.0 mm"):
        brace([[0.0, 0.01], [0.25, 0.01]]).shaved(start, stop, depth)


@pytest.mark.parametrize("depth", [-1e-3, np.nan, np.inf])
def test_depths_that_are_none_are_refused(depth: float) -> None:
    with pytest.raises(DesignError, match="must be between 0 and that height"):
        brace([[0.0, 0.01], [0.25, 0.01]]).shaved(0.0, 0.1, depth)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"path": np.array([[0, 0]])}, "two or more points"),
        ({"path": np.array([[0, 0], [np.nan, 1]])}, "two finite numbers"),
        ({"path": np.array([[0, 0], [0, 0], [0.25, 0]])}, "coincide"),
        ({"width": 0.0}, "width 0 mm; must be > 0"),
        ({"width": np.nan}, "must be > 0"),
        ({"stations": np.array([[0.0, 0.01]])}, "two or more stations"),
        ({"stations": np.array([[0.0, 0.01], [0.2, np.inf]])}, "two or more stations"),
        ({"stations": np.array([[0.1, 0.01], [0.0, 0.01]])}, "stations go back"),
        ({"stations": np.array([[0.0, 0.01], [0.1, -0.001]])}, "height -1 mm at a station; must be >= 0"),
        ({"stations": np.array([[0.0, 0.01], [0.3, 0.01]])}, "must lie between 0 and the brace's length 250.0 mm"),
        ({"stations": np.array([[-0.01, 0.01], [0.2, 0.01]])}, "must lie between 0 and the brace's length"),
    ],
)
def test_bad_braces_are_refused(change: dict[str, object], words: str) -> None:
    good = {
        "path": np.array([[0, 0], [0.25, 0]]),
        "width": 0.007,
        "stations": np.array([[0, 0.01], [0.25, 0.01]]),
    }
    with pytest.raises(DesignError, match=words):
        Brace(name="b", wood="wood", **(good | change))


@pytest.mark.parametrize("thickness", [0.0, -1e-3, np.nan, np.inf])
def test_bad_patches_and_plates_are_refused(thickness: float) -> None:
    with pytest.raises(DesignError, match=r'patch "p": thickness .* must be > 0'):
        Patch("p", "wood", rectangle((0, 0), (0.02, 0.02)), thickness)
    with pytest.raises(DesignError, match=r"top thickness .* must be > 0"):
        Plate("wood", thickness)


@pytest.mark.parametrize(("width", "reduction"), [(-0.01, 0.0), (np.nan, 0.0), (0.01, 0.003), (0.01, -0.001)])
def test_bad_edge_rings_are_refused(width: float, reduction: float) -> None:
    with pytest.raises(DesignError, match="edge ring of width"):
        Plate("wood", 0.003, ring_width=width, ring_reduction=reduction)


def test_springs_that_push_the_wrong_way_are_refused() -> None:
    with pytest.raises(DesignError, match="deflection stiffness -1; must be >= 0"):
        Edge("springs", deflection=-1.0)


def test_a_design_names_its_driving_point_and_its_braces() -> None:
    square = polygon_outline([[0, 0], [0.3, 0], [0.3, 0.2], [0, 0.2]])
    bridge = Patch("bridge", "wood", rectangle((0.1, 0.1), (0.02, 0.1)), 0.008, "outside", is_bridge=True)
    one = brace([[0.0, 0.01], [0.25, 0.01]], path=((0.02, 0.1), (0.27, 0.1)))
    plain = Design(square, Plate("wood", 0.003), braces=(one,))
    assert plain.driving_point == pytest.approx([0.15, 0.1])
    with_bridge = Design(square, Plate("wood", 0.003), patches=(bridge,))
    assert with_bridge.driving_point == pytest.approx([0.1, 0.1])
    assert Design(square, Plate("wood", 0.003), bridge_point=(0.05, 0.06)).driving_point == pytest.approx([0.05, 0.06])
    planed = plain.with_brace(one.shaved(0.1, 0.2, 0.001))
    assert planed.brace("b").height(np.array(0.15)) == pytest.approx(0.009)
    assert plain.brace("b") is one
    with pytest.raises(DesignError, match='no brace is named "c"; the braces are: b'):
        plain.brace("c")
