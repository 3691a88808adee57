"""Lobes of a mode and the lines between them that stand still.

Depends on nothing inside the project.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

NEGLIGIBLE = 0.04
"""A lobe that moves less than this part of the largest deflection is taken as still; chosen: as nodes are counted."""

_TINY = 1e-9
_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class Lobe:
    """A part of the top that moves one way, its vertices, sign and largest magnitude."""

    vertices: np.ndarray
    sign: int
    peak: float


def without_specks(triangles: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Values (n,) without zeros, in which every negligible lobe has taken the sign of what surrounds it.

    Parameters
    ----------
    triangles : (m, 3) int array
    values : (n,) array
        Scaled to a largest magnitude of 1.
    """
    edges = _edges(triangles)
    cleaned = _without_zeros(edges, np.asarray(values, dtype=float))
    for _ in range(_ROUNDS):
        up = cleaned > 0
        member = _member(edges[up[edges[:, 0]] == up[edges[:, 1]]], len(cleaned))
        peak = np.zeros(member.max() + 1)
        np.maximum.at(peak, member, np.abs(cleaned))
        speck = (peak < NEGLIGIBLE)[member]
        if not speck.any() or speck.all():
            break
        cleaned[speck] = np.where(up[speck], -_TINY, _TINY)
    return cleaned


def lobes(triangles: np.ndarray, values: np.ndarray, floor: float) -> list[Lobe]:
    """Parts of the top that move one way by more than `floor`, the strongest first.

    Parameters
    ----------
    triangles : (m, 3) int array
    values : (n,) array
    floor : float
        Above zero, so that lobes that meet where two node lines cross stay apart.
    """
    edges = _edges(triangles)
    kind = np.where(np.abs(values) > floor, np.sign(values), 0).astype(int)
    member = _member(edges[kind[edges[:, 0]] == kind[edges[:, 1]]], len(values))
    moving = np.flatnonzero(kind)
    found = [
        Lobe(part, int(kind[part[0]]), float(np.abs(values[part]).max()))
        for part in (moving[member[moving] == k] for k in np.unique(member[moving]))
    ]
    return sorted(found, key=lambda lobe: -lobe.peak)


def _edges(triangles: np.ndarray) -> np.ndarray:
    return np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])


def _member(edges: np.ndarray, n: int) -> np.ndarray:
    """Number of the connected part that each of n vertices belongs to."""
    graph = sparse.coo_matrix((np.ones(len(edges), dtype=np.int8), (edges[:, 0], edges[:, 1])), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1])


def _without_zeros(edges: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Values in which a vertex at rest, as on a held rim, leans the way of its neighbours."""
    cleaned = np.where(np.abs(values) < _TINY, 0.0, values)
    for _ in range(_ROUNDS):
        at_rest = cleaned == 0
        if not at_rest.any():
            break
        pull = np.zeros(len(cleaned))
        for a, b in (edges.T, edges.T[::-1]):
            pull += np.bincount(a, weights=cleaned[b], minlength=len(cleaned))
        cleaned[at_rest] = np.sign(pull[at_rest]) * _TINY
    return np.where(cleaned == 0, _TINY, cleaned)


def node_lines(points: np.ndarray, triangles: np.ndarray, values: np.ndarray) -> list[np.ndarray]:
    """Lines (n, 2) on which linear values over triangles are zero; no value may be exactly zero at a vertex.

    Parameters
    ----------
    points : (n, 2) array
    triangles : (m, 3) int array
    values : (n,) array

    Returns
    -------
    lines : list of (n, 2) arrays
        A closed line ends in its first point.
    """
    up = values[triangles] > 0
    crossed = triangles[up.any(axis=1) & ~up.all(axis=1)]
    if not len(crossed):
        return []
    up = values[crossed] > 0
    # The vertex that is alone on its side; both crossed edges end in it.
    alone = np.where(up.sum(axis=1) == 1, up.argmax(axis=1), (~up).argmax(axis=1))
    rows = np.arange(len(crossed))
    ends = [_crossing(points, values, crossed[rows, alone], crossed[rows, (alone + k) % 3]) for k in (1, 2)]
    segments = shapely.linestrings(np.stack(ends, axis=1))
    merged = shapely.line_merge(shapely.multilinestrings(segments))
    return [shapely.get_coordinates(line) for line in shapely.get_parts(merged)]


def smoothed(line: np.ndarray, step: float) -> np.ndarray:
    """A line (n, 2) through points about `step` apart without the kinks that the triangles gave it; ends stay."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    n = int(np.ceil(along[-1] / step))
    if n < 4:
        return line
    at = np.linspace(0.0, along[-1], n + 1)
    even = np.column_stack([np.interp(at, along, axis) for axis in line.T])
    closed = np.allclose(line[0], line[-1])
    for _ in range(2):
        inner = (even[:-2] + 2 * even[1:-1] + even[2:]) / 4
        end = (even[-2] + 2 * even[0] + even[1]) / 4 if closed else even[0]
        even = np.vstack([end, inner, end if closed else even[-1]])
    return even


def _crossing(points: np.ndarray, values: np.ndarray, i: np.ndarray, j: np.ndarray) -> np.ndarray:
    """Points (k, 2) where the value is zero between vertices i and j; the same from either triangle of the edge."""
    a, b = np.minimum(i, j), np.maximum(i, j)
    t = values[a] / (values[a] - values[b])
    return np.asarray(points[a] + t[:, None] * (points[b] - points[a]))
