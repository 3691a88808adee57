"""The shaving table against solving again, and its bookkeeping of grams and degenerate modes.

The reference is the definition of a derivative: the same top with two thousandths of a millimetre less wood.
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, trial_top

from bracedtop.fem.describe import energy_shares
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.sensitivity import PAIR_GAP, shaving_table
from bracedtop.fem.stretches import LONGEST, stretches
from bracedtop.fem.what_if import resolved, shaved_design
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.outline import polygon_outline

STEP = 2e-6
SIZE = 0.035


def scalloped(shape: str, kind: str) -> Design:
    """Two crossing braces of the trial top with tapered, scalloped profiles."""
    top = trial_top(2)
    stations = np.array([[0.0, 0.003], [0.06, 0.009], [0.13, 0.015], [0.2, 0.008], [0.26, 0.003]])
    braces = tuple(replace(b, stations=stations, shape=shape) for b in top.braces)
    under, over = (b.name for b in braces)
    return replace(top, braces=braces, edge=Edge(kind), joints=(Joint(under, over, 0.0075),))


@pytest.mark.parametrize(("shape", "kind"), [("square", "clamped"), ("rounded", "free"), ("peaked", "hinged")])
def test_hz_per_mm_is_what_solving_again_gives(shape, kind):
    top = scalloped(shape, kind)
    model = build_model(top, {WOOD: TRIAL_WOOD}, size=SIZE)
    modes = solve(model, 8)
    rows = shaving_table(model, modes)
    for piece in [stretches(top.braces[0])[0], stretches(top.braces[1])[2]]:
        ends = (piece.start, piece.stop)
        change = resolved(model, modes, shaved_design(top, piece.brace, *ends, STEP))
        after = change.modes.frequencies[list(change.successor)]
        expected = (after - modes.frequencies) / (STEP / 1e-3)
        found = [row for row in rows if row.brace == piece.brace and row.start == piece.start]
        # The derivative of a rounded section jumps where the cap takes all of the height: a point may lie there.
        np.testing.assert_allclose(
            [row.hz_per_mm for row in found], expected, atol=4e-3 * np.abs(expected).max(), rtol=4e-3
        )
        assert found[0].grams_per_mm == pytest.approx(1e3 * change.mass_removed / (STEP / 1e-3), rel=2e-3)


def test_grams_of_a_square_brace_are_its_width_times_length():
    top = trial_top(1)
    model = build_model(top, {WOOD: TRIAL_WOOD}, size=SIZE)
    rows = [row for row in shaving_table(model, solve(model, 1)) if row.mode == 1]
    brace = top.braces[0]
    expected = 1e3 * TRIAL_WOOD.density * brace.width * brace.length * 1e-3
    assert sum(row.grams_per_mm for row in rows) == pytest.approx(expected, rel=1e-9)


def test_stretches_cover_the_brace_once():
    stations = np.array([[0.01, 2], [0.012, 5], [0.05, 9], [0.3, 9], [0.31, 2]]) * [1, 1e-3]
    brace = Brace("b", WOOD, np.array([[0.0, 0.0], [0.33, 0.0]]), 0.007, stations)
    pieces = stretches(brace)
    assert pieces[0].start == 0.0
    assert pieces[-1].stop == pytest.approx(brace.length)
    assert [p.stop for p in pieces[:-1]] == [p.start for p in pieces[1:]]
    assert max(p.stop - p.start for p in pieces) <= LONGEST * (1 + 1e-9)


def test_repeated_frequencies_share_the_derivative_between_them():
    # A square isotropic plate has a pair at one frequency; a brace on an axis, shaved, splits the pair:
    # one mode of it has no motion across the brace. The two derivatives do not depend on how the solver mixed them.
    wood = replace(
        TRIAL_WOOD, E_L=1e9, E_R=1e9, E_T=1e9, G_LR=4e8, G_LT=4e8, G_RT=4e8, nu_LR=0.25, nu_LT=0.25, nu_RT=0.25
    )
    square = polygon_outline([[0, 0], [0.3, 0], [0.3, 0.3], [0, 0.3]])
    ends = np.array([[0.0, 0.000005], [0.16, 0.000005]])
    cross = (
        Brace("one", WOOD, np.array([[0.07, 0.15], [0.23, 0.15]]), 0.006, ends),
        Brace("two", WOOD, np.array([[0.15, 0.07], [0.15, 0.23]]), 0.006, ends),
    )
    top = Design(square, Plate(WOOD, 3e-3), braces=cross, joints=(Joint("one", "two", 0.0000025),))
    model = build_model(top, {WOOD: wood}, size=0.03)
    modes = solve(model, 3)
    assert modes.frequencies[2] / modes.frequencies[1] - 1 < PAIR_GAP
    rows = [r for r in shaving_table(model, modes) if r.brace == "one" and r.mode in (2, 3)]
    by_stretch = {}
    for row in rows:
        by_stretch.setdefault(row.start, []).append(row.hz_per_mm)
    turned = modes.vectors.copy()
    c, s = np.cos(0.7), np.sin(0.7)
    turned[1], turned[2] = c * modes.vectors[1] + s * modes.vectors[2], -s * modes.vectors[1] + c * modes.vectors[2]
    again = shaving_table(model, replace(modes, vectors=turned))
    for start, pair in by_stretch.items():
        mixed = [r.hz_per_mm for r in again if r.brace == "one" and r.mode in (2, 3) and r.start == start]
        np.testing.assert_allclose(sorted(mixed), sorted(pair), rtol=1e-3, atol=1e-4)


def test_energy_shares_add_up():
    top = replace(trial_top(2), edge=Edge("springs", deflection=1e5, rotation=50.0, inplane=1e6))
    model = build_model(top, {WOOD: TRIAL_WOOD}, size=SIZE)
    modes = solve(model, 6)
    shares = energy_shares(model, modes)
    np.testing.assert_allclose(sum(shares.values()), 1.0, atol=1e-6)
    assert {"edge", "top E_L", "top E_R", "top G_LR", "top shear"} <= set(shares)
    assert all((share > -0.02).all() for share in shares.values())
