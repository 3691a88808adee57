"""A solid plate over a rigid-walled box of air, solved together: the reference for air and walls.

The plate is an orthotropic solid (tests/reference/solid.py), the air a gas with the pressure as its unknown; where they
meet, the pressure pushes the plate and the plate's normal acceleration drives the pressure:

    integral grad p . grad q - omega^2 / c^2 integral p q = rho omega^2 integral q u.n over the wet face

(n out of the air). Displacement and pressure are unsymmetric together; the pencil is solved as it stands, by
shift-invert Arnoldi, so that nothing is shared with the symmetric modal form of the package.

Lengths in millimetres, with N, MPa, tonne and second, as in tests/reference/solid.py.

References
----------
O. C. Zienkiewicz, R. E. Newton, "Coupled vibrations of a structure submerged in a compressible fluid", Proc. Int. Symp.
Finite Element Techniques, Stuttgart (1969) (recalled). F. J. Fahy, P. Gardonio, Sound and Structural Vibration (2007).
"""

import netgen.occ as occ
import ngsolve as ng
import numpy as np
from reference.solid import MM, MPA, TONNE_PER_MM3, plate_axes, stiffness
from scipy import sparse
from scipy.sparse.linalg import LinearOperator, eigs, splu

from bracedtop.fem.wood import Wood

SHIFT = (2 * np.pi * 40.0) ** 2
"""Below the modes that are sought, 1/s^2; no eigenvalue is near."""


def solve_plate_on_air(
    size: tuple[float, float],
    thickness: float,
    depth: float,
    wood: Wood,
    *,
    density: float,
    speed: float,
    mesh_size: float = 30e-3,
    order: int = 3,
    n_modes: int = 8,
    threads: int = 2,
) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies in Hz, (n,), of a clamped rectangular plate, grain along x, that closes a rigid box of air.

    Returns
    -------
    coupled, vacuum : (n_modes,) arrays, Hz
        With the air and without it.
    """
    a, b, t, d = MM * size[0], MM * size[1], MM * thickness, MM * depth
    plate = occ.Box(occ.Pnt(0, 0, 0), occ.Pnt(a, b, t))
    plate.mat("plate")
    plate.faces.name = "side"
    plate.faces.Min(occ.Z).name = "wet"
    plate.faces.Max(occ.Z).name = "outside"
    air = occ.Box(occ.Pnt(0, 0, -d), occ.Pnt(a, b, 0))
    air.mat("air")
    air.faces.name = "wall"
    air.faces.Max(occ.Z).name = "wet"
    shape = occ.Glue([plate, air])
    for face in shape.faces:
        if face.center.z > 0 and face.center.z < t:
            face.name = "rim"
    mesh = ng.Mesh(occ.OCCGeometry(shape).GenerateMesh(maxh=MM * mesh_size, closeedgefac=None, grading=0.9))
    moves = ng.VectorH1(mesh, order=order, definedon="plate", dirichlet="rim")
    presses = ng.H1(mesh, order=order, definedon="air")
    space = moves * presses
    (u, p), (v, q) = space.TnT()
    law = ng.CF(tuple((MPA * stiffness(wood, plate_axes(0.0))).ravel()), dims=(6, 6))
    rho = TONNE_PER_MM3 * density
    inside, cavity, wet = ng.dx("plate"), ng.dx("air"), ng.ds("wet")
    # The wet face's outward normal, seen from the air, is z.
    A = ng.BilinearForm(space)
    A += ng.InnerProduct(law * _strain(u), _strain(v)) * inside + ng.grad(p) * ng.grad(q) * cavity
    A += -p.Trace() * v.Trace()[2] * wet
    B = ng.BilinearForm(space)
    B += TONNE_PER_MM3 * wood.density * ng.InnerProduct(u, v) * inside + p * q / (MM * speed) ** 2 * cavity
    B += rho * u.Trace()[2] * q.Trace() * wet
    ng.SetNumThreads(threads)
    with ng.TaskManager():
        A.Assemble()
        B.Assemble()
    free = np.flatnonzero(np.array(space.FreeDofs(), dtype=bool))
    K, M = (_sparse(form, space.ndof)[free][:, free] for form in (A, B))
    solid = free < moves.ndof
    scale = np.where(solid, 1.0, 1 / (rho * SHIFT))
    return _lowest(K, M, scale, n_modes), _lowest(K[solid][:, solid], M[solid][:, solid], scale[solid], n_modes)


def _sparse(form: ng.BilinearForm, n: int) -> sparse.csc_matrix:
    rows, columns, values = form.mat.COO()
    return sparse.csc_matrix((np.array(values), (np.array(rows), np.array(columns))), shape=(n, n))


def _strain(u: ng.CoefficientFunction) -> ng.CoefficientFunction:
    G = ng.Grad(u)
    return ng.CF((G[0, 0], G[1, 1], G[2, 2], G[1, 2] + G[2, 1], G[0, 2] + G[2, 0], G[0, 1] + G[1, 0]))


def _lowest(K: sparse.csc_matrix, M: sparse.csc_matrix, scale: np.ndarray, n: int) -> np.ndarray:
    # At one shift the rows of the air need but a factor to be symmetric with those of the plate.
    rows = sparse.diags(scale)
    symmetric = sparse.csc_matrix(rows @ (K - SHIFT * M))
    solve = splu(symmetric, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}).solve
    inverse = LinearOperator(K.shape, matvec=lambda x: solve(rows @ (M @ x)), dtype=float)
    start = np.random.default_rng(1).standard_normal(K.shape[0])
    # The uniform pressure of a plate that does not move has no frequency; it comes out below the shift.
    mu = eigs(inverse, k=n + 2, v0=start, tol=1e-9, return_eigenvectors=False)
    values = np.sort((SHIFT + 1 / mu).real)
    return np.sqrt(values[values > SHIFT])[:n] / (2 * np.pi)
