"""Two or three oscillators derived from a box in finite elements.

Depends on fem/box_coupling, fem/box_matrices, fem/box_parts, fem/box_values, fem/face_terms, fem/lumped.

Each face gives the motion by itself in which it yields most air, without the spring of the air but with the mass that
the air adds inside and outside. The rim is held or carries the other face as a stiff body, as the box is. What two
oscillators share of mass, through the rim or the air, has no place in such a model: it is what the full one adds.
"""

import numpy as np
import scipy.linalg

from bracedtop.fem.box_coupling import lowest
from bracedtop.fem.box_matrices import BoxMatrices, box_matrices
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.face_terms import FaceModel, surface
from bracedtop.fem.lumped import Lumped, Piston

_TRIED = 6
"""Lowest motions of a face among which the one is that yields most air; chosen."""


def lumped_of(model: BoxModel, values: BoxValues | None = None, *, with_back: bool = True) -> Lumped:
    """Top, hole and back as oscillators; masses at the driving point, that of the back where it moves most.

    Parameters
    ----------
    model : BoxModel
    values : BoxValues, optional
    with_back : bool
        False: the back is taken as rigid.
    """
    values = values or BoxValues()
    m = box_matrices(model, values)
    volume = model.air.volume * values.volume
    bulk = m.gas.density * m.gas.speed**2
    # The uniform pressure of unit compliance.
    uniform = np.sqrt(bulk / volume)
    top = _piston(model, m, "top", model.top, uniform)
    hole = None if values.hole_blocked else _hole(model, m, uniform)
    back = _piston(model, m, "back", model.back, uniform) if with_back and model.back is not None else None
    return Lumped(volume, bulk, top, hole, back)


def _without_spring(model: BoxModel, m: BoxMatrices) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness without air, and mass with what the air's motion inside adds, of walls, rim and holes."""
    n = model.parts["cavity"].start
    K = np.sum(list(m.K_faces.values()), axis=0)
    # Far below its frequencies the air inside follows the walls: y = C^T x / Omega.
    slow = m.K[:n, n:] / np.diag(m.K[n:, n:])
    return K, m.M[:n, :n] + slow @ slow.T


def _piston(model: BoxModel, m: BoxMatrices, side: str, face: FaceModel, uniform: float) -> Piston:
    K, M = _without_spring(model, m)
    T = _moving(model, m, side)
    # Of a free box, the motions of the whole; the air in the holes is not in T.
    pairs = lowest(T.T @ K @ T, T.T @ M @ T, _TRIED, T.shape[1] - face.size)
    phi = T @ pairs.vectors
    # The uniform pressure is the first.
    pushed = -m.pressures[0, : len(phi)] @ phi / uniform
    k = int(np.abs(pushed / pairs.values).argmax())
    at = model.parts[side]
    here = float(model.drive @ phi[at, k]) if face is model.top else _largest(face, phi[at, k])
    mass = 1 / here**2
    return Piston(mass, abs(float(pushed[k]) / here), float(pairs.values[k]) * mass)


def _largest(face: FaceModel, coordinates: np.ndarray) -> float:
    over = surface(face).deflection @ coordinates
    return float(over[np.abs(over).argmax()])


def _moving(model: BoxModel, m: BoxMatrices, side: str) -> np.ndarray:
    """Motions of one face and, if it is free, of the rim with the other face as a stiff body, (n, k)."""
    n, rim = model.parts["cavity"].start, model.parts["rim"]
    at = model.parts[side]
    T = np.zeros((n, at.stop - at.start))
    T[at] = np.eye(T.shape[1])
    if rim.start not in m.free:
        return T
    body = np.zeros((n, 3))
    body[rim] = np.eye(3)
    for other, K in m.K_faces.items():
        if other != side:
            there = model.parts[other]
            body[there] = -np.linalg.solve(K[there, there], K[there, rim])
    return np.column_stack([T, body])


def _hole(model: BoxModel, m: BoxMatrices, uniform: float) -> Piston | None:
    at = model.parts["hole"]
    if at.stop == at.start:
        return None
    _, M = _without_spring(model, m)
    area = -m.pressures[0, at] / uniform
    # All holes as one: moved by one pressure, their flows are as M^-1 area.
    share = scipy.linalg.solve(M[at, at], area, assume_a="pos")
    flow = float(area @ share)
    return Piston(float(area.sum()) ** 2 / flow, float(area.sum()))
