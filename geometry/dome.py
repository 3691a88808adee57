"""The dome of a top: a shallow paraboloid. Depends on geometry/errors."""

import math
from dataclasses import dataclass

import numpy as np

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array


@dataclass(frozen=True, slots=True)
class Dome:
    """Middle surface of a domed top, z0 = -(x - xc)^2 / (2 Rx) - (y - yc)^2 / (2 Ry).

    Parameters
    ----------
    radius_along, radius_across : float, m
        Radii of curvature along x and along y at the crown; infinite for straight.
    crown : pair, m
        The highest point.

    Raises
    ------
    DesignError
        If a radius is not positive.
    """

    radius_along: float
    radius_across: float
    crown: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        """Check the radii once."""
        for key in ("radius_along", "radius_across"):
            value = getattr(self, key)
            if not value > 0:
                message = f"dome: {key.replace('_', ' ')} {1e3 * value:g} mm; must be > 0"
                raise DesignError(message)
        if not all(math.isfinite(value) for value in self.crown):
            message = "dome: its crown has to be a point of two finite numbers"
            raise DesignError(message)

    @property
    def is_flat(self) -> bool:
        """Whether both radii are infinite."""
        return math.isinf(self.radius_along) and math.isinf(self.radius_across)

    @property
    def curvatures(self) -> Array:
        """1/Rx and 1/Ry, (2,) in 1/m."""
        return np.array([1.0 / self.radius_along, 1.0 / self.radius_across])

    def height(self, xy: Array) -> Array:
        """Height z0 of the middle surface at points (n, 2) in m, (n,) in m: 0 at the crown, below elsewhere."""
        return np.asarray(-0.5 * (self._from_crown(xy) ** 2 @ self.curvatures))

    def slope(self, xy: Array) -> Array:
        """Derivatives of the height along x and y at points (n, 2) in m, (n, 2)."""
        return np.asarray(-self._from_crown(xy) * self.curvatures)

    def _from_crown(self, xy: Array) -> Array:
        return np.asarray(np.asarray(xy, dtype=float).reshape(-1, 2) - np.array(self.crown))
