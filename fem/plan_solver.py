"""The optimiser of a plan: where to end with least wood, and how far the first pass may go.

Depends on fem/plan_problem, fem/plan_risk, fem/target.

Sequential linear programming with a trust region: frequencies and their exact derivatives at one place make a linear
programme, solved by HiGHS; its answer is taken if the true frequencies are better there, and the region shrinks if not.
A second programme with the curvature that the first one met (second-order correction) saves most of these.
Linear programmes end in corners, so few places are cut; the weights of the wood are renewed a few times so that a place
cut deep costs little more than one cut shallow.

References
----------
R. Fletcher, E. Sainz de la Maza, "Nonlinear programming and nonsmooth optimization by successive linear programming",
Mathematical Programming 43 (1989) 235-256. E. J. Candes, M. B. Wakin, S. P. Boyd, "Enhancing sparsity by reweighted l1
minimization", J. Fourier Analysis and Applications 14 (2008) 877-905, eq. 6. Q. Huangfu, J. A. J. Hall, "Parallelizing
the dual revised simplex method", Mathematical Programming Computation 10 (2018) 119-142 (HiGHS).
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import linprog

from bracedtop.fem.plan_limits import USEFUL_DEPTH
from bracedtop.fem.plan_problem import Array, Problem, Tones, length, runs
from bracedtop.fem.target import Goal
from bracedtop.geometry.errors import AccuracyError

INSIDE = 0.4
"""Part of a band that is kept free on either side where the plan is meant to end; chosen: so it aims at the middle."""

CLEAR = 5e-4
"""The same for a band with one side only, as a difference of ln f; chosen: half a cent, what a tap tells at best."""

MUST, WANT = 1e4, 1e2
"""Cost of a unit of ln f outside the band, against `WOOD`; chosen: a must gives way to no want worth naming."""

CENTRED = 0.01
"""Cost of being outside the middle of the band, over that of being outside the band; chosen."""

WOOD = 1e-3
"""Cost of 1 mm at one place; chosen: a place is cut if that brings a want 0.001 % nearer, and never for less."""

BLUNT = 0.3
"""Depth at which cutting deeper and cutting elsewhere cost the same, mm; chosen."""

BEND = 0.3 * WOOD
"""Cost of a bend of 1 mm over `BEND_GAP`; chosen: a cut of few straight stretches is made with few settings."""

SENSITIVE = 1e3
"""How much dearer wood is at a place where the error of a cut alone spends the band and the way to it; chosen: with a
tenth of it virtual tops got stuck before their targets, as no cut was fine enough."""

ENOUGH, NEARLY_ALL = 1e-3, 1e-4
"""The search ends where no more is to be gained than the first, or this part of the cost; chosen: a mm at one place."""

ROUNDS = 3
MOST_STEPS = 12
"""Programmes in one search; chosen: what is left then is less than what the next round of weights changes."""

FIRST_REACH, LEAST_REACH = 1.5e-3, 0.03e-3
"""Trust region, m: first, and where looking nearer no longer helps."""


@dataclass(frozen=True)
class Point:
    """Frequencies after depths (u,) were taken off: their logarithms (m,), and what gives their slopes by the state."""

    depths: Array
    log_hz: Array
    sloped: Callable[[], Array]

    @cached_property
    def slopes(self) -> Array:
        """Slopes of the logarithms by the state, (m, k)."""
        return self.sloped()


@dataclass(frozen=True, slots=True)
class Band:
    """Piecewise linear cost of the logarithms of frequencies: weight per unit of row . log_hz outside low to high."""

    row: Array
    low: float
    high: float
    weight: float

    def cost(self, log_hz: Array) -> float:
        """Cost at some frequencies."""
        value = float(self.row @ log_hz)
        return self.weight * max(value - self.high, self.low - value, 0.0)


@dataclass(frozen=True, slots=True)
class Costs:
    """Cost of 1 mm at each place (u,) and of each bend (b,)."""

    wood: Array
    bend: Array


def evaluated(problem: Problem, tones: Tones, depths: Array) -> Point:
    """Frequencies after depths were taken off."""
    return Point(depths, *tones(problem.values(depths)))


def depth_rates(problem: Problem, point: Point) -> Array:
    """Change of ln f per m of each depth, (m, u)."""
    return np.asarray(-point.slopes[:, problem.index] / problem.scale)


def goal_bands(goals: tuple[Goal, ...]) -> list[Band]:
    """Costs of the goals: to be in the band, and a little to be in its middle."""
    bands = []
    for goal in goals:
        weight = MUST if goal.must else WANT
        inside = INSIDE * (goal.high - goal.low) if np.isfinite(goal.high - goal.low) else CLEAR
        bands.append(Band(goal.row, goal.low, goal.high, weight))
        bands.append(Band(goal.row, goal.low + inside, goal.high - inside, CENTRED * weight))
    return bands


def whole_way(problem: Problem, tones: Tones, now: Point, finer: float = 1.0) -> Point:
    """Where to end: all goals in their bands, as far as taking wood off can do it, with few and short cuts.

    Parameters
    ----------
    problem : Problem
    tones : callable
    now : Point
        The present top, with depths of 0.
    finer : float
        How much more than usual the errors of the cuts count against their wood.

    Raises
    ------
    AccuracyError
        If a linear programme is not solved.
    """
    bands = goal_bands(problem.goals)
    base = _wood_costs(problem, now, finer * SENSITIVE)
    B = problem.bends()
    costs = Costs(base / BLUNT, np.full(len(B), BEND / BLUNT))
    upper = problem.most.copy()
    point = now
    for _ in range(ROUNDS):
        point = minimised(problem, tones, point, lambda _: bands, costs, upper)
        costs = Costs(base / (1e3 * point.depths + BLUNT), BEND / (1e3 * np.abs(B @ point.depths) + BLUNT))
    for _ in range(ROUNDS):
        banned = _useless(problem, point.depths) & (upper > 0)
        if not banned.any():
            return point
        upper[banned] = 0.0
        # What was never cut stays so: the round only mends what the ban has cost.
        start = evaluated(problem, tones, within_slope(problem, np.minimum(point.depths, upper)))
        point = minimised(problem, tones, start, lambda _: bands, costs, upper)
    return point


def within_slope(problem: Problem, depths: Array) -> Array:
    """Depths lowered until they are nowhere steeper than allowed."""
    depths = depths.copy()
    for _ in range(len(depths)):
        before = depths.copy()
        for (i, j), gap in zip(problem.neighbours, problem.gaps, strict=True):
            rise = problem.largest_slope * gap
            depths[i], depths[j] = min(depths[i], depths[j] + rise), min(depths[j], depths[i] + rise)
        if np.array_equal(before, depths):
            break
    return depths


def _wood_costs(problem: Problem, now: Point, sensitive: float) -> Array:
    """Cost of 1 mm at each place: dearer where a cut's own error moves a goal by much of its band and of its way.

    Far from a goal, speed counts: there is room for errors, which the re-tap shows.
    """
    rates = depth_rates(problem, now)
    spent = np.zeros(len(problem.places))
    for goal in problem.goals:
        if np.isfinite(goal.high - goal.low):
            room = goal.high - goal.low + abs(goal.miss(goal.value(now.log_hz)))
            spent += (problem.cut_error * (goal.row @ rates) / room) ** 2
    return np.asarray(WOOD * (1.0 + sensitive * spent))


def useful_depth(problem: Problem) -> float:
    """Least depth of a cut, m: what can be measured, and no less than its own error."""
    return max(USEFUL_DEPTH, problem.cut_error)


def _useless(problem: Problem, depths: Array) -> Array:
    """Places with cuts too shallow or too short for a tool."""
    poor = np.zeros(len(depths), dtype=bool)
    for run in runs(problem, depths):
        poor[run] = length(problem, run) < problem.shortest or depths[run].max() < useful_depth(problem)
    return poor


def minimised(
    problem: Problem,
    tones: Tones,
    start: Point,
    bands_at: Callable[[Point], list[Band]],
    costs: Costs,
    upper: Array,
) -> Point:
    """Depths of least cost near a start.

    Parameters
    ----------
    problem : Problem
    tones : callable
    start : Point
    bands_at : callable
        Costs of frequencies, as they are near a point.
    costs : Costs
    upper : (u,) array, m
        Largest depths.

    Raises
    ------
    AccuracyError
        If a linear programme is not solved.
    """
    point, reach = start, FIRST_REACH
    for _ in range(MOST_STEPS):
        bands = bands_at(point)
        now = _cost(problem, point, bands, costs)
        depths, promised = _linear(problem, point, point.log_hz, bands, costs, upper, reach)
        if now - promised < ENOUGH + NEARLY_ALL * now:
            break
        new = evaluated(problem, tones, depths)
        gained = now - _cost(problem, new, bands, costs)
        if gained < 0.7 * (now - promised):
            # The curvature seen there, put into the programme once more.
            bent = new.log_hz - depth_rates(problem, point) @ (depths - point.depths)
            depths, _ = _linear(problem, point, bent, bands, costs, upper, reach)
            second = evaluated(problem, tones, depths)
            gained_second = now - _cost(problem, second, bands, costs)
            if gained_second > gained:
                new, gained = second, gained_second
        ratio = gained / (now - promised)
        if ratio > 0.1:
            point = new
        if ratio < 0.25:
            reach *= 0.4
        elif ratio > 0.7:
            reach *= 1.6
        if reach < LEAST_REACH:
            break
    return point


def _cost(problem: Problem, point: Point, bands: list[Band], costs: Costs) -> float:
    total = sum(band.cost(point.log_hz) for band in bands) + 1e3 * float(costs.wood @ point.depths)
    total += 1e3 * float(costs.bend @ np.abs(problem.bends() @ point.depths))
    if problem.wanted_mass is not None:
        total += _ABOUT * abs(float(problem.grams @ point.depths) / problem.wanted_mass - 1.0)
    return total


_ABOUT = 0.1
"""Cost of missing the wanted mass altogether; chosen: below any want."""


def _linear(
    problem: Problem, point: Point, log_hz: Array, bands: list[Band], costs: Costs, upper: Array, reach: float
) -> tuple[Array, float]:
    """Best depths within reach by the linear programme in mm, and the cost that it promises.

    It takes `log_hz` for the frequencies at the point.
    """
    u, n_bands = len(point.depths), len(bands)
    extra = int(problem.wanted_mass is not None)
    B = problem.bends()
    size = u + n_bands + extra + len(B)
    rates = 1e-3 * depth_rates(problem, point)
    depths = 1e3 * point.depths
    rows, bounds = [], []

    def soft(slope: Array, value: float, low: float, high: float, k: int) -> None:
        for sign, bound in ((1.0, high), (-1.0, -low)):
            if np.isfinite(bound):
                row = np.zeros(size)
                # Scaled, so that a unit is a tenth of a percent and the solver's tolerance far below.
                row[:u], row[u + k] = 1e3 * sign * slope, -1.0
                rows.append(row)
                bounds.append(1e3 * (bound - sign * (value - float(slope @ depths))))

    for k, band in enumerate(bands):
        soft(band.row @ rates, float(band.row @ log_hz), band.low, band.high, k)
    if problem.wanted_mass is not None:
        slope = 1e-3 * problem.grams / problem.wanted_mass
        soft(slope, float(slope @ depths), 1.0, 1.0, n_bands)
    G, g = problem.slopes()
    hard = np.vstack([G, problem.rows * 1e-3 / np.maximum(np.abs(problem.bounds), 1e-12)[:, None]])
    hard_bounds = np.concatenate([1e3 * g, np.sign(problem.bounds)])
    bends = np.zeros((2 * len(B), size))
    bends[:, :u] = np.vstack([B, -B])
    bends[:, u + n_bands + extra :] = np.vstack([-np.eye(len(B))] * 2)
    A = np.vstack([np.array(rows).reshape(-1, size), np.pad(hard, ((0, 0), (0, size - u))), bends])
    weights = 1e-3 * np.array([band.weight for band in bands] + [_ABOUT] * extra)
    most = 1e3 * upper
    box = np.column_stack([np.clip(depths - 1e3 * reach, 0.0, most), np.minimum(depths + 1e3 * reach, most)])
    found = linprog(
        np.concatenate([costs.wood, weights, costs.bend]),
        A_ub=A,
        b_ub=np.concatenate([bounds, hard_bounds, np.zeros(2 * len(B))]),
        bounds=np.vstack([box, np.tile([0.0, np.inf], (size - u, 1))]),
        method="highs",
    )
    if found.x is None:
        message = f"the plan's linear programme was not solved: {found.message}"
        raise AccuracyError(message)
    best = np.clip(found.x[:u], 0.0, 1e3 * upper)
    return 1e-3 * np.where(best < 1e-6, 0.0, best), float(found.fun)
