"""How the what-if model of a top is made (fem/reduced).

Depends on fem/reduced and what it depends on.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from bracedtop.fem.attached import mass_groups
from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.model import MESH_SIZE, Model, build_model, free_matrix, solve, whole_motions
from bracedtop.fem.modes import unresisted
from bracedtop.fem.parameter import (
    DRIVING_PLACE,
    Parameter,
    drawing_at,
    drawn_values,
    driving_mass,
    parameters_of,
)
from bracedtop.fem.reduced import Reduced, nominal_factors, top_coefficients
from bracedtop.fem.reduced_basis import (
    MIXED,
    Base,
    Sampled,
    fibre_forces,
    fibre_unknowns,
    height_forces,
    own_functions,
    principal,
    settled,
    shifted_factors,
)
from bracedtop.fem.reduced_brace import Basis, brace_terms
from bracedtop.fem.reduced_part import Part, parts_of
from bracedtop.fem.reduced_sample import form, mass_form, motion_rows, seen, strain_rows
from bracedtop.fem.reduced_shot import changed_model, shot, trials
from bracedtop.fem.reduced_top import CONSTANTS, WoodStiffness, top_terms
from bracedtop.fem.sampling import Group
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design
from bracedtop.geometry.mesh import TopMesh, mesh_top
from bracedtop.geometry.thickness import thickness_at

BASIS = 240
"""Size of the basis; chosen: see scripts/benchmarks/what_if.py."""

SNAPSHOTS = 16
"""Tops solved for the basis; chosen: with ten those with hollows come out worse."""

BARE = 8
"""The same without braces."""

MIDDLE = 0.7
"""Heights, over those drawn, of the top around which the basis is made; chosen: the middle of the range."""

STEP = 0.8
"""Factor by which wood and thickness are changed to see what that drives; chosen."""

SEED = 20

MORE = 2
"""Modes in the snapshots behind the last one that is wanted; chosen."""


def build_reduced(
    design: Design,
    woods: Mapping[str, Wood],
    n_modes: int = 12,
    *,
    size: float | None = None,
    basis: int = BASIS,
    snapshots: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Reduced:
    """Reduce a top.

    Parameters
    ----------
    design : Design
    woods : mapping of str to Wood
    n_modes : int
        Modes that are wanted.
    size : float, m, optional
        Of the triangles.
    basis : int
        Size of the basis, motions that nothing resists not counted.
    snapshots : int, optional
        Tops solved for the basis; `SNAPSHOTS`, or `BARE` without braces, if not given.
    progress : callable, optional
        Told the number of snapshots made.

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """
    parameters = parameters_of(design)
    drawn = drawn_values(parameters)
    middle = np.array([max(MIDDLE * p.drawn, p.low) if p.kind == "height" else p.drawn for p in parameters])
    base = _base(design, woods, parameters, middle - drawn, n_modes + MORE, mesh_top(design, size or MESH_SIZE))
    parts = parts_of(base.model, parameters, base.change)
    rng = np.random.default_rng(SEED)
    top = _TopSamples(base.model)
    sampled = [Sampled.of(part, base.change) for part in parts]
    shots = [base.vectors]
    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:
        values = trials(parameters, rng, snapshots or (SNAPSHOTS if parts else BARE))
        for found in pool.map(lambda k: shot(base, sampled, parameters, values[k], SEED + k), range(len(values))):
            shots.append(found)
            if progress is not None:
                progress(len(shots))
    mixed = height_forces(base, sampled, [each.base for each in sampled], rng)
    forces = [MIXED * mixed, _other_forces(base, parts, top)]
    shots.append(base.responses(np.column_stack(forces)))
    resting, slip = settled(base, np.column_stack(shots))
    n = base.vectors.shape[1]
    vectors, share = principal(base, resting[:, :n], resting[:, n:], basis)
    own = [Basis(x, amount) for x, amount in own_functions(base, parts, slip)]
    # Motions that nothing resists strain nothing.
    rigid = np.zeros(base.rigid.shape[1])
    whole = Basis(np.column_stack([base.rigid, vectors]), np.concatenate([rigid + 1e-9, share]))
    as_drawn = changed_model(base.model, sampled, [each.part.sections(each.part.drawn) for each in sampled])
    reduced = _reduced(base, as_drawn, parameters, parts, top, whole, own, n_modes)
    return replace(reduced, design=design, woods=woods)


def _base(
    design: Design,
    woods: Mapping[str, Wood],
    parameters: Sequence[Parameter],
    change: np.ndarray,
    n_modes: int,
    mesh: TopMesh,
) -> Base:
    model = build_model(*drawing_at(design, woods, parameters, drawn_values(parameters) + change), mesh=mesh)
    modes = solve(model, n_modes)
    own = fibre_unknowns(model)
    return Base(model, change, modes.vectors.T, modes.eigenvalues, _unresisted(model), shifted_factors(model), own)


def _unresisted(model: Model) -> np.ndarray:
    """Motions of the whole that nothing resists, (n_unknowns, k)."""
    if model.design.edge.kind not in ("free", "springs"):
        return np.zeros((model.K.shape[0], 0))
    K = free_matrix(model, model.K)
    return np.asarray(model.expand @ unresisted(K, model.shrink @ whole_motions(model)))


class _TopSamples:
    """Strains and motions of the top's own wood, region by region."""

    def __init__(self, model: Model) -> None:
        self.groups = [group for group in model.groups if group.part in ("top", "ring")]
        self.strains = [strain_rows(model.space, model.layers, group) for group in self.groups]
        self.motions = [motion_rows(model.space, model.layers, group) for group in self.groups]


def _other_forces(base: Base, parts: Sequence[Part], top: _TopSamples) -> np.ndarray:
    """What a change of the woods, of thickness, of springs and of mass does to the base's modes, (n_unknowns, k)."""
    model, x, lam = base.model, base.vectors, base.eigenvalues
    plate = model.design.plate
    wood = model.woods[plate.wood]
    found = []

    strained = [seen(rows, x, len(g.points.weight)) for rows, g in zip(top.strains, top.groups, strict=True)]
    moved = [seen(rows, x, len(g.points.weight)) for rows, g in zip(top.motions, top.groups, strict=True)]

    def pushed(change: Mapping[int, tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
        """Of changed stiffness and mass of the regions' points."""
        force = np.zeros_like(x)
        for k, (C, m) in change.items():
            weight = np.asarray(top.groups[k].points.weight)[:, None, None]
            force += top.strains[k].T @ np.matmul(C * weight, strained[k]).reshape(-1, len(lam))
            force -= top.motions[k].T @ (np.matmul(mass_form(m) * weight, moved[k]) * lam).reshape(-1, len(lam))
        return force

    faces = [model.top.faces(group.points) for group in top.groups]

    def stiffness(of: Wood) -> tuple[np.ndarray, np.ndarray]:
        return rotated(*lamina(of, "quarter", plate.ring_angle, plate.runout), plate.grain_angle)

    for key in CONSTANTS:
        other = stiffness(replace(wood, **{key: STEP * getattr(wood, key)}))
        Q, G = (a - b for a, b in zip(other, stiffness(wood), strict=True))
        found.append(pushed({k: (layer_stiffness(Q, G, *f), np.zeros((len(f[0]), 3))) for k, f in enumerate(faces)}))
    Q, G = stiffness(wood)
    thinner = {}
    for k, (group, (inside, outside)) in enumerate(zip(top.groups, faces, strict=True)):
        lower = inside + STEP * (outside - inside)
        C, m = layer_stiffness(Q, G, inside, lower), layer_mass(wood.density, inside, lower)
        thinner[k] = (C - group.stiffness, m - group.mass)
    found.append(pushed(thinner))
    if len(top.groups) > 1:
        found.append(pushed({1: thinner[1]}))
    found.append(pushed({k: (0 * group.stiffness, group.mass) for k, group in enumerate(top.groups)}))
    if parts:
        found.append(fibre_forces(base, parts))
    if model.design.edge.kind == "springs":
        found.append(np.asarray(model.springs @ x))
    for group in _places(model):
        rows = motion_rows(model.space, model.layers, group)
        weight = np.asarray(group.points.weight)[:, None, None]
        d = seen(rows, x, len(weight))
        found.append(rows.T @ np.matmul(mass_form(group.mass) * weight, d).reshape(-1, len(lam)))
    # A mode's own inertia is the measure: what a tenth of it would do.
    inertia = np.asarray(model.M @ x) * lam
    size = np.linalg.norm(inertia)
    return np.column_stack([0.1 * size / max(float(np.linalg.norm(force)), 1e-300) * force for force in found])


def _places(model: Model) -> list[Group]:
    """One kilogram at each place of added mass, in the order of the parameters."""
    design = model.design
    masses = [replace(mass, mass=1.0) for mass in design.masses if mass.name != DRIVING_PLACE]
    at_bridge = [replace(mass, mass=1.0) for mass in design.masses if mass.name == DRIVING_PLACE]
    masses = [*(at_bridge or [driving_mass(design, 1.0)]), *masses]
    return mass_groups(replace(design, masses=tuple(masses)), model.locator)


def _reduced(
    base: Base,
    as_drawn: Model,
    parameters: tuple[Parameter, ...],
    parts: Sequence[Part],
    top: _TopSamples,
    basis: Basis,
    own: Sequence[Basis],
    n_modes: int,
) -> Reduced:
    model = base.model
    plate = model.design.plate
    wood = model.woods[plate.wood]
    V = basis.vectors
    regions = []
    for group, strains, motions in zip(top.groups, top.strains, top.motions, strict=True):
        n = len(group.points.weight)
        h = _thickness(model, group)
        weight = np.asarray(group.points.weight)
        sampled = (seen(strains, V, n), seen(motions, V, n), h, -plate.thickness / 2, weight, wood.density)
        regions.append(top_terms(*sampled, is_ring=group.part == "ring"))
    wood_stiffness = WoodStiffness.of_plate(plate, wood)
    once = nominal_factors(plate)
    braces = brace_terms(parts, basis, own, len(parameters), float(base.eigenvalues[-1]))
    K, M = V.T @ (as_drawn.K @ V), V.T @ (as_drawn.M @ V)
    mass = model.mass() + sum(_mass_gained(part, base.change) for part in parts)
    return Reduced(
        design=model.design,
        woods=model.woods,
        parameters=parameters,
        mesh=model.mesh,
        space=model.space,
        locator=model.locator,
        n_modes=n_modes,
        n_rigid=base.rigid.shape[1],
        vectors=V[2 : 5 * model.space.n_nodes : 5],
        K=(K + K.T) / 2,
        M=(M + M.T) / 2,
        **_own_stiffness(as_drawn, own, V),
        regions=tuple(regions),
        wood=wood_stiffness,
        top_drawn=tuple(top_coefficients(regions, wood_stiffness, once, plate.thickness)),
        shifts=_shifts(model, V),
        springs=np.asarray(V.T @ (model.springs @ V)),
        places=np.array(
            [
                form(
                    seen(motion_rows(model.space, model.layers, group), V, len(group.points.weight)),
                    mass_form(group.mass),
                    np.asarray(group.points.weight),
                )
                for group in _places(model)
            ]
        ),
        braces=braces,
        brace_drawn=braces.polynomials(np.zeros(len(parameters)))[0],
        top_mass=tuple(_region_mass(group, model, wood.density) for group in top.groups),
        drawn_mass=mass,
    )


def _mass_gained(part: Part, change: np.ndarray) -> float:
    """Mass of a part as drawn less that after a change of the parameters, kg."""
    drawn, there = (part.sections(heights).mass[:, 0, 0] for heights in (part.drawn, part.heights(change)))
    return float((drawn - there) @ part.motions.weight)


def _own_stiffness(model: Model, own: Sequence[Basis], V: np.ndarray) -> dict[str, np.ndarray]:
    """Stiffness of the own functions as drawn, and of these with the basis, padded to one number of functions."""
    own = [mine for mine in own if mine.vectors.shape[1]]
    size = max((mine.vectors.shape[1] for mine in own), default=0)
    owners = len(own)
    # Functions that are missing are held.
    inner, reach = np.tile(np.eye(size), (owners, 1, 1)), np.zeros((owners, size, V.shape[1]))
    for k in range(owners):
        x = own[k].vectors
        pushed = np.asarray(model.K @ x)
        inner[k, : x.shape[1], : x.shape[1]] = x.T @ pushed
        reach[k, : x.shape[1]] = pushed.T @ V
    return {"own": inner.astype(np.float32), "reach": reach.astype(np.float32)}


def _thickness(model: Model, group: Group) -> np.ndarray:
    """Thickness of the top before a ring is taken off at a part's points, (n,) in m."""
    xy = model.locator.positions(group.points.element, group.points.local)
    return thickness_at(model.design.plate, xy, model.top.region[group.points.element])


def _region_mass(group: Group, model: Model, density: float) -> np.ndarray:
    """What the mass terms of a region come to for a shift of the whole, (n_M,)."""
    plate = model.design.plate
    h = _thickness(model, group)
    d = np.zeros((len(h), 5, 1))
    d[:, 2] = 1.0
    sampled = (np.zeros((len(h), 9, 1)), d, h, -plate.thickness / 2, np.asarray(group.points.weight), density)
    return np.asarray(top_terms(*sampled, is_ring=group.part == "ring").mass[:, 0, 0])


def _shifts(model: Model, V: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Patches and masses on the outside, which sink with it: first and second power of the change of thickness."""
    r = V.shape[1]
    K, M = np.zeros((2, r, r)), np.zeros((2, r, r))
    outside = {f"patch {patch.name}" for patch in model.design.patches if patch.side == "outside"}
    for group in model.groups:
        if group.part not in outside and not group.part.startswith("mass "):
            continue
        n = len(group.points.weight)
        h = _thickness(model, group)
        weight = np.asarray(group.points.weight)
        k = group.stiffness.shape[1]
        # Raised by d, a layer stretches by d times the curvature more.
        N = np.zeros((k, k))
        N[:3, 3:6] = np.eye(3)
        C = group.stiffness * h[:, None, None]
        e = seen(strain_rows(model.space, model.layers, group), V, n)
        K[0] += form(e, N.T @ C + C @ N, weight)
        K[1] += form(e, N.T @ (C * h[:, None, None]) @ N, weight)
        zero = np.zeros(n)
        I0, I1, _ = group.mass.T
        d = seen(motion_rows(model.space, model.layers, group), V, n)
        M[0] += form(d, mass_form(np.column_stack([zero, h * I0, 2 * h * I1])), weight)
        M[1] += form(d, mass_form(np.column_stack([zero, zero, h * h * I0])), weight)
    return K, M
