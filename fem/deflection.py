"""Deflection of the modes on fine straight triangles, for pictures and for other programs."""

from pathlib import Path

import meshio
import numpy as np

from bracedtop.fem.footprint import Points
from bracedtop.fem.locate import Locator
from bracedtop.fem.model import Model, Modes
from bracedtop.fem.picture import DeflectionMap
from bracedtop.fem.plate import displacements
from bracedtop.geometry.dome import Dome

_PARTS = 4
"""Each side of a triangle is divided into so many; chosen: a cubic field then looks smooth."""


def fine_triangles(model: Model) -> tuple[Points, np.ndarray, np.ndarray]:
    """Points on every triangle divided into sixteen, their positions (n, 2) in m, and the small triangles (m, 3)."""
    return divided(model.locator, model.mesh.flat.t.shape[1], _PARTS)


def divided(locator: Locator, n_elements: int, parts: int) -> tuple[Points, np.ndarray, np.ndarray]:
    """Points on every triangle whose sides are divided into `parts`, their positions in m, and the small triangles."""
    local, small = _division(parts)
    n_local = local.shape[1]
    element = np.repeat(np.arange(n_elements), n_local)
    places = np.tile(local, n_elements)
    xy = locator.positions(element, places)
    triangles = (np.arange(n_elements)[:, None, None] * n_local + small).reshape(-1, 3)
    # Neighbours share the points on their common side; rounding to a nanometre finds them.
    _, first, same = np.unique(np.round(xy, 9), axis=0, return_index=True, return_inverse=True)
    points = Points(element[first], places[:, first], np.ones(len(first)))
    return points, xy[first], same.reshape(-1)[triangles]


def deflection_map(model: Model, modes: Modes) -> DeflectionMap:
    """Deflection of each mode, scaled to a largest |w| of 1, on every triangle divided into sixteen."""
    points, xy, triangles = fine_triangles(model)
    values = displacements(model.space, points, modes.shapes)[:, :, 2]
    scale = np.abs(values).max(axis=1, keepdims=True)
    return DeflectionMap(xy, triangles, values / scale)


def write_deflections(fields: DeflectionMap, modes: Modes, path: Path, dome: Dome | None = None) -> None:
    """Write the mode shapes as VTU, one point field "mode NUMBER, HERTZ Hz" each; lengths in m, z the dome's height."""
    height = np.zeros(len(fields.points)) if dome is None else dome.height(fields.points)
    points = np.column_stack([fields.points, height])
    data = {
        f"mode {k + 1}, {hz:.1f} Hz": values
        for k, (hz, values) in enumerate(zip(modes.frequencies, fields.values, strict=True))
    }
    meshio.Mesh(points, [("triangle", fields.triangles)], point_data=data).write(path, file_format="vtu")


def _division(parts: int) -> tuple[np.ndarray, np.ndarray]:
    """Reference points (2, n) and triangles (m, 3) of a triangle whose sides are divided into `parts`."""
    grid = [(i, j) for j in range(parts + 1) for i in range(parts + 1 - j)]
    number = {ij: k for k, ij in enumerate(grid)}
    triangles = []
    for i, j in grid:
        if i + j < parts:
            triangles.append((number[i, j], number[i + 1, j], number[i, j + 1]))
        if i + j < parts - 1:
            triangles.append((number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]))
    return np.array(grid, dtype=float).T / parts, np.array(triangles)
