"""Height profiles of braces as stations along them. Depends on geometry/errors, geometry/outline."""

from typing import Literal

import numpy as np
from scipy.interpolate import PchipInterpolator

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, frozen

Profile = Literal["level", "tapered", "parabolic", "scalloped"]

TAPER = 0.4
"""Part of either side of a tapered brace that slopes; common practice, no source."""

SCALLOP = ((0.0, 1.0), (0.15, 0.95), (0.45, 0.6), (0.72, 0.72), (1.0, 0.0))
"""Distance from the full height to the end, over that side's length, and height above the end's, over the full one:
a scoop, a lower crest, and the end; common practice, no source."""

_STEPS = 12
"""Straight pieces in which either side of a curved profile is drawn; chosen: within 1 % of its height."""


def stations(profile: Profile, length: float, height: float, end_height: float, at: float | None = None) -> Array:
    """Stations (k, 2) in m, distance and height, of a brace with both ends alike.

    Parameters
    ----------
    profile : {"level", "tapered", "parabolic", "scalloped"}
        Full height throughout; sloping straight to the ends; a parabola on either side; scooped out on either side
        with a crest before the end.
    length : float, m
    height, end_height : float, m
        Full height, and height at the ends, which "level" does not use.
    at : float or None, m
        Distance of the full height from the start; None: the middle.

    Raises
    ------
    DesignError
        If a size is not positive, the ends are higher than the brace, or `at` is not between the ends.
    """
    at = length / 2 if at is None else at
    if not (0 < at < length and 0 <= end_height <= height and height > 0):
        message = (
            f"profile of a brace {1e3 * length:g} mm long and {1e3 * height:g} mm high at {1e3 * at:g} mm, ends "
            f"{1e3 * end_height:g} mm high; the place must lie between the ends, which must not be higher"
        )
        raise DesignError(message)
    if profile == "level":
        return frozen([[0.0, height], [length, height]])
    if profile == "tapered":
        side = np.array([[0.0, 1.0], [1.0 - TAPER, 1.0], [1.0, 0.0]])
    else:
        u = np.linspace(0.0, 1.0, _STEPS + 1)
        rise = 1.0 - u**2 if profile == "parabolic" else PchipInterpolator(*np.array(SCALLOP).T)(u)
        side = np.column_stack([u, rise])
    heights = end_height + (height - end_height) * side[:, 1]
    before = np.column_stack([at - at * side[:, 0], heights])[::-1]
    after = np.column_stack([at + (length - at) * side[:, 0], heights])
    return frozen(np.vstack([before, after[1:]]))
