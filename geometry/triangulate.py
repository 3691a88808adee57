"""Triangles on given points that hold given sides.

scipy's Delaunay triangulation does the work; sides that it lacks are brought in by exchanging diagonals. Any set of
sides that meet only at their ends can be brought in this way, however close they lie, so this step has no input
that it fails on. An advancing-front mesher was tried first (netgen's): on the same sides it is as robust, but it cuts
given sides into more, which leaves points off the curves and made a fifth more triangles over 200 random drawings.

References
----------
S. W. Sloan, A fast algorithm for generating constrained Delaunay triangulations, Computers & Structures 47 (1993)
441-450: recovery of sides by exchanging diagonals.
"""

from collections import deque

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay

from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.outline import Array

Ints = NDArray[np.int_]


def constrained_delaunay(points: Array, sides: Ints, outer: NDArray[np.bool_]) -> Ints:
    """Triangles (k, 3) on points that hold all given sides, anticlockwise.

    Parameters
    ----------
    points : (n, 2) array, m
    sides : (m, 2) int array
        Sides that meet only at their ends.
    outer : (m,) bool array
        Sides on the border, directed so that the region lies on their left.

    Raises
    ------
    MeshError
        If a side runs through a point or crosses another.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    scaled = (points - (low + high) / 2) / (high - low).max()
    # Far points make every side an inner one, so that none is lost to rounding on a straight border.
    turn = np.arange(8) * np.pi / 4 + 0.1
    far = 8.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    every = np.vstack([scaled, far])
    edges = _Edges(every, Delaunay(every).simplices, points)
    for a, b in sides.tolist():
        edges.recover(a, b)
    edges.legalise({(min(a, b), max(a, b)) for a, b in sides.tolist()})
    return _kept(edges.triangles(), len(points), sides, outer)


def _kept(t: Ints, n_points: int, sides: Ints, outer: NDArray[np.bool_]) -> Ints:
    """The triangles on the region's side of its border."""
    border = {(a, b) for a, b in sides[outer].tolist()}
    owner = {}
    for k, (a, b, c) in enumerate(t.tolist()):
        owner[a, b] = owner[b, c] = owner[c, a] = k
    pairs = [(k, owner.get((b, a), k)) for (a, b), k in owner.items() if (a, b) not in border and (b, a) not in border]
    i, j = np.array(pairs).T
    _, face = connected_components(coo_matrix((np.ones(len(i)), (i, j)), shape=(len(t), len(t))), directed=False)
    inside = {int(face[owner[side]]) for side in border}
    outside = {int(face[owner[b, a]]) for a, b in border}
    outside |= {int(face[k]) for k in np.flatnonzero((t >= n_points).any(axis=1))}
    if inside & outside:
        message = "the border of the top is not closed"
        raise MeshError(message)
    return t[np.isin(face, sorted(inside))]


class _Edges:
    """Triangles as a map from a directed edge to the corner opposite, on its left."""

    def __init__(self, points: Array, triangles: Ints, drawn: Array) -> None:
        self.xy = points.tolist()
        self.drawn = drawn
        self.opposite: dict[tuple[int, int], int] = {}
        self.around: dict[int, int] = {}
        self.changed: list[tuple[int, int]] = []
        p = points[triangles]
        u, v = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
        flipped = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
        t = np.where(flipped[:, None], triangles[:, ::-1], triangles)
        for a, b, c in t.tolist():
            self._put(a, b, c)

    def _put(self, a: int, b: int, c: int) -> None:
        self.opposite[a, b], self.opposite[b, c], self.opposite[c, a] = c, a, b
        self.around[a], self.around[b], self.around[c] = b, c, a

    def _left(self, a: int, b: int, c: int) -> float:
        """Twice the signed area of a, b, c."""
        (ax, ay), (bx, by), (cx, cy) = self.xy[a], self.xy[b], self.xy[c]
        return float((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))

    def triangles(self) -> Ints:
        """All triangles, each once, in an order that depends on the triangles alone."""
        return np.array(sorted((a, b, c) for (a, b), c in self.opposite.items() if a < b and a < c), dtype=int)

    def recover(self, a: int, b: int) -> None:
        """Exchange diagonals until a and b are joined."""
        if (a, b) in self.opposite or (b, a) in self.opposite:
            return
        crossing = deque(self._crossing(a, b))
        for _ in range(200 + len(crossing) ** 3):
            if not crossing:
                return
            u, v = crossing.popleft()
            w, x = self.opposite[u, v], self.opposite[v, u]
            if not self._left(x, w, v) < 0 < self._left(x, w, u):
                crossing.append((u, v))
                continue
            self._flip(u, v)
            if not {a, b} & {w, x} and self._left(a, b, w) * self._left(a, b, x) < 0:
                crossing.append((w, x))
        self._fail(a, b)

    def _crossing(self, a: int, b: int) -> list[tuple[int, int]]:
        """Edges that cross the segment from a to b, in order."""
        first = u = self.around[a]
        while True:
            v = self.opposite[a, u]
            if self._left(a, b, u) < 0 < self._left(a, b, v):
                break
            u = v
            if u == first:
                self._fail(a, b)
        found = []
        while True:
            if self._left(a, b, u) == 0 or self._left(a, b, v) == 0:
                self._fail(a, b)
            found.append((u, v))
            w = self.opposite[v, u]
            if w == b:
                return found
            if self._left(a, b, w) < 0:
                u = w
            else:
                v = w

    def _flip(self, u: int, v: int) -> None:
        w, x = self.opposite.pop((u, v)), self.opposite.pop((v, u))
        self._put(u, x, w)
        self._put(x, v, w)
        self.changed += [(u, x), (x, v), (v, w), (w, u)]

    def legalise(self, fixed: set[tuple[int, int]]) -> None:
        """Exchange diagonals near recovered sides until no corner lies in a neighbour's circle."""
        stack = self.changed
        for _ in range(50 * len(self.opposite)):
            if not stack:
                return
            u, v = stack.pop()
            if (min(u, v), max(u, v)) in fixed or (u, v) not in self.opposite or (v, u) not in self.opposite:
                continue
            w, x = self.opposite[u, v], self.opposite[v, u]
            convex = self._left(x, w, v) < 0 < self._left(x, w, u)
            if convex and self._in_circle(u, v, w, x):
                self._flip(u, v)

    def _in_circle(self, a: int, b: int, c: int, d: int) -> bool:
        """Whether d lies clearly inside the circle through a, b, c (anticlockwise)."""
        dx, dy = self.xy[d]
        rows = [(x - dx, y - dy) for x, y in (self.xy[a], self.xy[b], self.xy[c])]
        (ax, ay), (bx, by), (cx, cy) = rows
        a2, b2, c2 = (x * x + y * y for x, y in rows)
        value = a2 * (bx * cy - by * cx) - b2 * (ax * cy - ay * cx) + c2 * (ax * by - ay * bx)
        return bool(value > 1e-12 * (a2 + b2 + c2) ** 2)

    def _fail(self, a: int, b: int) -> None:
        x, y = 1e3 * self.drawn[[a, b]].mean(axis=0)
        message = f"the side at [{x:.1f}, {y:.1f}] mm meets another line; sides may meet only at their ends"
        raise MeshError(message)
