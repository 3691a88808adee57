"""Faults of a top that would explain its taps better than woods and tolerances do: a loose brace, a wrong height.

Depends on fem/calibration, fem/parameter, fem/prior, fem/reduced.

Each fault is one more unknown: the amount of a pattern of heights or thickness. It is compared with none by the
probability of all taps with and without it (Bayes factor): first with the slopes at hand for every fault there might
be, then by calibrating again for the likeliest.

References
----------
R. E. Kass, A. E. Raftery, "Bayes factors", J. Am. Stat. Assoc. 90 (1995) 773-795.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from bracedtop.fem.calibration import CutMade, Heard, Posterior, after_cut, begun, replayed, untapped
from bracedtop.fem.parameter import Parameter
from bracedtop.fem.prior import ALONG
from bracedtop.fem.reduced import Reduced
from bracedtop.geometry.errors import AccuracyError, DesignError

Kind = Literal["brace", "height", "thickness"]

SPREADS: dict[Kind, float] = {"brace": 0.3, "height": 1e-3, "thickness": 0.08}
"""How large a fault may be, one standard deviation: of a brace's heights over these, of a height in m, of the top's
thickness over it; chosen."""

FAULTY = 0.05
"""Part of all tops that have a fault of a kind; chosen."""

WORTH_A_LOOK = 1.0
MOST_LOOKED_AT = 4
"""Faults are calibrated for if the slopes promise so much (ln Bayes factor), at most so many; chosen."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A pattern in which a top may differ from its drawing.

    Parameters
    ----------
    kind : {"brace", "height", "thickness"}
        All heights of a brace by one part of them, heights about a place by an amount, the top's thickness by a part.
    part : str
    at : float, m
        Along the brace.
    pattern : (n + m,) array
        Change of the state for an amount of 1.
    """

    kind: Kind
    part: str
    at: float
    pattern: np.ndarray


@dataclass(frozen=True, slots=True)
class Suspicion:
    """A fault that is more probable than none.

    Parameters
    ----------
    fault : Fault
    amount, sd : float
        Of its pattern; for a brace and the thickness over the drawn one, for a height in m.
    odds : float
        For the fault against none, the rarity of faults counted in.
    """

    fault: Fault
    amount: float
    sd: float
    odds: float

    @property
    def words(self) -> str:
        """One sentence for the maker."""
        fault, sure = self.fault, f"{_odds(self.odds)} to 1 by these taps"
        if fault.kind == "thickness":
            return (
                f"the top seems {abs(100 * self.amount):.0f} % {'thicker' if self.amount > 0 else 'thinner'} than "
                f"drawn, rather than of other wood ({sure}): measure it"
            )
        if fault.kind == "height":
            return (
                f"{fault.part} near {1e3 * fault.at:.0f} mm seems {abs(1e3 * self.amount):.1f} mm "
                f"{'higher' if self.amount > 0 else 'lower'} than drawn ({sure}): measure it"
            )
        if self.amount > 0:
            return (
                f"{fault.part} seems stiffer than drawn, as if {abs(100 * self.amount):.0f} % higher all along "
                f"({sure}): measure its height and width"
            )
        left = 100 * (1 + self.amount) ** 3
        return (
            f"{fault.part} seems to hold less than drawn, about {left:.0f} % of its stiffness ({sure}): is it loose at "
            "the glue, cracked, or lower than drawn?"
        )


def suspicions(reduced: Reduced, posterior: Posterior) -> tuple[Suspicion, ...]:
    """Faults that are more probable than none, the most probable first.

    Raises
    ------
    AccuracyError
        If the what-if model fails.
    """
    faults = possible_faults(posterior)
    if not any(isinstance(step, Heard) for step in posterior.history):
        return ()
    found = []
    for fault in _promising(posterior, faults):
        n_like = sum(other.kind == fault.kind for other in faults)
        suspicion = _looked_at(reduced, posterior, fault, n_like)
        if suspicion is not None and suspicion.odds > 1:
            found.append(suspicion)
    return tuple(sorted(found, key=lambda suspicion: -suspicion.odds))


def possible_faults(posterior: Posterior) -> tuple[Fault, ...]:
    """Every fault that is looked for."""
    parameters, size = posterior.parameters, len(posterior.mean)
    faults = []
    heights = [(i, parameter) for i, parameter in enumerate(parameters) if parameter.kind == "height"]
    for name in dict.fromkeys(parameter.part for _, parameter in heights):
        own = [(i, parameter) for i, parameter in heights if parameter.part == name]
        faults.append(Fault("brace", name, 0.0, _pattern(size, [(i, p.drawn) for i, p in own])))
        faults += [Fault("height", name, p.at, _pattern(size, _bump(own, p.at))) for _, p in own]
    for i, parameter in enumerate(parameters):
        if parameter.kind == "thickness":
            faults.append(Fault("thickness", "", 0.0, _pattern(size, [(i, 1.0)])))
    return tuple(faults)


def _bump(own: Sequence[tuple[int, Parameter]], at: float) -> list[tuple[int, float]]:
    return [(i, float(np.exp(-abs(parameter.at - at) / ALONG))) for i, parameter in own]


def _pattern(size: int, entries: Sequence[tuple[int, float]]) -> np.ndarray:
    pattern = np.zeros(size)
    for i, value in entries:
        pattern[i] = value
    return pattern


def _promising(posterior: Posterior, faults: Sequence[Fault]) -> list[Fault]:
    """Faults for which the slopes at hand speak most."""
    J, apart, S, used = _stacked(posterior)
    gains = np.full(len(faults), -np.inf)
    # Also with the pairs that were set aside: the fault may be why.
    for kept in (np.flatnonzero(used), np.arange(len(apart))):
        P = np.linalg.inv(S[np.ix_(kept, kept)])
        for k, fault in enumerate(faults):
            g = J[kept] @ fault.pattern
            spread = SPREADS[fault.kind] ** 2
            q = spread * float(g @ P @ g)
            gains[k] = max(gains[k], 0.5 * (spread * float(g @ P @ apart[kept]) ** 2 / (1 + q) - np.log1p(q)))
    order = np.argsort(-gains)[:MOST_LOOKED_AT]
    return [faults[k] for k in order if gains[k] > WORTH_A_LOOK]


def _stacked(posterior: Posterior) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """All taps: slopes by the state, distance from what was expected without them, its covariance, which count."""
    expected = begun(posterior.prior, posterior.reference)
    rows: list[tuple[Heard, np.ndarray, np.ndarray]] = []
    for step in posterior.history:
        if isinstance(step, CutMade):
            expected = after_cut(expected, step.cuts, error=step.error)
        else:
            rows.append((step, step.shifted - step.slopes @ expected.mean, expected.covariance))
    # What two sessions have in common is what was known at the earlier one.
    blocks = [
        [a.slopes @ (C if i <= j else D) @ b.slopes.T for j, (b, _, D) in enumerate(rows)]
        for i, (a, _, C) in enumerate(rows)
    ]
    errors = np.concatenate([step.errors / step.measured for step, _, _ in rows])
    return (
        np.vstack([step.slopes for step, _, _ in rows]),
        np.concatenate([apart for _, apart, _ in rows]),
        np.block(blocks) + np.diag(errors**2),
        ~np.concatenate([step.set_aside for step, _, _ in rows]),
    )


def _looked_at(reduced: Reduced, posterior: Posterior, fault: Fault, n_like: int) -> Suspicion | None:
    """The fault after calibrating with it; nothing if that does not settle."""
    prior, n = posterior.prior, len(posterior.values)
    v, variance = fault.pattern[:n], SPREADS[fault.kind] ** 2
    wider = replace(prior, covariance=prior.covariance + variance * np.outer(v, v))
    try:
        found = replayed(reduced, wider, posterior.history)
    except (AccuracyError, DesignError):
        return None
    # The amount, given the state: regression of one on the other.
    at = np.flatnonzero(np.diag(wider.covariance) > 0)
    gain = variance * np.linalg.solve(wider.covariance[np.ix_(at, at)], v[at])
    amount = float(gain @ (found.mean - untapped(found).mean)[at])
    left = variance * (1 - float(gain @ v[at])) + float(gain @ found.covariance[np.ix_(at, at)] @ gain)
    gained = found.log_evidence - posterior.log_evidence
    return Suspicion(fault, amount, float(np.sqrt(max(left, 0.0))), float(np.exp(min(gained, 50.0))) * FAULTY / n_like)


def _odds(odds: float) -> str:
    return "more than 1000" if odds > 1000 else f"{odds:.0f}" if odds > 2 else f"{odds:.1f}"
