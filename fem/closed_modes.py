"""Modes of a closed box with its hole open and blocked, each followed through what changes, and the three notes in it.

Depends on fem/box_matrices, fem/box_modes, fem/closed_target, fem/mac, fem/numbering, fem/prior, geometry/errors.

A maker taps three notes: the air's, which is the lowest of the box; the top's with the hole open; and the top's with
the hole blocked. Here they are the mode in which most of the moving energy is the hole's air, and the modes in which
the top pumps most air under a steady pressure.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.optimize import linear_sum_assignment

from bracedtop.fem.box_matrices import box_matrices
from bracedtop.fem.box_modes import BoxModes, solve_box
from bracedtop.fem.box_parts import PARTS, BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.closed_target import ClosedNote
from bracedtop.fem.mac import follow, mac
from bracedtop.fem.numbering import LEAST_SHARE, NEVER
from bracedtop.fem.prior import BIAS_SD
from bracedtop.geometry.errors import DesignError

Hole = Literal["open", "blocked"]
HOLES: tuple[Hole, ...] = ("open", "blocked")

N_MODES = 14
"""Modes that are followed in each state of the hole; chosen: to about 500 Hz."""

EXTRA = 4
"""Modes beyond these among which they are looked for."""


@dataclass(frozen=True, slots=True)
class Closed:
    """A closed box in both states of its hole.

    Parameters
    ----------
    model : BoxModel
    opened, blocked : BoxModes
        From whose modes all others are followed: as drawn, or as calibrated.
    M : (2, N, N) array
        Mass matrices of the two.
    air, top, top_blocked : int
        Which of these modes are the three notes, from 0.
    """

    model: BoxModel
    opened: BoxModes
    blocked: BoxModes
    M: np.ndarray
    air: int
    top: int
    top_blocked: int

    def reference(self, hole: Hole) -> BoxModes:
        """The modes from which others are followed."""
        return self.opened if hole == "open" else self.blocked

    @property
    def n_modes(self) -> int:
        """How many modes are followed in each state."""
        return len(self.opened.frequencies)

    def place(self, note: ClosedNote) -> tuple[Hole, int]:
        """In which state of the hole a note is heard, and which mode it is."""
        if note == "top blocked":
            return "blocked", self.top_blocked
        return "open", self.air if note == "air" else self.top


def closed_modes(model: BoxModel, values: BoxValues | None = None, n_modes: int = N_MODES) -> Closed:
    """Both states of a box as drawn, or with other values, and its three notes.

    Raises
    ------
    DesignError
        If the top has no hole, whose air could sound.
    AccuracyError
        If the modes cannot be solved for.
    """
    if not len(model.air.hole_area):
        message = "box: no hole; the air's note and the blocked top need one"
        raise DesignError(message)
    values = values or BoxValues()
    both = [replace(values, hole_blocked=hole == "blocked") for hole in HOLES]
    opened, blocked = (solve_box(model, one, n_modes=n_modes) for one in both)
    air = int(opened.kinetic[:, PARTS.index("hole")].argmax())
    pumped = _pumped(model, opened)
    pumped[air] = 0.0
    return Closed(
        model,
        opened,
        blocked,
        np.array([box_matrices(model, one).M for one in both]),
        air,
        int(pumped.argmax()),
        int(_pumped(model, blocked).argmax()),
    )


def followed(closed: Closed, values: BoxValues, hole: Hole, wanted: np.ndarray | None = None) -> BoxModes:
    """Modes with other values, in the order of the reference's, from which they grew.

    Parameters
    ----------
    closed : Closed
    values : BoxValues
    hole : {"open", "blocked"}
    wanted : (m,) array, optional
        Logarithms of the frequencies that tapped modes should have, nan for the others: where two modes have mixed,
        each takes the number with which it fits them (as in fem/numbering).

    Raises
    ------
    AccuracyError
        If the modes cannot be solved for.
    """
    found = solve_box(closed.model, replace(values, hole_blocked=hole == "blocked"), n_modes=closed.n_modes + EXTRA)
    alike = mac(closed.reference(hole).vectors.T, found.vectors.T, closed.M[HOLES.index(hole)])
    if wanted is None:
        return chosen(found, follow(alike))
    apart = np.nan_to_num(((np.log(found.frequencies) - wanted[:, None]) / BIAS_SD) ** 2)
    share = np.maximum(alike - LEAST_SHARE, 0.0) / (1 - LEAST_SHARE)
    unlike = np.where(share > 0, -4.0 * np.log(np.where(share > 0, share, 1.0)) + apart, NEVER * (2.0 - alike))
    _, order = linear_sum_assignment(unlike)
    return chosen(found, order.tolist())


def moved_reference(closed: Closed, values: BoxValues, wanted: Mapping[Hole, np.ndarray] | None = None) -> Closed:
    """The same box, its modes followed from these values on; `wanted` as for `followed`."""
    both: dict[Hole, BoxModes] = {
        hole: followed(closed, values, hole, None if wanted is None else wanted[hole]) for hole in HOLES
    }
    M = [box_matrices(closed.model, modes.values).M for modes in both.values()]
    return replace(closed, opened=both["open"], blocked=both["blocked"], M=np.array(M))


def chosen(modes: BoxModes, order: Sequence[int]) -> BoxModes:
    """Some of the modes, in this order."""
    at = np.asarray(order, dtype=int)
    return replace(
        modes,
        frequencies=modes.frequencies[at],
        vectors=modes.vectors[at],
        kinetic=modes.kinetic[at],
        potential=modes.potential[at],
        loss=modes.loss[at],
        air_loss=modes.air_loss[at],
        radiation_loss=modes.radiation_loss[at],
    )


def note_frequencies(closed: Closed, opened: BoxModes, blocked: BoxModes) -> dict[str, float]:
    """The three notes in Hz, of modes that were followed."""
    return {
        "air": float(opened.frequencies[closed.air]),
        "top": float(opened.frequencies[closed.top]),
        "top blocked": float(blocked.frequencies[closed.top_blocked]),
    }


def _pumped(model: BoxModel, modes: BoxModes) -> np.ndarray:
    """Volume that the top pushes out under a steady pressure through each mode, up to a factor, (n,)."""
    return np.asarray((modes.vectors[:, model.parts["top"]] @ model.at_top[:, 0] / modes.frequencies) ** 2)
