"""Which measured mode is which predicted one.

Depends on fem/assignment, fem/shape_match, fem/taps.

The cost of calling predicted mode i and measured mode j the same is

    ((cents_ij - offset) / sd_i)^2 + LINE * wrong node lines + POINT * (motion at seen nodes) + STILL * (no motion
    where it was tapped) + what the measured shape says (fem/shape_match)

and that of leaving one unpaired REJECTION / 2, so no pair costs more than REJECTION. The assignment with the least sum
is taken. As a square is strictly convex, pairs never cross in frequency unless something seen or a shape says so.
`offset` is a common interval between all measured and predicted frequencies, as a wood stiffer or lighter than assumed
makes it: within 20 %, the one that makes the sum least, then the median over the pairs. `sd_i` is CENTS, or what a
calibrated model states; where it is small, a pair that agrees says more, so leaving the mode alone costs more.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.assignment import (
    CENTS,
    LEAST_CENTS,
    PRIOR_CENTS,
    REJECTION,
    assign,
    common_offset,
    cost_alone,
    together,
)
from bracedtop.fem.shape_match import shape_fit
from bracedtop.fem.taps import Measured
from bracedtop.geometry.errors import AccuracyError
from bracedtop.geometry.units import cents

Real = NDArray[np.float64]
Motion = Callable[[Real], Real]
"""Gives for points (k, 2) in m of the top something of every mode, (n, k)."""

LINE = 2.0
"""For each node line too many or too few, at most two a direction; chosen: outweighs 200 cents."""

POINT = 2.0
NODE_MOTION = (0.1, 0.4)
"""A seen node costs nothing up to the first part of the largest motion, all from the second on; chosen: a node is seen
within about 10 mm."""

STILL = 2.0
TAP_MOTION = 0.05
"""Motion at the tap point below which the tap can hardly have excited the mode; chosen."""

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
    mac : float or None
        Of the two shapes, weighed by the measured one's errors; None where no shape was measured.
    """

    mode: int
    number: int
    predicted_hz: float
    measured_hz: float
    difference_hz: float
    difference_cents: float
    cost: float
    ambiguous_with: tuple[int, ...]
    mac: float | None = None


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
    mac : (n, n_measured) array or None
        Of every predicted with every measured shape; NaN in the columns of modes without a shape, None if no shape
        was measured.
    """

    pairs: tuple[Pair, ...]
    unpaired_predicted: tuple[int, ...]
    unpaired_measured: tuple[int, ...]
    ratio: float
    mac: Real | None = field(default=None, compare=False)


def pair(
    predicted_hz: Real,
    predicted_lines: Sequence[tuple[int, int]],
    measured: Sequence[Measured],
    amplitude: Motion | None = None,
    *,
    deflection: Motion | None = None,
    expected_ratio: float = 1.0,
    ratio_cents: float = PRIOR_CENTS,
    scatter_cents: float | Real = CENTS,
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
    deflection : function, optional
        The same with signs. With it measured shapes count, and `amplitude` need not be given.
    expected_ratio : float
        Common ratio of measured to predicted frequencies that is expected beforehand.
    ratio_cents : float, cents
        Its standard deviation.
    scatter_cents : float, (n,) array, cents, or (n, n) array, cents^2
        Standard deviation of the modes about the common ratio, or their covariance, as a calibrated model has it.

    Raises
    ------
    AccuracyError
        If the scatter does not fit the number of modes, or it, the ratio or its deviation is not positive.

    References
    ----------
    D. F. Crouse, "On implementing 2D rectangular assignment algorithms", IEEE Trans. Aerosp. Electron. Syst. 52
    (2016) 1679-1696 (the assignment in scipy).
    """
    predicted = np.asarray(predicted_hz, dtype=float)
    heard = np.array([mode.hz for mode in measured], dtype=float)
    expected = _expected(expected_ratio, ratio_cents)
    sd, covariance = _scatter(scatter_cents, len(predicted))
    if amplitude is None and deflection is not None:
        amplitude = _magnitude(deflection)
    interval = 1200.0 * (np.log2(heard)[None, :] - np.log2(predicted)[:, None])
    seen = _node_cost(len(predicted), predicted_lines, measured, amplitude)
    by_shape, mac = _shape_cost(len(predicted), measured, deflection)
    seen += by_shape
    offset = common_offset(interval, seen, sd, expected, ratio_cents)
    cost = ((interval - offset) / sd[:, None]) ** 2 + seen
    alone = cost_alone(sd)
    if covariance is not None:
        cost, alone, offset = together(interval, seen, covariance + ratio_cents**2, expected, assign(cost, alone)[1])
    total, assigned = assign(cost, alone)
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
                ambiguous_with=_others(cost, alone, total, i, j),
                mac=None if mac is None or math.isnan(mac[i, j]) else float(mac[i, j]),
            )
        )
    taken_i, taken_j = {i for i, _ in assigned}, {j for _, j in assigned}
    return Pairing(
        tuple(pairs),
        tuple(i + 1 for i in range(len(predicted)) if i not in taken_i),
        tuple(mode.number for j, mode in enumerate(measured) if j not in taken_j),
        float(2.0 ** (offset / 1200.0)),
        mac,
    )


def relative(deflection: Motion, points: Real) -> Motion:
    """The deflections over the largest |w| that each mode has at `points`, (g, 2) in m, a fine grid of the top."""
    peak = np.abs(deflection(points)).max(axis=1)
    peak = np.where(peak > 0, peak, 1.0)

    def scaled(at: Real) -> Real:
        return np.asarray(deflection(at) / peak[:, None], dtype=float)

    return scaled


def _magnitude(deflection: Motion) -> Motion:
    def amplitude(points: Real) -> Real:
        return np.abs(deflection(points))

    return amplitude


def _expected(ratio: float, ratio_cents: float) -> float:
    """Interval that is expected beforehand, cents."""
    if not (0 < ratio < math.inf and 0 < ratio_cents < math.inf):
        message = f"expected ratio {ratio:g} with {ratio_cents:g} cents; both must be positive"
        raise AccuracyError(message)
    return 1200.0 * math.log2(ratio)


def _scatter(scatter_cents: float | Real, n: int) -> tuple[Real, Real | None]:
    """Standard deviation of each mode, cents, and their covariance, cents^2, if they have one."""
    scatter = np.asarray(scatter_cents, dtype=float)
    if scatter.ndim > 2 or any(size != n for size in scatter.shape):
        message = f"scatter of size {scatter.shape} for {n} modes; must be one number, ({n},) or ({n}, {n})"
        raise AccuracyError(message)
    if scatter.ndim < 2:
        sd, covariance = np.broadcast_to(scatter, n), None
    else:
        sd = np.sqrt(np.maximum(np.diag(scatter), 0.0))
        covariance = scatter + LEAST_CENTS**2 * np.eye(n)
    if not (np.isfinite(scatter).all() and (sd > 0).all()):
        message = "the modes' scatter is not positive; it must be, in cents"
        raise AccuracyError(message)
    return np.maximum(sd, LEAST_CENTS), covariance


def _node_cost(
    n: int, lines: Sequence[tuple[int, int]], measured: Sequence[Measured], amplitude: Motion | None
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


def _shape_cost(n: int, measured: Sequence[Measured], deflection: Motion | None) -> tuple[Real, Real | None]:
    """Cost of contradicting the measured shapes, (n, n_measured), and the MAC of all with all."""
    cost = np.zeros((n, len(measured)))
    if deflection is None or all(mode.shape is None for mode in measured):
        return cost, None
    mac = np.full((n, len(measured)), np.nan)
    for j, mode in enumerate(measured):
        if mode.shape is not None and n:
            cost[:, j], mac[:, j] = shape_fit(mode.shape, deflection(mode.shape.points))
    mac.flags.writeable = False
    return cost, mac


def _others(cost: Real, alone: Real, total: float, i: int, j: int) -> tuple[int, ...]:
    """Predicted modes other than i that could be paired with j at little more in all."""
    found = []
    for k in range(cost.shape[0]):
        if k == i or cost[k, j] - alone[k] > cost[i, j] - alone[i] + REJECTION:
            continue
        # The rest is paired anew around the forced pair.
        rest = np.delete(np.delete(cost, k, axis=0), j, axis=1)
        if cost[k, j] + assign(rest, np.delete(alone, k))[0] < total + CLOSE_CALL:
            found.append(k + 1)
    return tuple(found)
