"""How much to take off the ring of a closed box, in how many passes, so that none goes past what is wanted.

Depends on fem/box_calibration, fem/closed_modes, fem/closed_target, fem/calibration, fem/most_probable.

Thinning cannot be undone. A pass is as deep as leaves the wish unpassed with the limits' confidence, by what taps and
model leave open and the pass's own error; after it the box is tapped again, which makes the next one surer.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.stats import norm

from bracedtop.fem.box_calibration import BoxPosterior, box_predicted
from bracedtop.fem.calibration import HOLDING
from bracedtop.fem.closed_modes import Hole
from bracedtop.fem.closed_target import ClosedLimits, ClosedNote, ClosedWish
from bracedtop.fem.most_probable import conditioned

STEP = 0.01e-3
"""Depths of passes are whole multiples of this, m; chosen: what a dial gauge reads."""

N_DEPTHS = 9
"""Depths at which the model is solved; chosen: between them a cubic is within 0.01 cents."""

MOST_PASSES = 40

DEEPEST = 0.2
"""Part of the top's thickness beyond which the model is not asked; chosen: its basis is made for 0.12 and is still
within 0.1 % there."""

CENTS = 1200.0 / float(np.log(2.0))

State = Literal["done", "pass", "tap first", "passed", "too far", "no wish", "left alone"]


@dataclass(frozen=True, slots=True)
class Sunk:
    """The three notes and the wish as the ring gets thinner, from where it is now.

    Parameters
    ----------
    depth : (d,) array, m
    hz : mapping of str to (d,) array
        Calibrated.
    sd_cents : mapping of str to (d,) array
    off, off_sd : (d,) arrays, cents
        How far above the wish, and how well that is known; zeros without a wish.
    """

    depth: np.ndarray
    hz: dict[str, np.ndarray]
    sd_cents: dict[str, np.ndarray]
    off: np.ndarray
    off_sd: np.ndarray


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass over the ring.

    Parameters
    ----------
    depth : float, m
    off : float, cents
        Expected after it.
    sd : float, cents
        Of what is expected, the pass's own error included.
    chance : float
        That it goes past the wish.
    hz : mapping of str to float
        The three notes after it.
    """

    depth: float
    off: float
    sd: float
    chance: float
    hz: dict[str, float]


@dataclass(frozen=True, slots=True)
class RingPlan:
    """What to do with the ring.

    Parameters
    ----------
    wish : ClosedWish or None
    state : str
        "done": inside the band. "pass": `passes[0]` is next. "tap first": too little is known for any pass. "passed":
        the notes lie below the wish, and thinning lowers them further. "too far": even the least thickness does not
        reach it. "left alone": the drawing does not allow thinning. "no wish".
    sunk : Sunk
    passes : tuple of Pass
        The first is to be made; the others are what is expected of the rest, each after a re-tap.
    room : float, m
        What may be taken before the ring's least thickness.
    short : float, cents
        How far from the wish the best reachable place is; 0 if it is reachable.
    rate : float, cents/m
        How fast the wish comes nearer per depth, at first.
    """

    wish: ClosedWish | None
    state: State
    sunk: Sunk
    passes: tuple[Pass, ...]
    room: float
    short: float
    rate: float


def sunk(posterior: BoxPosterior, wish: ClosedWish | None, room: float) -> Sunk:
    """The notes from now on to `room` in m deeper."""
    depth = np.linspace(0.0, max(room, STEP), N_DEPTHS)
    hz: dict[str, list[float]] = {note: [] for note in NOTES_HEARD}
    sds: dict[str, list[float]] = {note: [] for note in NOTES_HEARD}
    off, off_sd = [], []
    for d in depth:
        log_rows = note_rows(posterior, float(d))
        for note, (f, row) in log_rows.items():
            hz[note].append(f)
            sds[note].append(CENTS * _sd(row, posterior.covariance))
        if wish is not None:
            off.append(wish.off({note: f for note, (f, _) in log_rows.items()}))
            off_sd.append(CENTS * _sd(wish_row(wish, log_rows), posterior.covariance))
    zero = np.zeros(len(depth))
    return Sunk(
        depth,
        {note: np.array(values) for note, values in hz.items()},
        {note: np.array(values) for note, values in sds.items()},
        np.array(off) if off else zero,
        np.array(off_sd) if off_sd else zero,
    )


NOTES_HEARD: tuple[ClosedNote, ...] = ("air", "top", "top blocked")
Rows = dict[str, tuple[float, np.ndarray]]


def note_rows(posterior: BoxPosterior, deeper: float = 0.0) -> Rows:
    """Each note's calibrated frequency in Hz and the derivatives of its logarithm by the state."""
    both: dict[Hole, tuple[np.ndarray, np.ndarray]] = {
        "open": box_predicted(posterior, "open", deeper),
        "blocked": box_predicted(posterior, "blocked", deeper),
    }
    found: Rows = {}
    for note in NOTES_HEARD:
        hole, mode = posterior.closed.place(note)
        found[note] = float(both[hole][0][mode]), both[hole][1][mode]
    return found


def wish_row(wish: ClosedWish, rows: Rows) -> np.ndarray:
    """Derivatives of the logarithm that is wanted by the state."""
    row = rows[wish.of][1]
    return row if wish.over is None else row - rows[wish.over][1]


def ring_plan(
    posterior: BoxPosterior,
    wish: ClosedWish | None,
    limits: ClosedLimits,
    *,
    confidence: float,
    room: float,
    tapped: bool,
    allowed: bool = True,
) -> RingPlan:
    """Passes over the ring from here on.

    Parameters
    ----------
    posterior : BoxPosterior
    wish : ClosedWish or None
    limits : ClosedLimits
    confidence : float
        With which no pass goes past the wish.
    room : float, m
        What may still be taken off, see `ring_room`.
    tapped : bool
        Whether the box was tapped as it is now; without, nothing is planned.
    allowed : bool
        Whether the ring may be thinned at all.
    """
    found = sunk(posterior, wish, room)
    if wish is None:
        return RingPlan(None, "no wish", found, (), room, 0.0, 0.0)
    off = CubicSpline(found.depth, found.off)
    rate, now = float(off(0.0, 1)), float(found.off[0])
    if 0 <= now <= wish.tolerance:
        return RingPlan(wish, "done", found, (), room, 0.0, rate)
    lowest = float(found.off.min())
    if now < 0:
        return RingPlan(wish, "passed", found, (), room, -float(found.off.max()), rate)
    short = max(lowest - wish.tolerance, 0.0)
    if not allowed:
        return RingPlan(wish, "left alone", found, (), room, short, rate)
    if not tapped:
        return RingPlan(wish, "tap first", found, (), room, short, rate)
    if short:
        # Wood that is taken for nothing is gone too.
        return RingPlan(wish, "too far", found, (), room, short, rate)
    passes = _passes(posterior, wish, limits, found, confidence, room)
    state: State = "pass" if passes else "tap first"
    return RingPlan(wish, state, found, passes, room, short, rate)


def ring_room(posterior: BoxPosterior, limits: ClosedLimits) -> float:
    """What may still be taken off the ring before its least thickness, or the model's range, m; at least 0."""
    plate = posterior.closed.model.top.model.design.plate
    left = plate.thickness - plate.ring_reduction - posterior.taken
    return max(min(left - limits.least(plate.thickness), DEEPEST * plate.thickness - posterior.taken), 0.0)


def _passes(
    posterior: BoxPosterior, wish: ClosedWish, limits: ClosedLimits, found: Sunk, confidence: float, room: float
) -> tuple[Pass, ...]:
    """As many passes as it takes, each sized by what will be known before it."""
    off, variance = CubicSpline(found.depth, found.off), CubicSpline(found.depth, found.off_sd**2)
    hz = {note: CubicSpline(found.depth, values) for note, values in found.hz.items()}
    tried = np.arange(1, int(np.floor(room / STEP + 1e-9)) + 1) * STEP
    z = float(norm.ppf(confidence))
    # What the taps after each pass leave of the variance.
    rows = note_rows(posterior)
    row = wish_row(wish, rows)
    retap = conditioned(posterior.covariance, np.array([r for _, r in rows.values()]), np.full(3, HOLDING))
    tapped_variance = (CENTS * _sd(row, retap)) ** 2
    passes: list[Pass] = []
    done = 0.0
    while len(passes) < MOST_PASSES:
        left = tried[(tried > done + STEP / 2) & (tried <= done + limits.largest_pass + STEP / 2)]
        if not len(left) or float(off(done)) <= wish.tolerance:
            break
        known = variance(left) if not passes else np.full(len(left), tapped_variance)
        sd = np.sqrt(np.maximum(known, 0.0) + (off(left, 1) * limits.cut_error) ** 2)
        safe = off(left) - z * sd >= 0
        # The deepest that is safe, as all before it are too.
        n = len(left) if safe.all() else int(np.argmin(safe))
        if n == 0:
            break
        k = n - 1
        passes.append(
            Pass(
                float(left[k] - done),
                float(off(left[k])),
                float(sd[k]),
                float(norm.cdf(-off(left[k]) / sd[k])),
                {note: float(curve(left[k])) for note, curve in hz.items()},
            )
        )
        done = float(left[k])
    return tuple(passes)


def _sd(row: np.ndarray, covariance: np.ndarray) -> float:
    return float(np.sqrt(max(float(row @ covariance @ row), 0.0)))
