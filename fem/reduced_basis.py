"""Vectors in which a top's modes lie whatever its braces' heights, its wood and its thickness are.

Depends on fem/model, fem/modes, fem/reduced_brace.

The modes of a top with braces of middle height are taken first. A change of stiffness dK and of mass dM drives the
response K^-1 (dK - lambda dM) phi. Responses to lower and to higher braces, station by station, are mixed at random
(the span of few random mixtures holds what many have in common), those to other parameters follow one by one; then
the modes at some extremes are computed in the basis, and what their residuals drive is added. Of all this the
directions of largest energy are kept.

References
----------
N. Halko, P. G. Martinsson, J. A. Tropp, "Finding structure with randomness", SIAM Review 53 (2011) 217-288, algorithm
4.1 (random mixtures). A. K. Noor, "Recent advances and applications of reduction methods", Appl. Mech. Rev. 47 (1994)
125-146 (modes and their derivatives as basis).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
from scipy import sparse
from scipy.sparse.linalg import SuperLU

from bracedtop.fem.model import Model, free_matrix
from bracedtop.fem.modes import SHIFT_HZ, factorised
from bracedtop.fem.reduced_brace import Part
from bracedtop.fem.reduced_sample import form

MIXTURES = 120
"""Random mixtures of responses; chosen: more gain nothing at the basis sizes below."""

SEED = 20


@dataclass(frozen=True, slots=True)
class Base:
    """A solved and factorised top around which a basis is made.

    Parameters
    ----------
    model : Model
    change : (n_parameters,) array
        Its heights less those drawn.
    vectors : (n_unknowns, m) array
        Its modes.
    eigenvalues : (m,) array, 1/s^2
    lu : SuperLU
        Of its stiffness, with a little mass where it is free.
    """

    model: Model
    change: np.ndarray
    vectors: np.ndarray
    eigenvalues: np.ndarray
    lu: SuperLU

    def responses(self, forces: np.ndarray) -> np.ndarray:
        """Displacements (n_unknowns, k) under forces (n_unknowns, k)."""
        free = np.asfortranarray(self.model.expand.T @ forces)
        return np.asarray(self.model.expand @ self.lu.solve(free))


def base_of(model: Model, change: np.ndarray, vectors: np.ndarray, eigenvalues: np.ndarray) -> Base:
    """Factorise a solved model."""
    K, M = free_matrix(model, model.K), free_matrix(model, model.M)
    lu = factorised(sparse.csc_matrix(K + (2 * np.pi * SHIFT_HZ) ** 2 * M))
    return Base(model, change, vectors, eigenvalues, lu)


def height_forces(base: Base, parts: Sequence[Part], rng: np.random.Generator) -> np.ndarray:
    """Random mixtures of what lower and higher braces do to the base's modes, (n_unknowns, 2 n)."""
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
    n = part.drawn.shape[1]
    mix = np.zeros((n, n_modes, MIXTURES))
    ends: dict[bytes, np.ndarray] = {}
    for piece in part.pieces:
        shape = piece.shape.sum(axis=1)
        for k in range(2):
            # Neighbouring pieces share the station between them.
            key = piece.inputs[k].tobytes()
            if key not in ends:
                ends[key] = rng.standard_normal((n_modes, MIXTURES)) if piece.inputs[k].any() else np.zeros(
                    (n_modes, MIXTURES)
                )
            mix[piece.at] += shape[k][:, None, None] * ends[key]
    return mix


def residual_forces(
    base: Base, parts: Sequence[Part], change: np.ndarray, vectors: np.ndarray, eigenvalues: np.ndarray
) -> np.ndarray:
    """K x - lambda M x of a top with other heights, for approximate modes x (n_unknowns, m)."""
    model = base.model
    forces = np.asarray(model.K @ vectors - (model.M @ vectors) * eigenvalues)
    for part in parts:
        here, there = part.sections(part.heights(base.change)), part.sections(part.heights(change))
        for k, sample in enumerate(part.strains):
            C = there.rest[k] + there.along[k] - here.rest[k] - here.along[k]
            stress = np.matmul(C * sample.weight[:, None, None], sample.of(vectors))
            forces += sample.rows.T @ stress.reshape(-1, vectors.shape[1])
        inertia = (there.mass - here.mass) * part.motions.weight[:, None, None]
        pull = np.matmul(inertia, part.motions.of(vectors)) * eigenvalues
        forces -= part.motions.rows.T @ pull.reshape(-1, vectors.shape[1])
    return forces


def projected(
    base: Base, parts: Sequence[Part], change: np.ndarray, vectors: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness and mass (r, r) of a top with other heights in a basis (n_unknowns, r)."""
    model = base.model
    K, M = vectors.T @ (model.K @ vectors), vectors.T @ (model.M @ vectors)
    for part in parts:
        here, there = part.sections(part.heights(base.change)), part.sections(part.heights(change))
        for k, sample in enumerate(part.strains):
            C = there.rest[k] + there.along[k] - here.rest[k] - here.along[k]
            K = K + form(sample.of(vectors), C, sample.weight)
        M = M + form(part.motions.of(vectors), there.mass - here.mass, part.motions.weight)
    return (K + K.T) / 2, (M + M.T) / 2


def orthonormal(base: Base, first: np.ndarray, others: np.ndarray, size: int) -> np.ndarray:
    """A basis (n_unknowns, <= size) of energies 1 that holds `first` and the largest directions of `others`."""
    model = base.model
    shift = (2 * np.pi * SHIFT_HZ) ** 2

    def stiff(x: np.ndarray) -> np.ndarray:
        return np.asarray(model.K @ x + shift * (model.M @ x))

    start = _whitened(first, first.T @ stiff(first), first.shape[1])
    pushed = stiff(start)
    others = others - start @ (pushed.T @ others)
    rest = _whitened(others, others.T @ stiff(others), size - start.shape[1])
    rest = rest - start @ (pushed.T @ rest)
    return np.column_stack([start, rest])


def _whitened(vectors: np.ndarray, gram: np.ndarray, most: int) -> np.ndarray:
    """The largest principal directions of vectors, of length one in the product that made their Gram matrix."""
    size, mix = scipy.linalg.eigh((gram + gram.T) / 2)
    keep = np.flatnonzero(size > 1e-13 * size[-1])[::-1][:most]
    return np.asarray(vectors @ (mix[:, keep] / np.sqrt(size[keep])))
