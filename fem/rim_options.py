"""Rims to compare on one box: other linings in place of the drawn ones, and what each changes.

Depends on fem/box_parts, fem/box_values, fem/case, fem/face_values, fem/loss_factors, fem/rim, fem/rim_body, fem/wood,
fem/wood_table, geometry/box, geometry/check_box.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.case import Case, isotropic
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.rim import Rim, rim_springs
from bracedtop.fem.rim_body import rim_body
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.box import Box, Face, Lining
from bracedtop.geometry.check_box import check_box
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError

DRAWN = "as drawn"

FACES: tuple[Face, ...] = ("top", "back")

SOFT = "soft strip"
"""A material soft as cork: E 0.03 GPa, 200 kg/m^3, loss factor 0.15; cork has 0.02 to 0.04 GPa, 120 to 240 kg/m^3 and
0.1 to 0.3 (recalled: L. J. Gibson, M. F. Ashby, Cellular Solids, 2nd ed. 1997, chapter 12)."""


@dataclass(frozen=True, slots=True)
class RimOption:
    """One way to line a box.

    Parameters
    ----------
    name : str
    linings : tuple of Lining
        At most one a face; a face without one keeps the drawing's.
    words : str
        What it is, for a reader.
    woods : mapping of str to Wood
        Of its own, beside the drawing's.
    losses : mapping of str to LossFactors
        Of these.
    """

    name: str
    linings: tuple[Lining, ...]
    words: str = ""
    woods: Mapping[str, Wood] = field(default_factory=dict)
    losses: Mapping[str, LossFactors] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OptionOnBox:
    """A rim on a box.

    Parameters
    ----------
    option : RimOption
    values : BoxValues
        The what-if that it makes.
    top, back : Rim
        Its springs.
    mass : float, kg
        Of rim, blocks and neck.
    """

    option: RimOption
    values: BoxValues
    top: Rim
    back: Rim
    mass: float


def usual_rims(box: Box) -> tuple[RimOption, ...]:
    """Linings to compare with, but for what is drawn; sections and woods are common practice, no source.

    Parameters
    ----------
    box : Box
        As drawn.
    """
    soft = isotropic(SOFT, 0.03e9, 0.1, 200.0)
    sawn = (8e-3, 1.2e-3)
    solid = _both("mahogany_honduras", 6e-3, 15e-3)
    kerfed = _both("mahogany_honduras", 6e-3, 15e-3, *sawn, 4.5e-3)
    light = _both("basswood", 5e-3, 10e-3, *sawn, 4e-3)
    stiff = _both("maple_sugar", 10e-3, 20e-3)
    resting = tuple(replace(lining, alone=True) for lining in _both(SOFT, 6e-3, 12e-3))
    every = (
        RimOption("solid", solid, "mahogany, 6 by 15 mm, solid"),
        RimOption("kerfed", kerfed, "mahogany, 6 by 15 mm, sawn 4.5 mm deep every 8 mm"),
        RimOption("light", light, "basswood, 5 by 10 mm, sawn 4 mm deep every 8 mm"),
        RimOption("stiff", stiff, "maple, 10 by 20 mm, solid, as two strips glued together"),
        RimOption(
            "soft",
            resting,
            "soft as cork, 6 by 12 mm; the plates rest on it alone",
            {SOFT: soft},
            {SOFT: LossFactors(0.15, 0.15, 0.15)},
        ),
    )
    drawn = _sizes(box.linings)
    return tuple(option for option in every if _sizes(option.linings) != drawn)


def _sizes(linings: Sequence[Lining]) -> set[tuple[object, ...]]:
    """Linings as what can be compared: sizes from a drawing are rounded otherwise than those written here."""
    found = set()
    for one in linings:
        sizes = (one.width, one.height, one.kerf_pitch, one.kerf_width, one.kerf_depth)
        found.add((one.face, one.wood, one.alone, *(round(1e6 * size) for size in sizes)))
    return found


def _both(
    wood: str, width: float, height: float, pitch: float = 0.0, saw: float = 0.0, depth: float = 0.0
) -> tuple[Lining, ...]:
    return tuple(Lining(face, wood, width, height, pitch, saw, depth) for face in FACES)


def drawn_rim(box: Box) -> RimOption:
    """The linings of the drawing."""
    return RimOption(DRAWN, box.linings, rim_words(box.linings))


def rim_words(linings: Sequence[Lining]) -> str:
    """What a rim is made of."""
    told = list(dict.fromkeys(_told(lining) for lining in linings))
    if len(told) == 1 and len(linings) == len(FACES):
        return told[0]
    return "; ".join(f"{lining.face}: {_told(lining)}" for lining in linings) or "no linings"


def _told(lining: Lining) -> str:
    pitch, depth = 1e3 * lining.kerf_pitch, 1e3 * lining.kerf_depth
    sawn = f", sawn {depth:g} mm deep every {pitch:g} mm" if pitch else ", solid"
    alone = "; the plate rests on it alone" if lining.alone else ""
    wood = lining.wood.replace("_", " ")
    return f"{wood}, {1e3 * lining.width:g} by {1e3 * lining.height:g} mm{sawn}{alone}"


def on_box(model: BoxModel, case: Case, option: RimOption) -> OptionOnBox:
    """A rim on a box: springs and losses of both faces, mass of the rim, and the air that its linings leave.

    Raises
    ------
    DesignError
        If its linings do not fit into the box.
    FileError
        If a wood is not known.
    """
    drawn, design = model.box, model.design
    lined = {lining.face for lining in option.linings}
    box = replace(drawn, linings=(*option.linings, *(one for one in drawn.linings if one.face not in lined)))
    try:
        check_box(design, box)
    except DesignError as error:
        message = f'rim "{option.name}": {error}'
        raise DesignError(message) from None
    woods = {**case.woods, **option.woods}
    for lining in box.linings:
        if lining.wood not in woods:
            woods[lining.wood] = handbook_wood(lining.wood)
    losses = {**case.losses, **option.losses}
    top, back = rim_springs(box, "top", woods, losses), rim_springs(box, "back", woods, losses)
    mass, before = (float(rim_body(design, one, woods)[0, 0]) for one in (box, drawn))
    air = model.air.volume
    values = BoxValues(
        top=FaceValues(rim=top),
        back=FaceValues(rim=back),
        rim_mass=mass / before,
        volume=1.0 + (_filled(design, drawn) - _filled(design, box)) / air,
    )
    return OptionOnBox(option, values, top, back, mass)


def _filled(design: Design, box: Box) -> float:
    """Volume of the linings, m^3, along the rim."""
    around = float(np.hypot(*np.diff(design.outline.polygon.exterior.xy, axis=1)).sum())
    cut = [one.kerf_width * one.kerf_depth / one.kerf_pitch if one.kerf_pitch else 0.0 for one in box.linings]
    return around * sum(one.height * (one.width - c) for one, c in zip(box.linings, cut, strict=True))
