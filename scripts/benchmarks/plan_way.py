"""The plan's way of tuning a top: calibrate with every tap and every cut, make the next pass of all braces together.

Depends on virtual_target, virtual_top, fem/calibration, fem/match, fem/plan, fem/reduced.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from tempfile import gettempdir

import numpy as np

from bracedtop.fem.calibration import Posterior, after_cut, after_taps, predicted, start
from bracedtop.fem.match import pair
from bracedtop.fem.plan import Plan, make_plan
from bracedtop.fem.reduced import Reduced, deflections_at, tracked, what_if
from bracedtop.fem.reduced_build import build_reduced
from bracedtop.fem.reduced_file import fingerprint, read_reduced, write_reduced
from bracedtop.fem.taps import Measured
from bracedtop.fem.target import Target
from bracedtop.geometry.cut import Cut
from bracedtop.scripts.benchmarks.virtual_target import BAND, Wanted
from bracedtop.scripts.benchmarks.virtual_top import CALIPER, Pattern, grid, motion_at, pattern_prior, patterns

COMMON_CENTS = 5.0
"""How far all modes may be off together besides what the calibrated model says, cents."""


BASIS = 110
"""Size of the what-if models' basis: hundreds of plans in the time of some; frequencies within about 0.15 %."""


@cache
def what_ifs(name: str) -> Reduced:
    """The pattern's what-if model; made once and kept in the temporary folder for all processes."""
    pattern = patterns()[name]
    path = Path(gettempdir()) / "bracedtop-virtual-bench" / f"{name}.npz"
    mark = fingerprint(pattern.design, pattern.woods, BASIS, None)
    reduced = read_reduced(path, mark, pattern.design, pattern.woods, None)
    if reduced is None:
        reduced = build_reduced(pattern.design, pattern.woods, basis=BASIS)
        write_reduced(path, reduced, mark)
    return reduced


@dataclass(slots=True)
class PlanWay:
    """A maker with the plan.

    Parameters
    ----------
    pattern : Pattern
    targets : tuple of Wanted
    posterior : Posterior
        What is known of the top so far.
    plan : Plan or None
        The last one.
    """

    pattern: Pattern
    targets: tuple[Wanted, ...]
    posterior: Posterior = field(init=False)
    plan: Plan | None = None

    def __post_init__(self) -> None:
        """Begin with the prior."""
        self.posterior = start(what_ifs(self.pattern.name), pattern_prior(self.pattern.name))

    def hear(self, measured: Sequence[Measured]) -> dict[int, float]:
        """Tapped frequencies by drawn mode (from 0), absorbed by the calibration."""
        reduced = what_ifs(self.pattern.name)
        hz, covariance = predicted(reduced, self.posterior)
        state = tracked(reduced, self.posterior.values, what_if(reduced, reduced.drawn))
        w = deflections_at(reduced, state, grid(self.pattern.name))
        motion = motion_at(self.pattern, w / np.abs(w).max(axis=1, keepdims=True))
        scatter = covariance / np.outer(hz, hz) * (1200.0 / np.log(2.0)) ** 2
        lines = [(0, 0)] * len(hz)
        found = pair(hz, lines, measured, motion, ratio_cents=COMMON_CENTS, scatter_cents=scatter)
        by_number = {mode.number: mode for mode in measured}
        pairs = [(one.mode - 1, one.measured_hz) for one in found.pairs]
        errors = [by_number[one.number].std_error_hz or 0.0 for one in found.pairs]
        self.posterior = after_taps(reduced, self.posterior, pairs, errors)
        return dict(pairs)

    def cuts(self) -> tuple[Cut, ...]:
        """Next pass; none if all targets are reached or nothing can be cut safely."""
        wishes = [Target(target.drawn + 1, target.hz, f"{target.hz:.1f} Hz", tolerance=BAND) for target in self.targets]
        self.plan = make_plan(what_ifs(self.pattern.name), self.posterior, wishes)
        return () if self.plan.done else self.plan.cuts

    def made(self, cuts: Sequence[Cut]) -> None:
        """Take note of cuts as they were measured."""
        self.posterior = after_cut(self.posterior, cuts, error=CALIPER)
