"""Shapes of measured modes: how much, and which way, each tapped point moves.

Depends on geometry/errors.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A measured mode at some points, up to one common factor.

    Parameters
    ----------
    points : (k, 2) array, m
    values : (k,) array
        Signed; the largest magnitude is 1 and positive.
    errors : (k,) array
        Standard errors of the values, in the same unit.
    complexity : float
        Part of the shape's energy that is a quarter of a period out of step with the rest: 0 for a real mode.
    """

    points: Real
    values: Real
    errors: Real
    complexity: float = 0.0

    def __post_init__(self) -> None:
        """Keep the arrays from changes."""
        for name in ("points", "values", "errors"):
            array = np.array(getattr(self, name), dtype=float)
            array.flags.writeable = False
            object.__setattr__(self, name, array)
