"""Stresses of a loaded top: at the faces of the plate, in the braces' fibres, in the glue under them.

Depends on fem/static, fem/laminate, fem/section, fem/sampling.

Fibre stresses of a brace are means over its width, as the model takes each section of it as one beam. Where a stiffness
jumps (a brace's end, a bridge's corner) a plate theory's stress has a sharp peak that a finer mesh makes sharper; the
largest values are for comparing, not for counting on.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.footprint import Points
from bracedtop.fem.laminate import lamina, strain_rotation
from bracedtop.fem.section import crossing_layers, section_moments
from bracedtop.fem.static import Static, strains_at

GLUE_LENGTH = 20e-3
"""Length along a brace over which the shear in its glue line is averaged, m; chosen: about the height of a tall brace,
within which a solid spreads what a beam theory hands over at its very end."""

_BIN = 2e-3
"""Fibre stresses within so much of a brace's length are averaged, m; chosen: below any brace's width."""


@dataclass(frozen=True, slots=True)
class PlateStress:
    """Stresses at the two faces of the top's own wood.

    Parameters
    ----------
    xy : (n, 2) array, m
    outside, inside : (n, 3) arrays, Pa
        Along the grain, across it, in-plane shear.
    """

    xy: np.ndarray
    outside: np.ndarray
    inside: np.ndarray


@dataclass(frozen=True, slots=True)
class BraceStress:
    """Stress along a brace, ordered by distance along it.

    Parameters
    ----------
    brace : str
    distance : (n,) array, m
    free, glued : (n,) arrays, Pa
        Fibre stress at the free side and at the glue line, positive when stretched. Where braces cross, the part of the
        brace that the notch leaves counts.
    glue_distance : (m,) array, m
    glue_shear : (m,) array, Pa
        Change of the brace's axial force per length and width, averaged over `GLUE_LENGTH`.
    """

    brace: str
    distance: np.ndarray
    free: np.ndarray
    glued: np.ndarray
    glue_distance: np.ndarray
    glue_shear: np.ndarray


def plate_stress(static: Static) -> PlateStress:
    """Stresses at the faces of the top, at the triangles' integration points."""
    model = static.model
    plate = model.design.plate
    wood = model.woods[plate.wood]
    Q, _ = lamina(wood)
    T, _ = strain_rotation(plate.grain_angle)
    xy, outside, inside = [], [], []
    for group in model.groups:
        if group.part not in ("top", "ring"):
            continue
        t = plate.thickness - (plate.ring_reduction if group.part == "ring" else 0.0)
        strain = strains_at(static, group.points)
        xy.append(model.locator.positions(group.points.element, group.points.local))
        for side, z in ((outside, t / 2), (inside, -t / 2)):
            side.append((strain[:, :3] + z * strain[:, 3:6]) @ (Q @ T).T)
    return PlateStress(np.concatenate(xy), np.concatenate(outside), np.concatenate(inside))


def brace_stress(static: Static, name: str) -> BraceStress:
    """Stresses of one brace."""
    model = static.model
    brace = model.design.brace(name)
    E_L = model.woods[brace.wood].E_L
    glued = next(g for g in model.glued if g.brace == name)
    at = glued.grips & (glued.height > 0)
    points = _some(glued.points, at)
    s, height, offset = glued.distance[at], glued.height[at], glued.offset[at]
    strain, curvature = _along(static, points, glued.angle[at])
    moments = section_moments(brace.shape, brace.width, height, offset)
    force = E_L * (moments[:, 0] * strain + moments[:, 1] * curvature)
    values = np.column_stack(
        [E_L * (strain - (offset + height) * curvature), E_L * (strain - offset * curvature), force]
    )
    distance, binned = _binned(s, points.weight, values)
    glue_distance, glue_shear = _glue_shear(distance, binned[:, 2], s, brace.width)
    crossed = [_crossed(static, name, k) for k in range(len(model.blocks))]
    rows = [np.column_stack([distance, binned[:, :2]]), *(part for part in crossed if part is not None)]
    every = np.concatenate(rows)
    every = every[np.argsort(every[:, 0], kind="stable")]
    return BraceStress(name, every[:, 0], every[:, 1], every[:, 2], glue_distance, glue_shear)


def _crossed(static: Static, name: str, number: int) -> np.ndarray | None:
    """Distance, free and glued side's stress (n, 3) of a brace where another one crosses it."""
    model = static.model
    block = model.blocks[number]
    pair = (block.crossing.under, block.crossing.over)
    if name not in pair:
        return None
    k = pair.index(name)
    top_under, bottom_over, top_over = crossing_layers(*block.heights, block.crossing.kept)
    low, high = ((0.0 * top_under, top_under), (bottom_over, top_over))[k]
    at = high > low + 1e-9
    if not at.any():
        return None
    points = _some(block.points, at)
    strain, curvature = _along(static, points, np.full(int(at.sum()), block.angles[k]))
    E_L = model.woods[model.design.brace(name).wood].E_L
    z = [-(block.offset[at] + part[at]) for part in (high, low)]
    values = np.column_stack([E_L * (strain + height * curvature) for height in z])
    distance, binned = _binned(block.distances[k][at], points.weight, values)
    return np.column_stack([distance, binned])


def _along(static: Static, points: Points, angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Strain and curvature along directions (n,) in rad at points, (n,) each."""
    strain = strains_at(static, points)
    c, s = np.cos(angle), np.sin(angle)
    row = np.column_stack([c * c, s * s, s * c])
    return (row * strain[:, :3]).sum(axis=1), (row * strain[:, 3:6]).sum(axis=1)


def _some(points: Points, at: np.ndarray) -> Points:
    return Points(points.element[at], points.local[:, at], points.weight[at])


def _binned(s: np.ndarray, weight: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weighted means of distances (n,) and values (n, k) within bins along a brace."""
    if not len(s):
        return np.zeros(0), np.zeros((0, values.shape[1]))
    _, bin_of = np.unique(np.floor(s / _BIN), return_inverse=True)
    total = np.bincount(bin_of, weight)
    means = [np.bincount(bin_of, weight * column) / total for column in (s, *values.T)]
    return means[0], np.column_stack(means[1:])


def _glue_shear(distance: np.ndarray, force: np.ndarray, s: np.ndarray, width: float) -> tuple[np.ndarray, np.ndarray]:
    """Distances and mean shear stress of the glue there; the axial force is zero beyond the brace's hold."""
    if not len(s):
        return np.zeros(0), np.zeros(0)
    start, stop = s.min(), s.max()
    known_s = np.concatenate([[start - 1e-9], distance, [stop + 1e-9]])
    known = np.concatenate([[0.0], force, [0.0]])
    middle = np.linspace(start, stop, max(2, int((stop - start) / _BIN)))
    ahead = np.interp(middle + GLUE_LENGTH / 2, known_s, known, left=0.0, right=0.0)
    behind = np.interp(middle - GLUE_LENGTH / 2, known_s, known, left=0.0, right=0.0)
    return middle, (ahead - behind) / (GLUE_LENGTH * width)
