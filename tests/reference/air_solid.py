"""The air of a box in tetrahedra: a reference that shares nothing with the cavity's products of plan and height.

Drawn with Netgen's OpenCASCADE kernel: the outline less the blocks, drawn out to a unit of depth, with the holes' edges
on the top face; the mesh's vertices then go to the depth and height that the sides and the back's dome give them.
Smooth outlines only. H1 elements of high order on curved tetrahedra (NGSolve).

References
----------
J. Schoeberl, C++11 implementation of finite elements in NGSolve, ASC report 30/2014, TU Wien.
"""

import netgen.occ as occ
import ngsolve as ng
import numpy as np
from scipy import sparse
from scipy.sparse.linalg import eigsh, splu

from bracedtop.geometry.box import Box
from bracedtop.geometry.design import Design

DEPTH = 0.1
"""Depth as drawn, m."""


def solve_air(design: Design, box: Box, n_modes: int, size: float, order: int = 3) -> tuple[np.ndarray, float, float]:
    """Wave numbers (n_modes,) in 1/m above the uniform pressure, volume in m^3, length inside the first hole in m."""
    mesh = ng.Mesh(occ.OCCGeometry(_drawn(design, box)).GenerateMesh(maxh=size))
    mesh.Curve(order)
    moved = ng.GridFunction(ng.VectorH1(mesh, order=1))
    xyz = np.array([v.point for v in mesh.vertices])
    depth, back = _depth(design, box, xyz)
    shift = back + (xyz[:, 2] / DEPTH + 1) * depth - xyz[:, 2]
    moved.components[2].vec.FV().NumPy()[: len(xyz)] = shift
    mesh.SetDeformation(moved)
    space = ng.H1(mesh, order=order)
    u, v = space.TnT()
    K, M = ng.BilinearForm(ng.grad(u) * ng.grad(v) * ng.dx), ng.BilinearForm(u * v * ng.dx)
    load = ng.LinearForm(v * ng.ds("mouth"))
    for form in (K, M, load):
        form.Assemble()
    K, M = (sparse.csc_matrix(sparse.csr_matrix(A.mat.CSR())) for A in (K, M))
    f = load.vec.FV().NumPy().copy()
    one = ng.GridFunction(space)
    one.Set(1.0)
    w = M @ one.vec.FV().NumPy()
    volume, area = float(one.vec.FV().NumPy() @ w), float(one.vec.FV().NumPy() @ f)
    solve = splu(
        sparse.csc_matrix(K + M), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0, options={"SymmetricMode": True}
    )
    operator = sparse.linalg.LinearOperator(K.shape, solve.solve, dtype=float)
    squares = np.sort(eigsh(K, n_modes + 1, M, sigma=-1.0, OPinv=operator, which="LM")[0])
    length = 0.0
    if area:
        g = f - w * area / volume
        p = np.zeros(len(g))
        p[1:] = splu(K[1:, 1:]).solve(g[1:])
        length = float(f @ p - area / volume * (w @ p)) / area
    return np.sqrt(squares[1:]), volume, length


def _drawn(design: Design, box: Box) -> occ.TopoDS_Shape:
    points = [tuple(map(float, (*xy, -DEPTH))) for xy in design.outline.points[::5]]
    air = occ.Face(occ.Wire([occ.SplineInterpolation(points, periodic=True)])).Extrude(DEPTH * occ.Z)
    x = design.outline.points[:, 0]
    for block in box.blocks:
        low, high = (x.max() - block.length, 2 * x.max()) if block.end == "neck" else (-1.0, x.min() + block.length)
        air -= occ.Box((low, -block.width / 2, -2 * DEPTH), (high, block.width / 2, DEPTH))
    parts = []
    for hole in design.holes:
        centre = (*map(float, hole.centre), -DEPTH)
        column = occ.Cylinder(occ.Pnt(*centre), occ.Z, float(hole.semi_axes[0]), DEPTH)
        column.faces.Max(occ.Z).name = "mouth"
        air -= column
        parts.append(column)
    return occ.Glue([air, *parts]) if parts else air


def _depth(design: Design, box: Box, xyz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Depth and the back's height at the vertices: outlines symmetric about y = 0, the back domed."""
    x, y = xyz[:, 0], xyz[:, 1]
    sides = np.interp(x, *box.sides.stations.T)
    dome = box.back.plate.dome
    if dome is None:
        return sides, -sides
    half = design.outline.points[design.outline.points[:, 1] >= 0]
    half = half[np.argsort(half[:, 0])]
    rim = np.interp(x, *half.T)
    rise = (rim**2 - y**2) / (2 * dome.radius_across)
    return sides + rise, -sides - rise
