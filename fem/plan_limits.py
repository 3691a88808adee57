"""What a plan may do: how deep, how steep, how much, and how far the strings may turn the bridge.

Depends on fem/strength.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from bracedtop.fem.strength import LONG_TERM_STRENGTH

LARGEST_STEP = 1.5e-3
"""Deepest cut of one pass, m; chosen: a few strokes of a finger plane, and little enough to be learnt from."""

LARGEST_SLOPE = 0.05
"""Steepest change of depth along a brace; chosen: 1 mm in 20 mm, which a finger plane or a chisel follows."""

SHORTEST_CUT = 40e-3
"""Least length of a cut, m; chosen: twice a finger plane's sole before its mouth."""

USEFUL_DEPTH = 0.1e-3
"""A place is left alone rather than cut less deep than this, m; chosen: what a dial gauge shows."""

CONFIDENCE = 0.95
"""Least probability with which a pass takes no mode past its target; chosen."""

CUT_ERROR = 0.2e-3
"""Standard deviation of the depth of a cut made by hand and gauged as it is made, m; chosen."""

LARGEST_TURN = 2.0
"""Turn of the bridge under the strings up to which a top is taken as sound, degrees; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of a plan.

    Parameters
    ----------
    largest_step : float, m
        Deepest cut at any place in one pass.
    least_height : float, m
        No brace gets lower, wherever it is cut; the what-if model's range counts besides.
    least_heights : mapping of str to float, m
        The same for single braces.
    left : tuple of str
        Braces that are not touched.
    cuts_ring : bool
        Whether the edge ring may be thinned, where the drawing has one.
    largest_slope : float
        Of the depth along a brace.
    shortest : float, m
        Least length of a cut.
    remove_at_most : float or None, kg
        In all passes from the present state on.
    remove_about : float or None, kg
        As much as that is wanted, if the targets allow it.
    largest_turn : float, degrees
        Of the bridge under the strings.
    largest_stress_share : float
        Stress under the strings over short-term strength.
    confidence : float
        Least probability with which a pass takes no mode past its target.
    cut_error : float, m
        Standard deviation of a cut's depth.
    """

    largest_step: float = LARGEST_STEP
    least_height: float = 0.0
    least_heights: Mapping[str, float] = field(default_factory=dict)
    left: tuple[str, ...] = ()
    cuts_ring: bool = True
    largest_slope: float = LARGEST_SLOPE
    shortest: float = SHORTEST_CUT
    remove_at_most: float | None = None
    remove_about: float | None = None
    largest_turn: float = LARGEST_TURN
    largest_stress_share: float = LONG_TERM_STRENGTH
    confidence: float = CONFIDENCE
    cut_error: float = CUT_ERROR
