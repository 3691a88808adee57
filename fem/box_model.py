"""A closed box in a small model, and its modes.

Depends on fem/air, fem/box_basis, fem/box_modes, fem/box_parts, fem/case, fem/face_terms, fem/rim, fem/rim_body.
"""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

from bracedtop.fem.air import build_air
from bracedtop.fem.box_basis import narrowed_box
from bracedtop.fem.box_matrices import BoxMatrices, box_matrices, loss_matrices
from bracedtop.fem.box_modes import N_MODES, BoxModes, loss_parts, solve_box, with_radiation
from bracedtop.fem.box_parts import PARTS, BoxModel, joined
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.case import Case
from bracedtop.fem.face_terms import FaceModel, build_face
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.rim import rim_springs
from bracedtop.fem.rim_body import rim_body
from bracedtop.fem.wood import Wood
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
    "closed_box",
    "joined",
    "loss_matrices",
    "loss_parts",
    "solve_box",
    "with_radiation",
]


def build_box(case: Case, *, n_modes: int = N_MODES, what_if: bool = True, narrow: bool = True) -> BoxModel:
    """The closed box of a case; see `closed_box`.

    Raises
    ------
    DesignError
        If the case has no box.
    """
    if case.box is None:
        message = f"{case.name}: no box; the drawing needs [sides] and [back]"
        raise DesignError(message)
    return closed_box(
        case.design,
        case.box,
        case.woods,
        case.losses,
        size=case.mesh_size,
        n_modes=n_modes,
        what_if=what_if,
        narrow=narrow,
    )


def closed_box(
    design: Design,
    box: Box,
    woods: Mapping[str, Wood],
    losses: Mapping[str, LossFactors],
    *,
    size: float | None = None,
    n_modes: int = N_MODES,
    what_if: bool = True,
    narrow: bool = True,
) -> BoxModel:
    """A top with its box.

    Parameters
    ----------
    design : Design
        The top.
    box : Box
    woods : mapping of str to Wood
    losses : mapping of str to LossFactors
        Of woods that are not in it, the usual ones.
    size : float, m, optional
        Of the triangles of both faces.
    n_modes : int
        Coupled modes for which the model is exact enough.
    what_if : bool
        Whether the faces' bases hold for another ring, rim, finish and wood; without, for what is drawn and small
        changes, and the model is made several times sooner.
    narrow : bool
        Whether the faces are put into the fewer vectors of fem/box_basis.

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """

    def face(side: Face, drawn: Design) -> FaceModel:
        rim, film = rim_springs(box, side, woods, losses), box.finish(side)
        return build_face(
            drawn,
            woods,
            losses,
            side=side,
            ring_width=box.ring_width,
            rim=rim,
            finish=film,
            what_if=what_if,
            size=size,
        )

    with ThreadPoolExecutor(3) as pool:
        top, back = pool.submit(face, "top", design), pool.submit(face, "back", box.back)
        air = pool.submit(build_air, design, box)
        model = joined(design, box, top.result(), back.result(), air.result(), rim_body(design, box, woods))
    # The bases of faces as drawn are small already.
    return narrowed_box(model, n_modes=n_modes) if narrow and what_if else model
