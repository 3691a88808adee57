"""Full matrices of a face with other values, by what these change. Depends on fem/assembly, fem/film, fem/sampling."""

from dataclasses import replace

import numpy as np
from scipy import sparse

from bracedtop.fem.assembly import assemble
from bracedtop.fem.attached import mass_groups
from bracedtop.fem.boundary import rim_facets, spring_stiffness
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.film import film_lamina
from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.model import Model
from bracedtop.fem.parameter import driving_mass
from bracedtop.fem.reduced_top import CONSTANTS
from bracedtop.fem.rim import Rim
from bracedtop.fem.sampling import Group
from bracedtop.geometry.design import Edge

Matrices = tuple[sparse.csc_matrix, sparse.csc_matrix]


def rim_stiffness(model: Model, rim: Rim) -> sparse.csc_matrix:
    """Stiffness of springs along the rim, (n_unknowns, n_unknowns), N/m."""
    edge = Edge("springs", rim.deflection, rim.rotation, rim.inplane)
    springs = spring_stiffness(model.mesh, model.space, rim_facets(model.mesh), edge)
    springs.resize(model.K.shape)
    return springs


def changed_matrices(model: Model, values: FaceValues) -> Matrices:
    """Stiffness and mass (n_unknowns, n_unknowns) of a face, drawn bare, with other values.

    Only the face's own wood, its film, the rim and the load change; braces and patches stay where and as they are.
    """
    K, M = model.K, model.M
    groups = [*_regions(model, values), *_load(model, values)]
    if groups:
        stiffer, heavier = assemble(model.space, groups, {})
        for matrix in (stiffer, heavier):
            matrix.resize(model.K.shape)
        K, M = K + stiffer, M + heavier
    if values.rim is not None:
        K = K - model.springs + rim_stiffness(model, values.rim)
    return sparse.csc_matrix(K), sparse.csc_matrix(M)


def _regions(model: Model, values: FaceValues) -> list[Group]:
    """The face's own wood and film, less the drawn wood."""
    plate = model.design.plate
    wood = model.woods[plate.wood]
    wood = replace(wood, **{key: getattr(values, key) * getattr(wood, key) for key in (*CONSTANTS, "density")})
    Q, G = rotated(*lamina(wood, "quarter", plate.ring_angle, plate.runout), plate.grain_angle)
    changed = {"top", "ring"}
    if values == FaceValues(ring=values.ring, rim=values.rim, added_mass=values.added_mass):
        changed = {"ring"} if values.ring else set()
    found = []
    for group in model.groups:
        if group.part not in changed:
            continue
        inside, drawn = model.top.faces(group.points)
        outside = inside + values.thickness * (drawn - values.ring * (group.part == "ring") - inside)
        C, m = layer_stiffness(Q, G, inside, outside), layer_mass(wood.density, inside, outside)
        film = values.finish
        if film is not None:
            C = C + layer_stiffness(*film_lamina(film), outside, outside + film.thickness)
            m = m + film.mass * np.stack([np.ones_like(outside), outside, outside**2], axis=-1)
        found.append(Group(group.part, group.points, C - group.stiffness, m - group.mass))
    return found


def _load(model: Model, values: FaceValues) -> list[Group]:
    if not values.added_mass:
        return []
    mass = driving_mass(model.design, values.added_mass)
    return mass_groups(replace(model.design, masses=(mass,)), model.locator)
