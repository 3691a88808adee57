"""The strings' load on a top whose ring is thinned: turn of the bridge and stresses, by full static solutions.

Depends on fem/load_summary, fem/model, fem/plan_limits, fem/plan_load, fem/strength, fem/strings, geometry/design.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.load_summary import held_design, load_summary
from bracedtop.fem.model import build_model
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.plan_load import GROWN, TURN, LoadState
from bracedtop.fem.strength import Strength
from bracedtop.fem.strings import StringSet
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design
from bracedtop.geometry.units import DEGREE


@dataclass(frozen=True, slots=True)
class RingLoad:
    """A top under its strings before and after its ring is thinned.

    Parameters
    ----------
    now, after : LoadState
    depth : float, m
        Between them.
    most : float, m
        Depth up to which turn and stresses stay inside the limits, by the line through both; infinite if they never
        leave them.
    binding : str
        What ends there; empty if nothing does.
    """

    now: LoadState
    after: LoadState
    depth: float
    most: float
    binding: str

    def at(self, depth: float) -> tuple[float, float, str]:
        """Turn of the bridge in degrees, the largest share of strength and where, at a depth between the two."""
        part = depth / self.depth if self.depth else 0.0
        shares = {
            name: share + part * (self.after.shares.get(name, share) - share) for name, share in self.now.shares.items()
        }
        where = max(shares, key=lambda name: shares[name], default="")
        return self.now.turn + part * (self.after.turn - self.now.turn), shares.get(where, 0.0), where


def ring_load(
    design: Design,
    woods: Mapping[str, Wood],
    strings: StringSet,
    strengths: Mapping[str, Strength],
    limits: Limits,
    *,
    taken: float,
    depth: float,
    size: float | None = None,
) -> RingLoad:
    """A top under its strings, with `taken` off its ring and with `depth` more.

    Parameters
    ----------
    design : Design
        With a ring.
    woods : mapping of str to Wood
    strings : StringSet
    strengths : mapping of str to Strength
        By the design's names of woods.
    limits : Limits
    taken, depth : float, m
    size : float, m, optional
        Of the triangles.

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """
    now = _state(design, woods, strings, strengths, taken, size)
    after = _state(design, woods, strings, strengths, taken + depth, size) if depth else now
    allowed = dict.fromkeys(now.shares, limits.largest_stress_share) | {TURN: limits.largest_turn}
    most, binding = np.inf, ""
    for name, before in now.figures().items():
        # As in fem/plan_load: what is beyond a limit already may grow a little.
        room = max(allowed[name], GROWN * before) - before
        growth = after.figures().get(name, before) - before
        if growth > 0 and depth * room / growth < most:
            most, binding = depth * room / growth, name
    return RingLoad(now, after, depth, float(most), binding)


def _state(
    design: Design,
    woods: Mapping[str, Wood],
    strings: StringSet,
    strengths: Mapping[str, Strength],
    taken: float,
    size: float | None,
) -> LoadState:
    plate = design.plate
    # What taps tell of the ring may be a little more than was there.
    thinned = replace(design, plate=replace(plate, ring_reduction=max(plate.ring_reduction + taken, 0.0)))
    model = build_model(held_design(thinned, strings), woods, size=size)
    found = load_summary(model, strings, strengths)
    shares: dict[str, float] = {}
    for line in found.lines:
        if line.share is not None:
            kind = line.kind.split(",")[0] if line.part.startswith("brace") else line.kind
            name = f"{line.part}, {kind}"
            shares[name] = max(shares.get(name, 0.0), line.share)
    return LoadState(abs(found.rotation) / DEGREE, shares)
