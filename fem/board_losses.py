"""Loss factors along the grain, across it and in shear, from the decay of a board's taps.

Depends on fem/board_fit, fem/loss_factors, fem/told.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from bracedtop.fem.board_fit import BoardFit
from bracedtop.fem.loss_factors import USUAL
from bracedtop.fem.told import told

PARTS = {"along": ("E_L",), "across": ("E_R", "G_RT"), "shear": ("G_LR", "G_LT")}
"""Constants whose energy each loss factor belongs to."""

TOLD = 0.5
"""A loss factor counts as determined if its standard error is below this part of `USUAL`; chosen."""


@dataclass(frozen=True, slots=True)
class Loss:
    """Loss factor of one kind of strain.

    Parameters
    ----------
    name : {"along", "across", "shear"}
    value, error : float
        1 / Q with one standard error.
    determined : bool
    """

    name: str
    value: float
    error: float
    determined: bool


def energy_parts(fit: BoardFit) -> dict[str, np.ndarray]:
    """Shares of each tap's strain energy along the grain, across it and in shear, (n_taps,) each, summing to 1.

    The share of a constant is 2 d ln f / d ln p. Stiffness is of degree one in all moduli together, so the shares add
    up to the whole.
    """
    zero = np.zeros(len(fit.hz))
    return {part: sum((2 * fit.slopes.get(name, zero) for name in names), zero) for part, names in PARTS.items()}


def fit_losses(fit: BoardFit) -> tuple[Loss, ...]:
    """Loss factors from the taps that have a decay; none of them without any.

    A mode's 1 / Q is the mean of the loss factors weighed by its shares of energy. It also holds what the air carries
    off and what the hold takes, so these are upper bounds of the wood's own. Not negative; those that the decays do not
    tell are taken as usual, with an error as large.

    References
    ----------
    M. E. McIntyre, J. Woodhouse, Acta Metallurgica 36 (1988) 1397-1416: damping of plates by energy shares.
    C. L. Lawson, R. J. Hanson, Solving Least Squares Problems (1974), ch. 23.
    """
    at = [k for k, tap in enumerate(fit.board.taps) if tap.loss is not None]
    if not at:
        return ()
    losses = [tap.loss for tap in fit.board.taps if tap.loss is not None]
    measured, errors = np.array([x.value for x in losses]), np.array([x.error for x in losses])
    parts = {name: share[at] for name, share in energy_parts(fit).items() if np.any(share > 0)}
    names = tuple(parts)
    S = np.column_stack([parts[name] for name in names])
    usual = np.array([USUAL[name] for name in names])
    limits = {name: TOLD * USUAL[name] for name in names}
    free = told(names, limits, lambda some: _errors(S, errors, names, some, usual))
    is_free = np.array([name in free for name in names])
    values, error = usual.copy(), usual.copy()
    if free:
        C = _covariance(S[:, ~is_free], usual[~is_free], errors)
        whiten = np.linalg.inv(np.linalg.cholesky(C))
        rest = measured - S[:, ~is_free] @ usual[~is_free]
        values[is_free], _ = nnls(whiten @ S[:, is_free], whiten @ rest)
        error[is_free] = _errors(S, errors, names, [name for name in names if name in free], usual)
    rows = zip(names, values.tolist(), error.tolist(), is_free.tolist(), strict=True)
    return tuple(Loss(*row) for row in rows)


def _covariance(S_held: np.ndarray, usual: np.ndarray, errors: np.ndarray) -> np.ndarray:
    held = S_held * usual
    return np.asarray(np.diag(errors**2) + held @ held.T)


def _errors(
    S: np.ndarray, errors: np.ndarray, names: Sequence[str], some: Sequence[str], usual: np.ndarray
) -> np.ndarray:
    """Standard errors of some loss factors when the others are taken as usual."""
    at = [list(names).index(name) for name in some]
    held = [i for i in range(len(names)) if i not in at]
    J = S[:, at]
    if np.linalg.matrix_rank(J, tol=1e-6) < len(at):
        return np.full(len(at), np.inf)
    C = _covariance(S[:, held], usual[held], errors)
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(J.T @ np.linalg.solve(C, J)))))
