"""Vectors in which a top's modes lie whatever its braces' heights, its wood and its thickness are.

Depends on fem/model, fem/modes, fem/reduced_part.

Full solutions of some tops with other heights (snapshots, fem/reduced_shot) show how the modes change; beside them
stand the responses K^-1 (dK - lambda dM) phi of each such top's modes to heights mixed at random, since the span of few
mixtures holds what many have in common, and of one top's modes to changes of woods, thickness, rim and mass. The
principal directions of all this are the basis. How the fibres of braces slip is left out of it: they have no mass, so
that in each what-if their motion follows exactly from the plate's. It is sought in functions of each brace's own.

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
from scipy import sparse
from scipy.sparse.linalg import SuperLU

from bracedtop.fem.model import Model, free_matrix
from bracedtop.fem.modes import SHIFT_HZ, factorised
from bracedtop.fem.reduced_part import Part, Sections

MIXTURES = 10
"""Random mixtures of responses to lower, and as many of those to higher braces, of each top; chosen: ten tops with them
give as good a basis as thirty without."""

MIXED = 0.01
"""Weight of the mixtures beside snapshots; chosen: they only fill up what these leave out."""

OWN = 6
"""Functions for the slip of a brace's fibres, a station of it; chosen: 4 cost up to 0.03 % of a frequency,
6 hardly 0.02 %."""

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


def snapshot(base: Base, model: Model, lu: SuperLU, start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Modes (n_unknowns, m) of a model near approximate ones, of modal mass 1, and their eigenvalues (m,)."""
    M = model.M
    x, lam = start, np.zeros(start.shape[1])
    for _ in range(SWEEPS):
        x = np.asarray(model.expand @ lu.solve(np.asfortranarray(model.expand.T @ (M @ x))))
        if base.rigid.shape[1]:
            MR = M @ base.rigid
            x = x - base.rigid @ np.linalg.solve(base.rigid.T @ MR, MR.T @ x)
        lam, mix = scipy.linalg.eigh(x.T @ (model.K @ x), x.T @ (M @ x))
        x = x @ mix
    return x, lam


@dataclass(frozen=True, slots=True)
class Sampled:
    """A part with its sections in the base, and at the least and the largest heights."""

    part: Part
    base: Sections
    sides: tuple[Sections, Sections]

    @classmethod
    def of(cls, part: Part, change: np.ndarray) -> "Sampled":
        """Of a part and the base's change of the parameters."""
        sides = (part.sections(part.at_node(-1.0, -1.0)), part.sections(part.at_node(1.0, 1.0)))
        return cls(part, part.sections(part.heights(change)), sides)


def height_forces(
    here: Base, sampled: Sequence[Sampled], sections: Sequence[Sections], rng: np.random.Generator
) -> np.ndarray:
    """Random mixtures of what lower and higher braces do to a top's modes, (n_unknowns, 2 MIXTURES).

    Parameters
    ----------
    here : Base
        The top.
    sampled : sequence of Sampled
        Its parts.
    sections : sequence of Sections
        Of each as they are in that top.
    """
    lam, x, n = here.eigenvalues, here.vectors, MIXTURES
    forces = np.zeros((len(x), 2 * n))
    for each, now in zip(sampled, sections, strict=True):
        part, sides = each.part, each.sides
        mix = np.array([_mixture(part, len(lam), n, rng) for _ in sides])
        for k, sample in enumerate(part.strains):
            e = sample.of(x) * sample.weight[:, None, None]
            C = np.array([there.rest[k] + there.along[k] - now.rest[k] - now.along[k] for there in sides])
            forces += _gathered(sample.rows, np.matmul(np.matmul(C, e), mix[:, sample.at]))
        d = part.motions.of(x) * part.motions.weight[:, None, None] * -lam
        inertia = np.array([there.mass - now.mass for there in sides])
        forces += _gathered(part.motions.rows, np.matmul(np.matmul(inertia, d), mix))
    return forces


def _gathered(rows: sparse.csr_matrix, stress: np.ndarray) -> np.ndarray:
    """Forces (n_unknowns, 2 n) of stresses (2, n_points, k, n) by the transpose of an operator."""
    return np.asarray(rows.T @ np.concatenate(list(stress), axis=2).reshape(rows.shape[0], -1))


def _mixture(part: Part, n_modes: int, n: int, rng: np.random.Generator) -> np.ndarray:
    """Random weights of modes, linear along each piece, (n_points, n_modes, n)."""
    mix = np.zeros((part.drawn.shape[1], n_modes, n))
    ends: dict[bytes, np.ndarray] = {}
    for piece in part.pieces:
        for k, shape in enumerate(piece.shape.sum(axis=1)):
            # Neighbouring pieces share the station between them.
            key = piece.inputs[k].tobytes()
            if key not in ends:
                ends[key] = rng.standard_normal((n_modes, n)) * bool(piece.inputs[k].any())
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


def settled(base: Base, vectors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vectors (n_unknowns, k) with the fibres of braces moved to where they rest in the base, and by how much less."""
    if not len(base.own):
        return vectors, np.zeros((0, vectors.shape[1]))
    model = base.model
    free = np.asarray(model.shrink @ vectors)
    moved = free[base.own]
    free[base.own] = 0.0
    rows = free_matrix(model, model.K)[base.own]
    free[base.own] = -factorised(sparse.csc_matrix(rows[:, base.own])).solve(np.asfortranarray(rows @ free))
    return np.asarray(model.expand @ free), moved - free[base.own]


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


def own_functions(base: Base, parts: Sequence[Part], slip: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """For each part functions of its fibres' own motion, and their share.

    Parameters
    ----------
    slip : (n_own, k) array
        How fibres move in snapshots, less where they would rest in the base.

    Returns
    -------
    list of (n_unknowns, q) and (q,) arrays, one pair a part; q = 0 where nothing moves by itself
    """
    nothing = (np.zeros((base.model.expand.shape[0], 0)), np.zeros(0))
    if not len(base.own):
        return [nothing for _ in parts]
    columns = sparse.csc_matrix(base.model.expand[:, base.own])
    K = sparse.csr_matrix(columns.T @ base.model.K @ columns)
    found = []
    for part in parts:
        if not part.layer:
            found.append(nothing)
            continue
        at = np.flatnonzero(np.isin(base.own, fibre_unknowns(base.model, part.layer)))
        mine = slip[at]
        most = OWN * (len(part.pieces) + 1)
        x, share = _whitened(mine, mine.T @ (K[at][:, at] @ mine), most)
        found.append((np.asarray(columns[:, at] @ x), share / np.sqrt(mine.shape[1])))
    return found
