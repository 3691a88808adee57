"""Springs of the rim: closed forms of beams, cylinders and rings; what harder, softer and lossier woods do.

S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells (1959), art. 114-115: the edge of a long cylinder, held
against displacement, turns by M / (2 beta D) with beta^4 = E t / (4 R^2 D). M. Hetenyi, Beams on Elastic Foundation
(1946): the same for a short one, its far end hinged. S. Timoshenko, Strength of Materials, part II (1956): a ring
twisted by a couple m per length turns by m R^2 / (E I). All RECALLED.
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import disc

from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.rim import STATIONS, Rim, rim_curvature, rim_springs
from bracedtop.fem.rim_section import edge_stiffness
from bracedtop.fem.wood import Wood
from bracedtop.geometry.box import Box, Lining, Sides
from bracedtop.geometry.design import Design, Plate

R = 0.18
MAHOGANY = Wood("side", 10e9, 1.1e9, 0.64e9, 0.9e9, 0.65e9, 0.28e9, 0.31, 0.53, 0.6, 500)
FOAM = Wood("foam", 20e6, 20e6, 20e6, 8e6, 8e6, 8e6, 0.25, 0.25, 0.25, 60, species=None)
WOODS = {"side": MAHOGANY, "foam": FOAM}
LOSSES = {"side": LossFactors(0.008, 0.02, 0.025), "foam": LossFactors(0.1, 0.1, 0.1)}
STRIP = Lining("top", "side", 6e-3, 15e-3)


def box(*linings: Lining) -> Box:
    """Sides 2.2 mm thick, 95 mm deep."""
    return Box(
        Sides("side", 2.2e-3, np.array([[-R, 0.095], [R, 0.095]])), Design(disc(R), Plate("side", 3e-3)), linings
    )


def springs(*linings: Lining, woods: dict[str, Wood] = WOODS, losses: dict[str, LossFactors] = LOSSES) -> Rim:
    """Springs of the top's rim."""
    return rim_springs(box(*linings), "top", woods, losses)


def edge(height: float, depth: float, D: complex, k: complex) -> np.ndarray:
    """Edge of a uniform section."""
    both = np.full((2, 1), 1.0 + 0j)
    return edge_stiffness(np.array([height]), np.array([depth]), D * both, k * both)[0]


def test_straight_side_is_a_hinged_beam() -> None:
    """3 D / h, whatever part of it the lining takes."""
    for height in (0.005, 0.03):
        assert edge(height, 0.1, 0.9, 0.0)[1, 1] == pytest.approx(3 * 0.9 / 0.1, rel=1e-9)


@pytest.mark.parametrize("depth", [0.02, 0.05, 0.1])
def test_curved_side_is_a_beam_on_a_foundation(depth: float) -> None:
    """Hetenyi's short beam, Timoshenko's long cylinder."""
    D, k = 0.9, 1e10 * 2.2e-3 / R**2
    beta = (k / (4 * D)) ** 0.25
    a = beta * depth
    turned = (np.cosh(a) * np.sinh(a) - np.cos(a) * np.sin(a)) / (np.cosh(a) ** 2 - np.cos(a) ** 2) / (2 * D * beta)
    found = edge(0.01, depth, D, k)
    assert found[1, 1] == pytest.approx(1 / turned, rel=2e-4)
    if depth == 0.1:
        assert found[1, 1] == pytest.approx(2 * beta * D, rel=2e-4)
        assert found[0, 0] - found[0, 1] ** 2 / found[1, 1] == pytest.approx(2 * beta**3 * D, rel=2e-4)


def test_stiff_strip_turns_like_a_ring() -> None:
    """E I / R^2 of a ring that turns about its upper edge."""
    width, height, E = 6e-3, 15e-3, 10e9
    hoop = np.array([[E * width / R**2], [1.0]], dtype=complex)
    found = edge_stiffness(np.array([height]), np.array([0.1]), np.array([[1e6], [1e-6]], dtype=complex), hoop)
    assert found[0, 1, 1].real == pytest.approx(E * width * height**3 / 3 / R**2, rel=1e-4)


def test_curvature_of_a_circle() -> None:
    """1 / R all round."""
    x, curvature = rim_curvature(disc(R).points)
    assert len(x) == STATIONS
    assert curvature == pytest.approx(1 / R, rel=0.02)


def test_bare_side() -> None:
    """Without lining: half of the sides squeezed, and a row of the glued edge and the cylinder."""
    D, k = MAHOGANY.E_R * 2.2e-3**3 / 12, MAHOGANY.E_L * 2.2e-3 / R**2
    turned = 2 * D * (k / (4 * D)) ** 0.25
    glued = MAHOGANY.E_R * 2.2e-3**2 / 12
    rim = springs(losses=dict.fromkeys(WOODS, LossFactors(0, 0, 0)))
    assert rim.deflection == pytest.approx(2 * MAHOGANY.E_R * 2.2e-3 / 0.095, rel=1e-12)
    assert rim.rotation == pytest.approx(1 / (1 / turned + 1 / glued), rel=0.01)
    assert not rim.losses.any()


def test_equal_losses_come_out() -> None:
    """Where everything loses alike, so does every spring."""
    same = dict.fromkeys(WOODS, LossFactors(0.03, 0.03, 0.03))
    for linings in ((), (STRIP,), (replace(STRIP, wood="foam", alone=True),)):
        assert springs(*linings, losses=same).losses == pytest.approx(0.03, rel=1e-3)


def test_losses_lie_between_those_of_the_woods() -> None:
    """A row or a sum of springs is no better and no worse than its parts."""
    for linings in ((), (STRIP,), (replace(STRIP, wood="foam"),)):
        losses = springs(*linings).losses
        assert (losses > 0.008 * (1 - 1e-3)).all()
        assert (losses < 0.1 * (1 + 1e-3)).all()


def test_lining_stiffens_and_saw_cuts_soften() -> None:
    """Solid over cut over none, in rotation above all."""
    cut = replace(STRIP, kerf_pitch=8e-3, kerf_width=1.2e-3, kerf_depth=4.5e-3)
    solid, kerfed, bare = (springs(*linings).springs for linings in ((STRIP,), (cut,), ()))
    assert (solid >= kerfed).all()
    assert (kerfed >= bare).all()
    assert kerfed[1] < 0.95 * solid[1]


def test_wider_and_harder_is_stiffer() -> None:
    """A wider lining; woods twice as stiff make every spring twice as stiff."""
    assert (springs(replace(STRIP, width=9e-3)).springs > springs(STRIP).springs).all()
    moduli = {key: 2 * getattr(MAHOGANY, key) for key in ("E_L", "E_R", "E_T", "G_LR", "G_LT", "G_RT")}
    hard = springs(STRIP, woods={"side": replace(MAHOGANY, **moduli)})
    assert hard.springs == pytest.approx(2 * springs(STRIP).springs, rel=1e-9)


def test_foam_is_softer_and_lossier() -> None:
    """Foam in place of wood; still more where it carries the face alone."""
    wood = springs(STRIP)
    foam = springs(replace(STRIP, wood="foam"))
    alone = springs(replace(STRIP, wood="foam", alone=True))
    for soft, hard in ((foam, wood), (alone, foam)):
        assert (soft.springs < hard.springs).all()
        assert (soft.losses > hard.losses).all()
