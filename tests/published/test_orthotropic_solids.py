"""The trial case against orthotropic three-dimensional solids, solved in the test itself.

Rectangular spruce plate 400 by 300 by 2.8 mm, clamped, bare and with one or two braces 260 long, 7 wide, 15 mm high, at
plus and minus 37 degrees; see tests/reference/plates.py for the wood and tests/reference/solid.py for the solids.

Modes are paired by their deflection on a grid (modal assurance criterion, R. J. Allemang, D. L. Brown, Proc. IMAC 1
(1982) 110-116), so that a swap of neighbours does not pass for agreement.

Tolerances: 0.5 % bare, 2 % braced. The solids' own discretisation: at 20 mm and order 4 they lie at most 0.1 % (bare)
and 0.35 % (braced) above order 5 with 5 mm elements in the braces (150.08, 229.62, 299.05, 424.97, 509.11, 519.18,
567.13, 622.53, 714.65, 774.63 Hz for the crossing with a whole brace).
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, disc, isotropic, plate, rectangle, rigidity, trial_top
from reference.solid import Solid, solve_solid
from scipy.optimize import brentq
from scipy.special import iv, jv

from bracedtop.fem.model import build_model, deflections, solve
from bracedtop.geometry.design import Design, Edge

WOODS = {WOOD: TRIAL_WOOD}
N_MODES = 10
X, Y = np.meshgrid(np.linspace(0.02, 0.38, 19), np.linspace(0.02, 0.28, 14))
GRID = np.column_stack([X.ravel(), Y.ravel()])

FROZEN = {
    "bare": (112.29, 175.60, 274.20, 287.47, 322.42, 414.79, 441.57, 521.33, 553.03, 562.58),
    "one brace": (141.26, 203.59, 292.60, 302.44, 420.46, 422.13, 522.39, 573.76, 622.85, 668.71),
    "crossing, one whole": (150.47, 230.24, 299.67, 425.97, 510.37, 520.12, 568.55, 624.39, 716.11, 776.79),
}
"""Regression: an earlier run of the same solids on other meshes (bare: order 3, braced: order 4)."""

BRACED = {
    "one brace": trial_top(1),
    "crossing, one whole": trial_top(2, kept=1.0),
    "crossing, half lap": trial_top(2),
}


def compared(design: Design, solid: Solid, tolerance: float) -> list[str]:
    """Lines for the modes of the solid whose partner by shape is missing or too far off."""
    model = build_model(design, WOODS)
    modes = solve(model, N_MODES + 4)
    ours = deflections(model, modes, GRID)
    mac = (solid.deflections @ ours.T) ** 2
    mac /= np.outer((solid.deflections**2).sum(axis=1), (ours**2).sum(axis=1))
    lines = []
    for k, row in enumerate(mac):
        j = int(row.argmax())
        off = modes.frequencies[j] / solid.frequencies[k] - 1
        if row[j] < 0.8 or abs(off) > tolerance:
            lines.append(
                f"mode {k + 1}: solid {solid.frequencies[k]:.2f} Hz, plate {modes.frequencies[j]:.2f} Hz "
                f"({100 * off:+.2f} %), MAC {row[j]:.2f}"
            )
    return lines


def test_bare_plate() -> None:
    design = trial_top(0)
    solid = solve_solid(design, WOODS, order=3, n_modes=N_MODES, points=GRID)
    np.testing.assert_allclose(solid.frequencies, FROZEN["bare"], rtol=1e-3)
    assert not compared(design, solid, 0.005)


@pytest.mark.slow
@pytest.mark.parametrize("name", BRACED)
def test_braced_plate(name: str) -> None:
    solid = solve_solid(BRACED[name], WOODS, n_modes=N_MODES, points=GRID)
    if name in FROZEN:
        np.testing.assert_allclose(solid.frequencies, FROZEN[name], rtol=2e-3)
    assert not compared(BRACED[name], solid, 0.02)


@pytest.mark.slow
def test_solid_converges_from_above() -> None:
    found = [solve_solid(BRACED["one brace"], WOODS, order=order, n_modes=N_MODES).frequencies for order in (2, 3, 4)]
    assert (found[0] > found[1]).all()
    assert (found[1] > found[2]).all()
    assert (found[1] / found[2] - 1).max() < 0.01


@pytest.mark.slow
def test_solid_gives_rigid_motions_when_free() -> None:
    design = replace(trial_top(1), edge=Edge("free"))
    solid = solve_solid(design, WOODS, order=3, n_modes=N_MODES, points=GRID)
    assert solid.n_rigid == 6
    assert not compared(design, solid, 0.02)


def test_solid_on_hinges_is_a_simply_supported_plate() -> None:
    # S. Srinivas, C. V. J. Rao, A. K. Rao, An exact analysis for vibration of simply-supported homogeneous and
    # laminated thick rectangular plates, J. Sound Vib. 12 (1970) 187-199: omega h sqrt(rho / G) of an isotropic square
    # plate, h/a = 0.1, nu = 0.3 (recalled from memory; four digits printed). Other rows are in-plane motions.
    metal = isotropic(200e9, 0.3, 8000.0)
    solid = solve_solid(plate(rectangle(0.1, 0.1), 0.01, "hinged"), {WOOD: metal}, size=15e-3, order=3, n_modes=13)
    scaled = 2 * np.pi * solid.frequencies * 0.01 * np.sqrt(metal.density / metal.G_LR)
    for value in (0.0932, 0.2226, 0.3421, 0.4171):
        assert np.abs(scaled - value).min() < 2e-4


@pytest.mark.slow
def test_solid_on_a_round_hinge() -> None:
    # Simply supported disc, A. W. Leissa, Vibration of Plates, NASA SP-160 (1969), section 2.1.2: roots of
    # J_{n+1}(x)/J_n(x) + I_{n+1}(x)/I_n(x) = 2x/(1 - nu). A stiff hinge locks on a curved rim, 10 % and more too high.
    metal = isotropic(200e9, 0.3, 8000.0)
    radius, thickness = 0.1, 1e-3

    def root(n: int, low: float, high: float) -> float:
        return float(brentq(lambda x: jv(n + 1, x) / jv(n, x) + iv(n + 1, x) / iv(n, x) - 2 * x / (1 - 0.3), low, high))

    exact = [root(0, 2.0, 2.35), root(1, 3.4, 3.8), root(1, 3.4, 3.8), root(2, 4.8, 5.12), root(2, 4.8, 5.12)]
    assert exact[0] ** 2 == pytest.approx(4.935, abs=5e-4)
    solid = solve_solid(plate(disc(radius), thickness, "hinged"), {WOOD: metal}, size=10e-3, order=3, n_modes=5)
    speed = np.sqrt(rigidity(metal, thickness) / (metal.density * thickness))
    expected = np.array(exact) ** 2 / radius**2 * speed / (2 * np.pi)
    np.testing.assert_allclose(solid.frequencies, expected, rtol=1e-3)
