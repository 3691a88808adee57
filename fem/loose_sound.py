"""The sound of a loose top: its modes with their losses, and the tap heard anywhere on it.

Depends on fem/bridge_motion, fem/gas, fem/heard, fem/model, fem/top_loss. Losses are the woods' (fem/top_loss), but
where a tapped mode that belongs to the predicted one has a measured Q.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.bridge_motion import grid_points
from bracedtop.fem.gas import Gas, air_gas
from bracedtop.fem.heard import Heard, heard_top
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.model import Model, Modes, deflections
from bracedtop.fem.top_loss import top_loss

N_MODES = 24
"""Modes that are heard; chosen: on a guitar's top up to about 900 Hz."""

N_POINTS = 500
"""Points over the top for Rayleigh's integral; chosen: some ten in a wavelength of the highest mode."""

TEMPERATURE = 20.0
"""Of the air, degrees Celsius; chosen: a workshop's."""


@dataclass(frozen=True, slots=True, eq=False)
class LooseTop:
    """A loose top to be tapped.

    Parameters
    ----------
    frequencies, loss : (m,) arrays
        In Hz, and loss factors.
    is_measured : (m,) array of bool
        Losses that are from taps.
    xy : (n, 2) array, m
        Points over the top; the first is the driving point, which stands for no area.
    weight : (n,) array, m^2
    shapes : (m, n) array
        Deflections there of modes of 1 kg.
    gas : Gas
    """

    frequencies: np.ndarray
    loss: np.ndarray
    is_measured: np.ndarray
    xy: np.ndarray
    weight: np.ndarray
    shapes: np.ndarray
    gas: Gas


def loose_top(
    model: Model,
    modes: Modes,
    losses: Mapping[str, LossFactors],
    measured: Mapping[int, float] | None = None,
) -> LooseTop:
    """A top ready to be tapped.

    Parameters
    ----------
    model : Model
    modes : Modes
        Of that model.
    losses : mapping of str to LossFactors
        By the names of woods.
    measured : mapping of int to float, optional
        Q of modes, counted from 0, where it was tapped.

    Raises
    ------
    DesignError, MeshError
    """
    design = model.design
    over = grid_points(design.region, N_POINTS)
    xy = np.concatenate([np.atleast_2d(design.driving_point), over])
    weight = np.full(len(xy), design.region.area / len(over))
    weight[0] = 0.0
    loss = top_loss(model, modes, losses)
    known = np.zeros(len(loss), dtype=bool)
    for k, q in (measured or {}).items():
        if k < len(loss) and q > 0:
            loss[k], known[k] = 1.0 / q, True
    shapes = deflections(model, modes, xy)
    return LooseTop(modes.frequencies, loss, known, xy, weight, shapes, air_gas(TEMPERATURE))


def tapped_at(top: LooseTop, place: Sequence[float] | np.ndarray | None = None) -> Heard:
    """What is heard of a tap at the point nearest to a place (2,) in m, at the driving point if not given."""
    k = 0 if place is None else int(np.argmin(np.linalg.norm(top.xy - np.asarray(place), axis=1)))
    return heard_top(top.frequencies, top.loss, top.shapes[:, k], top.xy, top.weight, top.shapes, top.xy[k], top.gas)
