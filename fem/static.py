"""Static deflection of a held top under tractions.

Depends on fem/layer, fem/model, fem/modes, fem/plate.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from bracedtop.fem.footprint import Points
from bracedtop.fem.model import Model, free_matrix, plate_part, whole_motions
from bracedtop.fem.modes import factorised, unresisted
from bracedtop.fem.plate import N_FIELDS, displacements, shape_functions, strains
from bracedtop.geometry.errors import AccuracyError, DesignError

RESIDUAL_LIMIT = 1e-8
"""Largest accepted ||K u - f|| / ||f||; reactions then balance the load to about as many digits."""


@dataclass(frozen=True, slots=True)
class Traction:
    """Forces per area at points of the top.

    Parameters
    ----------
    points : Points
    along, out : (n,) arrays, Pa
        In x, acting at `height`; and in z.
    height : (n,) array, m
        Above the reference plane.
    part : str or None
        The glued part that is pulled, such as "patch bridge"; None for the plate itself.
    face : (n,) array, m
        Height of that part's glued face; not used for the plate.
    """

    points: Points
    along: np.ndarray
    out: np.ndarray
    height: np.ndarray
    part: str | None = None
    face: np.ndarray | None = None


@dataclass(frozen=True, slots=True)
class Static:
    """A top under load.

    Parameters
    ----------
    model : Model
    force : (n_unknowns,) array
        Load in N and N m of every unknown, held ones included.
    vector : (n_unknowns,) array
        Displacements in m and rotations in rad.
    reaction : (n_unknowns,) array
        What the rim puts on the top, by holding it or by its springs.
    residual : float
        ||K u - f|| / ||f|| of the unknowns that are free to move.
    """

    model: Model
    force: np.ndarray
    vector: np.ndarray
    reaction: np.ndarray
    residual: float


def force_vector(model: Model, tractions: list[Traction]) -> np.ndarray:
    """Load of every unknown, consistent with the shape functions, (n_unknowns,) in N and N m.

    A traction along x at height z does work on u + z beta_x; on a part with the glued face z_f that moves by itself, on
    u + z_f beta_x + s_x + (z - z_f) gamma_x (fem/layer).
    """
    force = np.zeros(model.K.shape[0])
    for traction in tractions:
        points = traction.points
        values, _ = shape_functions(model.space, points)
        dofs = model.space.dofs[points.element]
        lever = traction.height if traction.face is None else traction.face
        shares = [(0, traction.along), (2, traction.out), (3, lever * traction.along)]
        numbers = N_FIELDS * dofs[..., None] + np.arange(N_FIELDS)
        if traction.part is not None and traction.face is not None:
            numbers = model.layers[traction.part].unknowns(dofs)
            shares += [(5, traction.along), (7, (traction.height - traction.face) * traction.along)]
        for field, p in shares:
            np.add.at(force, numbers[..., field], values * (points.weight * p)[:, None])
    return force


def solve_static(model: Model, force: np.ndarray) -> Static:
    """Displacements and reactions under a load (n_unknowns,).

    Raises
    ------
    DesignError
        If the rim leaves the top free to move as a whole.
    AccuracyError
        If the residual is too large.
    """
    E = model.expand
    K = free_matrix(model, model.K)
    if model.design.edge.kind in ("free", "springs"):
        _refuse_loose(model, K)
    f = E.T @ force
    solve = factorised(K).solve
    x = solve(f)
    # One step of refinement brings the reactions' balance from some 1e-9 to 1e-11.
    x = x + solve(f - K @ x)
    size = float(np.linalg.norm(f))
    residual = float(np.linalg.norm(K @ x - f)) / size if size else 0.0
    if not residual < RESIDUAL_LIMIT:
        message = f"static solution with relative residual {residual:.1e}; allowed is {RESIDUAL_LIMIT:.0e}"
        raise AccuracyError(message)
    vector = np.asarray(E @ x)
    # Free unknowns carry no reaction: what K u - f leaves there is rounding, and stays in the balance.
    reaction = np.asarray(model.K @ vector - force - model.springs @ vector)
    return Static(model, force, vector, reaction, residual)


def resultant(model: Model, forces: np.ndarray) -> np.ndarray:
    """Resultant of forces (n_unknowns,) about the origin: F_x, F_y, F_z in N, M_x, M_y, M_z in N m."""
    F_x, F_y, F_z, M_z, minus_M_y, M_x = whole_motions(model).T @ forces
    return np.array([F_x, F_y, F_z, M_x, -minus_M_y, M_z])


def fields_at(static: Static, points: Points) -> np.ndarray:
    """u, v, w in m and the two rotations at points, (n, 5)."""
    return np.asarray(displacements(static.model.space, points, _shapes(static))[0])


def strains_at(static: Static, points: Points) -> np.ndarray:
    """Generalised strains at points, (n, 9), in the order of DEVELOPERS.md, "Conventions"."""
    return np.asarray(strains(static.model.space, points, _shapes(static))[0])


def deflections_at(static: Static, xy: np.ndarray) -> np.ndarray:
    """Deflection w at points (n, 2) of the top, (n,), all in m."""
    element, local = static.model.locator.locate(np.atleast_2d(xy))
    return np.asarray(fields_at(static, Points(element, local, np.ones(len(element))))[:, 2])


def _shapes(static: Static) -> np.ndarray:
    return plate_part(static.vector[None], static.model.space.n_nodes)


def _refuse_loose(model: Model, K: sparse.csc_matrix) -> None:
    n_loose = unresisted(K, model.shrink @ whole_motions(model)).shape[1]
    if n_loose:
        what = "is free" if model.design.edge.kind == "free" else "has springs that resist some motions only"
        message = f"the top's edge {what}; under load its sides have to hold it against moving in every direction"
        raise DesignError(message)
