"""How stiffly sides and lining hold the rim of a face. Depends on fem/wood, fem/loss_factors, geometry/box."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.wood import Wood
from bracedtop.geometry.box import Box, Face


@dataclass(frozen=True, slots=True)
class Rim:
    """Springs along the rim of a face, with their loss factors.

    Parameters
    ----------
    deflection, inplane : float, N/m per m of rim
    rotation : float, N m/rad per m of rim
    deflection_loss, rotation_loss, inplane_loss : float
    """

    deflection: float
    rotation: float
    inplane: float
    deflection_loss: float = 0.0
    rotation_loss: float = 0.0
    inplane_loss: float = 0.0

    @property
    def springs(self) -> np.ndarray:
        """Stiffness of deflection, rotation and stretch, (3,)."""
        return np.array([self.deflection, self.rotation, self.inplane])

    @property
    def losses(self) -> np.ndarray:
        """Their loss factors, (3,)."""
        return np.array([self.deflection_loss, self.rotation_loss, self.inplane_loss])


def rim_springs(box: Box, face: Face, woods: Mapping[str, Wood], losses: Mapping[str, LossFactors]) -> Rim:
    """Springs along the rim of a face from the sections and woods of sides and lining."""
    sides, wood = box.sides, woods[box.sides.wood]
    loss = losses.get(sides.wood, LossFactors())
    depth, t = float(np.mean(sides.stations[:, 1])), sides.thickness
    D = wood.E_R * t**3 / 12
    return Rim(wood.E_R * t / depth, 4 * D / depth + wood.G_RT * t**2, D / depth**3 + wood.E_R * t, *3 * (loss.across,))
