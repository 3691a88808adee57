"""What each value of a closed box does to its frequencies and losses: exact derivatives of the small model.

Depends on fem/box_coupling, fem/box_matrices, fem/box_modes, fem/box_parts, fem/box_values.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import scipy.linalg

from bracedtop.fem.box_coupling import quadratic
from bracedtop.fem.box_matrices import BoxMatrices, box_matrices, hole_friction
from bracedtop.fem.box_modes import BoxModes
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxParameter, box_parameters
from bracedtop.fem.gas import Gas

_DIFFERENCE = ((1, 2 / 3), (-1, -2 / 3), (2, -1 / 12), (-2, 1 / 12))
"""Steps and weights of the derivative of a polynomial of degree 4: exact for the matrices, of degree 3 in thickness."""


@dataclass(frozen=True, slots=True)
class BoxRates:
    """Derivatives of k modes by n values.

    Parameters
    ----------
    names : tuple of n str
        See `box_parameters`.
    values : (n,) array
    frequency : (k, n) array
        Hz per unit: metre, kilogram, a factor of one, N/m^2, ...
    loss : (k, n) array
        Loss factor per unit, without radiation.
    """

    names: tuple[str, ...]
    values: np.ndarray
    frequency: np.ndarray
    loss: np.ndarray


def box_rates(model: BoxModel, modes: BoxModes, names: Collection[str] | None = None) -> BoxRates:
    """Derivatives of frequencies and losses by the values of the what-if whose modes are given.

    Of modes that share one frequency, derivatives mean those of the vectors at hand.

    Parameters
    ----------
    model : BoxModel
    modes : BoxModes
    names : collection of str, optional
        Of the values that are wanted; all if not given.

    References
    ----------
    R. L. Fox, M. P. Kapoor, AIAA J. 6 (1968) 2426, eq. 12. R. B. Nelson, AIAA J. 14 (1976) 1201: of
    vectors.
    """
    every = box_parameters(modes.values, model.top, model.back, model.box.temperature)
    wanted = [one for one in every if names is None or one.name in names]
    m = box_matrices(model, modes.values)
    phi, hz = modes.vectors.T, modes.frequencies
    lam = (2 * np.pi * hz) ** 2
    changes = [_change(model, one) for one in wanted]
    d_lam = np.array([quadratic(one.K, phi) - lam * quadratic(one.M, phi) for one in changes])
    d_hz = d_lam / (8 * np.pi**2 * hz)
    moved = _moves(m, phi, lam, changes, d_lam)
    heat = quadratic(m.H, phi)
    by_loss = np.zeros((len(hz), len(wanted)))
    for j, (one, change) in enumerate(zip(wanted, changes, strict=True)):
        turned = quadratic(change.H, phi) + 2 * np.einsum("ik,ik->k", m.H @ phi, moved[j])
        h = one.step
        ahead, behind = (
            hole_friction(model, gas, phi + x * moved[j], hz + x * d_hz[j])
            for gas, x in zip(change.gas, (h, -h), strict=True)
        )
        by_loss[:, j] = (turned - heat * d_lam[j] / lam) / lam + (ahead - behind) / (2 * h)
    return BoxRates(tuple(one.name for one in wanted), np.array([one.value for one in wanted]), d_hz.T, by_loss)


@dataclass(frozen=True, slots=True)
class _Change:
    """Derivatives of K, H and M by a value, and the air a step ahead and a step behind."""

    K: np.ndarray
    H: np.ndarray
    M: np.ndarray
    gas: tuple[Gas, Gas]


def _change(model: BoxModel, one: BoxParameter) -> _Change:
    there = [box_matrices(model, one.changed(one.value + x * one.step)) for x, _ in _DIFFERENCE]

    def slope(key: str) -> np.ndarray:
        return np.asarray(sum(w * getattr(m, key) for m, (_, w) in zip(there, _DIFFERENCE, strict=True)) / one.step)

    return _Change(slope("K"), slope("H"), slope("M"), (there[0].gas, there[1].gas))


def _moves(m: BoxMatrices, phi: np.ndarray, lam: np.ndarray, changes: list[_Change], d_lam: np.ndarray) -> np.ndarray:
    """Derivatives of the modes (N, k) by each of n values, (n, N, k)."""
    free, n = m.free, len(m.free)
    out = np.zeros((len(changes), *phi.shape))
    K, M = m.K[np.ix_(free, free)], m.M[np.ix_(free, free)]
    for k, value in enumerate(lam):
        mode = phi[:, k]
        force = np.array(
            [d_lam[j, k] * (m.M @ mode) - one.K @ mode + value * (one.M @ mode) for j, one in enumerate(changes)]
        )
        length = np.array([-0.5 * (mode @ one.M @ mode) for one in changes])
        side = M @ mode[free]
        bordered = np.zeros((n + 1, n + 1))
        # Scaled so that the border is of the size of the rest.
        size = np.abs(K).max()
        bordered[:n, :n] = (K - value * M) / size
        bordered[:n, n] = bordered[n, :n] = side
        right = np.column_stack([force[:, free] / size, length])
        out[:, free, k] = scipy.linalg.solve(bordered, right.T, assume_a="sym")[:n].T
    return out
