"""Shallow spherical caps, clamped and free.

E. Reissner, On vibrations of shallow spherical shells, J. Appl. Phys. 17 (1946) 1038-1042; M. W. Johnson and
E. Reissner, On transverse vibrations of shallow spherical shells, Quart. Appl. Math. 15 (1958) 367-380 (both recalled,
solved anew here). With transverse inertia only the shell's two equations

    D del^4 w - del^2 F / R = rho h omega^2 w,    del^4 F + (E h / R) del^2 w = 0

have the solution w = [a Jn(m r) + b In(m r) + c r^n] cos(n t) with D m^4 = rho h omega^2 - E h / R^2, and a stress
function F to match; the conditions at the rim leave a determinant. Below E / (rho R^2) m^4 is negative and the real and
the imaginary part of Jn take the place of Jn and In.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from reference.plates import WOOD, disc, isotropic, plate
from scipy.optimize import brentq
from scipy.special import iv, ivp, jv, jvp

from bracedtop.fem.model import build_model, solve
from bracedtop.geometry.dome import Dome

RADIUS, H = 0.2, 1e-3
METAL = isotropic(70e9, 0.3, 2700.0)
E, NU, RHO = METAL.E_L, METAL.nu_LR, METAL.density
D = E * H**3 / (12 * (1 - NU**2))


def tolerance(radius: float) -> float:
    """Mesh and shear 0.05 %; the theories differ by the square of the slope, half of it at the rim at most."""
    return 5e-4 + (RADIUS / radius) ** 2 / 2


def rim_fields(n: int, f: float, curvature: float) -> tuple[np.ndarray, np.ndarray]:
    """w and F / R with three derivatives each at the rim, for a, b, c and the constant of F = r^n, (4, 4) each."""
    k, r = np.arange(4), RADIUS
    membrane = E * H * curvature**2
    bending = (2 * np.pi * f) ** 2 * RHO * H - membrane
    z = (abs(bending) / D) ** 0.25 * (1.0 if bending > 0 else np.exp(0.25j * np.pi))
    J = np.array([z**i * (jv(n, z * r) if i == 0 else jvp(n, z * r, i)) for i in k])
    # del^2 F = -(E h / R) w + phi with phi = -R D m^4 c r^n harmonic; del^2 J = -z^2 J.
    wave = membrane * J / z**2
    if bending > 0:
        I = np.array([z**i * (iv(n, z * r) if i == 0 else ivp(n, z * r, i)) for i in k])
        pairs = [J, I], [wave, -membrane * I / z**2]
    else:
        pairs = [J.real, J.imag], [wave.real, wave.imag]
    own = -(membrane + bending) * power(n + 2) / (4 * (n + 1))
    return np.column_stack([*pairs[0], power(n), np.zeros(4)]), np.column_stack([*pairs[1], own, power(n)])


def power(p: int) -> np.ndarray:
    """r^p and its derivatives at the rim, (4,)."""
    return np.array([np.prod(p - np.arange(i)) * RADIUS ** (p - i) if p >= i else 0.0 for i in range(4)])


def determinant(rows: list[np.ndarray]) -> float:
    matrix = np.array(rows)[:, : len(rows)]
    matrix = matrix / np.abs(matrix).max(axis=1, keepdims=True)
    return float(np.linalg.det(matrix / np.abs(matrix).max(axis=0)))


def clamped(f: float, curvature: float) -> float:
    """For symmetric modes: w = w' = 0 and no hoop strain, F'' = nu F' / r."""
    w, F = rim_fields(0, f, curvature)
    return determinant([w[0], w[1], F[2] - NU * F[1] / RADIUS])


def free(n: int, f: float, curvature: float) -> float:
    """For modes with n nodal diameters, n >= 2: no moment, no shear, no force in the plane."""
    (w, F), r = rim_fields(n, f, curvature), RADIUS
    moment = w[2] + NU * (w[1] / r - n**2 * w[0] / r**2)
    laplacian = w[3] + w[2] / r - (1 + n**2) * w[1] / r**2 + 2 * n**2 * w[0] / r**3
    shear = laplacian - (1 - NU) * n**2 / r**2 * (w[1] - w[0] / r)
    return determinant([moment, shear, F[0], F[1]])


def roots(of: Callable[[float], float], count: int, low: float, curvature: float) -> list[float]:
    """The lowest frequencies at which a determinant vanishes, Hz."""
    shell = np.sqrt(E / RHO) * curvature / (2 * np.pi)
    found: list[float] = []
    for a in low * 1.01 ** np.arange(1000):
        b = 1.01 * a
        # A change of sign at the membrane's own frequency only marks the change of functions.
        if of(a) * of(b) < 0 and not a <= shell <= b:
            found.append(brentq(of, a, b, xtol=1e-9))
        if len(found) == count:
            break
    return found


def model_frequencies(kind: str, radius: float, n_modes: int) -> np.ndarray:
    design = plate(disc(RADIUS), H, kind)
    domed = replace(design, plate=replace(design.plate, dome=Dome(radius, radius)))
    modes = solve(build_model(domed, {WOOD: METAL}, size=0.03), n_modes)
    assert modes.n_rigid == (6 if kind == "free" else 0)
    return modes.frequencies


def test_flat_limits_are_the_discs():
    """A. W. Leissa, Vibration of Plates, NASA SP-160 (1969), Table 2.1 and chapter 2 at nu = 0.3 (recalled)."""
    scale = 2 * np.pi * RADIUS**2 * np.sqrt(RHO * H / D)
    found = np.array(roots(lambda f: clamped(f, 1e-6), 2, 50.0, 1e-6)) * scale
    np.testing.assert_allclose(found, [10.2158, 39.771], rtol=2e-5)
    (two_diameters,) = roots(lambda f: free(2, f, 1e-6), 1, 20.0, 1e-6)
    np.testing.assert_allclose(two_diameters * scale, 5.358, rtol=2e-4)


@pytest.mark.parametrize("radius", [16.0, 8.0, 4.0, 2.0])
def test_free_cap(radius):
    """Lowest modes of two, three and four nodal diameters, nearly without stretching; each comes as a pair."""
    found = model_frequencies("free", radius, 10)
    for n in (2, 3, 4):
        (expected,) = roots(lambda f, n=n: free(n, f, 1 / radius), 1, 30.0, 1 / radius)
        gaps = np.sort(np.abs(found / expected - 1))
        assert gaps[1] < tolerance(radius), (n, expected, found)


@pytest.mark.parametrize("radius", [16.0, 8.0, 4.0, 2.0])
def test_clamped_cap(radius):
    """The two lowest modes that are the same all round."""
    found = model_frequencies("clamped", radius, 16)
    for expected in roots(lambda f: clamped(f, 1 / radius), 2, 50.0, 1 / radius):
        assert np.abs(found / expected - 1).min() < tolerance(radius), (expected, found)
