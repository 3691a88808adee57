"""A face's own wood, its ring and its film in a small basis: exact polynomials in thickness and moduli.

Depends on fem/face_loss, fem/reduced_sample, fem/reduced_top.

The wood of each region lies on the inside face, its terms are powers of its thickness (where that varies from place to
place, of its change). A film on its outside is the difference of two such layers, and the mass of a thin film is their
derivative.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from bracedtop.fem.face_loss import STEP, lossy_wood
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.model import Model
from bracedtop.fem.reduced_sample import motion_rows, seen, strain_rows
from bracedtop.fem.reduced_top import CONSTANTS, WoodStiffness, top_terms
from bracedtop.geometry.thickness import thickness_at

_NONE = 1e-12
"""Part of the largest stiffness below which one counts as zero."""

_SAME = 1e-9
"""Range of thickness within which it counts as even, m."""


def packed(matrices: np.ndarray) -> np.ndarray:
    """Upper triangles (n, r (r + 1) / 2) of symmetric matrices (n, r, r)."""
    rows, columns = np.triu_indices(matrices.shape[-1])
    return np.ascontiguousarray(matrices[..., rows, columns])


def unpacked(upper: np.ndarray, size: int) -> np.ndarray:
    """Symmetric matrices (n, r, r) from their upper triangles."""
    return np.asarray(np.take(upper, _places(size), axis=-1))


@cache
def _places(size: int) -> np.ndarray:
    """Where each entry of a matrix is in its upper triangle, (r, r)."""
    rows, columns = np.triu_indices(size)
    out = np.empty((size, size), dtype=np.intp)
    out[rows, columns] = out[columns, rows] = np.arange(len(rows))
    out.setflags(write=False)
    return out


@dataclass(frozen=True, slots=True)
class WoodTerms:
    """What a face's own wood and film add in a basis of size r.

    Parameters
    ----------
    stiffness, mass : (n_K, q) and (n_M, q) arrays, q = r (r + 1) / 2
        Upper triangles.
    constant : (n_K,) int array
        Which of the nine stiffnesses multiplies each term.
    power, below : (n_K,) int arrays
        Powers of the factor on thickness, and of the thickness or its change.
    base : (n_K,) array, m
        Thickness to which its change is added.
    ring : (n_K,) bool array
        Whether the term belongs to the ring.
    mass_power, mass_below, mass_base, mass_ring : (n_M,) arrays
        The same of the mass.
    wood, lossy : WoodStiffness
        As drawn, and with moduli raised in proportion to their loss.
    density : float, kg/m^3
    drawn : float, m
        Change of the ring's thickness in the drawing.
    """

    stiffness: np.ndarray
    mass: np.ndarray
    constant: np.ndarray
    power: np.ndarray
    below: np.ndarray
    base: np.ndarray
    ring: np.ndarray
    mass_power: np.ndarray
    mass_below: np.ndarray
    mass_base: np.ndarray
    mass_ring: np.ndarray
    wood: WoodStiffness
    lossy: WoodStiffness
    density: float
    drawn: float

    def moduli(self, factors: Mapping[str, float]) -> tuple[np.ndarray, np.ndarray]:
        """The nine stiffnesses (9,) in Pa and their lossy parts, for factors on E_L, E_R and G_LR."""
        each = np.array([factors[key] for key in CONSTANTS])
        Q = self.wood(each)[0]
        return Q, (self.lossy(each)[0] - Q) / STEP

    def layer(self, thickness: float, ring: float, added: float = 0.0) -> np.ndarray:
        """What stiffness terms are multiplied by for moduli of 1, (n_K,).

        Parameters
        ----------
        thickness : float
            Factor on the drawn thickness.
        ring : float, m
            Change of the ring's thickness, before that factor.
        added : float, m
            Layer on the outside, after it.
        """
        change = self.base + np.where(self.ring, ring, 0.0) + added / thickness
        return np.asarray(thickness**self.power * _powers(change, self.below))

    def mass_layer(self, thickness: float, ring: float) -> np.ndarray:
        """What mass terms are multiplied by for a density of 1, (n_M,)."""
        change = self.mass_base + np.where(self.mass_ring, ring, 0.0)
        return np.asarray(thickness**self.mass_power * _powers(change, self.mass_below))

    def outside_mass(self, thickness: float, ring: float) -> np.ndarray:
        """The same for a mass per area of 1 on the outside face, (n_M,)."""
        change = self.mass_base + np.where(self.mass_ring, ring, 0.0)
        rate = self.mass_below * _powers(change, np.maximum(self.mass_below - 1, 0))
        return np.asarray(thickness ** (self.mass_power - 1.0) * rate)


def _powers(x: np.ndarray, n: np.ndarray) -> np.ndarray:
    return np.asarray(np.where(n == 0, 1.0, x ** np.maximum(n, 1)))


def wood_terms(model: Model, vectors: np.ndarray, loss: LossFactors) -> WoodTerms:
    """Terms of a face's own wood and film in a basis (n_unknowns, r)."""
    plate = model.design.plate
    wood = model.woods[plate.wood]
    own = WoodStiffness.of_plate(plate, wood)
    Q = own(np.ones(3))[0]
    parts: dict[str, list[np.ndarray]] = {
        key: [] for key in ("K", "c", "p", "b", "h", "r", "M", "mp", "mb", "mh", "mr")
    }
    for group in model.groups:
        if group.part not in ("top", "ring"):
            continue
        weight = np.asarray(group.points.weight)
        xy = model.locator.positions(group.points.element, group.points.local)
        h = thickness_at(plate, xy, model.top.region[group.points.element])
        e = seen(strain_rows(model.space, model.layers, group), vectors, len(h))
        d = seen(motion_rows(model.space, model.layers, group), vectors, len(h))
        is_even = np.ptp(h) < _SAME
        thickness = np.ones_like(h) if is_even else h
        terms = top_terms(e, d, thickness, -plate.thickness / 2, weight, 1.0, is_ring=not is_even)
        base = float(h[0]) if is_even else 0.0
        used = np.abs(Q[terms.constant]) > _NONE * np.abs(Q).max()
        is_ring = group.part == "ring"
        for key, value in (
            ("K", packed(terms.stiffness[used])),
            ("c", terms.constant[used]),
            ("p", terms.power[used]),
            ("b", (terms.power if is_even else terms.ring_power)[used]),
            ("h", np.full(used.sum(), base)),
            ("r", np.full(used.sum(), is_ring)),
            ("M", packed(terms.mass)),
            ("mp", terms.mass_power),
            ("mb", terms.mass_power if is_even else terms.mass_ring_power),
            ("mh", np.full(len(terms.mass), base)),
            ("mr", np.full(len(terms.mass), is_ring)),
        ):
            parts.setdefault(key, []).append(value)
    whole = {key: np.concatenate(value) for key, value in parts.items()}
    return WoodTerms(
        stiffness=whole["K"],
        mass=whole["M"],
        constant=whole["c"],
        power=whole["p"],
        below=whole["b"],
        base=whole["h"],
        ring=whole["r"],
        mass_power=whole["mp"],
        mass_below=whole["mb"],
        mass_base=whole["mh"],
        mass_ring=whole["mr"],
        wood=own,
        lossy=WoodStiffness.of_plate(plate, lossy_wood(wood, loss)),
        density=wood.density,
        drawn=-plate.ring_reduction,
    )
