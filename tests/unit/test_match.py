"""Pairing of predicted and measured modes: against brute force over all assignments, and where answers are known."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.fem.match import CENTS, REJECTION, pair
from bracedtop.fem.taps import Measured

PREDICTED = np.array([95.0, 140, 185, 230, 310, 360, 420, 500, 560, 640])
LINES = [(0, 0), (0, 1), (1, 0), (1, 1), (0, 2), (2, 0), (1, 2), (2, 1), (0, 3), (3, 0)]


def heard(hz, **notes):
    return [
        Measured(k, float(f), None, None, None, **{name: value[k - 1] for name, value in notes.items()})
        for k, f in enumerate(hz, start=1)
    ]


def pairs_of(pairing):
    return [(p.mode, p.number) for p in pairing.pairs]


def test_same_frequencies_pair_one_to_one():
    pairing = pair(PREDICTED, LINES, heard(PREDICTED))
    assert pairs_of(pairing) == [(k, k) for k in range(1, 11)]
    assert pairing.ratio == pytest.approx(1.0)
    assert all(p.difference_hz == 0 and p.difference_cents == 0 and p.cost == pytest.approx(0) for p in pairing.pairs)
    assert pairing.unpaired_predicted == ()
    assert pairing.unpaired_measured == ()


def test_differences_are_measured_minus_predicted():
    (only,) = pair(np.array([200.0]), [(0, 0)], heard([210.0])).pairs
    assert only.difference_hz == pytest.approx(10.0)
    assert only.difference_cents == pytest.approx(1200 * math.log2(1.05))


@pytest.mark.parametrize("ratio", [0.84, 0.9, 0.95, 1.0, 1.05, 1.1, 1.18])
@pytest.mark.parametrize("missing", [(), (0,), (2, 6), (9,), (0, 1, 9)])
def test_common_offset_and_missing_modes(ratio, missing):
    rng = np.random.default_rng(3)
    keep = [k for k in range(10) if k not in missing]
    measured = ratio * PREDICTED[keep] * np.exp(rng.normal(0, 0.012, len(keep)))
    pairing = pair(PREDICTED, LINES, heard(measured))
    assert pairs_of(pairing) == [(k + 1, n) for n, k in enumerate(keep, start=1)]
    # Shrunk towards 1 as long as few modes speak for it.
    assert abs(math.log(pairing.ratio) - math.log(ratio)) < 0.012 + abs(math.log(ratio)) / len(keep)


def test_what_is_far_from_all_stays_alone():
    pairing = pair(PREDICTED, LINES, heard([95.0, 140, 185, 230, 1000.0]))
    assert pairing.unpaired_measured == (5,)
    assert pairing.unpaired_predicted == (5, 6, 7, 8, 9, 10)


def test_nearest_first_would_leave_one_alone():
    # The nearest pair of all is 104 with 103; with it 96 would have to go to 110.
    pairing = pair(np.array([96.0, 104.0]), [(0, 0), (0, 1)], heard([103.0, 111.0]))
    assert pairs_of(pairing) == [(1, 1), (2, 2)]


def test_pairs_do_not_cross_without_a_reason():
    rng = np.random.default_rng(5)
    for _ in range(50):
        predicted = np.sort(rng.uniform(80, 700, 9))
        measured = np.sort(rng.uniform(80, 700, 6))
        numbers = [p.number for p in pair(predicted, [(0, 0)] * 9, heard(measured)).pairs]
        assert numbers == sorted(numbers)


def test_node_lines_let_pairs_cross():
    predicted, lines = np.array([200.0, 212.0]), [(1, 0), (0, 1)]
    without = pair(predicted, lines, heard([202.0, 210.0]))
    assert pairs_of(without) == [(1, 1), (2, 2)]
    assert without.pairs[0].ambiguous_with == (2,)
    seen = heard([202.0, 210.0], nodal_lines=[(0, 1), (1, None)])
    crossed = pair(predicted, lines, seen)
    assert pairs_of(crossed) == [(1, 2), (2, 1)]
    assert all(p.ambiguous_with == () for p in crossed.pairs)


def test_points_that_stood_still_let_pairs_cross():
    # Mode 1 moves along x, mode 2 along y; each is still where the other moves.
    def amplitude(points):
        return np.abs(points.T) / 0.1

    seen = heard([202.0, 210.0], nodes=[((0.08, 0.0), (-0.09, 0.0)), ((0.0, 0.08),)])
    assert pairs_of(pair(np.array([200.0, 212.0]), [(0, 0)] * 2, seen, amplitude)) == [(1, 2), (2, 1)]


def test_a_tap_on_a_node_did_not_excite_the_mode():
    def amplitude(points):
        return np.array([[0.0] * len(points), [0.9] * len(points)])

    pairing = pair(np.array([200.0, 206.0]), [(0, 0)] * 2, heard([201.0], tap_point=[(0.0, 0.0)]), amplitude)
    assert pairs_of(pairing) == [(2, 1)]


def test_nothing_on_either_side():
    assert pair(np.array([]), [], heard([100.0])).unpaired_measured == (1,)
    assert pair(PREDICTED, LINES, []).unpaired_predicted == tuple(range(1, 11))


def brute_force(cost):
    """Least total over every way to pair some rows with some columns."""
    n, m = cost.shape
    best = math.inf
    for size in range(min(n, m) + 1):
        for rows in itertools.combinations(range(n), size):
            for columns in itertools.permutations(range(m), size):
                total = sum(cost[i, j] for i, j in zip(rows, columns, strict=True))
                best = min(best, total + REJECTION / 2 * (n + m - 2 * size))
    return best


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_total_cost_is_that_of_brute_force(seed):
    rng = np.random.default_rng(seed)
    n, m = rng.integers(1, 5, 2)
    predicted, measured = np.sort(rng.uniform(90, 300, n)), np.sort(rng.uniform(90, 300, m))
    pairing = pair(predicted, [(0, 0)] * n, heard(measured))
    cost = ((1200 * np.log2(measured[None, :] / predicted[:, None] / pairing.ratio)) / CENTS) ** 2
    alone = len(pairing.unpaired_predicted) + len(pairing.unpaired_measured)
    assert sum(p.cost for p in pairing.pairs) + REJECTION / 2 * alone == pytest.approx(brute_force(cost))
    assert all(p.cost <= REJECTION for p in pairing.pairs)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.5, 2.0), st.integers(0, 2**32 - 1))
def test_pairs_do_not_depend_on_the_unit_of_frequency(scale, seed):
    rng = np.random.default_rng(seed)
    measured = np.sort(rng.uniform(90, 650, 7))
    plain, scaled = pair(PREDICTED, LINES, heard(measured)), pair(scale * PREDICTED, LINES, heard(scale * measured))
    assert pairs_of(plain) == pairs_of(scaled)
