"""Walls and the air that they enclose: small systems with closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from bracedtop.fem.box_coupling import coupled_matrices, lowest, pressure_rows, quadratic
from bracedtop.fem.lumped import Lumped, Piston, coupled
from bracedtop.geometry.errors import AccuracyError

RHO, SPEED = 1.2, 343.0
BULK = RHO * SPEED**2


def tube(length: float, area: float, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Angular frequencies of a rigid tube closed at both ends, and its pressures at an end times the area, (1, n)."""
    volume = length * area
    k = np.arange(n)
    psi = np.sqrt(BULK / volume) * np.where(k == 0, 1.0, np.sqrt(2.0))
    return np.pi * k * SPEED / length, (area * psi)[None, :]


@pytest.mark.parametrize("mass", [1e-3, 5e-3, 0.05])
def test_piston_on_a_tube(mass: float) -> None:
    """A piston on a spring closes a rigid tube: k - w^2 m + S rho c w cot(w L / c) = 0.

    L. E. Kinsler and others, Fundamentals of Acoustics (2000), ch. 10 (recalled): input impedance of a rigid closed
    pipe. The sum over pressures converges with the first power of their number: 0.1 % with 400.
    """
    length, area, stiffness = 0.45, 0.01, 4e3

    def exact(w: float) -> float:
        return stiffness - w**2 * mass + area * RHO * SPEED * w / np.tan(w * length / SPEED)

    omega, C = tube(length, area, 400)
    found = lowest(*coupled_matrices(np.array([[stiffness]]), np.array([[mass]]), C, omega), 3, 0)
    edges = np.pi * SPEED / length * np.arange(4)
    wanted = [brentq(exact, edges[k] + 1e-6, edges[k + 1] - 1e-6) for k in range(3)]
    assert np.sqrt(found.values) == pytest.approx(wanted, rel=1e-3)


def test_two_tubes_halved_by_a_piston() -> None:
    """A limp piston of no stiffness and the mass of the air that it displaces leaves a tube's modes nearly alone."""
    length, area = 0.6, 0.01
    thin = 1e-4
    omega, C = tube(length / 2, area, 600)
    both = np.concatenate([omega, omega])
    sides = np.concatenate([C, -C], axis=1)
    mass = np.array([[RHO * area * thin]])
    found = lowest(*coupled_matrices(np.zeros((1, 1)), mass, sides, both), 4, 0)
    assert np.sqrt(found.values) == pytest.approx(np.pi * SPEED / length * np.arange(1, 5), rel=2e-3)


@given(st.integers(0, 2**31))
def test_uniform_pressure_alone_is_the_lumped_model(seed: int) -> None:
    """Oscillators on the uniform pressure."""
    rng = np.random.default_rng(seed)
    top, back = (Piston(*rng.uniform((0.05, 0.03, 5e4), (0.3, 0.08, 5e5))) for _ in range(2))
    hole = Piston(*rng.uniform((5e-4, 4e-3), (2e-3, 8e-3)))
    lumped = Lumped(0.013, BULK, top, hole, back)
    C = np.array([[p.area * np.sqrt(BULK / 0.013)] for p in lumped.pistons])
    K = np.diag([p.stiffness for p in lumped.pistons])
    M = np.diag([p.mass for p in lumped.pistons])
    found = lowest(*coupled_matrices(K, M, C, np.zeros(1)), 3, 0)
    assert np.sqrt(found.values) / (2 * np.pi) == pytest.approx(coupled(lumped).frequencies, rel=1e-9)


@given(st.integers(0, 2**31))
def test_symmetric_and_reciprocal(seed: int) -> None:
    """Matrices are symmetric; a force at one wall moves another as much as the other way round; energies agree."""
    rng = np.random.default_rng(seed)
    n, m = 5, 4
    root = rng.standard_normal((n, n))
    K, M = 1e4 * (root @ root.T + 3 * np.eye(n)), np.diag(rng.uniform(0.01, 0.3, n))
    C, omega = 30 * rng.standard_normal((n, m)), np.array([0.0, 2e3, 3e3, 5e3])
    stiff, mass = coupled_matrices(K, M, C, omega)
    assert np.array_equal(stiff, stiff.T)
    assert np.array_equal(mass, mass.T)
    moved = np.linalg.inv(stiff - 500.0**2 * mass)
    assert moved[0, 1] == pytest.approx(moved[1, 0], rel=1e-6, abs=1e-12)
    found = lowest(stiff, mass, n + m - 1, 0)
    x, y = found.vectors[:n], found.vectors[n:]
    P = pressure_rows(C, omega) @ found.vectors
    kinetic = quadratic(M, x) + (y**2).sum(axis=0)
    potential = (quadratic(K, x) + (P**2).sum(axis=0)) / found.values
    assert kinetic == pytest.approx(np.ones(len(kinetic)), rel=1e-9)
    assert potential == pytest.approx(np.ones(len(kinetic)), rel=1e-7)


def test_without_coupling_each_keeps_its_modes() -> None:
    K, M = np.diag([1e4, 4e4]), np.diag([0.1, 0.1])
    omega = np.array([0.0, 2e3])
    found = lowest(*coupled_matrices(K, M, np.zeros((2, 2)), omega), 3, 0)
    assert found.values == pytest.approx([1e5, 4e5, 4e6], rel=1e-10)


def test_rigid_motions_are_set_apart() -> None:
    """Two masses on a spring: one motion without resistance, one mode."""
    K = 1e4 * np.array([[1.0, -1.0], [-1.0, 1.0]])
    found = lowest(K, np.diag([0.1, 0.3]), 1, 1)
    assert found.values == pytest.approx([1e4 * (1 / 0.1 + 1 / 0.3)], rel=1e-10)


def test_too_many_modes_are_refused() -> None:
    with pytest.raises(AccuracyError, match="3 modes wanted of 2"):
        lowest(np.eye(2), np.eye(2), 3, 0)
