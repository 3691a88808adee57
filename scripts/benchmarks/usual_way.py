"""The usual way of tuning a top: the brace with the largest effect on the worst mode, one at a time.

Depends on virtual_target, virtual_top, fem/match, geometry/cut.

The maker has the drawing's shaving table (hertz a millimetre off every stretch), scaled by what was tapped, and is
given a fair chance. Of the one brace that lowers the worst mode most by the millimetre, all stretches that lower it are
planed to one depth: that which by the table takes no target further than 70 % of its way. Where that leaves nothing to
take, the next brace has its turn. Modes are known by frequency and nodes, as for the plan.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from bracedtop.fem.match import pair
from bracedtop.fem.taps import Measured
from bracedtop.geometry.cut import Cut
from bracedtop.scripts.benchmarks.virtual_target import BAND, Drawn, Wanted
from bracedtop.scripts.benchmarks.virtual_top import Pattern, motion_at

PART = 0.7
"""Part of any mode's way to its target that is gone in one pass; chosen: what a careful maker dares."""

ARRIVED = 0.8
"""A mode is left alone within this part of the band, as its tap may err."""

DEEPEST = 1.5e-3
"""Deepest cut of a pass, m; as for the plan."""

LOWEST = 0.5
"""Least height that is left, over the drawn one."""

THINNEST = 3e-3
"""Stretches lower than this are left alone, m."""

SHALLOWEST = 0.1e-3
"""Shallowest cut, m."""

AGAIN_CENTS = 30.0
"""How well the common ratio of tapped to expected frequencies is known once the top was tapped."""


@dataclass(slots=True)
class _Piece:
    """A stretch of a brace: what a metre off it does to ln of each mode, (n,), and what was taken, m."""

    brace: str
    start: float
    stop: float
    height: float
    falls: np.ndarray
    taken: float = 0.0

    @property
    def left(self) -> float:
        """What may still be taken, m."""
        return (1.0 - LOWEST) * self.height - self.taken


@dataclass(slots=True)
class UsualWay:
    """A maker with a shaving table.

    Parameters
    ----------
    pattern : Pattern
    own : Drawn
    targets : tuple of Wanted
    expected : (n,) array, Hz
        Where the modes should be by the table, drawing and cuts alone.
    ratio : float
        Of tapped to expected frequencies.
    now : dict
        Where each target mode was last tapped, or should be since, Hz.
    """

    pattern: Pattern
    own: Drawn
    targets: tuple[Wanted, ...]
    expected: np.ndarray = field(init=False)
    pieces: list[_Piece] = field(init=False)
    ratio: float = 1.0
    now: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Begin at the drawing."""
        hz = self.own.ring.frequencies
        self.expected = hz.copy()
        found: dict[tuple[str, float], _Piece] = {}
        for row in self.own.rows:
            piece = found.setdefault(
                (row.brace, row.start),
                _Piece(row.brace, row.start, row.stop, row.least_height, np.zeros(len(hz))),
            )
            piece.falls[row.mode - 1] = -1e3 * row.hz_per_mm / hz[row.mode - 1]
        self.pieces = list(found.values())

    def hear(self, measured: Sequence[Measured]) -> dict[int, float]:
        """Tapped frequencies by drawn mode (from 0)."""
        known = {"expected_ratio": self.ratio, "ratio_cents": AGAIN_CENTS} if self.now else {}
        motion = motion_at(self.pattern, self.own.ring.shapes)
        found = pair(self.expected, self.own.lines, measured, motion, **known)
        self.ratio = found.ratio
        heard = {one.mode - 1: one.measured_hz for one in found.pairs}
        for k in (target.drawn for target in self.targets):
            self.now[k] = heard.get(k, self.now.get(k, self.ratio * float(self.expected[k])))
        return heard

    def cuts(self) -> tuple[Cut, ...]:
        """Next cuts, along one brace; none if every target is reached or nothing can be taken."""
        way = {target.drawn: self.now[target.drawn] / target.hz - 1.0 for target in self.targets}
        worst = max(way, key=lambda k: way[k])
        if way[worst] <= ARRIVED * BAND:
            return ()
        for pieces in self._braces(worst):
            falls = np.sum([piece.falls for piece in pieces], axis=0)
            rooms = [PART * max(way[k], 0.0) / falls[k] for k in way if falls[k] > 0]
            depth = min(DEEPEST, *rooms, *(piece.left for piece in pieces))
            if depth >= SHALLOWEST:
                return _joined(pieces, float(depth))
        return ()

    def made(self, cuts: Sequence[Cut]) -> None:
        """Take note of cuts as they were measured."""
        fall = np.zeros(len(self.expected))
        for piece in self.pieces:
            for cut in cuts:
                overlap = min(cut.stop, piece.stop) - max(cut.start, piece.start)
                if cut.part == piece.brace and overlap > 0:
                    depth = 0.5 * (cut.depth_start + cut.depth_stop) * overlap / (piece.stop - piece.start)
                    piece.taken += depth
                    fall += depth * piece.falls
        self.expected = self.expected * (1.0 - fall)
        self.now = {k: hz * (1.0 - float(fall[k])) for k, hz in self.now.items()}

    def _braces(self, worst: int) -> list[list[_Piece]]:
        """Stretches of each brace that lower a mode, the brace with the largest effect first."""
        found: dict[str, list[_Piece]] = {}
        for piece in self.pieces:
            if piece.height >= THINNEST and piece.left >= SHALLOWEST and piece.falls[worst] > 0:
                found.setdefault(piece.brace, []).append(piece)
        return sorted(found.values(), key=lambda pieces: -sum(float(piece.falls[worst]) for piece in pieces))


def _joined(pieces: Sequence[_Piece], depth: float) -> tuple[Cut, ...]:
    """Cuts of one depth along stretches of one brace; neighbours are one cut."""
    cuts: list[Cut] = []
    for piece in pieces:
        if cuts and abs(cuts[-1].stop - piece.start) < 1e-9:
            cuts[-1] = Cut(piece.brace, cuts[-1].start, piece.stop, depth, depth)
        else:
            cuts.append(Cut(piece.brace, piece.start, piece.stop, depth, depth))
    return tuple(cuts)
