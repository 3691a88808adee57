"""What a cut does to the heights of a what-if model.

Depends on fem/parameter, fem/prior, geometry/cut.

Heights are linear between the model's places, a cut need not be. The linear profile that comes nearest to it in the
mean of squares takes its place: with it everything that depends on the wood taken in a way that is linear between the
places stays exact, so that frequencies feel a short cut as they should.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.parameter import Parameter
from bracedtop.fem.prior import ALONG
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.errors import DesignError

_GAUSS = np.array([-1.0, 1.0]) / np.sqrt(3.0)
"""Places in a piece -1 to 1 at which the mean is that of the whole piece for polynomials up to the third degree."""

REPRESENTED = 0.6
"""Part of a cut's wood that its linear profile has to hold in the right place; below that it is said; chosen."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Change of the parameters.

    Parameters
    ----------
    fall : (n,) array, m
        By how much heights and ring fall.
    spread : (n, n) array
        Covariance of that for a standard deviation of the depth of 1.
    notes : tuple of str
        Where the cut is not represented.
    """

    fall: np.ndarray
    spread: np.ndarray
    notes: tuple[str, ...] = ()


def cut_shift(parameters: Sequence[Parameter], values: np.ndarray, cut: Cut) -> Shift:
    """Fall of each height, or of the edge ring, that stands for a cut.

    Parameters
    ----------
    parameters : sequence of n Parameter
    values : (n,) array
        Before the cut; the ring's wood is thicker than its parameter by the factor "thickness".
    cut : Cut

    Raises
    ------
    DesignError
        If nothing of the part is among the parameters.
    """
    n = len(parameters)
    fall, spread = np.zeros(n), np.zeros((n, n))
    if cut.is_ring:
        at = next((i for i, parameter in enumerate(parameters) if parameter.kind == "ring"), None)
        if at is None:
            message = f'cut of "{cut.part}": the drawing has no edge ring, see edge_ring_width_mm'
            raise DesignError(message)
        scale = next((v for p, v in zip(parameters, values, strict=True) if p.kind == "thickness"), 1.0)
        fall[at] = cut.depth_start / scale
        spread[at, at] = float(cut.depth_start > 0) / scale**2
        return Shift(fall, spread)
    own = [i for i, parameter in enumerate(parameters) if parameter.kind == "height" and parameter.part == cut.part]
    if not own:
        names = sorted({parameter.part for parameter in parameters if parameter.kind == "height"})
        message = f'cut of "{cut.part}": no such brace in the what-if model; braces: {", ".join(names) or "none"}'
        raise DesignError(message)
    places = np.array([parameters[i].at for i in own])
    s, weight = _samples(places, cut)
    hats = np.column_stack([np.interp(s, places, row) for row in np.eye(len(places))])
    wanted = cut.depth(s)
    inside = ((s >= cut.start) & (s <= cut.stop)).astype(float)
    root = np.sqrt(weight)[:, None]
    solved = np.linalg.lstsq(root * hats, root * np.column_stack([wanted, inside]), rcond=None)[0]
    fall[own] = solved[:, 0]
    share = np.clip(solved[:, 1], 0.0, 1.0) * float(not cut.is_nothing)
    spread[np.ix_(own, own)] = np.outer(share, share) * np.exp(-np.abs(places[:, None] - places[None, :]) / ALONG)
    return Shift(fall, spread, _notes(cut, wanted, hats @ solved[:, 0], weight))


def _samples(places: np.ndarray, cut: Cut) -> tuple[np.ndarray, np.ndarray]:
    """Samples (k,) of the brace and the lengths (k,) that they stand for, so that sums of products are integrals.

    What lies beyond the outermost places is too low to matter.
    """
    ends = [end for end in (cut.start, cut.stop) if places[0] < end < places[-1]]
    marks = np.unique(np.concatenate([places, ends])) if len(places) > 1 else np.array([cut.start, cut.stop])
    half = np.diff(marks)[:, None] / 2
    s = marks[:-1, None] + half * (1 + _GAUSS)
    return s.ravel(), np.broadcast_to(half, s.shape).ravel()


def _notes(cut: Cut, wanted: np.ndarray, found: np.ndarray, weight: np.ndarray) -> tuple[str, ...]:
    total = float(weight @ np.abs(wanted))
    if cut.is_nothing or (total > 0 and weight @ np.abs(found - wanted) <= 2 * (1 - REPRESENTED) * total):
        return ()
    where = f"cut of {cut.part} from {1e3 * cut.start:.0f} to {1e3 * cut.stop:.0f} mm"
    if total == 0:
        return (f"{where}: lies where the what-if model has no height to change; not counted",)
    return (f"{where}: shorter than the what-if model tells apart; spread over the places beside it",)
