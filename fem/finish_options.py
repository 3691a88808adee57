"""A box bare, with the finish that is drawn, and with another one.

Depends on fem/box_parts, fem/box_values, fem/case, fem/face_values, fem/rim_body, geometry/box, geometry/check_box.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.case import Case
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.rim_body import rim_body
from bracedtop.geometry.box import Finish
from bracedtop.geometry.check_box import check_box
from bracedtop.geometry.errors import DesignError

Where = Literal["top", "back", "sides"]
PLACES: tuple[Where, ...] = ("top", "back", "sides")


@dataclass(frozen=True, slots=True)
class FinishOption:
    """One way to finish a box.

    Parameters
    ----------
    name, words : str
    finishes : tuple of Finish
        At most one a face; a face without one is bare.
    """

    name: str
    words: str
    finishes: tuple[Finish, ...] = ()


def finish_words(finishes: Sequence[Finish]) -> str:
    """What finishes are, for a reader."""
    told: dict[str, list[str]] = {}
    for one in finishes:
        film = ""
        if one.thickness > 0 and one.modulus > 0:
            film = f", film {1e3 * one.thickness:g} mm of {one.modulus / 1e9:g} GPa, loss {one.loss:g}"
        told.setdefault(f"{1e3 * one.mass:g} g/m2{film}", []).append(one.face)
    return "; ".join(f"{', '.join(faces)}: {what}" for what, faces in told.items()) or "no finish"


def finish_values(model: BoxModel, case: Case, option: FinishOption) -> BoxValues:
    """The what-if of a finish: films on both faces, and the mass of that on the sides.

    Raises
    ------
    DesignError
        If a finish is out of range on this box.
    """
    box = replace(model.box, finishes=option.finishes)
    try:
        check_box(model.design, box)
    except DesignError as error:
        message = f"{option.name}: {error}"
        raise DesignError(message) from None
    mass, before = (float(rim_body(model.design, one, case.woods)[0, 0]) for one in (box, model.box))
    top, back = (FaceValues(finish=box.finish(face) or Finish(face, 0.0)) for face in ("top", "back"))
    return BoxValues(top=top, back=back, rim_mass=mass / before)
