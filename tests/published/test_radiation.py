"""Radiation of a baffled piston and of simply supported plates against closed forms.

L. E. Kinsler, A. R. Frey, A. B. Coppens, J. V. Sanders, "Fundamentals of Acoustics", 4th ed. (2000), 7.4 (on-axis
pressure and directional factor of a baffled piston) and 7.5 (its radiation resistance and directivity); A. D. Pierce,
"Acoustics" (1989), 5-3 to 5-7 (the same); C. E. Wallace, "Radiation resistance of a rectangular panel", J. Acoust. Soc.
Am. 51 (1972) 946-952, the integral of its eq. for a mode and the low-frequency forms. All RECALLED; Wallace's
low-frequency forms were re-derived from the integral, which gave his first two as recalled and k^2 ab / 28 as the
correction of even-even modes.
"""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.special import j1

from bracedtop.fem.directivity import directivity
from bracedtop.fem.gas import Gas
from bracedtop.fem.radiation import (
    efficiency,
    piston,
    power,
    pressure_at,
    resistance,
    resistance_double_sum,
    resistances,
    volume_flow,
)

AIR = Gas(density=1.2, speed=343.0, viscosity=1.8e-5)
RADIUS = 0.1
AREA = np.pi * RADIUS**2
ZERO = (0.0, 0.0)


def hertz(k: float) -> float:
    return k * AIR.speed / (2 * np.pi)


@pytest.mark.parametrize("ka", [0.01, 0.1, 0.5, 1.0, 2.0, 3.0, 6.0])
def test_resistance_of_a_piston(ka: float) -> None:
    """R = rho c S (1 - J1(2 ka) / ka). Tolerance: sixteen digits less what the difference cancels."""
    xy, weight = piston(ZERO, RADIUS, 12)
    exact = AIR.density * AIR.speed * AREA * (1 - j1(2 * ka) / ka)
    ones = np.ones((len(xy), 1))
    hz = hertz(ka / RADIUS)
    assert resistance(hz, xy, weight, ones, AIR)[0, 0] == pytest.approx(exact, rel=1e-9)
    assert resistance_double_sum(hz, xy, weight, ones, AIR)[0, 0] == pytest.approx(exact, rel=1e-9)


def test_a_small_piston_is_a_monopole_in_a_half_space() -> None:
    """R = rho omega^2 A^2 / (2 pi c) in front of a baffle, twice that of free space (Pierce, 4-1)."""
    xy, weight = piston(ZERO, RADIUS)
    hz = hertz(0.01 / RADIUS)
    found = resistance(hz, xy, weight, np.ones((len(xy), 1)), AIR)[0, 0]
    exact = AIR.density * (2 * np.pi * hz * AREA) ** 2 / (2 * np.pi * AIR.speed)
    assert found == pytest.approx(exact, rel=1e-4)


@pytest.mark.parametrize("kd", [0.5, 2.0, 5.0])
def test_two_small_pistons(kd: float) -> None:
    """R12 = R11 sin(k d) / (k d). R. L. Pritchard, J. Acoust. Soc. Am. 32 (1960) 730-737, first term, recalled."""
    d, radius = 0.3, 1e-3
    one, area = piston(ZERO, radius)
    xy = np.concatenate([one, one + np.array([d, 0.0])])
    shapes = np.zeros((len(xy), 2))
    shapes[: len(one), 0] = shapes[len(one) :, 1] = 1.0
    R = resistance(hertz(kd / d), xy, np.concatenate([area, area]), shapes, AIR)
    assert R[0, 1] / R[0, 0] == pytest.approx(np.sin(kd) / kd, abs=1e-4)


@pytest.mark.parametrize("ka", [0.5, 3.0, 10.0])
@pytest.mark.parametrize("height", [0.03, 0.2, 1.0, 10.0])
def test_pressure_on_the_axis(ka: float, height: float) -> None:
    """|p| = 2 rho c v |sin(k (sqrt(z^2 + a^2) - z) / 2)|; Gauss points on the disc, so to 1e-6."""
    k = ka / RADIUS
    xy, weight = piston(ZERO, RADIUS, 24)
    p = pressure_at(hertz(k), xy, weight, np.ones((len(xy), 1)), np.array([[0.0, 0.0, height]]), AIR)
    phase = k * np.array([height, np.hypot(height, RADIUS)])
    exact = AIR.density * AIR.speed * (np.exp(-1j * phase[0]) - np.exp(-1j * phase[1]))
    assert abs(p[0, 0] - exact) < 1e-6 * AIR.density * AIR.speed
    assert abs(exact) == pytest.approx(2 * AIR.density * AIR.speed * abs(np.sin((phase[1] - phase[0]) / 2)))


@pytest.mark.parametrize("ka", [0.3, 2.0, 6.0])
def test_directional_factor_and_directivity_of_a_piston(ka: float) -> None:
    """2 J1(x) / x with x = ka sin theta, and D = (ka)^2 / (1 - J1(2 ka) / ka)."""
    xy, weight = piston((0.3, -0.2), RADIUS, 12)
    theta = np.linspace(0.0, np.pi / 2, 19)
    found = directivity(hertz(ka / RADIUS), xy, weight, np.ones(len(xy)), theta, np.array([0.0, 1.0]), AIR)
    x = ka * np.sin(theta[1:])
    exact = np.concatenate([[1.0], 2 * j1(x) / x])
    assert found.pressure / found.pressure[0, 0] == pytest.approx(np.column_stack([exact, exact]), abs=1e-9)
    assert found.index[0, 0] == pytest.approx(10 * np.log10(ka**2 / (1 - j1(2 * ka) / ka)), abs=1e-6)
    assert found.dipole_x + found.dipole_y == pytest.approx(0.0, abs=1e-12)


def test_pressure_far_away_carries_the_power() -> None:
    """Intensity |p|^2 / (2 rho c) over a large hemisphere of receivers."""
    xy, weight, (shape,) = plate(0.5, 0.4, [(2, 1)])
    hz, d = 700.0, 200.0
    mu, share = np.polynomial.legendre.leggauss(24)
    turn = 2 * np.pi * np.arange(48) / 48
    z = (mu + 1) / 2
    s = np.sqrt(1 - z**2)[:, None]
    receivers = d * np.stack(np.broadcast_arrays(s * np.cos(turn), s * np.sin(turn), z[:, None]), axis=-1)
    centre = np.array([0.25, 0.2, 0.0])
    p = pressure_at(hz, xy, weight, shape[:, None], receivers.reshape(-1, 3) + centre, AIR)
    p = p.reshape(24, 48)
    W = d**2 * (share[:, None] / 2 * np.abs(p) ** 2).sum() * (2 * np.pi / 48) / (2 * AIR.density * AIR.speed)
    R = resistance(hz, xy, weight, shape[:, None], AIR)
    assert power(R, np.ones(1)) == pytest.approx(W, rel=1e-5)


def plate(a: float, b: float, modes: list[tuple[int, int]], n: int = 24) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gauss points of a rectangle from the origin, and simply supported modes (k, n)."""
    s, share = np.polynomial.legendre.leggauss(n)
    s, share = (s + 1) / 2, share / 2
    X, Y = np.meshgrid(a * s, b * s, indexing="ij")
    weight = (a * b * np.outer(share, share)).ravel()
    shapes = [(np.sin(p * np.pi * X / a) * np.sin(q * np.pi * Y / b)).ravel() for p, q in modes]
    return np.column_stack([X.ravel(), Y.ravel()]), weight, np.array(shapes)


def wallace(k: float, a: float, b: float, m: int, n: int) -> float:
    """Wallace's integral over a quarter of the hemisphere."""

    def side(x: float, p: int) -> float:
        ratio = x / (p * np.pi)
        if abs(ratio - 1) < 1e-9:
            return np.pi * p / 4  # Limit of the quotient; its sign is squared away.
        return float((np.cos(x / 2) if p % 2 else np.sin(x / 2)) / (ratio**2 - 1))

    def integrand(theta: float, phi: float) -> float:
        x, y = k * a * np.sin(theta) * np.cos(phi), k * b * np.sin(theta) * np.sin(phi)
        return float((side(x, m) * side(y, n)) ** 2 * np.sin(theta))

    quarter = dblquad(integrand, 0, np.pi / 2, 0, np.pi / 2, epsabs=0, epsrel=1e-7)[0]
    return float(64 * k**2 * a * b / (np.pi**6 * m**2 * n**2) * quarter)


@pytest.mark.parametrize(("m", "n"), [(1, 1), (1, 2), (2, 2), (3, 1), (2, 3)])
@pytest.mark.parametrize("kb", [0.3, 3.0, 8.0])
def test_wallace_integral(m: int, n: int, kb: float) -> None:
    a, b = 0.5, 0.36
    xy, weight, (shape,) = plate(a, b, [(m, n)])
    k = kb / b
    R = resistance(hertz(k), xy, weight, shape[:, None], AIR)
    found = efficiency(R, weight, shape[:, None], np.ones(1), AIR)
    assert found == pytest.approx(wallace(k, a, b, m, n), rel=1e-6)


def odd_odd(k2: float, a: float, b: float, m: int, n: int) -> float:
    bracket = (1 - 8 / (m * np.pi) ** 2) * a / b + (1 - 8 / (n * np.pi) ** 2) * b / a
    return 32 * k2 * a * b / (m**2 * n**2 * np.pi**5) * (1 - k2 * a * b / 12 * bracket)


def odd_even(k2: float, a: float, b: float, m: int, n: int) -> float:
    bracket = (1 - 8 / (m * np.pi) ** 2) * a / b + (1 - 24 / (n * np.pi) ** 2) * b / a
    return 8 * k2**2 * a * b**3 / (3 * m**2 * n**2 * np.pi**5) * (1 - k2 * a * b / 20 * bracket)


def even_even(k2: float, a: float, b: float, m: int, n: int) -> float:
    bracket = (1 - 24 / (m * np.pi) ** 2) * a / b + (1 - 24 / (n * np.pi) ** 2) * b / a
    return 2 * k2**3 * a**3 * b**3 / (15 * m**2 * n**2 * np.pi**5) * (1 - k2 * a * b / 28 * bracket)


@pytest.mark.parametrize(
    ("m", "n", "form"), [(1, 1, odd_odd), (3, 1, odd_odd), (1, 2, odd_even), (3, 2, odd_even), (2, 2, even_even)]
)
def test_low_frequencies(m: int, n: int, form: Callable[[float, float, float, int, int], float]) -> None:
    """What is left out of the forms is of the order (k b)^4: 1e-4 at 0.1, a few times that for high modes."""
    a, b = 0.5, 0.36
    xy, weight, (shape,) = plate(a, b, [(m, n)])
    k = 0.1 / b
    R = resistance(hertz(k), xy, weight, shape[:, None], AIR)
    found = efficiency(R, weight, shape[:, None], np.ones(1), AIR)
    assert found == pytest.approx(form(k**2, a, b, m, n), rel=2e-4)


def test_both_sums_agree_for_coupled_shapes() -> None:
    xy, weight, shapes = plate(0.5, 0.4, [(1, 1), (2, 1), (3, 1), (1, 3)])
    hole, area = piston((0.35, 0.2), 0.045)
    where = np.concatenate([xy, hole])
    areas = np.concatenate([weight, area])
    columns = np.zeros((len(where), 5))
    columns[: len(xy), :4], columns[len(xy) :, 4] = shapes.T, 1.0
    for hz in (50.0, 400.0, 1200.0):
        fast = resistance(hz, where, areas, columns, AIR)
        slow = resistance_double_sum(hz, where, areas, columns, AIR)
        assert np.abs(fast - slow).max() < 1e-9 * np.abs(slow).max()
        assert np.linalg.eigvalsh(fast).min() >= 0
    grid = np.geomspace(40.0, 1300.0, 37)
    many = resistances(grid, where, areas, columns, AIR)
    for hz, R in zip(grid, many, strict=True):
        exact = resistance(float(hz), where, areas, columns, AIR)
        assert np.abs(R - exact).max() < 1e-8 * np.abs(exact).max()


def test_volume_flow_of_plate_modes() -> None:
    """4 a b / (m n pi^2) for odd-odd modes, else none."""
    _, weight, shapes = plate(0.5, 0.4, [(1, 1), (3, 1), (2, 1)])
    exact = np.array([1, 1 / 3, 0]) * 4 * 0.5 * 0.4 / np.pi**2
    assert volume_flow(weight, shapes.T) == pytest.approx(exact, abs=1e-12)


def test_a_plate_mode_is_a_dipole_at_low_frequency() -> None:
    xy, weight, (even, odd) = plate(0.5, 0.4, [(2, 1), (1, 1)])
    angles = np.array([0.1])
    dipole = directivity(60.0, xy, weight, even, angles, angles, AIR)
    monopole = directivity(60.0, xy, weight, odd, angles, angles, AIR)
    assert dipole.dipole_x == pytest.approx(1.0, abs=0.01)
    assert monopole.monopole == pytest.approx(1.0, abs=0.01)
    assert dipole.monopole + dipole.dipole_x + dipole.dipole_y + dipole.higher == pytest.approx(1.0)
