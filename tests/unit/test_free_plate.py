"""The board's plate against the top's model, against published free plates, and its slopes."""

import numpy as np
import pytest

from bracedtop.fem.free_plate import PARAMETERS, FreePlate, PlateMode, bar_shape, free_plate
from bracedtop.fem.laminate import lamina
from bracedtop.fem.wood_table import handbook_wood

MODES = [PlateMode(1, 1), PlateMode(2, 0), PlateMode(0, 2), PlateMode(2, 1), PlateMode(3, 0)]


def values_of(wood, a, b, h):
    return np.array(
        [wood.E_L, wood.E_R, wood.G_LR, wood.nu_LR, wood.G_LT, wood.G_RT, a, b, h, wood.density * a * b * h]
    )


@pytest.fixture(scope="module")
def spruce():
    return values_of(handbook_wood("spruce_sitka"), 0.56, 0.215, 3e-3)


@pytest.fixture(scope="module")
def plate() -> FreePlate:
    return free_plate(0.56, 0.43, 0.045)


@pytest.mark.parametrize("k", range(len(PARAMETERS)))
def test_slopes_against_differences(plate, spruce, k):
    step = 1e-4
    pair = []
    for sign in (1, -1):
        moved = spruce.copy()
        moved[k] = moved[k] + sign * step if PARAMETERS[k] == "nu_LR" else moved[k] * np.exp(sign * step)
        pair.append(np.log(plate.response(moved, MODES).hz))
    slopes = plate.response(spruce, MODES).slopes[:, k]
    np.testing.assert_allclose((pair[0] - pair[1]) / (2 * step), slopes, atol=2e-7)


def test_slopes_without_poissons_ratio(plate, spruce):
    spruce = spruce.copy()
    spruce[3] = 0.0
    up, at, down = (plate.response(np.where(np.arange(10) == 3, nu, spruce), MODES) for nu in (1e-4, 0.0, -1e-4))
    np.testing.assert_allclose(np.log(up.hz / down.hz) / 2e-4, at.slopes[:, 3], atol=1e-6)


def test_energy_is_of_degree_one_in_the_moduli(plate, spruce):
    slopes = plate.response(spruce, MODES).slopes
    np.testing.assert_allclose(2 * slopes[:, [0, 1, 2, 4, 5]].sum(axis=1), 1.0, rtol=1e-9)
    # Density alone scales all frequencies by its inverse root.
    np.testing.assert_allclose(slopes[:, 9], -0.5, rtol=1e-9)


def test_stretched_mesh_is_the_same_board(spruce):
    drawn = free_plate(0.56, 0.215, 0.03).response(spruce, MODES).hz
    squeezed = free_plate(0.5, 0.4, 0.03).response(spruce, MODES).hz
    np.testing.assert_allclose(squeezed, drawn, rtol=1.5e-3)


def test_factors_are_the_laminas(plate):
    wood = handbook_wood("maple_sugar")
    h = 3e-3
    Q, G = lamina(wood)
    k, _ = plate._stiffness_factors(values_of(wood, plate.length, plate.width, h))
    np.testing.assert_allclose(k[:4], h**3 / 12 * np.array([Q[0, 0], Q[0, 1], Q[1, 1], Q[2, 2]]), rtol=1e-12)
    np.testing.assert_allclose(k[4:], 5 / 6 * h * np.diag(G), rtol=1e-12)


# A. W. Leissa, J. Sound Vib. 31 (1973) 257, all edges free, nu = 0.3, omega a^2 sqrt(rho h / D): converged thin-plate
# values of the five lowest (recomputed; printed upper bounds are 13.489, 19.789, 24.432, 35.024, 35.024).
LEISSA = {
    PlateMode(1, 1): 13.468,
    PlateMode(2, 0, -1): 19.596,
    PlateMode(2, 0, 1): 24.270,
    PlateMode(2, 1): 34.801,
    PlateMode(1, 2): 34.801,
}


def test_free_square_of_leissa():
    a, h, E, nu, density = 1.0, 2e-3, 70e9, 0.3, 2700.0
    G = E / (2 * (1 + nu))
    square = [E, E, G, nu, G, G, a, a, h, density * a * a * h]
    response = free_plate(a, a, 0.08).response(square, list(LEISSA))
    scale = 2 * np.pi * a**2 * np.sqrt(density * h / (E * h**3 / (12 * (1 - nu**2))))
    np.testing.assert_allclose(scale * response.hz, list(LEISSA.values()), rtol=1e-3)
    assert (response.likeness[:3] > 0.95).all()


def test_shapes_of_free_bars():
    # R. D. Blevins, Formulas for Natural Frequency and Mode Shape (1979), Table 8-1: nodes of the first free-free
    # mode at 0.2242 and 0.7758 of the length, of the second at 0.1321, 0.5, 0.8679 (from memory).
    np.testing.assert_allclose(bar_shape(2, np.array([0.2242, 0.7758]) - 0.5), 0, atol=5e-4)
    np.testing.assert_allclose(bar_shape(3, np.array([0.1321, 0.5, 0.8679]) - 0.5), 0, atol=5e-4)
    for n in range(7):
        x = np.linspace(-0.5, 0.5, 2000)
        shape = bar_shape(n, x)
        assert (np.diff(np.sign(shape)) != 0).sum() == n
        assert np.abs(shape).max() == pytest.approx(1.0)
