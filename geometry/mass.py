"""A small heavy thing fixed to the top, such as a saddle or a row of pins. Depends on geometry/errors."""

from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.geometry.errors import DesignError

DIAMETER = 10e-3
"""Diameter of the disc over which a mass is spread if none is given, m; chosen: as wide as a saddle's slot is long or
a pin's head with its wood, far below the length of any wave."""

_SIDES = 48
"""Corners of the polygon that stands for the disc; chosen: its moment of inertia is within 0.3 % of the disc's."""


@dataclass(frozen=True, slots=True)
class PointMass:
    """A mass without stiffness, spread evenly over a small disc of the top.

    Parameters
    ----------
    name : str
    mass : float, kg
    at : pair, m
        Centre of the disc.
    diameter : float, m
    height : float, m
        Height of its centre of mass above the top's outside face; below the face if negative.

    Raises
    ------
    DesignError
        If the mass or the diameter is not positive, or the height or the place is not finite.
    """

    name: str
    mass: float
    at: tuple[float, float]
    diameter: float = DIAMETER
    height: float = 0.0

    def __post_init__(self) -> None:
        """Check the values once."""
        where = f'mass "{self.name}"'
        if not 0 < self.mass < np.inf:
            message = f"{where}: {1e3 * self.mass:g} g; must be > 0"
            raise DesignError(message)
        if not 0 < self.diameter < np.inf:
            message = f"{where}: diameter {1e3 * self.diameter:g} mm; must be > 0"
            raise DesignError(message)
        if not np.isfinite([self.height, *self.at]).all():
            message = f"{where}: its place and height have to be finite numbers"
            raise DesignError(message)

    @property
    def polygon(self) -> shapely.Polygon:
        """The disc, as a polygon of the same area."""
        turn = 2 * np.pi * np.arange(_SIDES) / _SIDES
        radius = self.diameter / 2 * np.sqrt(2 * np.pi / (_SIDES * np.sin(2 * np.pi / _SIDES)))
        return shapely.Polygon(np.array(self.at) + radius * np.column_stack([np.cos(turn), np.sin(turn)]))
