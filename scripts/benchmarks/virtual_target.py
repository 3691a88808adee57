"""Where the modes of a virtual top are wanted: targets that some hidden cut of that very top reaches.

Depends on virtual_top, fem/sensitivity.

Stretches of the top's braces are thinned in numbers only; two or three of its lower modes, whose frequencies fall by 2
to 6 % so, are wanted where they fall to, each by its own amount. So what is wanted can be had. The maker then gets the
top uncut.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from bracedtop.fem.describe import nodal_lines
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.sensitivity import ShavingRow, shaving_table
from bracedtop.geometry.cut import Cut, cut_design
from bracedtop.geometry.errors import DesignError
from bracedtop.scripts.benchmarks.virtual_top import (
    N_SOLVED,
    WEAK,
    Pattern,
    RealTop,
    Ring,
    became,
    likeness,
    patterns,
    ring,
    ring_of,
)

BAND = 0.01
"""A mode has arrived from its target up to this part above it."""

DROP = (0.02, 0.06)
"""How far modes are to be lowered, relative."""

LOWEST_MODES = 7
"""Targets are set for some of these."""

KNOWN = 0.8
"""Least MAC of a real mode with the drawn one: a maker tunes modes that are recognised, and that ring clearly."""

ALONE = 0.025
"""Least distance, relative, of such a mode from its neighbours: two that are closer exchange their shapes."""

DEEPEST = 0.3
"""Most that the hidden cut takes of a brace, over its largest height."""

LOWEST_CUT = 0.45
"""Only stretches higher than this part of the brace's largest height are cut, so that wood is left under a cut."""

SHORTEST = 60e-3
"""Shortest hidden cut, m."""

TRIES = 20


@dataclass(frozen=True, slots=True)
class Wanted:
    """A mode's target.

    Parameters
    ----------
    drawn : int
        Which mode of the drawing, from 0.
    real : int
        Which mode of the uncut top it is, from 0.
    hz : float
        Not to fall below, and to come within `BAND` of.
    """

    drawn: int
    real: int
    hz: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """What the drawing alone says of a pattern: how it rings, and hertz a millimetre off every stretch."""

    ring: Ring
    lines: tuple[tuple[int, int], ...]
    rows: tuple[ShavingRow, ...]


@cache
def drawn(name: str) -> Drawn:
    """The pattern's drawing, solved as the commands do."""
    pattern = patterns()[name]
    model = build_model(pattern.design, pattern.woods)
    modes = solve(model, N_SOLVED)
    return Drawn(ring_of(pattern, model, modes), tuple(nodal_lines(model, modes)), shaving_table(model, modes))


def wanted(pattern: Pattern, top: RealTop, sounds: Ring, rng: np.random.Generator) -> tuple[Wanted, ...]:
    """Targets of a top, two or three, by drawn mode; reached by a cut that is not told. None if no cut was found."""
    own = drawn(pattern.name)
    real, alike = became(own.ring, sounds), likeness(own.ring, sounds)
    clear = (sounds.tapped >= WEAK) & (_apart(sounds.frequencies) >= ALONE)
    candidates = [k for k in range(LOWEST_MODES) if alike[k] >= KNOWN and real[k] <= LOWEST_MODES and clear[real[k]]]
    heights = {brace.name: float(brace.stations[:, 1].max()) for brace in pattern.design.braces}
    for _ in range(TRIES):
        pair = [int(k) for k in rng.permutation(candidates)[:2]]
        cuts = _hidden_cut(own, pair, heights, rng) if len(pair) == 2 else []
        if not cuts:
            continue
        try:
            lower = replace(top, design=cut_design(top.design, cuts))
        except DesignError:
            continue
        after = ring(pattern, lower)
        successor = became(sounds, after)
        fall = {k: 1.0 - after.frequencies[successor[real[k]]] / sounds.frequencies[real[k]] for k in candidates}
        clear = _apart(after.frequencies) >= ALONE
        fit = [k for k in candidates if DROP[0] <= fall[k] <= DROP[1] and clear[successor[real[k]]]]
        if not set(pair) <= set(fit):
            continue
        others = [int(k) for k in rng.permutation(sorted(set(fit) - set(pair)))]
        chosen = sorted(pair + others[: int(rng.integers(0, 2))])
        return tuple(Wanted(k, int(real[k]), float(after.frequencies[successor[real[k]]])) for k in chosen)
    return ()


def _apart(hz: np.ndarray) -> np.ndarray:
    """Distance of each mode from its nearer neighbour, relative, (n,)."""
    gaps = np.concatenate([[np.inf], np.diff(hz), [np.inf]])
    return np.minimum(gaps[:-1], gaps[1:]) / hz


def _hidden_cut(own: Drawn, pair: Sequence[int], heights: dict[str, float], rng: np.random.Generator) -> list[Cut]:
    """Cuts along some braces; by the drawing both modes fall into `DROP` so. Empty if none was found."""
    by_brace: dict[str, list[tuple[float, float]]] = {}
    for row in own.rows:
        if row.mode == 1 and row.least_height > LOWEST_CUT * heights[row.brace]:
            by_brace.setdefault(row.brace, []).append((row.start, row.stop))
    hz = own.ring.frequencies
    falls = {(row.brace, row.start, row.mode - 1): -1e3 * row.hz_per_mm / hz[row.mode - 1] for row in own.rows}
    low, high = DROP[0] + 0.1 * (DROP[1] - DROP[0]), DROP[1] - 0.1 * (DROP[1] - DROP[0])
    for _ in range(200):
        cuts = []
        for brace, pieces in by_brace.items():
            first, last = sorted(int(k) for k in rng.integers(0, len(pieces), 2))
            if rng.random() < 0.6 and pieces[last][1] - pieces[first][0] >= SHORTEST:
                depth = float(rng.uniform(0.1, DEEPEST)) * heights[brace]
                cuts += [Cut(brace, a, b, depth, depth) for a, b in pieces[first : last + 1]]
        fall = [sum(cut.depth_start * falls[cut.part, cut.start, k] for cut in cuts) for k in pair]
        # The mode that falls most sets the depth, so that it falls by no more than wanted.
        scale = rng.uniform(0.5, 1.0) * high / max([*fall, 1e-9])
        if scale <= 1.0 and all(low <= scale * part <= high for part in fall):
            return [replace(c, depth_start=scale * c.depth_start, depth_stop=scale * c.depth_stop) for c in cuts]
    return []
