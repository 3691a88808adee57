"""What braces add to a reduced model: polynomials in the heights that rule each piece.

Depends on fem/reduced_part, fem/reduced_sample.

In the basis, the strains of a piece have few independent patterns: K of the piece is U^T S U with U (q, r), where
S (q, q) depends on the two heights of the piece (fem/reduced_part). S is a polynomial of these heights, fitted at
Chebyshev's points; its part that goes with the stiffness along the grain is kept apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
from numpy.polynomial import chebyshev

from bracedtop.fem.reduced_part import Part, Sample
from bracedtop.fem.reduced_sample import form

DEGREE = 3
"""Total degree of the polynomials in two heights; chosen: bending is cubic in the height, the rest smoother. A
fourth gains nothing: what is left, up to 0.03 % of a frequency, is the kink where a rounded brace becomes lower than
half its width."""

PATTERNS = 1e-7
"""Patterns of a piece that hold less than this part of a typical mode's energy are left out; chosen: see tests."""

MASS_PATTERNS = 1e-5
"""The same of motion, whose energy counts at the highest mode; chosen likewise."""

MOST_PATTERNS = 40
"""At most so many of a piece; chosen: those beyond move no frequency by 0.01 %."""

MOST_MASS_PATTERNS = 12
"""The same of motion; chosen: those beyond move no frequency by 0.001 %."""

POWERS = np.array([(i, j) for i in range(DEGREE + 1) for j in range(DEGREE + 1 - i)])
"""Degrees (i, j) of the terms T_i(x) T_j(y), (n_terms, 2)."""


@dataclass(frozen=True, slots=True)
class BraceTerms:
    """Polynomials of all pieces, padded to the same number of patterns.

    Parameters
    ----------
    U, V : (n_pieces, q, r) and (n_pieces, q_M, r) arrays
        Patterns of strain and of motion in the basis.
    O : (n_pieces, q, q_O) array
        Patterns of strain in the own functions of the piece's brace.
    both, along : (n_pieces, n_terms, q, q) arrays
        All of the stiffness, and that which goes with the modulus along the grain.
    mass : (n_pieces, n_terms, q_M, q_M) array
    whole_mass : (n_pieces, n_terms) array, kg
        Of the pieces when they do not deform.
    inputs : (n_pieces, 2, n_parameters) array
    middle, half : (n_pieces, 2) arrays, m
        Of the ranges of the inputs.
    owner : (n_pieces,) int array
        Number of the brace whose own functions a piece has, ascending; larger than any for none.
    n_own : (n_owners,) int array
        Own functions of each.
    """

    U: np.ndarray
    V: np.ndarray
    O: np.ndarray
    both: np.ndarray
    along: np.ndarray
    mass: np.ndarray
    whole_mass: np.ndarray
    inputs: np.ndarray
    middle: np.ndarray
    half: np.ndarray
    owner: np.ndarray
    n_own: np.ndarray

    def polynomials(self, change: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Values of the terms after changes of the parameters, (n_pieces, n_terms), and rates by the two inputs."""
        scale = np.where(self.half > 0, self.half, 1.0)
        x = (self.inputs @ change - self.middle) / scale
        T = chebyshev.chebvander(x, DEGREE)
        D = np.concatenate([np.zeros((*x.shape, 1)), _second_kind(x)], axis=-1) / scale[..., None]
        i, j = POWERS.T
        values = T[:, 0, i] * T[:, 1, j]
        rates = np.stack([D[:, 0, i] * T[:, 1, j], T[:, 0, i] * D[:, 1, j]], axis=1)
        return values, rates


def _second_kind(x: np.ndarray) -> np.ndarray:
    """Derivatives of Chebyshev's polynomials T_1 to T_DEGREE, (.., DEGREE): k times those of the second kind."""
    U = [np.ones_like(x), 2 * x]
    for _ in range(2, DEGREE):
        U.append(2 * x * U[-1] - U[-2])
    return np.stack([(k + 1) * U[k] for k in range(DEGREE)], axis=-1)


@dataclass(frozen=True, slots=True)
class Basis:
    """A basis, and how much of each of its vectors a typical mode holds.

    Parameters
    ----------
    vectors : (n_unknowns, r) array
        Of energies about 1, but for motions that nothing resists.
    share : (r,) array
    """

    vectors: np.ndarray
    share: np.ndarray


def brace_terms(
    parts: Sequence[Part], basis: Basis, own: Sequence[Basis], n_parameters: int, heaviest: float
) -> BraceTerms:
    """Polynomials of all pieces in a basis.

    Parameters
    ----------
    parts : sequence of Part
    basis : Basis
    own : sequence of Basis
        Functions of each part's own.
    n_parameters : int
    heaviest : float, 1/s^2
        Energy per mass by which masses count.
    """
    pieces = [piece for part in parts for piece in part.pieces]
    found = [item for part, mine in zip(parts, own, strict=True) for item in _fitted(part, basis, mine, heaviest)]
    n, n_terms, r = len(found), len(POWERS), basis.vectors.shape[1]
    q, q_M = (max((len(item[k]) for item in found), default=0) for k in (0, 2))
    q_O = max((mine.vectors.shape[1] for mine in own), default=0)
    # What changes is small beside what stays: half the digits are enough for it, and twice as fast.
    single = np.float32
    U, O, V = np.zeros((n, q, r), single), np.zeros((n, q, q_O), single), np.zeros((n, q_M, r), single)
    both, along = np.zeros((n, n_terms, q, q), single), np.zeros((n, n_terms, q, q), single)
    mass = np.zeros((n, n_terms, q_M, q_M), single)
    whole_mass = np.zeros((n, n_terms))
    for k, (u, o, v, *polynomials) in enumerate(found):
        a, b = len(u), len(v)
        U[k, :a], O[k, :a, : o.shape[1]], V[k, :b] = u, o, v
        both[k, :, :a, :a], along[k, :, :a, :a], mass[k, :, :b, :b], whole_mass[k] = polynomials
    inputs = np.array([piece.inputs for piece in pieces]).reshape(n, 2, n_parameters)
    ranges = np.array([piece.ranges for piece in pieces]).reshape(n, 2, 2)
    # Those with own functions come first, so that the numbers ascend but for the last ones.
    numbers = np.cumsum([mine.vectors.shape[1] > 0 for mine in own]) - 1
    owner = [
        int(number) if mine.vectors.shape[1] else len(own)
        for number, mine, part in zip(numbers, own, parts, strict=True)
        for _ in part.pieces
    ]
    middle, half = ranges.mean(axis=2), np.ptp(ranges, axis=2) / 2
    counts = [mine.vectors.shape[1] for mine in own if mine.vectors.shape[1]]
    numbered = np.array(owner, dtype=int), np.array(counts, dtype=int)
    return BraceTerms(U, V, O, both, along, mass, whole_mass, inputs, middle, half, *numbered)


def _nodes() -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray]:
    """Points of fit in the square, and the matrix (n_terms, n) that makes coefficients of values there."""
    nodes = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    x, y = (grid.ravel() for grid in np.meshgrid(nodes, nodes, indexing="ij"))
    i, j = POWERS.T
    return (x, y), np.linalg.pinv(chebyshev.chebvander(x, DEGREE)[:, i] * chebyshev.chebvander(y, DEGREE)[:, j])


@dataclass(frozen=True, slots=True)
class _Seen:
    """Strains of one sample in the basis and in the part's own functions, and its polynomials, in few components.

    Parameters
    ----------
    e, o : (n, k, r) and (n, k, q_O) arrays
    C : (2, n_terms, n, k, k) array
        Without and with stiffness along the grain.
    high : (n, k, k) array
        Stiffness at the largest heights.
    """

    e: np.ndarray
    o: np.ndarray
    C: np.ndarray
    high: np.ndarray


def _compact(sample: Sample, C: np.ndarray, high: np.ndarray, basis: Basis, own: Basis) -> _Seen:
    """A sample with the components that its stiffness knows (most of the nine or eleven it does not)."""
    size = np.sqrt(np.abs(np.einsum("...ii->...i", C)).max(axis=(0, 1, 2)))
    size = np.where(size > 0, size, 1.0)
    # Directions that no point's stiffness knows at any height.
    _, s, rows = np.linalg.svd(np.linalg.qr((C / np.outer(size, size)).reshape(-1, C.shape[-1]), mode="r"))
    W = rows[s > 1e-9 * s[0]] if len(s) and s[0] > 0 else rows[:0]
    # C = (size W^T) C' (W size), since W has orthonormal rows.
    down, up = W / size, W * size
    return _Seen(
        np.matmul(up, sample.of(basis.vectors)),
        np.matmul(up, sample.of(own.vectors)),
        np.matmul(np.matmul(down, C), down.T),
        np.matmul(np.matmul(down, high), down.T),
    )


def _fitted(part: Part, basis: Basis, own: Basis, heaviest: float) -> list[tuple[np.ndarray, ...]]:
    """For each piece: patterns of strain in the basis and in own functions, of motion, and polynomials."""
    (x, y), fit = _nodes()
    at_nodes = [part.sections(part.at_node(a, b)) for a, b in zip(x, y, strict=True)]
    tallest = part.sections(part.at_node(1.0, 1.0))
    samples = []
    for k, sample in enumerate(part.strains):
        rest = np.tensordot(fit, np.array([sections.rest[k] for sections in at_nodes]), 1)
        along = np.tensordot(fit, np.array([sections.along[k] for sections in at_nodes]), 1)
        samples.append(_compact(sample, np.array([rest, along]), tallest.rest[k] + tallest.along[k], basis, own))
    mass = np.tensordot(fit, np.array([sections.mass for sections in at_nodes]), 1)
    d = part.motions.of(basis.vectors)
    share = np.concatenate([basis.share, own.share])
    found: list[tuple[np.ndarray, ...]] = []
    for piece in part.pieces:
        members = [np.flatnonzero(np.isin(sample.at, piece.at)) for sample in part.strains]
        energy: np.ndarray | float = 0.0
        both, weights = [], []
        for sample, s, m in zip(part.strains, samples, members, strict=True):
            both.append(np.concatenate([s.e[m], s.o[m]], axis=2))
            weights.append(sample.weight[m])
            energy = energy + form(both[-1], s.high[m], weights[-1])
        coordinates, U = _patterns(np.asarray(energy), share, PATTERNS, MOST_PATTERNS)
        polynomials = np.zeros((2, len(POWERS), len(U), len(U)))
        for s, m, e, w in zip(samples, members, both, weights, strict=True):
            pattern = e @ coordinates
            for which in range(2):
                for t in range(len(POWERS)):
                    polynomials[which, t] += form(pattern, s.C[which, t, m], w)
        w = part.motions.weight[piece.at]
        inertia = heaviest * form(d[piece.at], tallest.mass[piece.at], w)
        coordinates, V = _patterns(inertia, basis.share, MASS_PATTERNS, MOST_MASS_PATTERNS)
        motion = d[piece.at] @ coordinates
        masses = np.array([form(motion, mass[t, piece.at], w) for t in range(len(POWERS))])
        r = basis.vectors.shape[1]
        whole = mass[:, piece.at, 2, 2] @ w
        found.append((U[:, :r], U[:, r:], V, polynomials.sum(axis=0), polynomials[1], masses, whole))
    return found


def _patterns(energy: np.ndarray, share: np.ndarray, least: float, most: int) -> tuple[np.ndarray, np.ndarray]:
    """Patterns that hold all but little of an energy (r, r) in typical modes.

    Returns
    -------
    coordinates : (r, q) array
        Of the patterns, which have energy 1 and are orthogonal in it.
    parts : (q, r) array
        How much of each pattern a vector of the basis holds: its projection in energy.
    """
    first = max(len(energy) - most, 0)
    size, rows = scipy.linalg.eigh(share[:, None] * energy * share, subset_by_index=[first, len(energy) - 1])
    keep = size > least
    coordinates = share[:, None] * rows[:, keep] / np.sqrt(size[keep])
    return coordinates, np.asarray(coordinates.T @ energy)
