"""What else moves the notes of a closed box where thinning its ring does not: mass, hole, sleeve, air.

Depends on fem/box_calibration, fem/box_values, fem/closed_modes, fem/closed_target, fem/hole_air.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from bracedtop.fem.box_calibration import BoxPosterior
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.closed_modes import HOLES, followed, note_frequencies
from bracedtop.fem.closed_target import ClosedWish
from bracedtop.fem.hole_air import ENDS

Change = Callable[[BoxModel, BoxValues, float], BoxValues]


@dataclass(frozen=True, slots=True)
class Lever:
    """Something that can be changed on a box, or on the next one.

    Parameters
    ----------
    name : str
    low, high : float
        Range in which it is looked at, in its unit; 0 is as it is.
    unit : str
        At the edges: "g", "mm", "%".
    scale : float
        Of that unit in what `change` takes.
    change : callable
        The what-if with an amount of it.
    on_this : bool
        Whether it can be done on the finished box.
    more, less : str
        What an amount above and below 0 is called.
    """

    name: str
    low: float
    high: float
    unit: str
    scale: float
    change: Change
    on_this: bool
    more: str
    less: str

    def words(self, amount: float) -> str:
        """An amount in words, such as "6.1 g more at the bridge"."""
        size = abs(amount) / self.scale
        digits = 0 if self.unit == "%" else 1
        return f"{size:.{digits}f} {self.unit} {self.more if amount >= 0 else self.less}"


@dataclass(frozen=True, slots=True)
class Help:
    """What a lever does for a wish.

    Parameters
    ----------
    lever : Lever
    amount : float
        With which the wish is met; the end of the range where none does.
    off : float, cents
        How far above the wish the notes then are.
    meets : bool
    """

    lever: Lever
    amount: float
    off: float
    meets: bool


def with_mass(model: BoxModel, values: BoxValues, kilograms: float) -> BoxValues:
    """The box with a mass at the driving point."""
    return replace(values, top=replace(values.top, added_mass=values.top.added_mass + kilograms))


def with_hole(model: BoxModel, values: BoxValues, part: float) -> BoxValues:
    """The box with holes wider by a part of their diameter.

    What resists the flow through a hole goes with its effective length over its area; `hole_mass` is a factor on the
    piston's part of it.

    References
    ----------
    J. W. S. Rayleigh, The Theory of Sound, 2nd ed. 1896, art. 306-307.
    """
    t, r, end = _hole(model)
    wide = r * (1 + part)
    factor = ((t + end * wide) / wide**2) / ((t + end * r) / r**2)
    return _resisting(model, values, (factor - 1) * (t + end * r))


def with_sleeve(model: BoxModel, values: BoxValues, length: float) -> BoxValues:
    """The box with a sleeve of this length in m in its hole, inside."""
    return _resisting(model, values, length)


def with_volume(model: BoxModel, values: BoxValues, part: float) -> BoxValues:
    """The box with a part more air, as by deeper sides."""
    return replace(values, volume=values.volume * (1 + part))


LEVERS = (
    Lever("mass", 0.0, 40e-3, "g", 1e-3, with_mass, True, "more at the bridge", "less at the bridge"),
    Lever("sleeve", 0.0, 60e-3, "mm", 1e-3, with_sleeve, True, "of sleeve in the hole", ""),
    Lever("hole", -0.25, 0.25, "%", 0.01, with_hole, False, "more diameter of the hole", "less diameter of the hole"),
    Lever("volume", -0.2, 0.2, "%", 0.01, with_volume, False, "more air, as by deeper sides", "less air"),
)


def helps(posterior: BoxPosterior, wish: ClosedWish, taken: float = 0.0) -> tuple[Help, ...]:
    """What each lever does for a wish, alone, with `taken` in m more off the ring.

    Parameters
    ----------
    posterior : BoxPosterior
    wish : ClosedWish
    taken : float, m
    """
    aim = wish.tolerance / 2
    base = posterior.values
    base = replace(base, top=replace(base.top, ring=base.top.ring + taken))
    found = []
    for lever in LEVERS:

        def miss(amount: float, lever: Lever = lever) -> float:
            return _off(posterior, wish, lever.change(posterior.closed.model, base, amount)) - aim

        ends = [(amount, miss(amount)) for amount in (lever.low, lever.high) if amount] + [(0.0, miss(0.0))]
        now = ends[-1][1]
        across = [amount for amount, value in ends[:-1] if value * now < 0]
        if across:
            amount = float(brentq(miss, 0.0, across[0], xtol=1e-4 * abs(across[0])))
            found.append(Help(lever, amount, miss(amount) + aim, True))
            continue
        amount, value = min(ends, key=lambda end: abs(end[1]))
        if abs(value) < abs(now) - 1.0:
            found.append(Help(lever, amount, value + aim, False))
    return tuple(found)


def _off(posterior: BoxPosterior, wish: ClosedWish, values: BoxValues) -> float:
    closed = posterior.closed
    opened, blocked = (followed(closed, values, hole) for hole in HOLES)
    hz = note_frequencies(closed, opened, blocked)
    true = {}
    for note, f in hz.items():
        hole, mode = closed.place(note)  # type: ignore[arg-type]
        true[note] = f * float(np.exp(posterior.bias(hole)[mode]))
    return wish.off(true)


def _hole(model: BoxModel) -> tuple[float, float, float]:
    """Thickness of the edge and radius of the holes in m, and the length that moves at both ends over the radius."""
    holes = model.air.holes
    t, r = float(holes.thickness.mean()), float(holes.radius.mean())
    return t, r, float(np.interp(t / r, *ENDS.T))


def _resisting(model: BoxModel, values: BoxValues, length: float) -> BoxValues:
    """The box with air of this length in m more in its holes."""
    holes = model.air.holes
    more = model.air.density * holes.area.sum() * length / np.trace(holes.mass)
    return replace(values, hole_mass=max(values.hole_mass + more, 0.05))
