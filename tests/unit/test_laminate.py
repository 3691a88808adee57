import numpy as np
import pytest

from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.wood import Wood

SPRUCE = Wood("spruce", 11e9, 0.86e9, 0.47e9, 0.70e9, 0.67e9, 0.033e9, 0.372, 0.467, 0.435, 400)


def test_lamina_is_the_textbook_plane_stress_matrix():
    # R. M. Jones, Mechanics of Composite Materials (1999), eq. 2.66.
    Q, G = lamina(SPRUCE)
    nu_RL = 0.372 * 0.86 / 11
    below = 1 - 0.372 * nu_RL
    expected = [[11e9 / below, nu_RL * 11e9 / below, 0], [nu_RL * 11e9 / below, 0.86e9 / below, 0], [0, 0, 0.70e9]]
    np.testing.assert_allclose(Q, expected, rtol=1e-12, atol=1.0)
    np.testing.assert_allclose(np.diag(G), [0.67e9, 0.033e9])


def test_on_edge_takes_the_tangential_constants():
    Q, G = lamina(SPRUCE, "on_edge")
    assert Q[2, 2] == pytest.approx(0.67e9)
    assert Q[1, 1] == pytest.approx(0.47e9 / (1 - 0.467**2 * 0.47 / 11))
    np.testing.assert_allclose(np.diag(G), [0.70e9, 0.033e9])


def test_a_quarter_turn_swaps_along_and_across():
    Q, G = lamina(SPRUCE)
    turned, shear = rotated(Q, G, np.pi / 2)
    np.testing.assert_allclose(turned, Q[np.ix_([1, 0, 2], [1, 0, 2])], atol=10.0)
    np.testing.assert_allclose(np.diag(shear), np.diag(G)[::-1])


def test_young_modulus_off_the_grain_follows_the_transformation_equation():
    # Jones (1999), eq. 2.97: 1/E_x of an off-axis layer.
    angle = np.deg2rad(37.0)
    Q, _ = rotated(*lamina(SPRUCE), angle)
    E_x = 1 / np.linalg.inv(Q)[0, 0]
    c, s = np.cos(angle), np.sin(angle)
    expected = 1 / (c**4 / 11e9 + (1 / 0.70e9 - 2 * 0.372 / 11e9) * (s * c) ** 2 + s**4 / 0.86e9)
    assert E_x == pytest.approx(expected, rel=1e-12)


def test_layers_on_top_of_each_other_are_one_thick_layer():
    Q, G = rotated(*lamina(SPRUCE), 0.3)
    z = np.array([-1e-3]), np.array([0.4e-3]), np.array([2e-3])
    parts = layer_stiffness(Q, G, z[0], z[1]) + layer_stiffness(Q, G, z[1], z[2])
    np.testing.assert_allclose(parts, layer_stiffness(Q, G, z[0], z[2]), atol=1e-6)
    np.testing.assert_allclose(
        layer_mass(400, z[0], z[1]) + layer_mass(400, z[1], z[2]), layer_mass(400, z[0], z[2]), atol=1e-12
    )


def test_centred_layer_has_the_classical_bending_stiffness():
    Q, G = lamina(SPRUCE)
    h = 2.8e-3
    C = layer_stiffness(Q, G, np.array([-h / 2]), np.array([h / 2]))[0]
    np.testing.assert_allclose(C[3:6, 3:6], Q * h**3 / 12, rtol=1e-12)
    np.testing.assert_allclose(C[:3, 3:6], 0, atol=1e-6)
    np.testing.assert_allclose(C[6:8, 6:8], 5 / 6 * G * h)
