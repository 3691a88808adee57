"""Shapes of a box's coupled modes on fine triangles: deflection of top and back, pressure half-way between them.

Depends on fem/air, fem/box_matrices, fem/box_modes, fem/box_parts, fem/deflection, fem/face_terms, fem/locate,
fem/picture, fem/plate.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.air import Air
from bracedtop.fem.box_matrices import box_matrices
from bracedtop.fem.box_modes import BoxModes
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.deflection import divided
from bracedtop.fem.face_terms import FaceModel
from bracedtop.fem.locate import Locator
from bracedtop.fem.picture import DeflectionMap
from bracedtop.fem.plate import N_FIELDS, shape_functions

_FACE_PARTS, _AIR_PARTS = 2, 3
"""Each side of a triangle is divided into so many; chosen: the panels of a picture are a third of a whole one, and the
air's triangles are twice as large."""


@dataclass(frozen=True, slots=True)
class BoxShapes:
    """Shapes of modes.

    Parameters
    ----------
    top : DeflectionMap
        Outwards, scaled to a largest deflection of 1 of both faces together in each mode.
    back : DeflectionMap or None
        Outwards, to the same scale; None where it is rigid.
    air : DeflectionMap
        Pressure half-way between the faces, scaled to a largest one of 1.
    """

    top: DeflectionMap
    back: DeflectionMap | None
    air: DeflectionMap


def box_shapes(model: BoxModel, modes: BoxModes) -> BoxShapes:
    """Shapes of modes for pictures.

    Parameters
    ----------
    model : BoxModel
    modes : BoxModes
    """
    top = _face(model.top, modes.vectors[:, model.parts["top"]])
    back = None if model.back is None else _face(model.back, modes.vectors[:, model.parts["back"]])
    scale = np.max([np.abs(face.values).max(axis=1) for face in (top, back) if face is not None], axis=0)[:, None]
    pressures = (box_matrices(model, modes.values).pressures @ modes.vectors.T).T
    air = _plane(model.air, pressures, model.near)
    largest = np.maximum(np.abs(air.values).max(axis=1, keepdims=True), 1e-30)
    return BoxShapes(_scaled(top, scale), None if back is None else _scaled(back, scale), _scaled(air, largest))


def _scaled(one: DeflectionMap, scale: np.ndarray) -> DeflectionMap:
    return DeflectionMap(one.points, one.triangles, one.values / scale)


def _face(face: FaceModel, amplitudes: np.ndarray) -> DeflectionMap:
    """Deflections of amplitudes (n, r) of a face's basis."""
    model = face.model
    points, xy, triangles = divided(model.locator, model.mesh.flat.t.shape[1], _FACE_PARTS)
    at_nodes = face.vectors[2 : N_FIELDS * model.space.n_nodes : N_FIELDS] @ amplitudes.T
    values, _ = shape_functions(model.space, points)
    seen = np.einsum("pj,pjm->mp", values, at_nodes[model.space.dofs[points.element]], optimize=True)
    return DeflectionMap(xy, triangles, seen)


def _plane(air: Air, amplitudes: np.ndarray, kept: np.ndarray) -> DeflectionMap:
    """Pressures of amplitudes (n, m) of the kept ones of the air's modes."""
    plan, space = air.cavity.plan, air.field.space
    points, xy, triangles = divided(Locator.from_mesh(plan), plan.flat.t.shape[1], _AIR_PARTS)
    values, _ = shape_functions(space, points)
    at_nodes = air.middle[:, kept] @ amplitudes.T
    seen = np.einsum("pj,pjm->mp", values, at_nodes[space.dofs[points.element]], optimize=True)
    return DeflectionMap(xy, triangles, seen)
