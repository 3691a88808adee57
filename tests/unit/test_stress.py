"""Stresses of a ribbed cantilever against the beam formulas, and where the largest ones are looked for.

A strip with a rib along its whole length, clamped at one end and pushed near the other: bending moment and shear force
follow from statics alone, stresses from sigma = M (z - z_n) / I and tau = V S / (I b) (S. Timoshenko, Strength of
Materials, part I, 3rd ed. (1955), art. 23 and 26). Poisson's ratios are zero, so that the strip is a beam.
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, plate, rectangle, trial_top
from reference.statics import box_traction, loaded

from bracedtop.fem.footprint import Points
from bracedtop.fem.model import build_model
from bracedtop.fem.static import Static
from bracedtop.fem.stress import brace_stress, face_stress, largest, smoothed
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Edge

L, B, T = 0.3, 0.014, 3e-3
RIB_WIDTH, RIB_HEIGHT = 8e-3, 9e-3
PUSH, PUSHED_AT = 5.0, 0.285
ROD = Wood("rod", 12e9, 1e9, 1e9, 0.8e9, 0.8e9, 0.8e9, 0.0, 0.0, 0.0, 450.0)


@pytest.fixture(scope="module")
def cantilever() -> Static:
    path = np.array([[0.0, B / 2], [L, B / 2]])
    rib = Brace("rib", WOOD, path, RIB_WIDTH, np.array([[0.0, RIB_HEIGHT], [L, RIB_HEIGHT]]))
    design = replace(plate(rectangle(L, B), T, "clamped"), braces=(rib,))
    model = build_model(design, {WOOD: ROD}, size=8e-3, where=lambda xy: np.asarray(xy[0] < 1e-6))
    box = (PUSHED_AT - 2e-3, 0.0, PUSHED_AT + 2e-3, B)
    return loaded(model, box_traction(model, box, out=PUSH / (4e-3 * B)))


def section() -> tuple[float, float, float]:
    """Height of the neutral axis, second moment of area about it, first moment of the rib about it."""
    A = np.array([B * T, RIB_WIDTH * RIB_HEIGHT])
    z = np.array([0.0, -(T + RIB_HEIGHT) / 2])
    own = np.array([B * T**3, RIB_WIDTH * RIB_HEIGHT**3]) / 12
    z_n = (A * z).sum() / A.sum()
    return z_n, float((own + A * (z - z_n) ** 2).sum()), float(A[1] * (z[1] - z_n))


@pytest.mark.parametrize("x", [0.1, 0.15, 0.2])
def test_fibres(cantilever: Static, x: float) -> None:
    found = brace_stress(cantilever, "rib")
    z_n, I, _ = section()
    M = PUSH * (PUSHED_AT - x)
    for values, z in ((found.free, -T / 2 - RIB_HEIGHT), (found.glued, -T / 2)):
        # Pushed out at its end, the strip bends out: what lies below the neutral axis is stretched.
        expected = -M / I * (z - z_n)
        assert np.interp(x, found.distance, values) == pytest.approx(expected, rel=5e-3)
    element, local = cantilever.model.locator.locate(np.array([[x, B / 2]]))
    outside = face_stress(cantilever, Points(element, local, np.ones(1)))[0, 0, 0]
    assert outside == pytest.approx(-M / I * (T / 2 - z_n), rel=5e-3)


def test_glue(cantilever: Static) -> None:
    found = brace_stress(cantilever, "rib")
    _, I, S = section()
    middle = (found.glue_distance > 0.08) & (found.glue_distance < 0.22)
    np.testing.assert_allclose(np.abs(found.glue_shear[middle]), abs(PUSH * S / (I * RIB_WIDTH)), rtol=0.01)
    # Over its whole length the glue hands over the rib's axial force, which is zero at both ends.
    total = np.trapezoid(found.glue_shear, found.glue_distance) * RIB_WIDTH
    assert abs(total) < 0.6 * np.abs(np.trapezoid(np.abs(found.glue_shear), found.glue_distance)) * RIB_WIDTH


def test_largest_is_where_the_strip_is_clamped(cantilever: Static) -> None:
    z_n, I, _ = section()
    pressed = largest(cantilever, 0, -1)
    assert pressed.face == 0
    assert pressed.place[0] < 0.01
    assert pressed.stress == pytest.approx(PUSH * (PUSHED_AT - 2.5e-3) / I * (T / 2 - z_n), rel=0.08)
    # The neutral axis lies below the strip, so that nothing in it is stretched but by what the push itself does.
    assert largest(cantilever, 0, 1).stress < 0.03 * pressed.stress


def test_a_notched_brace_is_judged_by_what_the_notch_leaves() -> None:
    design = trial_top(2)
    model = build_model(replace(design, edge=Edge("hinged")), {WOOD: TRIAL_WOOD}, size=0.03)
    static = loaded(model, box_traction(model, (0.19, 0.14, 0.21, 0.16), out=1e4))
    over, under = brace_stress(static, "x2"), brace_stress(static, "x1")
    middle = 0.13
    # Half a lap. What is left of the brace that passes under is half as high and bends sharply; the root of the other
    # one's notch lies between its free and its glued side.
    assert np.interp(middle, under.distance, under.free) < 2 * np.interp(middle - 0.02, under.distance, under.free) < 0
    free, glued = (np.interp(middle - 0.02, over.distance, side) for side in (over.free, over.glued))
    assert free < np.interp(middle, over.distance, over.glued) < glued
    assert (np.diff(over.distance) >= 0).all()


def test_fitted_lines_keep_lines_and_steps() -> None:
    rng = np.random.default_rng(1)
    s = np.sort(rng.uniform(0.0, 0.2, 400))
    weight = rng.uniform(0.5, 1.5, 400)
    step = 0.083
    values = np.column_stack([3.0 - 20.0 * s, np.where(s < step, 1.0 + 10.0 * s, 5.0)])
    rows = smoothed(s, weight, values, np.array([step]))
    np.testing.assert_allclose(rows[:, 1], 3.0 - 20.0 * rows[:, 0], atol=1e-9)
    np.testing.assert_allclose(rows[:, 2], np.where(rows[:, 0] < step, 1.0 + 10.0 * rows[:, 0], 5.0), atol=1e-9)
    assert rows[0, 0] == s[0]
    assert rows[-1, 0] == s[-1]


def test_fitted_lines_of_few_points() -> None:
    one = smoothed(np.array([0.1]), np.ones(1), np.array([[7.0]]), np.zeros(0))
    np.testing.assert_allclose(one, [[0.1, 7.0], [0.1, 7.0]])
    assert smoothed(np.zeros(0), np.zeros(0), np.zeros((0, 2)), np.zeros(0)).shape == (0, 3)
