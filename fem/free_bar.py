"""A stick free at both ends: bending with shear, and torsion.

Depends on fem/laminate, fem/section.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.linalg import eigh

from bracedtop.fem.laminate import SHEAR_CORRECTION
from bracedtop.fem.section import rectangle_torsion

PARAMETERS = ("E_L", "G_LR", "G_LT", "length", "width", "height", "mass")
"""What a stick's frequencies depend on."""

DEGREE = 17
"""Of the polynomials along the stick; six modes are then exact to 1e-8."""


@dataclass(frozen=True, slots=True)
class BarMode:
    """A free stick's mode: it bends in the direction of its height or of its width, or twists, with so many nodes."""

    motion: Literal["height", "width", "twist"]
    nodes: int


def bending_frequencies(length: float, EI: float, GA: float, mass: float, turn: float, n_modes: int) -> np.ndarray:
    """Bending modes of an even Timoshenko beam free at both ends, lowest first, (n_modes,) in Hz.

    Parameters
    ----------
    length : float, m
    EI, GA : float, N m^2 and N
        Bending stiffness, and shear stiffness with its shear factor.
    mass, turn : float, kg/m and kg m
        Mass and rotary inertia per length.
    n_modes : int

    References
    ----------
    S. P. Timoshenko, Philosophical Magazine 41 (1921) 744-746. Solved by Ritz with Legendre polynomials, which
    converges to the exact solution faster than any power.
    """
    n = DEGREE + 1
    x, weight = np.polynomial.legendre.leggauss(n)
    P = np.polynomial.legendre.legvander(x, DEGREE)
    legendre = np.polynomial.legendre
    D = legendre.legval(x, legendre.legder(np.eye(n))).T * (2 / length)
    weight = weight * length / 2
    zero = np.zeros_like(P)
    curvature, slip = np.hstack([zero, D]), np.hstack([D, P])
    K = (curvature.T * (EI * weight)) @ curvature + (slip.T * (GA * weight)) @ slip
    w, psi = np.hstack([P, zero]), np.hstack([zero, P])
    M = (w.T * (mass * weight)) @ w + (psi.T * (turn * weight)) @ psi
    values = eigh(K, M, eigvals_only=True, subset_by_index=[2, 1 + n_modes])
    return np.asarray(np.sqrt(np.maximum(values, 0.0)) / (2 * np.pi))


def torsion_frequency(length: float, GJ: float, turn: float, n_nodes: int) -> float:
    """Torsional mode of an even bar free at both ends, Hz; `turn` is its polar inertia per length, kg m."""
    return float(n_nodes / (2 * length) * np.sqrt(GJ / turn))


def stick_frequency(values: np.ndarray, mode: BarMode) -> float:
    """Frequency of a stick's mode in Hz, `values` (7,) in the order of `PARAMETERS`.

    The stick is quarter-sawn on edge: R along its height, T along its width.

    References
    ----------
    S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1963), art. 29: each side scaled by the root of
    its shear modulus makes the orthotropic torsion problem an isotropic one.
    """
    E_L, G_LR, G_LT, length, width, height, mass = (float(v) for v in values)
    line = mass / length
    if mode.motion == "twist":
        scaled = rectangle_torsion(np.array([width * G_LR**0.5]), np.array([height * G_LT**0.5]))
        GJ = float(scaled[0]) / (G_LT * G_LR) ** 0.5
        return torsion_frequency(length, GJ, line * (width**2 + height**2) / 12, mode.nodes)
    depth, G = (height, G_LR) if mode.motion == "height" else (width, G_LT)
    A, second = width * height, width * height * depth**2 / 12
    turn = line * depth**2 / 12
    found = bending_frequencies(length, E_L * second, SHEAR_CORRECTION * G * A, line, turn, mode.nodes - 1)
    return float(found[mode.nodes - 2])


def stick_slopes(values: np.ndarray, mode: BarMode) -> np.ndarray:
    """Slopes d ln f / d ln p by every parameter, (7,), by central differences."""
    step = 1e-4
    slopes = np.empty(len(PARAMETERS))
    for k in range(len(PARAMETERS)):
        pair = []
        for sign in (1, -1):
            moved = np.array(values, dtype=float)
            moved[k] *= np.exp(sign * step)
            pair.append(stick_frequency(moved, mode))
        slopes[k] = np.log(pair[0] / pair[1]) / (2 * step)
    return slopes
