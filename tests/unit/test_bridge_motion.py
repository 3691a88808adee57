"""What modes do at the bridge, on plates whose modes are known.

A simply supported rectangle moves in sin(m pi x / a) sin(n pi y / b) (Navier; S. Timoshenko, S. Woinowsky-Krieger,
Theory of Plates and Shells, 1959, art. 28), whatever its constants: (1, 1) carries a bridge in its middle as one,
(2, 1) tips it along x, (1, 2) along y.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from reference.plates import TRIAL_WOOD, WOOD, disc, plate, rectangle

import bracedtop.cases
from bracedtop.fem.bridge_motion import DISC_SHARE, bridge_area, bridge_motions, grid_points, plane_shares
from bracedtop.fem.case import read_case
from bracedtop.fem.model import build_model, solve
from bracedtop.geometry.outline import Hole
from bracedtop.geometry.outline import rectangle as block
from bracedtop.geometry.patch import Patch

A, B = 0.4, 0.3
CASES = Path(next(iter(bracedtop.cases.__path__)))


def motions(design, n_modes, size=0.04):
    model = build_model(design, {WOOD: TRIAL_WOOD}, size=size)
    return bridge_motions(model, solve(model, n_modes))


@pytest.mark.parametrize("drawn", [False, True], ids=["disc", "bridge"])
def test_hinged_plate(drawn):
    design = plate(rectangle(A, B), 2.8e-3, "hinged")
    if drawn:
        border = block(np.array([A / 2, B / 2]), np.array([0.03, 0.12]), 0.0)
        design = replace(design, patches=(Patch("bridge", WOOD, border, 1e-4, "outside", is_bridge=True),))
    found = motions(design, 5)
    # Navier's frequencies of this wood come in the order (1, 1), (1, 2), (2, 1), (1, 3), (2, 2); the middle is where
    # (1, 3) moves most and where (2, 2) and its gradient vanish.
    names = [motion.name for motion in found]
    assert names[:4] == ["moves as one", "rocks across", "rocks along", "moves as one"]
    assert names[4] == "nearly still"
    for motion, key in zip(found, ["as one", "across", "along"], strict=False):
        assert motion.shares[key] > 0.9
        assert sum(motion.shares.values()) == pytest.approx(1, abs=1e-9)


def test_share_of_a_tilt_against_its_integral():
    # w = sin(k x) over |x| < c: the plane a x takes (int x w)^2 / (int x^2 int w^2) of it.
    c, k = 0.05, 2 * np.pi / 0.16
    points = grid_points(shapely.box(-c, -0.02, c, 0.02), 20_000)
    first = 2 * (np.sin(k * c) / k**2 - c * np.cos(k * c) / k)
    square = c - np.sin(2 * k * c) / (2 * k)
    shares = plane_shares(np.sin(k * points[:, 0]), points)
    assert shares["along"] == pytest.approx(first**2 / (2 * c**3 / 3 * square), rel=2e-3)
    assert shares["bends"] == pytest.approx(1 - shares["along"], abs=1e-9)


@given(
    st.floats(-1, 1),
    st.floats(-20, 20),
    st.floats(-20, 20),
    st.floats(0, np.pi),
    st.floats(0.02, 0.1),
    st.floats(0.1, 1),
)
def test_planes_are_told_apart_without_rest(mean, along, across, angle, length, ratio):
    area = block(np.array([0.2, 0.1]), np.array([length, ratio * length]), angle).polygon
    points = grid_points(area, 400)
    w = mean + (points - points.mean(axis=0)) @ np.array([along, across])
    shares = plane_shares(w, points)
    if (w**2).mean() < 1e-12:
        return
    assert shares["bends"] == pytest.approx(0, abs=1e-9)
    assert sum(shares.values()) == pytest.approx(1, abs=1e-9)
    # Neither sign nor size of a mode matters.
    assert plane_shares(-3 * w, points) == pytest.approx(shares, abs=1e-9)


def test_area_is_the_bridge_else_a_disc_of_stated_size_cut_to_the_wood():
    design = plate(disc(0.2), 2.8e-3, "clamped")
    area, words = bridge_area(design)
    radius = DISC_SHARE * 0.4
    assert area.area == pytest.approx(np.pi * radius**2, rel=0.01)
    assert f"{1e3 * radius:.0f} mm" in words
    holed = replace(design, holes=(Hole(np.array([0.06, 0.0]), np.array([0.04, 0.04]), 0.0),))
    assert bridge_area(holed)[0].area < area.area
    border = block(np.zeros(2), np.array([0.03, 0.12]), 0.0)
    drawn = replace(design, patches=(Patch("saddle", WOOD, border, 1e-3, "outside", is_bridge=True),))
    area, words = bridge_area(drawn)
    assert area.area == pytest.approx(0.03 * 0.12)
    assert words == 'the bridge "saddle"'


def test_first_modes_of_a_symmetric_top():
    # On a top with a plane of symmetry a mode is symmetric or antisymmetric: the bridge, in the middle, then moves as
    # one and rocks along without rocking across, or rocks across alone.
    case = read_case(CASES / "siskin")
    model = build_model(case.design, case.woods, size=0.03)
    found = bridge_motions(model, solve(model, 4))
    assert [motion.name for motion in found] == ["moves as one", "nearly still", "rocks along", "rocks across"]
    for motion in found[:3]:
        assert motion.shares["across"] < 0.01
    assert found[3].shares["across"] > 0.9
