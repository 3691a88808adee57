"""Loss of a cavity's modes in the boundary layer at its walls.

Depends on fem/air_field, fem/gas.

References
----------
A. D. Pierce, Acoustics (1981), ch. 10 (RECALLED; follows from the layer's impedance): with the depths of the viscous and
thermal layers delta_v = sqrt(2 nu / omega), delta_t = delta_v / sqrt(Pr), a wall takes per area and cycle
omega / 2 (density delta_v u^2 + (gamma - 1) delta_t p^2 / (density speed^2)) / 2.
E. V. Jansson, An investigation of acoustical properties of the air cavity of the violin, STL-QPSR 14, 1 (1973) 1-13
(abstract seen): measured losses of a cavity's higher modes are about three times those of the layer.
"""

import numpy as np
from skfem import Basis, BilinearForm, FacetBasis
from skfem.helpers import dot, grad

from bracedtop.fem.air_field import Field
from bracedtop.fem.gas import Gas
from bracedtop.geometry.outline import Array

EXCESS = 3.0
"""Measured losses over those of the boundary layer at a smooth wall (Jansson 1973)."""

FLOOR_HZ = 100.0
"""The uniform pressure has no frequency of its own: its loss is taken where boxes have their hole resonance, Hz."""


def wall_loss(field: Field, p: Array, frequencies: Array, gas: Gas) -> Array:
    """Loss factors of modes, (m,).

    Parameters
    ----------
    field : Field
    p : (n_plan, n_heights, m) array, Pa
        Unit compliance.
    frequencies : (m,) array, Hz
    gas : Gas
    """
    omega = 2 * np.pi * np.maximum(frequencies, FLOOR_HZ)
    viscous = np.sqrt(2 * gas.viscosity / (gas.density * omega))
    thermal = viscous / np.sqrt(gas.prandtl)
    squares, slopes = _over_walls(field, p)
    pressed = (gas.heat_ratio - 1) * thermal * squares / (gas.density * gas.speed**2)
    rubbed = viscous * slopes / (gas.density * omega**2)
    return np.asarray(EXCESS * (pressed + rubbed) / 2)


def _over_walls(field: Field, p: Array) -> tuple[Array, Array]:
    """Integrals over the walls of p^2 and of the square of its slope along them, both (m,)."""
    basis, heights = field.space.basis, field.heights
    area, bend = _product.assemble(basis), _slopes.assemble(basis)
    rim = FacetBasis(basis.mesh, basis.elem, facets="rim", intorder=2 * field.space.order)
    depth = rim.interpolate(field.depth) if isinstance(basis, Basis) else None
    side, along = (form.assemble(rim, d=depth) for form in (_side, _along))
    upright = _upright.assemble(rim, d=depth)
    faces = (p[:, 0], p[:, -1])
    q = np.einsum("ab,ibm->iam", heights.M, p, optimize=True)
    r = np.einsum("ab,ibm->iam", heights.K[0], p, optimize=True)
    flat = p.reshape(len(p), -1)
    squares = sum((f * (area @ f)).sum(axis=0) for f in faces)
    slopes = sum((f * (bend @ f)).sum(axis=0) for f in faces)
    squares = squares + (q * (side @ flat).reshape(p.shape)).sum(axis=(0, 1))
    slopes = slopes + (q * (along @ flat).reshape(p.shape)).sum(axis=(0, 1))
    slopes = slopes + (r * (upright @ flat).reshape(p.shape)).sum(axis=(0, 1))
    return np.asarray(squares), np.asarray(slopes)


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
