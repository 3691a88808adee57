"""Lagrange functions over the relative height 0 to 1 of the air, in layers, and their integrals.

Depends on nothing.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """Functions of the relative height t, 0 at the back and 1 at the top.

    Parameters
    ----------
    nodes : (n,) array
        Rising from 0 to 1.
    M : (n, n) array
        Integral of L_a L_b.
    C : (2, n, n) array
        Integrals of L_a' L_b and of t L_a' L_b.
    K : (3, n, n) array
        Integrals of t^k L_a' L_b'.
    breaks : (m,) array
        Ends of the layers.
    degree : int
    """

    nodes: np.ndarray
    M: np.ndarray
    C: np.ndarray
    K: np.ndarray
    breaks: np.ndarray
    degree: int

    def at(self, t: float) -> np.ndarray:
        """Values of the functions at a height, (n,)."""
        k = int(np.clip(np.searchsorted(self.breaks, t, side="right") - 1, 0, len(self.breaks) - 2))
        low, high = self.breaks[k : k + 2]
        out = np.zeros(len(self.nodes))
        out[k * self.degree : (k + 1) * self.degree + 1] = _local(self.degree, np.array([(t - low) / (high - low)]))[0]
        return out


def layers(breaks: np.ndarray, degree: int) -> Layers:
    """Functions of a degree between given breaks (m,), rising from 0 to 1."""
    n = (len(breaks) - 1) * degree + 1
    nodes, M, C, K = np.zeros(n), np.zeros((n, n)), np.zeros((2, n, n)), np.zeros((3, n, n))
    X, W = np.polynomial.legendre.leggauss(degree + 2)
    X, W = (X + 1) / 2, W / 2
    L, D = _local(degree, X)
    for k, (low, high) in enumerate(pairwise(breaks)):
        own = slice(k * degree, (k + 1) * degree + 1)
        size, t = high - low, low + (high - low) * X
        nodes[own] = low + size * np.linspace(0.0, 1.0, degree + 1)
        M[own, own] += size * (L.T * W) @ L
        for power in range(2):
            C[power, own, own] += (D.T * (W * t**power)) @ L
        for power in range(3):
            K[power, own, own] += (D.T * (W * t**power)) @ D / size
    return Layers(nodes, M, C, K, breaks, degree)


def _local(degree: int, X: np.ndarray) -> np.ndarray:
    """Values and slopes of the Lagrange functions on equal steps of 0 to 1 at points (n,), (2, n, degree + 1)."""
    steps = np.linspace(0.0, 1.0, degree + 1)
    powers = np.arange(degree + 1)
    coefficients = np.linalg.inv(steps[:, None] ** powers)
    slopes = powers * X[:, None] ** np.maximum(powers - 1, 0)
    return np.stack([X[:, None] ** powers @ coefficients, slopes @ coefficients])
