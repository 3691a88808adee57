"""Order of convergence on the simply supported square, whose shear-deformable solution is exact.

Expected: an eigenvalue of polynomials of degree p converges like size^(2p) (G. Strang, G. J. Fix, An Analysis of the
Finite Element Method (1973), section 6.3). The window is wide because an unstructured mesh does not halve exactly and
because shear locking, fading with refinement, adds to the slope of low orders.
"""

import numpy as np
import pytest
from reference.plates import WOOD, isotropic, plate, rectangle

from bracedtop.fem.model import build_model, solve

METAL = isotropic(70e9, 0.3, 2700.0)
A, H = 0.5, 10e-3

SIZES = {2: (A / 12, A / 24), 3: (A / 10, A / 20), 4: (A / 5, A / 10)}
"""Pairs for which neither locking (coarse) nor rounding (fine) hides the order."""


def exact() -> np.ndarray:
    """Six lowest frequencies, Hz, by Navier's series with shear and rotary inertia (Mindlin, J. Appl. Mech. 1951)."""
    D = METAL.E_L * H**3 / (12 * (1 - METAL.nu_LR**2))
    S, m, j = 5 / 6 * METAL.G_LR * H, METAL.density * H, METAL.density * H**3 / 12
    lowest = []
    for r in sorted(m**2 + n**2 for m in range(1, 6) for n in range(1, 6))[:6]:
        k2 = r * (np.pi / A) ** 2
        # m j lam^2 - (m (D k^2 + S) + j S k^2) lam + D S k^4 = 0
        b = m * (D * k2 + S) + j * S * k2
        lowest.append((b - np.sqrt(b**2 - 4 * m * j * D * S * k2**2)) / (2 * m * j))
    return np.sqrt(np.array(lowest)) / (2 * np.pi)


@pytest.mark.parametrize("order", SIZES)
def test_order_of_convergence(order: int) -> None:
    sizes, errors = [], []
    for size in SIZES[order]:
        model = build_model(plate(rectangle(A, A), H, "hinged"), {WOOD: METAL}, size=size, order=order)
        sizes.append(A / np.sqrt(model.mesh.flat.t.shape[1]))
        errors.append((solve(model, 6).frequencies / exact() - 1).mean())
    assert errors[0] > errors[1] > 0
    slope = np.log(errors[0] / errors[1]) / np.log(sizes[0] / sizes[1])
    assert 2 * order - 1.2 < slope < 2 * order + 1.5
