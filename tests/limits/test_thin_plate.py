"""Thin limit: the shear-deformable code against Argyris' C1 triangle, which knows no shear and no membrane.

Also the check of that triangle itself and of the converged values that tests/published gates on.
"""

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, bending_stiffness, frequencies, misses, plate, rectangle
from reference.thin import thin_rectangle

from bracedtop.fem.laminate import rotated
from bracedtop.geometry.design import Design

ALL = ("left", "right", "bottom", "top")
UNIT = np.array([[1.0, 0.3, 0.0], [0.3, 1.0, 0.0], [0.0, 0.0, 0.35]])
"""D of an isotropic plate, nu = 0.3, in units of D."""

SQUARES = {
    "simply supported": (dict.fromkeys(ALL, "hinged"), (19.7392, 49.348, 49.348, 78.957, 98.696, 98.696)),
    "clamped": (dict.fromkeys(ALL, "clamped"), (35.9852, 73.3938, 73.3938, 108.217, 131.581, 132.205)),
    "free": ({}, (13.468, 19.596, 24.270, 34.801, 34.801, 61.093)),
    "cantilever": ({"left": "clamped"}, (3.4710, 8.5063, 21.284, 27.199, 30.955, 54.184)),
    "two sides hinged, two clamped": (
        {"left": "hinged", "right": "hinged"} | dict.fromkeys(ALL[2:], "clamped"),
        (28.9509,),
    ),
}


@pytest.mark.parametrize("edges", SQUARES)
def test_argyris_gives_the_converged_values(edges: str) -> None:
    sides, expected = SQUARES[edges]
    lam = 2 * np.pi * thin_rectangle(1.0, 1.0, UNIT, 1.0, sides, len(expected))
    np.testing.assert_allclose(lam, expected, rtol=3e-4)


@pytest.mark.parametrize("kind", ["clamped", "free", "hinged"])
@pytest.mark.parametrize("angle", [0.0, 30.0])
def test_spruce_with_turned_grain(kind: str, angle: float) -> None:
    a, b, h, t = 0.4, 0.3, 0.6e-3, np.deg2rad(angle)
    D, _ = rotated(bending_stiffness(TRIAL_WOOD, h), np.eye(2), t)
    sides = {} if kind == "free" else dict.fromkeys(ALL, kind)
    expected = thin_rectangle(a, b, D, TRIAL_WOOD.density * h, sides, 8, cells=10)
    found = frequencies(_plate(a, b, h, kind, t), TRIAL_WOOD, 8, size=0.022)
    assert not misses(found, expected, 0.005)


@pytest.mark.parametrize("kind", ["clamped", "free"])
def test_differences_shrink_with_the_thickness(kind: str) -> None:
    a, b = 0.4, 0.3
    sides = {} if kind == "free" else dict.fromkeys(ALL, kind)
    gaps = []
    for h in (8e-3, 4e-3, 2e-3):
        thin = thin_rectangle(a, b, bending_stiffness(TRIAL_WOOD, h), TRIAL_WOOD.density * h, sides, 5, cells=10)
        gaps.append(np.abs(frequencies(_plate(a, b, h, kind), TRIAL_WOOD, 5, size=0.022) / thin - 1).max())
    # Shear gives a term in h^2, a free edge's boundary layer one in h.
    assert gaps[0] > 1.7 * gaps[1] > 1.7**2 * gaps[2]


def _plate(a: float, b: float, h: float, kind: str, angle: float = 0.0) -> Design:
    return plate(rectangle(a, b), h, kind, angle)
