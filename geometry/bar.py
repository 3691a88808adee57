"""Sizes of the braces of one kind, and braces made to them. Depends on geometry/brace, geometry/profile."""

from dataclasses import dataclass, replace

import numpy as np

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.outline import Array
from bracedtop.geometry.profile import Profile, stations
from bracedtop.geometry.units import MM

USUAL_LENGTH = 490 * MM
"""Body length to which the usual sizes belong; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Bar:
    """Size of the braces of one kind.

    Parameters
    ----------
    width, height, end_height : float, m
    profile : {"level", "tapered", "parabolic", "scalloped"}
    """

    width: float
    height: float
    end_height: float
    profile: Profile = "tapered"

    def scaled(self, factor: float) -> "Bar":
        """Copy with all sizes multiplied."""
        return replace(
            self, width=factor * self.width, height=factor * self.height, end_height=factor * self.end_height
        )


# Usual sizes for a body of USUAL_LENGTH; common practice, no source.
LEG = Bar(7.5 * MM, 15 * MM, 3 * MM, "scalloped")
TONE_BAR = Bar(6.5 * MM, 12 * MM, 2.5 * MM, "scalloped")
FINGER = Bar(6 * MM, 6.5 * MM, 2 * MM)
TRANSVERSE = Bar(9 * MM, 16 * MM, 4 * MM)
LADDER_BAR = Bar(8 * MM, 14 * MM, 3 * MM, "parabolic")
STRUT = Bar(6 * MM, 4.5 * MM, 1.5 * MM)
CLOSING_BAR = Bar(6 * MM, 4.5 * MM, 1.5 * MM)
HARMONIC_BAR = Bar(7 * MM, 15 * MM, 4 * MM)
LATTICE_BAR = Bar(4 * MM, 5.5 * MM, 1.5 * MM)


def straight_brace(name: str, wood: str, path: Array, bar: Bar, highest: Array | None = None) -> Brace:
    """A brace from one end to the other of a path (2, 2) in m, full height at the point `highest` or in the middle."""
    length = float(np.hypot(*(path[1] - path[0])))
    at = None if highest is None else float(np.hypot(*(highest - path[0])))
    heights = stations(bar.profile, length, bar.height, bar.end_height, at)
    return Brace(name, wood, path, bar.width, heights)
