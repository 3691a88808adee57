"""The assignment of least cost between predicted and measured modes, about a common interval that it finds.

Depends on nothing in the project.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

Real = NDArray[np.float64]

CENTS = 150.0
"""Disagreement that costs 1, in cents (9 %); chosen: a model's modes scatter by 3 to 9 % about the common offset."""

LEAST_CENTS = 10.0
"""Least disagreement that costs 1, however sure the model is; chosen: a top held again returns within about this."""

REJECTION = 4.0
"""Cost from which two modes are not taken for the same; chosen: twice CENTS (19 %) where no nodes were seen."""

LARGEST_OFFSET = 1200.0 * math.log2(1.2)
PRIOR_CENTS = 150.0
"""Standard deviation of the offset that is expected beforehand; chosen: E of a species scatters by about 20 %."""

_LIKELY = 3.0
"""Standard deviations within which a pair may be the one to begin with; chosen."""

_TURNS = 20
"""Most repetitions of pairing and re-estimating what is common; chosen: two or three are needed."""


def cost_alone(sd: Real) -> Real:
    """Cost of leaving each predicted mode alone, (n,).

    The density of a normal distribution rises as its width falls; 2 log of it makes an interval that fits a narrow
    one worth more.
    """
    return np.asarray(REJECTION / 2 + 2.0 * np.log(np.maximum(CENTS / sd, 1.0)))


def assign(cost: Real, alone: Real) -> tuple[float, list[tuple[int, int]]]:
    """Least total cost and the pairs (row, column) that reach it, rows ascending."""
    n, m = cost.shape
    # Each row has a column of its own in which it stays alone, and each column such a row.
    every = np.full((n + m, n + m), 1e9)
    every[:n, :m] = np.minimum(cost, 1e6)
    every[np.arange(n), m + np.arange(n)] = alone
    every[n + np.arange(m), np.arange(m)] = REJECTION / 2
    every[n:, m:] = 0.0
    rows, columns = linear_sum_assignment(every)
    total = float(every[rows, columns].sum())
    return total, [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if i < n and j < m]


def common_offset(interval: Real, seen: Real, sd: Real, expected: float, ratio_cents: float) -> float:
    """Common interval between measured and predicted frequencies, cents."""
    if not interval.size:
        return expected
    alone = cost_alone(sd)
    reach = min(LARGEST_OFFSET, 4.0 * ratio_cents)
    # Every half per cent: a wrong start would pair each mode with its neighbour and stay there.
    trials = expected + np.arange(-reach, reach + 1, 8.0)
    totals = [
        assign(((interval - trial) / sd[:, None]) ** 2 + seen, alone)[0] + ((trial - expected) / ratio_cents) ** 2
        for trial in trials
    ]
    offset = float(trials[int(np.argmin(totals))])
    for _ in range(_TURNS):
        pairs = assign(((interval - offset) / sd[:, None]) ** 2 + seen, alone)[1]
        if not pairs:
            return expected
        # One or two pairs cannot tell a common offset from their own; the expected one holds them back.
        weight = np.array([sd[i] ** -2.0 for i, _ in pairs])
        shrink = weight.sum() / (weight.sum() + ratio_cents**-2.0)
        median = shrink * _median(np.array([interval[i, j] for i, j in pairs]) - expected, weight)
        changed = expected + float(np.clip(median, -reach, reach))
        if abs(changed - offset) < 0.01:
            break
        offset = changed
    return offset


def together(
    interval: Real, seen: Real, covariance: Real, expected: float, pairs: list[tuple[int, int]]
) -> tuple[Real, Real, float]:
    """Costs where modes err together: each mode is expected where the pairs of all others put it.

    The pairing is repeated with these until it stays. As that finds what is near, it begins from the given pairs and
    from every single likely one, and the most likely result counts.

    Parameters
    ----------
    interval, seen : (n, n_measured) arrays, cents and 1
    covariance : (n, n) array, cents^2
        With the common ratio's own.
    expected : float, cents
    pairs : list of (row, column)
        To begin with.

    Returns
    -------
    cost : (n, n_measured) array
    alone : (n,) array
    offset : float, cents
        Mean over the pairs of where the modes are expected.
    """
    off = interval - expected
    likely = off**2 < _LIKELY**2 * np.diag(covariance)[:, None]
    starts = [pairs, *([(int(i), int(j))] for i, j in np.argwhere(likely & (seen < REJECTION)))]
    best, least = pairs, math.inf
    known: set[tuple[tuple[int, int], ...]] = set()
    for start in starts:
        found = start
        for _ in range(_TURNS):
            shift, sd = _conditional(off, covariance, found)
            before, found = found, assign(((off - shift[:, None]) / sd[:, None]) ** 2 + seen, cost_alone(sd))[1]
            if found == before or tuple(found) in known:
                break
            known.add(tuple(found))
        total = _unlikelihood(off, seen, covariance, found)
        if total < least:
            best, least = found, total
    shift, sd = _conditional(off, covariance, best)
    offset = expected + (float(np.mean([shift[i] for i, _ in best])) if best else 0.0)
    return ((off - shift[:, None]) / sd[:, None]) ** 2 + seen, cost_alone(sd), offset


def _conditional(off: Real, covariance: Real, pairs: list[tuple[int, int]]) -> tuple[Real, Real]:
    """Mean and standard deviation of each mode's interval given those of the pairs of all other modes, (n,) cents."""
    rows = [i for i, _ in pairs]
    d = np.array([off[i, j] for i, j in pairs])
    precision = np.linalg.inv(covariance[np.ix_(rows, rows)])
    gain = covariance[:, rows] @ precision
    shift, variance = gain @ d, np.diag(covariance) - np.einsum("ij,ij->i", gain, covariance[:, rows])
    own = np.diag(precision)
    # A paired mode must not be expected where its own pair puts it.
    shift[rows], variance[rows] = d - precision @ d / own, 1.0 / own
    return shift, np.sqrt(np.maximum(variance, LEAST_CENTS**2))


def _unlikelihood(off: Real, seen: Real, covariance: Real, pairs: list[tuple[int, int]]) -> float:
    """-2 log of the joint density of all pairs, with what was seen and what is left alone, as `assign` counts them."""
    rows = [i for i, _ in pairs]
    d = np.array([off[i, j] for i, j in pairs])
    C = covariance[np.ix_(rows, rows)]
    density = d @ np.linalg.solve(C, d) + np.linalg.slogdet(C)[1] - 2.0 * len(rows) * math.log(CENTS)
    n, m = off.shape
    return float(density + sum(seen[i, j] for i, j in pairs) + REJECTION / 2 * (n + m - 2 * len(pairs)))


def _median(values: Real, weights: Real) -> float:
    order = np.argsort(values)
    w = weights[order]
    return float(np.interp(0.5, (np.cumsum(w) - w / 2) / w.sum(), values[order]))
