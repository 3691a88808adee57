"""Shapes in pairing: MAC against its definition for closed shapes, costs that fade where points tell little, and tops.

Definition: R. J. Allemang, "The modal assurance criterion - twenty years of use and abuse", Sound and Vibration 37
(2003) no. 8, 14-23, eq. 2 (from memory). Free beam: R. D. Blevins, Formulas for Natural Frequency and Mode Shape,
1979, table 8-1 (equation recomputed below). Navier's sine shapes of the hinged plate: any textbook.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from shapely import contains_xy

from bracedtop.fem.mac import mac
from bracedtop.fem.match import REJECTION, pair, relative
from bracedtop.fem.model import build_model, deflections, solve
from bracedtop.fem.shape_match import EVIDENCE, SCATTER, shape_fit
from bracedtop.fem.tap_shape import Shape
from bracedtop.fem.taps import Measured
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.errors import AccuracyError
from bracedtop.geometry.outline import polygon_outline

A, B = 0.5, 0.4
R = np.sqrt(0.5)
ORDER = [(1, 1), (2, 1), (1, 2), (3, 1), (2, 2), (3, 2), (1, 3), (2, 3)]


def sines(order):
    """Deflections of the hinged plate's modes, each with a largest of 1."""

    def deflection(points):
        x, y = np.asarray(points).T
        return np.array([np.sin(m * np.pi * x / A) * np.sin(n * np.pi * y / B) for m, n in order])

    return deflection


def shape(points, values, error=0.0):
    return Shape(np.asarray(points), np.asarray(values), np.full(len(values), error))


def inner_grid(nx, ny):
    x, y = A * np.arange(1, nx + 1) / (nx + 1), B * np.arange(1, ny + 1) / (ny + 1)
    return np.array(np.meshgrid(x, y)).reshape(2, -1).T


def table(points, error=0.0):
    phi = sines(ORDER)(points)
    return np.array([shape_fit(shape(points, row, error), phi)[1] for row in phi]).T


def test_sines_on_an_even_grid_are_orthogonal():
    np.testing.assert_allclose(table(inner_grid(4, 4)), np.eye(len(ORDER)), atol=1e-12)


def test_a_grid_that_is_too_coarse_takes_a_mode_for_its_alias():
    # On two inner points sin(4 pi x) repeats -sin(2 pi x).
    points = inner_grid(2, 1)
    phi = sines([(2, 1), (4, 1)])(points)
    assert shape_fit(shape(points, phi[0]), phi)[1] == pytest.approx([1, 1])


def test_two_points_by_hand():
    # x = a/4 and a/2 on the middle line: (r, 1), (1, 0), (r, -1) with r^2 = 1/2.
    points = [(A / 4, B / 2), (A / 2, B / 2)]
    phi = sines([(1, 1), (2, 1), (3, 1)])(points)
    np.testing.assert_allclose(phi, [[R, 1], [1, 0], [R, -1]], atol=1e-12)
    expected = [[1, 1 / 3, 1 / 9], [1 / 3, 1, 1 / 3], [1 / 9, 1 / 3, 1]]
    found = np.array([shape_fit(shape(points, row), phi)[1] for row in phi])
    np.testing.assert_allclose(found, expected, atol=1e-12)


def test_free_beam_against_its_rigid_motions_by_hand():
    # cosh(l) cos(l) = 1; the first shape at both ends and the middle, against lifting (1, 1, 1) and tilting (1, 0, -1).
    lam = brentq(lambda v: np.cosh(v) * np.cos(v) - 1, 4.5, 5.0)
    sigma = (np.cosh(lam) - np.cos(lam)) / (np.sinh(lam) - np.sin(lam))
    x = lam * np.array([0.0, 0.5, 1.0])
    w = np.cosh(x) + np.cos(x) - sigma * (np.sinh(x) + np.sin(x))
    # Symmetric, 2 at the ends and -1.2157 in the middle.
    np.testing.assert_allclose(w, [2, -1.2157, 2], atol=2e-4)
    others = np.array([[1.0, 1, 1], [1, 0, -1]])
    by_hand = [(4 - 1.2157) ** 2 / (3 * (8 + 1.2157**2)), 0]
    found = shape_fit(shape([(0, 0), (0.1, 0), (0.2, 0)], w / 2), others)[1]
    np.testing.assert_allclose(found, by_hand, atol=1e-4)


def test_errors_weigh_as_in_the_weighted_mac():
    rng = np.random.default_rng(0)
    values, errors, phi = rng.normal(size=7), rng.uniform(0.05, 2, 7), rng.normal(size=(4, 7))
    W = np.diag(1 / (errors**2 + SCATTER**2 * np.mean(values**2)))
    found = shape_fit(Shape(rng.normal(size=(7, 2)), values, errors), phi)[1]
    np.testing.assert_allclose(found, mac(phi.T, values[:, None], W)[:, 0])


def test_cost_grows_with_points_and_falls_with_errors():
    other = [(2, 1)]
    costs = []
    for nx in (2, 4, 8, 16):
        points = inner_grid(nx, 3)
        costs.append(shape_fit(shape(points, sines([(1, 1)])(points)[0]), sines(other)(points))[0][0])
    assert costs == sorted(costs)
    assert costs[0] > REJECTION
    assert costs[-1] < EVIDENCE / SCATTER**2
    points = inner_grid(4, 3)
    values = sines([(1, 1)])(points)[0]
    by_error = [shape_fit(shape(points, values, e), sines(other)(points))[0][0] for e in (0.0, 0.2, 0.5, 1.0, 3.0)]
    assert by_error == sorted(by_error, reverse=True)
    assert by_error[-1] < 0.1


def test_one_point_says_nothing():
    cost, value = shape_fit(shape([(A / 4, B / 4)], [1.0]), sines(ORDER)([(A / 4, B / 4)]))
    np.testing.assert_allclose(cost, 0, atol=1e-12)
    assert value[0] == pytest.approx(1)


def test_two_points_alone_never_reject():
    points = [(A / 4, B / 2), (3 * A / 4, B / 2)]
    cost = shape_fit(shape(points, [1.0, 1.0]), sines([(2, 1)])(points))[0]
    assert 0 < cost[0] < REJECTION


def test_a_mode_that_stands_still_at_all_points_explains_nothing():
    points = [(A / 2, B / 4), (A / 2, B / 2), (A / 2, 3 * B / 4), (A / 2, B / 8)]
    values = sines([(1, 1)])(points)[0]
    cost, value = shape_fit(shape(points, values), np.vstack([sines([(1, 1)])(points), 1e-9 * values]))
    assert cost[0] < 0.2
    assert cost[1] > REJECTION
    assert value == pytest.approx([1, 1])


def test_points_on_node_lines_of_every_mode_say_nothing():
    # The rim of a hinged plate.
    points = np.array([(0, 0.1), (0, 0.3), (A, 0.2), (0.2, 0), (0.3, B), (0.1, 0)])
    rng = np.random.default_rng(4)
    noise = Shape(points, rng.normal(size=6), np.full(6, 1e-3))
    cost, _ = shape_fit(noise, sines(ORDER)(points))
    np.testing.assert_allclose(cost, 0, atol=1e-6)
    hz = np.array([100.0, 140, 190])
    told = pair(hz, [(0, 0)] * 3, [Measured(1, 141.0, None, None, None, shape=noise)], deflection=sines(ORDER[:3]))
    assert [(p.mode, p.number) for p in told.pairs] == [(2, 1)]


def test_a_shape_of_nothing_and_one_of_another_size():
    cost, value = shape_fit(shape([(0, 0), (1, 1)], [0.0, 0.0]), np.ones((3, 2)))
    assert (cost == 0).all()
    assert np.isnan(value).all()
    with pytest.raises(AccuracyError, match="2 points"):
        shape_fit(shape([(0, 0), (1, 1)], [1.0, 0.0]), np.ones((3, 4)))


def plate_hz(ratio):
    """Hinged orthotropic plate, Navier's solution: modes in the order of ORDER, Hz to a common factor."""
    return np.array(
        [
            60 * np.sqrt(ratio * (m / A) ** 4 + 0.8 * (m * n / A / B) ** 2 + (n / B) ** 4) * B**2 / np.sqrt(ratio + 1.8)
            for m, n in ORDER
        ]
    )


def swapped(points, error=0.1, seed=0):
    """Predicted frequencies in rising order with their shapes, and the taps of a plate in which two of them cross."""
    predicted, true = plate_hz(2.3), plate_hz(2.9)
    rising, heard = np.argsort(predicted), np.argsort(true)
    order = [ORDER[k] for k in rising]
    rng = np.random.default_rng(seed)
    measured = []
    for number, k in enumerate(heard, start=1):
        values = sines([ORDER[k]])(points)[0] + rng.normal(0, error, len(points))
        measured.append(Measured(number, true[k], None, None, None, shape=shape(points, values, error)))
    right = {number: list(rising).index(k) + 1 for number, k in enumerate(heard, start=1)}
    return predicted[rising], order, measured, right


def test_modes_that_crossed_pair_right_with_shapes_and_wrong_without():
    hz, order, measured, right = swapped(inner_grid(4, 3))
    assert any(number != mode for number, mode in right.items())
    told = pair(hz, [(0, 0)] * len(hz), measured, deflection=sines(order))
    assert {p.number: p.mode for p in told.pairs} == right
    assert all(p.mac > 0.8 and p.ambiguous_with == () for p in told.pairs)
    assert told.mac.shape == (len(hz), len(measured))
    blind = pair(hz, [(0, 0)] * len(hz), [replace(m, shape=None) for m in measured], deflection=sines(order))
    assert {p.number: p.mode for p in blind.pairs} != right
    assert blind.mac is None
    assert all(p.mac is None for p in blind.pairs)


def test_points_that_do_not_tell_shapes_apart_leave_the_pairing_to_the_frequencies():
    # Along one short line all modes look alike.
    points = np.column_stack([np.full(6, 0.12), np.linspace(0.08, 0.09, 6)])
    hz, order, measured, _ = swapped(points, 0.02)
    told = pair(hz, [(0, 0)] * len(hz), measured, deflection=sines(order))
    blind = pair(hz, [(0, 0)] * len(hz), [replace(m, shape=None) for m in measured])
    assert [(p.mode, p.number, p.ambiguous_with) for p in told.pairs] == [
        (p.mode, p.number, p.ambiguous_with) for p in blind.pairs
    ]
    assert any(p.ambiguous_with for p in told.pairs)


@pytest.mark.parametrize("n_predicted", [4, 8])
@pytest.mark.parametrize("heard", [(1, 2, 5), (3, 4, 5, 6, 7), (0, 1, 2, 3, 4, 5, 6, 7)])
def test_more_and_fewer_measured_modes(n_predicted, heard):
    hz, order, measured, right = swapped(inner_grid(4, 3))
    some = [measured[k] for k in heard]
    told = pair(hz[:n_predicted], [(0, 0)] * n_predicted, some, deflection=sines(order[:n_predicted]))
    assert {p.number: p.mode for p in told.pairs} == {
        m.number: right[m.number] for m in some if right[m.number] <= n_predicted
    }
    assert told.mac.shape == (n_predicted, len(some))


def test_shapes_of_some_modes_only():
    hz, order, measured, right = swapped(inner_grid(4, 3))
    # One of each two that crossed is enough: the other one has to take what is left.
    told_by = {number for number, mode in right.items() if number < mode}
    some = [m if m.number in told_by else replace(m, shape=None) for m in measured]
    told = pair(hz, [(0, 0)] * len(hz), some, deflection=sines(order))
    assert {p.number: p.mode for p in told.pairs} == right
    assert np.array_equal(np.isnan(told.mac).all(axis=0), [m.number not in told_by for m in some])


def test_relative_scales_each_mode_to_its_largest():
    grid = inner_grid(49, 39)
    scaled = relative(lambda points: np.array([[3.0], [-0.2]]) * sines([(1, 1), (2, 1)])(points), grid)
    assert np.abs(scaled(grid)).max(axis=1) == pytest.approx([1, 1])
    assert scaled([(A / 2, B / 2)])[0, 0] == pytest.approx(1)


def braced(woods):
    bar = np.array([[0.0, 0.004], [0.2, 0.011], [0.39, 0.004]])
    design = Design(
        polygon_outline([[0, 0], [0.44, 0.02], [0.42, 0.34], [0, 0.3]]),
        Plate("top", 0.0028),
        edge=Edge("free"),
        braces=(
            Brace("long", "bar", np.array([[0.02, 0.2], [0.414, 0.268]]), 0.008, bar),
            Brace("short", "bar", np.array([[0.14, 0.03], [0.11, 0.28]]), 0.007, bar * [0.6, 1.0]),
        ),
    )
    model = build_model(design, woods, size=0.09)
    return design, model, solve(model, 10)


def varied(woods, rng):
    names = ("E_L", "E_R", "G_LR", "density")
    return {
        key: replace(wood, **{name: getattr(wood, name) * np.exp(rng.normal(0, 0.05)) for name in names})
        for key, wood in woods.items()
    }


def test_tops_of_other_wood_pair_right():
    """Wood 5 % off, frequencies a further 3 % off mode by mode, shapes with 20 % noise at 12 points: 98 % right."""
    spruce = handbook_wood("spruce_sitka")
    woods = {"top": spruce, "bar": spruce}
    design, model, modes = braced(woods)
    rng = np.random.default_rng(11)
    inner = design.region.buffer(-0.015)
    x0, y0, x1, y1 = inner.bounds
    grid = np.array(np.meshgrid(np.linspace(x0, x1, 60)[1:-1], np.linspace(y0, y1, 60)[1:-1])).reshape(2, -1).T
    grid = grid[contains_xy(inner, grid[:, 0], grid[:, 1])]
    predicted = relative(lambda points: deflections(model, modes, points), grid)
    right = blind = every = 0
    for _ in range(5):
        _, other, truth = braced(varied(woods, rng))
        for _ in range(8):
            points = grid[rng.choice(len(grid), 12, replace=False)]
            w = deflections(other, truth, points)
            values = w / np.abs(w).max(axis=1)[:, None] + rng.normal(0, 0.2, w.shape)
            hz = truth.frequencies * np.exp(rng.normal(0, 0.03, len(w)))
            order = np.argsort(hz)
            measured = [
                Measured(number, hz[k], None, None, None, shape=shape(points, values[k], 0.2))
                for number, k in enumerate(order, start=1)
            ]
            told = pair(modes.frequencies, [(0, 0)] * len(w), measured, deflection=predicted)
            right += sum(order[p.number - 1] + 1 == p.mode for p in told.pairs)
            alone = pair(modes.frequencies, [(0, 0)] * len(w), [replace(m, shape=None) for m in measured])
            blind += sum(order[p.number - 1] + 1 == p.mode for p in alone.pairs)
            every += len(w)
    assert right / every > 0.98
    assert blind < right
