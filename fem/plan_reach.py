"""Targets that taking wood off cannot reach: by how much, what stands in the way, and what adding would do.

Depends on fem/parameter, fem/plan_problem, fem/plan_solver, fem/target, geometry/units.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.parameter import Parameter
from bracedtop.fem.plan_problem import Problem, Tones
from bracedtop.fem.plan_solver import Point, depth_rates, whole_way
from bracedtop.fem.target import Target

NEARLY = 2e-4
"""A target missed by less, in ln f, counts as reached; chosen: a third of a cent."""

FULL = 0.05e-3
"""A place has come to its end if less than this is left of it, m; chosen."""

ADDED = 1e-3
"""What an addition is told for: 1 mm of height, 1 g of mass, in SI."""


@dataclass(frozen=True, slots=True)
class Unreachable:
    """A target that taking wood off does not reach.

    Parameters
    ----------
    target : Target
    miss : float
        By how much the end of the plan is above (positive) or below its band, as a part of the frequency or interval.
    reason : str
        What stands in the way, in words.
    additions : tuple of str
        What adding wood or weight would do, in words.
    """

    target: Target
    miss: float
    reason: str
    additions: tuple[str, ...]


def unreachable(
    problem: Problem,
    tones: Tones,
    now: Point,
    whole: Point,
    targets: Sequence[Target],
    parameters: Sequence[Parameter],
) -> list[Unreachable]:
    """Targets that the whole plan leaves, each with its reason.

    Parameters
    ----------
    problem : Problem
    tones : callable
    now, whole : Point
        The present top and the end of the plan.
    targets : sequence of Target
        One for each of the problem's goals.
    parameters : sequence of Parameter

    Raises
    ------
    AccuracyError
        If a linear programme is not solved.
    """
    found = []
    for k, (goal, target) in enumerate(zip(problem.goals, targets, strict=True)):
        miss = goal.miss(goal.value(whole.log_hz))
        if abs(miss) < NEARLY:
            continue
        reason = _reason(problem, tones, now, targets, k)
        found.append(Unreachable(target, miss, reason, _additions(problem, now, target, miss, parameters)))
    return found


def _reason(problem: Problem, tones: Tones, now: Point, targets: Sequence[Target], k: int) -> str:
    goal = problem.goals[k]
    if not problem.places:
        return "there is nothing to take wood off"
    fall = goal.row @ depth_rates(problem, now)
    way = -np.sign(goal.miss(goal.value(now.log_hz)))
    if way and not ((way * fall > 0) & (problem.most > FULL)).any():
        return f"no place left where taking wood off would {'raise' if way > 0 else 'lower'} it"
    alone = whole_way(replace(problem, goals=(goal,)), tones, now)
    left = goal.miss(goal.value(alone.log_hz))
    if abs(left) < NEARLY:
        others = [
            target.words
            for other, target in zip(problem.goals, targets, strict=True)
            if other is not goal and abs(other.miss(other.value(alone.log_hz))) >= NEARLY
        ]
        return f"on its own it could be reached, but not together with {_listed(others) or 'the other targets'}"
    bound = [
        place.part
        for place, depth, most in zip(problem.places, alone.depths, problem.most, strict=True)
        if depth > FULL and most - depth < FULL
    ]
    limits = [f"{_listed(list(dict.fromkeys(bound)))} as low as allowed"] if bound else []
    if len(problem.bounds) and (problem.bounds - problem.rows @ alone.depths < 1e-3 * np.abs(problem.bounds)).any():
        limits.append("the limits on wood removed or on the string load reached")
    way_word = "raised" if left < 0 else "lowered"
    return f"even on its own it cannot be {way_word} that far" + (f": {' and '.join(limits)}" if limits else "")


def _listed(words: list[str]) -> str:
    return ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + words[-1] if words else ""


def _additions(
    problem: Problem, now: Point, target: Target, miss: float, parameters: Sequence[Parameter]
) -> tuple[str, ...]:
    """What adding would do, from the derivatives at the present top."""
    goal_row = np.zeros(len(now.log_hz))
    goal_row[target.mode - 1] = 1.0
    slopes = goal_row @ now.slopes
    hz = float(np.exp(now.log_hz[target.mode - 1]))
    found: list[str] = []
    if miss < 0:
        by_brace: dict[str, float] = {}
        for parameter, slope in zip(parameters, slopes, strict=False):
            if parameter.kind == "height":
                by_brace[parameter.part] = by_brace.get(parameter.part, 0.0) + ADDED * float(slope) * hz
        if by_brace:
            name = max(by_brace, key=lambda part: by_brace[part])
            if by_brace[name] > 0:
                found.append(
                    f"1 mm more height on {name}, next time, raises mode {target.mode} by {by_brace[name]:.1f} Hz"
                )
    else:
        masses = [(ADDED * float(s) * hz, p.part) for p, s in zip(parameters, slopes, strict=False) if p.kind == "mass"]
        if masses:
            fall, place = min(masses)
            if fall < 0:
                at = "the bridge" if place == "bridge" else place
                found.append(f"1 g more at {at} lowers mode {target.mode} by {-fall:.2f} Hz")
    return tuple(found)
