"""What a plan says at the bench: the cut list, what the re-tap should show, when to stop, and what stands in the way.

Depends on fem/plan, fem/target, geometry/units.
"""

import math
from collections.abc import Sequence

import numpy as np

from bracedtop.fem.plan import Plan
from bracedtop.fem.plan_reach import Unreachable
from bracedtop.fem.target import CENT, Goal, Target
from bracedtop.geometry.units import cents

CAUTIONS = (
    "Wood cannot be put back: take half of each depth first, tap, and go on only if the top rings as expected.",
    "Clamp the top so that nothing presses on the braces, keep clamps and hands out of the blade's way, and use sharp "
    "tools: a blunt one slips and tears.",
    "Wear a dust mask and eye protection; local rules on dust, tools and protected woods come before this text.",
)

STRING_CAUTION = (
    "The string load is computed for sound wood and sound glue; look at the glue lines before the top is strung up."
)

UNTAPPED = (
    "The top has not been tapped: this pass rests on the drawing and on the scatter of woods alone, so it is small "
    "at best. Tap first (bracedtop taps --help): a few taps tell more than the drawing."
)


def mode_bounds(goal: Goal, target: Target) -> tuple[float, float] | None:
    """Band of a target in Hz, for those that are of one mode; None for ratios."""
    return None if target.other else (math.exp(goal.low), math.exp(goal.high))


def stop_rules(plan: Plan) -> tuple[str, ...]:
    """When to stop while cutting: no mode may be heard beyond what the re-tap should show at most."""
    if not plan.cuts:
        return ()
    found: dict[int, str] = {}
    for goal, target in zip(plan.goals, plan.targets, strict=True):
        bounds = mode_bounds(goal, target)
        if bounds is None:
            continue
        k = target.mode - 1
        falls = plan.expected[k] <= plan.now[k]
        if -1 in goal.risky:
            # A mode that should stay is allowed what another hold changes.
            stop = max(bounds[0], float(plan.low[k])) if falls else min(bounds[0], float(plan.low[k]))
            found[target.mode] = f"mode {target.mode} is heard below {stop:.1f} Hz"
        elif 1 in goal.risky and not falls and math.isfinite(bounds[1]):
            stop = min(bounds[1], float(plan.high[k]))
            found[target.mode] = f"mode {target.mode} is heard above {stop:.1f} Hz"
    rules = ["Tap after each half of a cut, held as before."]
    if found:
        rules.append(f"Stop at once if {' or '.join(found[mode] for mode in sorted(found))}.")
    return tuple(rules)


def target_words(goal: Goal, target: Target) -> str:
    """What a target allows, in Hz or cents."""
    if target.kind == "ratio":
        low, high = goal.low / CENT, goal.high / CENT
        return f"{target.text}: {low:.0f} to {high:.0f} cents above mode {target.other}"
    low, high = math.exp(goal.low), math.exp(goal.high)
    if math.isinf(goal.high):
        return f"{target.text}: {low:.1f} Hz or more"
    if goal.low == -math.inf:
        return f"{target.text}: {high:.1f} Hz or less"
    return f"{target.text}: {low:.1f} to {high:.1f} Hz"


def off_words(goal: Goal, log_hz: np.ndarray) -> str:
    """How far frequencies are from a target's band, such as ``"31 cents above"``."""
    miss = goal.miss(goal.value(log_hz)) / CENT
    if abs(miss) < 0.5:
        return "in its band"
    return f"{abs(miss):.0f} cents {'above' if miss > 0 else 'below'}"


def unreachable_words(lost: Unreachable, final: np.ndarray) -> str:
    """A target that is not reached, why, and what adding would do."""
    target = lost.target
    side = "above" if lost.miss > 0 else "below"
    off = f"{abs(lost.miss) / CENT:.0f} cents {side}"
    if not target.other:
        hz = float(final[target.mode - 1])
        off = f"{hz * abs(1 - math.exp(-lost.miss)):.1f} Hz {side} its band ({off})"
    adding = f". {'; '.join(lost.additions)}" if lost.additions else ""
    return f"{target.words}: ends {off}; {lost.reason}{adding}."


def state_words(plan: Plan) -> str:
    """What the plan comes to, in one line."""
    if plan.done:
        lost = " (what is only wanted and cannot be had with the rest is left)" if plan.unreachable else ""
        missing = any(abs(goal.miss(goal.value(np.log(plan.now)))) > 0 for goal in plan.goals)
        if missing:
            return f"Stop here: all that must be is in its band, and nothing more can be gained{lost}."
        return "Stop here: all targets are in their bands."
    if not plan.cuts and plan.held_back:
        return (
            "Nothing is cut: what could be gained is less than what a cut's own error, or what is not known of "
            "the top, puts at risk. Tap again, more than once, to know it better."
        )
    if not plan.cuts:
        return "Nothing is cut: taking wood off brings no target nearer."
    behind = "probably the last one" if plan.passes_left == 0 else _more(plan.passes_left)
    chance = f"The chance that it takes a mode past its target is {100 * plan.chance:.1f} %."
    return f"One pass, then re-tap; {behind}. {chance}"


def _more(n: int) -> str:
    return f"about {n} more {'pass' if n == 1 else 'passes'} behind it"


def expected_rows(plan: Plan, modes: Sequence[int]) -> list[dict[str, float | int]]:
    """What the re-tap should show, by mode counted from 1."""
    return [
        {
            "mode": mode,
            "now_hz": float(plan.now[mode - 1]),
            "hz": float(plan.expected[mode - 1]),
            "low_hz": float(plan.low[mode - 1]),
            "high_hz": float(plan.high[mode - 1]),
            "change_cents": cents(float(plan.expected[mode - 1]), float(plan.now[mode - 1])),
        }
        for mode in modes
    ]
