import numpy as np
import pytest

from bracedtop.fem.glued_side import brace_stiffness
from bracedtop.fem.joint_section import crossing_layers, crossing_mass
from bracedtop.fem.laminate import fibre
from bracedtop.fem.section import PEAK_SHARE, brace_mass, rectangle_torsion, section_moments, torsion_stiffness
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace

SPRUCE = Wood("spruce", 11e9, 0.86e9, 0.47e9, 0.70e9, 0.67e9, 0.033e9, 0.372, 0.467, 0.435, 400)
EVEN = Wood("even", 1e9, 1e9, 1e9, 4e8, 4e8, 4e8, 0.25, 0.25, 0.25, 1000)


# S. Timoshenko, J. N. Goodier, Theory of Elasticity, 3rd ed. (1970), art. 109, table of k1 (recalled).
@pytest.mark.parametrize(
    ("ratio", "k1"), [(1.0, 0.1406), (1.5, 0.196), (2.0, 0.229), (3.0, 0.263), (5.0, 0.291), (10.0, 0.312)]
)
def test_torsion_of_a_rectangle(ratio, k1):
    b = 7e-3
    J = rectangle_torsion(b, np.array([ratio * b]))[0]
    assert pytest.approx(k1 * b**4 * ratio, rel=3e-3) == J


def test_torsion_does_not_care_which_side_is_called_width():
    a = rectangle_torsion(7e-3, np.array([15e-3]))[0]
    b = rectangle_torsion(15e-3, np.array([7e-3]))[0]
    assert a == pytest.approx(b, rel=1e-6)


def test_thin_orthotropic_strip_twists_by_its_in_plane_shear_modulus():
    # A strip much taller than wide resists with the modulus of its tall faces, L-R, as b^3 h G / 3.
    GJ = torsion_stiffness("square", 1e-3, np.array([100e-3]), fibre(SPRUCE))[0]
    assert pytest.approx(SPRUCE.G_LR * 1e-9 * 100e-3 / 3, rel=0.01) == GJ


def test_rectangle_moments_about_the_midplane():
    # Worked by hand for a 7 x 15 mm brace under a 2.8 mm top: I = 10.3e-9 m^4 about the plate's
    # midplane, 2.0e-9 about its own axis.
    A, S, I = section_moments("square", 7e-3, np.array([15e-3]), np.array([1.4e-3]))[0]
    assert pytest.approx(7e-3 * 15e-3) == A
    assert pytest.approx(-A * 8.9e-3) == S
    assert pytest.approx(10.3e-9, rel=0.01) == I
    assert pytest.approx(7e-3 * 15e-3**3 / 12) == I - S**2 / A


def test_rounded_and_peaked_areas_are_those_of_their_figures():
    b, h = 8e-3, 15e-3
    offset = np.zeros(1)
    rounded = section_moments("rounded", b, np.array([h]), offset)[0, 0]
    assert rounded == pytest.approx(b * (h - b / 2) + np.pi / 2 * (b / 2) ** 2, rel=1e-4)
    peaked = section_moments("peaked", b, np.array([h]), offset)[0, 0]
    assert peaked == pytest.approx(b * h * (1 - PEAK_SHARE / 2), rel=1e-12)


@pytest.mark.parametrize("shape", ["square", "rounded", "peaked"])
@pytest.mark.parametrize("height", [0.0, 1e-4, 2e-3, 15e-3])
def test_brace_never_gives_out_energy(shape, height):
    C = brace_stiffness(shape, 7e-3, np.array([height]), np.array([1.4e-3]), fibre(SPRUCE), 0.6)[0]
    scale = np.diag([1, 1, 1, 1e3, 1e3, 1e3, 1, 1, 1e3])
    values = np.linalg.eigvalsh(scale @ C @ scale)
    assert values.min() > -1e-9 * max(values.max(), 1.0)


def test_complex_step_is_the_derivative():
    h, offset = 9e-3, np.array([1.4e-3])
    exact = brace_stiffness("rounded", 7e-3, np.array([h + 1e-20j]), offset, fibre(SPRUCE), 0.3)[0].imag / 1e-20
    up, down = (
        brace_stiffness("rounded", 7e-3, np.array([h + d]), offset, fibre(SPRUCE), 0.3)[0] for d in (1e-7, -1e-7)
    )
    np.testing.assert_allclose(exact, (up - down) / 2e-7, rtol=1e-6, atol=1e-6 * np.abs(exact).max())


def test_mass_is_density_times_section():
    m = brace_mass("square", 7e-3, np.array([15e-3]), np.array([1.4e-3]), 400)[0]
    assert m[0] == pytest.approx(400 * 15e-3)
    assert m[1] == pytest.approx(-400 * 15e-3 * 8.9e-3)


def test_layers_of_a_crossing():
    under, over = np.array([15e-3]), np.array([14e-3])
    half = [float(v[0]) for v in crossing_layers(under, over, 7e-3)]
    assert half == [7e-3, 7e-3, 14e-3]
    whole = [float(v[0]) for v in crossing_layers(under, over, 15e-3)]
    assert whole == [15e-3, 14e-3, 14e-3]
    bridged = [float(v[0]) for v in crossing_layers(over, under, 14.5e-3)]
    assert bridged == [14e-3, 14e-3, 15e-3]


@pytest.mark.parametrize("shape", ["square", "rounded", "peaked"])
def test_a_block_of_one_brace_weighs_as_much_as_the_brace(shape):
    h, offset = np.array([12e-3]), np.array([1.4e-3])
    brace = Brace("b", "spruce", np.array([[0.0, 0.0], [0.1, 0.0]]), 7e-3, np.array([[0, 12e-3], [0.1, 12e-3]]), shape)
    whole = crossing_mass((brace, brace), h, h, 12e-3, offset, (400.0, 400.0))
    lap = crossing_mass((brace, brace), h, h, 6e-3, offset, (400.0, 400.0))
    alone = brace_mass(shape, 7e-3, h, offset, 400.0)
    np.testing.assert_allclose(whole, alone, rtol=1e-3)
    np.testing.assert_allclose(lap, alone, rtol=1e-3)
