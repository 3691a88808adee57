"""What the two faces of a box radiate, tabulated over frequency for all of its unknowns.

Depends on fem/gas, fem/radiation. The table depends on the faces alone; whatever changes their stiffness, mass or loss
is heard through the same one. Top and holes radiate into the half-space in front, the back into that behind, each in an
infinite baffle of its own. The player's ear is beside the box, where no baffle is: there, top, holes and back count as
simple sources in free space. So what moves the box as a whole, or the back, is heard by the player and not by the
listener.
"""

from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.gas import Gas
from bracedtop.fem.radiation import (
    Complex,
    Real,
    chebyshev,
    free_pressure_at,
    half_extent,
    interpolated,
    middle,
    nodes_needed,
    pressure_at,
    resistance,
)

HIGHEST = 1200.0
"""Frequency up to which a table reaches if nothing else is said, Hz; chosen: above the third-octave band of 1 kHz."""

LISTENER = 1.0
"""Distance of the listener in front, m."""

CONE = np.pi / 6.0
"""Half-angle of the cone about the axis in which listeners sit, rad; chosen: 30 degrees."""

EAR = (0.0, 0.5, -0.05)
"""The player's ear from the middle of the top, m, along the top, across it towards the bass side, and out of it; common
practice, no source: a seated player looks down on the bass side of the box, half a metre above its centreline and about
in the middle of its depth."""


@dataclass(frozen=True, slots=True, eq=False)
class Radiator:
    """Sources on one face.

    Parameters
    ----------
    xyz : (n, 3) array, m
    weight : (n,) array, m^2
    shapes : (n, N) array
        Outward motion there of each unknown.
    is_hole : (n,) array of bool
        Points on the air in a hole.
    """

    xyz: Real
    weight: Real
    shapes: Real
    is_hole: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class SoundField:
    """Table of what all unknowns radiate.

    Parameters
    ----------
    front, back : Radiator
    gas : Gas
    highest : float, Hz
        The table's upper end.
    at : (n,) array, Hz^2
        Squared frequencies of the resistances.
    in_front, behind : (n, N, N) arrays, N s/m / Hz^2
        Radiation resistances over squared frequency.
    heard_at : (k,) array, Hz
        Frequencies of the pressures.
    heard : (k, q, N) complex array
        Pressure over i f exp(-2 pi i f lag), per unit of velocity, on the axis, in the cone, and at the ear (the last).
    lag : (q,) array, s
        Travel time from the middle of the top.
    cone : (q - 2,) array
        Parts of the cone that its points stand for; sum 1.
    """

    front: Radiator
    back: Radiator
    gas: Gas
    highest: float
    at: Real
    in_front: Real
    behind: Real
    heard_at: Real
    heard: Complex
    lag: Real
    cone: Real


def sound_field(front: Radiator, back: Radiator, gas: Gas, highest: float = HIGHEST) -> SoundField:
    """Tabulate what two faces radiate up to `highest` in Hz."""
    extent = max(half_extent(front.xyz[:, :2]), half_extent(back.xyz[:, :2]))
    ka = 2.0 * np.pi * highest / gas.speed * extent
    at = chebyshev(nodes_needed(ka), highest**2)
    tables = [
        np.array([resistance(np.sqrt(s), one.xyz[:, :2], one.weight, one.shapes, gas) / s for s in at])
        for one in (front, back)
    ]
    before = np.append(middle(front.xyz[:, :2]), 0.0)
    points, cone = listeners()
    ear = before + np.array(EAR)
    ear[2] += float(front.xyz[:, 2].max())
    lag = np.append(np.linalg.norm(points, axis=1), np.linalg.norm(np.array(EAR))) / gas.speed
    # The pressures are not even in frequency, so they take a table of their own.
    heard_at = chebyshev(2 * nodes_needed(ka / 2.0), highest)
    heard = []
    for f in heard_at:
        hz = float(f)
        far = pressure_at(hz, front.xyz[:, :2], front.weight, front.shapes, before + points, gas)
        near = [free_pressure_at(hz, one.xyz, one.weight, one.shapes, ear[None], gas) for one in (front, back)]
        undelayed = np.exp(2j * np.pi * hz * lag)[:, None] / (1j * hz)
        heard.append(np.concatenate([far, near[0] + near[1]]) * undelayed)
    return SoundField(front, back, gas, highest, at, tables[0], tables[1], heard_at, np.array(heard), lag, cone)


def of_unknowns(field: SoundField, kept: np.ndarray) -> SoundField:
    """The table of some of the unknowns, by their numbers (k,); the others stand still."""
    square = np.ix_(np.arange(len(field.at)), kept, kept)
    return replace(
        field,
        front=replace(field.front, shapes=field.front.shapes[:, kept]),
        back=replace(field.back, shapes=field.back.shapes[:, kept]),
        in_front=field.in_front[square],
        behind=field.behind[square],
        heard=field.heard[..., kept],
    )


def resistances_in(field: SoundField, hz: Real, basis: Real) -> tuple[Real, Real]:
    """Radiation resistances (f, m, m) in front and behind, of unknowns that are basis (N, m) times m amplitudes."""
    out = [
        hz[:, None, None] ** 2 * interpolated(field.at, basis.T @ R @ basis, hz**2)
        for R in (field.in_front, field.behind)
    ]
    return out[0], out[1]


def pressures_in(field: SoundField, hz: Real, basis: Real) -> Complex:
    """Pressures (f, q, m) on the axis, at the cone's points and at the ear, per unit velocity of m amplitudes."""
    turned = 1j * hz[:, None] * np.exp(-2j * np.pi * hz[:, None] * field.lag)
    return np.asarray(interpolated(field.heard_at, field.heard @ basis, hz) * turned[..., None])


def listeners() -> tuple[Real, Real]:
    """The point on the axis, then points of the cone, (1 + q, 3) in m, and the parts (q,) of it that they hold."""
    mu, share = np.polynomial.legendre.leggauss(2)
    z = 1.0 - (1.0 - np.cos(CONE)) * (mu + 1.0) / 2.0
    turn = 2.0 * np.pi * np.arange(8) / 8
    s = np.sqrt(1.0 - z**2)[:, None]
    points = np.stack(np.broadcast_arrays(s * np.cos(turn), s * np.sin(turn), z[:, None]), axis=-1).reshape(-1, 3)
    return LISTENER * np.concatenate([[[0.0, 0.0, 1.0]], points]), np.repeat(share / 16.0, 8)
