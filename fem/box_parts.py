"""Top, back, rim, holes and air of a closed box, joined in one set of unknowns.

Depends on fem/air, fem/face_terms, fem/outside_air, fem/radiation, geometry/box. The formulation is in DEVELOPERS.md,
"Closed box".

Unknowns: the amplitudes of both faces' basis vectors, three motions of the rim as one stiff body, one of the air in
each hole, and the air's own motions in the cavity up to `AIR_HIGHEST`; what the air does above adds a mass, and so does
the air that the faces carry outside.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bracedtop.fem.air import Air, at_back, at_top
from bracedtop.fem.face_terms import FaceModel, Surface, face_deflections, surface
from bracedtop.fem.outside_air import outside_mass
from bracedtop.fem.radiation import piston
from bracedtop.geometry.box import Box
from bracedtop.geometry.design import Design
from bracedtop.geometry.outline import Hole

AIR_HIGHEST = 1500.0
"""Frequency up to which the cavity's own motions are unknowns, Hz; chosen: twice that of the highest mode wanted."""

PARTS = ("top", "back", "rim", "hole", "cavity")
"""Where a mode's energy is: faces with what holds their rims, the stiff rim, the air in holes and in the cavity."""

OUTSIDE = 2
"""Degree of the rule over a face for the air outside; chosen: three points a triangle."""

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
    front : (r_top + n_holes, ...) array
        Mass of the air outside that top and holes, with pistons in them, carry in one plane.
    behind : (r_back, r_back) array
        The same of the back.
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
    front: np.ndarray
    behind: np.ndarray

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
    design: Design,
    box: Box,
    top: FaceModel,
    back: FaceModel | None,
    air: Air,
    rim_mass: np.ndarray,
    *,
    outside: bool = True,
) -> BoxModel:
    """A box of parts that are made already.

    Parameters
    ----------
    design : Design
        The top.
    box : Box
    top : FaceModel
    back : FaceModel or None
        None: it is rigid.
    air : Air
    rim_mass : (3, 3) array
    outside : bool
        Whether there is air outside.
    """
    over = surface(top)
    edges = [hole.outline(72, grow=_EDGE).points for hole in design.holes]
    at_back_face, behind = np.zeros((0, len(air.frequencies))), np.zeros((0, 0))
    if back is not None:
        under = surface(back)
        at_back_face = under.deflection.T @ (under.weight[:, None] * at_back(air, under.xy))
        behind = _carried(surface(back, OUTSIDE), [], air.density)
    return BoxModel(
        design,
        box,
        top,
        back,
        air,
        over.deflection.T @ (over.weight[:, None] * at_top(air, over.xy)),
        at_back_face,
        np.array([face_deflections(top, edge).mean(axis=0) for edge in edges]).reshape(-1, top.size).T,
        face_deflections(top, design.driving_point[None])[0],
        rim_mass,
        outside * _carried(surface(top, OUTSIDE), design.holes, air.density),
        outside * behind,
    )


def hole_points(hole: Hole) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 2) in m and areas (n,) in m^2 of a hole."""
    unit, share = piston((0.0, 0.0), 1.0)
    x, y = (unit * hole.semi_axes).T
    c, s = np.cos(hole.angle), np.sin(hole.angle)
    return hole.centre + np.column_stack([c * x - s * y, s * x + c * y]), share * float(hole.semi_axes.prod())


def _carried(face: Surface, holes: Sequence[Hole], density: float) -> np.ndarray:
    """Mass of the air outside a face and the pistons in its holes, (r + n_holes, r + n_holes)."""
    r = face.deflection.shape[1]
    xy, weight, shapes = [face.xy], [face.weight], [np.pad(face.deflection, ((0, 0), (0, len(holes))))]
    for k, hole in enumerate(holes):
        points, area = hole_points(hole)
        moved = np.zeros((len(points), r + len(holes)))
        moved[:, r + k] = 1.0
        xy.append(points)
        weight.append(area)
        shapes.append(moved)
    return outside_mass(np.concatenate(xy), np.concatenate(weight), np.concatenate(shapes), density)
