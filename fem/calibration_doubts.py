"""What a calibration told, what it could not tell, and what speaks against the drawing, in words.

Depends on fem/calibration, fem/parameter, fem/reduced, fem/suspicion.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.linalg import eigh
from scipy.special import chdtrc

from bracedtop.fem.calibration import Heard, Posterior, untapped
from bracedtop.fem.parameter import Parameter
from bracedtop.fem.reduced import Reduced
from bracedtop.fem.suspicion import Suspicion, suspicions
from bracedtop.geometry.units import cents

UNTOLD = 0.7
"""A constant counts as not told if the taps leave so much of its variance; chosen."""

TOGETHER = 0.4
"""A ratio or product is told better than its members if it keeps no more than this part of their variance; chosen."""

KNOWN = 0.05
"""Standard deviation of a logarithm below which a constant is told well enough by itself; chosen."""

PULLED = 2.5
"""Distance from the drawing that is said, in standard deviations of what was expected; chosen."""

UNLIKELY = 0.01
"""Chance of so large a misfit below which it is said; chosen."""

NAMES = {
    "E_L": "E_L of the top",
    "E_R": "E_R of the top",
    "G_LR": "G_LR of the top",
    "density": "density of the top",
    "thickness": "thickness of the top",
    "ring": "edge ring",
    "brace_E": "E_L of the braces",
    "brace_density": "density of the braces",
    "springs": "springs of the rim",
}


@dataclass(frozen=True, slots=True)
class Learned:
    """One number before and after the taps.

    Parameters
    ----------
    name : str
    kind : str
    drawn, expected, value : float
        In the drawing; after the cuts, without taps; now. In the parameter's unit.
    sd_before, sd : float
        Standard deviations without and with the taps.
    left : float
        Part of the variance that the taps left.
    """

    name: str
    kind: str
    drawn: float
    expected: float
    value: float
    sd_before: float
    sd: float
    left: float

    @property
    def is_told(self) -> bool:
        """Whether the taps told it."""
        return self.left <= UNTOLD

    @property
    def pull(self) -> float:
        """Distance from what was expected, in standard deviations of that."""
        return (self.value - self.expected) / self.sd_before if self.sd_before > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Residual:
    """A mode of the last taps.

    Parameters
    ----------
    mode : int
        1 for the lowest.
    measured_hz, before_hz, model_hz : float
        Tapped; expected before these taps; modelled with the numbers found, without the model's error.
    sd_hz : float
        How far the last may lie from the tap.
    set_aside : bool
        Whether the pair was taken for wrong.
    """

    mode: int
    measured_hz: float
    before_hz: float
    model_hz: float
    sd_hz: float
    set_aside: bool

    @property
    def hz(self) -> float:
        """Tapped less modelled."""
        return self.measured_hz - self.model_hz

    @property
    def cents(self) -> float:
        """The same as an interval."""
        return cents(self.measured_hz, self.model_hz)

    @property
    def deviations(self) -> float:
        """The same in standard deviations."""
        return self.hz / self.sd_hz


@dataclass(frozen=True, slots=True)
class Doubts:
    """What to think of a calibration.

    Parameters
    ----------
    learned : tuple of Learned
        Of all parameters that are not held, as many as the prior has of these.
    residuals : tuple of Residual
        Of the last taps.
    n_told : int
        Independent combinations of the parameters that the taps told.
    together : tuple of str
        Constants that are told with one another only or better.
    suspicions : tuple of Suspicion
    warnings : tuple of str
    """

    learned: tuple[Learned, ...]
    residuals: tuple[Residual, ...]
    n_told: int
    together: tuple[str, ...]
    suspicions: tuple[Suspicion, ...]
    warnings: tuple[str, ...]


def calibration_doubts(reduced: Reduced, posterior: Posterior) -> Doubts:
    """What the taps told, and what speaks against the drawing rather than for other wood.

    Raises
    ------
    AccuracyError
        If the what-if model fails.
    """
    rows = learned(posterior)
    left = residuals(posterior)
    faults = suspicions(reduced, posterior)
    warnings = [*_misfits(posterior), *_wrong_pairs(posterior), *(fault.words for fault in faults)]
    warnings += [_pulled(row) for row in rows if row.kind in ("height", "ring", "thickness") and abs(row.pull) > PULLED]
    together, said = told_together(posterior), (*warnings, *dict.fromkeys(posterior.notes))
    return Doubts(rows, left, n_told(posterior), together, faults, said)


def learned(posterior: Posterior) -> tuple[Learned, ...]:
    """Every number that is not held, before and after the taps."""
    before = untapped(posterior)
    left = np.diag(posterior.covariance) / np.where(before.state_sd > 0, before.state_sd, 1.0) ** 2
    return tuple(
        Learned(
            name=name_of(parameter),
            kind=parameter.kind,
            drawn=float(posterior.prior.mean[i]),
            expected=float(before.values[i]),
            value=float(posterior.values[i]),
            sd_before=float(before.sd[i]),
            sd=float(posterior.sd[i]),
            left=float(left[i]),
        )
        for i, parameter in enumerate(posterior.parameters)
        if before.state_sd[i] > 0
    )


def overview(posterior: Posterior) -> tuple[Learned, ...]:
    """As `learned`, with one mean height a brace in place of all its heights, behind the others."""
    before = untapped(posterior)
    rows = [row for row in learned(posterior) if row.kind != "height"]
    n = len(posterior.values)
    heights: dict[str, list[int]] = {}
    for i, parameter in enumerate(posterior.parameters):
        if parameter.kind == "height":
            heights.setdefault(parameter.part, []).append(i)
    for name, own in heights.items():
        mean = np.zeros(len(posterior.mean))
        mean[own] = 1 / len(own)
        sds = [float(np.sqrt(mean @ known.covariance @ mean)) for known in (before, posterior)]
        if sds[0] > 0:
            drawn, expected, value = (
                float(mean[:n] @ x) for x in (posterior.prior.mean, before.values, posterior.values)
            )
            left = (sds[1] / sds[0]) ** 2
            rows.append(Learned(f"mean height of {name}", "height", drawn, expected, value, sds[0], sds[1], left))
    return tuple(rows)


def residuals(posterior: Posterior) -> tuple[Residual, ...]:
    """The last taps against the model with the numbers found, mode by mode."""
    heard = [step for step in posterior.history if isinstance(step, Heard)]
    if not heard:
        return ()
    last = heard[-1]
    bias = posterior.bias[list(last.modes)]
    model = last.after * np.exp(-bias)
    sd = model * np.hypot(posterior.prior.bias_sd, last.errors / last.measured)
    return tuple(
        Residual(
            mode=mode + 1,
            measured_hz=float(last.measured[k]),
            before_hz=float(last.before[k]),
            model_hz=float(model[k]),
            sd_hz=float(sd[k]),
            set_aside=bool(last.set_aside[k]),
        )
        for k, mode in enumerate(last.modes)
    )


def told_together(posterior: Posterior) -> tuple[str, ...]:
    """Constants that the taps tell only as a ratio or a product, in words."""
    before = untapped(posterior)
    rows = [
        (name, a) for name, a in _groups(posterior.parameters, len(posterior.mean)) if a @ before.covariance @ a > 0
    ]
    found = []
    for (one, a), (two, b) in combinations(rows, 2):
        left = [_left(v, posterior, before) for v in (a, b)]
        if min(_sd(a, posterior), _sd(b, posterior)) < KNOWN:
            continue
        for sign, what in ((-1.0, "ratio"), (1.0, "product")):
            both = _left(a + sign * b, posterior, before)
            if both < TOGETHER * min(left):
                how = "only" if min(left) > UNTOLD / 2 else "best"
                percent = 100 * _sd(a + sign * b, posterior)
                found.append((both, f"{one} and {two} are told {how} as their {what}, within {percent:.0f} %"))
    return tuple(words for _, words in sorted(found))


def n_told(posterior: Posterior) -> int:
    """Number of independent combinations of the parameters that the taps told.

    Eigenvectors of what is left of the covariance, in units of what was known before; their eigenvalues are the parts
    of the variance that are left.
    """
    n = len(posterior.values)
    before = untapped(posterior).covariance[:n, :n]
    at = np.flatnonzero(np.diag(before) > 0)
    left = eigh(posterior.covariance[np.ix_(at, at)], before[np.ix_(at, at)], eigvals_only=True)
    return int((left <= UNTOLD).sum())


def _groups(parameters: Sequence[Parameter], size: int) -> list[tuple[str, np.ndarray]]:
    """Directions of the state: ln of each factor, ln of the ring, ln of each brace's heights on the mean."""
    found = []
    for i, parameter in enumerate(parameters):
        if parameter.kind not in ("height", "mass"):
            row = np.zeros(size)
            row[i] = 1 / parameter.drawn if parameter.kind == "ring" else 1.0
            found.append((name_of(parameter), row))
    for name in dict.fromkeys(parameter.part for parameter in parameters if parameter.kind == "height"):
        own = [i for i, parameter in enumerate(parameters) if parameter.kind == "height" and parameter.part == name]
        row = np.zeros(size)
        row[own] = [1 / (len(own) * parameters[i].drawn) for i in own]
        found.append((f"height of {name}", row))
    return found


def _left(v: np.ndarray, after: Posterior, before: Posterior) -> float:
    return float(v @ after.covariance @ v) / float(v @ before.covariance @ v)


def _sd(v: np.ndarray, posterior: Posterior) -> float:
    return float(np.sqrt(v @ posterior.covariance @ v))


def name_of(parameter: Parameter) -> str:
    """A parameter in a maker's words."""
    return NAMES.get(parameter.kind, parameter.name)


def _misfits(posterior: Posterior) -> list[str]:
    found = []
    heard = [step for step in posterior.history if isinstance(step, Heard)]
    for number, step in enumerate(heard, start=1):
        if step.n_used and chdtrc(step.n_used, step.squares) < UNLIKELY:
            where = "" if len(heard) == 1 else f" of session {number}"
            apart = np.where(step.set_aside, 0.0, np.abs(np.log(step.measured / step.before)) * step.measured)
            worst = int(np.argmax(apart / np.hypot(step.before_sd, step.errors)))
            found.append(
                f"the taps{where} lie farther from what was expected than woods and tolerances explain (chi-square "
                f"{step.squares:.0f} for {step.n_used} modes), most at mode {step.modes[worst] + 1}: something is not "
                "as drawn, or a pair is wrong; uncertainties are too small"
            )
    return found


def _wrong_pairs(posterior: Posterior) -> list[str]:
    heard = [step for step in posterior.history if isinstance(step, Heard)]
    return [
        f"mode {step.modes[k] + 1}: the tap at {step.measured[k]:.1f} Hz does not fit what all the others say "
        f"({step.after[k]:.1f} Hz) and was left out; is it this mode?"
        for step in heard
        for k in np.flatnonzero(step.set_aside)
    ]


def _pulled(row: Learned) -> str:
    apart = row.value - row.expected
    if row.kind == "thickness":
        return f"{row.name}: the taps pull it {100 * apart:+.0f} %: measure it"
    return f"{row.name}: the taps pull it {1e3 * apart:+.1f} mm from the drawing: measure it"
