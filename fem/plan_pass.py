"""One pass at the bench: as far toward the end as the uncertainty allows, in tenths of a millimetre.

Depends on fem/plan_problem, fem/plan_risk, fem/plan_solver.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.plan_problem import TENTH, Array, Problem, Tones, corners_of, cut_covariance, runs
from bracedtop.fem.plan_risk import Side, in_band, joint_chance, margin, passing, sides_of
from bracedtop.fem.plan_solver import (
    BEND,
    WOOD,
    Band,
    Costs,
    Point,
    depth_rates,
    evaluated,
    goal_bands,
    minimised,
    useful_depth,
    within_slope,
)

PASSED_MUST, PASSED_WANT = 1e5, 1e3
"""Cost of a unit of ln f by which a pass comes too near a bound; chosen: above that of the goals that it may serve."""

WORTH = 2e-4
"""Least gain of a pass, sum of ln f by which goals come nearer their bands; chosen: a third of a cent."""

SURER = 0.1
"""Rise of the probability that all goals are in their bands for which a cut is worth its risk; chosen."""

LITTLE = 0.02
"""A bound counts among those that share the risk if it takes up more than this part of it; chosen."""

SHALLOWER = (1.0, 0.9, 0.75, 0.5)
"""Parts of a pass that are tried where the whole of it, rounded, goes too far; chosen."""

MOST_TRIES = 8


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass.

    Parameters
    ----------
    point : Point
        With the depths to cut, all 0 if nothing can be cut.
    error : (u, u) array, m^2
        Covariance of the depths as they come out.
    chance : float
        Probability that a mode passes its target by it.
    held_back : bool
        Whether the risk alone kept it from cutting anything.
    """

    point: Point
    error: Array
    chance: float
    held_back: bool = False


def first_pass(problem: Problem, tones: Tones, now: Point, whole: Point, confidence: float) -> Pass:
    """The pass that comes nearest to the goals without passing one.

    Parameters
    ----------
    problem : Problem
    tones : callable
    now, whole : Point
        The present top, and where the plan ends; no place is cut deeper in a pass than there.
    confidence : float
        Least probability that no mode passes its target.

    Raises
    ------
    AccuracyError
        If a linear programme is not solved.
    """
    allowed = 1.0 - confidence
    sides = sides_of(problem.goals)
    upper = within_slope(problem, np.minimum(whole.depths, problem.step))
    nothing = Pass(now, np.zeros((len(upper), len(upper))), 0.0, held_back=bool((upper > 0).any()))
    share = allowed / max(1, _sharing(problem, sides, now, evaluated(problem, tones, upper), allowed))
    start = now
    for _ in range(MOST_TRIES):
        if not (upper >= TENTH - 1e-9).any():
            return nothing
        error = cut_covariance(problem, upper)
        guard = _Guard(problem, sides, now, error, share)
        point = minimised(problem, tones, start, guard.bands, _costs(problem), upper)
        rounded = _rounded(problem, tones, guard, point, upper)
        depths, worst = rounded.depths, guard.worst(rounded)
        if worst is not None:
            # Even the error of these cuts is too much: without the one that adds most to it there is room.
            upper = _without(problem, upper, rounded, worst)
            start = now
            continue
        dropped = (upper > 0) & (depths == 0)
        own = cut_covariance(problem, depths)
        chance = joint_chance(problem, sides, (now.log_hz, now.slopes), (rounded.log_hz, rounded.slopes), own)
        if chance > allowed:
            share *= 0.9 * allowed / chance
            continue
        if dropped.any() and (depths > 0).any() and not np.array_equal(error, own):
            # Fewer cuts leave more room.
            upper = np.where(dropped, 0.0, upper)
            start = rounded
            kept = Pass(rounded, own, chance)
            better = _once_more(problem, tones, kept, now, sides, upper, share, allowed)
            return better if _worth(problem, now, better) else nothing
        found = Pass(rounded, own, chance)
        return found if _worth(problem, now, found) else nothing
    return nothing


def _once_more(
    problem: Problem,
    tones: Tones,
    kept: Pass,
    now: Point,
    sides: list[Side],
    upper: Array,
    share: float,
    allowed: float,
) -> Pass:
    error = cut_covariance(problem, upper)
    guard = _Guard(problem, sides, now, error, share)
    point = minimised(problem, tones, kept.point, guard.bands, _costs(problem), upper)
    rounded = _rounded(problem, tones, guard, point, upper)
    own = cut_covariance(problem, rounded.depths)
    chance = joint_chance(problem, sides, (now.log_hz, now.slopes), (rounded.log_hz, rounded.slopes), own)
    if guard.worst(rounded) is not None or chance > allowed:
        return kept
    return Pass(rounded, own, chance) if cost(problem, rounded) < cost(problem, kept.point) else kept


def _costs(problem: Problem) -> Costs:
    """Of a pass: straight cuts, and no wood for nothing."""
    return Costs(np.full(len(problem.places), 0.1 * WOOD), np.full(len(problem.bends()), BEND))


def _worth(problem: Problem, now: Point, found: Pass) -> bool:
    """Whether a pass brings the goals nearer, or makes it much more probable that they are there."""
    if not (found.point.depths > 0).any():
        return False
    before = in_band(problem, now.log_hz, now.slopes, np.zeros_like(found.error))
    after = in_band(problem, found.point.log_hz, found.point.slopes, found.error)
    surer = float(np.prod(after) - np.prod(before)) >= SURER
    return gain(problem, now, found.point) >= WORTH or (surer and gain(problem, now, found.point) > -WORTH)


def gain(problem: Problem, now: Point, after: Point) -> float:
    """By how much the goals come nearer, sum of ln f; what is only wanted counts where no must gets worse."""
    total = {True: 0.0, False: 0.0}
    for goal in problem.goals:
        total[goal.must] += abs(goal.miss(goal.value(now.log_hz))) - abs(goal.miss(goal.value(after.log_hz)))
    return total[True] if total[True] < 0 else total[True] + total[False]


def cost(problem: Problem, point: Point) -> float:
    """Cost of not being at the goals."""
    return sum(band.cost(point.log_hz) for band in goal_bands(problem.goals))


@dataclass(frozen=True, slots=True)
class _Guard:
    """Goals and the bounds that must not be passed, drawn in by what is uncertain."""

    problem: Problem
    sides: list[Side]
    now: Point
    error: Array
    share: float

    def margin(self, side: Side, point: Point) -> tuple[float, float]:
        """Least distance from the bound that is safe, and the standard deviation of the frequency, both of ln f."""
        first, second = side.row @ self.now.slopes, side.row @ point.slopes
        fall = side.row @ depth_rates(self.problem, point)
        C = self.problem.covariance
        sa = float(np.sqrt(max(first @ C @ first, 0.0)))
        sm = float(np.sqrt(max(second @ C @ second, 0.0) + fall @ self.error @ fall))
        if sm == 0:
            return 0.0, 0.0
        return margin(side.distance(self.now.log_hz), sa, sm, float(first @ C @ second), self.share), sm

    def bands(self, point: Point) -> list[Band]:
        """Costs of frequencies near a point."""
        found = goal_bands(self.problem.goals)
        for side in self.sides:
            least, _ = self.margin(side, point)
            weight = PASSED_MUST if side.must else PASSED_WANT
            found.append(Band(side.sign * side.row, side.sign * side.bound + least, np.inf, weight))
        return found

    def worst(self, point: Point) -> Side | None:
        """The bound of a must that a pass comes too near, if any: the one that it comes nearest."""
        excess = [
            (side.distance(point.log_hz) - least, k)
            for k, side in enumerate(self.sides)
            for least, sm in [self.margin(side, point)]
            if side.must and side.distance(point.log_hz) - least < -1e-3 * sm - 1e-9
        ]
        return self.sides[min(excess)[1]] if excess else None


def _sharing(problem: Problem, sides: list[Side], now: Point, far: Point, allowed: float) -> int:
    """How many bounds a pass could come near."""
    error = cut_covariance(problem, far.depths)
    count = 0
    for side in sides:
        first, second = side.row @ now.slopes, side.row @ far.slopes
        fall = side.row @ depth_rates(problem, far)
        C = problem.covariance
        sa = float(np.sqrt(max(first @ C @ first, 0.0)))
        sm = float(np.sqrt(max(second @ C @ second + fall @ error @ fall, 0.0)))
        risk = passing(side.distance(now.log_hz), side.distance(far.log_hz), sa, sm, float(first @ C @ second))
        count += int(risk > LITTLE * allowed)
    return count


def _without(problem: Problem, upper: Array, point: Point, side: Side) -> Array:
    """Depths without the stretch whose error moves a bound's frequency most."""
    fall = side.row @ depth_rates(problem, point)
    C = cut_covariance(problem, upper)
    stretches = runs(problem, upper)
    spread = [float(fall[run] @ C[np.ix_(run, run)] @ fall[run]) for run in stretches]
    left = upper.copy()
    left[stretches[int(np.argmax(spread))]] = 0.0
    return left


def _rounded(problem: Problem, tones: Tones, guard: _Guard, point: Point, upper: Array) -> Point:
    """A pass in tenths of a millimetre, shallower where rounding alone, or what is not linear, goes too far."""
    nearest = evaluated(problem, tones, _in_tenths(problem, point, guard.bands(point), upper))
    if guard.worst(nearest) is None:
        return nearest
    corners, W = corners_of(problem, point.depths)
    for part in SHALLOWER:
        down = W @ np.floor(part * point.depths[corners] / TENTH + 1e-6)
        found = evaluated(problem, tones, _deep_enough(problem, TENTH * down))
        if guard.worst(found) is None:
            return found
    return nearest


def _in_tenths(problem: Problem, point: Point, bands: list[Band], upper: Array) -> Array:
    """Depths whose corners are whole tenths of a millimetre: rounded down, then up again where that is cheaper."""
    rates = depth_rates(problem, point)
    corners, W = corners_of(problem, point.depths)
    down = np.floor(point.depths[corners] / TENTH + 1e-6)

    def total(tenths: Array) -> float:
        log_hz = point.log_hz + rates @ (TENTH * (W @ tenths) - point.depths)
        return sum(band.cost(log_hz) for band in bands)

    best = total(down)
    while True:
        tried = []
        for c, k in enumerate(corners):
            more = down + (np.arange(len(down)) == c)
            if TENTH * down[c] < point.depths[k] - 1e-9 and (TENTH * (W @ more) <= upper + 1e-9).all():
                tried.append((total(more), c))
        if not tried or min(tried)[0] >= best - 1e-9:
            return _deep_enough(problem, TENTH * (W @ down))
        best, c = min(tried)
        down[c] += 1


def _deep_enough(problem: Problem, depths: Array) -> Array:
    """Depths without the stretches that are not worth setting the tool for."""
    kept = depths.copy()
    for run in runs(problem, depths):
        if depths[run].max() < useful_depth(problem) - 1e-9:
            kept[run] = 0.0
    return kept
