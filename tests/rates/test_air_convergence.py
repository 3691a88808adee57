"""Order of convergence of the air's modes and of the length inside a hole.

Expected: eigenvalues of polynomials of degree p fall like size^(2p) (G. Strang, G. J. Fix, An Analysis of the Finite
Element Method (1973), section 6.3); here p = 3 in the plan, whose modes of a rectangle are exact, and the heights exact
by the depth being too small to have modes of its own below. The pressure in front of a piston has a kink at its edge;
its energy falls like size^2 whatever the degree.
"""

import numpy as np
import pytest
from reference.air_boxes import cuboid, drum
from scipy.special import j0, j1, jn_zeros

from bracedtop.fem import cavity
from bracedtop.fem.air import build_air
from bracedtop.fem.helmholtz import helmholtz
from bracedtop.geometry.outline import Hole


def test_modes() -> None:
    sides = (0.48, 0.37, 0.02)
    k = np.sort([np.pi * np.hypot(m / sides[0], n / sides[1]) for m in range(6) for n in range(6)])[1:16]
    errors, lengths = [], []
    for size in (0.16, 0.08):
        air = build_air(*cuboid(*sides), size=size)
        lengths.append(1 / np.sqrt(air.cavity.plan.n_triangles))
        errors.append((2 * np.pi * air.frequencies[1:16] / air.speed / k - 1).mean())
    assert errors[0] > errors[1] > 0
    slope = np.log(errors[0] / errors[1]) / np.log(lengths[0] / lengths[1])
    assert 4.8 < slope < 7.5


def test_length_inside_a_hole(monkeypatch: pytest.MonkeyPatch) -> None:
    radius, depth, ratio = 0.2, 0.05, 0.3
    x = jn_zeros(1, 6000)
    terms = 4 / ratio * j1(x * ratio) ** 2 / (x**3 * j0(x) ** 2)
    exact = (terms / np.tanh(x * depth / radius)).sum() + depth / (ratio * radius) * ratio**2 / 3
    errors = []
    for sides in (8, 16):
        monkeypatch.setattr(cavity, "HOLE_SIDES", sides)
        air = build_air(*drum(radius, depth, Hole((0.0, 0.0), (ratio * radius, ratio * radius))), size=1.6 / sides)
        errors.append(1 - helmholtz(air).inside[0] / (ratio * radius) / exact)
    assert errors[0] > errors[1] > 0
    assert errors[1] < 5e-3
