"""What data tell of several unknowns, and which combinations they do not.

Depends on nothing inside the project.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Weak:
    """A combination of unknowns that the data hardly tell.

    Parameters
    ----------
    change : mapping of str to float
        Changes that belong together, the largest as large as what is known without data.
    effect : float
        Largest change of the data with it.
    """

    change: Mapping[str, float]
    effect: float


def told(
    names: Sequence[str], limits: Mapping[str, float], errors: Callable[[Sequence[str]], np.ndarray]
) -> tuple[str, ...]:
    """Unknowns that data tell within the limits when all others are held.

    Forward selection: the one told best is taken first, and one is only added if it and all those taken before stay
    within their limits.

    Parameters
    ----------
    names : sequence of str
    limits : mapping of str to float
        Largest standard error of each.
    errors : callable
        Standard errors of the unknowns of the given names when they are found together; infinite if they cannot be.
    """
    found: tuple[str, ...] = ()
    while len(found) < len(names):
        trials = {}
        for name in names:
            if name not in found:
                together = (*found, name)
                trials[name] = max(e / limits[n] for e, n in zip(errors(together), together, strict=True))
        best = min(trials, key=lambda name: trials[name])
        if not trials[best] <= 1.0:
            break
        found = (*found, best)
    return found


def weak_directions(
    names: Sequence[str], slopes: np.ndarray, covariance: np.ndarray, units: np.ndarray, least: float
) -> tuple[tuple[Weak, ...], float]:
    """Combinations of unknowns that data with this covariance do not tell, and the condition number.

    Parameters
    ----------
    names : sequence of str, n
    slopes : (m, n) array
        d datum / d unknown.
    covariance : (m, m) array
        Of the data.
    units : (n,) array
        What is known of each unknown without data, one standard error.
    least : float
        Singular value below which a direction counts as not told: a change of one unit has to move the data by so many
        standard errors.

    Returns
    -------
    weak : tuple of Weak
    condition : float
        Largest over smallest singular value, infinite where data are fewer than unknowns.

    References
    ----------
    G. H. Golub, C. F. Van Loan, Matrix Computations, 4th ed. (2013), section 5.5.
    """
    white = np.linalg.solve(np.linalg.cholesky(covariance), slopes * units)
    _, values, directions = np.linalg.svd(white)
    values = np.concatenate([values, np.zeros(len(directions) - len(values))])
    found = []
    for value, direction in zip(values, directions, strict=True):
        if value >= least:
            continue
        step = direction / np.abs(direction).max() * np.sign(direction[np.abs(direction).argmax()])
        change = {n: float(s * u) for n, s, u in zip(names, step, units, strict=True) if abs(s) > 0.2}
        found.append(Weak(change, float(np.abs(slopes @ (step * units)).max())))
    # Below rounding it is none.
    condition = float(values[0] / values[-1]) if values[-1] > 1e-12 * values[0] else float("inf")
    return tuple(found), condition
