"""Plain boxes of air for the checks of the cavity."""

import numpy as np

from bracedtop.geometry.box import Block, Box, Lining, Sides
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.outline import Hole, Outline, body_outline, rectangle

WOOD = "wood"


def closed(
    outline: Outline,
    stations: list[list[float]],
    *,
    holes: tuple[Hole, ...] = (),
    thickness: float = 3e-3,
    dome: Dome | None = None,
    blocks: tuple[Block, ...] = (),
    linings: tuple[Lining, ...] = (),
    braces: tuple[Brace, ...] = (),
) -> tuple[Design, Box]:
    """A top and a box of an outline, with x and depth at the stations; the dome is the back's."""
    top = Design(outline, Plate(WOOD, thickness), holes=holes, braces=braces)
    back = Design(outline, Plate(WOOD, thickness, dome=dome))
    return top, Box(Sides(WOOD, 2e-3, np.array(stations)), back, blocks=blocks, linings=linings)


def cuboid(length: float, width: float, depth: float, *holes: Hole, thickness: float = 3e-3) -> tuple[Design, Box]:
    """A rectangular box, corner at the origin."""
    outline = rectangle((length / 2, width / 2), (length, width))
    return closed(outline, [[0.0, depth], [length, depth]], holes=holes, thickness=thickness)


def drum(radius: float, depth: float, *holes: Hole, thickness: float = 3e-3) -> tuple[Design, Box]:
    """A round box about the origin."""
    outline = Hole((0.0, 0.0), (radius, radius)).outline(1440)
    return closed(outline, [[0.0, depth], [radius, depth]], holes=holes, thickness=thickness)


def guitar(*, dome: Dome | None = None, blocks: bool = True, holes: bool = True) -> tuple[Design, Box]:
    """An invented guitar-like box without braces and linings, 480 mm long, 95 to 105 mm deep."""
    outline = body_outline(0.48, 0.372, 0.125, 0.232, 0.288, 0.276, 0.398)
    ends = (Block("neck", WOOD, 0.05, 0.07), Block("tail", WOOD, 0.02, 0.06)) if blocks else ()
    mouth = (Hole((0.334, 0.0), (0.048, 0.048)),) if holes else ()
    return closed(outline, [[0.0, 0.105], [0.48, 0.095]], holes=mouth, dome=dome, blocks=ends)
