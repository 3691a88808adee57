"""Cuts: heights, the wood they take, and that neither order nor bookkeeping matters."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.plates import TRIAL_WOOD, WOOD, rectangle

from bracedtop.fem.cut_mass import cut_grams
from bracedtop.fem.model import build_model
from bracedtop.fem.what_if import shaved_design
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import crossings
from bracedtop.geometry.cut import BEYOND, EDGE_RING, Cut, cut_brace, cut_design
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.mesh import mesh_top
from bracedtop.geometry.outline import polygon_outline
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.thickness import ThicknessRegion

WOODS = {WOOD: TRIAL_WOOD}
LENGTH, WIDTH = 0.25, 0.007
RING = 12e-3


def bar(stations=((0.0, 0.004), (0.12, 0.012), (LENGTH, 0.004)), shape="square", name="a", width=WIDTH) -> Brace:
    return Brace(name, WOOD, np.array([[0.03, 0.05], [0.03 + LENGTH, 0.05]]), width, np.array(stations), shape)


def top(*braces: Brace, ring: float = 0.0) -> Design:
    plate = Plate(WOOD, 3e-3, ring_width=RING if ring else 0.0, ring_reduction=ring)
    return Design(rectangle(0.32, 0.2), plate, braces=braces or (bar(),), edge=Edge("free"))


def crossed(shape="rounded") -> Design:
    """A bar, another one lapped over it at 50 degrees."""
    half = 0.06 * np.array([np.cos(np.radians(50)), np.sin(np.radians(50))])
    middle = np.array([0.15, 0.1])
    under = Brace(
        "a", WOOD, np.array([[0.03, 0.1], [0.28, 0.1]]), WIDTH, np.array([[0.0, 0.006], [0.25, 0.012]]), shape
    )
    over = Brace("b", WOOD, np.array([middle - half, middle + half]), 0.006, np.array([[0.0, 0.011], [0.12, 0.011]]))
    joints = (Joint("a", "b", 5e-3),)
    return Design(rectangle(0.32, 0.2), Plate(WOOD, 3e-3), braces=(under, over), joints=joints, edge=Edge("free"))


@st.composite
def profiles(draw: st.DrawFn) -> Brace:
    """Bars of up to six stations, steps among them, 2 to 12 mm high."""
    places = sorted(draw(st.lists(st.integers(0, 25), min_size=2, max_size=6)))
    heights = draw(st.lists(st.integers(2, 12), min_size=len(places), max_size=len(places)))
    shape = draw(st.sampled_from(["square", "rounded", "peaked"]))
    return bar(np.column_stack([np.array(places) * 0.01, np.array(heights) * 1e-3]), shape)


@st.composite
def cuts(draw: st.DrawFn, most: int = 20) -> Cut:
    """Cuts of at most `most` tenths of a millimetre."""
    ends = draw(st.lists(st.integers(0, 250), min_size=2, max_size=2, unique=True))
    depths = [draw(st.integers(0, most)) * 1e-4 for _ in range(2)]
    return Cut("a", min(ends) * 1e-3, max(ends) * 1e-3, *depths)


def side_area(brace: Brace) -> float:
    """Area under the profile by the trapezoidal rule between the stations, m^2."""
    knots = np.unique(np.concatenate([[0.0], brace.stations[:, 0], [brace.length]]))
    return float((np.diff(knots) * (brace.height(knots[:-1]) + brace.height_before(knots[1:])) / 2).sum())


@given(profiles(), st.lists(cuts(most=5), max_size=4))
def test_heights_are_lowered_by_the_sum_of_the_depths(brace: Brace, own: list[Cut]) -> None:
    s = np.linspace(0.0, LENGTH - 1e-4, 91) + 1.234e-5
    lower = cut_brace(brace, own)
    expected = brace.height(s) - sum((cut.depth(s) for cut in own), np.zeros(len(s)))
    np.testing.assert_allclose(lower.height(s), expected, rtol=0, atol=1e-9)


@given(profiles(), st.lists(cuts(most=4), max_size=5), st.randoms(use_true_random=False))
def test_order_of_cuts_does_not_matter(brace: Brace, own: list[Cut], random: object) -> None:
    mixed = list(own)
    random.shuffle(mixed)  # type: ignore[attr-defined]
    np.testing.assert_array_equal(cut_brace(brace, mixed).stations, cut_brace(brace, own).stations)
    one_by_one = brace
    for cut in mixed:
        one_by_one = cut_brace(one_by_one, [cut])
    s = np.linspace(0.0, LENGTH, 91) + 1.234e-5
    np.testing.assert_allclose(one_by_one.height(s), cut_brace(brace, own).height(s), rtol=0, atol=1e-8)


@given(profiles(), st.lists(cuts(most=5), min_size=1, max_size=4))
def test_grams_are_the_volume_between_the_two_profiles(brace: Brace, own: list[Cut]) -> None:
    """By hand: areas of sections are linear in the height, in rounded ones with a kink at half a width."""
    factor = {"square": 1.0, "rounded": 1.0, "peaked": 0.75}[brace.shape]
    lower = cut_brace(brace, own)
    if brace.shape == "rounded" and min(lower.stations[:, 1].min(), brace.stations[:, 1].min()) < WIDTH / 2:
        s = np.linspace(0.0, LENGTH, 20001)
        s = (s[1:] + s[:-1]) / 2
        h = np.stack([brace.height(s), lower.height(s)])
        areas = np.where(h < WIDTH / 2, np.pi / 4 * WIDTH * h, WIDTH * (h - WIDTH / 2) + np.pi / 8 * WIDTH**2)
        expected, tolerance = LENGTH * float((areas[0] - areas[1]).mean()), 2e-3
    else:
        expected, tolerance = factor * WIDTH * (side_area(brace) - side_area(lower)), 1e-6
    grams = cut_grams(top(brace), WOODS, own)
    assert sum(grams) == pytest.approx(1e3 * TRIAL_WOOD.density * expected, rel=tolerance, abs=1e-6)


@pytest.mark.parametrize("shape", ["square", "rounded", "peaked"])
def test_grams_are_what_the_model_loses(shape: str) -> None:
    """The finite-element model sums the same wood over its triangles."""
    design = crossed(shape)
    own = [Cut("a", 0.02, 0.13, 0.0, 1.5e-3), Cut("a", 0.13, 0.23, 1.5e-3, 0.2e-3), Cut("b", 0.01, 0.1, 2e-3, 1e-3)]
    before = build_model(design, WOODS, size=0.06)
    after = build_model(cut_design(design, own), WOODS, size=0.06, mesh=before.mesh)
    # The model's rule and ours both miss the kinks inside the crossing's block a little.
    assert sum(cut_grams(design, WOODS, own)) == pytest.approx(1e3 * (before.mass() - after.mass()), rel=1e-4)


def test_wood_that_a_notch_has_taken_already_weighs_nothing() -> None:
    """The under brace is 5 mm high in the lap; the over one stands on it. Lowering the under one leaves the lap."""
    design = crossed("square")
    block = WIDTH * 0.006 / np.sin(np.radians(50))
    own = [Cut("a", 0.0, 0.25, 0.5e-3, 0.5e-3)]
    expected = TRIAL_WOOD.density * 0.5e-3 * (WIDTH * 0.25 - block)
    assert cut_grams(design, WOODS, own)[0] == pytest.approx(1e3 * expected, rel=1e-6)


def test_wood_over_a_patch_under_braces() -> None:
    """Square: a cut takes the same over a patch. Cut down to the patch: only what stands above it can be taken."""
    corners = np.array([[0.1, 0.03], [0.16, 0.03], [0.16, 0.07], [0.1, 0.07]])
    patch = Patch("pad", WOOD, polygon_outline(corners), 2e-3, under_braces=True)
    flat = bar([[0.0, 0.005], [LENGTH, 0.005]])
    design = replace(top(flat), patches=(patch,))
    per_mm = 1e3 * TRIAL_WOOD.density * WIDTH * 1e-3
    assert cut_grams(design, WOODS, [Cut("a", 0, LENGTH, 1e-3, 1e-3)])[0] == pytest.approx(LENGTH * per_mm)
    deep = [Cut("a", 0, LENGTH, 4e-3, 4e-3)]
    assert cut_grams(design, WOODS, deep)[0] == pytest.approx((4 * (LENGTH - 0.06) + 3 * 0.06) * per_mm)


def test_cutting_nothing_changes_nothing() -> None:
    design = crossed()
    assert cut_design(design, []) is design
    assert cut_design(design, [Cut("a", 0.0, 0.1, 0.0, 0.0), Cut(EDGE_RING, 0, 0, 0, 0)]) is design
    assert cut_grams(design, WOODS, [Cut("a", 0.0, 0.1, 0.0, 0.0)]) == (0.0,)
    assert cut_grams(design, WOODS, []) == ()


def test_a_whole_cut_is_what_shaving_makes_of_it() -> None:
    design = crossed()
    ours, theirs = cut_design(design, [Cut("a", 0.05, 0.17, 1e-3, 1e-3)]), shaved_design(design, "a", 0.05, 0.17, 1e-3)
    np.testing.assert_array_equal(ours.brace("a").stations, theirs.brace("a").stations)
    assert [c.kept for c in crossings(ours)] == [c.kept for c in crossings(theirs)] == [5e-3]


def test_a_joint_without_a_height_keeps_the_notch_it_was_cut_with() -> None:
    design = replace(crossed(), joints=())
    kept = crossings(design)[0].kept
    lower = cut_design(design, [Cut("a", 0.0, 0.25, 2e-3, 2e-3)])
    assert crossings(lower)[0].kept == kept


def test_neighbouring_cuts_make_one_profile() -> None:
    """Ends that rounding has set apart are one, and where depths agree there is no step."""
    apart = np.nextafter(0.05, 1)
    flat = bar([[0.0, 0.01], [LENGTH, 0.01]])
    lower = cut_brace(flat, [Cut("a", 0.02, apart, 0.0, 9e-3), Cut("a", 0.05, 0.1, 9e-3, 0.0)])
    np.testing.assert_allclose(
        lower.stations, [[0, 0.01], [0.02, 0.01], [0.05, 0.001], [0.1, 0.01], [LENGTH, 0.01]], atol=1e-9
    )


def test_ends_of_a_cut_on_stations_and_at_the_end_of_the_brace() -> None:
    lower = cut_brace(bar(), [Cut("a", 0.12 + 3e-7, LENGTH + 0.9 * BEYOND, 1e-3, 1e-3)])
    np.testing.assert_allclose(lower.stations, [[0, 0.004], [0.12, 0.012], [0.12, 0.011], [LENGTH, 0.003]], atol=1e-12)


def test_a_cut_behind_the_last_station() -> None:
    lower = cut_brace(bar([[0.05, 0.004], [0.2, 0.008]]), [Cut("a", 0.22, LENGTH, 1e-3, 2e-3)])
    s = np.array([0.0, 0.2, 0.21, 0.22 + 1e-9, 0.235, LENGTH])
    assert lower.height(s) == pytest.approx([0.004, 0.008, 0.008, 0.007, 0.0065, 0.006], abs=1e-7)


def test_ring_is_thinned() -> None:
    design = top(ring=0.4e-3)
    own = [Cut(EDGE_RING, 0, 0, 0.3e-3, 0.3e-3), Cut(EDGE_RING, 0, 0, 0.2e-3, 0.2e-3)]
    lower = cut_design(design, own)
    assert lower.plate.ring_reduction == pytest.approx(0.9e-3)
    assert lower.braces == design.braces
    area = 0.32 * 0.2 - (0.32 - 2 * RING) * (0.2 - 2 * RING)
    grams = cut_grams(design, WOODS, own)
    assert grams == pytest.approx([1e3 * TRIAL_WOOD.density * area * depth for depth in (0.3e-3, 0.2e-3)])
    mesh = mesh_top(design, 0.06)
    masses = [build_model(d, WOODS, mesh=mesh).mass() for d in (design, lower)]
    assert sum(grams) == pytest.approx(1e3 * (masses[0] - masses[1]), rel=1e-6)


def refusal(design: Design, *own: Cut) -> str:
    with pytest.raises(DesignError) as caught:
        cut_design(design, own)
    with pytest.raises(DesignError):
        cut_grams(design, WOODS, own)
    return str(caught.value)


@pytest.mark.parametrize(
    ("own", "words"),
    [
        ([Cut("a", 0.05, 0.1, 0.0, 0.02)], 'brace "a": 20.00 mm to take at 100.0 mm, where it is 10.67 mm high'),
        ([Cut("a", 0, 0.01, 2e-3, 2e-3)] * 3, 'brace "a": 6.00 mm to take at 0.0 mm, where it is 4.00 mm high'),
        ([Cut("a", 0.2, 0.2507, 0, 1e-3)], "cut from 200 to 250.7 mm; must lie inside 0 to 250.0 mm"),
        ([Cut("a", 0.2500001, 0.2502, 0, 1e-3)], "must lie inside 0 to 250.0 mm"),
        ([Cut("a", 0.12 - 3e-7, 0.12 + 3e-7, 0, 1e-3)], "must be longer than 0.001 mm"),
        ([Cut("z", 0.2, 0.3, 0, 0.0)], 'no brace is named "z"; the braces are: a'),
        ([Cut(EDGE_RING, 0, 0, 1e-3, 1e-3)], "the drawing has no edge ring, see edge_ring_width_mm"),
    ],
)
def test_cuts_that_cannot_be_made(own: list[Cut], words: str) -> None:
    assert words in refusal(top(), *own)


def test_a_ring_is_not_thinned_through() -> None:
    assert "2.60 mm to take where the wood is 2.60 mm thick" in refusal(
        top(ring=4e-4), Cut(EDGE_RING, 0, 0, 26e-4, 26e-4)
    )
    design = top(ring=4e-4)
    thin = ThicknessRegion(rectangle(0.1, 0.1), 2e-3)
    design = replace(design, plate=replace(design.plate, regions=(thin,)))
    assert "2.00 mm to take where the wood is 1.60 mm thick" in refusal(design, Cut(EDGE_RING, 0, 0, 2e-3, 2e-3))
    cut_design(design, [Cut(EDGE_RING, 0, 0, 1.5e-3, 1.5e-3)])


@pytest.mark.parametrize(
    "numbers", [(0.1, 0.1, 0, 0), (0.2, 0.1, 0, 0), (-0.1, 0.1, 0, 0), (0, 0.1, -1e-3, 0), (0, 0.1, 0, np.nan)]
)
def test_impossible_cuts(numbers: tuple[float, float, float, float]) -> None:
    with pytest.raises(DesignError, match='cut of "a"'):
        Cut("a", *numbers)


@pytest.mark.parametrize("numbers", [(0, 0.1, 0, 0), (0, 0, 1e-3, 2e-3)])
def test_impossible_cuts_of_the_ring(numbers: tuple[float, float, float, float]) -> None:
    with pytest.raises(DesignError, match="the ring is thinned evenly"):
        Cut(EDGE_RING, *numbers)


@settings(max_examples=30)
@given(st.lists(cuts(most=15), min_size=1, max_size=3))
def test_depth_down_to_nothing_and_no_further(own: list[Cut]) -> None:
    flat = bar([[0.0, 2e-3], [LENGTH, 2e-3]])
    s = np.unique([x for cut in own for x in (cut.start, cut.stop)])
    inside = [sum(cut.depth(np.array([x]))[0] * (cut.start < x) for cut in own) for x in s]
    beyond = [sum(cut.depth(np.array([x]))[0] * (x < cut.stop) for cut in own) for x in s]
    if max(*inside, *beyond) > 2e-3 + 1e-9:
        with pytest.raises(DesignError, match=r"must be between 0 and that height"):
            cut_brace(flat, own)
    else:
        assert cut_brace(flat, own).stations[:, 1].min() >= 0
