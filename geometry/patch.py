"""A flat piece of wood glued to the top: bridge plate, bridge, reinforcement, graft."""

import math
from dataclasses import dataclass
from typing import Literal

import shapely

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Outline

Side = Literal["inside", "outside"]


@dataclass(frozen=True, slots=True)
class Patch:
    """A layer of constant thickness on one face of the top.

    Parameters
    ----------
    name, wood : str
    outline : Outline
        Border on the top; where it overlaps a sound hole or the rim it is trimmed there.
    thickness : float, m
    side : {"inside", "outside"}
    grain_angle : float, rad
        Direction of its grain, anticlockwise from x.
    is_bridge : bool
        Whether it is the bridge, whose centre is the driving point.

    Raises
    ------
    DesignError
        If the thickness is not positive.
    """

    name: str
    wood: str
    outline: Outline
    thickness: float
    side: Side = "inside"
    grain_angle: float = 0.0
    is_bridge: bool = False

    def __post_init__(self) -> None:
        """Check the thickness once."""
        if not 0 < self.thickness < math.inf:
            message = f'patch "{self.name}": thickness {1e3 * self.thickness:g} mm; must be > 0'
            raise DesignError(message)

    @property
    def polygon(self) -> shapely.Polygon:
        """Area inside the border."""
        return self.outline.polygon
