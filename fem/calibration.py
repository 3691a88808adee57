"""A top's numbers and the model's error as taps and cuts tell them, one after another.

Depends on fem/cut_shift, fem/most_probable, fem/numbering, fem/parameter, fem/prior, fem/reduced, geometry.

The state is x = (heights, ring and masses; ln of factors; b), where b = ln(true over modelled frequency) of each mode,
and a tap of mode k is ln f_k(x) + b_k + error. The state is Gaussian before; taps move it to its most probable place,
around which it is taken for Gaussian again (Laplace). Modes are counted as the drawing has them, lowest first, and
followed to wherever the numbers go. Where two have mixed on the way, each has a part of both shapes; then they keep the
numbers with which they fit the taps, and are followed from there.

One pair of tap and mode may be wrong. A pair that is more probably wrong than right, by what all the others say, is set
aside (fem/most_probable). A heavy-tailed error of the tap alone would not do, as a mode's bias takes up the wrong pair
before the error does.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.cut_shift import cut_shift
from bracedtop.fem.most_probable import conditioned, log_evidence, most_probable, wrong_datum
from bracedtop.fem.numbering import modelled, numbered, of_state
from bracedtop.fem.parameter import Parameter
from bracedtop.fem.prior import Prior
from bracedtop.fem.reduced import Reduced, State, what_if
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import frozen

HOLDING = 0.002
"""Standard error of any tapped frequency, relative, from how the top is held and from the air's damp between taps;
chosen: a top that is put down and taken up again returns within 0.1 to 0.3 %."""

MEASURED_CUT = 0.1e-3
UNMEASURED_CUT = 0.2e-3
"""Standard deviation of a cut's depth, m: measured by caliper, or as asked for; chosen."""

MOST_WRONG = 4
"""At most every fourth pair is set aside; chosen: beyond, it is not a single slip."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What one session's taps said, and how they were taken.

    Parameters
    ----------
    modes : tuple of k int
        Counted from 0, as in the drawing.
    measured, errors : (k,) arrays, Hz
        With standard errors, holding included.
    before, before_sd : (k,) arrays, Hz
        What was expected just before these taps, and its standard deviation, the taps' errors not included.
    after : (k,) array, Hz
        Calibrated frequencies just after.
    set_aside : (k,) bool array
        Pairs taken for wrong.
    slopes : (k, n + m) array
        Derivatives of ln frequency by the state.
    shifted : (k,) array
        ln measured frequency, less what the model curves: `slopes` times the state, and an error.
    squares : float
        How far everything lies from what was expected, squared, in standard deviations; chi-square of
        `n_used` degrees of freedom if prior and errors are right.
    """

    modes: tuple[int, ...]
    measured: np.ndarray
    errors: np.ndarray
    before: np.ndarray
    before_sd: np.ndarray
    after: np.ndarray
    set_aside: np.ndarray
    slopes: np.ndarray
    shifted: np.ndarray
    squares: float

    @property
    def n_used(self) -> int:
        """Number of pairs that were not set aside."""
        return int((~self.set_aside).sum())


@dataclass(frozen=True, slots=True)
class CutMade:
    """Cuts and the standard deviation of their depth, m."""

    cuts: tuple[Cut, ...]
    error: float


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of a top and of the model's error.

    Parameters
    ----------
    prior : Prior
    values : (n,) array
        Parameters, in their units.
    bias : (m,) array
        ln(true over modelled frequency) of each mode.
    reference : State
        From whose modes the m modes are followed.
    covariance : (n + m, n + m) array
        Of the state: ln of factors, the other parameters themselves, then the biases.
    history : tuple of Heard and CutMade
        In the order in which they came.
    log_evidence : float
        ln of the probability density of all taps so far.
    notes : tuple of str
        What the user should know: bounds reached, cuts that are not represented.
    """

    prior: Prior
    values: np.ndarray
    bias: np.ndarray
    reference: State
    covariance: np.ndarray
    history: tuple[Heard | CutMade, ...] = ()
    log_evidence: float = 0.0
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Freeze the arrays and check that they fit together."""
        for key in ("values", "bias", "covariance"):
            object.__setattr__(self, key, frozen(getattr(self, key)))
        size = len(self.prior.parameters) + len(self.bias)
        if self.values.shape != self.prior.mean.shape or self.covariance.shape != (size, size):
            message = f"posterior: {len(self.values)} values and covariance {self.covariance.shape} do not fit together"
            raise DesignError(message)

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """The n parameters."""
        return self.prior.parameters

    @property
    def mean(self) -> np.ndarray:
        """The state, (n + m,)."""
        return np.concatenate([_state(self.prior, self.values), self.bias])

    @property
    def state_sd(self) -> np.ndarray:
        """Standard deviations of the state, (n + m,): relative ones for factors and frequencies."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))

    @property
    def sd(self) -> np.ndarray:
        """Standard deviations of the parameters in their units, (n,)."""
        return np.asarray(self.state_sd[: len(self.values)] * np.where(self.prior.is_factor, self.values, 1.0))


def start(reduced: Reduced, prior: Prior) -> Posterior:
    """What is known before the first tap.

    Raises
    ------
    DesignError
        If the prior is not of the model's parameters.
    """
    if prior.parameters != tuple(reduced.parameters):
        message = "prior: its parameters are not the what-if model's"
        raise DesignError(message)
    return begun(prior, what_if(reduced, reduced.drawn))


def predicted(
    reduced: Reduced, posterior: Posterior, values: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Calibrated frequencies, and how well they are known.

    With other heights, such as those after a cut, the woods and the model's error stay what the taps told; so the
    uncertainty grows only by what the taps did not tell and the cut makes matter. The cut's own error is not in it:
    see `after_cut`.

    Parameters
    ----------
    reduced : Reduced
    posterior : Posterior
    values : (n,) array, optional
        The posterior's own if not given.

    Returns
    -------
    frequencies : (m,) array, Hz
        In the drawing's order of modes.
    covariance : (m, m) array, Hz^2

    Raises
    ------
    DesignError
        If a value is outside the model's range.
    """
    at = posterior.values if values is None else np.asarray(values, dtype=float)
    found = modelled(reduced, at, posterior.reference)
    hz = np.exp(found.log_hz + posterior.bias)
    J = np.hstack([found.slopes, np.eye(len(hz))])
    return hz, np.outer(hz, hz) * (J @ posterior.covariance @ J.T)


def after_cut(posterior: Posterior, cuts: Sequence[Cut], *, error: float = MEASURED_CUT) -> Posterior:
    """What is known after cuts: heights fall, and their uncertainty grows by the cuts'.

    Parameters
    ----------
    posterior : Posterior
    cuts : sequence of Cut
    error : float, m
        Standard deviation of the depths, one along each cut: `MEASURED_CUT` or `UNMEASURED_CUT`.

    Raises
    ------
    DesignError
        If a cut is of a part that has no height or ring among the parameters.
    """
    parameters = posterior.parameters
    values, C = posterior.values.copy(), posterior.covariance.copy()
    notes = list(posterior.notes)
    n = len(values)
    for cut in cuts:
        shift = cut_shift(parameters, posterior.values, cut)
        values -= shift.fall
        C[:n, :n] += error**2 * shift.spread
        notes += shift.notes
    low = np.array([parameter.low for parameter in parameters])
    for i in np.flatnonzero(values < low):
        notes.append(
            f"{parameters[i].name}: cut below the range of the what-if model; taken as {_words(parameters[i], low[i])}"
        )
    made = CutMade(tuple(cuts), error)
    return replace(
        posterior,
        values=np.maximum(values, low),
        covariance=C,
        history=(*posterior.history, made),
        notes=tuple(notes),
    )


def after_taps(
    reduced: Reduced,
    posterior: Posterior,
    pairs: Sequence[tuple[int, float]],
    errors: Sequence[float] | np.ndarray,
) -> Posterior:
    """What is known after taps.

    Parameters
    ----------
    reduced : Reduced
    posterior : Posterior
    pairs : sequence of k (int, float)
        Mode, counted from 0 as in the drawing, and its tapped frequency in Hz.
    errors : (k,) array, Hz
        Standard errors of the frequencies alone; `HOLDING` is added.

    Raises
    ------
    DesignError
        If a mode is unknown or named twice, or a frequency or error is impossible.
    AccuracyError
        If the values do not settle.
    """
    modes, log_hz, error = _checked(pairs, errors, len(posterior.bias))
    if not modes:
        return posterior
    prior, mean, C = posterior.prior, posterior.mean, posterior.covariance
    n, at = len(posterior.values), np.array(modes)
    wanted = np.full(len(posterior.bias), np.nan)
    wanted[at] = log_hz

    def respond(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        found = of_state(reduced, numbered(reduced, _values(prior, x[:n]), posterior.reference, wanted - x[n:]))
        return (found.log_hz + x[n:])[at], np.hstack([found.slopes, np.eye(len(x) - n)])[at]

    bounds = _bounds(prior, len(mean))
    before, spread = predicted(reduced, posterior)
    used = np.ones(len(modes), dtype=bool)
    settled = most_probable(respond, mean, C, bounds, log_hz, error)
    for _ in range(max(1, len(modes) // MOST_WRONG)):
        wrong = wrong_datum(settled, error, used)
        if wrong is None:
            break
        used[wrong] = False
        settled = most_probable(respond, mean, C, bounds, log_hz, np.where(used, error, np.inf))
    heard = Heard(
        modes,
        np.exp(log_hz),
        np.exp(log_hz) * error,
        before[at],
        np.sqrt(np.maximum(np.diag(spread), 0.0))[at],
        np.exp(settled.data),
        ~used,
        settled.slopes,
        log_hz - settled.data + settled.slopes @ settled.x,
        settled.squares,
    )
    values = _values(prior, settled.x[:n])
    return replace(
        posterior,
        values=values,
        bias=settled.x[n:],
        reference=numbered(reduced, values, posterior.reference, wanted - settled.x[n:]),
        covariance=conditioned(C, settled.slopes[used], error[used]),
        history=(*posterior.history, heard),
        log_evidence=posterior.log_evidence + log_evidence(settled, error, used),
        notes=(
            *posterior.notes,
            *(
                f"{prior.parameters[i].name} reached the range of the what-if model, "
                f"{_words(prior.parameters[i], values[i])}"
                for i in settled.bounded
                if i < n
            ),
        ),
    )


def replayed(reduced: Reduced, prior: Prior, history: Sequence[Heard | CutMade]) -> Posterior:
    """What another prior makes of the same taps and cuts.

    Raises
    ------
    DesignError, AccuracyError
        As `after_taps`.
    """
    posterior = start(reduced, prior)
    for step in history:
        if isinstance(step, CutMade):
            posterior = after_cut(posterior, step.cuts, error=step.error)
        else:
            own = np.sqrt(np.maximum((step.errors / step.measured) ** 2 - HOLDING**2, 0.0)) * step.measured
            posterior = after_taps(reduced, posterior, list(zip(step.modes, step.measured.tolist(), strict=True)), own)
    return posterior


def untapped(posterior: Posterior) -> Posterior:
    """What would be known after the same cuts without any tap."""
    found = begun(posterior.prior, posterior.reference)
    for step in posterior.history:
        if isinstance(step, CutMade):
            found = after_cut(found, step.cuts, error=step.error)
    return found


def _checked(
    pairs: Sequence[tuple[int, float]], errors: Sequence[float] | np.ndarray, n_modes: int
) -> tuple[tuple[int, ...], np.ndarray, np.ndarray]:
    """Modes, ln frequencies and their standard errors."""
    modes = tuple(int(mode) for mode, _ in pairs)
    hz = np.array([hz for _, hz in pairs], dtype=float)
    given = np.asarray(errors, dtype=float)
    if given.shape != hz.shape:
        message = f"calibration: {len(hz)} taps with {given.size} errors; each tap needs one"
        raise DesignError(message)
    if len(set(modes)) < len(modes) or any(not 0 <= mode < n_modes for mode in modes):
        message = f"calibration: modes {sorted(modes)}; each must be named once and lie in 0 to {n_modes - 1}"
        raise DesignError(message)
    if not (np.isfinite(hz).all() and (hz > 0).all() and np.isfinite(given).all() and (given >= 0).all()):
        message = "calibration: taps must be above 0 Hz and finite, their errors not negative"
        raise DesignError(message)
    return modes, np.log(hz), np.hypot(given / hz, HOLDING)


def begun(prior: Prior, reference: State) -> Posterior:
    """What is known before the first tap of the modes of `reference`."""
    n, m = len(prior.mean), len(reference.frequencies)
    C = np.zeros((n + m, n + m))
    C[:n, :n] = prior.covariance
    C[n:, n:] = prior.bias_covariance(m)
    return Posterior(prior, prior.mean, np.zeros(m), reference, C)


def _state(prior: Prior, values: np.ndarray) -> np.ndarray:
    logs = np.log(np.where(prior.is_factor, values, 1.0))
    return np.where(prior.is_factor, logs, values)


def _values(prior: Prior, state: np.ndarray) -> np.ndarray:
    return np.where(prior.is_factor, np.exp(np.where(prior.is_factor, state, 0.0)), state)


def _bounds(prior: Prior, size: int) -> tuple[np.ndarray, np.ndarray]:
    low, high = np.full(size, -np.inf), np.full(size, np.inf)
    n = len(prior.parameters)
    low[:n] = _state(prior, np.array([parameter.low for parameter in prior.parameters]))
    high[:n] = _state(prior, np.array([parameter.high for parameter in prior.parameters]))
    return low, high


def _words(parameter: Parameter, value: float) -> str:
    if parameter.kind in ("height", "ring"):
        return f"{1e3 * value:.2f} mm"
    return f"{1e3 * value:.1f} g" if parameter.kind == "mass" else f"a factor of {value:.2f}"
