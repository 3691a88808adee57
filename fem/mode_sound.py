"""What each mode of a box radiates when a force at the bridge drives it at its own frequency.

Depends on fem/directivity, fem/radiation, fem/sound_field. One mode alone: its neighbours' answer to the same force is
left out, which `fem/response` has.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.directivity import directivity
from bracedtop.fem.radiation import Real, efficiency, power, resistance, volume_flow
from bracedtop.fem.sound_field import SoundField


@dataclass(frozen=True, slots=True)
class ModeSound:
    """Sound of one mode, per newton at the bridge where that is the unit; rms.

    Parameters
    ----------
    frequency : float, Hz
    top, hole, back : float, m^3/s/N
        Outward volume flows; a sign against the top's flows against it.
    power : float, W/N^2
        Radiated to both sides.
    efficiency : float
        Radiated power over rho c S <v^2> of both faces and the holes.
    loss : float
        Loss factor by radiation.
    monopole, along, across, higher : float
        Shares of the power in front that go evenly everywhere, both ways along the box, both ways across, and the rest;
        sum 1.
    """

    frequency: float
    top: float
    hole: float
    back: float
    power: float
    efficiency: float
    loss: float
    monopole: float
    along: float
    across: float
    higher: float


def mode_sounds(
    field: SoundField, frequencies: Real, vectors: Real, M: Real, force: Real, loss: Real
) -> tuple[ModeSound, ...]:
    """Sound of each mode.

    Parameters
    ----------
    field : SoundField
    frequencies : (m,) array, Hz
    vectors : (N, m) array
    M : (N, N) array
    force : (N,) array
        Outward motion of the driven point of each unknown.
    loss : (m,) array
        Loss factor of each mode, radiation included.
    """
    found = []
    for hz, phi, eta in zip(frequencies, vectors.T, loss, strict=True):
        found.append(_mode_sound(field, float(hz), phi, float(phi @ M @ phi), float(phi @ force), float(eta)))
    return tuple(found)


def _mode_sound(field: SoundField, hz: float, phi: Real, mass: float, at_bridge: float, eta: float) -> ModeSound:
    omega, gas = 2.0 * np.pi * hz, field.gas
    # At resonance the stiffness is balanced by the mass and the force by the losses alone.
    v = at_bridge / (omega * mass * eta)
    faces = (field.front, field.back)
    motions = [(one.shapes @ phi)[:, None] for one in faces]
    R = sum(resistance(hz, one.xyz[:, :2], one.weight, w, gas)[0, 0] for one, w in zip(faces, motions, strict=True))
    weights, both = np.concatenate([one.weight for one in faces]), np.concatenate(motions)
    unit = np.ones(1)
    front, hole = field.front, field.front.is_hole
    angles = np.zeros(1)
    seen = directivity(hz, front.xyz[:, :2], front.weight, motions[0][:, 0], angles, angles, gas)
    return ModeSound(
        frequency=hz,
        top=v * float(volume_flow(front.weight * ~hole, motions[0])[0]),
        hole=v * float(volume_flow(front.weight * hole, motions[0])[0]),
        back=v * float(volume_flow(field.back.weight, motions[1])[0]),
        power=2.0 * v**2 * power(np.array([[R]]), unit),
        efficiency=efficiency(np.array([[R]]), weights, both, unit, gas),
        loss=float(R) / (omega * mass),
        monopole=seen.monopole,
        along=seen.dipole_x,
        across=seen.dipole_y,
        higher=seen.higher,
    )
