"""How much air moves with the air in a hole.

Outside and inside of a hole in a thin sheet between two half spaces: Lord Rayleigh, The Theory of Sound, vol. 2 (1896),
art. 304-306: a length from t + pi r / 2 (exact for t = 0) to t + 16 r / (3 pi). Thick edge: 0.8217 r an end (L. V.
King, Phil. Mag. 21 (1936) 128; RECALLED). L. E. Kinsler, A. R. Frey and others, Fundamentals of Acoustics, 4th ed.
(2000), sect. 10.8: 1.7 r for both ends flanged (RECALLED). Between: the potential problem solved here by matching tube
modes to half spaces.

A piston in the end of a tube of radius R: delta = r (4/xi) sum J1(x_m xi)^2 / (x_m^3 J0(x_m)^2), x_m the zeros of J1
and xi = r / R, for an endless tube; near (8 r / 3 pi)(1 - 1.25 xi) (U. Ingard, On the theory and design of acoustic
resonators, J. Acoust. Soc. Am. 25 (1953) 1037-1061, eq. 9; RECALLED, and confirmed by the series). In a tube of depth H
each term has coth(x_m H / R), and the air in it adds H xi^2 / 3.

Elliptical holes: piston and hole in a sheet of no thickness by elliptic integrals (Rayleigh, art. 306).
"""

import numpy as np
import pytest
from reference.air_boxes import cuboid, drum
from scipy.integrate import quad
from scipy.special import ellipk, j0, j1, jn_zeros

from bracedtop.fem.air import build_air
from bracedtop.fem.helmholtz import helmholtz
from bracedtop.fem.hole_air import ENDS, moving_share, piston_length
from bracedtop.geometry.outline import Hole

FIELD = 0.01
"""Tolerance of the length inside: the mesh is chosen for 0.5 %, and the polygon of the reference is exact."""


def matched(thickness: np.ndarray, n_modes: int) -> np.ndarray:
    """Length at both ends over the radius, for edges of given thickness over the radius, by n_modes tube modes."""
    x = np.concatenate([[0.0], jn_zeros(1, n_modes)])
    step = 4000 / 400000
    k = (np.arange(400000) + 0.5) * step
    bessel = j1(k)
    V = np.stack([bessel / k, *(k * bessel / (k**2 - zero**2) for zero in x[1:])])
    outside = 2 * np.pi * step * (V @ V.T)
    out = []
    for t in thickness:
        inside = np.concatenate([[t / 2], np.tanh(x[1:] * t / 2) / x[1:]])
        A = outside + np.pi * np.diag(inside)
        moved = A[0, 0] - A[0, 1:] @ np.linalg.solve(A[1:, 1:], A[1:, 0])
        out.append(2 * moved / np.pi - t)
    return np.array(out)


def test_table_of_ends() -> None:
    # What is left out falls as one over the number of modes; two numbers of them extrapolate.
    coarse, fine = (matched(ENDS[:, 0], n) for n in (20, 40))
    assert 2 * fine - coarse == pytest.approx(ENDS[:, 1], abs=1e-3)


def test_limits_of_ends() -> None:
    assert ENDS[0, 1] == pytest.approx(np.pi / 2, abs=1e-4)
    assert ENDS[-1, 1] == pytest.approx(2 * 0.8217, abs=1e-3)
    assert (np.diff(ENDS[:, 1]) > 0).all()
    assert moving_share(np.array([0.0, 0.1])) == pytest.approx([3 * np.pi**2 / 32, 0.9477], abs=1e-4)


@pytest.mark.parametrize("ratio", [0.1, 0.25, 0.4])
def test_piston_in_the_end_of_a_round_box(ratio: float) -> None:
    radius, depth = 0.2, 0.1
    x = jn_zeros(1, 4000)
    terms = 4 / ratio * j1(x * ratio) ** 2 / (x**3 * j0(x) ** 2)
    endless = terms.sum()
    assert endless == pytest.approx(8 / (3 * np.pi) * (1 - 1.25 * ratio), rel=0.02)
    expected = (terms / np.tanh(x * depth / radius)).sum() + depth / (ratio * radius) * ratio**2 / 3
    air = build_air(*drum(radius, depth, Hole((0.0, 0.0), (ratio * radius, ratio * radius))))
    assert helmholtz(air).inside[0] / (ratio * radius) == pytest.approx(expected, rel=FIELD)


def test_a_hole_in_a_big_box_moves_1_7_radii() -> None:
    r, t = 0.05, 0.0
    air = build_air(*cuboid(3.0, 2.8, 2.6, Hole((1.5, 1.4), (r, r)), thickness=1e-6), highest=150.0)
    inside = helmholtz(air).inside[0]
    assert inside / r == pytest.approx(8 / (3 * np.pi), rel=0.04)
    # A piston outside as well; what real air moves less is the table above.
    assert (t + inside + piston_length(r, r)) / r == pytest.approx(1.7, rel=0.03)


def test_hole_resonance_of_a_big_box() -> None:
    r, t = 0.05, 3e-3
    air = build_air(*cuboid(1.2, 1.0, 0.9, Hole((0.6, 0.5), (r, r)), thickness=t), highest=500.0)
    found = helmholtz(air)
    upper, lower = (
        air.speed / (2 * np.pi) * np.sqrt(np.pi * r**2 / (air.volume * (t + end * r)))
        for end in (np.pi / 2, 16 / (3 * np.pi))
    )
    assert found.formula == pytest.approx(lower, rel=1e-9)
    # The walls of a box of 24 radii take another 6 % off the inner end, 3 % of the mass.
    assert lower < found.frequency < 1.01 * upper


@pytest.mark.parametrize("ratio", [1.0, 0.5, 0.2])
def test_elliptical_pistons(ratio: float) -> None:
    a, b = 0.05, 0.05 * ratio
    # The other way to the same number: the mean of 1 / distance over an ellipse, by its directions.
    mean = 8 / (3 * np.pi) * quad(lambda v: 1 / np.hypot(np.cos(v) / a, np.sin(v) / b), 0, 2 * np.pi)[0] / (2 * np.pi)
    assert piston_length(a, b) == pytest.approx(mean, rel=1e-9)
    assert piston_length(b, a) == piston_length(a, b)
    sheet = b * ellipk(1 - ratio**2)
    assert 2 * piston_length(a, b) * moving_share(np.zeros(1))[0] == pytest.approx(sheet, rel=1e-4)
