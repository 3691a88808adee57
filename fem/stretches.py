"""The pieces of a brace that a maker shaves one at a time."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bracedtop.geometry.brace import Brace

LONGEST = 100e-3
"""Stretches between stations that are longer are halved, m; chosen: about a hand's breadth."""

SHORTEST = 15e-3
"""Shorter stretches join their neighbour, m; chosen: about the least length of a cut by plane or chisel."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of a brace, from `start` to `stop` along it, m, and its least height, m."""

    brace: str
    start: float
    stop: float
    least_height: float


def stretches(brace: Brace) -> tuple[Stretch, ...]:
    """The pieces of a brace between its stations, none longer than `LONGEST` or, if possible, below `SHORTEST`."""
    ends = [0.0]
    for s in np.unique(np.clip(np.append(brace.stations[:, 0], brace.length), 0.0, brace.length)):
        if s - ends[-1] >= SHORTEST:
            ends.append(float(s))
    if brace.length > ends[-1]:
        ends = [*ends[:-1], brace.length] if len(ends) > 1 else [0.0, brace.length]
    pieces = []
    for a, b in pairwise(ends):
        cuts = np.linspace(a, b, int(np.ceil((b - a) / LONGEST - 1e-9)) + 1)
        for start, stop in pairwise(cuts):
            inner = brace.stations[(brace.stations[:, 0] > start) & (brace.stations[:, 0] < stop), 1]
            edges = brace.height(np.array([start, stop - 1e-9]))
            pieces.append(Stretch(brace.name, float(start), float(stop), float(min([*inner, *edges]))))
    return tuple(pieces)


def stretch_ends(brace: Brace) -> np.ndarray:
    """All ends of a brace's stretches, ascending, m."""
    pieces = stretches(brace)
    return np.array([piece.start for piece in pieces] + [pieces[-1].stop])
