"""Sides, linings, blocks and neck as one stiff body."""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, rectangle

from bracedtop.fem.rim_body import NECK_LENGTH, rim_body
from bracedtop.geometry.box import Block, Box, Finish, Lining, Sides
from bracedtop.geometry.design import Design, Plate

A, B, DEPTH, T = 0.4, 0.3, 0.1, 2e-3
TOP = Design(rectangle(A, B), Plate(WOOD, 3e-3))
BARE = Box(Sides(WOOD, T, np.array([[0.0, DEPTH], [A, DEPTH]])), TOP)
DENSITY = TRIAL_WOOD.density


def body(box: Box) -> np.ndarray:
    return rim_body(TOP, box, {WOOD: TRIAL_WOOD})


def test_sides_alone() -> None:
    """Mass, its centre, and a finish on the sides."""
    M = body(BARE)
    sides = DENSITY * T * DEPTH * 2 * (A + B)
    assert M[0, 0] == pytest.approx(sides, rel=1e-9)
    assert M[0, 1:] == pytest.approx(sides * np.array([A / 2, B / 2]), rel=1e-9)
    film = body(replace(BARE, finishes=(Finish("sides", 0.1),)))
    assert film[0, 0] - sides == pytest.approx(0.1 * DEPTH * 2 * (A + B), rel=1e-9)


def test_kerfs_make_a_lining_lighter() -> None:
    solid = body(replace(BARE, linings=(Lining("top", WOOD, 6e-3, 15e-3),)))
    cut = body(replace(BARE, linings=(Lining("top", WOOD, 6e-3, 15e-3, 8e-3, 1.2e-3, 4.5e-3),)))
    bare = body(BARE)[0, 0]
    assert solid[0, 0] - bare == pytest.approx(DENSITY * 6e-3 * 15e-3 * 2 * (A + B), rel=1e-9)
    assert (cut[0, 0] - bare) / (solid[0, 0] - bare) == pytest.approx(1 - 1.2 * 4.5 / (8 * 6), rel=1e-9)


def test_block_is_inside_the_rim() -> None:
    """A block of 50 by 60 mm at the neck; about y = 0 lies the edge of this rectangle, so that half of it is inside."""
    M = body(replace(BARE, blocks=(Block("neck", WOOD, 0.05, 0.06),))) - body(BARE)
    assert M[0, 0] == pytest.approx(DENSITY * 0.05 * 0.03 * DEPTH, rel=1e-9)
    assert M[0, 1] / M[0, 0] == pytest.approx(A - 0.025, rel=1e-9)


def test_neck_is_a_rod() -> None:
    """m (a^2 + a L + L^2 / 3) about the origin for a rod from a to a + L."""
    M = body(replace(BARE, neck_mass=0.8)) - body(BARE)
    assert M[0, 0] == pytest.approx(0.8, rel=1e-9)
    assert M[1, 1] == pytest.approx(0.8 * (A**2 + A * NECK_LENGTH + NECK_LENGTH**2 / 3), rel=1e-3)
