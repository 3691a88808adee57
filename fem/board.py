"""A board or a stick as it was measured: size, mass and taps.

Depends on fem/free_bar, fem/free_plate, fem/wood.
"""

from dataclasses import dataclass
from typing import Literal

from bracedtop.fem.free_bar import BarMode
from bracedtop.fem.free_plate import PlateMode
from bracedtop.fem.wood import Wood


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value and its standard error, in the same unit."""

    value: float
    error: float

    @property
    def relative(self) -> float:
        """Standard error over the value."""
        return self.error / self.value


@dataclass(frozen=True, slots=True)
class Tap:
    """One mode that was heard.

    Parameters
    ----------
    mode : PlateMode or BarMode
    words : str
        What the maker calls it.
    hz : Reading, Hz
    loss : Reading or None
        Loss factor 1 / Q.
    source : str
        Where it was read, such as ``"3 readings"``.
    """

    mode: PlateMode | BarMode
    words: str
    hz: Reading
    loss: Reading | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class Board:
    """A rectangular board, or a stick of one section, with its taps.

    Parameters
    ----------
    kind : {"plate", "stick"}
    name, note : str
    sizes : three Reading, m
        Of a plate: along the grain, across it, thickness. Of a stick: length, width, height.
    mass : Reading, kg
    base : Wood
        For the constants that the taps do not give, at the board's moisture content.
    taps : tuple of Tap
    file : str
        The board file as named by the maker.
    warnings : tuple of str
    """

    kind: Literal["plate", "stick"]
    name: str
    note: str
    sizes: tuple[Reading, Reading, Reading]
    mass: Reading
    base: Wood
    taps: tuple[Tap, ...]
    file: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def density(self) -> float:
        """Mass over volume, kg/m^3."""
        a, b, c = (size.value for size in self.sizes)
        return self.mass.value / (a * b * c)
