"""Loss of a face: the stiffness that its woods' loss factors turn into heat. Depends on fem/loss_factors, fem/wood.

Stiffness is of degree one in the moduli together, so the energy that a cycle turns into heat is, with the complex
moduli c (1 + i eta), H = sum over moduli of eta_j dK / d ln c_j. That is one derivative: towards woods whose moduli are
each raised in proportion to their loss factor.

References
----------
M. E. McIntyre, J. Woodhouse, "On measuring the elastic and damping constants of orthotropic sheet materials", Acta
Metall. 36 (1988) 1397-1416.
"""

from collections.abc import Mapping
from dataclasses import replace

from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.wood import Wood

KINDS = {
    "E_L": "along",
    "E_R": "across",
    "E_T": "across",
    "G_RT": "across",
    "G_LR": "shear",
    "G_LT": "shear",
}
"""Loss factor of each modulus; Poisson's ratios, first index along the grain, are taken as real."""

STEP = 1e-4
"""Step of the derivative, in loss factors; chosen: its error is a part of `STEP` times a loss factor."""


def lossy_wood(wood: Wood, loss: LossFactors) -> Wood:
    """The wood with each modulus raised by `STEP` times its loss factor."""
    return replace(wood, **{key: getattr(wood, key) * (1 + STEP * getattr(loss, kind)) for key, kind in KINDS.items()})


def lossy_woods(woods: Mapping[str, Wood], losses: Mapping[str, LossFactors]) -> dict[str, Wood]:
    """All woods raised so; a wood without loss factors of its own has the usual ones."""
    return {name: lossy_wood(wood, losses.get(name, LossFactors())) for name, wood in woods.items()}
