"""Frequencies of a what-if, each mode with the number that it has in the drawing, and their slopes.

Depends on fem/mac, fem/prior, fem/reduced.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from bracedtop.fem.mac import mac
from bracedtop.fem.prior import BIAS_SD, factors
from bracedtop.fem.reduced import EXTRA, Reduced, State, rates, tracked, what_if

LEAST_SHARE = 0.2
"""A mode has mixed with another if it has more of the other's shape than this (modal assurance criterion); chosen."""

NEVER = 1e6
"""Cost of taking a mode for one that it does not resemble; above what any misfit costs."""


@dataclass(frozen=True, slots=True)
class Modelled:
    """The model's frequencies.

    Parameters
    ----------
    state : State
        Its modes in the drawing's order.
    log_hz : (m,) array
        Of the model, without bias.
    slopes : (m, n) array
        Derivatives of `log_hz` by the state's parameters.
    """

    state: State
    log_hz: np.ndarray
    slopes: np.ndarray


def modelled(reduced: Reduced, values: np.ndarray, reference: State) -> Modelled:
    """Frequencies at some values, of the modes that grew from those of `reference`.

    Raises
    ------
    DesignError
        If a value is outside the model's range.
    """
    return of_state(reduced, tracked(reduced, values, reference))


def of_state(reduced: Reduced, state: State) -> Modelled:
    """Frequencies of a state and their slopes."""
    by_state = np.where(factors(reduced.parameters), state.values, 1.0)
    hz = state.frequencies
    return Modelled(state, np.log(hz), rates(reduced, state) / hz[:, None] * by_state)


def numbered(reduced: Reduced, values: np.ndarray, reference: State, wanted: np.ndarray) -> State:
    """The state's modes in the reference's order: by their shapes, of mixed ones by the ln frequency that is wanted.

    What is wanted of a mode is nan where it was not tapped. The sum of squares that is made least is a continuous
    function of the values, so that a search does not stop where two modes change places.
    """
    m = len(reference.frequencies)
    state = what_if(reduced, values, n_modes=m + EXTRA)
    alike = mac(reference.coordinates.T, state.coordinates.T, reduced.M)
    apart = np.nan_to_num(((np.log(state.frequencies) - wanted[:, None]) / BIAS_SD) ** 2)
    share = np.maximum(alike - LEAST_SHARE, 0.0) / (1 - LEAST_SHARE)
    unlike = np.where(share > 0, -4.0 * np.log(np.where(share > 0, share, 1.0)) + apart, NEVER * (2.0 - alike))
    _, order = linear_sum_assignment(unlike)
    return State(
        state.values, state.frequencies[order], state.coordinates[order], state.fibres[:, :, order], state.mass
    )
