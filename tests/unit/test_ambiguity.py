"""Close calls in words: what is said, and that the suggested tap does tell the two modes apart."""

import numpy as np
import pytest

from bracedtop.fem.ambiguity import FROM_EDGE, TELLING, Ambiguity, ambiguities, tap_places
from bracedtop.fem.match import pair
from bracedtop.fem.tap_shape import Shape
from bracedtop.fem.taps import Measured
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.outline import Hole, polygon_outline

A, B = 0.4, 0.3
DESIGN = Design(
    polygon_outline([[0, -B / 2], [A, -B / 2], [A, B / 2], [0, B / 2]]),
    Plate("spruce", 0.003),
    holes=(Hole(np.array([0.3, 0.0]), np.array([0.04, 0.04])),),
)
PLACES = tap_places(DESIGN)


def motion(points):
    """Deflection along the top with one node in its middle, and with two nodes."""
    x = np.asarray(points)[:, 0] / A
    return np.array([np.cos(np.pi * x), np.cos(2 * np.pi * x)])


def heard(hz, **notes):
    return [
        Measured(k, float(f), None, None, None, **{name: value[k - 1] for name, value in notes.items()})
        for k, f in enumerate(hz, start=1)
    ]


def found(hz, measured, *, amplitude=motion, deflection=None, places=PLACES):
    pairing = pair(np.array(hz), [(0, 0)] * len(hz), measured, deflection=deflection)
    return ambiguities(pairing, np.array(hz), measured, amplitude, places)


def test_places_lie_on_a_grid_off_rim_and_hole():
    x, y = PLACES.T
    assert x.min() == pytest.approx(0.03)
    assert x.max() == pytest.approx(0.37)
    assert np.abs(y).max() == pytest.approx(B / 2 - FROM_EDGE, abs=0.0051)
    assert np.hypot(x - 0.3, y).min() >= 0.04 + FROM_EDGE - 1e-4
    assert len(PLACES) > 500
    np.testing.assert_allclose(PLACES / 0.01, np.rint(PLACES / 0.01), atol=1e-9)


def test_no_places_on_a_narrow_strip():
    assert tap_places(Design(polygon_outline([[0, 0], [0.3, 0], [0.3, 0.04], [0, 0.04]]), Plate("w", 0.003))).shape == (
        0,
        2,
    )


def test_one_measured_mode_that_two_could_be():
    (close,) = found([200.0, 203.1], heard([201.0]))
    assert close.measured == (1,)
    assert set(close.modes) == {1, 2}
    assert close.apart_hz == pytest.approx(3.1)
    # In the middle the first stands still and the second moves most.
    assert close.tap[0] == pytest.approx(A / 2)
    assert abs(close.amplitudes[0] - close.amplitudes[1]) > 0.99
    x, y = (round(1e3 * value) for value in close.tap)
    assert close.words == (
        f"predicted 1 and 2 could both be measured 1: 3.1 Hz apart, no node notes; tap at x {x}, y {y} mm to tell them "
        "apart: mode 2 moves there, mode 1 stands nearly still"
    )


def test_two_that_could_be_exchanged_are_said_once():
    (close,) = found([200.0, 212.0], heard([202.0, 210.0]))
    assert close.measured == (1, 2)
    assert close.words.startswith(
        "predicted 1 and 2 could be measured 1 and 2 either way round: 12.0 Hz apart, no node"
    )


def test_a_clear_pairing_says_nothing():
    assert found([200.0, 300.0], heard([202.0, 310.0])) == ()


def test_notes_and_shapes_that_do_not_settle_it_are_named():
    (close,) = found([200.0, 206.0], heard([202.0], nodal_lines=[(0, None)]))
    assert "6.0 Hz apart, node notes fit both; tap" in close.words
    # Near the left end both move the same way.
    points = np.array([[0.02, 0.0], [0.03, 0.0], [0.02, 0.05]])
    shape = Shape(points, motion(points)[0], np.full(3, 0.1))
    (close,) = found([200.0, 206.0], heard([202.0], shape=[shape]), deflection=motion)
    assert "no node notes, shape at 3 points fits both (MAC 1.00 and 1.00)" in close.words


@pytest.mark.parametrize("places", [None, np.empty((0, 2))])
def test_without_places_no_tap_is_suggested(places):
    (close,) = found([200.0, 203.1], heard([201.0]), places=places)
    assert close.tap is None
    assert close.words.endswith("their shapes differ too little to tell them apart by one tap")


def test_modes_that_look_the_same_cannot_be_told_by_a_tap():
    (close,) = found([200.0, 203.1], heard([201.0]), amplitude=lambda points: motion(points)[[0, 0]])
    assert close.tap is None


def test_the_tap_is_where_the_amplitudes_differ_most():
    rng = np.random.default_rng(2)
    modes = rng.uniform(-1, 1, (3, len(PLACES)))
    for close in found([200.0, 203.0, 206.0], heard([201.0, 204.0]), amplitude=lambda _: modes):
        a, b = np.abs(modes[[close.modes[0] - 1, close.modes[1] - 1]])
        k = int(np.flatnonzero((close.tap == PLACES).all(axis=1))[0])
        assert abs(a[k] - b[k]) == pytest.approx(np.abs(a - b).max())
        assert close.amplitudes == pytest.approx((a[k], b[k]))
        assert abs(a[k] - b[k]) >= TELLING


def test_zero_has_no_sign_and_the_quieter_mode_is_named():
    close = Ambiguity((4,), (5, 4), 3.14, "no node notes", (-0.0001, 0.1204), (0.9, 0.4))
    assert close.words == (
        "predicted 4 and 5 could both be measured 4: 3.1 Hz apart, no node notes; tap at x 0, y 120 mm to tell them "
        "apart: mode 5 moves there, mode 4 moves less"
    )
