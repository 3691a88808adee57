"""Footprints, crossings, and the refusal of what cannot be built."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Joint, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.layout import brace_footprint, check_layout, crossings
from bracedtop.geometry.outline import Hole, Outline, body_outline, polygon_outline, rectangle
from bracedtop.geometry.patch import Patch

MM = 1e-3
BODY = body_outline(0.48, 0.37, 0.12, 0.23, 0.29, 0.275, 0.395)
HOLE = Hole(np.array([0.33, 0.0]), np.array([0.05, 0.05]))
PLATE = Plate("wood", 0.0028)


def brace(name: str, *path: tuple[float, float], width: float = 7.0, height: float = 15.0) -> Brace:
    """A level brace, all lengths in mm."""
    points = MM * np.array(path, dtype=float)
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return Brace(name, "wood", points, MM * width, np.array([[0, MM * height], [length, MM * height]]))


def slab(name: str, centre: tuple[float, float], size: tuple[float, float], **keys: object) -> Patch:
    """A rectangular patch, all lengths in mm."""
    return Patch(name, "wood", rectangle(MM * np.array(centre), MM * np.array(size)), 0.002, **keys)


DUMBBELL = polygon_outline(
    [
        *([0, 0], [0.1, 0], [0.1, 0.0495], [0.3, 0.0495], [0.3, 0], [0.4, 0]),
        *([0.4, 0.1], [0.3, 0.1], [0.3, 0.0505], [0.1, 0.0505], [0.1, 0.1], [0, 0.1]),
    ]
)
TONGUE = polygon_outline(
    MM * np.array([[100, 0], [220, 0], [220, -60], [220.5, -60], [220.5, 0], [240, 0], [240, 50], [100, 50]])
)
LEGS = (brace("x1", (110, -150), (335, 91)), brace("x2", (110, 150), (335, -91)))
BRIDGE = slab("bridge", (135, 0), (28, 150), side="outside", is_bridge=True)
RING = Patch("ring", "wood", HOLE.outline(grow=0.015), 0.0015)


def top(
    *braces: Brace,
    outline: Outline = BODY,
    plate: Plate = PLATE,
    holes: tuple[Hole, ...] = (HOLE,),
    patches: tuple[Patch, ...] = (),
    joints: tuple[Joint, ...] = (),
) -> Design:
    return Design(outline, plate, holes, braces, patches, joints)


def slotted(width: float) -> Outline:
    """A rectangle with a saw cut of a width in mm."""
    cut = [[150, 0], [150, 100], [150 + width, 100], [150 + width, 0]]
    return polygon_outline(MM * np.array([[0, 0], *cut, [300, 0], [300, 200], [0, 200]]))


def refusal(design: Design) -> str:
    with pytest.raises(DesignError) as caught:
        check_layout(design)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_footprint_of_a_straight_brace_is_its_rectangle() -> None:
    area = brace_footprint(brace("a", (100, 0), (200, 0), width=8))
    assert area.symmetric_difference(shapely.box(0.1, -0.004, 0.2, 0.004)).area == pytest.approx(0, abs=1e-15)


def test_footprint_of_a_bent_brace_gains_outside_what_it_loses_inside() -> None:
    bent = brace("a", (100, 0), (150, 0), (190, 30), width=8)
    assert brace_footprint(bent).area == pytest.approx(bent.length * bent.width, rel=1e-9)


@given(st.floats(15, 165), st.floats(2, 12), st.floats(2, 12), st.floats(0, 360))
@settings(max_examples=60, deadline=None)
def test_two_strips_share_a_parallelogram(angle: float, one: float, two: float, turn: float) -> None:
    # Area of the parallelogram of two strips: product of the widths over the sine of their angle.
    a, b = np.deg2rad(turn), np.deg2rad(turn + angle)
    centre = np.array([120.0, 10.0])
    ends = [
        [centre - 80 * np.array([np.cos(t), np.sin(t)]), centre + 70 * np.array([np.cos(t), np.sin(t)])] for t in (a, b)
    ]
    (found,) = crossings(top(brace("a", *ends[0], width=one), brace("b", *ends[1], width=two)))
    assert found.point == pytest.approx(MM * centre)
    assert found.polygon.area == pytest.approx(MM**2 * one * two / np.sin(np.deg2rad(angle)))
    assert (found.under, found.over) == ("a", "b")


def test_half_of_the_lower_brace_is_kept_and_joints_say_otherwise() -> None:
    low, tall = brace("low", (100, 0), (200, 0), height=8), brace("tall", (150, -50), (150, 50), height=15)
    (plain,) = crossings(top(tall, low))
    assert (plain.under, plain.over, plain.kept) == ("tall", "low", pytest.approx(0.004))
    (turned,) = crossings(top(tall, low, joints=(Joint("low", "tall"),)))
    assert (turned.under, turned.over, turned.kept) == ("low", "tall", pytest.approx(0.004))
    (whole,) = crossings(top(tall, low, joints=(Joint("tall", "low", 0.015),)))
    assert (whole.under, whole.kept) == ("tall", 0.015)


def test_the_height_at_the_crossing_counts() -> None:
    sloping = Brace("s", "wood", MM * np.array([[100, 0], [200, 0]]), 0.007, MM * np.array([[0, 2], [100, 12]]))
    (found,) = crossings(top(sloping, brace("t", (175, -50), (175, 50), height=15)))
    assert found.kept == pytest.approx(0.5 * 9.5 * MM)


@pytest.mark.parametrize("end", [-20, -3.6, -3.4, 0, 3.4])
def test_a_brace_that_ends_on_another_does_not_cross_it(end: float) -> None:
    across = brace("a", (150, -80), (150, 80), width=7)
    butting = brace("b", (60, 20), (150 + end, 20))
    assert crossings(top(across, butting)) == ()
    check_layout(top(across, butting))


def test_a_brace_that_goes_on_beyond_the_flank_crosses() -> None:
    across, through = brace("a", (150, -80), (150, 80), width=7), brace("b", (60, 20), (160, 20))
    (found,) = crossings(top(across, through))
    assert found.point == pytest.approx([0.15, 0.02])


def test_a_path_that_bends_at_anothers_centreline_and_turns_back_does_not_cross() -> None:
    roof = brace("b", (80, 60), (150, 0), (220, 60))
    assert crossings(top(brace("a", (60, 0), (240, 0)), roof)) == ()


def test_a_curved_brace_may_cross_another_twice() -> None:
    t = np.linspace(-1, 1, 41)
    arch = brace("b", *zip(60 + 150 * (1 - t**2), 100 * t, strict=True))
    found = crossings(top(brace("a", (150, -120), (150, 120)), arch))
    assert [tuple(np.round(c.point, 4)) for c in found] == [(0.15, -0.0632), (0.15, 0.0632)]


@given(st.permutations(range(4)))
@settings(max_examples=10, deadline=None)
def test_every_pair_is_found_once_in_the_order_of_the_braces(order: list[int]) -> None:
    grid = [
        brace("a", (100, -90), (100, 90)),
        brace("b", (160, -90), (160, 90)),
        brace("c", (60, -60), (220, -60)),
        brace("d", (60, 60), (220, 60)),
    ]
    braces = [grid[k] for k in order]
    names = [b.name for b in braces]
    found = [(c.under, c.over) for c in crossings(top(*braces))]
    assert len(found) == 4
    assert found == sorted(found, key=lambda pair: (names.index(pair[0]), names.index(pair[1])))


def test_mirrored_and_scaled_designs_cross_alike() -> None:
    design = top(*LEGS)
    (found,) = crossings(design)
    mirrored = tuple(replace(b, path=b.path * [1, -1]) for b in design.braces)
    (other,) = crossings(replace(design, braces=mirrored))
    assert other.point == pytest.approx(found.point * [1, -1])
    assert other.polygon.area == pytest.approx(found.polygon.area)
    scaled = tuple(Brace(b.name, b.wood, 2 * b.path, 2 * b.width, 2 * b.stations) for b in design.braces)
    (larger,) = crossings(replace(design, braces=scaled))
    assert larger.point == pytest.approx(2 * found.point)
    assert larger.kept == pytest.approx(2 * found.kept)
    assert larger.polygon.area == pytest.approx(4 * found.polygon.area)


@pytest.mark.parametrize(
    "design",
    [
        top(),
        top(*LEGS, patches=(BRIDGE, RING), joints=(Joint("x2", "x1", 0.0075),)),
        top(*LEGS, brace("tone", (150, -170), (203, -50))),
        top(*LEGS, plate=Plate("wood", 0.0028, ring_width=0.02, ring_reduction=0.0005), patches=(BRIDGE,)),
        top(*LEGS, patches=(slab("plate", (170, 0), (46, 140)), BRIDGE)),
        top(brace("a", (100, 0), (200, 0)), brace("b", (200, 0), (250, 0))),
        top(brace("tucked", (120, -184.9), (120, 184.9))),
        top(brace("oblique end", (120, 0), (330, -119.5))),
        top(brace("finger", (275, 0), (240, 0))),
        top(patches=(slab("a", (100, 0), (40, 40)), slab("b", (140, 0), (40, 40)))),
        top(patches=(slab("in", (100, 0), (40, 40)), slab("out", (110, 0), (40, 40), side="outside"))),
        top(patches=(slab("over the hole", (330, 0), (130, 60)),)),
        top(holes=(HOLE, Hole(np.array([0.2, 0.06]), np.array([0.03, 0.004]), 0.5))),
        top(outline=polygon_outline([[0, 0], [0.4, 0], [0.4, 0.3], [0, 0.3]]), holes=()),
        top(outline=slotted(1.5), holes=()),
        top(brace("planed away", (100, 0), (200, 0), height=0)),
    ],
    ids=lambda design: "-".join(b.name for b in (*design.braces, *design.patches)) or "bare",
)
def test_what_makers_do_is_let_pass(design: Design) -> None:
    check_layout(design)


@pytest.mark.parametrize(
    ("design", "words"),
    [
        (
            lambda: top(brace("x1", (60, -10), (512, 3))),
            'brace "x1".path_mm row 2 = [512.0, 3.0]: outside the outline by 32.0 mm; every point has to lie on',
        ),
        (lambda: top(brace("a", (120, 180), (395, 130))), 'brace "a".path_mm: leaves the outline by 35.0 mm at [2'),
        (
            lambda: top(brace("a", (330, -100), (330, 100))),
            'brace "a".path_mm: with its width of 7 mm it enters hole 1',
        ),
        (lambda: top(brace("a", (200, 0), (290, 0))), "it enters hole 1 near [28"),
        (lambda: top(brace("a", (250, 52), (380, 52))), "it enters hole 1 near [330.0, 49"),
        (lambda: top(LEGS[0], LEGS[0]), 'brace "x1": 2 have this name'),
        (lambda: top(brace("a", (100, 0), (200, 0)), brace("b", (110, 5), (200, 5))), "runs along brace"),
        (lambda: top(brace("a", (100, 0), (240, 0)), brace("b", (110, -8), (240, 8))), "at 10 degrees or more"),
        (lambda: top(brace("a", (100, 0), (200, 0)), brace("b", (190, 0), (250, 0))), "10.0 mm of its centreline in"),
        (lambda: top(brace("a", (100, 0), (200, 0)), brace("b", (120, 1), (140, 1.5), width=5)), 'along brace "a"'),
        (lambda: top(*LEGS, brace("t", (250, -80), (250, 90))), 'braces "x1", "x2", "t": their crossings overlap near'),
        (
            lambda: top(brace("a", (60, 0), (240, 0)), brace("b", (150, -60), (150, 0), (190, 60))),
            'brace "b".path_mm row 2 = [150.0, 0.0]: bends by 34 degrees inside its crossing with brace "a"',
        ),
        (
            lambda: top(brace("z", (100, 0), (150, 30), (100, 20))),
            "row 2 = [150.0, 30.0]: bends by 160 degrees; must be",
        ),
        (lambda: top(brace("z", (90, 0), (150, 0), (150, 40), (120, 40), (120, -40))), "crosses or touches itself"),
        (
            lambda: top(brace("z", *((90 + 4 * k, 2 * (k % 2)) for k in range(9)), width=20)),
            "row 2 = [94.0, 2.0]: bends too",
        ),
        (lambda: top(brace("z", (90, 0), (190, 0), width=100)), 'brace "z".width_mm = 100: must be 1 to 92.5'),
        (lambda: top(brace("z", (90, 0), (190, 0), width=0.5)), 'brace "z".width_mm = 0.5: must be 1 to'),
        (
            lambda: top(brace("z", (90, 0), (190, 0), height=150)),
            'brace "z".stations_mm row 1: height 150; must be at m',
        ),
        (lambda: top(brace("z", (90, 0), (93, 0))), "3.0 mm long, 7 mm wide; must be at least as long as wide"),
        (
            lambda: top(brace("r", *1e3 * BODY.points[100:300])),
            "of its glued face lies outside the outline; at most 25",
        ),
        (lambda: top(*LEGS, joints=(Joint("x1", "q"),)), 'joint 1.over = "q": no such brace; braces: x1, x2'),
        (lambda: top(LEGS[0], joints=(Joint("x1", "x1"),)), 'joint 1: braces "x1" and "x1" do not cross'),
        (
            lambda: top(*LEGS, brace("t", (150, -170), (203, -50)), joints=(Joint("x1", "t"),)),
            'joint 1: braces "x1" and "t" do not cross; a joint needs a crossing',
        ),
        (
            lambda: top(*LEGS, joints=(Joint("x1", "x2"), Joint("x2", "x1"))),
            "joint 2: joint 1 is of the same two braces",
        ),
        (lambda: top(*LEGS, joints=(Joint("x1", "x2", -0.001),)), "joint 1.kept_mm = -1: must be >= 0"),
        (lambda: top(patches=(RING, RING)), 'patch "ring": 2 have this name'),
        (
            lambda: top(patches=(slab("p", (460, 0), (60, 60)),)),
            'patch "p": sticks out of the outline by 12.0 mm at [4',
        ),
        (lambda: top(patches=(slab("p", (600, 0), (60, 60)),)), 'patch "p": lies off the top'),
        (lambda: top(patches=(slab("p", (330, 0), (60, 60)),)), 'patch "p": lies in a sound hole'),
        (lambda: top(patches=(RING, slab("p", (270, 0), (60, 60)))), 'patch "p": overlaps patch "ring" near [2'),
        (lambda: top(patches=(slab("p", (150, 0), (60, 1.5)),)), 'patch "p": less than 2 mm across; must be wider'),
        (
            lambda: top(patches=(replace(BRIDGE, thickness=0.09),)),
            'patch "bridge".thickness_mm = 90: must be at most its',
        ),
        (
            lambda: top(patches=(Patch("p", "w", polygon_outline([[0.1, 0], [0.2, 0], [0.2, 0.01]]), 0.002),)),
            'patch "p": corner of 5.7 degrees at [100.0, 0.0] mm; must be at least 10',
        ),
        (lambda: top(plate=Plate("w", 0.1)), "top.thickness_mm = 100: must be at most 74.0"),
        (
            lambda: top(plate=Plate("w", 0.003, ring_width=0.12)),
            "top.edge_ring_width_mm = 120: cuts the top inside the",
        ),
        (lambda: top(plate=Plate("w", 0.003, ring_width=0.25)), "top.edge_ring_width_mm = 250: leaves no wood inside"),
        (
            lambda: top(plate=Plate("w", 0.003, ring_width=0.0005)),
            "top.edge_ring_width_mm = 0.5: must be 0 for none or",
        ),
        (
            lambda: top(holes=(Hole(np.array([0.33, 0.1]), HOLE.semi_axes),)),
            "hole 1.centre_mm = [330.0, 100.0]: the hole crosses or leaves the outline; it has to lie inside",
        ),
        (lambda: top(holes=(Hole(np.array([0.9, 0.1]), HOLE.semi_axes),)), "the hole crosses or leaves the outline"),
        (
            lambda: top(holes=(Hole(np.array([0.33, 0.07]), HOLE.semi_axes),)),
            "hole 1.centre_mm = [330.0, 70.0]: 0.10 mm from the rim; must be at least 2 mm",
        ),
        (
            lambda: top(holes=(HOLE, Hole(np.array([0.25, 0.0]), HOLE.semi_axes))),
            "hole 2.centre_mm = [250.0, 0.0]: the hole meets hole 1; must be at least 2 mm away",
        ),
        (lambda: top(holes=(Hole(np.array([0.2, 0.0]), np.array([0.05, 0.001])),)), "hole 1: 100 by 2 mm; must be at"),
        (lambda: top(outline=polygon_outline([[0, 0], [0.008, 0], [0.008, 0.3]]), holes=()), "less than 10 mm across"),
        (
            lambda: top(outline=slotted(0.5), holes=()),
            "outline: notch less than 1 mm wide at [150.0, 100.0] mm; must be wider or shorter than 6 mm",
        ),
        (
            lambda: top(patches=(Patch("p", "w", TONGUE, 0.002),)),
            'patch "p": tongue less than 1 mm wide at [220.5, -60.0] mm; must be wider or shorter than 6 mm',
        ),
        (lambda: top(outline=DUMBBELL, holes=()), "outline: less than 2 mm across near [200.0, 50.0] mm; it has to be"),
        (
            lambda: top(outline=polygon_outline([[0, 0], [0.4, 0], [0.4, 0.3], [0.39999, 0.3], [0, 0.3]]), holes=()),
            "outline: points 0.010 mm apart at [400.0, 300.0] mm; must be at least 0.1 mm apart",
        ),
    ],
)
def test_what_cannot_be_built_is_refused_in_one_line(design: Callable[[], Design], words: str) -> None:
    assert words in refusal(design())


def test_half_a_millimetre_past_the_rim_is_let_pass() -> None:
    check_layout(top(brace("a", (120, -100), (120, 185.4))))
    assert "outside the outline by 0.7 mm" in refusal(top(brace("a", (120, -100), (120, 185.7))))


@given(st.lists(st.tuples(*[st.floats(-0.05, 0.55), st.floats(-0.25, 0.25)] * 2), min_size=1, max_size=6))
@settings(max_examples=100, deadline=None)
def test_random_braces_pass_or_are_refused_by_name(lines: list[tuple[float, float, float, float]]) -> None:
    braces = []
    for k, (ax, ay, bx, by) in enumerate(lines):
        if np.hypot(bx - ax, by - ay) > 1e-3:
            braces.append(brace(f"b{k}", (1e3 * ax, 1e3 * ay), (1e3 * bx, 1e3 * by)))
    message = "brace"
    try:
        check_layout(top(*braces))
    except DesignError as error:
        message = str(error)
    assert "brace" in message
    assert "\n" not in message
