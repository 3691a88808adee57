"""How the what-if model of a top is made (fem/reduced).

Depends on fem/reduced and what it depends on.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bracedtop.fem.attached import mass_groups
from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.model import Model, build_model, free_matrix, solve, whole_motions
from bracedtop.fem.modes import unresisted
from bracedtop.fem.parameter import DRIVING_PLACE, Parameter, drawing_at, drawn_values, driving_mass, parameters_of
from bracedtop.fem.reduced import Reduced, lowest_pairs
from bracedtop.fem.reduced_basis import (
    SEED,
    Base,
    base_of,
    height_forces,
    orthonormal,
    projected,
    residual_forces,
)
from bracedtop.fem.reduced_brace import Part, brace_terms, parts_of, piece_masses
from bracedtop.fem.reduced_sample import form, mass_form, motion_rows, seen, strain_rows
from bracedtop.fem.reduced_top import CONSTANTS, TopTerms, WoodStiffness, top_terms
from bracedtop.fem.sampling import Group
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design
from bracedtop.geometry.thickness import thickness_at

BASIS = 150
"""Size of the basis; chosen: see scripts/benchmarks/what_if.py."""

MIDDLE = 0.7
"""Heights, over those drawn, of the top around which the basis is made; chosen: the middle of the range."""

EXTREMES = 4
"""Tops at the ends of the range whose modes the basis is corrected for; chosen: more gain nothing."""


STEP = 0.8
"""Factor by which wood and thickness are changed to see what that drives; chosen."""


def build_reduced(
    design: Design,
    woods: Mapping[str, Wood],
    n_modes: int = 12,
    *,
    size: float | None = None,
    basis: int = BASIS,
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

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """
    parameters = parameters_of(design)
    model = build_model(design, woods, size=size)
    parts = parts_of(model, parameters)
    drawn = drawn_values(parameters)
    middle = np.array([max(MIDDLE * p.drawn, p.low) if p.kind == "height" else p.drawn for p in parameters])
    base = _base(model, parameters, middle - drawn, n_modes + 2)
    rigid = _unresisted(model)
    rng = np.random.default_rng(SEED)
    top = _TopSamples(model)
    driven = [base.responses(np.column_stack([height_forces(base, parts, rng), _other_forces(base, parts, top)]))]
    changes = [0 * drawn, np.array([p.low - p.drawn if p.kind == "height" else 0.0 for p in parameters])]
    for _ in range(EXTREMES - 2):
        pick = rng.integers(0, 2, len(parameters))
        changes.append(pick * changes[1])
    for change in changes:
        V = np.column_stack([rigid, orthonormal(base, base.vectors, np.column_stack(driven), basis)])
        lam, Y = lowest_pairs(*projected(base, parts, change, V), rigid.shape[1], n_modes + 2)
        driven.append(base.responses(residual_forces(base, parts, change, V @ Y.T, lam)))
    V = np.column_stack([rigid, orthonormal(base, base.vectors, np.column_stack(driven), basis)])
    return _reduced(model, parameters, parts, top, V, n_modes, rigid.shape[1], float(base.eigenvalues[-1]))


def _base(model: Model, parameters: Sequence[Parameter], change: np.ndarray, n_modes: int) -> Base:
    design, woods = drawing_at(model.design, model.woods, parameters, drawn_values(parameters) + change)
    middle = build_model(design, woods, mesh=model.mesh, order=model.space.order)
    modes = solve(middle, n_modes)
    return base_of(middle, change, modes.vectors.T, modes.eigenvalues)


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

    def pushed(change: Mapping[int, tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
        """Of changed stiffness and mass of the regions' points."""
        force = np.zeros_like(x)
        for k, (C, m) in change.items():
            weight = np.asarray(top.groups[k].points.weight)[:, None, None]
            e, d = seen(top.strains[k], x, len(weight)), seen(top.motions[k], x, len(weight))
            force += top.strains[k].T @ np.matmul(C * weight, e).reshape(-1, len(lam))
            force -= top.motions[k].T @ (np.matmul(mass_form(m) * weight, d) * lam).reshape(-1, len(lam))
        return force

    faces = [model.top.faces(group.points) for group in top.groups]
    own = lamina(wood, "quarter", plate.ring_angle, plate.runout)
    for key in CONSTANTS:
        other = lamina(replace(wood, **{key: STEP * getattr(wood, key)}), "quarter", plate.ring_angle, plate.runout)
        Q, G = (a - b for a, b in zip(rotated(*other, plate.grain_angle), rotated(*own, plate.grain_angle), strict=True))
        found.append(
            pushed({k: (layer_stiffness(Q, G, *f), np.zeros((len(f[0]), 3))) for k, f in enumerate(faces)})
        )
    Q, G = rotated(*own, plate.grain_angle)
    thinner = {}
    for k, (group, (inside, outside)) in enumerate(zip(top.groups, faces, strict=True)):
        lower = inside + STEP * (outside - inside)
        C, m = layer_stiffness(Q, G, inside, lower), layer_mass(wood.density, inside, lower)
        thinner[k] = (C - group.stiffness, m - group.mass)
    found.append(pushed(thinner))
    if len(top.groups) > 1:
        found.append(pushed({1: thinner[1]}))
    found.append(pushed({k: (0 * group.stiffness, group.mass) for k, group in enumerate(top.groups)}))
    fibres = np.zeros_like(x)
    for part in parts:
        here = part.sections(part.heights(base.change))
        for sample, C in zip(part.strains, here.along, strict=True):
            stress = np.matmul(C * sample.weight[:, None, None], sample.of(x))
            fibres += sample.rows.T @ stress.reshape(-1, len(lam))
    found.append(fibres)
    if model.design.edge.kind == "springs":
        found.append(np.asarray(model.springs @ x))
    for group in _places(model):
        rows = motion_rows(model.space, model.layers, group)
        weight = np.asarray(group.points.weight)[:, None, None]
        d = seen(rows, x, len(weight))
        found.append(rows.T @ np.matmul(mass_form(group.mass) * weight, d).reshape(-1, len(lam)))
    return np.column_stack([force / max(np.abs(force).max(), 1e-300) * np.abs(found[0]).max() for force in found])


def _places(model: Model) -> list[Group]:
    """One kilogram at each place of added mass, in the order of the parameters."""
    design = model.design
    masses = [replace(mass, mass=1.0) for mass in design.masses if mass.name != DRIVING_PLACE]
    at_bridge = [replace(mass, mass=1.0) for mass in design.masses if mass.name == DRIVING_PLACE]
    masses = [*(at_bridge or [driving_mass(design, 1.0)]), *masses]
    return mass_groups(replace(design, masses=tuple(masses)), model.locator)


def _reduced(
    model: Model,
    parameters: tuple[Parameter, ...],
    parts: Sequence[Part],
    top: _TopSamples,
    V: np.ndarray,
    n_modes: int,
    n_rigid: int,
    heaviest: float,
) -> Reduced:
    plate = model.design.plate
    wood = model.woods[plate.wood]
    regions = []
    for group, strains, motions in zip(top.groups, top.strains, top.motions, strict=True):
        n = len(group.points.weight)
        xy = model.locator.positions(group.points.element, group.points.local)
        h = thickness_at(plate, xy, model.top.region[group.points.element])
        weight = np.asarray(group.points.weight)
        sampled = (seen(strains, V, n), seen(motions, V, n), h, -plate.thickness / 2, weight, wood.density)
        regions.append(top_terms(*sampled, is_ring=group.part == "ring"))
    braces = brace_terms(parts, V, len(parameters), heaviest)
    K, M = V.T @ (model.K @ V), V.T @ (model.M @ V)
    return Reduced(
        design=model.design,
        woods=model.woods,
        parameters=parameters,
        model=model,
        n_modes=n_modes,
        n_rigid=n_rigid,
        vectors=V[2 : 5 * model.space.n_nodes : 5],
        K=(K + K.T) / 2,
        M=(M + M.T) / 2,
        regions=tuple(regions),
        wood=WoodStiffness.of_plate(plate, wood),
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
        piece_mass=piece_masses(parts),
        top_mass=tuple(_region_mass(terms, group, model, wood.density) for terms, group in zip(regions, top.groups, strict=True)),
        drawn_mass=model.mass(),
    )


def _region_mass(terms: TopTerms, group: Group, model: Model, density: float) -> np.ndarray:
    """What the mass terms of a region come to for a shift of the whole, (n_M,)."""
    plate = model.design.plate
    xy = model.locator.positions(group.points.element, group.points.local)
    h = thickness_at(plate, xy, model.top.region[group.points.element])
    d = np.zeros((len(h), 5, 1))
    d[:, 2] = 1.0
    sampled = (np.zeros((len(h), 9, 1)), d, h, -plate.thickness / 2, np.asarray(group.points.weight), density)
    return np.asarray(top_terms(*sampled, is_ring=group.part == "ring").mass[:, 0, 0])


def _shifts(model: Model, V: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Patches and masses on the outside, which sink with it: first and second power of the change of thickness."""
    plate = model.design.plate
    r = V.shape[1]
    K, M = np.zeros((2, r, r)), np.zeros((2, r, r))
    outside = {f"patch {patch.name}" for patch in model.design.patches if patch.side == "outside"}
    for group in model.groups:
        if group.part not in outside and not group.part.startswith("mass "):
            continue
        n = len(group.points.weight)
        xy = model.locator.positions(group.points.element, group.points.local)
        h = thickness_at(plate, xy, model.top.region[group.points.element])
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
