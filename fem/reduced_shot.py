"""Tops with other heights and a thinner plate, from which a basis learns how modes change.

Depends on fem/assembly, fem/reduced_basis, fem/reduced_part.

Such a top differs from the base only in what its braces, and perhaps its plate, add: only that is assembled anew.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy import sparse

from bracedtop.fem.assembly import assemble
from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.model import Model
from bracedtop.fem.parameter import Parameter, drawn_values
from bracedtop.fem.reduced_basis import MIXED, Base, Sampled, height_forces, shifted_factors, snapshot
from bracedtop.fem.reduced_part import Sections
from bracedtop.fem.sampling import Group

THINNED: Mapping[str, tuple[float, float]] = {"thickness": (0.85, 1.05), "ring": (0.75, 1.0)}
"""Factors of thickness in snapshots; chosen: an error of the drawing, and what is taken off a ring."""

EVERY = 3
"""Of so many tops one is thinner, too; chosen: more gain nothing."""


def trials(parameters: Sequence[Parameter], rng: np.random.Generator, n: int) -> list[np.ndarray]:
    """Values for snapshots: as drawn, as low as may be, stations at random, smooth hollows; thinner tops."""
    drawn = drawn_values(parameters)
    low = np.array([p.low if p.kind == "height" else p.drawn for p in parameters])
    braces = [
        np.flatnonzero([p.kind == "height" and p.part == name for p in parameters])
        for name in dict.fromkeys(p.part for p in parameters if p.kind == "height")
    ]
    found = [drawn, low]
    while len(found) < n:
        share = rng.random(len(drawn))
        if len(found) % 2:
            for stations in braces:
                s = np.array([parameters[int(i)].at for i in stations])
                share[stations] = rng.uniform(0.25, 1)
                for _ in range(rng.integers(1, 3)):
                    half = rng.uniform(0.1, 0.35) * s[-1] + 30e-3
                    hollow = np.maximum(0, 1 - ((s - rng.uniform(0, s[-1])) / half) ** 2)
                    share[stations] -= rng.random() * hollow
        values = low + np.clip(share, 0, 1) * (drawn - low)
        for i, parameter in enumerate(parameters):
            if parameter.kind in THINNED and len(found) % EVERY == 2:
                values[i] = max(parameter.drawn * rng.uniform(*THINNED[parameter.kind]), parameter.low)
        found.append(values)
    return found[:n]


def shot(
    base: Base, sampled: Sequence[Sampled], parameters: Sequence[Parameter], values: np.ndarray, seed: int
) -> np.ndarray:
    """Modes of a top with other values, and what lower and higher braces do to them, (n_unknowns, k)."""
    change = values - drawn_values(parameters)
    sections = [each.part.sections(each.part.heights(change)) for each in sampled]
    factors = {str(p.kind): float(v) for p, v in zip(parameters, values, strict=True) if p.kind in THINNED}
    model = changed_model(base.model, sampled, sections, thinned(base.model, factors))
    lu = shifted_factors(model)
    x, lam = snapshot(base, model, lu, base.vectors)
    if not sampled:
        return x
    here = replace(base, model=model, change=change, vectors=x, eigenvalues=lam, lu=lu)
    forces = height_forces(here, sampled, sections, np.random.default_rng(seed))
    return np.column_stack([x, MIXED * here.responses(forces)])


def changed_model(
    model: Model, sampled: Sequence[Sampled], sections: Sequence[Sections], others: Sequence[Group] = ()
) -> Model:
    """The base's model with other sections of its parts, and what other groups add."""
    groups = list(others)
    for each, there in zip(sampled, sections, strict=True):
        groups += _changed(each, there)
    K, M = assemble(model.space, groups, model.layers)
    return replace(model, K=sparse.csc_matrix(model.K + K), M=sparse.csc_matrix(model.M + M))


def _changed(sampled: Sampled, there: Sections) -> list[Group]:
    """What a part adds to the base with other sections."""
    here = sampled.base
    mass = (there.mass - here.mass)[:, [0, 0, 3], [0, 3, 3]]
    found = []
    for k, group in enumerate(sampled.part.groups):
        C = there.rest[k] + there.along[k] - here.rest[k] - here.along[k]
        found.append(replace(group, stiffness=C, mass=0 * group.mass if k else mass))
    return found


def thinned(model: Model, values: Mapping[str, float]) -> list[Group]:
    """What a factor on the thickness of the top's wood, and another thickness of its ring, add."""
    plate = model.design.plate
    scale, off = values.get("thickness", 1.0), plate.thickness - values.get("ring", plate.thickness)
    if scale == 1 and off in (0.0, plate.ring_reduction):
        return []
    wood = model.woods[plate.wood]
    Q, G = rotated(*lamina(wood, "quarter", plate.ring_angle, plate.runout), plate.grain_angle)
    found = []
    for group in model.groups:
        if group.part in ("top", "ring"):
            inside, outside = model.top.faces(group.points)
            more = plate.ring_reduction - off if group.part == "ring" else 0.0
            faces = inside, inside + scale * (outside + more - inside)
            C, m = layer_stiffness(Q, G, *faces), layer_mass(wood.density, *faces)
            found.append(replace(group, stiffness=C - group.stiffness, mass=m - group.mass))
    return found
