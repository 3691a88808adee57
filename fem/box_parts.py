"""Top, back, rim, holes and air of a closed box, joined in one set of unknowns.

Depends on fem/air, fem/face_terms, geometry/box. The formulation is in DEVELOPERS.md, "Closed box".

Unknowns: the amplitudes of both faces' basis vectors, three motions of the rim as one stiff body, one of the air in
each hole, and the air's own motions in the cavity up to `AIR_HIGHEST`; what the air does above adds a mass.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bracedtop.fem.air import Air, at_back, at_top
from bracedtop.fem.face_terms import FaceModel, face_deflections, surface
from bracedtop.geometry.box import Box
from bracedtop.geometry.design import Design

AIR_HIGHEST = 1500.0
"""Frequency up to which the cavity's own motions are unknowns, Hz; chosen: twice that of the highest mode wanted."""

PARTS = ("top", "back", "rim", "hole", "cavity")
"""Where a mode's energy is: faces with what holds their rims, the stiff rim, the air in holes and in the cavity."""

_EDGE = 1e-3
"""How far from its edge a plug takes its motion from the top, m; chosen."""


@dataclass(frozen=True)
class BoxModel:
    """A closed box in a small model.

    Parameters
    ----------
    design : Design
        The top.
    box : Box
    top, back : FaceModel
        No back: it is rigid.
    air : Air
    at_top, at_back : (r, m) arrays
        Volume that each basis vector pushes outwards through each pressure of the air, m^2 times its pressure.
    plug : (r_top, n_holes) array
        Deflection of the top around each hole.
    drive : (r_top,) array
        Deflection of the top's driving point.
    rim_mass : (3, 3) array
    """

    design: Design
    box: Box
    top: FaceModel
    back: FaceModel | None
    air: Air
    at_top: np.ndarray
    at_back: np.ndarray
    plug: np.ndarray
    drive: np.ndarray
    rim_mass: np.ndarray

    @cached_property
    def parts(self) -> Mapping[str, slice]:
        """Places of the unknowns of each part, whatever a what-if holds still."""
        sizes = {
            "top": self.top.size,
            "back": 0 if self.back is None else self.back.size,
            "rim": 3,
            "hole": len(self.air.hole_area),
            "cavity": int(self.near.sum()) - 1,
        }
        ends = np.cumsum([0, *sizes.values()])
        return {name: slice(int(a), int(b)) for name, a, b in zip(sizes, ends, ends[1:], strict=False)}

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return int(self.parts["cavity"].stop)

    @property
    def near(self) -> np.ndarray:
        """Which pressures of the air count as such, the uniform one included, (m,) bool."""
        return np.asarray(self.air.frequencies < AIR_HIGHEST)


def joined(
    design: Design, box: Box, top: FaceModel, back: FaceModel | None, air: Air, rim_mass: np.ndarray
) -> BoxModel:
    """A box of parts that are made already; without a back, it is rigid."""
    over, under = surface(top), None if back is None else surface(back)
    edges = [hole.outline(72, grow=_EDGE).points for hole in design.holes]
    return BoxModel(
        design,
        box,
        top,
        back,
        air,
        over.deflection.T @ (over.weight[:, None] * at_top(air, over.xy)),
        np.zeros((0, len(air.frequencies)))
        if under is None
        else under.deflection.T @ (under.weight[:, None] * at_back(air, under.xy)),
        np.array([face_deflections(top, edge).mean(axis=0) for edge in edges]).reshape(-1, top.size).T,
        face_deflections(top, design.driving_point[None])[0],
        rim_mass,
    )
