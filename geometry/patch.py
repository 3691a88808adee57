"""A piece of wood glued flat to the top: bridge plate, bridge, reinforcement, graft."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, Outline, frozen

Side = Literal["inside", "outside"]


@dataclass(frozen=True, slots=True)
class Patch:
    """A layer on one face of the top, of one thickness or thinner along one direction.

    Parameters
    ----------
    name, wood : str
    outline : Outline
        Border on the top; where it overlaps a sound hole or the rim it is trimmed there.
    thickness : float, m
        The greatest one, where there is a profile.
    side : {"inside", "outside"}
    grain_angle : float, rad
        Direction of its grain, anticlockwise from x.
    is_bridge : bool
        Whether it is the bridge, whose centre is the driving point.
    profile : (k, 2) array or None, m
        Distance from the centroid in the direction `profile_angle`, and thickness there; linear between, constant
        beyond the ends. None: `thickness` throughout.
    profile_angle : float, rad
        Anticlockwise from x.
    ring_angle, runout : float, rad
        Of its wood, as of the top's.
    under_braces : bool
        Whether it runs through under the braces, which are fitted over it; otherwise it is fitted around them.

    Raises
    ------
    DesignError
        If a thickness is not positive, or the profile is out of order or does not reach `thickness`.
    """

    name: str
    wood: str
    outline: Outline
    thickness: float
    side: Side = "inside"
    grain_angle: float = 0.0
    is_bridge: bool = False
    profile: Array | None = None
    profile_angle: float = 0.0
    ring_angle: float = 0.0
    runout: float = 0.0
    under_braces: bool = False

    def __post_init__(self) -> None:
        """Check the thickness once."""
        where = f'patch "{self.name}"'
        if not 0 < self.thickness < math.inf:
            message = f"{where}: thickness {1e3 * self.thickness:g} mm; must be > 0"
            raise DesignError(message)
        if self.profile is not None:
            object.__setattr__(self, "profile", frozen(self.profile))
            _check_profile(where, self.profile, self.thickness)

    @property
    def polygon(self) -> shapely.Polygon:
        """Area inside the border."""
        return self.outline.polygon


def patch_thickness_at(patch: Patch, xy: Array) -> Array:
    """Thickness of a patch at points (n, 2) in m, (n,) in m."""
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    if patch.profile is None:
        return np.full(len(xy), patch.thickness)
    along = np.array([np.cos(patch.profile_angle), np.sin(patch.profile_angle)])
    middle = np.array(patch.polygon.centroid.coords[0])
    return np.asarray(np.interp((xy - middle) @ along, *patch.profile.T))


def _check_profile(where: str, profile: Array, thickness: float) -> None:
    if profile.ndim != 2 or profile.shape[0] < 2 or profile.shape[1] != 2 or not np.isfinite(profile).all():
        message = f"{where}: its profile needs two or more pairs of distance and thickness, all finite"
        raise DesignError(message)
    if (np.diff(profile[:, 0]) <= 0).any():
        k = int(np.flatnonzero(np.diff(profile[:, 0]) <= 0)[0]) + 1
        message = (
            f"{where}: profile row {k + 1} at {1e3 * profile[k, 0]:g} mm is not beyond row {k} at "
            f"{1e3 * profile[k - 1, 0]:g} mm; distances must grow"
        )
        raise DesignError(message)
    if profile[:, 1].min() <= 0:
        k = int(profile[:, 1].argmin())
        message = f"{where}: profile row {k + 1} is {1e3 * profile[k, 1]:g} mm thick; must be > 0"
        raise DesignError(message)
    if abs(profile[:, 1].max() - thickness) > 1e-9 * thickness:
        message = (
            f"{where}: thickness {1e3 * thickness:g} mm beside a profile of up to {1e3 * profile[:, 1].max():g} mm; "
            "must be equal"
        )
        raise DesignError(message)
