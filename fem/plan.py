"""One safe pass toward the targets, planned for all braces together, and what lies behind it.

Depends on fem/calibration, fem/numbering, fem/plan_pass, fem/plan_problem, fem/plan_reach, fem/plan_risk,
fem/plan_solver, fem/reduced, fem/target.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from bracedtop.fem.calibration import HOLDING, Posterior
from bracedtop.fem.numbering import of_state
from bracedtop.fem.parameter import Parameter
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.plan_pass import Pass, first_pass
from bracedtop.fem.plan_problem import Array, Problem, Tones, cuts_of, places_of, problem_of
from bracedtop.fem.plan_reach import ADDED, NEARLY, Unreachable, unreachable
from bracedtop.fem.plan_risk import in_band
from bracedtop.fem.plan_solver import Point, depth_rates, evaluated, whole_way
from bracedtop.fem.reduced import Reduced, State, mass_rates, shapes, tracked, what_if
from bracedtop.fem.target import Goal, Target, goal_of, settled
from bracedtop.geometry.cut import Cut

SURE = 0.85
"""Probability of a target to be in its band with which it is left alone; chosen."""

BAND = 1.96
"""Half the breadth of the band in which the re-tap lies with 95 %, in standard deviations."""

Narrowed = Callable[[Problem, Point], Problem]
"""Adds limits that show only at the end of a plan, such as those under load; the same problem if all are kept."""

FINER = (10.0, 100.0)
"""How much more the errors of cuts count where no pass is safe otherwise; chosen."""

MOST_NARROWED = 4


PATCH = 20e-3
"""Least distance of a patch's middle from the rim and from holes, m; chosen: a patch of 1 g of spruce is 30 mm wide."""


@dataclass(frozen=True, slots=True)
class Plan:
    """One pass, and what lies behind it.

    Parameters
    ----------
    cuts : tuple of Cut
        Empty if nothing is to be cut.
    values_after : (n,) array
        Parameters after the pass.
    now, now_sd : (m,) arrays, Hz
        Present frequencies with standard deviations.
    expected, low, high : (m,) arrays, Hz
        What the re-tap should show, with its 95 % band; taps and the cut's error included.
    final : (m,) array, Hz
        Where the whole plan ends.
    done : bool
        All targets are in their bands, or none can be brought nearer with all that must be there.
    targets : tuple of Target
        Settled, in the order of `goals`.
    goals : tuple of Goal
    reached : tuple of Target
        Those in whose bands the whole plan ends.
    unreachable : tuple of Unreachable
    passes_left : int
        Passes behind this one, about.
    grams : float
        Wood of this pass.
    chance : float
        Probability that the pass takes a mode past its target.
    in_band : (g,) array
        Probability of each target to be in its band after the pass.
    in_band_now : (g,) array
        The same before it.
    held_back : bool
        Whether something could be cut, but not safely: too little is known, or a cut is too coarse.
    problem : Problem
    depths, whole_depths : (u,) arrays, m
        Of this pass and of the whole plan, at the problem's places.
    """

    cuts: tuple[Cut, ...]
    values_after: Array
    now: Array
    now_sd: Array
    expected: Array
    low: Array
    high: Array
    final: Array
    done: bool
    targets: tuple[Target, ...]
    goals: tuple[Goal, ...]
    reached: tuple[Target, ...]
    unreachable: tuple[Unreachable, ...]
    passes_left: int
    grams: float
    chance: float
    in_band: Array
    in_band_now: Array
    held_back: bool
    problem: Problem
    depths: Array
    whole_depths: Array


def make_plan(
    reduced: Reduced,
    posterior: Posterior,
    targets: Sequence[Target],
    limits: Limits | None = None,
    *,
    confidence: float | None = None,
    cut_error: float | None = None,
    narrowed: Narrowed | None = None,
) -> Plan:
    """Plan one pass.

    Parameters
    ----------
    reduced : Reduced
    posterior : Posterior
        What is known of the top as it is now.
    targets : sequence of Target
        A mode to keep is kept where it is now, unless its `hz` says where it was first; see `settled`.
    limits : Limits, optional
    confidence, cut_error : float, optional
        In place of the limits'.
    narrowed : callable, optional
        Further limits that show only at the end of a plan.

    Raises
    ------
    DesignError
        If a target is of a mode that the model does not have, or sustain is asked of a mode without a decay.
    AccuracyError
        If a linear programme is not solved.
    """
    limits = limits or Limits()
    tones = tones_of(reduced, posterior)
    state = what_if(reduced, posterior.values)
    log_hz, _ = tones(posterior.values)
    fixed = settled(targets, np.exp(log_hz))
    problem = problem_of(
        places_of(reduced.design, reduced.parameters, limits),
        reduced.parameters,
        posterior.values,
        mass_rates(reduced, state),
        [goal_of(target, log_hz) for target in fixed],
        posterior.covariance,
        limits,
        limits.cut_error if cut_error is None else cut_error,
    )
    sure = limits.confidence if confidence is None else confidence
    plan = planned(problem, tones, fixed, sure, reduced.parameters, narrowed)
    if not any(lost.miss > 0 for lost in plan.unreachable):
        return plan
    start = tracked(reduced, posterior.values, posterior.reference)
    return replace(plan, unreachable=tuple(with_patch(lost, reduced, start) for lost in plan.unreachable))


def with_patch(lost: Unreachable, reduced: Reduced, state: State) -> Unreachable:
    """A target that stays too high, with what a small patch where its mode moves most would do beside the rest.

    A mass dm at deflection w of a mode of modal mass 1 kg changes its frequency by -f w^2 dm / 2 (Rayleigh's quotient).
    """
    if lost.miss <= 0:
        return lost
    k = lost.target.mode - 1
    xy = reduced.space.basis.doflocs
    # Not on the rim, where a patch has no hold.
    inner = shapely.contains_xy(reduced.design.region.buffer(-PATCH), *xy)
    w = np.where(inner, shapes(reduced, state)[k], 0.0)
    most = int(np.abs(w).argmax())
    x, y = 1e3 * xy[:, most]
    fall = state.frequencies[k] * w[most] ** 2 / 2 * ADDED
    words = f"a patch of 1 g at [{x:.0f}, {y:.0f}] mm, where it moves most, lowers mode {k + 1} by {fall:.2f} Hz"
    return replace(lost, additions=(*lost.additions, words))


def tones_of(reduced: Reduced, posterior: Posterior) -> Tones:
    """True frequencies, as far as they are known, and their slopes by the state."""

    def tones(values: Array) -> tuple[Array, Callable[[], Array]]:
        state = tracked(reduced, values, posterior.reference)
        return np.log(state.frequencies) + posterior.bias, lambda: _slopes(reduced, state)

    return tones


def _slopes(reduced: Reduced, state: State) -> Array:
    found = of_state(reduced, state)
    return np.hstack([found.slopes, np.eye(len(found.log_hz))])


def planned(
    problem: Problem,
    tones: Tones,
    targets: Sequence[Target],
    confidence: float,
    parameters: Sequence[Parameter] = (),
    narrowed: Narrowed | None = None,
) -> Plan:
    """Plan one pass of a problem.

    Parameters
    ----------
    problem : Problem
        With one goal for each target.
    tones : callable
    targets : sequence of Target
        Settled.
    confidence : float
    parameters : sequence of Parameter
        For what an addition would do; none is named without them.
    narrowed : callable, optional

    Raises
    ------
    AccuracyError
        If a linear programme is not solved.
    """
    u = len(problem.places)
    now = evaluated(problem, tones, np.zeros(u))
    missed = [goal.miss(goal.value(now.log_hz)) for goal in problem.goals]
    sure = in_band(problem, now.log_hz, now.slopes, np.zeros((u, u)))
    done = not any(missed) and bool((sure >= SURE).all())
    whole, step = now, Pass(now, np.zeros((u, u)), 0.0)
    if not done and u:
        whole = whole_way(problem, tones, now)
        for _ in range(MOST_NARROWED if narrowed is not None else 0):
            tighter = problem if narrowed is None else narrowed(problem, whole)
            if tighter is problem:
                break
            problem = tighter
            whole = whole_way(problem, tones, now)
        step = first_pass(problem, tones, now, whole, confidence)
        for finer in FINER:
            if not step.held_back:
                break
            # Where every cut is too coarse, more wood in places that matter less may do.
            end = whole_way(problem, tones, now, finer)
            again = first_pass(problem, tones, now, end, confidence)
            if not again.held_back and (again.point.depths > 0).any():
                whole, step = end, again
    cut = bool((step.point.depths > 0).any())
    musts = [miss for goal, miss in zip(problem.goals, missed, strict=True) if goal.must]
    done = done or (not cut and not any(missed)) or (not cut and not step.held_back and not any(musts))
    ends = [abs(goal.miss(goal.value(whole.log_hz))) < NEARLY for goal in problem.goals]
    lost = [] if done else unreachable(problem, tones, now, whole, targets, parameters)
    sd = frequency_sd(problem, now, np.zeros((u, u)))
    after_sd = np.hypot(frequency_sd(problem, step.point, step.error), HOLDING)
    expected = np.exp(step.point.log_hz)
    return Plan(
        cuts=cuts_of(problem, step.point.depths),
        values_after=problem.values(step.point.depths),
        now=np.exp(now.log_hz),
        now_sd=np.exp(now.log_hz) * sd,
        expected=expected,
        low=expected * np.exp(-BAND * after_sd),
        high=expected * np.exp(BAND * after_sd),
        final=np.exp(whole.log_hz),
        done=done,
        targets=tuple(targets),
        goals=problem.goals,
        reached=tuple(target for target, end in zip(targets, ends, strict=True) if end),
        unreachable=tuple(lost),
        passes_left=_passes_left(problem, step, whole) if cut else 0,
        grams=1e3 * float(problem.grams @ step.point.depths),
        chance=step.chance,
        in_band=in_band(problem, step.point.log_hz, step.point.slopes, step.error),
        in_band_now=sure,
        held_back=step.held_back,
        problem=problem,
        depths=step.point.depths,
        whole_depths=whole.depths,
    )


def frequency_sd(problem: Problem, point: Point, error: Array) -> Array:
    """Standard deviations of ln f after a cut, (m,)."""
    fall = depth_rates(problem, point)
    variance = np.einsum("mi,ij,mj->m", point.slopes, problem.covariance, point.slopes)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0) + np.einsum("mi,ij,mj->m", fall, error, fall)))


def _passes_left(problem: Problem, step: Pass, whole: Point) -> int:
    if not any(
        goal.miss(goal.value(step.point.log_hz)) and not goal.miss(goal.value(whole.log_hz)) for goal in problem.goals
    ):
        return 0
    left = whole.depths - step.point.depths
    deepest = problem.step > 0
    by_depth = float(np.max(left[deepest] / problem.step[deepest], initial=0.0))
    return max(1, int(np.ceil(by_depth - 0.2)))
