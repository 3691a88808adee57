"""Loss factors of a wood: the part of the energy of strain that a cycle turns into heat, over 2 pi.

Depends on geometry/errors.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.geometry.errors import DesignError

USUAL = {"along": 0.007, "across": 0.020, "shear": 0.020}
"""Loss factors of spruce, also their spread without taps: about 0.006 to 0.008 along the grain, 0.018 to 0.022 across
(recalled: D. W. Haines, Catgut Acoustical Society Newsletter 31 (1979); T. Ono, M. Norimoto, Jpn. J. Appl. Phys. 22
(1983) 611); in shear chosen like across."""


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
