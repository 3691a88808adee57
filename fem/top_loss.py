"""What the woods of a loose top take from each of its modes. Depends on fem/face_loss, fem/loss_factors, fem/model.

Energy that a cycle turns into heat over 2 pi times the greatest elastic energy, phi^T H phi / (phi^T K phi), with the H
of fem/face_loss. What the air, the strings it hangs from or the fingers that hold it take is not in it.
"""

from collections.abc import Mapping

import numpy as np

from bracedtop.fem.face_loss import STEP, lossy_woods
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.model import Model, Modes, build_model


def top_loss(model: Model, modes: Modes, losses: Mapping[str, LossFactors]) -> np.ndarray:
    """Loss factor of each mode by its woods, (n_modes,).

    Parameters
    ----------
    model : Model
    modes : Modes
        Of that model.
    losses : mapping of str to LossFactors
        By the names of woods; those of a wood that is missing are the usual ones.

    Raises
    ------
    DesignError, MeshError
    """
    raised = build_model(model.design, lossy_woods(model.woods, losses), mesh=model.mesh, order=model.space.order)
    heat = (raised.K - model.K) @ modes.vectors.T
    return np.asarray(np.einsum("ni,in->n", modes.vectors, heat) / (STEP * modes.eigenvalues))
