"""The braces as weighted points: over their glued faces, at their crossings and at butted ends.

Depends on fem/footprint, fem/section, fem/glued_side, fem/joint_section, fem/sampling.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.footprint import Band, Points, band_of, block_points, distance_to, place_on, strip_points, widened
from bracedtop.fem.glued_side import Bed, side_stiffness
from bracedtop.fem.joint_section import (
    butt_stiffness,
    cap_stiffness,
    crossing_mass,
    crossing_stiffness,
    idle_beside_notch,
)
from bracedtop.fem.laminate import fibre, lamina, layer_mass, rotated
from bracedtop.fem.locate import Locator
from bracedtop.fem.sampling import MOST, Group, slip_stiffness, some
from bracedtop.fem.section import brace_mass, fibre_stiffness
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import butts
from bracedtop.geometry.design import Design
from bracedtop.geometry.glue import grip_ends
from bracedtop.geometry.layout import Crossing, crossings
from bracedtop.geometry.patch import patch_thickness_at

_SHAVING = 0.3e-3
"""Height below which a brace's fibres do not slip, m; chosen: thinner wood has no stiffness to speak of."""


@dataclass(frozen=True, slots=True)
class Glued:
    """Points of one brace's glued face, outside its crossings.

    Parameters
    ----------
    brace : str
    points : Points
    distance, height, offset, angle : (n,) arrays, m and rad
        Distance along the brace; height of its wood above the face that it is glued to, and that face's distance
        below the midplane; the direction.
    grips : (n,) bool array
        Whether the brace holds the plate there; near its ends it only weighs on it (geometry/glue).
    carrying : pair of (n,) arrays, m
        Heights above the glued face between which its fibres carry stress; beside a notch not all of them.
    beds : mapping of float to Bed
        The plate's wood beside the glue, by the direction.
    cap : (n,) array, m
        Thickness of the piece glued on it over a crossing, 0 elsewhere.
    slips : (n,) bool array
        Whether the brace's fibres have a motion of their own there (fem/layer).
    bonds : int array
        Triangles at whose nodes they have none, because the brace is glued to another one's flank there, or is no
        more than a shaving.
    """

    brace: str
    points: Points
    distance: np.ndarray
    height: np.ndarray
    offset: np.ndarray
    angle: np.ndarray
    grips: np.ndarray
    carrying: tuple[np.ndarray, np.ndarray]
    beds: Mapping[float, Bed]
    cap: np.ndarray
    slips: np.ndarray
    bonds: np.ndarray


@dataclass(frozen=True, slots=True)
class Block:
    """Points of the block where two braces cross, or where one is butted against the flank of another.

    Parameters
    ----------
    crossing : Crossing
        Of a butted end: under it the through brace, over it the butted one.
    points : Points
    distances, heights : (2, n) arrays, m
        For the under and the over brace.
    offset : (n,) array, m
    angles : pair, rad
    is_butt : bool
    """

    crossing: Crossing
    points: Points
    distances: np.ndarray
    heights: np.ndarray
    offset: np.ndarray
    angles: tuple[float, float]
    is_butt: bool = False


def glued_faces(
    design: Design, wood: Wood, locator: Locator, own: Points
) -> tuple[tuple[Glued, ...], tuple[Block, ...]]:
    """Integration points of all braces and of their crossings: glued, one a brace, and blocks, one a crossing.

    Parameters
    ----------
    wood : Wood
        The top's.
    own : Points
        The triangles' own points.
    """
    area = np.bincount(own.element, own.weight)
    plate = rotated(*lamina(wood, "quarter", design.plate.ring_angle, design.plate.runout), design.plate.grain_angle)
    found = crossings(design)
    met = butts(design)
    blocks = []
    for crossing, is_butt in [*((c, False) for c in found), *((b.block(design), True) for b in met)]:
        pair = (design.brace(crossing.under), design.brace(crossing.over))
        points, distances, angles = block_points(crossing, pair, locator)
        if is_butt:
            # The butted brace goes on with the height of its end, which counts as part of its last stretch.
            distances[1] = np.clip(distances[1], 1e-9 * pair[1].length, (1 - 1e-9) * pair[1].length)
        heights = np.stack([brace.height(row) for brace, row in zip(pair, distances, strict=True)])
        offset = np.full(len(points.weight), design.plate.thickness / 2)
        blocks.append(Block(crossing, points, distances, heights, offset, angles, is_butt))
    strips, notches, capped = {}, {}, {}
    for brace in design.braces:
        mine = [c for c in found if brace.name in (c.under, c.over)]
        bands = [band_of(design, c.over if brace.name == c.under else c.under, np.asarray(c.point)) for c in mine]
        ends = [band_of(design, b.against, brace.path[b.end]) for b in met if b.brace == brace.name]
        cuts = [_notch(design, brace, c) for c in mine]
        near = [widened(band, cut[2]) for band, cut in zip(bands, cuts, strict=True)]
        caps = [c for c in mine if c.under == brace.name and c.cap > 0]
        ends_of_caps = [Band(*place_on(brace, np.asarray(c.point)), c.cap_length / 2) for c in caps]
        strips[brace.name] = strip_points(
            brace, [*bands, *ends], [*near, *ends_of_caps], grip_ends(brace, design), locator
        )
        notches[brace.name] = list(zip(near, cuts, strict=True))
        capped[brace.name] = list(zip(ends_of_caps, [c.cap for c in caps], strict=True))
    glued = []
    for brace in design.braces:
        points, s, angle = strips[brace.name]
        first, last = grip_ends(brace, design)
        xy = locator.positions(points.element, points.local)
        floor = _floor(design, xy)
        height = np.maximum(brace.height(s) - floor, 0.0)
        low, high = np.zeros(len(s)), np.full(len(s), np.inf)
        for band, (bottom, top, _) in notches[brace.name]:
            at = np.abs((xy - band.point) @ band.normal) < band.half
            low[at], high[at] = np.maximum(bottom - floor[at], 0.0), np.maximum(top - floor[at], 0.0)
        cap = np.zeros(len(s))
        for band, thickness in capped[brace.name]:
            cap[np.abs((xy - band.point) @ band.normal) < band.half] = thickness
        grips = (s > first) & (s < last)
        offset = design.plate.thickness / 2 + floor
        beds = {float(direction): Bed.of_plate(*plate, float(direction)) for direction in np.unique(angle)}
        ties = [c.points for c in blocks if not c.is_butt and brace.name in (c.crossing.under, c.crossing.over)]
        ties += [strips[b.against][0] for b in met if b.brace == brace.name]
        slips, bonds = _slipping(points, height, grips, ties, area)
        glued.append(Glued(brace.name, points, s, height, offset, angle, grips, (low, high), beds, cap, slips, bonds))
    return tuple(glued), tuple(blocks)


def _slipping(
    points: Points, height: np.ndarray, grips: np.ndarray, ties: Sequence[Points], area: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Which points of a brace slip, and the triangles at whose nodes it is held (see `Glued`)."""
    n = len(area)
    covered = np.bincount(points.element, points.weight * grips, n)
    low = np.full(n, np.inf)
    np.minimum.at(low, points.element, height)
    # A triangle that the strip only touches has too few points in it to carry a motion of its own.
    full = covered > MOST * area
    slips = full & (low > _SHAVING)
    met = sum((np.bincount(part.element, part.weight, n) for part in ties), np.zeros(n)) > MOST * area
    return grips & slips[points.element], np.flatnonzero(met | (full & ~slips))


def _notch(design: Design, brace: Brace, crossing: Crossing) -> tuple[float, float, float]:
    """Heights between which a brace's fibres pass through a crossing, and how far beside it they alone carry, m."""
    pair = (design.brace(crossing.under), design.brace(crossing.over))
    heights = [float(b.height(np.array([distance_to(b, np.asarray(crossing.point))]))[0]) for b in pair]
    which = 0 if brace.name == crossing.under else 1
    bottom, top, length = idle_beside_notch(pair, heights[0], heights[1], crossing.kept)[which]
    # A brace that is not cut keeps its own height, whatever it is beside the crossing.
    return bottom, top if top < heights[which] else np.inf, length


def _floor(design: Design, xy: np.ndarray) -> np.ndarray:
    """Height of the wood of patches on which braces sit instead of on the top, (n,) in m."""
    floor = np.zeros(len(xy))
    for patch in design.patches:
        if patch.under_braces:
            at = shapely.contains_xy(patch.polygon, xy[:, 0], xy[:, 1])
            floor[at] = patch_thickness_at(patch, xy[at])
    return floor


def brace_groups(glued: Glued, brace: Brace, wood: Wood, height: np.ndarray) -> list[Group]:
    """A brace's points twice: its sides and its mass, which move with the plate, and its fibres, which slip.

    For heights (n,) of its points, complex ones too; the second group, if any, holds the points that slip.
    """
    sides, along = brace_sections(glued, brace, wood, height)
    bound = glued.grips & ~glued.slips
    sides[bound] += along[bound, :9, :9]
    mass = brace_mass(brace.shape, brace.width, height, glued.offset, wood.density)
    mass = mass + layer_mass(wood.density, -glued.offset - height - glued.cap, -glued.offset - height)
    part = f"brace {brace.name}"
    groups = [Group(part, glued.points, sides, mass)]
    at = glued.slips
    if at.any():
        nothing = np.zeros((int(at.sum()), 3))
        # One height for all of the brace, or its fibres would jump where it climbs onto a patch.
        face = np.full(len(nothing), -glued.offset.min())
        groups.append(Group(part, some(glued.points, at), along[at], nothing, face, glued.angle[at], glued.bonds))
    return groups


def brace_sections(glued: Glued, brace: Brace, wood: Wood, height: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Section stiffness of a brace's sides (n, 9, 9), and of its fibres with the slip along the glue (n, 11, 11)."""
    return brace_sides(glued, brace, wood, height), brace_fibres(glued, brace, wood, height)


def brace_sides(glued: Glued, brace: Brace, wood: Wood, height: np.ndarray) -> np.ndarray:
    """Section stiffness of a brace's sides, (n, 9, 9)."""
    grain = fibre(wood, brace.ring_angle, brace.runout)
    sides = np.zeros((len(height), 9, 9), dtype=height.dtype)
    for angle in np.unique(glued.angle):
        at = (glued.angle == angle) & glued.grips
        bed = glued.beds[float(angle)]
        sides[at] = side_stiffness(brace.shape, brace.width, height[at], glued.offset[at], grain, float(angle), bed)
    return sides


def brace_fibres(glued: Glued, brace: Brace, wood: Wood, height: np.ndarray) -> np.ndarray:
    """Section stiffness of a brace's fibres with the slip along the glue, (n, 11, 11)."""
    grain = fibre(wood, brace.ring_angle, brace.runout)
    along = np.zeros((len(height), 11, 11), dtype=height.dtype)
    for angle in np.unique(glued.angle):
        at = (glued.angle == angle) & glued.grips
        section = (brace.shape, brace.width, height[at], glued.offset[at], grain, float(angle))
        bed, carrying = glued.beds[float(angle)], (glued.carrying[0][at], glued.carrying[1][at])
        along[at, :9, :9] = fibre_stiffness(*section, carrying)
        if glued.cap[at].any():
            under = -glued.offset[at] - height[at]
            along[at, :9, :9] += cap_stiffness(grain, float(angle), under - glued.cap[at], under)
        t = np.array([np.cos(angle), np.sin(angle)])
        slip = slip_stiffness(2 * glued.offset[at] / bed.shear_through + height[at] / grain.G_upright)
        along[at, 9:, 9:] = slip[:, None, None] * np.outer(t, t)
    return along


def block_group(block: Block, braces: tuple[Brace, Brace], woods: tuple[Wood, Wood]) -> Group:
    """Stiffness and mass of a crossing's points."""
    C, mass = block_sections(block, braces, woods, block.heights)
    return Group(f"joint {block.crossing.under}|{block.crossing.over}", block.points, C, mass)


def block_sections(
    block: Block, braces: tuple[Brace, Brace], woods: tuple[Wood, Wood], heights: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Section stiffness (n, 9, 9) and mass (n, 3) of a crossing's points for given heights (2, n), complex ones too."""
    first, second = (fibre(wood, brace.ring_angle, brace.runout) for brace, wood in zip(braces, woods, strict=True))
    under, over = heights
    if block.is_butt:
        C = butt_stiffness(braces, under, over, block.offset, first, block.angles[0])
        return C, np.zeros((len(block.offset), 3))
    kept = block.crossing.kept
    C = crossing_stiffness(braces, under, over, kept, block.offset, (first, second), block.angles)
    mass = crossing_mass(braces, under, over, kept, block.offset, (woods[0].density, woods[1].density))
    if block.crossing.cap > 0:
        # Of two equal heights neither takes the cap along when it alone is lowered: it rests on the other.
        higher = np.where(under.real == over.real, under.real, np.where(under.real > over.real, under, over))
        top = -block.offset - higher
        C = C + cap_stiffness(first, block.angles[0], top - block.crossing.cap, top)
        mass = mass + layer_mass(woods[0].density, top - block.crossing.cap, top)
    return C, mass
