"""A closed box: sides, back, linings, blocks, finish, around a braced top.

Depends on geometry/design.

The back is a `Design` of its own, drawn in the top's plan (the same x and y, looking through the box); its z points out
of its own outside, so that both faces move outwards where their deflection is positive.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, Outline

Face = Literal["top", "back"]

RING_WIDTH = 25e-3
"""Width of the ring along the rim that is thinned on the closed box if the drawing has none, m; common practice, no
source: as far in as a scraper reaches without touching a brace's bed."""


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """The ribs of the box.

    Parameters
    ----------
    wood : str
        Grain along the rim.
    thickness : float, m
    stations : (n, 2) array, m
        x along the centreline and the depth of the air there, between the inside faces of top and back at the rim;
        x rising, linear between, constant beyond.

    Raises
    ------
    DesignError
        If a size is not positive or x does not rise.
    """

    wood: str
    thickness: float
    stations: Array

    def __post_init__(self) -> None:
        """Check the sizes once."""
        if not 0 < self.thickness < np.inf:
            message = f"sides: thickness {1e3 * self.thickness:g} mm; must be > 0"
            raise DesignError(message)
        x, depth = self.stations.T
        if not (np.isfinite(self.stations).all() and (depth > 0).all() and (np.diff(x) > 0).all()):
            message = "sides: the stations' x must rise and every depth be > 0"
            raise DesignError(message)

    def depth(self, x: Array) -> Array:
        """Depth of the air at the rim at places along the centreline, m."""
        return np.interp(x, *self.stations.T)


@dataclass(frozen=True, slots=True)
class Lining:
    """Strip glued into the corner between a face and the sides.

    Parameters
    ----------
    face : {"top", "back"}
    wood : str
        Grain along the rim; may be an isotropic material such as a foam.
    width : float, m
        Glued to the face.
    height : float, m
        Glued to the sides.
    kerf_pitch, kerf_width, kerf_depth : float, m
        Distance between saw cuts, their width, and how deep they go into the width; 0 for a solid strip.
    alone : bool
        The face rests on the lining only, not on the edge of the sides.

    Raises
    ------
    DesignError
        If a size is impossible.
    """

    face: Face
    wood: str
    width: float
    height: float
    kerf_pitch: float = 0.0
    kerf_width: float = 0.0
    kerf_depth: float = 0.0
    alone: bool = False

    def __post_init__(self) -> None:
        """Check the sizes once."""
        if not (0 < self.width < np.inf and 0 < self.height < np.inf):
            message = f"lining of the {self.face}: {1e3 * self.width:g} by {1e3 * self.height:g} mm; both must be > 0"
            raise DesignError(message)
        cuts = (self.kerf_pitch, self.kerf_width, self.kerf_depth)
        if any(cuts) and not (0 < self.kerf_width < self.kerf_pitch < np.inf and 0 < self.kerf_depth <= self.width):
            message = (
                f"lining of the {self.face}: saw cuts {1e3 * self.kerf_width:g} mm wide every "
                f"{1e3 * self.kerf_pitch:g} mm and {1e3 * self.kerf_depth:g} mm deep; the width must be below the "
                f"distance and the depth at most {1e3 * self.width:g} mm"
            )
            raise DesignError(message)


@dataclass(frozen=True, slots=True)
class Block:
    """Neck block or tail block, as deep as the box.

    Parameters
    ----------
    end : {"neck", "tail"}
    wood : str
    length : float, m
        Along the centreline.
    width : float, m
        Across it.
    """

    end: Literal["neck", "tail"]
    wood: str
    length: float
    width: float


@dataclass(frozen=True, slots=True)
class Finish:
    """A film on the outside of a face or of the sides.

    Parameters
    ----------
    face : {"top", "back", "sides"}
    mass : float, kg/m^2
        Of the dry film and of what has gone into the wood.
    thickness : float, m
        Of the film; 0 for one that only adds mass.
    modulus : float, Pa
        Young's modulus of the film.
    loss : float
        Its loss factor.
    poisson : float
    """

    face: Literal["top", "back", "sides"]
    mass: float
    thickness: float = 0.0
    modulus: float = 0.0
    loss: float = 0.0
    poisson: float = 0.35


@dataclass(frozen=True, slots=True)
class Box:
    """What closes a top to a box.

    Parameters
    ----------
    sides : Sides
    back : Design
        In the top's plan; its outline is the top's unless drawn otherwise.
    linings : tuple of Lining
        At most one a face; a face without one rests on the edge of the sides alone.
    blocks : tuple of Block
    finishes : tuple of Finish
        At most one a face.
    held : bool
        The rim is held in a heavy rig; otherwise it is free to move as one stiff body with the mass of sides, linings,
        blocks and neck.
    neck_mass : float, kg
        Neck, head and machines.
    ring_width : float, m
        Of the ring along the top's rim that may be thinned.
    temperature : float, degrees Celsius
        Of the air.
    """

    sides: Sides
    back: Design
    linings: tuple[Lining, ...] = ()
    blocks: tuple[Block, ...] = ()
    finishes: tuple[Finish, ...] = ()
    held: bool = False
    neck_mass: float = 0.0
    ring_width: float = RING_WIDTH
    temperature: float = 20.0

    def lining(self, face: Face) -> Lining | None:
        """The lining of a face, or None."""
        return next((lining for lining in self.linings if lining.face == face), None)

    def finish(self, face: Literal["top", "back", "sides"]) -> Finish | None:
        """The finish of a face, or None."""
        return next((finish for finish in self.finishes if finish.face == face), None)


def block_area(block: Block, outline: Outline) -> shapely.Polygon:
    """Area of a block, from its end of the outline inwards, about the centreline; it may reach over the rim."""
    x = outline.points[:, 0]
    start, stop = (x.max() - block.length, x.max()) if block.end == "neck" else (x.min(), x.min() + block.length)
    return shapely.box(start, -block.width / 2, stop, block.width / 2)
