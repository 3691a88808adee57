"""Loss of a cavity's modes in the boundary layer at its walls.

Depends on fem/air_basis, fem/air_field, fem/gas.

References
----------
A. D. Pierce, Acoustics (1981), ch. 10 (RECALLED): with the depths of the viscous and thermal layers
delta_v = sqrt(2 nu / omega), delta_t = delta_v / sqrt(Pr), a wall takes the power
omega / 4 (density delta_v u^2 + (gamma - 1) delta_t p^2 / (density speed^2)) per area from amplitudes u along it and p.
E. V. Jansson, An investigation of acoustical properties of the air cavity of the violin, STL-QPSR 14, 1 (1973) 1-13
(abstract seen): measured losses of a cavity's higher modes are about three times those of the layer.
"""

import numpy as np
from scipy import sparse
from skfem import BilinearForm, FacetBasis
from skfem.helpers import dot, grad

from bracedtop.fem.air_basis import AirBasis
from bracedtop.fem.air_field import Field, Term
from bracedtop.fem.gas import Gas
from bracedtop.geometry.outline import Array

EXCESS = 3.0
"""Measured losses over those of the boundary layer at a smooth wall (Jansson 1973)."""

FLOOR_HZ = 100.0
"""The uniform pressure has no frequency of its own: its loss is taken where boxes have their hole resonance, Hz."""


def wall_loss(field: Field, basis: AirBasis, modes: Array, frequencies: Array, gas: Gas) -> Array:
    """Loss factors of modes, (m,).

    Parameters
    ----------
    field : Field
    basis : AirBasis
    modes : (n, m) array
        In the basis, of unit compliance.
    frequencies : (m,) array, Hz
    gas : Gas
    """
    omega = 2 * np.pi * np.maximum(frequencies, FLOOR_HZ)
    viscous = np.sqrt(2 * gas.viscosity / (gas.density * omega))
    thermal = viscous / np.sqrt(gas.prandtl)
    squares, slopes = (np.einsum("jm,jm->m", modes, basis.gram(terms) @ modes) for terms in _over_walls(field))
    pressed = (gas.heat_ratio - 1) * thermal * squares / (gas.density * gas.speed**2)
    rubbed = viscous * slopes / (gas.density * omega**2)
    return np.asarray(EXCESS * (pressed + rubbed) / 2)


def _over_walls(field: Field) -> tuple[list[Term], list[Term]]:
    """Integrals over the walls of p^2 and of the square of its slope along them; the holes count as wall."""
    basis, heights = field.space.basis, field.heights
    faces = np.zeros_like(heights.M)
    faces[0, 0] = faces[-1, -1] = 1.0
    rim = FacetBasis(basis.mesh, basis.elem, facets="rim", intorder=2 * field.space.order)
    depth = rim.interpolate(field.depth)
    side, along, upright = (sparse.csr_matrix(form.assemble(rim, d=depth)) for form in (_side, _along, _upright))
    squares = [(sparse.csr_matrix(_product.assemble(basis)), faces), (side, heights.M)]
    slopes = [(sparse.csr_matrix(_slopes.assemble(basis)), faces), (along, heights.M), (upright, heights.K[0])]
    return squares, slopes


# The forms are untyped, since scikit-fem's decorators are: mypy refuses typed functions under these.
@BilinearForm
def _product(u, v, w):  # type: ignore[no-untyped-def]
    return u * v


@BilinearForm
def _slopes(u, v, w):  # type: ignore[no-untyped-def]
    return dot(grad(u), grad(v))


@BilinearForm
def _side(u, v, w):  # type: ignore[no-untyped-def]
    return w["d"] * u * v


@BilinearForm
def _along(u, v, w):  # type: ignore[no-untyped-def]
    t = np.stack([-w.n[1], w.n[0]])
    return w["d"] * dot(grad(u), t) * dot(grad(v), t)


@BilinearForm
def _upright(u, v, w):  # type: ignore[no-untyped-def]
    return u * v / w["d"]
