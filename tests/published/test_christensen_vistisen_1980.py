"""O. Christensen, B. B. Vistisen, "Simple model for low-frequency guitar function", J. Acoust. Soc. Am. 68 (1980) 758.

Status: the measured frequencies and the mass of Fig. 4 were seen in quotation. What the model makes of them (plate on
the closed box, in vacuo, air's spring, area) was recomputed by hand from its relations; the volume of 13 litres is
assumed. G. Caldersmith, "Guitar as a reflex enclosure", J. Acoust. Soc. Am. 63 (1978) 1566 (page recalled), has the
same relations.
"""

import numpy as np
import pytest

from bracedtop.fem.lumped import Lumped, Piston, air_spring, coupled, in_vacuo, pair_of_taps, split, split_of_taps

# Fig. 4: coupled pair, hole's resonance, moving mass of the top.
LOW, HOLE, HIGH = 104.0, 127.0, 219.0
MASS = 0.112

VOLUME, BULK = 13e-3, 1.205 * 343.0**2

# Printed digits of the hand calculation.
CLOSED, IN_VACUO, AIR, AREA, STIFFNESS = 206.5, 179.3, 102.4, 0.0652, 142208.0


def test_the_plate_by_itself() -> None:
    """Half a unit of the last digit."""
    seen = split_of_taps(LOW, HIGH, hole=HOLE)
    assert seen.closed == pytest.approx(CLOSED, abs=0.05)
    assert seen.in_vacuo == pytest.approx(IN_VACUO, abs=0.05)
    assert seen.air == pytest.approx(AIR, abs=0.05)


def test_masses_and_areas_give_the_pair() -> None:
    """The way back from printed mass, stiffness and area: to the 0.1 % that the area's three digits allow."""
    hole = Piston(BULK / VOLUME * (5.5e-3 / (2 * np.pi * HOLE)) ** 2, 5.5e-3)
    lumped = Lumped(VOLUME, BULK, Piston(MASS, AREA, STIFFNESS), hole)
    assert coupled(lumped).frequencies == pytest.approx([LOW, HIGH], rel=1e-3)


def test_there_and_back() -> None:
    """Measured pair to masses and areas and back, exact."""
    seen = split_of_taps(LOW, HIGH, hole=HOLE)
    lumped = pair_of_taps(seen, volume=VOLUME, bulk=BULK, mass=MASS, hole_area=5.5e-3)
    assert lumped.top.area == pytest.approx(AREA, abs=5e-5)
    assert lumped.top.stiffness == pytest.approx(STIFFNESS, rel=1e-5)
    back = split(lumped)
    assert [back.low, back.high] == pytest.approx([LOW, HIGH], rel=1e-12)
    assert back.closed == pytest.approx(seen.closed, rel=1e-12)


@pytest.mark.parametrize("hole", [110.0, 127.0, 150.0, 205.0])
def test_sum_and_product(hole: float) -> None:
    """f_-^2 + f_+^2 = f_p^2 + f_h^2 = f_p0^2 + f_a^2 + f_h^2 and f_- f_+ = f_p0 f_h, exact."""
    top = Piston(MASS, AREA, STIFFNESS)
    area = 5.5e-3
    lumped = Lumped(VOLUME, BULK, top, Piston(BULK / VOLUME * (area / (2 * np.pi * hole)) ** 2, area))
    f = coupled(lumped).frequencies
    plate, air = in_vacuo(top), air_spring(top, VOLUME, BULK)
    assert (f**2).sum() == pytest.approx(plate**2 + air**2 + hole**2, rel=1e-12)
    assert f.prod() == pytest.approx(plate * hole, rel=1e-12)
