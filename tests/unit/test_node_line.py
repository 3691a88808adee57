"""Node lines and lobes of fields whose zeros are known exactly."""

import numpy as np
import pytest

from bracedtop.fem.node_line import lobes, node_lines, smoothed, without_specks


def grid(n=40):
    x, y = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, n + 1), indexing="ij")
    corner = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    a, b, c, d = corner, corner + n + 1, corner + n + 2, corner + 1
    return np.column_stack([x.ravel(), y.ravel()]), np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


POINTS, TRIANGLES = grid()
X, Y = POINTS.T


def drawn(values):
    return node_lines(POINTS, TRIANGLES, without_specks(TRIANGLES, values))


def test_straight_line():
    (line,) = drawn((X - 0.4123) / 0.6)
    np.testing.assert_allclose(line[:, 0], 0.4123, atol=1e-12)
    assert np.ptp(line[:, 1]) == pytest.approx(1)


def test_circle_is_closed_and_has_its_length():
    radius = 0.31
    (line,) = drawn((X - 0.5) ** 2 + (Y - 0.5) ** 2 - radius**2)
    np.testing.assert_allclose(line[0], line[-1])
    # Linear values on triangles of side h err by h^2 / (8 radius).
    np.testing.assert_allclose(np.hypot(line[:, 0] - 0.5, line[:, 1] - 0.5), radius, atol=2 * 0.025**2 / (8 * radius))
    assert np.hypot(*np.diff(smoothed(line, 0.02), axis=0).T).sum() == pytest.approx(2 * np.pi * radius, rel=0.01)


def test_no_line_where_all_moves_one_way():
    assert drawn(np.ones(len(X))) == []


@pytest.mark.parametrize("sign", [1, -1])
def test_held_rim_is_no_node_line(sign):
    assert drawn(sign * np.sin(np.pi * X) * np.sin(np.pi * Y)) == []


def test_held_plate_with_one_node_line():
    (line,) = drawn(np.sin(2 * np.pi * X) * np.sin(np.pi * Y))
    np.testing.assert_allclose(line[:, 0], 0.5, atol=0.026)
    assert np.ptp(line[:, 1]) == pytest.approx(1)


def test_specks_are_left_out():
    speck = np.where(np.hypot(X - 0.3, Y - 0.3) < 0.06, -0.02, 1.0)
    assert drawn(speck) == []
    assert len(drawn(np.where(np.hypot(X - 0.3, Y - 0.3) < 0.06, -0.2, 1.0))) == 1


def test_lobes_of_a_plate_on_hinges():
    values = np.sin(2 * np.pi * X) * np.sin(3 * np.pi * Y)
    found = lobes(TRIANGLES, values, 0.2)
    assert sorted(lobe.sign for lobe in found) == [-1, -1, -1, 1, 1, 1]
    for lobe in found:
        assert (np.sign(values[lobe.vertices]) == lobe.sign).all()
        assert lobe.peak == pytest.approx(1, abs=0.01)


def test_smoothing_keeps_the_ends():
    line = np.column_stack([np.linspace(0, 1, 200), 0.002 * np.sin(300 * np.linspace(0, 1, 200))])
    even = smoothed(line, 0.05)
    np.testing.assert_allclose(even[[0, -1]], line[[0, -1]])
    assert np.abs(even[:, 1]).max() < 0.002
