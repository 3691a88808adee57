"""Stiffness and mass of the pressure field in a cavity, as sums of products of plan and height.

Depends on fem/cavity, fem/cavity_parts, fem/layers, fem/plate.

The pressure is a sum of N_i(x, y) L_a(t) with z = b + t d, b the height of the back's inside face and d the depth. Then

    grad p = (grad N L - N L' (grad b + t grad d) / d,  N L' / d),    dV = d dt dx dy,

and every integral over the cavity is a sum of an integral over the plan times one over t. The large matrices are never
made: a plan of 1000 nodes and 10 heights behaves like ten membranes. Where the depth does not change, the eigenvectors
of the heights' own problem take the whole apart into one plan problem each; elsewhere that is all but an inverse, and a
few conjugate gradients close the gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse
from scipy.sparse.linalg import LinearOperator, cg
from skfem import BilinearForm, LinearForm
from skfem.helpers import dot, grad

from bracedtop.fem.cavity import CavityMesh
from bracedtop.fem.cavity_parts import wooden_parts
from bracedtop.fem.layers import Layers
from bracedtop.fem.modes import factorised
from bracedtop.fem.plate import Space, plate_space
from bracedtop.geometry.errors import AccuracyError, DesignError

TOLERANCE = 1e-9
"""Relative residual at which conjugate gradients stop; chosen: far below the mesh's own error."""

Term = tuple[sparse.csr_matrix, np.ndarray]


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """The space of pressures in a cavity and its matrices.

    A pressure is an array (n_plan, n_heights) of values at nodes; several have a last axis.

    Parameters
    ----------
    cavity : CavityMesh
    space : Space
        Of the plan.
    heights : Layers
    depth : (n_plan,) array, m
        Of the air at the nodes, less the wooden parts.
    plan_K, plan_M : (n_plan, n_plan) sparse
        Integrals of d grad N grad N and d N N.
    plan_K_height : (n_plan, n_plan) sparse
        Integral of N N / d.
    slope : tuple of (sparse, (n, n) array)
        What the slopes of the faces add to the stiffness.
    mouths : (n_plan, n_holes) array, m^2
        Integrals of N over the holes.
    area : float, m^2
        Of the plan.
    volume : float, m^3
    """

    cavity: CavityMesh
    space: Space
    heights: Layers
    depth: np.ndarray
    plan_K: sparse.csr_matrix
    plan_M: sparse.csr_matrix
    plan_K_height: sparse.csr_matrix
    slope: tuple[Term, ...]
    mouths: np.ndarray
    area: float
    volume: float

    @property
    def shape(self) -> tuple[int, int]:
        """Numbers of plan nodes and heights."""
        return self.plan_M.shape[0], len(self.heights.nodes)

    @property
    def mass(self) -> tuple[Term, ...]:
        """Integral of N L N L over the air."""
        return ((self.plan_M, self.heights.M),)

    @property
    def stiffness(self) -> tuple[Term, ...]:
        """Integral of grad (N L) . grad (N L) over the air."""
        return ((self.plan_K, self.heights.M), (self.plan_K_height, self.heights.K[0]), *self.slope)

    def solve(self, load: np.ndarray, shift: float) -> np.ndarray:
        """Pressure for which stiffness plus `shift` times mass equals a load (n_plan, n_heights).

        Raises
        ------
        AccuracyError
            If the iteration does not converge.
        """
        mu, V = linalg.eigh(self.heights.K[0], self.heights.M)
        near = self.plan_K + shift * self.plan_M
        factors = [factorised(sparse.csc_matrix(near + m * self.plan_K_height)) for m in mu]

        def apart(flat: np.ndarray) -> np.ndarray:
            q = flat.reshape(self.shape) @ V
            return np.asarray(np.column_stack([f.solve(q[:, k]) for k, f in enumerate(factors)]) @ V.T).ravel()

        def whole(flat: np.ndarray) -> np.ndarray:
            p = flat.reshape(self.shape)
            return (applied(self.stiffness, p) + shift * applied(self.mass, p)).ravel()

        size = load.size
        A, P = (LinearOperator((size, size), f, dtype=float) for f in (whole, apart))
        found, info = cg(A, load.ravel(), rtol=TOLERANCE, M=P, maxiter=200)
        if info != 0:
            message = "the pressure in front of a hole did not converge; the depth of the air changes too steeply"
            raise AccuracyError(message)
        return np.asarray(found).reshape(self.shape)


def pressure_field(cavity: CavityMesh, heights: Layers, order: int) -> Field:
    """The matrices of a cavity with Lagrange triangles of an order and given heights."""
    space = plate_space(cavity.plan, order)
    basis = space.basis
    xy = basis.doflocs.T
    d, b = cavity.faces(xy)
    top, back = wooden_parts(cavity, space)
    d, b = d - top - back, b + back
    worst = int(d.argmin())
    if d[worst] <= 0:
        x, y = 1e3 * xy[worst]
        message = f"braces and linings leave no depth of air at [{x:.1f}, {y:.1f}] mm; it must be > 0"
        raise DesignError(message)
    fields = {"d": basis.interpolate(d), "b": basis.interpolate(b)}
    K, M = _stretch.assemble(basis, **fields), _weigh.assemble(basis, **fields)
    height = sparse.csr_matrix(_across.assemble(basis, **fields))
    mouths = np.zeros((basis.N, len(cavity.holes)))
    for k, elements in enumerate(cavity.holes):
        mouths[:, k] = _area.assemble(basis.with_elements(elements))
    steep = np.abs(np.diff(b)).max() > 0 or np.ptp(d) > 0
    slope = _slope_terms(space, fields, heights) if steep else ()
    K, M = sparse.csr_matrix(K), sparse.csr_matrix(M)
    area = float(_area.assemble(basis).sum())
    return Field(cavity, space, heights, d, K, M, height, slope, mouths, area, float(M.sum()))


def _slope_terms(space: Space, fields: dict[str, object], heights: Layers) -> tuple[Term, ...]:
    basis = space.basis
    along_b, along_d = (sparse.csr_matrix(form.assemble(basis, **fields)) for form in (_along_b, _along_d))
    bb, bd, dd = (sparse.csr_matrix(form.assemble(basis, **fields)) for form in (_bb, _bd, _dd))
    return (
        # rows: the function with L'; the transposed pair makes the sum symmetric
        (-along_b, heights.C[0]),
        (-along_b.T.tocsr(), heights.C[0].T),
        (-along_d, heights.C[1]),
        (-along_d.T.tocsr(), heights.C[1].T),
        (bb, heights.K[0]),
        (bd, heights.K[1]),
        (dd, heights.K[2]),
    )


def applied(terms: Sequence[Term], p: np.ndarray) -> np.ndarray:
    """Sum of plan matrix times p times height matrix."""
    out = np.zeros_like(p)
    for plan, height in terms:
        q = np.einsum("ab,ib...->ia...", height, p, optimize=True)
        out += (plan @ q.reshape(len(q), -1)).reshape(p.shape)
    return out


# The forms are untyped, since scikit-fem's decorators are: mypy refuses typed functions under these.
@BilinearForm
def _stretch(u, v, w):  # type: ignore[no-untyped-def]
    return w["d"] * dot(grad(u), grad(v))


@BilinearForm
def _weigh(u, v, w):  # type: ignore[no-untyped-def]
    return w["d"] * u * v


@BilinearForm
def _across(u, v, w):  # type: ignore[no-untyped-def]
    return u * v / w["d"]


@BilinearForm
def _along_b(u, v, w):  # type: ignore[no-untyped-def]
    return v * dot(grad(w["b"]), grad(u))


@BilinearForm
def _along_d(u, v, w):  # type: ignore[no-untyped-def]
    return v * dot(grad(w["d"]), grad(u))


@BilinearForm
def _bb(u, v, w):  # type: ignore[no-untyped-def]
    return dot(grad(w["b"]), grad(w["b"])) / w["d"] * u * v


@BilinearForm
def _bd(u, v, w):  # type: ignore[no-untyped-def]
    return 2 * dot(grad(w["b"]), grad(w["d"])) / w["d"] * u * v


@BilinearForm
def _dd(u, v, w):  # type: ignore[no-untyped-def]
    return dot(grad(w["d"]), grad(w["d"])) / w["d"] * u * v


@LinearForm
def _area(v, w):  # type: ignore[no-untyped-def]
    return v
