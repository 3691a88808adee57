"""The bench log read as a record: pass by pass, what was expected and what happened.

Depends on fem/log_entry, fem/bench_log, geometry/units.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from scipy.optimize import linear_sum_assignment

from bracedtop.fem.bench_log import Log
from bracedtop.fem.log_entry import CalibrationEntry, CutEntry, LoggedMode, LoggedTap, NoteEntry, PlanEntry, TapsEntry
from bracedtop.geometry.units import cents

E = TypeVar("E")

FARTHEST_CENTS = 100.0
"""A mode is found again in a re-tap this near to where it was expected; chosen: a semitone is far more than a plan
misses by, and less than neighbouring modes of a top mostly lie apart."""

MOVED_CENTS = 250.0
"""In the taps before the pass a mode is looked for this near to where it is expected; chosen: more than a pass moves
it."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One mode in one pass.

    Parameters
    ----------
    mode : int
        Its number in the drawing.
    expected_hz : float
    std_hz : float or None
        Standard deviation of what was expected.
    before_hz, found_hz : float or None
        Tapped before the cut and after it; None where no tap is near.
    """

    mode: int
    expected_hz: float
    std_hz: float | None
    before_hz: float | None
    found_hz: float | None

    @property
    def off_hz(self) -> float | None:
        """How far above the expected frequency it was found, Hz."""
        return None if self.found_hz is None else self.found_hz - self.expected_hz

    @property
    def off_cents(self) -> float | None:
        """The same in cents."""
        return None if self.found_hz is None else cents(self.found_hz, self.expected_hz)


@dataclass(frozen=True, slots=True)
class PassRecord:
    """What the log says of one pass; number 0 is the top before the first cut.

    Parameters
    ----------
    number : int
    plan, cut, taps, calibration : entries or None
        The last ones of this pass.
    before : TapsEntry or None
        The last taps of the pass before it.
    notes : tuple of NoteEntry
    outcomes : tuple of Outcome
        Expected against found; empty unless there is a plan and a re-tap.
    """

    number: int
    plan: PlanEntry | None
    cut: CutEntry | None
    taps: TapsEntry | None
    calibration: CalibrationEntry | None
    before: TapsEntry | None
    notes: tuple[NoteEntry, ...]
    outcomes: tuple[Outcome, ...]

    @property
    def grams(self) -> float:
        """Wood that was cut, g."""
        return 0.0 if self.cut is None else sum(cut.grams or 0.0 for cut in self.cut.cuts)


def passes_of(log: Log) -> tuple[PassRecord, ...]:
    """The passes that a log tells of, 0 first, without gaps."""
    numbers = [entry.number for entry in log.entries]
    records: list[PassRecord] = []
    before: TapsEntry | None = None
    for number in range(max(numbers, default=-1) + 1):
        own = [entry for entry in log.entries if entry.number == number]
        plan = _last(own, PlanEntry)
        taps = _last(own, TapsEntry)
        records.append(
            PassRecord(
                number=number,
                plan=plan,
                cut=_last(own, CutEntry),
                taps=taps,
                calibration=_last(own, CalibrationEntry),
                before=before,
                notes=tuple(entry for entry in own if isinstance(entry, NoteEntry)),
                outcomes=() if plan is None or taps is None else outcomes(plan.expected, before, taps),
            )
        )
        before = taps or before
    return tuple(records)


def outcomes(expected: Sequence[LoggedMode], before: TapsEntry | None, after: TapsEntry) -> tuple[Outcome, ...]:
    """Expected modes with the taps that they are, before a pass and after it.

    Taps are given to modes so that all together lie nearest; a mode whose "before_hz" the plan has noted keeps that.
    """
    found = _nearest(expected, after.modes, FARTHEST_CENTS)
    earlier = _nearest(expected, before.modes, MOVED_CENTS) if before is not None else [None] * len(expected)
    rows = []
    for mode, now, then in zip(expected, found, earlier, strict=True):
        noted = (mode.model_extra or {}).get("before_hz")
        rows.append(Outcome(mode.mode, mode.hz, mode.std_hz, noted if isinstance(noted, float) else then, now))
    return tuple(rows)


def _nearest(expected: Sequence[LoggedMode], taps: Sequence[LoggedTap], most: float) -> list[float | None]:
    if not expected or not taps:
        return [None] * len(expected)
    apart = np.array([[abs(cents(tap.hz, mode.hz)) for tap in taps] for mode in expected])
    # What is too far costs the same wherever it is, so that it never takes a tap from a mode that is near.
    rows, columns = linear_sum_assignment(np.minimum(apart, most))
    found: list[float | None] = [None] * len(expected)
    for i, j in zip(rows, columns, strict=True):
        if apart[i, j] < most:
            found[i] = taps[j].hz
    return found


def _last(entries: Sequence[object], kind: type[E]) -> E | None:
    return next((entry for entry in reversed(entries) if isinstance(entry, kind)), None)
