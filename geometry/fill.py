"""Points between given sides, as far apart as the wanted size.

An equilateral lattice where the triangles are to be largest, then circumcentres of triangles that are still too
large, then a few sweeps of springs.

References
----------
J. Ruppert, A Delaunay refinement algorithm for quality 2-dimensional mesh generation, Journal of Algorithms 18 (1995)
548-585: new points at circumcentres.
P.-O. Persson and G. Strang, A simple mesh generator in MATLAB, SIAM Review 46 (2004) 329-345: springs.
"""

import numpy as np
import shapely
from scipy.spatial import Delaunay, KDTree

from bracedtop.geometry.outline import Array
from bracedtop.geometry.size_field import SizeField
from bracedtop.geometry.triangulate import Ints

_ROUNDS, _SWEEPS = 12, 6
_REST, _STEP = 1.05, 0.2
"""Length at which a spring between two points rests, over the wanted size, and the part of its pull followed in a
sweep; chosen by trial."""

_FROM_POINT, _FROM_SIDE, _ROUND = 0.85, 0.5, 0.68
"""Least distance of a new point from others and from sides, and the circumradius from which a triangle gets one, over
the wanted size there; chosen by trial for few triangles and wide angles (an equilateral triangle has 0.58)."""


def fill(points: Array, sides: Ints, field: SizeField, region: shapely.Geometry) -> Array:
    """Points (k, 2) in m inside a region, spread by the wanted size between given points and sides.

    Parameters
    ----------
    points : (n, 2) array, m
    sides : (m, 2) int array
    field : SizeField
    region : shapely geometry
    """
    lines = shapely.linestrings(points[sides])
    tree = shapely.STRtree(lines)
    shapely.prepare(region)
    found = _admitted(_lattice(region, field.largest), field, region, tree, points)
    for _ in range(_ROUNDS):
        every = np.vstack([points, found])
        centres, radii = _circumcircles(every[Delaunay(every).simplices])
        near = radii < 8 * field.largest
        centres, radii = centres[near], radii[near]
        centres, radii = (a[shapely.contains_xy(region, centres[:, 0], centres[:, 1])] for a in (centres, radii))
        wanted = field.at(centres)
        large = radii > _ROUND * wanted
        order = np.argsort(-(radii / wanted)[large], kind="stable")
        new = _admitted(centres[large][order], field, region, tree, every)
        if not len(new):
            break
        found = np.vstack([found, new])
    for _ in range(_SWEEPS):
        found = _relaxed(points, found, field, region, tree)
    return found


def _lattice(region: shapely.Geometry, size: float) -> Array:
    """Corners of equilateral triangles over a region's bounds, symmetric to the middle of its y range."""
    x0, y0, x1, y1 = region.bounds
    rise = size * np.sqrt(3) / 2
    n_rows = int(np.ceil((x1 - x0) / rise)) + 1
    n_columns = int(np.ceil((y1 - y0) / 2 / size)) + 1
    rows = np.arange(n_rows)
    columns = np.arange(-n_columns, n_columns + 1)
    x, k = np.meshgrid(x0 + (rows + 0.5) * rise, columns, indexing="ij")
    y = (y0 + y1) / 2 + (k + 0.5 * (rows % 2)[:, None]) * size
    return np.column_stack([x.ravel(), y.ravel()])


def _admitted(
    candidates: Array, field: SizeField, region: shapely.Geometry, tree: shapely.STRtree, others: Array
) -> Array:
    """The candidates that keep their distance from sides, other points and each other, the first ones first."""
    c: Array = candidates[shapely.contains_xy(region, candidates[:, 0], candidates[:, 1])]
    if not len(c):
        return c
    wanted = field.at(c)
    free = KDTree(others).query(c)[0] >= _FROM_POINT * wanted
    free &= _clearance(tree, c) >= _FROM_SIDE * wanted
    c, wanted = c[free], wanted[free]
    if not len(c):
        return c
    taken = np.ones(len(c), dtype=bool)
    for i, j in sorted(KDTree(c).query_pairs(_FROM_POINT * field.largest)):
        if taken[i] and taken[j] and np.hypot(*(c[i] - c[j])) < _FROM_POINT * wanted[j]:
            taken[j] = False
    return np.asarray(c[taken])


def _clearance(tree: shapely.STRtree, points: Array) -> Array:
    """Distance from each point to the nearest side."""
    (i, _), gaps = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
    out = np.empty(len(points))
    out[i] = gaps
    return out


def _relaxed(points: Array, found: Array, field: SizeField, region: shapely.Geometry, tree: shapely.STRtree) -> Array:
    """The inner points drawn towards the middle of their neighbours, by neighbours' wanted sizes."""
    if not len(found):
        return found
    every = np.vstack([points, found])
    starts, ends = Delaunay(every).vertex_neighbor_vertices
    first = len(points)
    i = np.repeat(np.arange(len(found)), np.diff(starts[first:]))
    j = ends[starts[first] :]
    wanted = field.at(every)
    vector = every[j] - found[i]
    length = np.hypot(*vector.T)
    # A spring to each neighbour that pushes when it is short and pulls when it is long.
    pull = (1 - _REST * (wanted[first + i] + wanted[j]) / 2 / length)[:, None] * vector
    force = np.column_stack([np.bincount(i, pull[:, k], minlength=len(found)) for k in range(2)])
    moved = found + _STEP * force
    ok = shapely.contains_xy(region, moved[:, 0], moved[:, 1])
    ok &= _clearance(tree, moved) >= _FROM_SIDE * field.at(moved)
    return np.where(ok[:, None], moved, found)


def _circumcircles(corners: Array) -> tuple[Array, Array]:
    """Centres (n, 2) and radii (n,) of the circles through triangles' corners (n, 3, 2)."""
    a = corners[:, 0]
    u, v = corners[:, 1] - a, corners[:, 2] - a
    cross = 2 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    cross = np.where(np.abs(cross) > 0, cross, np.finfo(float).tiny ** 0.5)
    uu, vv = (u**2).sum(axis=1), (v**2).sum(axis=1)
    centre = np.column_stack([v[:, 1] * uu - u[:, 1] * vv, u[:, 0] * vv - v[:, 0] * uu]) / cross[:, None]
    return a + centre, np.hypot(*centre.T)
