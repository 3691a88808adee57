"""What the plan of a ring says at the bench.

Depends on fem/closed_levers, fem/closed_target, fem/ring_plan, fem/ring_table, geometry/units.
"""

from collections.abc import Sequence

from bracedtop.fem.closed_levers import Help
from bracedtop.fem.ring_plan import RingPlan
from bracedtop.fem.ring_table import RingLine
from bracedtop.geometry.units import MM, cents, note

CAUTIONS = (
    "Wood cannot be put back: take half of the pass, tap with the hole open and blocked, and go on only if both notes "
    "moved as expected.",
    "Thin evenly all round, gauge the edge as you go, and keep off the bindings and the joint with the sides.",
    "Fine dust of wood and finish harms the lungs: wear a mask, work with extraction or wet; local rules on dust, "
    "tools and protected woods come before this text.",
)

STRING_CAUTION = (
    "The string load is computed for sound wood and sound glue, for years at the strings' pull; slack the strings "
    "before work on the top, and look at the bridge's glue line and the edge before tuning up again."
)

AUDIBLE = 5.0
"""Cents that are heard between two tones one after the other; from memory, of tests with practised listeners."""


def note_words(hz: float) -> str:
    """A frequency as a note with cents, such as "F#3 -12"."""
    name, off = note(hz)
    return f"{name} {off:+.0f}"


def state_words(plan: RingPlan) -> str:
    """Where things stand, in one sentence."""
    wish = plan.wish
    if wish is None:
        return "no wish in [closed]; the tables show what thinning would do"
    off = float(plan.sunk.off[0])
    where = f"{wish.words}: {abs(off):.0f} cents {'above' if off >= 0 else 'below'} it now"
    if plan.state == "done":
        return f"{where}, inside the band of {wish.tolerance:g} cents; leave it"
    if plan.state == "passed":
        return f"{where}; thinning lowers it further, so that nothing is to be taken off"
    if plan.state == "too far":
        return (
            f"{where}; thinning the ring to its least thickness leaves it {plan.short + wish.tolerance:.0f} cents above"
        )
    if plan.state == "left alone":
        return f"{where}; thin_edge_ring = false in [plan] leaves the ring alone"
    if plan.state == "tap first":
        sd = float(plan.sunk.off_sd[0])
        known = f"give or take {1.96 * sd:.0f} (95 %)"
        return f"{where}, {known}; too little is known for a safe pass: tap the closed box first"
    n = len(plan.passes)
    return f"{where}; {'one pass' if n == 1 else f'{n} passes'} of the ring, {_depths(plan)}, one at a time"


def pass_words(plan: RingPlan, number: int, grams: float) -> str:
    """The next pass, in one sentence."""
    one = plan.passes[0]
    heard = ", ".join(f"{name} {hz:.1f} Hz" for name, hz in one.hz.items())
    return (
        f"Pass {number}: take {one.depth / MM:.2f} mm off the outside of the ring all round, {grams:.1f} g. Then "
        f"expect {heard}; {one.off:.0f} cents left, give or take {1.96 * one.sd:.0f}; chance of going past "
        f"{100 * one.chance:.1f} %."
    )


def stop_words(plan: RingPlan) -> str:
    """When to stop inside a pass."""
    wish, now, one = plan.wish, plan.sunk.hz, plan.passes[0]
    if wish is None:
        return ""
    heard = wish.of
    least = one.hz[heard] - (float(now[heard][0]) - one.hz[heard])
    limit = f"below {max(least, 0.0):.1f} Hz, twice as far as this pass should bring it"
    return f"Stop at once if the {heard} is heard {limit}."


def practice_words(lines: Sequence[RingLine], takes: Sequence[float]) -> str:
    """What a tenth of a millimetre does to the top's note, beside what makers say."""
    line = next(line for line in lines if line.note == "top blocked")
    tenth = next((k for k, depth in enumerate(takes) if abs(depth - 0.1 * MM) < 1e-9), None)
    change = float(line.changes[tenth]) if tenth is not None else 10 * line.per_hundredth
    size = abs(cents(line.hz + change, line.hz))
    return (
        f"A tenth of a millimetre off this ring moves the top's note, hole blocked, by {change:+.1f} Hz or {size:.0f} "
        f"cents; about {AUDIBLE:.0f} cents are heard between two tones (recalled), which takes "
        f"{0.1 * AUDIBLE / size:.2f} mm. Makers say that less than a tenth is felt (common practice, no source): the "
        f"model says {'the same' if size > AUDIBLE else 'otherwise'}."
    )


def help_words(one: Help) -> str:
    """What a lever does for the wish."""
    where = "" if one.lever.on_this else " (on the next box)"
    if one.meets:
        return f"{one.lever.words(one.amount)}{where} would meet it"
    side = "above" if one.off >= 0 else "below"
    return f"{one.lever.words(one.amount)}{where} would leave it {abs(one.off):.0f} cents {side}"


def _depths(plan: RingPlan) -> str:
    total = sum(one.depth for one in plan.passes)
    return f"{total / MM:.2f} mm in all"
