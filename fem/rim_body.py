"""Sides, linings, blocks and neck as one stiff body. Depends on fem/wood, geometry/box.

What they carry of the box's motion along the normal: a heave and two tilts. Motion in the plan is left out, as it is in
the springs that hold the faces.
"""

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import shapely

from bracedtop.fem.wood import Wood
from bracedtop.geometry.box import Block, Box, Lining, block_area
from bracedtop.geometry.design import Design

NECK_LENGTH = 0.45
"""Length beyond the body over which the mass of neck, head and machines is spread, m; common practice, no source:
twelve frets clear of the body, and a head."""

_PIECES = 24
"""Pieces along a block in which its mass is taken; chosen."""


def rim_body(design: Design, box: Box, woods: Mapping[str, Wood]) -> np.ndarray:
    """Mass matrix of the rim's motions along the normal, w = a0 + a1 x + a2 y, (3, 3) in kg, kg m and kg m^2.

    Parameters
    ----------
    design : Design
        The top.
    box : Box
    woods : mapping of str to Wood
    """
    points = design.outline.points
    step = np.roll(points, -1, axis=0) - points
    at, length = points + step / 2, np.hypot(*step.T)
    depth = box.sides.depth(at[:, 0])
    film = box.finish("sides")
    per_area = woods[box.sides.wood].density * box.sides.thickness + (film.mass if film is not None else 0.0)
    per_length = per_area * depth + sum(woods[one.wood].density * _section(one) for one in box.linings)
    found = _spread(at, per_length * length)
    for block in box.blocks:
        found += _block(block, design, box, woods[block.wood].density)
    # A rod along the centreline from the body's end.
    start = points[:, 0].max()
    x = start + NECK_LENGTH * (np.arange(_PIECES) + 0.5) / _PIECES
    found += _spread(np.column_stack([x, np.zeros(_PIECES)]), np.full(_PIECES, box.neck_mass / _PIECES))
    return found


def _section(lining: Lining) -> float:
    cut = lining.kerf_width * lining.kerf_depth / lining.kerf_pitch if lining.kerf_pitch else 0.0
    return lining.height * (lining.width - cut)


def _block(block: Block, design: Design, box: Box, density: float) -> np.ndarray:
    area = block_area(block, design.outline).intersection(design.outline.polygon)
    x0, y0, x1, y1 = area.bounds
    edges = np.linspace(x0, x1, _PIECES + 1)
    slices = [area.intersection(shapely.box(a, y0, b, y1)) for a, b in pairwise(edges)]
    centres = np.array([piece.centroid.coords[0] for piece in slices if piece.area > 0])
    areas = np.array([piece.area for piece in slices if piece.area > 0])
    return _spread(centres, density * areas * box.sides.depth(centres[:, 0]))


def _spread(xy: np.ndarray, mass: np.ndarray) -> np.ndarray:
    shape = np.column_stack([np.ones(len(xy)), xy])
    return np.asarray(shape.T @ (mass[:, None] * shape))
