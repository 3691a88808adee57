"""The top as weighted points, each with a section stiffness and a mass.

Plate and patches are sampled at the triangles' own integration points; braces are sampled over their glued
faces, so that they hold the plate over their width and not along a line.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.locate import Locator
from bracedtop.fem.section import brace_mass, brace_stiffness, crossing_mass, crossing_stiffness
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design
from bracedtop.geometry.layout import Crossing, crossings

STEP = 4e-3
"""Longest stretch of a brace between two pairs of integration points, m; chosen: a sixth of a usual triangle."""

_GAUSS = np.polynomial.legendre.leggauss(2)


@dataclass(frozen=True, slots=True)
class Points:
    """Integration points inside triangles.

    Parameters
    ----------
    element : (n,) int array
    local : (2, n) array
        Reference coordinates in the triangle.
    weight : (n,) array, m^2
    """

    element: np.ndarray
    local: np.ndarray
    weight: np.ndarray


@dataclass(frozen=True, slots=True)
class Glued:
    """Points of one brace's glued face, outside its crossings.

    Parameters
    ----------
    brace : str
    points : Points
    distance, height, offset, angle : (n,) arrays, m and rad
        Distance along the brace, its height, the glued face's distance below the midplane, the direction.
    """

    brace: str
    points: Points
    distance: np.ndarray
    height: np.ndarray
    offset: np.ndarray
    angle: np.ndarray


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
    """What one part of the top adds: its points with their section stiffness (n, 8, 8) and mass (n, 3)."""

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
    region = design.region
    glued = []
    for brace in design.braces:
        cuts = [c for c in found if brace.name in (c.under, c.over)]
        xy, distance, angle, weight = _strip(brace, [_other_strip(design, brace, c) for c in cuts])
        inside = shapely.contains_xy(region, xy[:, 0], xy[:, 1])
        points = _located(locator, xy[inside], weight[inside])
        s = distance[inside]
        offset = thickness[points.element] / 2
        glued.append(Glued(brace.name, points, s, brace.height(s), offset, angle[inside]))
    blocks = []
    for crossing in found:
        pair = (design.brace(crossing.under), design.brace(crossing.over))
        xy, distances, angles, weight = _block(crossing, pair)
        inside = shapely.contains_xy(region, xy[:, 0], xy[:, 1])
        points = _located(locator, xy[inside], weight[inside])
        s = distances[:, inside]
        heights = np.stack([brace.height(row) for brace, row in zip(pair, s, strict=True)])
        blocks.append(Block(crossing, points, s, heights, thickness[points.element] / 2, angles))
    return tuple(glued), tuple(blocks)


def brace_group(glued: Glued, brace: Brace, wood: Wood) -> Group:
    """Stiffness and mass of a brace's points."""
    stiffness = np.empty((len(glued.height), 8, 8))
    for angle in np.unique(glued.angle):
        at = glued.angle == angle
        stiffness[at] = brace_stiffness(brace.shape, brace.width, glued.height[at], glued.offset[at], wood, angle)
    mass = brace_mass(brace.shape, brace.width, glued.height, glued.offset, wood.density)
    return Group(f"brace {brace.name}", glued.points, stiffness, mass)


def block_group(block: Block, woods: tuple[Wood, Wood]) -> Group:
    """Stiffness and mass of a crossing's points."""
    under, over = block.heights
    kept = block.crossing.kept
    stiffness = crossing_stiffness(under, over, kept, block.offset, woods, block.angles)
    mass = crossing_mass(under, over, kept, block.offset, (woods[0].density, woods[1].density))
    return Group(f"joint {block.crossing.under}|{block.crossing.over}", block.points, stiffness, mass)


def plate_layers(design: Design, woods: Mapping[str, Wood]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Section stiffness (8, 8) and mass (3,) of the top itself and of every patch where it lies.

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
                    Group(f"patch {patch.name}", missing, np.broadcast_to(C, (n, 8, 8)), np.broadcast_to(mass, (n, 3)))
                )
    return groups


def _layer(wood: Wood, angle: float, bottom: float, top: float) -> tuple[np.ndarray, np.ndarray]:
    Q, G = rotated(*lamina(wood), angle)
    z = (np.array([bottom]), np.array([top]))
    return layer_stiffness(Q, G, *z)[0], layer_mass(wood.density, *z)[0]


def _located(locator: Locator, xy: np.ndarray, weight: np.ndarray) -> Points:
    element, local = locator.locate(xy)
    return Points(element, local, weight)


def _across(width: float) -> tuple[np.ndarray, np.ndarray]:
    """Offsets and weights across a brace: two points on either side of the centreline, where a mesh edge runs."""
    x, w = _GAUSS
    half = width / 4 * (x + 1)
    return np.concatenate([-half[::-1], half]), np.concatenate([w[::-1], w]) * width / 4


@dataclass(frozen=True, slots=True)
class _Line:
    """The straight strip of another brace: a point on it, its unit normal, its half width."""

    point: np.ndarray
    normal: np.ndarray
    half: float


def _other_strip(design: Design, brace: Brace, crossing: Crossing) -> _Line:
    other = design.brace(crossing.over if brace.name == crossing.under else crossing.under)
    tangent = other.position(np.array([_distance_to(other, crossing.point)]))[1][0]
    return _Line(np.asarray(crossing.point), np.array([-tangent[1], tangent[0]]), other.width / 2)


def _distance_to(brace: Brace, point: np.ndarray) -> float:
    return float(shapely.LineString(brace.path).project(shapely.Point(point)))


def _strip(brace: Brace, others: list[_Line]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Points over a brace's face: positions (n, 2), distances (n,), directions (n,), weights (n,)."""
    offsets, breadths = _across(brace.width)
    pieces = np.diff(brace.path, axis=0)
    lengths = np.hypot(*pieces.T)
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    rows = []
    for corner, piece, length, start in zip(brace.path[:-1], pieces, lengths, starts, strict=True):
        t = piece / length
        n = np.array([-t[1], t[0]])
        breaks = np.concatenate([[0.0, length], brace.stations[:, 0] - start])
        for offset, breadth in zip(offsets, breadths, strict=True):
            origin = corner + offset * n
            gaps = [_gap(origin, t, other) for other in others]
            s, w = _intervals(np.concatenate([breaks, *gaps]) if gaps else breaks, length)
            for low, high in gaps:
                outside = (s < low) | (s > high)
                s, w = s[outside], w[outside]
            xy = origin + s[:, None] * t
            rows.append(np.column_stack([xy, s + start, np.full(len(s), np.arctan2(t[1], t[0])), w * breadth]))
    table = np.concatenate(rows)
    return table[:, :2], table[:, 2], table[:, 3], table[:, 4]


def _gap(origin: np.ndarray, tangent: np.ndarray, other: _Line) -> np.ndarray:
    """Stretch of the line from `origin` that lies in the other brace's strip."""
    slope = tangent @ other.normal
    if abs(slope) < 1e-9:
        return np.array([0.0, 0.0])
    ends = (np.array([-other.half, other.half]) - (origin - other.point) @ other.normal) / slope
    return np.sort(ends)


def _intervals(breaks: np.ndarray, length: float) -> tuple[np.ndarray, np.ndarray]:
    ends = np.unique(np.clip(breaks, 0.0, length))
    x, w = _GAUSS
    s, weights = [], []
    for a, b in zip(ends[:-1], ends[1:], strict=True):
        cells = np.linspace(a, b, int(np.ceil((b - a) / STEP)) + 1)
        half = (cells[1] - cells[0]) / 2
        s.append(((cells[:-1] + cells[1:]) / 2)[:, None] + half * x)
        weights.append(np.broadcast_to(half * w, s[-1].shape))
    return np.concatenate([part.ravel() for part in s]), np.concatenate([part.ravel() for part in weights])


def _block(
    crossing: Crossing, pair: tuple[Brace, Brace]
) -> tuple[np.ndarray, np.ndarray, tuple[float, float], np.ndarray]:
    """Points over a crossing: positions (n, 2), distances (2, n), directions, weights (n,)."""
    point = np.asarray(crossing.point)
    along = [_distance_to(brace, point) for brace in pair]
    tangents = np.array([brace.position(np.array([s]))[1][0] for brace, s in zip(pair, along, strict=True)])
    normals = np.column_stack([-tangents[:, 1], tangents[:, 0]])
    (a, wa), (b, wb) = _across(pair[0].width), _across(pair[1].width)
    offsets = np.stack(np.meshgrid(a, b, indexing="ij"), axis=-1).reshape(-1, 2)
    relative = np.linalg.solve(normals, offsets.T).T
    weight = np.outer(wa, wb).ravel() / abs(np.linalg.det(normals))
    distances = np.stack([s + relative @ t for s, t in zip(along, tangents, strict=True)])
    angles = (float(np.arctan2(*tangents[0][::-1])), float(np.arctan2(*tangents[1][::-1])))
    return point + relative, distances, angles, weight
