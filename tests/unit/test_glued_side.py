"""Resistance of a brace's glued side against the torsion problem solved with finite elements, and its bed by hand.

The bar's warping psi(n, z) makes (G_ns (psi_n - z)^2 + G_zs (psi_z + n)^2) / 2, integrated over the section, least
(S. Timoshenko, J. N. Goodier, Theory of Elasticity, 3rd ed. (1970), art. 105, 109, for a twist of 1 rad/m about the
middle of the glued side), with psi = n e on that side or with nothing prescribed there. Solved here with biquadratic
elements of scikit-fem, graded towards all sides; doubling them moves no value by 0.02 %.
"""

import numpy as np
import pytest
from skfem import Basis, BilinearForm, ElementQuad2, Functional, LinearForm, MeshQuad, condense, solve

from bracedtop.fem.glued_side import Bed, _pressing, glued_side
from bracedtop.fem.laminate import fibre, lamina
from bracedtop.fem.section import rectangle_torsion
from bracedtop.fem.wood_table import handbook_wood

WIDTH = 7e-3
MODULI = {"alike": (6e8, 6e8), "soft upright": (6e8, 5e7), "soft in the side": (5e7, 6e8)}
TOLERANCE = 2e-3
"""Of the finite elements and of sums cut after twenty terms."""


def graded(low, high, n=31):
    return low + (high - low) * (1 + np.sin(np.linspace(-1, 1, n) * np.pi / 2)) / 2


def energies(height, G_ns, G_zs, shears):
    """Twice the least energy per length for each prescribed shear e; None: nothing is prescribed."""
    basis = Basis(MeshQuad.init_tensor(graded(-WIDTH / 2, WIDTH / 2), graded(0, height)), ElementQuad2())
    A = BilinearForm(lambda u, v, w: G_ns * u.grad[0] * v.grad[0] + G_zs * u.grad[1] * v.grad[1]).assemble(basis)
    f = LinearForm(lambda v, w: G_ns * w.x[1] * v.grad[0] - G_zs * w.x[0] * v.grad[1]).assemble(basis)
    alone = Functional(lambda w: G_ns * w.x[1] ** 2 + G_zs * w.x[0] ** 2).assemble(basis)
    side = basis.get_dofs(lambda x: np.isclose(x[1], 0.0)).all()
    found = []
    for e in shears:
        psi = np.zeros(basis.N)
        if e is not None:
            psi[side] = e * basis.doflocs[0, side]
        psi = solve(*condense(A, f, x=psi, D=side[:1] if e is None else side))
        found.append(psi @ A @ psi - 2 * f @ psi + alone)
    return np.array(found)


@pytest.mark.parametrize("moduli", MODULI)
@pytest.mark.parametrize("aspect", [0.5, 1.0, 2.0])
def test_resistance_and_lever_are_those_of_the_torsion_problem(aspect, moduli):
    height = aspect * WIDTH
    G = MODULI[moduli]
    grip, lever = (float(x[0]) for x in glued_side(WIDTH, np.array([height]), *G))
    shears = np.array([-height, 0.0, 0.5 * height, height])
    exact = energies(height, *G, shears)
    # The energy is a parabola of e: its opening and its lowest point.
    opening, slope, _ = np.polyfit(shears / height, exact, 2)
    assert opening / height**2 == pytest.approx(grip, rel=TOLERANCE)
    assert -slope / (2 * opening) * height == pytest.approx(lever, rel=TOLERANCE)


@pytest.mark.parametrize("moduli", MODULI)
@pytest.mark.parametrize("aspect", [0.5, 1.0, 2.0])
def test_energy_above_the_free_bars(aspect, moduli):
    # The free bar's own side does not stay plane; a plane one costs at least nothing, and up to 2.7 % of its G J.
    height = aspect * WIDTH
    G_ns, G_zs = G = MODULI[moduli]
    scaled = rectangle_torsion(WIDTH * np.sqrt(G_zs), np.array([height * np.sqrt(G_ns)])) / np.sqrt(G_ns * G_zs)
    GJ = float(scaled[0])
    free, *exact = energies(height, *G, [None, 0.0, 0.5 * height, height])
    assert free == pytest.approx(GJ, rel=TOLERANCE)
    grip, lever = (float(x[0]) for x in glued_side(WIDTH, np.array([height]), *G))
    for e, energy in zip((0.0, 0.5 * height, height), exact, strict=True):
        above = energy - (GJ + grip * (e - lever) ** 2)
        assert -TOLERANCE * energy < above < 0.03 * GJ


@pytest.mark.parametrize("G", MODULI.values())
def test_low_brace_is_sheared_as_a_whole(G):
    # A low layer goes with its face, gamma_ns = e - 2 z with the warping n (e - z) of a thin strip: least at e = h.
    low = 1e-3 * WIDTH * np.sqrt(G[1] / G[0])
    grip, lever = glued_side(WIDTH, np.array([low]), *G)
    assert grip[0] == pytest.approx(G[0] * WIDTH * low, rel=0.05)
    assert lever[0] == pytest.approx(low, rel=0.06)


def test_tall_brace_resists_by_its_foot_only():
    tall, _ = glued_side(WIDTH, np.array([5.0, 10.0]) * WIDTH, 6e8, 5e8)
    assert tall[0] == pytest.approx(tall[1], rel=1e-12)
    # Sum over odd k of 1/k^3 is 7 zeta(3) / 8 = 1.0517998.
    assert tall[0] == pytest.approx(8 * WIDTH**2 / np.pi**3 * np.sqrt(6e8 * 5e8) * 1.0517998, rel=1e-3)


def test_bed_along_and_across_the_grain():
    wood = handbook_wood("spruce_sitka")
    plate = lamina(wood)
    along, across = Bed.of_plate(*plate, 0.0), Bed.of_plate(*plate, np.pi / 2)
    # Along the grain the brace's side is sheared in the plane (LR), along itself upright LT, across itself RT.
    assert along.shear == pytest.approx(np.sqrt(wood.G_LR * wood.G_LT), rel=1e-9)
    assert along.shear_through == pytest.approx(wood.G_LT, rel=1e-9)
    assert along.stretch == pytest.approx(np.sqrt(wood.E_R * wood.G_RT), rel=1e-9)
    assert across.shear == pytest.approx(np.sqrt(wood.G_LR * wood.G_RT), rel=1e-9)
    assert across.shear_through == pytest.approx(wood.G_RT, rel=1e-9)
    assert across.stretch == pytest.approx(np.sqrt(wood.E_L * wood.G_LT), rel=1e-9)


def test_pressing_on_a_high_brace_and_on_a_low_one():
    wood = fibre(handbook_wood("spruce_sitka"))
    high = float(_pressing(WIDTH, np.array([1.0]), wood)[0])
    # Cosines of amplitude b^2 / (2 pi^2 j^2) on a half space, each with the stiffness sqrt(E G) 2 pi j / b:
    # b^3 sqrt(E G) / (4 pi^3) times the sum of 1/j^3, zeta(3) = 1.2020569.
    half_space = WIDTH**3 * np.sqrt(wood.E_upright * wood.G_rolling) / (4 * np.pi**3) * 1.2020569
    assert high == pytest.approx(half_space, rel=2e-3)
    # A low brace goes along without being pressed.
    assert float(_pressing(WIDTH, np.array([1e-5]), wood)[0]) < 0.02 * high
