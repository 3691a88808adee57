"""Elastic constants and density of a wood."""

from dataclasses import dataclass

import numpy as np

from bracedtop.geometry.errors import DesignError

_PAIRS = ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))


@dataclass(frozen=True, slots=True)
class Wood:
    """An orthotropic wood: L along the grain, R across the rings, T along them.

    Parameters
    ----------
    name : str
    E_L, E_R, E_T, G_LR, G_LT, G_RT : float, Pa
    nu_LR, nu_LT, nu_RT : float
        Poisson's ratios, first index the loaded direction; the others follow by reciprocity.
    density : float, kg/m^3
    source : str
        Where the values come from.
    moisture : float
        Moisture content at which the constants hold, mass of water over ovendry mass.
    temperature : float, degrees Celsius
        At which they hold.
    species : str or None
        Built-in wood whose response to moisture it follows (fem/moisture); empty for the average of all; None for a
        material that takes up no water.

    Raises
    ------
    DesignError
        If a modulus or the density is not positive, the moisture content is impossible, or the constants store
        negative energy.
    """

    name: str
    E_L: float
    E_R: float
    E_T: float
    G_LR: float
    G_LT: float
    G_RT: float
    nu_LR: float
    nu_LT: float
    nu_RT: float
    density: float
    source: str = ""
    moisture: float = 0.12
    temperature: float = 20.0
    species: str | None = ""

    def __post_init__(self) -> None:
        """Check that the constants can belong to a solid."""
        for key in ("E_L", "E_R", "E_T", "G_LR", "G_LT", "G_RT", "density"):
            value = getattr(self, key)
            if not (np.isfinite(value) and value > 0):
                message = f'wood "{self.name}": {key} = {value:g}; must be > 0'
                raise DesignError(message)
        if not 0 <= self.moisture <= 0.3:
            message = f'wood "{self.name}": moisture content {100 * self.moisture:g} %; must be from 0 to 30 %'
            raise DesignError(message)
        if not (np.linalg.eigvalsh(self.compliance()[:3, :3] * self.E_L) > 0).all():
            message = (
                f'wood "{self.name}": nu_LR {self.nu_LR:g}, nu_LT {self.nu_LT:g}, nu_RT {self.nu_RT:g} are too large '
                "for its moduli; a squeezed block would give out energy"
            )
            raise DesignError(message)

    def compliance(self) -> np.ndarray:
        """Compliance matrix in the order LL, RR, TT, RT, LT, LR (engineering shear), (6, 6) in 1/Pa."""
        s_LR, s_LT, s_RT = -self.nu_LR / self.E_L, -self.nu_LT / self.E_L, -self.nu_RT / self.E_R
        s = np.diag(1.0 / np.array([self.E_L, self.E_R, self.E_T, self.G_RT, self.G_LT, self.G_LR]))
        s[0, 1] = s[1, 0] = s_LR
        s[0, 2] = s[2, 0] = s_LT
        s[1, 2] = s[2, 1] = s_RT
        return s

    def seen_compliance(self, axes: np.ndarray) -> np.ndarray:
        """Compliance in other axes, (6, 6) in 1/Pa, order 11, 22, 33, 23, 13, 12 (engineering shear).

        Parameters
        ----------
        axes : (3, 3) array
            Columns: the unit vectors of L, R and T in the axes 1, 2, 3.

        References
        ----------
        T. C. T. Ting, Anisotropic Elasticity (1996), eq. 2.5-8: S' = N S N^T, where N turns the engineering strains.
        """
        N = np.zeros((6, 6))
        for row, (i, j) in enumerate(_PAIRS):
            for column, (k, m) in enumerate(_PAIRS):
                # A shear of the wood enters twice, and half of it is the tensor's; so does a shear that is asked for.
                both = axes[i, k] * axes[j, m] + (axes[i, m] * axes[j, k] if k != m else 0.0)
                N[row, column] = both * (1.0 if i == j else 2.0) * (1.0 if k == m else 0.5)
        return np.asarray(N @ self.compliance() @ N.T)
