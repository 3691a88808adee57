"""Mass of the air outside.

Lord Rayleigh, "The Theory of Sound", vol. 2 (1896), art. 302: a piston of radius a in a large flange carries
8/3 density a^3 on one side. H. Lamb, "On the vibrations of an elastic plate in contact with water", Proc. R. Soc. A
98 (1920) 205-216: a clamped disc that moves as (1 - r^2/a^2)^2 carries 0.6689 density a / (plate's density h) of its
own modal mass on one side. Both recalled. Points stand for the areas of 30 rings; 0.3 % is what that reaches.
"""

import numpy as np
import pytest

from bracedtop.fem.outside_air import outside_mass

RADIUS, DENSITY = 0.12, 1.2


def lattice(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Points and areas of a disc."""
    r = RADIUS * (np.arange(n) + 0.5) / n
    points, areas = [], []
    for k, radius in enumerate(r):
        m = max(6, round(2 * np.pi * (k + 0.5)))
        t = 2 * np.pi * (np.arange(m) + 0.5 * (k % 2)) / m
        points.append(radius * np.column_stack([np.cos(t), np.sin(t)]))
        areas.append(np.full(m, 2 * np.pi * radius * RADIUS / n / m))
    return np.concatenate(points), np.concatenate(areas)


def test_piston_of_rayleigh() -> None:
    xy, weight = lattice(30)
    found = outside_mass(xy, weight, np.ones((len(xy), 1)), DENSITY)[0, 0]
    assert found == pytest.approx(8 / 3 * DENSITY * RADIUS**3, rel=3e-3)


def test_clamped_disc_of_lamb() -> None:
    xy, weight = lattice(30)
    shape = (1 - (xy**2).sum(axis=1) / RADIUS**2) ** 2
    found = outside_mass(xy, weight, shape[:, None], DENSITY)[0, 0]
    own = weight @ shape**2
    assert found / own == pytest.approx(0.6689 * DENSITY * RADIUS, rel=3e-3)


def test_two_pieces_far_apart_see_each_other_as_sources() -> None:
    xy, weight = lattice(8)
    both = np.concatenate([xy, xy + np.array([20 * RADIUS, 0.0])])
    each = np.kron(np.eye(2), np.ones((len(xy), 1)))
    M = outside_mass(both, np.tile(weight, 2), each, DENSITY)
    assert M[0, 1] == pytest.approx(DENSITY * weight.sum() ** 2 / (2 * np.pi * 20 * RADIUS), rel=2e-3)
    assert np.array_equal(M, M.T)
