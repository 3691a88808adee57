"""Plates and beams under static load.

S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. (1959), square plates, nu = 0.3: Table 8
(simply supported, even load: w = 0.00406 q a^4/D, M = 0.0479 q a^2), Table 35 (clamped, even load: 0.00126 q a^4/D, M
in the middle 0.0231, on the edge -0.0513), Table 23 (simply supported, force in the middle: 0.01160 P a^2/D), Table 37
(clamped, force in the middle: 0.00560 P a^2/D). All recalled. For the moment in the middle of the clamped plate the
later value 0.02291 is taken (R. L. Taylor, S. Govindjee, Commun. Numer. Meth. Eng. 20 (2004) 757-765, recalled).
Tolerance: the printed digits, 0.5 % of three.

Simply supported orthotropic rectangle under an even load or an even couple on a small rectangle: Navier's series of the
same shear-deformable theory, converged here (tests/reference/statics.py). Tolerance 0.1 %: discretisation.

Beam clamped at both ends, with a force or a couple in the middle: S. Timoshenko, Strength of Materials, part I, 3rd ed.
(1955), with his shear deflection; closed forms re-derived below.
"""

import numpy as np
import pytest
from reference.plates import WOOD, isotropic, plate, rectangle, rigidity
from reference.statics import box_traction, loaded, navier

from bracedtop.fem.footprint import Points
from bracedtop.fem.model import Model, build_model
from bracedtop.fem.static import Static, deflections_at, fields_at, strains_at
from bracedtop.fem.stress import face_stress
from bracedtop.fem.wood import Wood

STEEL = isotropic(200e9, 0.3, 7800.0)
SPRUCE = Wood("spruce", 11.9e9, 0.93e9, 0.51e9, 0.76e9, 0.72e9, 0.036e9, 0.372, 0.467, 0.435, 448.0)
A, H = 0.4, 2e-3


def model_of(a: float, b: float, h: float, kind: str, wood: Wood, size: float) -> Model:
    return build_model(plate(rectangle(a, b), h, kind), {WOOD: wood}, size=size)


def here(static: Static, x: float, y: float) -> Points:
    element, local = static.model.locator.locate(np.array([[x, y]]))
    return Points(element, local, np.ones(1))


def middle(static: Static, a: float, b: float) -> float:
    return float(deflections_at(static, np.array([[a / 2, b / 2]]))[0])


@pytest.mark.parametrize(("kind", "printed"), [("hinged", 0.00406), ("clamped", 0.00126)])
def test_even_load(kind: str, printed: float) -> None:
    model = model_of(A, A, H, kind, STEEL, 0.04)
    static = loaded(model, box_traction(model, (0.0, 0.0, A, A), out=1000.0))
    found = middle(static, A, A) * rigidity(STEEL, H) / (1000.0 * A**4)
    assert found == pytest.approx(printed, abs=6e-6)


@pytest.mark.parametrize(
    ("kind", "place", "printed"),
    [("hinged", (A / 2, A / 2), 0.0479), ("clamped", (A / 2, A / 2), 0.02291), ("clamped", (1e-5, A / 2), -0.0513)],
)
def test_bending_stress_under_an_even_load(kind: str, place: tuple[float, float], printed: float) -> None:
    model = model_of(A, A, H, kind, STEEL, 0.015)
    static = loaded(model, box_traction(model, (0.0, 0.0, A, A), out=1000.0))
    outside, inside = face_stress(static, here(static, *place))[0, :, 0]
    assert inside == pytest.approx(-outside)
    # A load out of the plate presses the outside face beside the middle of the edge and stretches it in the middle.
    assert outside * H**2 / 6 / (1000.0 * A**2) == pytest.approx(printed, rel=5e-3)


@pytest.mark.parametrize(("kind", "printed"), [("hinged", 0.01160), ("clamped", 0.00560)])
def test_force_in_the_middle(kind: str, printed: float) -> None:
    model = model_of(A, A, H, kind, STEEL, 0.03)
    c = 2e-3
    box = (A / 2 - c, A / 2 - c, A / 2 + c, A / 2 + c)
    static = loaded(model, box_traction(model, box, out=10.0 / (2 * c) ** 2))
    found = middle(static, A, A) * rigidity(STEEL, H) / (10.0 * A**2)
    assert found == pytest.approx(printed, rel=5e-3)


BOX = (0.15, 0.12, 0.21, 0.20)


@pytest.mark.parametrize("at", [(0.18, 0.16), (0.27, 0.12), (0.3, 0.25)])
@pytest.mark.parametrize("load", [{"q": 2.0e4}, {"m": 400.0}], ids=["force", "couple"])
def test_spruce_plate_under_a_loaded_rectangle(load: dict[str, float], at: tuple[float, float]) -> None:
    size = (0.45, 0.38)
    model = model_of(*size, 3e-3, "hinged", SPRUCE, 0.02)
    height = 5e-3
    # A pull of m / height at that height above the midplane is a couple m on beta_x, and stretches the plate besides.
    static = loaded(
        model, box_traction(model, BOX, out=load.get("q", 0.0), along=load.get("m", 0.0) / height, height=height)
    )
    exact = navier(SPRUCE, size, 3e-3, BOX, at, **load)
    w, beta = fields_at(static, here(static, *at))[0, [2, 3]]
    centre = navier(SPRUCE, size, 3e-3, BOX, (0.18, 0.16), **load)
    assert w == pytest.approx(exact["w"], abs=1e-3 * max(abs(exact["w"]), abs(centre["w"])))
    assert beta == pytest.approx(exact["beta_x"], rel=4e-3, abs=2e-3 * abs(centre["beta_x"]))
    strain = strains_at(static, here(static, *at))[0]
    D = model.groups[0].stiffness[0][3:6, 3:6]
    size_of_moments = max(abs(centre["M_x"]), abs(exact["M_x"]))
    expected = [exact["M_x"], exact["M_y"]]
    np.testing.assert_allclose((D @ strain[3:6])[:2], expected, rtol=0.01, atol=0.01 * size_of_moments)


L, WIDTH = 0.4, 0.02
ROD = Wood("rod", 12e9, 1e9, 1e9, 0.7e9, 0.7e9, 0.7e9, 0.0, 0.0, 0.0, 450.0)


def beam(h: float) -> Model:
    def ends(xy: np.ndarray) -> np.ndarray:
        return np.asarray((xy[0] < 1e-6) | (xy[0] > L - 1e-6))

    return build_model(plate(rectangle(L, WIDTH), h, "clamped"), {WOOD: ROD}, size=0.006, where=ends)


@pytest.mark.parametrize("h", [3e-3, 20e-3])
def test_beam_with_a_force_in_the_middle(h: float) -> None:
    model = beam(h)
    c = 2e-3
    static = loaded(model, box_traction(model, (L / 2 - c, 0, L / 2 + c, WIDTH), out=30.0 / (2 * c * WIDTH)))
    EI, S = ROD.E_L * WIDTH * h**3 / 12, 5 / 6 * ROD.G_LT * WIDTH * h
    assert middle(static, L, WIDTH) == pytest.approx(30.0 * L**3 / (192 * EI) + 30.0 * L / (4 * S), rel=2e-3)


@pytest.mark.parametrize("h", [3e-3, 20e-3])
def test_beam_with_a_couple_in_the_middle(h: float) -> None:
    """Each half is a cantilever of length l whose tip gets half the couple and the force that keeps it at w = 0."""
    model = beam(h)
    couple, c = 0.8, 2e-3
    box = (L / 2 - c, 0, L / 2 + c, WIDTH)
    static = loaded(model, box_traction(model, box, along=couple / (10e-3 * 2 * c * WIDTH), height=10e-3))
    EI, S, l = ROD.E_L * WIDTH * h**3 / 12, 5 / 6 * ROD.G_LT * WIDTH * h, L / 2
    force = -(couple / 2) * l**2 / (2 * EI) / (l**3 / (3 * EI) + l / S)
    turn = couple / 2 * l / EI + force * l**2 / (2 * EI)
    # Spread over 2 c, the couple turns the middle less by what bends the beam over c with half of it.
    turn -= couple / 2 * (c / 2) / EI
    found = fields_at(static, here(static, L / 2, WIDTH / 2))[0, 3]
    assert found == pytest.approx(turn, rel=3e-3)
    assert middle(static, L, WIDTH) == pytest.approx(0.0, abs=1e-4 * turn * L)
