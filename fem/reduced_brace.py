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
"""Total degree of the polynomials in two heights; chosen: bending is cubic in the height, torsion and shear smoother."""

PATTERNS = 1e-5
"""Patterns of strain with less than this part of a basis vector's energy are left out; chosen: see tests."""

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
    """

    strains: tuple[Sample, ...]
    motions: Sample
    drawn: np.ndarray
    sections: Callable[[np.ndarray], Sections]
    pieces: tuple[Piece, ...]

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
        return np.maximum(heights, 0.0)


def parts_of(model: Model, parameters: Sequence[Parameter]) -> list[Part]:
    """All braces, crossings and butted ends of a model."""
    parts = [_brace_part(model, parameters, glued) for glued in model.glued if len(glued.height)]
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
    return Part(strains, motions, glued.height[None, :], sections, tuple(pieces))


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
        Patterns of strain and of motion.
    rest, along : (n_pieces, n_terms, q, q) arrays
    mass : (n_pieces, n_terms, q_M, q_M) array
    inputs : (n_pieces, 2, n_parameters) array
    middle, half : (n_pieces, 2) arrays, m
        Of the ranges of the inputs.
    """

    U: np.ndarray
    V: np.ndarray
    rest: np.ndarray
    along: np.ndarray
    mass: np.ndarray
    inputs: np.ndarray
    middle: np.ndarray
    half: np.ndarray

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


def brace_terms(
    parts: Sequence[Part], vectors: np.ndarray, n_parameters: int, heaviest: float, tolerance: float = PATTERNS
) -> BraceTerms:
    """Polynomials of all pieces in a basis.

    Parameters
    ----------
    vectors : (n_unknowns, r) array
        With energies of about 1.
    n_parameters : int
    heaviest : float, 1/s^2
        Energy per mass to which masses count.
    tolerance : float
    """
    nodes, fit = _nodes()
    found = [piece for part in parts for piece in _fitted(part, vectors, heaviest, tolerance, nodes, fit)]
    pieces = [piece for part in parts for piece in part.pieces]
    n, n_terms, r = len(found), len(POWERS), vectors.shape[1]
    q, q_M = (max((len(item[k]) for item in found), default=0) for k in (0, 1))
    U, V = np.zeros((n, q, r)), np.zeros((n, q_M, r))
    rest, along = np.zeros((n, n_terms, q, q)), np.zeros((n, n_terms, q, q))
    mass = np.zeros((n, n_terms, q_M, q_M))
    for k, item in enumerate(found):
        a, b = len(item[0]), len(item[1])
        U[k, :a], V[k, :b] = item[0], item[1]
        rest[k, :, :a, :a], along[k, :, :a, :a], mass[k, :, :b, :b] = item[2:]
    inputs = np.array([piece.inputs for piece in pieces]).reshape(n, 2, n_parameters)
    ranges = np.array([piece.ranges for piece in pieces]).reshape(n, 2, 2)
    return BraceTerms(U, V, rest, along, mass, inputs, ranges.mean(axis=2), np.ptp(ranges, axis=2) / 2)


def piece_masses(parts: Sequence[Part]) -> np.ndarray:
    """Polynomials of the masses of all pieces, (n_pieces, n_terms) in kg."""
    (x, y), fit = _nodes()
    out = []
    for part in parts:
        per_point = [part.sections(part.at_node(a, b)).mass[:, 2, 2] * part.motions.weight for a, b in zip(x, y, strict=True)]
        out += [fit @ np.array([mass[piece.at].sum() for mass in per_point]) for piece in part.pieces]
    return np.array(out).reshape(-1, len(POWERS))


def _nodes() -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray]:
    """Points of fit in the square, and the matrix (n_terms, n) that makes coefficients of values there."""
    nodes = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    x, y = (grid.ravel() for grid in np.meshgrid(nodes, nodes, indexing="ij"))
    i, j = POWERS.T
    return (x, y), np.linalg.pinv(chebyshev.chebvander(x, DEGREE)[:, i] * chebyshev.chebvander(y, DEGREE)[:, j])


def _fitted(
    part: Part,
    vectors: np.ndarray,
    heaviest: float,
    tolerance: float,
    nodes: tuple[np.ndarray, np.ndarray],
    fit: np.ndarray,
) -> list[tuple[np.ndarray, ...]]:
    """For each piece its patterns of strain and of motion and the coefficients of its polynomials."""
    tallest = part.sections(part.at_node(1.0, 1.0))
    e = [sample.of(vectors) for sample in part.strains]
    d = part.motions.of(vectors)
    members = [[np.flatnonzero(np.isin(s.at, piece.at)) for s in part.strains] for piece in part.pieces]
    weights = [[s.weight[m] for s, m in zip(part.strains, row, strict=True)] for row in members]
    patterns, seen_in = [], []
    for piece, row, weight in zip(part.pieces, members, weights, strict=True):
        C = [a[m] + b[m] for a, b, m in zip(tallest.rest, tallest.along, row, strict=True)]
        own = [strain[m] for strain, m in zip(e, row, strict=True)]
        U = _patterns(sum(form(*item) for item in zip(own, C, weight, strict=True)), tolerance)
        w = part.motions.weight[piece.at]
        V = _patterns(heaviest * form(d[piece.at], tallest.mass[piece.at], w), tolerance)
        patterns.append((U, V))
        seen_in.append(([strain @ U.T for strain in own], d[piece.at] @ V.T))
    values: list[tuple[list[np.ndarray], ...]] = [([], [], []) for _ in part.pieces]
    for x, y in zip(*nodes, strict=True):
        sections = part.sections(part.at_node(x, y))
        for piece, row, weight, (strain, motion), into in zip(
            part.pieces, members, weights, seen_in, values, strict=True
        ):
            for C, to in ((sections.rest, into[0]), (sections.along, into[1])):
                to.append(sum(form(s, c[m], w) for s, c, m, w in zip(strain, C, row, weight, strict=True)))
            into[2].append(form(motion, sections.mass[piece.at], part.motions.weight[piece.at]))
    return [
        (U, V, *(np.tensordot(fit, np.array(v), 1) for v in into))
        for (U, V), into in zip(patterns, values, strict=True)
    ]


def _patterns(energy: np.ndarray, tolerance: float) -> np.ndarray:
    """Orthonormal rows (q, r) that hold all but little of an energy (r, r)."""
    size, rows = np.linalg.eigh(energy)
    return np.asarray(rows[:, size > tolerance].T)
