"""A small what-if model, and tops drawn at random from what is known before the taps."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
from reference.plates import TRIAL_WOOD, WOOD, trial_top

from bracedtop.fem.calibration import HOLDING, Posterior
from bracedtop.fem.numbering import modelled
from bracedtop.fem.prior import Prior, default_prior
from bracedtop.fem.reduced import Reduced, State, what_if
from bracedtop.fem.reduced_build import build_reduced


@lru_cache(maxsize=1)
def small_top() -> tuple[Reduced, Prior]:
    """The trial top with two braces, so coarse that a what-if takes a few milliseconds, and its prior."""
    top, woods = trial_top(2), {WOOD: TRIAL_WOOD}
    reduced = build_reduced(top, woods, n_modes=6, size=0.06, basis=40, snapshots=8)
    return reduced, default_prior(top, woods, reduced.parameters)


def in_double(reduced: Reduced) -> Reduced:
    """The same in double precision throughout, so that differences over small steps can be taken."""
    braces = reduced.braces
    arrays = {key: getattr(braces, key).astype(float) for key in ("U", "V", "O", "both", "along", "mass")}
    own, reach = reduced.own.astype(float), reduced.reach.astype(float)
    return replace(reduced, braces=replace(braces, **arrays), own=own, reach=reach)


def drawn_at_random(posterior: Posterior, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Values (n,) and biases (m,) of one top as likely as the posterior says, inside the model's range."""
    n = len(posterior.values)
    low = np.array([p.low for p in posterior.parameters])
    high = np.array([p.high for p in posterior.parameters])
    while True:
        x = rng.multivariate_normal(posterior.mean, posterior.covariance, method="eigh")
        values = np.where(posterior.prior.is_factor, np.exp(x[:n] * posterior.prior.is_factor), x[:n])
        if ((values >= low) & (values <= high)).all():
            return values, x[n:]


def true_hz(reduced: Reduced, values: np.ndarray, bias: np.ndarray, reference: State | None = None) -> np.ndarray:
    """Frequencies of such a top, (m,), numbered as a reference's or the drawing's."""
    start = what_if(reduced, reduced.drawn) if reference is None else reference
    return np.asarray(np.exp(modelled(reduced, values, start).log_hz + bias))


def tapped(hz: np.ndarray, rng: np.random.Generator) -> list[tuple[int, float]]:
    """Pairs of mode and tapped frequency, as well as a top can be held."""
    return [(k, float(f * np.exp(HOLDING * rng.normal()))) for k, f in enumerate(hz)]
