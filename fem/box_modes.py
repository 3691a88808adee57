"""Coupled modes of a closed box: frequencies, who moves, and how soon they die away.

Depends on fem/box_coupling, fem/box_matrices, fem/box_parts, fem/box_values.
"""

from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.box_coupling import lowest, quadratic
from bracedtop.fem.box_matrices import BoxMatrices, box_matrices, hole_friction, loss_matrices
from bracedtop.fem.box_parts import PARTS, BoxModel
from bracedtop.fem.box_values import BoxValues

N_MODES = 24
"""Modes that are solved for if nothing is said; chosen: to about 700 Hz."""


@dataclass(frozen=True, slots=True)
class BoxModes:
    """Modes of a closed box, lowest first.

    Parameters
    ----------
    values : BoxValues
    frequencies : (n,) array, Hz
    vectors : (n, N) array, m
        Of modal mass 1 kg; what is held still is 0. The sign makes the top's driving point move outwards.
    kinetic, potential : (n, 5) arrays
        Shares of the greatest energy of motion and of deformation by `PARTS`, each summing to 1.
    loss : (n,) array
        Loss factor of woods, joints, rims, films and air, and of radiation once that is added.
    air_loss : (n,) array
        What of it is lost in the air inside and at the holes.
    radiation_loss : (n,) array
        What of it is radiated; 0 until it is added.
    residual : float
        Largest relative residual.
    """

    values: BoxValues
    frequencies: np.ndarray
    vectors: np.ndarray
    kinetic: np.ndarray
    potential: np.ndarray
    loss: np.ndarray
    air_loss: np.ndarray
    radiation_loss: np.ndarray
    residual: float

    @property
    def shares(self) -> np.ndarray:
        """Shares of the energy over a cycle by `PARTS`, (n, 5), summing to 1."""
        return np.asarray((self.kinetic + self.potential) / 2)

    @property
    def q(self) -> np.ndarray:
        """Quality factor, (n,)."""
        return np.asarray(1 / self.loss)

    @property
    def t60(self) -> np.ndarray:
        """Time in which a mode falls by 60 dB, s: ln(10^6) / (omega loss), 2.2 / (f loss)."""
        return np.asarray(np.log(1e6) / (2 * np.pi * self.frequencies * self.loss))


def solve_box(model: BoxModel, values: BoxValues | None = None, *, n_modes: int = N_MODES) -> BoxModes:
    """Coupled modes of a box as drawn, or with other values; losses without radiation.

    Raises
    ------
    AccuracyError
        If the eigenvalue problem does not pass its checks.
    """
    values = values or BoxValues()
    m = box_matrices(model, values)
    free = np.ix_(m.free, m.free)
    pairs = lowest(m.K[free], m.M[free], n_modes, m.n_rigid)
    phi = np.zeros((model.size, n_modes))
    phi[m.free] = pairs.vectors
    phi *= _signs(model, phi)
    lam, hz = pairs.values, np.sqrt(pairs.values) / (2 * np.pi)
    kinetic, potential = _energies(model, m, phi)
    friction = hole_friction(model, m.gas, phi, hz)
    P = m.pressures @ phi
    walls = model.air.loss[model.near] @ P**2 / lam
    return BoxModes(
        values,
        hz,
        phi.T,
        kinetic.T,
        (potential / lam).T,
        quadratic(m.H, phi) / lam + friction,
        walls + friction,
        np.zeros(n_modes),
        pairs.residual,
    )


def with_radiation(modes: BoxModes, radiated: np.ndarray) -> BoxModes:
    """The same modes, losing by radiation too.

    Parameters
    ----------
    modes : BoxModes
    radiated : (n,) array
        Loss factors of the modes by radiation; takes the place of what was added before.
    """
    return replace(modes, loss=modes.loss - modes.radiation_loss + radiated, radiation_loss=radiated)


def loss_parts(model: BoxModel, modes: BoxModes) -> dict[str, np.ndarray]:
    """What each mode's loss factor is made of, name to (n,), summing to it.

    "top wood" and "back wood" hold braces, joints and patches; "air" friction at the walls of the cavity and at holes.
    """
    lam = (2 * np.pi * modes.frequencies) ** 2
    parts = {name: quadratic(H, modes.vectors.T) / lam for name, H in loss_matrices(model, modes.values).items()}
    parts["air"] = modes.air_loss
    parts["radiation"] = modes.radiation_loss
    return parts


def _energies(model: BoxModel, m: BoxMatrices, phi: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Twice the greatest energies of motion over omega^2, and of deformation, of each part in each mode, (5, n)."""
    kinetic, potential = np.zeros((2, len(PARTS), phi.shape[1]))
    for k, name in enumerate(PARTS[:-1]):
        at = model.parts[name]
        kinetic[k] = quadratic(m.M_own[at, at], phi[at])
    # What top and holes share outside counts as the top's.
    top, hole = model.parts["top"], model.parts["hole"]
    kinetic[0] += 2 * np.einsum("ik,ik->k", phi[top], m.M_own[top, hole] @ phi[hole])
    for k, name in enumerate(PARTS[:2]):
        if name in m.K_faces:
            potential[k] = quadratic(m.K_faces[name], phi[: len(m.M_own)])
    P = m.pressures @ phi
    potential[-1] = (P**2).sum(axis=0)
    # What the air above the highest of its unknowns adds as a mass moves in the cavity.
    kinetic[-1] = 1 - kinetic.sum(axis=0)
    return kinetic, potential


def _signs(model: BoxModel, phi: np.ndarray) -> np.ndarray:
    """Signs that make the top's driving point move outwards, or what moves most where that stands nearly still."""
    top = model.parts["top"]
    drive = model.drive @ phi[top]
    peak = phi[np.abs(phi).argmax(axis=0), np.arange(phi.shape[1])]
    sign = np.where(np.abs(drive) > 1e-3 * np.abs(peak), np.sign(drive), np.sign(peak))
    return np.where(sign == 0, 1.0, sign)
