"""Braces butted against another one's flank: which ends count, what is cut, and the shaving table of such a top.

The reference of the sensitivities is the definition of a derivative, as in tests/unit/test_sensitivity.py.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from reference.plates import TRIAL_WOOD, WOOD, rectangle

from bracedtop.fem.model import build_model, solve
from bracedtop.fem.sensitivity import shaving_table
from bracedtop.fem.stretches import stretches
from bracedtop.fem.what_if import resolved, shaved_design
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import BUTT_GAP, brace_footprint, butts, crossings
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.glue import grip_ends, gripping_face
from bracedtop.geometry.layout import check_layout

WIDTH = 8e-3
HAIR = 0.1e-3


def brace(name, *path, width=WIDTH, height=0.012):
    return Brace(name, WOOD, np.array(path), width, np.array([[0.0, height], [0.008, height]]))


def top(*braces, kind="clamped"):
    return Design(rectangle(0.4, 0.3), Plate(WOOD, 2.8e-3), braces=braces, edge=Edge(kind))


MAIN = brace("main", [0.05, 0.15], [0.35, 0.15])


def branch(past=0.0, **sizes):
    """Across to the through brace; its end stands `past` m beyond the through brace's centreline."""
    return brace("branch", [0.2, 0.04], [0.2, 0.15 + past], **({"width": 6e-3, "height": 0.01} | sizes))


def found(*braces):
    return [(butt.brace, butt.end, butt.against) for butt in butts(top(*braces))]


@pytest.mark.parametrize("past", [0.0, WIDTH / 2 - HAIR, -WIDTH / 2, -WIDTH / 2 - BUTT_GAP + HAIR])
def test_end_in_the_strip_or_within_the_gap_is_butted(past):
    assert found(MAIN, branch(past)) == [("branch", -1, "main")]
    assert crossings(top(MAIN, branch(past))) == ()
    check_layout(top(MAIN, branch(past)))


def test_first_point_of_a_path_counts_as_well():
    assert found(brace("up", [0.2, 0.15], [0.2, 0.26]), MAIN) == [("up", 0, "main")]


def test_wider_gap_is_none():
    assert found(MAIN, branch(-WIDTH / 2 - BUTT_GAP - HAIR)) == []


@pytest.mark.parametrize("past", [WIDTH / 2 + HAIR, WIDTH / 2 + BUTT_GAP + HAIR])
def test_end_beyond_the_far_flank_has_crossed(past):
    assert found(MAIN, branch(past)) == []
    assert len(crossings(top(MAIN, branch(past)))) == 1


def test_brace_along_another_is_not_butted():
    # All of it within the other's strip, at an angle.
    beside = brace("short", [0.2, 0.147], [0.208, 0.153], width=2e-3)
    assert found(replace(MAIN, width=20e-3), beside) == []


@pytest.mark.parametrize("gap", [0.0, BUTT_GAP, WIDTH / 2])
def test_ends_in_one_line_face_no_flank(gap):
    halves = (brace("left", [0.05, 0.15], [0.2, 0.15]), brace("right", [0.2 + gap, 0.15], [0.35, 0.15]))
    assert found(*halves) == []
    model = build_model(top(*halves), {WOOD: TRIAL_WOOD}, size=0.05)
    wood = TRIAL_WOOD.density * WIDTH * 0.012 * (0.3 - gap)
    assert model.mass("brace") == pytest.approx(wood, rel=1e-6)


def test_of_two_ends_on_one_another_the_first_listed_is_cut():
    a, b = brace("a", [0.1, 0.05], [0.2, 0.15]), brace("b", [0.2, 0.15], [0.3, 0.05])
    assert found(a, b) == [("a", -1, "b")]
    assert found(b, a) == [("b", 0, "a")]
    # Three in a star: the last keeps its end.
    c = brace("c", [0.2, 0.15], [0.2, 0.26])
    assert {butt[0] for butt in found(a, b, c)} == {"a", "b"}


def test_face_of_a_butted_brace_ends_at_the_flank():
    for past in (-WIDTH / 2, 0.0, 0.003):
        design = top(MAIN, branch(past))
        face = gripping_face(design.braces[1], design)
        assert face.area == pytest.approx(6e-3 * (0.11 - WIDTH / 2 - grip_ends(design.braces[1], design)[0]), rel=1e-9)
        assert face.intersection(brace_footprint(MAIN)).area == pytest.approx(0.0, abs=1e-12)
        # The through brace keeps all of its own, but for the set-back of its free ends.
        first, last = grip_ends(MAIN, design)
        assert gripping_face(MAIN, design).area == pytest.approx(WIDTH * (last - first), rel=1e-9)


def test_butted_end_is_held_up_to_the_flank():
    design = top(MAIN, branch())
    first, last = grip_ends(design.braces[1], design)
    assert first > 0
    assert last == pytest.approx(design.braces[1].length)


def test_wood_of_a_butted_brace_is_counted_once():
    design = top(MAIN, branch(0.002))
    model = build_model(design, {WOOD: TRIAL_WOOD}, size=0.05)
    assert model.mass("brace branch") == pytest.approx(TRIAL_WOOD.density * 6e-3 * 0.010 * 0.106, rel=1e-6)
    assert model.mass("brace main") == pytest.approx(TRIAL_WOOD.density * WIDTH * 0.012 * 0.3, rel=1e-6)
    assert model.mass("joint") == 0.0


def test_slanting_brace_is_cut_along_the_flank():
    design = top(MAIN, brace("slant", [0.1, 0.05], [0.2, 0.15], width=6e-3))
    face = gripping_face(design.braces[1], design)
    assert shapely.Polygon(face).bounds[3] == pytest.approx(0.15 - WIDTH / 2, abs=1e-9)


@pytest.mark.parametrize(("shape", "kind", "lower"), [("square", "clamped", 0.010), ("rounded", "free", 0.014)])
def test_hz_per_mm_is_what_solving_again_gives(shape, kind, lower):
    step = 2e-6
    branches = (branch(height=lower), brace("up", [0.15, 0.26], [0.13, 0.15], width=6e-3, height=0.008))
    design = top(*(replace(b, shape=shape) for b in (MAIN, *branches)), kind=kind)
    model = build_model(design, {WOOD: TRIAL_WOOD}, size=0.06)
    modes = solve(model, 8)
    rows = shaving_table(model, modes)
    met = next(piece for piece in stretches(design.braces[0]) if piece.start <= 0.15 < piece.stop)
    for piece in (met, stretches(design.braces[1])[-1]):
        ends = (piece.start, piece.stop)
        change = resolved(model, modes, shaved_design(design, piece.brace, *ends, step))
        expected = (change.modes.frequencies[list(change.successor)] - modes.frequencies) / (step / 1e-3)
        rates = [row.hz_per_mm for row in rows if row.brace == piece.brace and row.start == piece.start]
        np.testing.assert_allclose(rates, expected, atol=5e-3 * np.abs(expected).max(), rtol=5e-3)
