"""Limits of a plan under string load: turn of the bridge and stresses, by full static solutions.

Depends on fem/load_summary, fem/parameter, fem/plan_limits, fem/plan_problem, fem/plan_solver, fem/reduced,
fem/strength, fem/strings.

The end of a plan is solved under the strings. Where it goes too far, one solution for each part that was cut tells its
share (a secant), and a linear limit on the depths takes the place of the load; the plan is made again until it holds.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from bracedtop.fem.load_summary import held_design, load_summary
from bracedtop.fem.model import build_model
from bracedtop.fem.parameter import drawing_at
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.plan_problem import Array, Problem
from bracedtop.fem.plan_solver import Point
from bracedtop.fem.reduced import Reduced
from bracedtop.fem.strength import Strength
from bracedtop.fem.strings import StringSet
from bracedtop.geometry.units import DEGREE

GROWN = 1.05
"""What is beyond a limit already may grow by this factor; chosen: less than the spread of strengths."""

TIGHTER = 0.97
"""Part of what is allowed that the linear limit aims at, as a secant is no bound; chosen."""


@dataclass(frozen=True, slots=True)
class LoadState:
    """A top under its strings, in short.

    Parameters
    ----------
    turn : float, degrees
        Of the bridge, without its sign.
    shares : mapping of str to float
        Largest stress over short-term strength, by part and side.
    """

    turn: float
    shares: Mapping[str, float]

    @property
    def worst(self) -> tuple[str, float]:
        """The largest share and where it is."""
        name = max(self.shares, key=lambda key: self.shares[key], default="")
        return name, self.shares.get(name, 0.0)

    def figures(self) -> dict[str, float]:
        """All figures that are limited: the turn under "turn of the bridge", and the shares."""
        return {TURN: self.turn, **self.shares}


TURN = "turn of the bridge"


@dataclass(frozen=True, slots=True)
class LoadCheck:
    """Full static solutions of a top at any values of its parameters; each is made once.

    Parameters
    ----------
    reduced : Reduced
    strings : StringSet
    strengths : mapping of str to Strength
        By the drawing's names of woods.
    limits : Limits
    """

    reduced: Reduced
    strings: StringSet
    strengths: Mapping[str, Strength]
    limits: Limits
    _made: dict[bytes, LoadState] = field(default_factory=dict, repr=False, compare=False)

    def state(self, values: Array) -> LoadState:
        """The top under its strings.

        Raises
        ------
        DesignError
            If a string passes beside the bridge.
        AccuracyError
            If the static solution fails its check.
        """
        key = np.asarray(values, dtype=float).tobytes()
        if key not in self._made:
            self._made[key] = self._solved(values)
        return self._made[key]

    def _solved(self, values: Array) -> LoadState:
        reduced = self.reduced
        design, woods = drawing_at(reduced.design, reduced.woods, reduced.parameters, values)
        strengths = dict(self.strengths) | {design.plate.wood: self.strengths[reduced.design.plate.wood]}
        for brace, drawn in zip(design.braces, reduced.design.braces, strict=True):
            strengths[brace.wood] = self.strengths[drawn.wood]
        model = build_model(held_design(design, self.strings), woods, mesh=reduced.mesh)
        summary = load_summary(model, self.strings, strengths)
        shares: dict[str, float] = {}
        for line in summary.lines:
            if line.share is not None:
                # Which side is stretched may change with a cut; the part and the kind of stress stay.
                name = f"{line.part}, {line.kind.split(',')[0]}" if line.part.startswith("brace") else None
                name = name or f"{line.part}, {line.kind}"
                shares[name] = max(shares.get(name, 0.0), line.share)
        return LoadState(abs(summary.rotation) / DEGREE, shares)

    def allowed(self, present: LoadState) -> dict[str, float]:
        """Largest figures, by name: the limits, or a little more than now where that is beyond them."""
        limits = dict.fromkeys(present.shares, self.limits.largest_stress_share)
        limits[TURN] = self.limits.largest_turn
        return {name: max(limits[name], GROWN * value) for name, value in present.figures().items()}

    def beyond(self, present: Array) -> list[str]:
        """What is beyond a limit before anything is cut, in words."""
        state = self.state(present)
        found = []
        if state.turn > self.limits.largest_turn:
            found.append(
                f"under the strings the bridge turns by {state.turn:.1f} degrees already, more than "
                f"{self.limits.largest_turn:g}"
            )
        for name, share in state.shares.items():
            if share > self.limits.largest_stress_share:
                found.append(f"{name}: at {100 * share:.0f} % of its short-term strength under the strings already")
        return found

    def narrowed(self, problem: Problem, end: Point) -> Problem:
        """The problem with limits on the depths that keep the load's; the same one if its end keeps them.

        Parameters
        ----------
        problem : Problem
        end : Point
            Where the plan ends so far.

        Raises
        ------
        DesignError, AccuracyError
            As from `state`.
        """
        if not (end.depths > 0).any():
            return problem
        present = self.state(problem.present)
        before, allowed = present.figures(), self.allowed(present)
        after = self.state(problem.values(end.depths)).figures()
        too_far = [name for name in after if after[name] > allowed.get(name, np.inf)]
        if not too_far:
            return problem
        parts = [place.part for place in problem.places]
        rows = {name: np.zeros(len(parts)) for name in too_far}
        for part in dict.fromkeys(part for part, depth in zip(parts, end.depths, strict=True) if depth > 0):
            own = np.array([p == part for p in parts])
            depths = np.where(own, end.depths, 0.0)
            alone = self.state(problem.values(depths)).figures()
            for name in too_far:
                rows[name][own] = (alone[name] - before[name]) / depths.sum()
        found = []
        for name in too_far:
            row, change = np.maximum(rows[name], 0.0), after[name] - before[name]
            # The parts together do more than one by one: their shares are stretched to the whole.
            total = float(row @ end.depths)
            row = row * change / total if total > 0 else np.full(len(parts), change / end.depths.sum())
            found.append((row, max(TIGHTER * allowed[name] - before[name], 1e-9)))
        return problem.with_limits(np.array([row for row, _ in found]), np.array([bound for _, bound in found]))
