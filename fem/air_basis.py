"""A small basis of pressures: products of plan modes and powers of the height, and some of their own.

Depends on fem/air_field, fem/modes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from bracedtop.fem.air_field import Field, Term, applied
from bracedtop.fem.modes import eigenpairs

_UNIT = 340.0**2
"""Turns wave numbers squared into frequencies squared, for which `eigenpairs` has its shift and checks."""


@dataclass(frozen=True, slots=True, eq=False)
class AirBasis:
    """Pressures plan_j heights_k, j slow and k fast, then `own`.

    Parameters
    ----------
    plan : (n_plan, j) array
        The first one uniform.
    heights : (n_heights, k) array
        The first one uniform.
    own : (n_plan, n_heights, n_own) array
    """

    plan: np.ndarray
    heights: np.ndarray
    own: np.ndarray

    @property
    def n_products(self) -> int:
        """Number of the products."""
        return int(self.plan.shape[1] * self.heights.shape[1])

    def gram(self, terms: Sequence[Term]) -> np.ndarray:
        """The matrix of a sum of products of plan and height in this basis, (n, n)."""
        n, n_own = self.n_products, self.own.shape[2]
        out = np.zeros((n + n_own, n + n_own))
        for plan, height in terms:
            out[:n, :n] += np.kron(self.plan.T @ (plan @ self.plan), self.heights.T @ height @ self.heights)
        if n_own:
            force = applied(terms, self.own)
            out[:n, n:] = self._projected(force)
            out[n:, n:] = np.einsum("iap,iaq->pq", self.own, force)
            back = applied([(plan.T, height.T) for plan, height in terms], self.own)
            out[n:, :n] = self._projected(back).T
        return out

    def at(self, height: np.ndarray) -> np.ndarray:
        """Values at the plan's nodes, (n_plan, n), where the functions of the height have given values (n_heights,)."""
        products = self.plan[:, :, None] * (height @ self.heights)
        own = np.einsum("a,iap->ip", height, self.own)
        return np.column_stack([products.reshape(len(products), -1), own])

    def joined(self, p: np.ndarray, mass: Sequence[Term]) -> "AirBasis":
        """The basis with one more pressure (n_plan, n_heights), made orthonormal in mass to the others."""
        for _ in range(2):
            force = applied(mass, p[:, :, None])
            along = self.heights @ self._projected(force).reshape(self.plan.shape[1], -1).T
            p = p - self.plan @ along.T - self.own @ np.einsum("iap,iaq->pq", self.own, force)[:, 0]
        p = p / np.sqrt((p * applied(mass, p)).sum())
        return AirBasis(self.plan, self.heights, np.concatenate([self.own, p[:, :, None]], axis=2))

    def _projected(self, force: np.ndarray) -> np.ndarray:
        """Products' parts of forces (n_plan, n_heights, q), (n_products, q)."""
        over = np.einsum("ij,iaq->jaq", self.plan, force, optimize=True)
        return np.asarray(np.einsum("ak,jaq->jkq", self.heights, over).reshape(self.n_products, -1))


def products(field: Field, highest: float, n_powers: int) -> AirBasis:
    """Plan modes up to a wave number (1/m) times powers of the height below `n_powers`, orthonormal in mass."""
    flat = field.cavity.plan.flat
    ends = flat.p[:, flat.facets[:, flat.boundaries["rim"]]]
    length = np.hypot(*(ends[:, 0] - ends[:, 1])).sum()
    # Weyl's law for a membrane with a free edge tells how many plan modes lie below.
    n_modes = int(np.ceil(highest**2 * field.area / (4 * np.pi) + highest * length / (4 * np.pi))) + 2
    uniform = np.ones((len(field.depth), 1))
    K, M = sparse.csc_matrix(_UNIT * field.plan_K), sparse.csc_matrix(field.plan_M)
    found = eigenpairs(K, M, min(n_modes, len(field.depth) // 4), uniform)
    plan = np.column_stack([uniform / np.sqrt(field.plan_M.sum()), found.vectors])
    up = np.polynomial.legendre.legvander(2 * field.heights.nodes - 1, n_powers - 1)
    # Orthonormal from the lowest power on, so that the first stays uniform.
    heights = np.linalg.solve(np.linalg.cholesky(up.T @ field.heights.M @ up), up.T).T
    return AirBasis(plan, heights, np.zeros((*field.shape, 0)))
