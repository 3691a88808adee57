"""Which unknowns data tell, on problems with known answers."""

import numpy as np
import pytest

from bracedtop.fem.told import told, weak_directions


def errors_of(J):
    def errors(names):
        part = J[:, ["abc".index(name) for name in names]]
        if np.linalg.matrix_rank(part) < part.shape[1]:
            return np.full(len(names), np.inf)
        return np.sqrt(np.diag(np.linalg.inv(part.T @ part)))

    return errors


@pytest.mark.parametrize(
    ("J", "expected"),
    [
        # Each datum has an error of one; an error of a half or less counts as told.
        (np.diag([10.0, 5.0, 2.0]), "abc"),
        (np.diag([10.0, 5.0, 1.0]), "ab"),
        # Only the sum of a and b is measured: the first of the two that is told better is taken, the other held.
        (np.array([[5.0, 4.0, 0.0], [0.0, 0.0, 3.0]]), "ac"),
        (np.zeros((2, 3)), ""),
    ],
)
def test_forward_selection(J, expected):
    assert set(told("abc", dict.fromkeys("abc", 0.5), errors_of(J))) == set(expected)


def test_weak_direction_of_a_sum():
    weak, condition = weak_directions("ab", np.array([[5.0, 5.0]]), np.eye(1), np.ones(2), 2.0)
    assert condition == np.inf
    (only,) = weak
    assert sorted(only.change.values()) == pytest.approx([-1, 1])
    assert only.effect == pytest.approx(0, abs=1e-12)


def test_condition_is_that_of_the_scaled_slopes():
    # Units 2 and 1 turn slopes of 1 and 8 into 2 and 8 standard errors.
    weak, condition = weak_directions("ab", np.diag([1.0, 8.0]), np.eye(2), np.array([2.0, 1.0]), 4.0)
    assert condition == pytest.approx(4.0)
    assert [w.change for w in weak] == [{"a": pytest.approx(2.0)}]
