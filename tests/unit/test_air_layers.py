"""Functions over the height of the air."""

import numpy as np
import pytest

from bracedtop.fem.layers import layers


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_integrals_of_polynomials(degree: int) -> None:
    made = layers(np.array([0.0, 0.3, 1.0]), degree)
    t = made.nodes
    assert t[[0, -1]].tolist() == [0.0, 1.0]
    one, p = np.ones_like(t), t**degree
    assert one @ made.M @ one == pytest.approx(1.0)
    assert p @ made.M @ p == pytest.approx(1 / (2 * degree + 1))
    for power in range(2):
        # integral of t^power (t^d)' t^d
        assert p @ made.C[power] @ p == pytest.approx(degree / (2 * degree + power))
    for power in range(3):
        assert p @ made.K[power] @ p == pytest.approx(degree**2 / (2 * degree - 1 + power))
        assert np.abs(made.K[power] @ one).max() < 1e-12


def test_values_at_a_height() -> None:
    made = layers(np.array([0.0, 0.5, 0.8, 1.0]), 3)
    for height in (0.0, 0.2, 0.5, 0.9, 1.0):
        assert made.at(height) @ made.nodes**3 == pytest.approx(height**3)
        assert made.at(height).sum() == pytest.approx(1.0)
