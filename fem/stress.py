"""Stresses of a loaded top: at the faces of the plate, in the braces' fibres, in the glue under them.

Depends on fem/static, fem/laminate, fem/layer, fem/section, fem/sampling.

Fibre stresses of a brace are means over its width, as the model takes each section of it as one beam. Where a stiffness
jumps (at a corner of the bridge) the plate's stress has a sharp peak that a finer mesh makes sharper; wood takes no
notice of what happens within a fibre's breadth, so the plate's stress is averaged over a small square. Such means were
2 to 20 % lower than an orthotropic solid's at the corner of a bridge, near where the solid itself is singular.

References
----------
J. M. Whitney, R. J. Nuismer, J. Compos. Mater. 8 (1974) 253-265: average-stress criterion (recalled).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bracedtop.fem.brace_points import Glued
from bracedtop.fem.footprint import Points, points_in
from bracedtop.fem.joint_section import crossing_layers
from bracedtop.fem.laminate import fibre, lamina, strain_rotation
from bracedtop.fem.layer import part_strains
from bracedtop.fem.plate import own_points
from bracedtop.fem.sampling import some
from bracedtop.fem.section import part_moments
from bracedtop.fem.static import Static, strains_at

SIDE = 5e-3
"""Side of the square over which the plate's stress is averaged, m; chosen: near the 3.8 mm that Whitney and Nuismer
found for laminates, about two thicknesses of a top."""

_CANDIDATES = 25
"""Places of high stress that are averaged over; chosen: four times what the starter top needs."""

GLUE_LENGTH = 20e-3
"""Length along a brace over which the shear in its glue line is averaged, m; chosen: about the height of a tall brace,
within which a solid spreads what a beam theory hands over at its very end."""

SMOOTHING = 12e-3
"""Half the length of brace to which a line is fitted, m; chosen: about half a default triangle and less than a tall
brace's height."""

_STEP = 2e-3
"""Distance of the places along a brace at which stresses are given, m; chosen: below any brace's width."""

_JUMP = 0.3e-3
"""Change of a brace's height between neighbouring points that counts as a step, m, besides their distance."""


@dataclass(frozen=True, slots=True)
class Peak:
    """A mean stress in Pa over a square of `SIDE` about a place (2,) in m; face 0 is the outside, 1 the inside."""

    stress: float
    place: np.ndarray
    face: int


@dataclass(frozen=True, slots=True)
class BraceStress:
    """Stress along a brace, ordered by distance along it.

    Parameters
    ----------
    brace : str
    distance : (n,) array, m
    free, glued : (n,) arrays, Pa
        Fibre stress at the free side and at the glue line, positive when stretched. Where braces cross and beside
        it, the part of the brace that the notch leaves counts.
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


def face_stress(static: Static, points: Points) -> np.ndarray:
    """Stresses of the top's own wood at points, (n, 2, 3) in Pa.

    Second index: the outside face, the inside face. Third: along the grain, across it, shear in the plane.
    """
    model = static.model
    plate = model.design.plate
    Q, _ = lamina(model.woods[plate.wood], "quarter", plate.ring_angle, plate.runout)
    T, _ = strain_rotation(plate.grain_angle)
    strain = strains_at(static, points)
    z = np.stack(model.top.faces(points)[::-1], axis=1)
    return np.asarray((strain[:, None, :3] + z[:, :, None] * strain[:, None, 3:6]) @ (Q @ T).T)


def largest(static: Static, component: int, sign: int) -> Peak:
    """Largest mean stress over a small square of the top, of one component of `face_stress`.

    Parameters
    ----------
    component : int
        0 along the grain, 1 across it, 2 shear.
    sign : int
        1 for stretched, -1 for pressed, 0 for either.
    """
    model = static.model
    points, _ = own_points(model.space)
    at = model.locator.positions(points.element, points.local)
    best = Peak(0.0, at[0], 0)
    point_values = _signed(face_stress(static, points)[:, :, component], sign)
    for k in _apart(at, point_values.max(axis=1)):
        if point_values[k].max() <= best.stress:
            continue
        square = at[k] + SIDE / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        inside, _ = points_in([square], model.locator)
        means = (inside.weight @ face_stress(static, inside)[:, :, component]) / inside.weight.sum()
        values = _signed(means, sign)
        face = int(values.argmax())
        if values[face] > best.stress:
            best = Peak(float(values[face]), at[k], face)
    return best


def _signed(values: np.ndarray, sign: int) -> np.ndarray:
    return np.abs(values) if sign == 0 else sign * values


def _apart(xy: np.ndarray, values: np.ndarray) -> list[int]:
    """Indices of the highest values, highest first, no two nearer than half a `SIDE`."""
    found: list[int] = []
    for k in np.argsort(-values):
        if len(found) == _CANDIDATES:
            break
        if not found or np.hypot(*(xy[found] - xy[k]).T).min() > SIDE / 2:
            found.append(int(k))
    return found


def brace_stress(static: Static, name: str) -> BraceStress:
    """Stresses of one brace."""
    model = static.model
    brace = model.design.brace(name)
    E = fibre(model.woods[brace.wood], brace.ring_angle, brace.runout).E
    glued = next(g for g in model.glued if g.brace == name)
    low, high = glued.carrying[0], np.minimum(glued.carrying[1], glued.height)
    at = glued.grips & (high > low)
    points = some(glued.points, at)
    s, low, high, offset = glued.distance[at], low[at], high[at], glued.offset[at]
    strain, curvature = _along(_fibre_strains(static, glued)[at], glued.angle[at])
    moments = brace.width * part_moments(brace.shape, brace.width, glued.height[at], low, high, offset)
    force = E * (moments[:, 0] * strain + moments[:, 1] * curvature)
    values = np.column_stack([*(E * (strain - (offset + zeta) * curvature) for zeta in (high, low)), force])
    middles = [m for k in range(len(model.blocks)) if (m := _middle(static, name, k)) is not None]
    # Beside a notch the fibres that it cuts are idle: there the brace is another one than elsewhere.
    whole = high >= glued.height[at]
    parts = [
        smoothed(s[side], points.weight[side], values[side], _breaks(s[side], high[side] + offset[side], middles))
        for side in (whole & (low <= 0), ~whole | (low > 0))
    ]
    crossed = [part for k in range(len(model.blocks)) if (part := _crossed(static, name, k)) is not None]
    rows = np.concatenate([*(part[:, :3] for part in parts), *crossed])
    every = np.concatenate(parts)
    every = every[np.argsort(every[:, 0], kind="stable")]
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    ends = (float(s.min()), float(s.max())) if len(s) else (0.0, 0.0)
    glue_distance, glue_shear = _glue_shear(every[:, 0], every[:, 3], ends, brace.width)
    return BraceStress(name, rows[:, 0], rows[:, 1], rows[:, 2], glue_distance, glue_shear)


def smoothed(s: np.ndarray, weight: np.ndarray, values: np.ndarray, breaks: np.ndarray) -> np.ndarray:
    """Values along a brace by a straight line fitted within `SMOOTHING` on either side, not across breaks.

    A cubic triangle's strains sway by some per cent about the true ones; a fitted line takes that out.

    Parameters
    ----------
    s : (n,) array, m
        Distances along the brace.
    weight : (n,) array
    values : (n, k) array
    breaks : array, m
        Distances at which the brace changes suddenly.

    Returns
    -------
    rows : (m, 1 + k) array
        Distance every `_STEP`, and the values there.
    """
    rows = [np.zeros((0, 1 + values.shape[1]))]
    ends = np.concatenate([[-np.inf], np.sort(breaks), [np.inf]])
    for start, stop in pairwise(ends):
        at = np.flatnonzero((s >= start) & (s < stop))
        if not len(at):
            continue
        at = at[np.argsort(s[at])]
        x, w, v = s[at], weight[at], values[at]
        grid = np.linspace(x[0], x[-1], max(2, int((x[-1] - x[0]) / _STEP)))
        # Nothing is said about gaps, where another brace passes.
        after = _next(x, grid)
        gap = np.minimum(np.abs(x[after] - grid), np.abs(x[np.maximum(after - 1, 0)] - grid))
        grid = grid[gap <= _STEP]
        first = np.searchsorted(x, grid - SMOOTHING)
        last = np.searchsorted(x, grid + SMOOTHING)
        # Sums over windows are differences of running sums; distances from the stretch's middle keep them exact.
        middle = (x[0] + x[-1]) / 2
        d = x - middle
        sums = np.cumsum(np.column_stack([w, w * d, w * d * d, w[:, None] * v, (w * d)[:, None] * v]), axis=0)
        sums = np.concatenate([np.zeros((1, sums.shape[1])), sums])
        window = sums[last] - sums[first]
        k = v.shape[1]
        n, n_d, n_dd, n_v, n_dv = (
            window[:, :1],
            window[:, 1:2],
            window[:, 2:3],
            window[:, 3 : 3 + k],
            window[:, 3 + k :],
        )
        spread = n * n_dd - n_d**2
        slope = np.where(spread > (n * _STEP) ** 2, (n * n_dv - n_d * n_v) / np.where(spread > 0, spread, 1.0), 0.0)
        rows.append(np.column_stack([grid, (n_v - slope * n_d) / n + slope * (grid - middle)[:, None]]))
    return np.concatenate(rows)


def _next(x: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Index of the first of sorted x (n,) that is not below each of `at`, the last one's where none is."""
    return np.minimum(np.searchsorted(x, at), len(x) - 1)


def _breaks(s: np.ndarray, depth: np.ndarray, middles: list[float]) -> np.ndarray:
    """Distances at which the free side steps, and the middles of crossings."""
    order = np.argsort(s, kind="stable")
    step = np.abs(np.diff(depth[order])) > _JUMP + np.diff(s[order])
    return np.concatenate([(s[order][1:][step] + s[order][:-1][step]) / 2, middles])


def _middle(static: Static, name: str, number: int) -> float | None:
    """Distance along a brace at which another one crosses it."""
    block = static.model.blocks[number]
    pair = (block.crossing.under, block.crossing.over)
    return float(block.distances[pair.index(name)].mean()) if name in pair else None


def _crossed(static: Static, name: str, number: int) -> np.ndarray | None:
    """Distance, free and glued side's stress (n, 3) of a brace where another one crosses it."""
    model = static.model
    block = model.blocks[number]
    pair = (block.crossing.under, block.crossing.over)
    if name not in pair:
        return None
    k = pair.index(name)
    under, over = block.heights
    top_under, bottom_over, top_over = crossing_layers(under, over, block.crossing.kept)
    low, high = ((0.0 * top_under, top_under), (bottom_over, top_over))[k]
    at = high > low + 1e-9
    if not at.any():
        return None
    points = some(block.points, at)
    strain, curvature = _along(strains_at(static, points), np.full(int(at.sum()), block.angles[k]))
    brace = model.design.brace(name)
    E = fibre(model.woods[brace.wood], brace.ring_angle, brace.runout).E
    z = [-(block.offset[at] + part[at]) for part in (high, low)]
    values = np.column_stack([E * (strain + height * curvature) for height in z])
    return smoothed(block.distances[k][at], points.weight, values, np.zeros(0))


def _along(strain: np.ndarray, angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Strain and curvature along directions (n,) in rad out of generalised strains (n, 9), (n,) each."""
    c, s = np.cos(angle), np.sin(angle)
    row = np.column_stack([c * c, s * s, s * c])
    return (row * strain[:, :3]).sum(axis=1), (row * strain[:, 3:6]).sum(axis=1)


def _fibre_strains(static: Static, glued: Glued) -> np.ndarray:
    """Generalised strains of a brace's fibres at its points, (n, 9): their own where they slip, else the plate's."""
    model = static.model
    strain = strains_at(static, glued.points)
    for group in model.groups:
        if group.part == f"brace {glued.brace}" and group.face is not None:
            own = part_strains(model.space, model.layers, group, static.vector[None, :])
            strain[glued.slips] = own[0, :, :9]
    return strain


def _glue_shear(
    distance: np.ndarray, force: np.ndarray, ends: tuple[float, float], width: float
) -> tuple[np.ndarray, np.ndarray]:
    """Distances and mean shear stress of the glue there; the axial force is zero beyond the brace's hold."""
    if not len(distance):
        return np.zeros(0), np.zeros(0)
    start, stop = ends
    known_s = np.concatenate([[start - 1e-9], distance, [stop + 1e-9]])
    known = np.concatenate([[0.0], force, [0.0]])
    middle = np.linspace(start, stop, max(2, int((stop - start) / _STEP)))
    ahead = np.interp(middle + GLUE_LENGTH / 2, known_s, known, left=0.0, right=0.0)
    behind = np.interp(middle - GLUE_LENGTH / 2, known_s, known, left=0.0, right=0.0)
    return middle, (ahead - behind) / (GLUE_LENGTH * width)
