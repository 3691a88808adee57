"""The drawing's lines as a planar graph: nodes joined by arcs that meet nowhere else.

Lines are inserted one after another, the more important first. What is inserted never moves again; a new line
gives way: where it comes closer than a tolerance to a node it runs through the node, and where one of its own
points comes closer than the tolerance to an arc the point is put on the arc. So two lines that nearly coincide
become one, in an order that depends on the drawing alone.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.outline import Array

_DEPTH = 60
"""Longest chain of bends of one line; chosen: far above what a drawing needs, below Python's recursion limit."""


@dataclass(frozen=True, slots=True)
class Arc:
    """A stretch of one or more lines between two nodes.

    Parameters
    ----------
    start, stop : int
        Node numbers.
    points : (n, 2) array, m
        From start to stop; two points where it is straight, a dense chain along the rim and the holes.
    names : frozenset of str
        The lines it belongs to.
    """

    start: int
    stop: int
    points: Array
    names: frozenset[str]

    @property
    def is_straight(self) -> bool:
        """Whether the arc is one straight piece."""
        return len(self.points) == 2


class Arrangement:
    """A planar graph under construction.

    Parameters
    ----------
    tolerance : float, m
        Features closer than this are merged.
    """

    def __init__(self, tolerance: float) -> None:
        self.tolerance = tolerance
        self._n_nodes = 0
        self._xy = np.empty((64, 2))
        self.arcs: dict[int, Arc] = {}
        self._shapes: dict[int, shapely.LineString] = {}
        self._next = 0

    @property
    def nodes(self) -> Array:
        """Positions of the nodes, (n, 2) in m."""
        return self._xy[: self._n_nodes]

    def add_closed_curve(self, points: Array, corners: Array, name: str) -> None:
        """Insert a closed curve as drawn, cut at its corners; nothing may have been inserted near it before.

        Parameters
        ----------
        points : (n, 2) array, m
            Without the repeated last point.
        corners : (n,) bool array
        name : str
        """
        cuts = np.flatnonzero(corners)
        if not len(cuts):
            # A smooth curve has no point of its own; four are lent to it and taken back by `without_seams`.
            cuts = np.unique(
                [points[:, 0].argmin(), points[:, 1].argmin(), points[:, 0].argmax(), points[:, 1].argmax()]
            )
        ids = [self._new_node(points[i]) for i in cuts]
        for k, (i, node) in enumerate(zip(cuts, ids, strict=True)):
            j, other = cuts[(k + 1) % len(cuts)], ids[(k + 1) % len(cuts)]
            piece = points[np.arange(i, j + 1 + (len(points) if j <= i else 0)) % len(points)]
            self._new_arc(node, other, piece, frozenset([name]))

    def add_line(self, points: Array, name: str) -> None:
        """Insert a line of straight pieces, (n, 2) in m; a closed line repeats its first point."""
        ids = [self._node_at(point) for point in points]
        for a, b in pairwise(ids):
            if a != b:
                self._add_piece(a, b, name, frozenset([a, b]), _DEPTH)

    def without_seams(self, corners: Iterable[tuple[float, float]]) -> list[Arc]:
        """The arcs, joined across nodes of smooth curves that no other line uses.

        Parameters
        ----------
        corners : points of curves that have to stay nodes
        """
        keep = set(corners)
        arcs = dict(self.arcs)
        at: dict[int, list[int]] = {}
        for k, arc in arcs.items():
            at.setdefault(arc.start, []).append(k)
            at.setdefault(arc.stop, []).append(k)
        for node, (x, y) in enumerate(self.nodes.tolist()):
            if (x, y) in keep or len(at.get(node, ())) != 2:
                continue
            first, second = at[node] if arcs[at[node][0]].stop == node else at[node][::-1]
            a, b = arcs[first], arcs[second]
            if first == second or a.stop != node or b.start != node or a.names != b.names:
                continue
            if a.is_straight and b.is_straight:
                continue
            arcs[first] = Arc(a.start, b.stop, np.concatenate([a.points, b.points[1:]]), a.names)
            del arcs[second]
            at[b.stop] = [first if k == second else k for k in at[b.stop]]
        return list(arcs.values())

    def _new_node(self, point: Array) -> int:
        if self._n_nodes == len(self._xy):
            self._xy = np.concatenate([self._xy, np.empty_like(self._xy)])
        self._xy[self._n_nodes] = point
        self._n_nodes += 1
        return self._n_nodes - 1

    def _new_arc(self, start: int, stop: int, points: Array, names: frozenset[str]) -> None:
        self.arcs[self._next] = Arc(start, stop, points, names)
        self._shapes[self._next] = shapely.LineString(points)
        self._next += 1

    def _node_at(self, point: Array) -> int:
        """Node within the tolerance of a point; else a new one, on an arc where one is within the tolerance."""
        node = self._nearest_node(point)
        if node is not None:
            return node
        if self._shapes:
            gaps = shapely.distance(np.array(list(self._shapes.values()), dtype=object), shapely.Point(point))
            k = int(gaps.argmin())
            if gaps[k] < self.tolerance:
                return self._node_on_arc(list(self._shapes)[k], point)
        return self._new_node(point)

    def _nearest_node(self, point: Array) -> int | None:
        if not self._n_nodes:
            return None
        gaps = np.hypot(*(self.nodes - point).T)
        k = int(gaps.argmin())
        return k if gaps[k] < self.tolerance else None

    def _node_on_arc(self, key: int, point: Array) -> int:
        """Node on an arc at its point nearest to `point`; an end of the arc if that is within the tolerance."""
        line = self._shapes[key]
        foot = np.array(line.interpolate(line.project(shapely.Point(point))).coords[0])
        node = self._nearest_node(foot)
        return self._cut(key, foot) if node is None else node

    def _cut(self, key: int, foot: Array) -> int:
        """New node that cuts an arc in two at a point on it."""
        arc = self.arcs[key]
        at = self._shapes[key].project(shapely.Point(foot))
        stations = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(arc.points, axis=0).T))])
        node = self._new_node(foot)
        inner = np.arange(len(stations))
        before = arc.points[(inner == 0) | ((stations < at - 1e-3 * self.tolerance) & (inner < inner[-1]))]
        after = arc.points[(inner == inner[-1]) | ((stations > at + 1e-3 * self.tolerance) & (inner > 0))]
        del self.arcs[key], self._shapes[key]
        self._new_arc(arc.start, node, np.vstack([before, foot]), arc.names)
        self._new_arc(node, arc.stop, np.vstack([foot, after]), arc.names)
        return node

    def _add_piece(self, a: int, b: int, name: str, seen: frozenset[int], depth: int) -> None:
        """Insert the straight piece from node a to node b, bent through what it meets."""
        if depth == 0:
            message = f'the line "{name}" winds too often round lines closer than {1e3 * self.tolerance:g} mm'
            raise MeshError(message)
        ends = self.nodes[[a, b]]
        via = self._nodes_near(ends, seen) or self._crossings(ends, a, b, seen)
        if not via:
            self._join(a, b, ends, name)
            return
        way = [a, *via, b]
        seen = seen | frozenset(via)
        for p, q in pairwise(way):
            self._add_piece(p, q, name, seen, depth - 1)

    def _nodes_near(self, ends: Array, seen: frozenset[int]) -> list[int]:
        """Nodes within the tolerance of a piece, in order along it."""
        nodes = self.nodes
        along = ends[1] - ends[0]
        t = (nodes - ends[0]) @ along / (along @ along)
        gaps = np.hypot(*(nodes - ends[0] - t[:, None] * along).T)
        near = np.flatnonzero((gaps < self.tolerance) & (t > 0) & (t < 1))
        return [int(k) for k in near[np.argsort(t[near], kind="stable")] if int(k) not in seen]

    def _crossings(self, ends: Array, a: int, b: int, seen: frozenset[int]) -> list[int]:
        """Nodes made where a piece crosses arcs, in order along it."""
        found: list[tuple[float, int, tuple[float, ...]]] = []
        piece = shapely.LineString(ends)
        for key in self._meeting(piece):
            arc = self.arcs[key]
            if arc.is_straight and {a, b} & {arc.start, arc.stop}:
                continue
            meeting = self._shapes[key].intersection(piece)
            for part in shapely.get_parts(meeting):
                if part.geom_type == "Point":
                    xy = part.coords[0]
                    found.append((float(np.hypot(xy[0] - ends[0, 0], xy[1] - ends[0, 1])), key, xy))
        nodes: list[int] = []
        for _, key, xy in sorted(found):
            node = self._crossing_node(key, np.array(xy), (a, b), seen)
            if node is not None and node not in nodes:
                nodes.append(node)
        return nodes

    def _crossing_node(self, key: int, point: Array, own: tuple[int, int], seen: frozenset[int]) -> int | None:
        """Node for the crossing of a piece with an arc, or None where they meet in a node of the piece."""
        if key not in self.arcs:
            # The arc was cut at a crossing just before; the pieces are looked at when the line is bent through it.
            return None
        arc = self.arcs[key]
        node = self._nearest_node(point)
        if node is None:
            return self._node_on_arc(key, point)
        if node in (arc.start, arc.stop):
            return None if node in own else node
        if node not in seen:
            return node
        # The piece's own end lies beside the arc: the crossing stays, however short the edge it makes.
        return self._cut(key, point)

    def _join(self, a: int, b: int, ends: Array, name: str) -> None:
        """Name the arc that already joins two nodes, or make one."""
        piece = shapely.LineString(ends)
        for key, arc in self.arcs.items():
            if {arc.start, arc.stop} == {a, b} and (
                arc.is_straight or self._shapes[key].hausdorff_distance(piece) < 2 * self.tolerance
            ):
                self.arcs[key] = Arc(arc.start, arc.stop, arc.points, arc.names | {name})
                return
        self._new_arc(a, b, ends, frozenset([name]))

    def _meeting(self, piece: shapely.LineString) -> list[int]:
        """Arcs that share a point with a piece."""
        keys = np.array(list(self._shapes), dtype=int)
        lines = np.array(list(self._shapes.values()), dtype=object)
        return [int(k) for k in keys[shapely.intersects(lines, piece)]] if len(keys) else []
