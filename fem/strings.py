"""String set of an instrument and the forces that it puts on the bridge.

Depends on fem/string_loss, geometry/errors.

Free body of a pinned or tied bridge, seen from the side with the neck to the right::

          T <-- nut         the string leaves the saddle at height h above the top's outside face
    saddle o------> T       and pulls the bridge by T toward the neck (+x);
       h   |  \
    -------+---+----------  behind the saddle it goes down through the pin or the tie block, inside
      top      pin          the same body: its forces on saddle and pin cancel but for T.

    resultant on bridge and top: T (cos a, 0, -sin a) in a line through the saddle's crown,
    that is a pull T toward the neck in the top's plane and a moment T h that leans the bridge toward the neck.

The angle a is the string's fall toward the neck, nearly zero for a flat top. How steeply the string bends over the
saddle does not matter here: it only decides what presses on the saddle inside the bridge.

Free body of a bridge with a tailpiece: the string falls by a toward the neck and by b toward the tailpiece, a + b being
the break angle. It presses down by T (sin a + sin b) and, if a and b differ, pulls along by T (cos a - cos b) at the
height of the saddle.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from bracedtop.fem.string_loss import Material
from bracedtop.geometry.errors import DesignError

SPREAD = 54e-3
"""Distance of the outer strings at the bridge if not given, m; common practice for six steel strings, no source."""

Anchor = Literal["bridge", "tailpiece"]
Hold = Literal["hinged", "clamped"]


@dataclass(frozen=True, slots=True)
class String:
    """A string by its name and tension, and what is known of its make.

    Parameters
    ----------
    name : str
    tension : float, N
    frequency : float or None, Hz
        Of the open string.
    material : {"steel", "nylon"} or None
    diameter, core : float or None, m
        Outer diameter, and that of the core of a wound string.
    bending_stiffness : float or None, N m^2
    loss_factor : float or None
        The part of its own loss that does not depend on frequency.

    Raises
    ------
    DesignError
        If a figure is not positive, or the core thicker than the string.
    """

    name: str
    tension: float
    frequency: float | None = None
    material: Material | None = None
    diameter: float | None = None
    core: float | None = None
    bending_stiffness: float | None = None
    loss_factor: float | None = None

    def __post_init__(self) -> None:
        """Check the figures once."""
        if not 0 < self.tension < np.inf:
            message = f'string "{self.name}": tension {self.tension:g} N; must be > 0'
            raise DesignError(message)
        for what in ("frequency", "diameter", "core", "bending_stiffness", "loss_factor"):
            value = getattr(self, what)
            if value is not None and not 0 < value < np.inf:
                message = f'string "{self.name}": {what} {value:g}; must be > 0'
                raise DesignError(message)
        if self.core and self.diameter and self.core > self.diameter:
            message = (
                f'string "{self.name}": core of {1e3 * self.core:g} mm in a string of {1e3 * self.diameter:g} mm; '
                "must not be thicker"
            )
            raise DesignError(message)


@dataclass(frozen=True, slots=True)
class StringSet:
    """The strings and how they meet the bridge.

    Parameters
    ----------
    strings : tuple of String
        From the bass side (positive y) to the treble side.
    saddle_height : float, m
        Height of the strings above the top's outside face at the saddle.
    anchor : {"bridge", "tailpiece"}
    break_angle : float, rad
        Angle by which the strings bend over the saddle; needed for a tailpiece.
    string_angle : float or None, rad
        Fall of the strings toward the neck; None: 0 for a bridge, half the break angle for a tailpiece.
    spread : float, m
        Distance of the outer strings at the saddle; they are spaced evenly.
    held : {"hinged", "clamped"} or None
        How the sides hold the top under load; None: as the drawing's edge does, hinged if that is free.
    scale_length : float or None, m
        Length of the open strings.
    frets : int or None

    Raises
    ------
    DesignError
        If there is no string, or a size or an angle cannot be.
    """

    strings: tuple[String, ...]
    saddle_height: float
    anchor: Anchor = "bridge"
    break_angle: float = 0.0
    string_angle: float | None = None
    spread: float = SPREAD
    held: Hold | None = None
    scale_length: float | None = None
    frets: int | None = None

    def __post_init__(self) -> None:
        """Check the set once."""
        if not self.strings:
            message = "strings: there is none; give each as [[string]]"
            raise DesignError(message)
        for what, value in (("saddle height", self.saddle_height), ("spread", self.spread)):
            if not 0 < value < np.inf:
                message = f"strings: {what} {1e3 * value:g} mm; must be > 0"
                raise DesignError(message)
        if self.anchor == "tailpiece" and not 0 < self.break_angle < np.pi / 2:
            message = f"strings: break angle {np.rad2deg(self.break_angle):g} degrees; a tailpiece needs 0 to 90"
            raise DesignError(message)
        if self.anchor == "tailpiece" and self.fall > self.break_angle:
            message = (
                f"strings: they fall {np.rad2deg(self.fall):g} degrees toward the neck; "
                f"must not exceed the break angle of {np.rad2deg(self.break_angle):g} degrees"
            )
            raise DesignError(message)

    @property
    def fall(self) -> float:
        """Fall of the strings toward the neck, rad."""
        if self.string_angle is not None:
            return self.string_angle
        return self.break_angle / 2 if self.anchor == "tailpiece" else 0.0

    @property
    def tension(self) -> float:
        """Sum of all tensions, N."""
        return float(sum(string.tension for string in self.strings))

    @property
    def offsets(self) -> np.ndarray:
        """Distances of the strings to the bass side of the middle string line, (n,) in m."""
        n = len(self.strings)
        return self.spread / 2 * np.linspace(1.0, -1.0, n) if n > 1 else np.zeros(1)

    @property
    def spacing(self) -> float:
        """Distance of neighbouring strings, m; of a single one, the whole spread."""
        return self.spread / max(len(self.strings) - 1, 1)

    def forces(self) -> np.ndarray:
        """Pull toward the neck and push out of the top of each string, (n, 2) in N; see the module's sketches."""
        tension = np.array([string.tension for string in self.strings])
        a = self.fall
        if self.anchor == "bridge":
            return np.outer(tension, [np.cos(a), -np.sin(a)])
        b = self.break_angle - a
        return np.outer(tension, [np.cos(a) - np.cos(b), -(np.sin(a) + np.sin(b))])


def tension(frequency: float, length: float, mass_per_length: float) -> float:
    """Tension of an ideal string in N from its fundamental in Hz, its length in m and its mass in kg/m.

    References
    ----------
    T = mu (2 L f)^2; N. H. Fletcher, T. D. Rossing, The Physics of Musical Instruments, 2nd ed. (1998), eq. 2.13.
    """
    return mass_per_length * (2.0 * length * frequency) ** 2
