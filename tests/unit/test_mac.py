"""Modal assurance criterion: R. J. Allemang, Sound and Vibration 37 (2003) no. 8, 14-23 (definition, from memory).

The definition's consequences are checked: invariance to scale and sign, orthogonality, the closed form for two
mixed shapes, and the bounds 0 to 1 (Cauchy-Schwarz).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from bracedtop.fem.mac import follow, mac
from bracedtop.geometry.errors import AccuracyError


def sines(n_modes, n_points=201):
    """Mode shapes of a pinned string, exactly orthogonal in the trapezoidal rule."""
    x = np.linspace(0, np.pi, n_points)
    return np.sin(np.outer(x, np.arange(1, n_modes + 1)))


def test_same_shapes_at_any_scale_and_sign_give_the_identity():
    a = sines(5)
    b = a * np.array([1.0, -2.0, 1e-6, -1e5, 3.0])
    np.testing.assert_allclose(mac(a, b), np.eye(5), atol=1e-12)


@pytest.mark.parametrize("angle", [0.0, 0.3, np.pi / 4, 1.2])
def test_mixing_two_orthogonal_shapes_gives_squared_cosines(angle):
    a = sines(2)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    expected = turn**2
    np.testing.assert_allclose(mac(a, a @ turn), expected, atol=1e-12)


def test_weight_decides_what_is_orthogonal():
    a = np.array([[1.0, 1.0], [1.0, -2.0]])
    W = np.diag([2.0, 1.0])
    np.testing.assert_allclose(mac(a, a, W), np.eye(2), atol=1e-15)
    np.testing.assert_allclose(mac(a, a, sparse.csr_array(W)), np.eye(2), atol=1e-15)
    assert mac(a, a)[0, 1] == pytest.approx(1 / (2 * 5))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_between_zero_and_one(seed):
    rng = np.random.default_rng(seed)
    value = mac(rng.normal(size=(9, 3)), rng.normal(size=(9, 4)))
    assert value.shape == (3, 4)
    assert (value >= 0).all()
    assert (value <= 1).all()


def test_follow_finds_a_permutation_with_extra_modes():
    a = sines(6)
    order = [4, 0, 5, 2, 1, 3]
    new = a[:, order]
    successor = follow(mac(a[:, :4], new))
    assert [order[k] for k in successor] == [0, 1, 2, 3]


def test_follow_is_one_to_one_where_nearest_is_not():
    # Both old modes look most like the first new one; only one can be it.
    assert follow(np.array([[0.9, 0.1], [0.8, 0.7]])) == (0, 1)


def test_refusals_are_one_line():
    with pytest.raises(AccuracyError, match="n_dof"):
        mac(np.ones((3, 1)), np.ones((4, 1)))
    with pytest.raises(AccuracyError, match="zero or not finite"):
        mac(np.zeros((3, 1)), np.ones((3, 1)))
    with pytest.raises(AccuracyError, match="at least as many"):
        follow(np.ones((3, 2)))
