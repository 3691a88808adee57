"""Vectors in which a top's modes lie whatever its braces' heights, its wood and its thickness are.

Depends on fem/model, fem/modes, fem/reduced_part.

Full solutions of some tops with other heights (snapshots) show how the modes change; beside them stand the responses
K^-1 (dK - lambda dM) phi of one top's modes to changes of heights, woods, thickness, rim and mass, those to heights
mixed at random, since the span of few mixtures holds what many have in common. The principal directions of all this are
the basis. How the fibres of braces slip is left out of it: they have no mass, so that in each what-if their motion
follows exactly from the plate's. It is sought in functions of its own, local to the stations of each brace.

References
----------
L. Sirovich, "Turbulence and the dynamics of coherent structures", Quart. Appl. Math. 45 (1987) 561-571 (principal
directions of snapshots). N. Halko, P. G. Martinsson, J. A. Tropp, "Finding structure with randomness", SIAM Review 53
(2011) 217-288, algorithm 4.1 (random mixtures). R. J. Guyan, AIAA J. 3 (1965) 380 (unknowns without mass).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
import shapely
from scipy import sparse
from scipy.sparse.linalg import SuperLU

from bracedtop.fem.layer import N_OWN
from bracedtop.fem.model import Model, free_matrix
from bracedtop.fem.modes import SHIFT_HZ, factorised
from bracedtop.fem.parameter import what_if_stations
from bracedtop.fem.reduced_part import Part

MIXTURES = 80
"""Random mixtures of responses to lower, and of those to higher braces; chosen: more gain nothing."""

MIXED = 0.01
"""Weight of the mixtures beside snapshots; chosen: they only fill up what these leave out."""

LOCAL = 6
"""Functions for the slip of a brace's fibres about each of its stations; chosen: see scripts/benchmarks/what_if.py."""

OWN = 3
"""How many of them are kept a station, over the whole brace; chosen: the rest moves no frequency by 0.01 %."""

SWEEPS = 2
"""Steps of inverse iteration from the modes of another top to those of a snapshot; chosen: more change nothing."""


@dataclass(frozen=True, slots=True)
class Base:
    """A solved and factorised top around which a basis is made.

    Parameters
    ----------
    model : Model
    change : (n_parameters,) array
        Its parameters less those drawn.
    vectors : (n_unknowns, m) array
        Its modes.
    eigenvalues : (m,) array, 1/s^2
    rigid : (n_unknowns, k) array
        Motions that nothing resists.
    lu : SuperLU
        Of its stiffness, with a little mass.
    own : int array
        Its free unknowns that belong to the fibres of braces.
    """

    model: Model
    change: np.ndarray
    vectors: np.ndarray
    eigenvalues: np.ndarray
    rigid: np.ndarray
    lu: SuperLU
    own: np.ndarray

    def responses(self, forces: np.ndarray) -> np.ndarray:
        """Displacements (n_unknowns, k) under forces (n_unknowns, k)."""
        free = np.asfortranarray(self.model.expand.T @ forces)
        return np.asarray(self.model.expand @ self.lu.solve(free))

    def stiff(self, vectors: np.ndarray) -> np.ndarray:
        """The stiffness, with a little mass, times vectors."""
        shift = (2 * np.pi * SHIFT_HZ) ** 2
        return np.asarray(self.model.K @ vectors + shift * (self.model.M @ vectors))


def shifted_factors(model: Model) -> SuperLU:
    """Of the stiffness of a model's free unknowns, with a little mass against motions that nothing resists."""
    K, M = free_matrix(model, model.K), free_matrix(model, model.M)
    return factorised(sparse.csc_matrix(K + (2 * np.pi * SHIFT_HZ) ** 2 * M))


def fibre_unknowns(model: Model, part: str | None = None) -> np.ndarray:
    """Free unknowns of a model that belong to the fibres of one brace, or of all, and to nothing else."""
    mine = np.zeros(model.expand.shape[0])
    for name, layer in model.layers.items():
        if name == part or (part is None and name.startswith("brace ")):
            mine[layer.first : layer.end] = 1.0
    size = abs(model.expand).T
    return np.flatnonzero((size @ mine > 0) & (size @ (1.0 - mine) == 0))


def snapshot(base: Base, model: Model, start: np.ndarray) -> np.ndarray:
    """Modes (n_unknowns, m) of a model near approximate ones, of modal mass 1."""
    lu, M = shifted_factors(model), model.M
    x = start
    for _ in range(SWEEPS):
        x = np.asarray(model.expand @ lu.solve(np.asfortranarray(model.expand.T @ (M @ x))))
        if base.rigid.shape[1]:
            MR = M @ base.rigid
            x = x - base.rigid @ np.linalg.solve(base.rigid.T @ MR, MR.T @ x)
        _, mix = scipy.linalg.eigh(x.T @ (model.K @ x), x.T @ (M @ x))
        x = x @ mix
    return x


def height_forces(base: Base, parts: Sequence[Part], rng: np.random.Generator) -> np.ndarray:
    """Random mixtures of what lower and higher braces do to the base's modes, (n_unknowns, 2 MIXTURES)."""
    lam = base.eigenvalues
    forces = np.zeros((len(base.vectors), 2 * MIXTURES))
    for part in parts:
        here = part.sections(part.heights(base.change))
        for side, x in enumerate((-1.0, 1.0)):
            there = part.sections(part.at_node(x, x))
            mix = _mixture(part, len(lam), rng)
            into = forces[:, side * MIXTURES : (side + 1) * MIXTURES]
            for k, sample in enumerate(part.strains):
                C = there.rest[k] + there.along[k] - here.rest[k] - here.along[k]
                stress = np.matmul(C * sample.weight[:, None, None], sample.of(base.vectors))
                into += sample.rows.T @ np.matmul(stress, mix[sample.at]).reshape(-1, MIXTURES)
            inertia = (there.mass - here.mass) * part.motions.weight[:, None, None]
            pull = np.matmul(inertia, part.motions.of(base.vectors)) * -lam
            into += part.motions.rows.T @ np.matmul(pull, mix).reshape(-1, MIXTURES)
    return forces


def _mixture(part: Part, n_modes: int, rng: np.random.Generator) -> np.ndarray:
    """Random weights of modes, linear along each piece, (n, n_modes, MIXTURES)."""
    mix = np.zeros((part.drawn.shape[1], n_modes, MIXTURES))
    ends: dict[bytes, np.ndarray] = {}
    for piece in part.pieces:
        for k, shape in enumerate(piece.shape.sum(axis=1)):
            # Neighbouring pieces share the station between them.
            key = piece.inputs[k].tobytes()
            if key not in ends:
                ends[key] = rng.standard_normal((n_modes, MIXTURES)) * bool(piece.inputs[k].any())
            mix[piece.at] += shape[:, None, None] * ends[key]
    return mix


def fibre_forces(base: Base, parts: Sequence[Part]) -> np.ndarray:
    """What stiffer fibres of all braces do to the base's modes, (n_unknowns, m)."""
    forces = np.zeros_like(base.vectors)
    for part in parts:
        here = part.sections(part.heights(base.change))
        for sample, C in zip(part.strains, here.along, strict=True):
            stress = np.matmul(C * sample.weight[:, None, None], sample.of(base.vectors))
            forces += sample.rows.T @ stress.reshape(-1, forces.shape[1])
    return forces


def settled(base: Base, vectors: np.ndarray) -> np.ndarray:
    """Vectors (n_unknowns, k) with the fibres of braces moved to where they rest in the base."""
    if not len(base.own):
        return vectors
    model = base.model
    K = free_matrix(model, model.K)
    free = np.asarray(model.shrink @ vectors)
    free[base.own] = 0.0
    inner = factorised(sparse.csc_matrix(K[base.own][:, base.own]))
    free[base.own] = -inner.solve(np.ascontiguousarray((K @ free)[base.own]))
    return np.asarray(model.expand @ free)


def principal(base: Base, first: np.ndarray, others: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray]:
    """A basis of energies 1 that spans `first` and the largest directions of `others`.

    Returns
    -------
    vectors : (n_unknowns, k) array, k <= size
    share : (k,) array
        Root mean square of how much of each is in the others.
    """
    start, _ = _whitened(first, first.T @ base.stiff(first), first.shape[1])
    pushed = base.stiff(start)
    others = others - start @ (pushed.T @ others)
    rest, share = _whitened(others, others.T @ base.stiff(others), size - start.shape[1])
    rest = rest - start @ (pushed.T @ rest)
    return np.column_stack([start, rest]), np.concatenate([np.ones(start.shape[1]), share / np.sqrt(others.shape[1])])


def _whitened(vectors: np.ndarray, gram: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray]:
    """The largest principal directions, of length one in the product that made the Gram matrix, and their sizes."""
    size, mix = scipy.linalg.eigh((gram + gram.T) / 2)
    keep = np.flatnonzero(size > 1e-13 * size[-1])[::-1][:most]
    return np.asarray(vectors @ (mix[:, keep] / np.sqrt(size[keep]))), np.sqrt(size[keep])


def own_functions(base: Base, parts: Sequence[Part], moved: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """For each part functions of its fibres' own motion, and their share.

    Parameters
    ----------
    moved : (n_unknowns, k) array
        How fibres move in snapshots, less where they would rest in the base.

    Returns
    -------
    list of (n_unknowns, q) and (q,) arrays, one pair a part; q = 0 where nothing moves by itself
    """
    nothing = (np.zeros((len(moved), 0)), np.zeros(0))
    return [_own(base, part, moved) if part.layer else nothing for part in parts]


def _own(base: Base, part: Part, moved: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    model = base.model
    layer = model.layers[part.layer]
    free = fibre_unknowns(model, part.layer)
    columns = sparse.csc_matrix(model.expand[:, free])
    K = sparse.csc_matrix(columns.T @ model.K @ columns)
    motion = np.asarray((model.shrink @ moved)[free])
    row = columns.indices[columns.indptr[:-1]]
    xy = model.space.basis.doflocs[:, layer.nodes[(row - layer.first) // N_OWN]].T
    brace = model.design.brace(part.layer.removeprefix("brace "))
    stations = what_if_stations(brace)
    s = distances(brace.path, xy)
    found = []
    for k in range(len(stations)):
        near = np.interp(s, stations, np.eye(len(stations))[k])[:, None] * motion
        x, share = _whitened(near, near.T @ (K @ near), LOCAL)
        found.append(x * share)
    every = np.column_stack(found)
    kept, share = _whitened(every, every.T @ (K @ every), OWN * len(stations))
    return np.asarray(columns @ kept), share / np.sqrt(moved.shape[1])


def distances(path: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """Distance along a path of the places nearest to points (n, 2), (n,) in m."""
    line = shapely.LineString(path)
    return np.asarray(shapely.line_locate_point(line, shapely.points(xy)))
