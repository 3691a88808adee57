"""The top as weighted points, each with a section stiffness and a mass.

Plate and patches are sampled at the triangles' own integration points; braces are sampled over their glued
faces, so that they hold the plate over their width and not along a line.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.footprint import Points, band_of, block_points, strip_points
from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.locate import Locator
from bracedtop.fem.section import brace_mass, brace_stiffness, crossing_mass, crossing_stiffness
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design
from bracedtop.geometry.glue import grip_ends
from bracedtop.geometry.layout import Crossing, crossings


@dataclass(frozen=True, slots=True)
class Glued:
    """Points of one brace's glued face, outside its crossings.

    Parameters
    ----------
    brace : str
    points : Points
    distance, height, offset, angle : (n,) arrays, m and rad
        Distance along the brace, its height, the glued face's distance below the midplane, the direction.
    grips : (n,) bool array
        Whether the brace holds the plate there; near its ends it only weighs on it (geometry/glue).
    """

    brace: str
    points: Points
    distance: np.ndarray
    height: np.ndarray
    offset: np.ndarray
    angle: np.ndarray
    grips: np.ndarray


@dataclass(frozen=True, slots=True)
class Block:
    """Points of the block where two braces cross.

    Parameters
    ----------
    crossing : Crossing
    points : Points
    distances, heights : (2, n) arrays, m
        For the under and the over brace.
    offset : (n,) array, m
    angles : pair, rad
    """

    crossing: Crossing
    points: Points
    distances: np.ndarray
    heights: np.ndarray
    offset: np.ndarray
    angles: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Group:
    """What one part of the top adds: its points with their section stiffness (n, 9, 9) and mass (n, 3)."""

    part: str
    points: Points
    stiffness: np.ndarray
    mass: np.ndarray


def glued_faces(design: Design, locator: Locator, thickness: np.ndarray) -> tuple[tuple[Glued, ...], tuple[Block, ...]]:
    """Integration points of all braces and of their crossings.

    Parameters
    ----------
    design : Design
    locator : Locator
    thickness : (n_elements,) array, m
        Thickness of the top's wood in each triangle.

    Returns
    -------
    glued : tuple of Glued, one a brace
    blocks : tuple of Block, one a crossing
    """
    found = crossings(design)
    glued = []
    for brace in design.braces:
        bands = [
            band_of(design, c.over if brace.name == c.under else c.under, c)
            for c in found
            if brace.name in (c.under, c.over)
        ]
        first, last = grip_ends(brace, design)
        points, s, angle = strip_points(brace, bands, (first, last), locator)
        grips = (s > first) & (s < last)
        glued.append(Glued(brace.name, points, s, brace.height(s), thickness[points.element] / 2, angle, grips))
    blocks = []
    for crossing in found:
        pair = (design.brace(crossing.under), design.brace(crossing.over))
        points, distances, angles = block_points(crossing, pair, locator)
        heights = np.stack([brace.height(row) for brace, row in zip(pair, distances, strict=True)])
        blocks.append(Block(crossing, points, distances, heights, thickness[points.element] / 2, angles))
    return tuple(glued), tuple(blocks)


def brace_group(glued: Glued, brace: Brace, wood: Wood) -> Group:
    """Stiffness and mass of a brace's points."""
    stiffness = np.empty((len(glued.height), 9, 9))
    for angle in np.unique(glued.angle):
        at = glued.angle == angle
        stiffness[at] = brace_stiffness(brace.shape, brace.width, glued.height[at], glued.offset[at], wood, angle)
    stiffness[~glued.grips] = 0.0
    mass = brace_mass(brace.shape, brace.width, glued.height, glued.offset, wood.density)
    return Group(f"brace {brace.name}", glued.points, stiffness, mass)


def block_group(block: Block, braces: tuple[Brace, Brace], woods: tuple[Wood, Wood]) -> Group:
    """Stiffness and mass of a crossing's points."""
    under, over = block.heights
    kept = block.crossing.kept
    stiffness = crossing_stiffness(braces, under, over, kept, block.offset, woods, block.angles)
    mass = crossing_mass(braces, under, over, kept, block.offset, (woods[0].density, woods[1].density))
    return Group(f"joint {block.crossing.under}|{block.crossing.over}", block.points, stiffness, mass)


def plate_layers(design: Design, woods: Mapping[str, Wood]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Section stiffness (9, 9) and mass (3,) of the top itself and of every patch where it lies.

    Keys: "top", "ring" (instead of the top, where it is thinned) and "patch NAME". Patches lie on the faces of
    the unthinned top.
    """
    plate = design.plate
    layers = {}
    for key, t in (("top", plate.thickness), ("ring", plate.thickness - plate.ring_reduction)):
        layers[key] = _layer(woods[plate.wood], plate.grain_angle, -t / 2, t / 2)
    for patch in design.patches:
        face = plate.thickness / 2
        low = face if patch.side == "outside" else -face - patch.thickness
        layers[f"patch {patch.name}"] = _layer(woods[patch.wood], patch.grain_angle, low, low + patch.thickness)
    return layers


def let_in_groups(
    design: Design, layers: Mapping[str, tuple[np.ndarray, np.ndarray]], locator: Locator, faces: list[Points]
) -> list[Group]:
    """Inside patches taken away again under the braces.

    Patches inside the top are fitted around the braces, which are glued to the top itself (common practice, no
    source): where a brace stands, the patch is missing.
    """
    groups = []
    for patch in design.patches:
        if patch.side != "inside":
            continue
        polygon = patch.polygon
        for points in faces:
            xy = locator.positions(points.element, points.local)
            at = shapely.contains_xy(polygon, xy[:, 0], xy[:, 1])
            if at.any():
                missing = Points(points.element[at], points.local[:, at], -points.weight[at])
                C, mass = layers[f"patch {patch.name}"]
                n = int(at.sum())
                groups.append(
                    Group(f"patch {patch.name}", missing, np.broadcast_to(C, (n, 9, 9)), np.broadcast_to(mass, (n, 3)))
                )
    return groups


def _layer(wood: Wood, angle: float, bottom: float, top: float) -> tuple[np.ndarray, np.ndarray]:
    Q, G = rotated(*lamina(wood), angle)
    z = (np.array([bottom]), np.array([top]))
    return layer_stiffness(Q, G, *z)[0], layer_mass(wood.density, *z)[0]
