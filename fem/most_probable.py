"""The most probable state of a Gaussian prior and measured values, inside bounds, and what speaks against one of these.

Depends on geometry/errors.

References
----------
A. Tarantola, Inverse Problem Theory and Methods for Model Parameter Estimation, SIAM 2005, sections 3.2 and 3.4 (linear
and quasi-Newton least squares with a prior). G. E. P. Box, G. C. Tiao, "A Bayesian approach to some outlier problems",
Biometrika 55 (1968) 119-129. C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, 2006, section
5.4.2 (leaving one out).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares

from bracedtop.geometry.errors import AccuracyError

Respond = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
"""Gives for a state (n,) the modelled data (k,) and their derivatives (k, n)."""

WRONG = 0.02
"""Probability that a datum is wrong, before anything is known; chosen."""

SLAB = 0.4
"""Width of the range in which a wrong datum may lie, in its units; chosen for ln frequency: within 20 % either way."""

MOST_STEPS = 60
"""Steps of the search; calibrations need five to ten."""

JITTER = 1e-10
"""Added to correlations so that they can be factored; below what any measurement tells."""

INSIDE = 1e-6
"""How far inside the bounds a search begins, in standard deviations."""

FIRST_STEP = 1.0
"""First step of the search, in standard deviations; chosen. The search takes for it how far its start is from 0."""


@dataclass(frozen=True, slots=True)
class Settled:
    """The most probable state and its surroundings.

    Parameters
    ----------
    x : (n,) array
    data, slopes : (k,) and (k, n) arrays
        Modelled data there, and their derivatives.
    innovation : (k,) array
        Measured data less what the prior's mean would give by these slopes.
    spread : (k, k) array
        Covariance of the data by the prior, without their own errors.
    squares : float
        Distance from prior and measured data, squared, in standard deviations.
    bounded : tuple of int
        Entries of the state that lie on a bound.
    """

    x: np.ndarray
    data: np.ndarray
    slopes: np.ndarray
    innovation: np.ndarray
    spread: np.ndarray
    squares: float
    bounded: tuple[int, ...]


def most_probable(
    respond: Respond,
    mean: np.ndarray,
    covariance: np.ndarray,
    bounds: tuple[np.ndarray, np.ndarray],
    measured: np.ndarray,
    error: np.ndarray,
) -> Settled:
    """Least squares of state and data in their standard deviations.

    Parameters
    ----------
    respond : function
    mean, covariance : (n,) and (n, n) arrays
        Of the state before; entries without variance are held.
    bounds : pair of (n,) arrays
        The state is never looked at outside.
    measured, error : (k,) arrays
        Data and their standard errors, infinite for data that do not count.

    Raises
    ------
    AccuracyError
        If it does not settle.
    """
    low, high = bounds
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    free = np.flatnonzero(sd > 0)
    start = np.clip(mean, low, high)
    correlation = covariance[np.ix_(free, free)] / np.outer(sd[free], sd[free])
    root = np.linalg.cholesky(correlation + JITTER * np.eye(len(free)))
    whiten = solve_triangular(root, np.eye(len(free)), lower=True)
    # The last response, as the search asks for data and slopes at one place one after the other.
    last: list[tuple[bytes, tuple[np.ndarray, np.ndarray]]] = []

    def whole(y: np.ndarray) -> np.ndarray:
        x = start.copy()
        x[free] = np.clip(mean[free] + sd[free] * y, low[free], high[free])
        return np.asarray(x)

    def response(y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        if not last or last[0][0] != y.tobytes():
            last[:] = [(y.tobytes(), respond(whole(y)))]
        return last[0][1]

    def misfit(y: np.ndarray) -> np.ndarray:
        return np.concatenate([whiten @ y, (response(y)[0] - measured) / error])

    def slope(y: np.ndarray) -> np.ndarray:
        return np.vstack([whiten, response(y)[1][:, free] * sd[free] / error[:, None]])

    box = ((low - mean)[free] / sd[free], (high - mean)[free] / sd[free])
    begin = np.clip(np.zeros(len(free)), box[0] + INSIDE, box[1] - INSIDE)
    found = least_squares(
        lambda z: misfit(z - FIRST_STEP),
        begin + FIRST_STEP,
        lambda z: slope(z - FIRST_STEP),
        bounds=(box[0] + FIRST_STEP, box[1] + FIRST_STEP),
        method="trf",
        ftol=1e-7,
        xtol=1e-6,
        max_nfev=MOST_STEPS,
    )
    if not found.success:
        message = "calibration: the values do not settle; is each tap paired with the right mode?"
        raise AccuracyError(message)
    x = whole(found.x - FIRST_STEP)
    data, J = response(found.x - FIRST_STEP)
    return Settled(
        x,
        data,
        J,
        measured - data + J @ (x - mean),
        J @ covariance @ J.T,
        2.0 * float(found.cost),
        tuple(int(free[k]) for k in np.flatnonzero(found.active_mask)),
    )


def conditioned(covariance: np.ndarray, slopes: np.ndarray, error: np.ndarray) -> np.ndarray:
    """Covariance of a Gaussian state after data with these slopes (k, n) and standard errors (k,)."""
    CJ = covariance @ slopes.T
    S = slopes @ CJ + np.diag(error**2)
    found = covariance - CJ @ np.linalg.solve(S, CJ.T)
    return np.asarray(0.5 * (found + found.T))


def wrong_datum(settled: Settled, error: np.ndarray, used: np.ndarray) -> int | None:
    """The datum that is more probably wrong than right by what all else says, the clearest if there are several.

    Each is compared with what the prior and the other data expect of it.

    Parameters
    ----------
    settled : Settled
    error : (k,) array
    used : (k,) bool array
        Data that count.
    """
    kept = np.flatnonzero(used)
    if not len(kept):
        return None
    precision = np.linalg.inv(settled.spread[np.ix_(kept, kept)] + np.diag(error[kept] ** 2))
    variance = 1.0 / np.diag(precision)
    apart = (precision @ settled.innovation[kept]) * variance
    right = np.log(1 - WRONG) - 0.5 * apart**2 / variance - 0.5 * np.log(2 * np.pi * variance)
    worst = int(np.argmin(right))
    return int(kept[worst]) if right[worst] < np.log(WRONG / SLAB) else None


def log_evidence(settled: Settled, error: np.ndarray, used: np.ndarray) -> float:
    """Logarithm of the probability density of the data: Gaussian about what was expected, wrong ones in their slab."""
    kept = np.flatnonzero(used)
    S = settled.spread[np.ix_(kept, kept)] + np.diag(error[kept] ** 2)
    gaussian = -0.5 * settled.squares - 0.5 * float(np.linalg.slogdet(2 * np.pi * S)[1])
    n_wrong = len(used) - len(kept)
    return float(gaussian + len(kept) * np.log(1 - WRONG) + n_wrong * np.log(WRONG / SLAB))
