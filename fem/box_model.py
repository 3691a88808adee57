"""A closed box in a small model, and its modes.

Depends on fem/air, fem/box_modes, fem/box_parts, fem/case, fem/face_terms, fem/rim, fem/rim_body.
"""

from bracedtop.fem.air import build_air
from bracedtop.fem.box_basis import narrowed_box
from bracedtop.fem.box_matrices import BoxMatrices, box_matrices, loss_matrices
from bracedtop.fem.box_modes import N_MODES, BoxModes, loss_parts, solve_box, with_radiation
from bracedtop.fem.box_parts import PARTS, BoxModel, joined
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.case import Case
from bracedtop.fem.face_terms import FaceModel, build_face
from bracedtop.fem.rim import rim_springs
from bracedtop.fem.rim_body import rim_body
from bracedtop.geometry.box import Box, Face
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError

__all__ = [
    "PARTS",
    "BoxMatrices",
    "BoxModel",
    "BoxModes",
    "BoxValues",
    "box_matrices",
    "build_box",
    "joined",
    "loss_matrices",
    "loss_parts",
    "solve_box",
    "with_radiation",
]


def build_box(case: Case, *, n_modes: int = N_MODES, narrow: bool = True) -> BoxModel:
    """The closed box of a case.

    Parameters
    ----------
    case : Case
    n_modes : int
        Modes for which it is exact enough.
    narrow : bool
        Whether the faces are put into the fewer vectors of fem/box_basis.

    Raises
    ------
    DesignError
        If the case has no box.
    """
    if case.box is None:
        message = f"{case.name}: no box; the drawing needs [sides] and [back]"
        raise DesignError(message)
    box = case.box
    top, back = _face(case, box, "top", case.design), _face(case, box, "back", box.back)
    body = rim_body(case.design, box, case.woods)
    model = joined(case.design, box, top, back, build_air(case.design, box), body)
    return narrowed_box(model, n_modes=n_modes) if narrow else model


def _face(case: Case, box: Box, side: Face, design: Design) -> FaceModel:
    return build_face(
        design,
        case.woods,
        case.losses,
        side=side,
        ring_width=box.ring_width,
        rim=rim_springs(box, side, case.woods, case.losses),
        finish=box.finish(side),
        size=case.mesh_size,
    )
