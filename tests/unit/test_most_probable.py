"""The most probable state against textbook formulas.

Linear Gaussian: A. Tarantola, Inverse Problem Theory, SIAM 2005, eqs. 3.37 and 3.38 (in the form with G^T; the code has
the other, 3.39 and 3.40; recalled), here by numpy. Bounds: scipy's lsq_linear. Evidence: scipy's multivariate normal.
"""

import numpy as np
import pytest
from scipy.optimize import lsq_linear
from scipy.stats import multivariate_normal

from bracedtop.fem.most_probable import SLAB, WRONG, conditioned, log_evidence, most_probable, wrong_datum

NOWHERE = 1e9


@pytest.fixture(name="linear")
def linear_case():
    rng = np.random.default_rng(7)
    n, k = 6, 4
    G = rng.normal(size=(k, n))
    root = rng.normal(size=(n, n))
    return G, rng.normal(size=n), root @ root.T + 0.1 * np.eye(n), rng.normal(size=k), 0.1 + rng.uniform(size=k)


def settle(G, mean, C, d, e, low=-NOWHERE, high=NOWHERE):
    box = (np.full(len(mean), low), np.full(len(mean), high))
    return most_probable(lambda x: (G @ x, G), mean, C, box, d, e)


def test_linear_gaussian_is_tarantola(linear):
    G, mean, C, d, e = linear
    information = G.T @ np.diag(e**-2.0) @ G + np.linalg.inv(C)
    expected = np.linalg.solve(information, G.T @ (d / e**2) + np.linalg.solve(C, mean))
    found = settle(G, mean, C, d, e)
    np.testing.assert_allclose(found.x, expected, rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(conditioned(C, G, e), np.linalg.inv(information), rtol=1e-6, atol=1e-9)


def test_one_number_by_hand():
    # Known as 10 +- 2, measured as 13 +- 1: weights 1/4 and 1 give 12.4 with variance 1 / 1.25.
    found = settle(np.eye(1), np.array([10.0]), np.array([[4.0]]), np.array([13.0]), np.array([1.0]))
    assert found.x[0] == pytest.approx(12.4)
    assert conditioned(np.array([[4.0]]), np.eye(1), np.array([1.0]))[0, 0] == pytest.approx(0.8)
    # (13 - 10)^2 over 4 + 1.
    assert found.squares == pytest.approx(1.8)


def test_two_after_one_another_are_two_together(linear):
    G, mean, C, d, e = linear
    first = settle(G[:2], mean, C, d[:2], e[:2])
    second = settle(G[2:], first.x, conditioned(C, G[:2], e[:2]), d[2:], e[2:])
    np.testing.assert_allclose(second.x, settle(G, mean, C, d, e).x, rtol=1e-6, atol=1e-7)


def test_evidence_is_that_of_a_multivariate_normal(linear):
    G, mean, C, d, e = linear
    used = np.ones(4, dtype=bool)
    expected = multivariate_normal(G @ mean, G @ C @ G.T + np.diag(e**2)).logpdf(d) + 4 * np.log(1 - WRONG)
    assert log_evidence(settle(G, mean, C, d, e), e, used) == pytest.approx(expected, abs=1e-5)
    used[2] = False
    kept = [0, 1, 3]
    S = (G @ C @ G.T + np.diag(e**2))[np.ix_(kept, kept)]
    expected = multivariate_normal((G @ mean)[kept], S).logpdf(d[kept]) + 3 * np.log(1 - WRONG) + np.log(WRONG / SLAB)
    fewer = settle(G, mean, C, d, np.where(used, e, np.inf))
    assert log_evidence(fewer, e, used) == pytest.approx(expected, abs=1e-5)


def test_bounds_are_kept(linear):
    G, mean, C, d, e = linear
    low, high = mean.min() - 0.05, mean.max() + 0.05
    root = np.linalg.inv(np.linalg.cholesky(C))
    stacked = np.vstack([root, G / e[:, None]])
    expected = lsq_linear(stacked, np.concatenate([root @ mean, d / e]), (low, high), tol=1e-12)
    found = settle(G, mean, C, d, e, low, high)
    assert (found.x >= low).all()
    assert (found.x <= high).all()
    np.testing.assert_allclose(found.x, expected.x, atol=2e-5)
    assert found.bounded == tuple(np.flatnonzero(expected.active_mask))
    assert found.bounded


def test_what_has_no_variance_is_held(linear):
    G, mean, C, d, e = linear
    C[2], C[:, 2] = 0, 0
    found = settle(G, mean, C, d, e)
    assert found.x[2] == mean[2]
    S = G @ C @ G.T + np.diag(e**2)
    np.testing.assert_allclose(found.x, mean + C @ G.T @ np.linalg.solve(S, d - G @ mean), rtol=1e-6, atol=1e-7)


def test_wrong_datum_is_found():
    # Five readings of one number that is known as 0 +- 0.1, and one far off.
    G, e = np.ones((5, 1)), np.full(5, 0.002)
    d = np.array([0.05, 0.051, 0.049, 0.05, 0.15])
    settled = settle(G, np.zeros(1), np.array([[0.01]]), d, e)
    used = np.ones(5, dtype=bool)
    assert wrong_datum(settled, e, used) == 4
    used[4] = False
    settled = settle(G, np.zeros(1), np.array([[0.01]]), d, np.where(used, e, np.inf))
    assert wrong_datum(settled, e, used) is None
    assert settled.x[0] == pytest.approx(0.05, abs=1e-3)


def test_curved_response_reaches_its_minimum():
    def respond(x):
        return np.array([np.exp(x[0])]), np.array([[np.exp(x[0])]])

    wide = (np.array([-5.0]), np.array([5.0]))
    found = most_probable(respond, np.zeros(1), np.eye(1), wide, np.array([3.0]), np.array([0.1]))
    x = float(found.x[0])
    # Gradient of x^2 / 2 + (3 - exp x)^2 / (2 0.1^2).
    assert x - (3 - np.exp(x)) * np.exp(x) / 0.01 == pytest.approx(0.0, abs=1e-4)
