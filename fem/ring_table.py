"""What a thinner ring does to each coupled mode, in hertz, decay and grams; what each width gives.

Depends on fem/box_calibration, fem/box_modes, fem/box_names, fem/box_sound, fem/box_values, fem/closed_modes,
fem/ring_where.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.box_calibration import BoxPosterior
from bracedtop.fem.box_modes import BoxModes
from bracedtop.fem.box_names import box_names
from bracedtop.fem.box_sound import box_field, radiating
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.closed_modes import HOLES, Closed, Hole, followed
from bracedtop.fem.ring_where import WIDTHS, RingField, ring_field

TAKES = (0.01e-3, 0.02e-3, 0.05e-3, 0.1e-3, 0.2e-3)
"""Thicknesses taken off the ring that are shown, m."""

HUNDREDTH = 0.01e-3


@dataclass(frozen=True, slots=True)
class RingLine:
    """One coupled mode as the ring gets thinner.

    Parameters
    ----------
    hole : {"open", "blocked"}
    mode : int
        From 1, as the box is drawn.
    name : str
    hz : float
        Now, calibrated.
    sd_cents : float
        How well it is known.
    per_hundredth : float, Hz
        Exact derivative.
    changes : (t,) array, Hz
        For each thickness taken.
    q, t60 : float
        Now, radiation included; T60 in s.
    t60_changes : (t,) array, s
    note : str
        Which of the three notes it is; empty for none.
    """

    hole: Hole
    mode: int
    name: str
    hz: float
    sd_cents: float
    per_hundredth: float
    changes: np.ndarray
    q: float
    t60: float
    t60_changes: np.ndarray
    note: str


@dataclass(frozen=True, slots=True)
class WidthLine:
    """A ring of one width.

    Parameters
    ----------
    width : float, m
    per_hundredth : float, Hz
        What a hundredth of a millimetre off does to the top's note with the hole blocked.
    grams : float, g
        What a hundredth weighs.
    """

    width: float
    per_hundredth: float
    grams: float


@dataclass(frozen=True, slots=True)
class RingTable:
    """All of it.

    Parameters
    ----------
    takes : tuple of float, m
    lines : tuple of RingLine
        Hole open, then blocked.
    widths : tuple of WidthLine
    best : float, m
        Width beyond which wood works less than `WORTH` of what the outermost does, per area.
    fields : mapping of str to RingField
        By state of the hole.
    """

    takes: tuple[float, ...]
    lines: tuple[RingLine, ...]
    widths: tuple[WidthLine, ...]
    best: float
    fields: dict[Hole, RingField]


WORTH = 0.25
"""Chosen."""

OUTERMOST = 8e-3
"""Breadth of the strip along the rim that widths are compared with, m; chosen: what a triangle's points resolve."""


def ring_table(posterior: BoxPosterior, sds: dict[Hole, np.ndarray], takes: Sequence[float] = TAKES) -> RingTable:
    """What a thinner ring does from here on.

    Parameters
    ----------
    posterior : BoxPosterior
    sds : mapping of str to (m,) array, cents
        Standard deviations of the calibrated frequencies by state of the hole.
    takes : sequence of float, m

    Raises
    ------
    AccuracyError
    """
    closed, values = posterior.closed, posterior.values
    lines: list[RingLine] = []
    fields: dict[Hole, RingField] = {}
    for hole in HOLES:
        own = replace(values, hole_blocked=hole == "blocked")
        sound = box_field(closed.model, own)
        now = radiating(closed.model, followed(closed, own, hole), sound)
        names = box_names(closed.model, closed.reference(hole))
        true = np.exp(posterior.bias(hole))
        fields[hole] = ring_field(closed.model, now)
        slopes = fields[hole].ring_rate() * HUNDREDTH * true
        then = [radiating(closed.model, followed(closed, thinner(own, d), hole), sound) for d in takes]
        lines += [
            RingLine(
                hole,
                k + 1,
                names[k].name,
                float(now.frequencies[k] * true[k]),
                float(sds[hole][k]),
                float(slopes[k]),
                np.array([(one.frequencies[k] - now.frequencies[k]) * true[k] for one in then]),
                float(now.q[k]),
                _t60(now, k, true),
                np.array([_t60(one, k, true) - _t60(now, k, true) for one in then]),
                _note(closed, hole, k),
            )
            for k in range(closed.n_modes)
        ]
    blocked, top = fields["blocked"], closed.top_blocked
    widths = tuple(_width(blocked, top, width, float(np.exp(posterior.bias("blocked")[top]))) for width in WIDTHS)
    return RingTable(tuple(takes), tuple(lines), widths, best_width(blocked, top), fields)


def thinner(values: BoxValues, depth: float) -> BoxValues:
    """A box with `depth` in m more taken off its ring."""
    return replace(values, top=replace(values.top, ring=values.top.ring + depth))


def best_width(field: RingField, mode: int) -> float:
    """Width up to which a ring's wood works at least `WORTH` of what the outermost does on a mode, m."""
    edges = np.arange(0.0, field.inward.max(), OUTERMOST)
    effect, _ = np.histogram(field.inward, edges, weights=field.rate[mode] * field.weight)
    area, _ = np.histogram(field.inward, edges, weights=field.weight)
    strength = effect / np.maximum(area, 1e-12) / (effect[0] / area[0])
    weak = np.flatnonzero(strength < WORTH)
    return float(edges[weak[0]] if len(weak) else edges[-1])


def ring_grams(field: RingField, depth: float, width: float | None = None) -> float:
    """Weight of a ring taken off, g."""
    return 1e3 * field.ring_area(width) * depth * field.density


def _width(field: RingField, mode: int, width: float, true: float) -> WidthLine:
    rate = float(field.ring_rate(width)[mode]) * HUNDREDTH * true
    return WidthLine(width, rate, ring_grams(field, HUNDREDTH, width))


def _t60(modes: BoxModes, k: int, true: np.ndarray) -> float:
    return float(modes.t60[k] / true[k])


def _note(closed: Closed, hole: Hole, mode: int) -> str:
    for note in ("air", "top", "top blocked"):
        if closed.place(note) == (hole, mode):
            return note
    return ""
