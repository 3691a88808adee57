"""Brace patterns: they fit typical bodies, are symmetric where they should be, and have the asked sizes."""

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.bodies import Body, bodies

from bracedtop.geometry.bar import Bar
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.layout import brace_footprint, check_layout, crossings
from bracedtop.geometry.outline import Hole, body_outline, polygon_outline
from bracedtop.geometry.pattern import crossed_x, fan, ladder, lattice
from bracedtop.geometry.profile import stations

BODY = body_outline(0.48, 0.37, 0.12, 0.23, 0.29, 0.275, 0.395)
HOLE = Hole(np.array([0.33, 0.0]), np.array([0.048, 0.048]))
SLAB = polygon_outline([[0, 0], [0.1, 0], [0.1, 0.05], [0, 0.05]])
FAMILIES = (crossed_x, ladder, fan, lattice)

Family = Callable[..., tuple[Brace, ...]]


def checked(braces: tuple[Brace, ...], outline: object = BODY, hole: Hole | None = HOLE) -> Design:
    design = Design(outline, Plate("wood", 0.0028), () if hole is None else (hole,), braces)
    check_layout(design)
    return design


@pytest.mark.parametrize("family", FAMILIES)
@given(bodies(), st.floats(0.0, 0.012), st.booleans())
@settings(max_examples=25, deadline=None)
def test_patterns_fit_typical_bodies(family: Family, body: Body, clearance: float, holed: bool) -> None:
    outline, hole = body.outline, body.hole if holed else None
    braces = family(outline, hole, "wood", clearance=clearance)
    checked(braces, outline, hole)
    top = outline.polygon
    gaps = [top.exterior.distance(shapely.Point(end)) for b in braces for end in b.path[[0, -1]]]
    # A buffer's round corners are polygons: a hundredth of a millimetre.
    assert min(gaps) > clearance - 1e-5
    assert len({b.name for b in braces}) == len(braces)


@pytest.mark.parametrize("family", FAMILIES)
@given(bodies(), st.floats(0.5, 3.0))
@settings(max_examples=15, deadline=None)
def test_patterns_scale_with_the_body(family: Family, body: Body, factor: float) -> None:
    # The same curve, scaled point by point.
    outline = body.outline
    scaled = type(outline)(factor * outline.points, outline.corners)
    hole = Hole(factor * body.hole.centre, factor * body.hole.semi_axes)
    for small, large in zip(family(outline, body.hole, "wood"), family(scaled, hole, "wood"), strict=True):
        assert large.path == pytest.approx(factor * small.path, abs=1e-9)
        assert large.width == pytest.approx(factor * small.width)
        assert large.stations == pytest.approx(factor * small.stations, abs=1e-9)


@pytest.mark.parametrize("family", [ladder, fan, lattice])
def test_patterns_of_symmetric_bodies_are_symmetric(family: Family) -> None:
    faces = [brace_footprint(b) for b in family(BODY, HOLE, "wood")]
    mirrored = [shapely.Polygon(shapely.get_coordinates(face) * [1, -1]) for face in faces]
    assert shapely.union_all(faces).symmetric_difference(shapely.union_all(mirrored)).area < 1e-10


def test_legs_of_the_x_cross_where_and_as_steeply_as_asked() -> None:
    braces = crossed_x(BODY, HOLE, "wood", crossing_at=0.25, half_angle=np.deg2rad(50))
    design = checked(braces)
    (found,) = crossings(design)
    assert (found.under, found.over) == ("x1", "x2")
    assert found.point == pytest.approx([0.25, 0.0], abs=1e-9)
    for name, sign in (("x1", 1), ("x2", -1)):
        leg = design.brace(name)
        direction = np.diff(leg.path, axis=0)[0]
        assert np.arctan2(direction[1], direction[0]) == pytest.approx(sign * np.deg2rad(50))
        # Full height in the crossing, low at both ends.
        assert leg.height(np.array([0.0, leg.length])) == pytest.approx(np.full(2, 3e-3 * 480 / 490))
        assert leg.stations[:, 1].max() == pytest.approx(15e-3 * 480 / 490)
        at = float(np.hypot(*(leg.path[0] - found.point)))
        assert float(leg.height(np.array(at))) == pytest.approx(leg.stations[:, 1].max())


@pytest.mark.parametrize(("n_tone_bars", "n_fingers"), [(0, 0), (1, 1), (2, 2), (3, 3)])
def test_tone_bars_and_fingers_come_in_the_asked_number_and_butt_on_the_legs(n_tone_bars: int, n_fingers: int) -> None:
    braces = crossed_x(BODY, HOLE, "wood", n_tone_bars=n_tone_bars, n_fingers=n_fingers)
    design = checked(braces)
    assert len(braces) == 3 + n_tone_bars + 2 * n_fingers
    legs = shapely.union_all([brace_footprint(design.brace(name)) for name in ("x1", "x2")])
    for b in braces[2:-1]:
        assert shapely.Point(b.path[0]).distance(legs) < 1e-9


def test_ladder_bars_stand_where_asked() -> None:
    braces = ladder(BODY, HOLE, "wood", positions=[0.2, 0.1, 0.25, 0.4])
    checked(braces)
    assert [float(b.path[0, 0]) for b in braces] == pytest.approx([0.1, 0.2, 0.25, 0.4])
    assert [b.name for b in braces] == ["bar 1", "bar 2", "bar 3", "bar 4"]
    assert len(ladder(BODY, HOLE, "wood", n_lower=5)) == 7


def test_fan_struts_have_their_spacing_and_meet_in_their_focus() -> None:
    braces = fan(BODY, HOLE, "wood", n_struts=5, spacing=0.03, spaced_at=0.15, focus_at=0.45)
    checked(braces)
    struts = [b for b in braces if b.name.startswith("fan")]
    assert len(struts) == 5
    across = []
    for strut in struts:
        (x0, y0), (x1, y1) = strut.path
        slope = (y1 - y0) / (x1 - x0)
        across.append(y0 + slope * (0.15 - x0))
        assert y0 + slope * (0.45 - x0) == pytest.approx(0, abs=1e-9)
    assert np.diff(across) == pytest.approx(np.full(4, 0.03))


@given(st.floats(0.02, 0.09), st.floats(35, 60))
@settings(max_examples=15, deadline=None)
def test_lattice_bars_of_a_family_are_parallel_and_spaced(spacing: float, half_angle: float) -> None:
    design = checked(lattice(BODY, HOLE, "wood", spacing=spacing, half_angle=np.deg2rad(half_angle)))
    for family in "ab":
        paths = np.array([b.path for b in design.braces if b.name.startswith(family)])
        along = np.diff(paths, axis=1)[:, 0]
        angle = np.abs(np.arctan2(along[:, 1], along[:, 0]))
        assert angle == pytest.approx(np.full(len(paths), np.deg2rad(half_angle)))
        normal = np.array([-along[0, 1], along[0, 0]]) / np.hypot(*along[0])
        gaps = np.diff(np.sort(paths[:, 0] @ normal)) / spacing
        assert gaps == pytest.approx(np.round(gaps), abs=1e-6)
    assert len(crossings(design)) > 0


def test_bars_of_other_sizes_are_used_as_given() -> None:
    bar = Bar(0.01, 0.02, 0.0, "level")
    braces = ladder(BODY, HOLE, "wood", bar=bar)
    assert {b.width for b in braces} == {0.01}
    assert all((b.stations[:, 1] == 0.02).all() for b in braces)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (
            lambda: ladder(BODY, HOLE, "w", positions=[0.1, 0.6]),
            'brace "bar 2": no room for it through [600.0',
        ),
        (lambda: ladder(BODY, HOLE, "w", clearance=0.3), "leaves no room for braces"),
        (
            lambda: lattice(BODY, HOLE, "w", spacing=0.01),
            "lattice spacing 10 mm; must be at least three widths",
        ),
        (
            lambda: lattice(polygon_outline([[0, 0], [0.1, 0], [0.1, 0.05], [0, 0.05]]), None, "w", spacing=0.06),
            "no room",
        ),
        (lambda: fan(BODY, HOLE, "w", spacing=0.1), 'brace "fan 1": no room'),
        (lambda: crossed_x(BODY, HOLE, "w", crossing_at=0.5), 'brace "x1": no room'),
    ],
)
def test_what_has_no_room_is_refused(make: Callable[[], object], words: str) -> None:
    with pytest.raises(DesignError) as caught:
        make()
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("profile", ["level", "tapered", "parabolic", "scalloped"])
@given(st.floats(0.05, 0.5), st.floats(0.1, 0.9), st.floats(0.0, 0.9))
@settings(max_examples=30, deadline=None)
def test_profiles_reach_their_height_and_keep_to_their_ends(
    profile: str, length: float, part: float, low: float
) -> None:
    s, h = stations(profile, length, 0.014, low * 0.014, part * length).T
    assert s[0] == 0
    assert s[-1] == pytest.approx(length)
    assert (np.diff(s) > 0).all()
    assert h.max() == pytest.approx(0.014)
    assert np.interp(part * length, s, h) == pytest.approx(0.014)
    assert h.min() >= min(low, 1) * 0.014 - 1e-15
    if profile != "level":
        assert h[[0, -1]] == pytest.approx(np.full(2, low * 0.014))


def test_a_parabolic_profile_has_the_area_of_its_parabola() -> None:
    # Archimedes: a parabola's segment has two thirds of its rectangle; the chords of 24 pieces lose 1 / 2 / 24^2 each.
    s, h = stations("parabolic", 0.3, 0.012, 0.003).T
    assert float((np.diff(s) * (h[1:] + h[:-1]) / 2).sum()) == pytest.approx(0.3 * (0.003 + 2 / 3 * 0.009), rel=2e-3)


def test_a_scalloped_profile_has_a_scoop_and_a_crest_on_either_side() -> None:
    h = stations("scalloped", 0.4, 0.015, 0.003)[:, 1]
    turns = np.flatnonzero(np.diff(np.sign(np.diff(h))))
    assert len(turns) == 5


@pytest.mark.parametrize(
    "sizes", [(0.0, 0.01, 0.0, None), (0.2, 0.0, 0.0, None), (0.2, 0.01, 0.02, None), (0.2, 0.01, 0.0, 0.2)]
)
def test_bad_profiles_are_refused(sizes: tuple[float, float, float, float | None]) -> None:
    with pytest.raises(DesignError, match="the place must lie between the ends, which must not be higher"):
        stations("tapered", *sizes)
