"""The closed box in two oscillators: the top by itself, the air in the hole by itself, and the pair that they become.

Depends on fem/box_coupling, fem/box_matrices, fem/box_parts, fem/box_values, fem/lumped, geometry/errors.

Each is solved in the whole model with everything else held still, so that nothing has to be said of moving masses and
areas: the top with the hole plugged, back and rim held; the air in the hole with all wood held; both with back and rim
held. The relations of the two oscillators (fem/lumped) then hold but for what the plates' and the air's higher motions
do.
"""

from dataclasses import replace

import numpy as np
import scipy.linalg

from bracedtop.fem.box_coupling import SHIFT
from bracedtop.fem.box_matrices import BoxMatrices, box_matrices
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.lumped import Split
from bracedtop.geometry.errors import DesignError

_SEARCHED = 5
"""Lowest modes among which the top's fundamental is sought; chosen: no mode that pumps air lies above them."""


def box_split(model: BoxModel, values: BoxValues | None = None) -> Split:
    """Top and hole before and after they meet, back and rim held still.

    `Split.in_vacuo` is the top without the air inside, with that outside.

    Parameters
    ----------
    model : BoxModel
    values : BoxValues, optional

    Raises
    ------
    DesignError
        If there is no hole.
    """
    values = values or BoxValues()
    parts = model.parts
    top, hole, cavity = parts["top"], parts["hole"], parts["cavity"]
    if hole.stop == hole.start:
        message = "box: no hole; the top and the air in the hole cannot split"
        raise DesignError(message)
    blocked, opened = (box_matrices(model, replace(values, hole_blocked=plugged)) for plugged in (True, False))
    # Modes of the top alone, then with air: the one that pumps most air out of the box.
    K, M = blocked.K_faces["top"][top, top], blocked.M_own[top, top]
    dry, _ = _pumping(K, M, model.at_top[:, 0])
    closed = _lowest_of(model, blocked, top, cavity)[0]
    alone, _ = _modes(opened, _numbers(hole, cavity))
    pair = _lowest_of(model, opened, top, hole, cavity)
    air = float(np.sqrt(max(closed**2 - dry**2, 0.0)))
    return Split(dry, air, closed, float(alone[0]), pair[0], pair[1])


def _lowest_of(model: BoxModel, m: BoxMatrices, *kept: slice) -> tuple[float, ...]:
    """Frequencies of the modes in which the top pumps most air, one for each part that is not the cavity."""
    at = _numbers(*kept)
    hz, phi = _modes(m, at)
    is_top = at < model.parts["top"].stop
    pumped = np.abs(model.at_top[:, 0] @ phi[is_top])
    found = np.sort(hz[np.argsort(-pumped)[: len(kept) - 1]])
    return tuple(float(f) for f in found)


def _pumping(K: np.ndarray, M: np.ndarray, volume: np.ndarray) -> tuple[float, int]:
    lam, phi = scipy.linalg.eigh(K, M, subset_by_index=[0, _SEARCHED - 1])
    k = int(np.abs(volume @ phi).argmax())
    return float(np.sqrt(lam[k]) / (2 * np.pi)), k


def _modes(m: BoxMatrices, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lowest frequencies in Hz and modes of some of the unknowns, all others held."""
    K, M = m.K[np.ix_(at, at)], m.M[np.ix_(at, at)]
    last = min(_SEARCHED, len(at)) - 1
    lam, phi = scipy.linalg.eigh(K + SHIFT * M, M, subset_by_index=[0, last])
    return np.sqrt(np.maximum(lam - SHIFT, 0.0)) / (2 * np.pi), phi


def _numbers(*kept: slice) -> np.ndarray:
    return np.concatenate([np.arange(part.start, part.stop) for part in kept])
