"""Braces, crossings and butted ends as sampled parts whose sections follow from the parameters' heights.

Depends on fem/brace_points, fem/model, fem/parameter, fem/reduced_sample, fem/section.

A brace is cut into pieces between the stations of its parameters; a crossing or a butted end is a piece of its own. The
heights of a piece's points follow from two numbers: those at its ends, or those of the two braces that meet.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy import sparse

from bracedtop.fem.brace_points import Block, Glued, block_sections, brace_fibres, brace_sides
from bracedtop.fem.laminate import layer_mass
from bracedtop.fem.model import Model
from bracedtop.fem.parameter import Parameter, what_if_stations
from bracedtop.fem.reduced_sample import mass_form, motion_rows, seen, strain_rows
from bracedtop.fem.sampling import Group
from bracedtop.fem.section import brace_mass
from bracedtop.geometry.brace import Brace


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
    groups : tuple of Group
        Where the samples of strain lie.
    layer : str
        Name of its layer, if its fibres move by themselves; else empty.
    """

    strains: tuple[Sample, ...]
    motions: Sample
    drawn: np.ndarray
    sections: Callable[[np.ndarray], Sections]
    pieces: tuple[Piece, ...]
    groups: tuple[Group, ...]
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


def parts_of(model: Model, parameters: Sequence[Parameter], change: np.ndarray) -> list[Part]:
    """All braces, crossings and butted ends of a top, those with fibres that move by themselves first.

    Parameters
    ----------
    model : Model
        With every height changed, so that its points lie between the stations as in any other such top.
    parameters : sequence of n Parameter
    change : (n,) array
        Its parameters less those drawn.
    """
    parts = [_brace_part(model, parameters, glued) for glued in model.glued if len(glued.height)]
    parts.sort(key=lambda part: not part.layer)
    parts += [_block_part(model, parameters, block) for block in model.blocks if block.offset.size]
    return [replace(part, drawn=part.heights(-change)) for part in parts]


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
    return Part(strains, motions, glued.height[None, :], sections, tuple(pieces), tuple(members), layer)


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

    # Within the block the depth of a cut is its mean there.
    inputs = (
        np.array([weight @ station_weights(b, parameters, s) for b, s in zip(braces, block.distances, strict=True)])
        / weight.sum()
    )
    shape = np.repeat(np.eye(2)[:, :, None], n, axis=2)
    piece = Piece(every, shape, inputs, _ranges(parameters, inputs))
    return Part(strains, motions, np.asarray(block.heights), sections, (piece,), (group,))


def _ranges(parameters: Sequence[Parameter], inputs: np.ndarray) -> np.ndarray:
    low = np.array([p.low - p.drawn for p in parameters])
    high = np.array([p.high - p.drawn for p in parameters])
    return np.stack([inputs @ low, inputs @ high], axis=-1)
