"""The air of an invented guitar-like box against tetrahedra of the whole cavity (NGSolve,
tests/reference/air_solid.py).

Depth that changes along the box, blocks, a hole, without and with a domed back. Tolerance 0.1 % for frequencies and
volume, 0.3 % for the length of air that moves inside the hole; the reference's own mesh moves its modes by up to 0.1 %.
"""

import numpy as np
import pytest
from reference.air_boxes import guitar
from reference.air_solid import solve_air

from bracedtop.fem.air import build_air
from bracedtop.fem.helmholtz import helmholtz
from bracedtop.geometry.dome import Dome

N_MODES = 16

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("dome", [None, Dome(3.0, 3.0, (0.24, 0.0))], ids=["flat back", "domed back"])
def test_guitar_cavity(dome: Dome | None) -> None:
    box = guitar(dome=dome)
    wave_numbers, volume, inside = solve_air(*box, N_MODES, 0.04)
    air = build_air(*box)
    assert air.volume == pytest.approx(volume, rel=1e-3)
    assert helmholtz(air).inside[0] == pytest.approx(inside, rel=3e-3)
    exact = air.speed * wave_numbers / (2 * np.pi)
    assert air.frequencies[1 : N_MODES + 1] == pytest.approx(exact, rel=1e-3)
