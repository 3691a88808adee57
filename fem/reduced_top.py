"""The top's own wood in a reduced model: exact polynomials in its thickness, its ring's and its stiffnesses.

Depends on fem/laminate, fem/parameter, fem/wood.

With the inside face at z_i and wood of thickness t on it, the energy of a point is

    t e Q e + t^2 (e Q k) + t^3 / 3 k Q k + 5/6 t g G g,    e = strain of the inside face, k = curvature, g = shear,

where t = s (h - c) for the factor s, the drawn thickness h and the ring's reduction c.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations_with_replacement
from math import comb

import numpy as np

from bracedtop.fem.laminate import SHEAR_CORRECTION, grain_axes, strain_rotation
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Plate

_PLANE, _THROUGH = [0, 1, 5], [4, 3]
CONSTANTS = ("E_L", "E_R", "G_LR")


@dataclass(frozen=True, slots=True)
class WoodStiffness:
    """Stiffness of the top's wood in the plate's axes as a function of factors on E_L, E_R and G_LR.

    Compliances are linear in the factors' inverses.

    Parameters
    ----------
    plane, through : (4, 3, 3) and (4, 2, 2) arrays, 1/Pa
        Compliance in the grain's axes: what goes with each of the three constants, and the rest.
    angle : float, rad
    """

    plane: np.ndarray
    through: np.ndarray
    angle: float

    @classmethod
    def of_plate(cls, plate: Plate, wood: Wood) -> "WoodStiffness":
        """Of a plate's own wood."""
        axes = grain_axes("quarter", plate.ring_angle, plate.runout)
        whole = wood.seen_compliance(axes)
        # Doubling a constant halves what goes with it.
        parts = [
            2 * (whole - replace(wood, **{key: 2 * getattr(wood, key)}).seen_compliance(axes)) for key in CONSTANTS
        ]
        parts.append(whole - sum(parts))
        cut = np.array(parts)
        return cls(cut[:, _PLANE][:, :, _PLANE], cut[:, _THROUGH][:, :, _THROUGH], plate.grain_angle)

    def __call__(self, factors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The nine stiffnesses Q 11, 12, 16, 22, 26, 66, G 44, 45, 55 (9,), Pa, and their derivatives (3, 9)."""
        T, R = strain_rotation(self.angle)
        inverse = np.append(1 / factors, 1.0)
        values, rates = [], []
        for parts, turn in ((self.plane, T), (self.through, R)):
            stiffness = np.linalg.inv(np.tensordot(inverse, parts, 1))
            pairs = tuple(zip(*combinations_with_replacement(range(len(turn)), 2), strict=True))
            values.append((turn.T @ stiffness @ turn)[pairs])
            changes = [stiffness @ part @ stiffness / f**2 for part, f in zip(parts[:3], factors, strict=True)]
            rates.append(np.array([(turn.T @ change @ turn)[pairs] for change in changes]))
        return np.concatenate(values), np.concatenate(rates, axis=1)


@dataclass(frozen=True, slots=True)
class TopTerms:
    """Matrices of a region of the top and what each is multiplied by.

    Parameters
    ----------
    stiffness, mass : (n, r, r) arrays
    constant : (n_K,) int array
        Which of the nine stiffnesses multiplies each.
    power, ring_power : (n_K,) and (n_M,) int arrays, in pairs
        Powers of the factor on the thickness, and of (ring thickness - nominal thickness).
    """

    stiffness: np.ndarray
    constant: np.ndarray
    power: np.ndarray
    ring_power: np.ndarray
    mass: np.ndarray
    mass_power: np.ndarray
    mass_ring_power: np.ndarray


def top_terms(
    e: np.ndarray,
    d: np.ndarray,
    thickness: np.ndarray,
    inside: float,
    weight: np.ndarray,
    density: float,
    *,
    is_ring: bool,
) -> TopTerms:
    """Terms of a region.

    Parameters
    ----------
    e : (n, 9, r) array
        Strains of the basis at its points.
    d : (n, 5, r) array, m and rad
        Motions there.
    thickness : (n,) array, m
        Before a ring is taken off.
    inside : float, m
        Height of the inside face.
    weight : (n,) array, m^2
    density : float, kg/m^3
    is_ring : bool
        Whether the ring's reduction is taken off its thickness.
    """
    face, bend, shear = e[:, :3] + inside * e[:, 3:6], e[:, 3:6], e[:, 6:8]
    K, constant, power, ring_power = [], [], [], []
    pairs = list(combinations_with_replacement(range(3), 2))
    across = list(combinations_with_replacement(range(2), 2))
    for m in (1, 2, 3):
        for j in range(m + 1 if is_ring else 1):
            w = weight * comb(m, j) * thickness ** (m - j)
            for c, (a, b) in enumerate(pairs):
                K.append(_pair((face, bend), m, a, b, w))
                constant.append(c)
                power.append(m)
                ring_power.append(j)
            if m == 1:
                for c, (a, b) in enumerate(across):
                    K.append(SHEAR_CORRECTION * _both(shear[:, a], shear[:, b], w, a == b))
                    constant.append(6 + c)
                    power.append(m)
                    ring_power.append(j)
    M, mass_power, mass_ring_power = [], [], []
    shift = d[:, :3].copy()
    shift[:, :2] += inside * d[:, 3:]
    for m in (1, 2, 3):
        for j in range(m + 1 if is_ring else 1):
            w = density * weight * comb(m, j) * thickness ** (m - j)
            M.append(sum(_pair((shift, d[:, 3:]), m, a, a, w) for a in range(3 if m == 1 else 2)))
            mass_power.append(m)
            mass_ring_power.append(j)
    at = np.array([np.abs(k).max() > 0 for k in K])
    return TopTerms(
        np.array(K)[at],
        np.array(constant)[at],
        np.array(power)[at],
        np.array(ring_power)[at],
        np.array(M),
        np.array(mass_power),
        np.array(mass_ring_power),
    )


def _pair(fields: tuple[np.ndarray, np.ndarray], m: int, a: int, b: int, w: np.ndarray) -> np.ndarray:
    face, bend = fields
    if m == 1:
        return _both(face[:, a], face[:, b], w, a == b)
    if m == 2:
        out = face[:, a].T @ ((w / 2)[:, None] * bend[:, b])
        if a != b:
            out = out + face[:, b].T @ ((w / 2)[:, None] * bend[:, a])
        return np.asarray(out + out.T)
    return _both(bend[:, a], bend[:, b], w / 3, a == b)


def _both(x: np.ndarray, y: np.ndarray, w: np.ndarray, same: bool) -> np.ndarray:
    out = x.T @ (w[:, None] * y)
    return np.asarray(out if same else out + out.T)


@dataclass(frozen=True, slots=True)
class Coefficients:
    """What the terms of a region are multiplied by, (n_K,) and (n_M,), and the rates of that by kind of parameter."""

    K: np.ndarray
    M: np.ndarray
    K_rates: Mapping[str, np.ndarray]
    M_rates: Mapping[str, np.ndarray]


def coefficients(
    terms: TopTerms, stiffness: tuple[np.ndarray, np.ndarray], factors: Mapping[str, float], below: float
) -> Coefficients:
    """What the terms are multiplied by, and how that changes with each parameter.

    Parameters
    ----------
    stiffness : pair of arrays
        As from `WoodStiffness`.
    factors : mapping
        With "thickness" and "density".
    below : float, m
        Ring thickness less nominal thickness.
    """
    Q, dQ = stiffness
    s, density = factors["thickness"], factors["density"]
    own, ring = s**terms.power, _powers(below, terms.ring_power)
    K = Q[terms.constant] * own * ring
    K_rates = {key: dQ[i][terms.constant] * own * ring for i, key in enumerate(CONSTANTS)}
    K_rates["thickness"] = terms.power * K / s
    K_rates["ring"] = Q[terms.constant] * own * _power_rates(below, terms.ring_power)
    M_own, M_ring = s**terms.mass_power, _powers(below, terms.mass_ring_power)
    M = density * M_own * M_ring
    M_rates = {"density": M / density, "thickness": terms.mass_power * M / s}
    M_rates["ring"] = density * M_own * _power_rates(below, terms.mass_ring_power)
    return Coefficients(K, M, K_rates, M_rates)


def _powers(x: float, n: np.ndarray) -> np.ndarray:
    return np.asarray(np.where(n == 0, 1.0, x ** np.maximum(n, 1)))


def _power_rates(x: float, n: np.ndarray) -> np.ndarray:
    return np.asarray(np.where(n == 0, 0.0, n * np.where(n <= 1, 1.0, x ** np.maximum(n - 1, 0))))
