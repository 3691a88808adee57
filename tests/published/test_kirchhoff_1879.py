"""A bar that tapers to nothing, clamped at its thick end.

G. Kirchhoff, Ueber die Transversalschwingungen eines Stabes von veraenderlichem Querschnitt, Monatsber. Akad. Wiss.
Berlin (1879) 815-828 (recalled): a wedge of constant width has omega = 5.315, 15.21, 30.02, ... times
sqrt(E h^2 / (12 rho)) / L^2, from J1(z) I2(z) + I1(z) J2(z) = 0, omega proportional to z^2 / 4; the first three are
computed here and compared with the recalled figures.
"""

import numpy as np
from reference.plates import WOOD, isotropic, rectangle
from scipy.optimize import brentq
from scipy.special import iv, jv

from bracedtop.fem.model import build_model, solve
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.thickness import ThicknessGrid

LENGTH, WIDTH, THICK, TIP = 0.5, 0.03, 6e-3, 6e-7
# Without Poisson's effect a strip is a beam, however wide.
METAL = isotropic(70e9, 0.0, 2700.0)


def factors() -> np.ndarray:
    """The lowest three frequencies in units of sqrt(E h^2 / (12 rho)) / L^2."""

    def equation(z: float) -> float:
        return float(jv(1, z) * iv(2, z) + iv(1, z) * jv(2, z)) * np.exp(-z)

    grid = np.arange(1.0, 14.0, 0.1)
    found = [brentq(equation, a, a + 0.1) for a in grid if equation(a) * equation(a + 0.1) < 0]
    return np.array(found[:3]) ** 2 / 4


def test_recalled_figures_are_the_roots():
    np.testing.assert_allclose(factors(), [5.315, 15.21, 30.02], rtol=4e-4)


def test_wedge_by_a_measured_grid():
    corners = np.array([[0, 0, THICK], [LENGTH, 0, TIP], [LENGTH, WIDTH, TIP], [0, WIDTH, THICK]])
    design = Design(rectangle(LENGTH, WIDTH), Plate(WOOD, THICK, grid=ThicknessGrid(corners)), edge=Edge("clamped"))
    model = build_model(design, {WOOD: METAL}, size=0.03, where=lambda x: x[0] < 1e-6)
    modes = solve(model, 12)
    # Bending out of the plane only: strips also twist and sway.
    w, v = modes.shapes[:, :, 2], modes.shapes[:, :, 1]
    y = model.space.basis.doflocs[1] - WIDTH / 2
    bends = (np.abs(w).max(axis=1) > np.abs(v).max(axis=1)) & (np.abs(w @ y) < 1e-3 * np.abs(w).sum(axis=1) * WIDTH)
    expected = factors() * np.sqrt(METAL.E_L * THICK**2 / (12 * METAL.density)) / LENGTH**2 / (2 * np.pi)
    # The wedge is flat on one side, which costs the square of its slope, 0.0001; shear and the blunt tip, a ten
    # thousandth of the root, cost twice that each.
    np.testing.assert_allclose(modes.frequencies[bends][:3], expected, rtol=1e-3)
