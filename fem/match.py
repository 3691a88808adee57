"""Which measured mode is which predicted one.

Depends on fem/taps.

The cost of calling predicted mode i and measured mode j the same is

    ((cents_ij - offset) / CENTS)^2 + LINE * wrong node lines + POINT * (motion at seen nodes) + STILL * (no motion
    where it was tapped)

and that of leaving one unpaired REJECTION / 2, so no pair costs more than REJECTION. The assignment with the least sum
is taken. As a square is strictly convex, pairs never cross in frequency unless node observations say so. `offset` is a
common interval between all measured and predicted frequencies, as a wood stiffer or lighter than assumed makes it:
within 20 %, the one that makes the sum least, then the median over the pairs.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from bracedtop.fem.taps import Measured
from bracedtop.geometry.units import cents

Real = NDArray[np.float64]
Amplitude = Callable[[Real], Real]

CENTS = 150.0
"""Disagreement that costs 1, in cents (9 %); chosen: a model's modes scatter by 3 to 9 % about the common offset."""

REJECTION = 4.0
"""Cost from which two modes are not taken for the same; chosen: twice CENTS (19 %) where no nodes were seen."""

LINE = 2.0
"""For each node line too many or too few, at most two a direction; chosen: outweighs 200 cents."""

POINT = 2.0
NODE_MOTION = (0.1, 0.4)
"""A seen node costs nothing up to the first part of the largest motion, all from the second on; chosen: a node is seen
within about 10 mm."""

STILL = 2.0
TAP_MOTION = 0.05
"""Motion at the tap point below which the tap can hardly have excited the mode; chosen."""

LARGEST_OFFSET = 1200.0 * math.log2(1.2)
PRIOR_CENTS = 150.0
"""Standard deviation of the offset that is expected beforehand; chosen: E of a species scatters by about 20 %."""

CLOSE_CALL = 1.0
"""Pairs are ambiguous if exchanging them costs less; chosen: the cost of 150 cents."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A predicted and a measured mode taken for the same.

    Parameters
    ----------
    mode : int
        Predicted mode's identifier, 1 for the lowest.
    number : int
        Measured mode's number.
    predicted_hz, measured_hz : float
    difference_hz : float
        Measured minus predicted.
    difference_cents : float
        Interval from predicted to measured.
    cost : float
        After the common offset is taken out; 0 agrees in everything.
    ambiguous_with : tuple of int
        Other predicted modes that would do nearly as well.
    """

    mode: int
    number: int
    predicted_hz: float
    measured_hz: float
    difference_hz: float
    difference_cents: float
    cost: float
    ambiguous_with: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Pairing:
    """All pairs and what stays alone.

    Parameters
    ----------
    pairs : tuple of Pair
        By predicted mode.
    unpaired_predicted, unpaired_measured : tuple of int
        Identifiers of modes and numbers of measured modes.
    ratio : float
        Common ratio of measured to predicted frequencies that was allowed for; 1 for none.
    """

    pairs: tuple[Pair, ...]
    unpaired_predicted: tuple[int, ...]
    unpaired_measured: tuple[int, ...]
    ratio: float


def pair(
    predicted_hz: Real,
    predicted_lines: Sequence[tuple[int, int]],
    measured: Sequence[Measured],
    amplitude: Amplitude | None = None,
) -> Pairing:
    """Optimal pairing of predicted with measured modes.

    Parameters
    ----------
    predicted_hz : (n,) array
        Mode k + 1 has frequency predicted_hz[k].
    predicted_lines : sequence of n (across, along)
        Node lines of each predicted mode.
    measured : sequence of Measured
    amplitude : function, optional
        Gives for points (k, 2) in m each mode's |w| relative to its largest, (n, k).

    References
    ----------
    D. F. Crouse, "On implementing 2D rectangular assignment algorithms", IEEE Trans. Aerosp. Electron. Syst. 52
    (2016) 1679-1696 (the assignment in scipy).
    """
    predicted = np.asarray(predicted_hz, dtype=float)
    heard = np.array([mode.hz for mode in measured], dtype=float)
    interval = 1200.0 * (np.log2(heard)[None, :] - np.log2(predicted)[:, None])
    nodes = _node_cost(len(predicted), predicted_lines, measured, amplitude)
    offset = _offset(interval, nodes)
    cost = ((interval - offset) / CENTS) ** 2 + nodes
    total, assigned = _assign(cost)
    pairs = []
    for i, j in assigned:
        pairs.append(
            Pair(
                mode=i + 1,
                number=measured[j].number,
                predicted_hz=float(predicted[i]),
                measured_hz=float(heard[j]),
                difference_hz=float(heard[j] - predicted[i]),
                difference_cents=cents(float(heard[j]), float(predicted[i])),
                cost=float(cost[i, j]),
                ambiguous_with=_others(cost, total, i, j),
            )
        )
    taken_i, taken_j = {i for i, _ in assigned}, {j for _, j in assigned}
    return Pairing(
        tuple(pairs),
        tuple(i + 1 for i in range(len(predicted)) if i not in taken_i),
        tuple(mode.number for j, mode in enumerate(measured) if j not in taken_j),
        float(2.0 ** (offset / 1200.0)),
    )


def _node_cost(
    n: int, lines: Sequence[tuple[int, int]], measured: Sequence[Measured], amplitude: Amplitude | None
) -> Real:
    """Cost of contradicting what was seen, (n, n_measured)."""
    cost = np.zeros((n, len(measured)))
    for j, mode in enumerate(measured):
        for direction in (0, 1):
            seen = mode.nodal_lines[direction]
            if seen is not None:
                cost[:, j] += [LINE * min(abs(line[direction] - seen), 2) for line in lines]
        if amplitude is None:
            continue
        if mode.nodes:
            motion = np.abs(amplitude(np.array(mode.nodes, dtype=float)))
            low, high = NODE_MOTION
            cost[:, j] += POINT * np.clip((motion - low) / (high - low), 0, 1).mean(axis=1)
        if mode.tap_point is not None:
            motion = np.abs(amplitude(np.array([mode.tap_point], dtype=float)))[:, 0]
            cost[:, j] += STILL * np.clip(1 - motion / TAP_MOTION, 0, 1)
    return cost


def _assign(cost: Real) -> tuple[float, list[tuple[int, int]]]:
    """Least total cost and the pairs (row, column) that reach it, rows ascending."""
    n, m = cost.shape
    # Each row has a column of its own in which it stays alone, and each column such a row.
    alone = np.full((n + m, n + m), 1e9)
    alone[:n, :m] = np.minimum(cost, 1e6)
    alone[np.arange(n), m + np.arange(n)] = REJECTION / 2
    alone[n + np.arange(m), np.arange(m)] = REJECTION / 2
    alone[n:, m:] = 0.0
    rows, columns = linear_sum_assignment(alone)
    total = float(alone[rows, columns].sum())
    return total, [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if i < n and j < m]


def _offset(interval: Real, nodes: Real) -> float:
    """Common interval between measured and predicted frequencies, cents."""
    if not interval.size:
        return 0.0
    # Every half per cent: a wrong start would pair each mode with its neighbour and stay there.
    trials = np.arange(-LARGEST_OFFSET, LARGEST_OFFSET + 1, 8.0)
    totals = [_assign(((interval - trial) / CENTS) ** 2 + nodes)[0] + (trial / PRIOR_CENTS) ** 2 for trial in trials]
    offset = float(trials[int(np.argmin(totals))])
    for _ in range(20):
        pairs = _assign(((interval - offset) / CENTS) ** 2 + nodes)[1]
        if not pairs:
            return 0.0
        # One or two pairs cannot tell a common offset from their own; the expected one holds them back.
        shrink = len(pairs) / (len(pairs) + (CENTS / PRIOR_CENTS) ** 2)
        median = shrink * float(np.median([interval[i, j] for i, j in pairs]))
        changed = float(np.clip(median, -LARGEST_OFFSET, LARGEST_OFFSET))
        if abs(changed - offset) < 0.01:
            break
        offset = changed
    return offset


def _others(cost: Real, total: float, i: int, j: int) -> tuple[int, ...]:
    """Predicted modes other than i that could be paired with j at little more in all."""
    found = []
    for k in range(cost.shape[0]):
        if k == i or cost[k, j] > cost[i, j] + REJECTION:
            continue
        # The rest is paired anew around the forced pair.
        rest = np.delete(np.delete(cost, k, axis=0), j, axis=1)
        if cost[k, j] + _assign(rest)[0] < total + CLOSE_CALL:
            found.append(k + 1)
    return tuple(found)
