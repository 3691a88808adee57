"""How probable it is that a pass takes a mode past its target.

Depends on fem/plan_problem, fem/target.

What is known of a top is Gaussian, and so, to first order, are the logarithms of frequencies before and after a cut.
A mode passes its target if it was on the right side before and is on the wrong one afterwards.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from bracedtop.fem.plan_problem import Array, Problem
from bracedtop.fem.target import Goal

_N_SAMPLES = 4096
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


@dataclass(frozen=True, slots=True)
class Side:
    """A bound that must not be passed: sign * (row . log_hz - bound) > 0 is the right side."""

    row: Array
    bound: float
    sign: float
    must: bool

    def distance(self, log_hz: Array) -> float:
        """How far from the bound, positive on the right side."""
        return self.sign * (float(self.row @ log_hz) - self.bound)


def sides_of(goals: tuple[Goal, ...]) -> list[Side]:
    """Bounds that a cut must not pass."""
    found = []
    for goal in goals:
        for side in goal.risky:
            # The low side is left upwards, the high side downwards.
            bound = goal.low if side < 0 else goal.high
            if np.isfinite(bound):
                found.append(Side(goal.row, bound, -float(side), goal.must))
    return found


def passing(a: float, m: float, sa: float, sm: float, cross: float) -> float:
    """Probability that one Gaussian is positive and another one negative.

    Parameters
    ----------
    a, m : float
        Means of the first and the second.
    sa, sm : float
        Standard deviations.
    cross : float
        Covariance.
    """
    if sa <= 0:
        return float(ndtr(-m / sm)) if a > 0 and sm > 0 else float(a > 0 > m)
    slope = cross / sa**2
    rest = np.sqrt(max(sm**2 - slope * cross, 1e-30))
    # Of the first, what lies above zero and is not negligible.
    low, high = max(0.0, a - 8 * sa), a + 8 * sa
    if high <= low:
        return 0.0
    x = low + (high - low) * (_NODES + 1) / 2
    density = np.exp(-0.5 * ((x - a) / sa) ** 2) / (sa * np.sqrt(2 * np.pi))
    below = ndtr(-(m + slope * (x - a)) / rest)
    return float((high - low) / 2 * (_WEIGHTS @ (density * below)))


def margin(a: float, sa: float, sm: float, cross: float, risk: float) -> float:
    """Least mean of the second Gaussian at which `passing` is not above `risk`."""
    low, high = min(a, 0.0) - 8 * (sa + sm), max(a, 0.0) + 8 * (sa + sm) + 1e-12
    for _ in range(40):
        middle = 0.5 * (low + high)
        if passing(a, middle, sa, sm, cross) > risk:
            low = middle
        else:
            high = middle
    return high


def in_band(problem: Problem, log_hz: Array, slopes: Array, error: Array) -> Array:
    """Probability of each goal (g,) to be in its band, where the depths of a cut come out with covariance `error`."""
    fall = -slopes[:, problem.index] / problem.scale
    found = []
    for goal in problem.goals:
        slope, row = goal.row @ slopes, goal.row @ fall
        sd = float(np.sqrt(max(slope @ problem.covariance @ slope, 0.0) + row @ error @ row)) or 1e-12
        value = goal.value(log_hz)
        found.append(float(ndtr((goal.high - value) / sd) - ndtr((goal.low - value) / sd)))
    return np.array(found)


def joint_chance(
    problem: Problem, sides: list[Side], before: tuple[Array, Array], after: tuple[Array, Array], error: Array
) -> float:
    """Probability that a pass takes any mode past any bound.

    Parameters
    ----------
    problem : Problem
    sides : list of Side
    before, after : (log_hz (m,), slopes (m, k))
    error : (u, u) array, m^2
        Covariance of the cut's depths.
    """
    if not sides:
        return 0.0
    rows = np.array([side.sign * side.row for side in sides])
    first, second = rows @ before[1], rows @ after[1]
    fall = -second[:, problem.index] / problem.scale
    C = problem.covariance
    cross = first @ C @ second.T
    joint = np.block([[first @ C @ first.T, cross], [cross.T, second @ C @ second.T + fall @ error @ fall.T]])
    means = [side.distance(log_hz) for log_hz in (before[0], after[0]) for side in sides]
    z = np.array(means) + _samples(len(means)) @ _root(joint).T
    was, now = z[:, : len(sides)], z[:, len(sides) :]
    return float(((was > 0) & (now < 0)).any(axis=1).mean())


def _root(C: Array) -> Array:
    """R with R R^T = C, for a covariance that may be singular."""
    lam, V = np.linalg.eigh((C + C.T) / 2)
    return np.asarray(V * np.sqrt(np.maximum(lam, 0.0)))


@cache
def _samples(n: int) -> Array:
    """Normal samples (k, n) that cover space evenly, the same every time."""
    # The first points lie on a grid; half a cell further none is at the border.
    return np.asarray(ndtri(qmc.Sobol(n, scramble=False).random(_N_SAMPLES) + 0.5 / _N_SAMPLES))
