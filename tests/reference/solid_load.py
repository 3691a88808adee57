"""The solid reference under the strings' load: deflection of the midplane and fibre stress in a brace.

Drawing, woods and rim conditions are those of tests/reference/solid.py; the load is a traction on the bridge's upper
face: an even pull along x and a push that is linear in x, so that force and moment are those of strings above it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import netgen.occ as occ
import ngsolve as ng
import numpy as np
from reference.solid import HINGE, MM, MPA, _draw, _mark_glued_borders, _strain, stiffness

from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design

INSIDE = 0.01
"""Depth under a brace's free side at which its stress is taken, mm, so that the point lies in the mesh."""


@dataclass(frozen=True, slots=True)
class LoadedSolid:
    """A solid under load.

    Parameters
    ----------
    deflections : (k,) array, m
        Of the midplane at the asked points.
    fibres : (m,) array, Pa
        Stress along the asked brace at its free side, averaged over its width.
    pull, moment : float, N and N m
        Of the tractions as integrated, the moment about the bridge's middle on the reference plane.
    n_unknowns : int
    """

    deflections: np.ndarray
    fibres: np.ndarray
    pull: float
    moment: float
    n_unknowns: int


def solve_loaded_solid(
    design: Design,
    woods: Mapping[str, Wood],
    pull: float,
    height: float,
    *,
    points: np.ndarray,
    brace: str,
    distances: np.ndarray,
    size: float = 20e-3,
    brace_size: float | None = None,
    order: int = 4,
    threads: int = 2,
) -> LoadedSolid:
    """The top as an orthotropic solid under a pull toward +x at a height above the outside face.

    Parameters
    ----------
    pull : float, N
    height : float, m
    points : (k, 2) array, m
    brace : str
        A straight square brace.
    distances : (m,) array, m
        Along it.
    """
    bridge = next(patch for patch in design.patches if patch.is_bridge)
    shape, parts = _draw(design, None, brace_size, hold_brace_ends=False)
    t = MM * design.plate.thickness
    upper = t / 2 + MM * bridge.thickness
    faces = [face for face in shape.faces if abs(face.center.z - upper) < 1e-6]
    for face in faces:
        face.name = "loaded"
    # Graded towards the borders of glued faces, where the solid is singular (tests/reference/solid.py).
    _mark_glued_borders(shape, design)
    mesh = ng.Mesh(occ.OCCGeometry(shape).GenerateMesh(maxh=MM * size, closeedgefac=None, grading=0.9))
    mesh.RefineHP(1, factor=0.125)
    held = design.edge.kind
    space = ng.VectorH1(
        mesh,
        order=order,
        **({"dirichlet": "rim"} if held == "clamped" else {}),
        **({"dirichlet_bbnd": "midline"} if held == "hinged" else {}),
    )
    present = set(mesh.GetMaterials())
    law = mesh.MaterialCF(
        {
            name: ng.CF(tuple((MPA * stiffness(woods[wood], axes)).ravel()), dims=(6, 6))
            for name, (wood, axes) in parts.items()
            if name in present
        }
    )
    x_c = MM * bridge.polygon.centroid.x
    on = ng.ds("loaded")
    area = ng.Integrate(ng.CF(1.0) * on, mesh)
    second = ng.Integrate((ng.x - x_c) ** 2 * on, mesh)
    along = pull / area
    push = -pull * (MM * height - MM * bridge.thickness) / second * (ng.x - x_c)
    u, v = space.TnT()
    K = ng.BilinearForm(space, symmetric=True)
    K += ng.InnerProduct(law * _strain(u, None), _strain(v, None)).Compile() * ng.dx
    if held == "hinged":
        n = ng.specialcf.normal(3)
        tangent = ng.CF((-n[1], n[0], 0.0))
        stiff = HINGE * MPA * max(wood.E_L for wood in woods.values())
        K += stiff * (u.Trace()[2] * v.Trace()[2] + (tangent * u.Trace()) * (tangent * v.Trace())) * ng.ds("rim")
    f = ng.LinearForm(space)
    f += (along * v.Trace()[0] + push * v.Trace()[2]) * on
    field = ng.GridFunction(space)
    ng.SetNumThreads(threads)
    with ng.TaskManager():
        K.Assemble()
        f.Assemble()
        field.vec.data = K.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * f.vec
    at = mesh(*(MM * np.atleast_2d(points).T), np.zeros(len(np.atleast_2d(points))))
    w = np.asarray(field(at))[:, 2] / MM
    moment = ng.Integrate((upper * along - (ng.x - x_c) * push) * on, mesh)
    stress = law * _strain(field, None)
    fibres = _fibres(mesh, stress, design.brace(brace), distances, t)
    return LoadedSolid(w, fibres, float(along * area), float(moment / MM), int(sum(space.FreeDofs())))


def _fibres(mesh: ng.Mesh, stress: ng.CoefficientFunction, brace: Brace, distances: np.ndarray, t: float) -> np.ndarray:
    """Stress in Pa along a brace just inside its free side, averaged over its width by Gauss's rule."""
    nodes, weights = np.polynomial.legendre.leggauss(5)
    places, tangents = brace.position(distances)
    heights = brace.height(distances)
    values = []
    for place, (c, s), height in zip(places, tangents, heights, strict=True):
        total = 0.0
        for node, weight in zip(nodes, weights, strict=True):
            x, y = MM * (place + 0.999 * node * brace.width / 2 * np.array([-s, c]))
            xx, yy, _, _, _, xy = np.asarray(stress(mesh(x, y, -t / 2 - MM * height + INSIDE))).ravel()
            total += weight / 2 * (c * c * xx + s * s * yy + 2 * s * c * xy)
        values.append(total / MPA)
    return np.array(values)
