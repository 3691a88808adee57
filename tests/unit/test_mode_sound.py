"""Sound of single modes: of a piston on a spring, and as the whole response has it where one mode is alone."""

import numpy as np
import pytest

from bracedtop.fem.gas import Gas
from bracedtop.fem.mode_sound import mode_sounds
from bracedtop.fem.radiation import piston
from bracedtop.fem.response import Driven, radiation_loss, respond
from bracedtop.fem.sound_field import Radiator, sound_field

AIR = Gas(density=1.2, speed=343.0, viscosity=1.8e-5)
RADIUS, MASS, HZ = 0.02, 0.1, 200.0


def oscillator() -> Driven:
    """A rigid disc on a spring beside a hole in which nothing moves; the back is a disc that moves half as far."""
    xy, area = piston((0.0, 0.0), RADIUS)
    n = len(xy)
    points = np.column_stack([np.concatenate([xy, xy + np.array([0.2, 0.0])]), np.zeros(2 * n)])
    is_hole = np.arange(2 * n) >= n
    front = Radiator(points, np.concatenate([area, area]), np.where(is_hole, 0.0, 1.0)[:, None], is_hole)
    back = Radiator(points[:n] - np.array([0.0, 0.0, 0.1]), area, np.full((n, 1), 0.5), np.zeros(n, bool))
    K = np.array([[MASS * (2 * np.pi * HZ) ** 2]])
    return Driven(K, np.array([[MASS]]), {"spring": 0.02 * K}, np.ones(1), sound_field(front, back, AIR))


def test_one_mode() -> None:
    driven = oscillator()
    radiated = radiation_loss(driven.field, np.array([HZ]), np.ones((1, 1)), driven.M)
    (found,) = mode_sounds(driven.field, np.array([HZ]), np.ones((1, 1)), driven.M, driven.force, 0.02 + radiated)
    whole = respond(driven, np.array([HZ]))
    assert found.loss == pytest.approx(radiated[0], rel=1e-6)
    assert found.top == pytest.approx(abs(whole.flows["top"][0]), rel=1e-6)
    assert found.back == pytest.approx(found.top / 2, rel=1e-9)
    assert found.hole == 0.0
    assert found.power == pytest.approx(whole.sound_power[0], rel=1e-6)
    kd = 2 * np.pi * HZ / AIR.speed * 0.1
    # A source beside the middle of all: the mean of exp(i k d cos) over a sphere is sin(k d) / (k d).
    assert found.monopole == pytest.approx((np.sin(kd) / kd) ** 2, rel=1e-3)
    area = np.pi * RADIUS**2
    exact = AIR.density * (2 * np.pi * HZ) ** 2 * area**2 / (2 * np.pi * AIR.speed) * 1.25
    assert found.efficiency == pytest.approx(exact / (AIR.density * AIR.speed * area * 1.25), rel=1e-3)
