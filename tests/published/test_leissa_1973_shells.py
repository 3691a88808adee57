"""Shallow shells of rectangular plan on shear diaphragms.

A. W. Leissa, Vibration of Shells, NASA SP-288 (1973), shallow shells of rectangular plan (recalled): a mode of m by n
half waves has omega^2 = omega_plate^2 + E / (rho k^4) (ky^2 / Rx + kx^2 / Ry)^2, k^2 = kx^2 + ky^2, if the inertia of
the motion in the plane is left out; on a sphere the second term is E / (rho R^2) for every mode.

With that inertia, shear deformation and an orthotropic wood the same trigonometric fields are exact as well (Navier's
solution; J. N. Reddy, Mechanics of Laminated Composite Plates and Shells, 2004, section 8.3, Donnell's strains); their
five equations are solved here.
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import WOOD, isotropic, plate, rectangle
from scipy import sparse
from scipy.linalg import eigh

from bracedtop.fem.laminate import SHEAR_CORRECTION, lamina
from bracedtop.fem.model import build_model
from bracedtop.fem.modes import eigenpairs
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.dome import Dome

A, B, H = 0.4, 0.32, 3e-3
ALUMINIUM = isotropic(70e9, 0.3, 2700.0)
SPRUCE = handbook_wood("spruce_sitka")
N_MODES = 8


def navier(wood: Wood, along: float, across: float) -> np.ndarray:
    """Lowest frequencies by trigonometric fields with shear and in-plane inertia, (n,) in Hz."""
    Q, G = lamina(wood)
    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6], C[6:, 6:] = H * Q, H**3 / 12 * Q, SHEAR_CORRECTION * H * G
    M = wood.density * np.diag([H, H, H, H**3 / 12, H**3 / 12])
    found = []
    for m in range(1, 8):
        for n in range(1, 8):
            a, b = m * np.pi / A, n * np.pi / B
            strains = np.zeros((8, 5))
            strains[:3, :3] = [[-a, 0, 1 / along], [0, -b, 1 / across], [b, a, 0]]
            strains[3:6, 3:] = [[-a, 0], [0, -b], [b, a]]
            strains[6:, 2:] = [[a, 1, 0], [b, 0, 1]]
            found.append(eigh(strains.T @ C @ strains, M, eigvals_only=True)[0])
    return np.sqrt(np.sort(found)) / (2 * np.pi)


def on_diaphragms(wood: Wood, along: float, across: float) -> np.ndarray:
    """Lowest frequencies of the model with the rim held as Navier's fields are, (n,) in Hz."""
    design = plate(rectangle(A, B), H, "free")
    dome = Dome(along, across, (0.45 * A, 0.6 * B))
    model = build_model(replace(design, plate=replace(design.plate, dome=dome)), {WOOD: wood}, size=0.03)
    x, y = model.space.basis.doflocs
    held = np.zeros((len(x), 5), dtype=bool)
    at_x, at_y = np.isclose(x * (A - x), 0, atol=1e-9), np.isclose(y * (B - y), 0, atol=1e-9)
    held[np.ix_(at_x, [1, 2, 4])] = True
    held[np.ix_(at_y, [0, 2, 3])] = True
    E = sparse.identity(held.size, format="csc")[:, ~held.ravel()]
    K, M = (sparse.csc_matrix(E.T @ X @ E) for X in (model.K, model.M))
    return np.sqrt(eigenpairs(K, M, N_MODES, np.zeros((K.shape[0], 0))).values) / (2 * np.pi)


RADII = [(4.0, 4.0), (np.inf, 3.0), (2.5, np.inf), (9.0, 6.0)]


# 0.05 % of the mesh, and half of the mean square of the slope (0.0012 at most), by which shallow theories differ.
@pytest.mark.parametrize(("along", "across"), RADII, ids=str)
@pytest.mark.parametrize("wood", [ALUMINIUM, SPRUCE], ids=["aluminium", "spruce"])
def test_frequencies_are_naviers(wood, along, across):
    np.testing.assert_allclose(on_diaphragms(wood, along, across), navier(wood, along, across)[:N_MODES], rtol=1.1e-3)


def test_a_sphere_adds_the_same_to_every_mode():
    radius = 4.0
    flat, domed = on_diaphragms(ALUMINIUM, np.inf, np.inf), on_diaphragms(ALUMINIUM, radius, radius)
    added = ALUMINIUM.E_L / (ALUMINIUM.density * radius**2) / (2 * np.pi) ** 2
    # In-plane inertia is left out of the formula: of order 1 / (k R)^2, below 0.05 %.
    np.testing.assert_allclose(domed, np.sqrt(flat**2 + added), rtol=1.1e-3)
