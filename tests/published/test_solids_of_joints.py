"""Caps over crossings and patches under braces against orthotropic solids, solved in the test itself.

Free spruce plates, 300 by 220 by 2.8 mm (tests/reference/plates.py for the wood): two braces of 7 by 12 mm crossing in
a half lap, with a cap of 2 by 50 mm along the lower one, and one such brace across a pad of 60 by 60 by 1.8 mm that
runs through under it.

Goal: 1.5 % over the first ten modes and a modal assurance criterion of 0.9 (R. J. Allemang, D. L. Brown, Proc. IMAC 1
(1982) 110-116). The solids' own discretisation: with borders of glued faces graded once they lie up to 0.8 % below
ungraded ones; graded twice they move by at most 0.15 % more.
"""

from functools import cache

import numpy as np
import pytest
from reference.compare import N_JUDGED, N_SPARE, Figures
from reference.plates import TRIAL_WOOD, WOOD, rectangle
from reference.solid import solve_solid

from bracedtop.fem.agreement import Agreement, agreement
from bracedtop.fem.model import build_model, deflections, solve
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.outline import polygon_outline
from bracedtop.geometry.patch import Patch

WOODS = {WOOD: TRIAL_WOOD}
X, Y = np.meshgrid(np.linspace(0.01, 0.29, 18), np.linspace(0.01, 0.21, 14))
GRID = np.column_stack([X.ravel(), Y.ravel()])
CENTRE = np.array([0.15, 0.11])

UNCAPPED = (157.71, 178.62, 210.49, 228.38, 246.44, 320.70, 341.59, 354.76, 466.66, 527.69)
"""Regression: the solid of the same half lap without its cap, order 4, graded once, Hz."""


def brace(name: str, degrees: float, length: float) -> Brace:
    half = length / 2 * np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    heights = np.array([[0.0, 0.012], [length, 0.012]])
    return Brace(name, WOOD, np.array([CENTRE - half, CENTRE + half]), 7e-3, heights)


def half_lap(cap: float, length: float) -> Design:
    pair = (brace("a", 40.0, 0.2), brace("b", -40.0, 0.2))
    joints = (Joint("a", "b", None, cap, length),)
    return Design(rectangle(0.3, 0.22), Plate(WOOD, 2.8e-3), braces=pair, joints=joints, edge=Edge("free"))


def over_a_pad() -> Design:
    corners = CENTRE + 0.03 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    pad = Patch("pad", WOOD, polygon_outline(corners), 1.8e-3, grain_angle=np.pi / 2, under_braces=True)
    one = (brace("a", 60.0, 0.19),)
    return Design(rectangle(0.3, 0.22), Plate(WOOD, 2.8e-3), braces=one, patches=(pad,), edge=Edge("free"))


DESIGNS = {"cap": half_lap(2e-3, 50e-3), "pad": over_a_pad()}


@cache
def solid(name: str) -> tuple[np.ndarray, np.ndarray]:
    found = solve_solid(DESIGNS[name], WOODS, graded=1, n_modes=N_JUDGED, points=GRID)
    return found.frequencies, found.deflections


@cache
def compared(name: str) -> Agreement:
    model = build_model(DESIGNS[name], WOODS)
    modes = solve(model, N_JUDGED + N_SPARE)
    return agreement(modes.frequencies, deflections(model, modes, GRID), *solid(name))


@pytest.mark.slow
def test_brace_over_a_pad() -> None:
    # Measured: largest -0.5 %, root mean square 0.2 %, MAC 0.999.
    found = compared("pad")
    assert Figures.of(found).meets(Figures(0.75, 0.5, 0.95)), np.round(100 * found.errors, 2)


@pytest.mark.slow
@pytest.mark.xfail(strict=True, reason="1.6 % too high in mode 6; without its cap 1.5 %")
def test_half_lap_with_a_cap() -> None:
    found = compared("cap")
    assert Figures.of(found).meets(Figures(1.5, 1.0, 0.9)), np.round(100 * found.errors, 2)


@pytest.mark.slow
def test_half_lap_with_a_cap_is_no_worse_than_it_was() -> None:
    # Measured: largest +1.6 %, root mean square 0.8 %, MAC 0.999.
    found = compared("cap")
    assert Figures.of(found).meets(Figures(1.8, 1.0, 0.99)), np.round(100 * found.errors, 2)


@pytest.mark.slow
def test_what_a_cap_adds() -> None:
    # The joint's own error falls out of the quotient; modes keep their order in both.
    frequencies, _ = solid("cap")
    bare = solve(build_model(half_lap(0.0, 0.0), WOODS), N_JUDGED).frequencies
    capped = solve(build_model(DESIGNS["cap"], WOODS), N_JUDGED).frequencies
    expected = frequencies / np.array(UNCAPPED)
    assert expected.max() > 1.03
    np.testing.assert_allclose(capped / bare, expected, rtol=3e-3)
