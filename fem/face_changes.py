"""What changes of a face's wood, ring, film and load do to its modes. Depends on fem/laminate, fem/reduced_sample.

Forces (dK - lambda dM) phi of modes phi, to whose responses a basis (fem/face_basis) owes that it stays good.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated, stiffness_from_moments
from bracedtop.fem.model import Model
from bracedtop.fem.reduced_sample import mass_form, motion_rows, seen, strain_rows
from bracedtop.fem.reduced_top import CONSTANTS
from bracedtop.fem.sampling import Group
from bracedtop.fem.wood import Wood

STEP = 0.8
"""Factor by which wood and thickness are changed to see what that drives; chosen."""


@dataclass(frozen=True, slots=True)
class Sampled:
    """A region of the face's own wood and the operators to its strains and motions.

    Parameters
    ----------
    group : Group
    strains, motions : sparse
        From all unknowns, as of fem/reduced_sample.
    """

    group: Group
    strains: sparse.csr_matrix
    motions: sparse.csr_matrix

    @property
    def weight(self) -> np.ndarray:
        """Area that each point stands for, (n,) in m^2."""
        return np.asarray(self.group.points.weight)

    def strained(self, vectors: np.ndarray) -> np.ndarray:
        """Strains of vectors, (n, 9, r)."""
        return seen(self.strains, vectors, len(self.weight))

    def moved(self, vectors: np.ndarray) -> np.ndarray:
        """Motions of vectors, (n, 5, r)."""
        return seen(self.motions, vectors, len(self.weight))


def sampled_wood(model: Model) -> tuple[Sampled, ...]:
    """The face's own wood: the middle, and the ring where there is one."""
    return tuple(
        Sampled(g, strain_rows(model.space, model.layers, g), motion_rows(model.space, model.layers, g))
        for g in model.groups
        if g.part in ("top", "ring")
    )


def wood_forces(model: Model, regions: Sequence[Sampled], x: np.ndarray, lam: np.ndarray) -> np.ndarray:
    """Forces (n_unknowns, k) of changed moduli, thickness, ring, density and film in modes (n_unknowns, m)."""
    plate = model.design.plate
    wood = model.woods[plate.wood]

    def stiffness(of: Wood) -> tuple[np.ndarray, np.ndarray]:
        return rotated(*lamina(of, "quarter", plate.ring_angle, plate.runout), plate.grain_angle)

    Q, G = stiffness(wood)
    softer = [
        [
            other - own
            for other, own in zip(stiffness(replace(wood, **{k: STEP * getattr(wood, k)})), (Q, G), strict=True)
        ]
        for k in CONSTANTS
    ]
    found: list[np.ndarray] = []
    thinner, film = [], []
    total = np.zeros((len(CONSTANTS) + 1, *x.shape))
    for region in regions:
        strain, motion = region.strained(x), region.moved(x) * lam
        inside, outside = model.top.faces(region.group.points)
        weight = region.weight[:, None, None]

        def pushed(C: np.ndarray, sample: Sampled = region, e: np.ndarray = strain) -> np.ndarray:
            return np.asarray(sample.strains.T @ np.matmul(C * weight, e).reshape(-1, x.shape[1]))

        def pulled(mass: np.ndarray, sample: Sampled = region, d: np.ndarray = motion) -> np.ndarray:
            return np.asarray(sample.motions.T @ np.matmul(mass_form(mass) * weight, d).reshape(-1, x.shape[1]))

        for k, (dQ, dG) in enumerate(softer):
            total[k] += pushed(layer_stiffness(dQ, dG, inside, outside))
        total[-1] += pulled(region.group.mass)
        lower = inside + STEP * (outside - inside)
        thin = layer_stiffness(Q, G, inside, lower) - region.group.stiffness
        light = layer_mass(wood.density, inside, lower) - region.group.mass
        thinner.append(pushed(thin) - pulled(light))
        moments = np.stack([np.ones_like(outside), outside, outside**2], axis=-1)
        film.append(pushed(stiffness_from_moments(_isotropic(), np.zeros((2, 2)), moments)))
    found = [*total, *thinner, *film]
    return np.column_stack(found)


def _isotropic() -> np.ndarray:
    nu = 0.35
    return np.array([[1.0, nu, 0.0], [nu, 1.0, 0.0], [0.0, 0.0, (1 - nu) / 2]])
