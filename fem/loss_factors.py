"""Loss factors of a wood: the part of the energy of strain that a cycle turns into heat, over 2 pi.

Depends on fem/board_losses for the usual values.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.board_losses import USUAL
from bracedtop.geometry.errors import DesignError


@dataclass(frozen=True, slots=True)
class LossFactors:
    """Loss factors of an orthotropic wood, 1 / Q of each kind of strain alone.

    Parameters
    ----------
    along, across, shear : float
        Of stretching along the grain (E_L), of stretching across it (E_R, E_T, G_RT), and of shear along it (G_LR,
        G_LT). Independent of frequency.

    Raises
    ------
    DesignError
        If one is negative or not below 1.
    """

    along: float = USUAL["along"]
    across: float = USUAL["across"]
    shear: float = USUAL["shear"]

    def __post_init__(self) -> None:
        """Check the values once."""
        for key in ("along", "across", "shear"):
            value = getattr(self, key)
            if not (np.isfinite(value) and 0 <= value < 1):
                message = f"loss {key} {value:g}; must be from 0 to below 1"
                raise DesignError(message)
