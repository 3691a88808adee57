"""Response of coupled systems: closed forms of one oscillator, energy balance, reciprocity, modal sum against
direct."""

from dataclasses import replace

import numpy as np
import pytest

from bracedtop.fem.gas import Gas
from bracedtop.fem.radiation import free_pressure_at, piston, pressure_at, resistance
from bracedtop.fem.response import (
    BEHIND,
    IN_FRONT,
    Driven,
    bridge_admittance,
    bridge_pressure,
    decibels,
    direct,
    frequency_grid,
    radiation_loss,
    respond,
)
from bracedtop.fem.sound_field import CONE, EAR, Radiator, sound_field
from bracedtop.geometry.errors import AccuracyError

AIR = Gas(density=1.2, speed=343.0, viscosity=1.8e-5)
DEPTH = 0.1


def face(n: int, start: int, n_all: int, z: float, hole: bool) -> Radiator:
    """Products of sines on half a metre by 0.4 m, in unknowns from `start`; the last unknown is the air in the hole."""
    s, share = np.polynomial.legendre.leggauss(16)
    X, Y = np.meshgrid(0.25 * (s + 1), 0.2 * (s + 1), indexing="ij")
    weight = 0.05 * np.outer(share, share).ravel()
    xy = np.column_stack([X.ravel(), Y.ravel()])
    shapes = np.zeros((len(xy), n_all))
    for i in range(n):
        shapes[:, start + i] = np.sin((1 + i // 3) * np.pi * xy[:, 0] / 0.5) * np.sin(
            (1 + i % 3) * np.pi * xy[:, 1] / 0.4
        )
    is_hole = np.zeros(len(xy), bool)
    if hole:
        disc, area = piston((0.33, 0.2), 0.045)
        xy, weight = np.concatenate([xy, disc]), np.concatenate([weight, area])
        shapes = np.concatenate([shapes, np.eye(n_all)[-1:].repeat(len(disc), 0)])
        is_hole = np.concatenate([is_hole, np.ones(len(disc), bool)])
    return Radiator(np.column_stack([xy, np.full(len(xy), z)]), weight, shapes, is_hole)


def system(n: int = 9, seed: int = 1) -> Driven:
    """Two plates of sines and a hole, with an air spring through all that moves volume (invented)."""
    rng = np.random.default_rng(seed)
    N = 2 * n + 1
    front, back = face(n, 0, N, 0.0, True), face(n, n, N, -DEPTH, False)
    M = np.diag(np.concatenate([np.full(n, 0.06), np.full(n, 0.08), [2e-4]]))
    M[:-1, :-1] += 0.005 * np.ones((2 * n, 2 * n))
    hz = np.concatenate([150 * (1 + np.arange(n) * 0.6), 190 * (1 + np.arange(n) * 0.55)])
    K = np.zeros((N, N))
    K[:-1, :-1] = np.diag(np.diag(M)[:-1] * (2 * np.pi * hz) ** 2)
    flow = front.weight @ front.shapes + back.weight @ back.shapes
    K += AIR.density * AIR.speed**2 / 0.014 * np.outer(flow, flow)
    losses = {}
    parts = {"wood of the top": slice(0, n), "wood of the back": slice(n, 2 * n), "air": slice(N - 1, N)}
    for name, part in parts.items():
        size = len(range(N)[part])
        A = rng.normal(size=(size, size))
        H = np.zeros((N, N))
        H[part, part] = 0.01 * np.diag(np.diag(K)[part]) + 50 * A @ A.T
        losses[name] = H
    force = np.zeros(N)
    force[:n] = front.shapes[100, :n]
    return Driven(K, M, losses, force, sound_field(front, back, AIR))


SYSTEM = system()
HZ = frequency_grid(70.0, 1100.0, 300)


def test_shares_sum_to_one_and_no_power_comes_out() -> None:
    found = respond(SYSTEM, HZ)
    assert sum(found.shares.values()) == pytest.approx(np.ones(len(HZ)), abs=1e-9)
    assert (found.power > 0).all()
    for share in found.shares.values():
        assert share.min() > -1e-9


def test_modal_sum_is_the_direct_solution() -> None:
    """All modes: to rounding. Those up to 0.7 times 1100 Hz, and the sag under the force: to 1 % far below."""
    for reach, tolerance in ((100.0, 1e-8), (0.7, 1e-2)):
        found = respond(SYSTEM, HZ, reach)
        for at in (0, 80, 150):
            x = direct(SYSTEM, float(HZ[at]))
            exact = 2j * np.pi * HZ[at] * (SYSTEM.force @ x)
            assert abs(found.admittance[at] - exact) < tolerance * abs(exact)


def test_curves_as_functions() -> None:
    known = respond(SYSTEM, HZ)
    shape = HZ.reshape(3, 100)
    assert bridge_admittance(SYSTEM)(shape) == pytest.approx(known.admittance.reshape(3, 100), rel=1e-9)
    assert bridge_pressure(SYSTEM)(shape) == pytest.approx(np.sqrt(known.cone).reshape(3, 100), rel=1e-9)
    assert bridge_pressure(SYSTEM)(np.array([5000.0])) == 0


def test_reciprocity() -> None:
    """Force and motion change places."""
    other = np.zeros(len(SYSTEM.K))
    other[9:18] = SYSTEM.field.back.shapes[40, 9:18]
    there = direct(SYSTEM, 210.0)
    back = direct(replace(SYSTEM, force=other), 210.0)
    assert other @ there == pytest.approx(SYSTEM.force @ back, rel=1e-10)


def test_pressures_flows_and_sound_power_are_those_of_the_motion() -> None:
    at = 90
    hz = float(HZ[at])
    found = respond(SYSTEM, HZ, 100.0)
    v = 2j * np.pi * hz * direct(SYSTEM, hz)
    front, back = SYSTEM.field.front, SYSTEM.field.back
    before = np.array([[0.25, 0.2, 1.0]])
    exact = pressure_at(hz, front.xyz[:, :2], front.weight, front.shapes, before, AIR) @ v
    assert found.on_axis[at] == pytest.approx(exact[0], rel=1e-6)
    ear = np.array([[0.25, 0.2, 0.0]]) + EAR
    exact = sum(free_pressure_at(hz, one.xyz, one.weight, one.shapes, ear, AIR) @ v for one in (front, back))
    assert found.ear[at] == pytest.approx(exact[0], rel=1e-6)
    hole = front.weight[front.is_hole].sum() * v[-1]
    assert found.flows["hole"][at] == pytest.approx(hole, rel=1e-6)
    R = sum(resistance(hz, one.xyz[:, :2], one.weight, one.shapes, AIR) for one in (front, back))
    assert found.sound_power[at] == pytest.approx(np.real(v.conj() @ R @ v), rel=1e-6)
    rng = np.random.default_rng(3)
    z = 1 - (1 - np.cos(CONE)) * rng.random(4000)
    turn = 2 * np.pi * rng.random(4000)
    s = np.sqrt(1 - z**2)
    many = np.column_stack([0.25 + s * np.cos(turn), 0.2 + s * np.sin(turn), z])
    mean = (np.abs(pressure_at(hz, front.xyz[:, :2], front.weight, front.shapes, many, AIR) @ v) ** 2).mean()
    assert found.cone[at] == pytest.approx(mean, rel=0.01)  # Two hundredths of a random mean's spread.


def one_oscillator(eta: float = 0.02, mass: float = 0.1, hz: float = 200.0) -> Driven:
    """A small rigid piston on a spring."""
    xy, area = piston((0.0, 0.0), 0.02)
    xyz = np.column_stack([xy, np.zeros(len(xy))])
    still = Radiator(xyz - [0, 0, DEPTH], area, np.zeros((len(xy), 1)), np.zeros(len(xy), bool))
    front = Radiator(xyz, area, np.ones((len(xy), 1)), np.zeros(len(xy), bool))
    K = np.array([[mass * (2 * np.pi * hz) ** 2]])
    return Driven(K, np.array([[mass]]), {"spring": eta * K}, np.ones(1), sound_field(front, still, AIR))


def test_one_oscillator() -> None:
    """Y = i omega / (k (1 + i eta) + i omega r - omega^2 m); at resonance 1 / (omega m (eta + eta_rad))."""
    driven = one_oscillator()
    omega = 2 * np.pi * HZ
    r = AIR.density * omega**2 * (np.pi * 0.02**2) ** 2 / (2 * np.pi * AIR.speed)
    k = driven.K[0, 0]
    found = respond(driven, HZ)
    exact = 1j * omega / (k * (1 + 0.02j) + 1j * omega * r - omega**2 * 0.1)
    assert found.admittance == pytest.approx(exact, rel=1e-4)  # (ka)^2 / 6 of the piston at 1.1 kHz is left out of r.
    w = 2 * np.pi * 200.0
    eta = radiation_loss(driven.field, np.array([200.0, 1300.0]), np.ones((1, 2)), driven.M)
    assert eta[0] == pytest.approx(AIR.density * w * (np.pi * 0.02**2) ** 2 / (2 * np.pi * AIR.speed * 0.1), rel=1e-3)
    peak = respond(driven, np.array([200.0])).admittance[0]
    assert peak == pytest.approx(1 / (w * 0.1 * (0.02 + eta[0])), rel=1e-6)


def test_a_small_piston_sounds_as_a_monopole() -> None:
    """|p| = rho omega Q / (2 pi d) in front of the baffle and half of that at the ear (Pierce 1989, 4-1), recalled."""
    found = respond(one_oscillator(), np.array([100.0, 200.0]))
    flow = np.abs(found.flows["top"])
    per_flow = AIR.density * 2 * np.pi * found.hz / (2 * np.pi)
    assert np.abs(found.on_axis) == pytest.approx(per_flow * flow, rel=1e-3)
    assert found.cone == pytest.approx((per_flow * flow) ** 2, rel=1e-3)
    assert np.abs(found.ear) == pytest.approx(per_flow * flow / 2 / np.linalg.norm(EAR), rel=2e-3)
    assert found.shares[BEHIND] == pytest.approx(0.0, abs=1e-12)
    assert (found.shares[IN_FRONT] > 0).all()
    assert found.admittance_level == pytest.approx(decibels(np.abs(found.admittance) ** 2))


def test_grid_is_finer_round_resonances() -> None:
    grid = frequency_grid(80.0, 1000.0, 100, (np.array([200.0]), np.array([0.01])))
    assert (np.diff(grid) > 0).all()
    for wanted in (196.0, 199.0, 199.5, 200.0, 200.5, 201.0, 204.0):
        assert np.abs(grid - wanted).min() < 1e-9


@pytest.mark.parametrize("hz", [0.0, 1300.0])
def test_frequencies_beyond_the_table(hz: float) -> None:
    with pytest.raises(AccuracyError, match="at most 1200 Hz"):
        respond(SYSTEM, np.array([100.0, hz]))
