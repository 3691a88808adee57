"""Matrices of a closed box for other rings, rims, films, woods and air.

Depends on fem/box_coupling, fem/box_parts, fem/box_values, fem/face_terms, fem/gas, fem/hole_air.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.box_coupling import coupled_matrices, pressure_rows
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.face_terms import FaceModel, face_matrices
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.gas import Gas, air_gas
from bracedtop.fem.hole_air import hole_resistance

_HOLE_HZ = 100.0
"""Frequency at which friction at the holes is taken where it must not depend on it, Hz: of the hole resonance."""


@dataclass(frozen=True, slots=True)
class BoxMatrices:
    """Matrices of a what-if over all N unknowns of the model; n of them are walls, rim and holes.

    Parameters
    ----------
    K, H, M : (N, N) arrays
        K + i H is the stiffness at a steady tone, without radiation and friction at the holes.
    K_faces : dict of str to (n, n) array
        What K has of top and back with the springs of their rims, without air.
    M_own : (n, n) array
        What M has without air in the cavity.
    pressures : (m, N) array
        Amplitudes of the air's pressures.
    gas : Gas
    free : (k,) int array
        Unknowns that are not held still.
    n_rigid : int
        Motions that nothing resists.
    """

    K: np.ndarray
    H: np.ndarray
    M: np.ndarray
    K_faces: dict[str, np.ndarray]
    M_own: np.ndarray
    pressures: np.ndarray
    gas: Gas
    free: np.ndarray
    n_rigid: int


def box_matrices(model: BoxModel, values: BoxValues | None = None) -> BoxMatrices:
    """Matrices of a box as drawn, or with other values."""
    values = values or BoxValues()
    parts, air, N = model.parts, model.air, model.size
    held = model.box.held if values.held is None else values.held
    rim, hole, n = parts["rim"], parts["hole"], parts["cavity"].start
    K, H, M = np.zeros((n, n)), np.zeros((N, N)), np.zeros((n, n))
    K_faces = {}
    for side, face, own, sign in _faces(model, values):
        m = face_matrices(face, own)
        joined_to_rim = _placed(n, parts[side], rim, (m.K, m.K_rigid, m.K_rim), sign)
        K += joined_to_rim
        H[:n, :n] += _placed(n, parts[side], rim, (m.H, m.H_rigid, m.H_rim), sign)
        M[parts[side], parts[side]] = m.M
        K_faces[side] = joined_to_rim
    gas, light, fast = _gas(model, values)
    M[rim, rim] = values.rim_mass * model.rim_mass
    M[hole, hole] = values.hole_mass * light * air.holes.mass
    _add_outside(model, M, values.hole_blocked, light)
    C = np.zeros((n, len(air.frequencies)))
    C[parts["top"]] = model.at_top
    C[parts["back"]] = model.at_back
    if values.hole_blocked:
        C[parts["top"]] += model.plug @ air.at_holes
    else:
        C[hole] = air.at_holes
    omega = 2 * np.pi * fast * air.frequencies
    near = model.near
    # A warmer air is lighter and faster; pressures of unit compliance scale with sqrt(density) speed / sqrt(volume),
    # but those close to holes and faces do not know how deep the box is.
    C *= np.sqrt(light) * fast
    C[:, near] /= np.sqrt(values.volume)
    stiff, mass = coupled_matrices(K, M, C[:, near], omega[near])
    slow = C[:, ~near] / omega[~near]
    mass[:n, :n] += slow @ slow.T
    P = pressure_rows(C[:, near], omega[near])
    H += (P.T * air.loss[near]) @ P
    still = np.zeros(N, dtype=bool)
    still[rim] = held
    still[hole] = values.hole_blocked
    # What goes in at one hole and out at another meets no spring.
    through = 0 if values.hole_blocked else max(hole.stop - hole.start - 1, 0)
    n_rigid = through + (0 if held else 3)
    return BoxMatrices(stiff, H, mass, K_faces, M, P, gas, np.flatnonzero(~still), n_rigid)


def loss_matrices(model: BoxModel, values: BoxValues | None = None) -> dict[str, np.ndarray]:
    """What the loss stiffness is made of, name to (N, N); the sum is that of `box_matrices` and friction at the holes.

    That friction grows with frequency; in "air" it is taken as at the holes' resonance.
    """
    values = values or BoxValues()
    m = box_matrices(model, values)
    n, rim = model.parts["cavity"].start, model.parts["rim"]
    found = {}
    rims, films = np.zeros((2, model.size, model.size))
    for side, face, own, sign in _faces(model, values):
        springs = own.rim or face.rim
        kept = replace(springs, deflection_loss=0.0, rotation_loss=0.0, inplane_loss=0.0)
        film = own.finish or face.finish
        bare = film if film is None else replace(film, loss=0.0)
        whole, unsprung, wood = (
            face_matrices(face, replace(own, rim=r, finish=f)) for r, f in ((springs, film), (kept, film), (kept, bare))
        )
        at = model.parts[side]
        rest = (whole.H - unsprung.H, whole.H_rigid - unsprung.H_rigid, whole.H_rim - unsprung.H_rim)
        rims[:n, :n] += _placed(n, at, rim, rest, sign)
        films[at, at] += unsprung.H - wood.H
        found[f"{side} wood"] = np.zeros_like(rims)
        found[f"{side} wood"][at, at] = wood.H
    found |= {"rim": rims, "finish": films}
    loss = model.air.loss[model.near]
    found["air"] = (m.pressures.T * loss) @ m.pressures
    hole = model.parts["hole"]
    if not values.hole_blocked and hole.stop > hole.start:
        frequency = _HOLE_HZ
        resistance = hole_resistance(model.air.holes, m.gas, frequency)
        found["air"][hole, hole] += np.diag(2 * np.pi * frequency * resistance)
    return found


def hole_friction(model: BoxModel, gas: Gas, phi: np.ndarray, hz: np.ndarray) -> np.ndarray:
    """Loss factors of modes (N, n) by friction at the edges of the holes, (n,)."""
    moved = phi[model.parts["hole"]]
    resistance = np.array([hole_resistance(model.air.holes, gas, float(f)) for f in hz]).reshape(len(hz), -1)
    return np.asarray((resistance.T * moved**2).sum(axis=0) / (2 * np.pi * hz))


def _faces(model: BoxModel, values: BoxValues) -> Iterator[tuple[str, FaceModel, FaceValues, float]]:
    """Faces with their values, and the sign of the rim's motion, which is counted as the top's, in their own."""
    yield "top", model.top, values.top, 1.0
    if model.back is not None:
        yield "back", model.back, values.back, -1.0


def _placed(
    n: int, at: slice, rim: slice, blocks: tuple[np.ndarray, np.ndarray, np.ndarray], sign: float
) -> np.ndarray:
    """A face's matrix, its join to the rim and what the rim has of it, among all unknowns, (n, n)."""
    own, between, body = blocks
    out = np.zeros((n, n))
    out[at, at] = own
    out[at, rim] = sign * between
    out[rim, at] = sign * between.T
    out[rim, rim] = body
    return out


def _add_outside(model: BoxModel, M: np.ndarray, blocked: bool, light: float) -> None:
    """The air that the faces carry outside; that of the holes by themselves is in their own mass."""
    top, back, hole = (model.parts[key] for key in ("top", "back", "hole"))
    r = top.stop
    between = light * model.front[:r, r:]
    M[top, top] += light * model.front[:r, :r]
    M[back, back] += light * model.behind
    if blocked:
        plugs = between @ model.plug.T
        M[top, top] += plugs + plugs.T + light * model.plug @ model.front[r:, r:] @ model.plug.T
    else:
        M[top, hole] += between
        M[hole, top] += between.T


def _gas(model: BoxModel, values: BoxValues) -> tuple[Gas, float, float]:
    """The air, and its density and speed of sound over those of the model."""
    drawn = model.air.gas
    if values.temperature is None:
        return drawn, 1.0, 1.0
    gas = air_gas(values.temperature)
    return gas, gas.density / drawn.density, gas.speed / drawn.speed
