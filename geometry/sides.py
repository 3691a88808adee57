"""Arcs divided into the sides of triangles."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from bracedtop.geometry.arrangement import Arc
from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.outline import Array
from bracedtop.geometry.size_field import SizeField, divided
from bracedtop.geometry.triangulate import Ints

_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Sides:
    """Sides that a triangulation has to hold; they meet only at their ends.

    Parameters
    ----------
    points : (n, 2) array, m
    pairs : (m, 2) int array
        Ends of each side; on the border the top lies on the left.
    arc : (m,) int array
        The arc that each side belongs to.
    outer : (m,) bool array
        Sides on the border.
    """

    points: Array
    pairs: Ints
    arc: Ints
    outer: NDArray[np.bool_]


def divide(arcs: Sequence[Arc], field: SizeField) -> Sides:
    """Sides of the wanted size along all arcs.

    A chord of a curved arc that runs into another line is divided further.

    Raises
    ------
    MeshError
        If chords still run into other lines after many divisions.
    """
    chains = [divided(arc, field) for arc in arcs]
    factor = np.ones(len(arcs))
    for _ in range(_ROUNDS):
        sides = _joined(arcs, chains)
        hit = _crossed(sides)
        if not len(hit):
            return sides
        again = [k for k in np.unique(sides.arc[hit]) if not arcs[k].is_straight]
        if not again:
            break
        for k in again:
            factor[k] *= 2
            chains[k] = divided(arcs[k], field, factor[k])
    x, y = 1e3 * sides.points[sides.pairs[hit[0]]].mean(axis=0)
    message = f"lines cross at [{x:.1f}, {y:.1f}] mm without a common point; move one of them a little"
    raise MeshError(message)


def _joined(arcs: Sequence[Arc], chains: Sequence[Array]) -> Sides:
    numbers: dict[int, int] = {}
    points: list[Array] = []
    pairs: list[Ints] = []
    for arc, chain in zip(arcs, chains, strict=True):
        for node, xy in ((arc.start, chain[0]), (arc.stop, chain[-1])):
            if node not in numbers:
                numbers[node] = len(points)
                points.append(xy)
        inner = len(points) + np.arange(len(chain) - 2)
        points += list(chain[1:-1])
        way = np.concatenate([[numbers[arc.start]], inner, [numbers[arc.stop]]]).astype(int)
        pairs.append(np.column_stack([way[:-1], way[1:]]))
    owner = np.repeat(np.arange(len(arcs)), [len(p) for p in pairs])
    outer = np.array([any(name == "rim" or name.startswith("hole ") for name in arc.names) for arc in arcs])
    return Sides(np.array(points), np.concatenate(pairs), owner, outer[owner])


def _crossed(sides: Sides) -> Ints:
    """Sides that meet others elsewhere than at a common end."""
    lines = shapely.linestrings(sides.points[sides.pairs])
    i, j = shapely.STRtree(lines).query(lines, predicate="intersects")
    apart = (sides.pairs[i][:, :, None] != sides.pairs[j][:, None, :]).all(axis=(1, 2))
    return np.unique(i[apart])
