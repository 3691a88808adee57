"""What braces add to a reduced model: polynomials in the heights at the stations beside each piece.

Depends on fem/brace_points, fem/parameter, fem/reduced_sample.

A brace is cut into pieces between the stations of its parameters; a crossing or a butted end is a piece of its own. In
the basis, the strains of a piece have few independent patterns: K of the piece is U^T S U with U (q, r), where S (q, q)
depends on two heights, those at the piece's ends or of the two braces that meet. S is a polynomial of these heights,
fitted at Chebyshev's points; its part that goes with the stiffness along the grain is kept apart.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import scipy.linalg
from numpy.polynomial import chebyshev
from scipy import sparse

from bracedtop.fem.brace_points import Block, Glued, block_sections, brace_fibres, brace_sides
from bracedtop.fem.footprint import distance_to
from bracedtop.fem.laminate import layer_mass
from bracedtop.fem.model import Model
from bracedtop.fem.parameter import Parameter, what_if_stations
from bracedtop.fem.reduced_sample import form, mass_form, motion_rows, seen, strain_rows
from bracedtop.fem.sampling import Group
from bracedtop.fem.section import brace_mass
from bracedtop.geometry.brace import Brace

DEGREE = 3
"""Total degree of the polynomials in two heights; chosen: bending is cubic in the height, the rest smoother."""

PATTERNS = 1e-7
"""Patterns of a piece that hold less than this part of a typical mode's energy are left out; chosen: see tests."""

MASS_PATTERNS = 1e-5
"""The same of motion, whose energy counts at the highest mode; chosen likewise."""

MOST_PATTERNS = 40
"""At most so many of a piece; chosen."""

POWERS = np.array([(i, j) for i in range(DEGREE + 1) for j in range(DEGREE + 1 - i)])
"""Degrees (i, j) of the terms T_i(x) T_j(y), (n_terms, 2)."""


@dataclass(frozen=True, slots=True)
class Sample:
    """Strains or motions of a part at some of its points.

    Parameters
    ----------
    rows : sparse (n k, n_unknowns)
    weight : (n,) array, m^2
    at : (n,) int array
        Which of the part's points they are.
    """

    rows: sparse.csr_matrix
    weight: np.ndarray
    at: np.ndarray

    def of(self, vectors: np.ndarray) -> np.ndarray:
        """In vectors (n_unknowns, r): (n, k, r)."""
        return seen(self.rows, vectors, len(self.weight))


@dataclass(frozen=True, slots=True)
class Sections:
    """Stiffness and mass of a part's points: for each of its strain samples without and with that along the grain.

    Parameters
    ----------
    rest, along : tuples of (n, k, k) arrays
    mass : (n, 5, 5) array
    """

    rest: tuple[np.ndarray, ...]
    along: tuple[np.ndarray, ...]
    mass: np.ndarray


@dataclass(frozen=True, slots=True)
class Piece:
    """Points of a part whose heights follow from two changes of height.

    Parameters
    ----------
    at : (m,) int array
        Points of the part.
    shape : (2, n_heights, m) array
        The points' heights from the two changes.
    inputs : (2, n_parameters) array
        The two changes from the parameters' changes.
    ranges : (2, 2) array, m
        Least and largest of each.
    """

    at: np.ndarray
    shape: np.ndarray
    inputs: np.ndarray
    ranges: np.ndarray


@dataclass(frozen=True, slots=True)
class Part:
    """A brace without its crossings, or a crossing or butted end.

    Parameters
    ----------
    strains : tuple of Sample
    motions : Sample
    drawn : (n_heights, n) array, m
        Of the brace at its points, or of the two braces that meet.
    sections : function
        From heights (n_heights, n) to `Sections`.
    pieces : tuple of Piece
        Every point belongs to one.
    layer : str
        Name of its layer, if its fibres move by themselves; else empty.
    """

    strains: tuple[Sample, ...]
    motions: Sample
    drawn: np.ndarray
    sections: Callable[[np.ndarray], Sections]
    pieces: tuple[Piece, ...]
    layer: str = ""

    def heights(self, change: np.ndarray) -> np.ndarray:
        """Heights (n_heights, n) after the parameters have changed by (n_parameters,)."""
        return self._moved([piece.inputs @ change for piece in self.pieces])

    def at_node(self, x: float, y: float) -> np.ndarray:
        """Heights with every piece's two changes at x and y, from -1 to 1, of their ranges."""
        t = (np.array([x, y]) + 1) / 2
        return self._moved([piece.ranges[:, 0] + t * np.ptp(piece.ranges, axis=1) for piece in self.pieces])

    def _moved(self, changes: Sequence[np.ndarray]) -> np.ndarray:
        heights = np.array(self.drawn)
        for piece, change in zip(self.pieces, changes, strict=True):
            heights[:, piece.at] += np.tensordot(change, piece.shape, 1)
        return np.asarray(np.maximum(heights, 0.0))


def parts_of(model: Model, parameters: Sequence[Parameter]) -> list[Part]:
    """All braces, crossings and butted ends of a model, those with fibres that move by themselves first."""
    parts = [_brace_part(model, parameters, glued) for glued in model.glued if len(glued.height)]
    parts.sort(key=lambda part: not part.layer)
    return parts + [_block_part(model, parameters, block) for block in model.blocks if block.offset.size]


def station_weights(brace: Brace, parameters: Sequence[Parameter], s: np.ndarray) -> np.ndarray:
    """How the height at distances s (n,) changes with each parameter, (n, n_parameters)."""
    places = what_if_stations(brace)
    mine = {p.at: i for i, p in enumerate(parameters) if p.kind == "height" and p.part == brace.name}
    weights = np.zeros((len(s), len(parameters)))
    for k, place in enumerate(places):
        if float(place) in mine:
            weights[:, mine[float(place)]] = np.interp(s, places, np.eye(len(places))[k])
    return weights


def _brace_part(model: Model, parameters: Sequence[Parameter], glued: Glued) -> Part:
    brace = model.design.brace(glued.brace)
    wood = model.woods[brace.wood]
    stiffer = replace(wood, E_L=2 * wood.E_L)
    members = [group for group in model.groups if group.part == f"brace {brace.name}"]
    places = [np.arange(len(glued.height)), np.flatnonzero(glued.slips)]
    strains = tuple(
        Sample(strain_rows(model.space, model.layers, group), np.asarray(group.points.weight), at)
        for group, at in zip(members, places, strict=False)
    )
    motions = Sample(motion_rows(model.space, model.layers, members[0]), strains[0].weight, places[0])
    bound = glued.grips & ~glued.slips

    def sections(heights: np.ndarray) -> Sections:
        height = heights[0]
        fibres = brace_fibres(glued, brace, wood, height)
        # Whatever doubling the modulus adds goes with it.
        along = brace_fibres(glued, brace, stiffer, height) - fibres
        rest = fibres - along
        sides = brace_sides(glued, brace, wood, height)
        sides_along = np.zeros_like(sides)
        sides[bound] += rest[bound, :9, :9]
        sides_along[bound] = along[bound, :9, :9]
        mass = brace_mass(brace.shape, brace.width, height, glued.offset, wood.density)
        mass = mass + layer_mass(wood.density, -glued.offset - height - glued.cap, -glued.offset - height)
        if len(strains) == 1:
            return Sections((sides,), (sides_along,), mass_form(mass))
        at = places[1]
        return Sections((sides, rest[at]), (sides_along, along[at]), mass_form(mass))

    stations = what_if_stations(brace)
    weights = station_weights(brace, parameters, stations)
    pieces = []
    for k, (a, b) in enumerate(pairwise(stations)):
        behind = glued.distance >= (a if k else -np.inf)
        at = np.flatnonzero(behind & (glued.distance < (b if k < len(stations) - 2 else np.inf)))
        if len(at):
            t = np.clip((glued.distance[at] - a) / (b - a), 0.0, 1.0)
            inputs = weights[k : k + 2]
            pieces.append(Piece(at, np.stack([1 - t, t])[:, None, :], inputs, _ranges(parameters, inputs)))
    layer = f"brace {brace.name}" if len(strains) > 1 else ""
    return Part(strains, motions, glued.height[None, :], sections, tuple(pieces), layer)


def _block_part(model: Model, parameters: Sequence[Parameter], block: Block) -> Part:
    names = (block.crossing.under, block.crossing.over)
    braces = (model.design.brace(names[0]), model.design.brace(names[1]))
    woods = (model.woods[braces[0].wood], model.woods[braces[1].wood])
    stiffer = (replace(woods[0], E_L=2 * woods[0].E_L), replace(woods[1], E_L=2 * woods[1].E_L))
    n = len(block.offset)
    group = Group("joint", block.points, np.zeros((n, 9, 9)), np.zeros((n, 3)))
    weight, every = np.asarray(block.points.weight), np.arange(n)
    strains = (Sample(strain_rows(model.space, model.layers, group), weight, every),)
    motions = Sample(motion_rows(model.space, model.layers, group), weight, every)

    def sections(heights: np.ndarray) -> Sections:
        C, mass = block_sections(block, braces, woods, heights)
        along = block_sections(block, braces, stiffer, heights)[0] - C
        return Sections((C - along,), (along,), mass_form(mass))

    # Within the block the depth of a cut is that at its middle.
    middle = [distance_to(brace, np.asarray(block.crossing.point)) for brace in braces]
    inputs = np.concatenate(
        [station_weights(b, parameters, np.array([s])) for b, s in zip(braces, middle, strict=True)]
    )
    shape = np.repeat(np.eye(2)[:, :, None], n, axis=2)
    piece = Piece(every, shape, inputs, _ranges(parameters, inputs))
    return Part(strains, motions, np.asarray(block.heights), sections, (piece,))


def _ranges(parameters: Sequence[Parameter], inputs: np.ndarray) -> np.ndarray:
    low = np.array([p.low - p.drawn for p in parameters])
    high = np.array([p.high - p.drawn for p in parameters])
    return np.stack([inputs @ low, inputs @ high], axis=-1)


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
    return BraceTerms(U, V, O, both, along, mass, whole_mass, inputs, middle, half, np.array(owner, dtype=int))


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
    _, s, rows = np.linalg.svd((C / np.outer(size, size)).reshape(-1, C.shape[-1]), full_matrices=False)
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
        coordinates, U = _patterns(np.asarray(energy), share, PATTERNS)
        polynomials = np.zeros((2, len(POWERS), len(U), len(U)))
        for s, m, e, w in zip(samples, members, both, weights, strict=True):
            pattern = e @ coordinates
            for which in range(2):
                for t in range(len(POWERS)):
                    polynomials[which, t] += form(pattern, s.C[which, t, m], w)
        w = part.motions.weight[piece.at]
        inertia = heaviest * form(d[piece.at], tallest.mass[piece.at], w)
        coordinates, V = _patterns(inertia, basis.share, MASS_PATTERNS)
        motion = d[piece.at] @ coordinates
        masses = np.array([form(motion, mass[t, piece.at], w) for t in range(len(POWERS))])
        r = basis.vectors.shape[1]
        whole = mass[:, piece.at, 2, 2] @ w
        found.append((U[:, :r], U[:, r:], V, polynomials.sum(axis=0), polynomials[1], masses, whole))
    return found


def _patterns(energy: np.ndarray, share: np.ndarray, least: float) -> tuple[np.ndarray, np.ndarray]:
    """Patterns that hold all but little of an energy (r, r) in typical modes.

    Returns
    -------
    coordinates : (r, q) array
        Of the patterns, which have energy 1 and are orthogonal in it.
    parts : (q, r) array
        How much of each pattern a vector of the basis holds: its projection in energy.
    """
    first = max(len(energy) - MOST_PATTERNS, 0)
    size, rows = scipy.linalg.eigh(share[:, None] * energy * share, subset_by_index=[first, len(energy) - 1])
    keep = size > least
    coordinates = share[:, None] * rows[:, keep] / np.sqrt(size[keep])
    return coordinates, np.asarray(coordinates.T @ energy)
