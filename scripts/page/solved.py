"""A top solved in full for the page: frequencies, shapes on points of the plan, what governs each mode, what cuts do.

Depends on fem, scripts/page/draft. Loads what solves; used in tasks, and by `live` and the views once something is
there to be shown.
"""

import hashlib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from bracedtop.fem.describe import summarise
from bracedtop.fem.mac import follow, mac
from bracedtop.fem.match import Pairing, pair
from bracedtop.fem.model import MESH_SIZE, Model, Modes, build_model, deflections, solve
from bracedtop.fem.pairing_by_hand import by_hand
from bracedtop.fem.sensitivity import ShavingRow, shaving_table
from bracedtop.fem.session import has_taps
from bracedtop.fem.taps import Measured, read_taps
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import BracedTopError
from bracedtop.geometry.mesh import mesh_top
from bracedtop.geometry.units import GRAM
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.tapped import Choices, chosen_pairs
from bracedtop.scripts.page.tasks import Report

N_MODES = 12
"""Modes that are shown; as many as the what-if model that is kept beside a drawing has."""

EXTRA = 4
"""Modes solved behind the last one shown, so that one that falls below its neighbours is still found."""

POINTS_PER_LENGTH = 40
"""Points of a picture along the body; chosen: lines that stand still look smooth."""

TOP_HEADS = (
    "outline", "hole", "top", "thickness", "edge", "brace", "patch", "mass", "wood", "joint", "mesh", "climate",
    "bridge",
)  # fmt: skip
"""First words of the keys on which the modes of the loose top depend."""


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """A top's modes for the page.

    Parameters
    ----------
    digest : str
        Of the drawing, see `digest`.
    hz : (m,) array
        Lowest first; the last `EXTRA` are there to be followed only.
    facts : tuple of m dict
        Name, node lines, shares of energy, modal mass, bridge of each mode.
    shapes : (m, n) array
        Deflection at the points of the plan, largest magnitude 1.
    shaving : tuple of ShavingRow
    mass : float, g
    pairing : Pairing or None
        Of the modes with the first taps; None without taps.
    taps : tuple of Measured
    notes : tuple of str
    """

    digest: str
    hz: np.ndarray
    facts: tuple[dict[str, Any], ...]
    shapes: np.ndarray
    shaving: tuple[ShavingRow, ...]
    mass: float
    pairing: Pairing | None = None
    taps: tuple[Measured, ...] = ()
    notes: tuple[str, ...] = ()

    def measured(self, choices: Choices) -> dict[int, float]:
        """Tapped frequency by mode, 1 for the lowest, with the pairs that the maker has set by hand."""
        if self.pairing is None:
            return {}
        chosen = chosen_pairs(choices, 0, self.taps)
        known = {tap: mode for tap, mode in chosen.items() if mode <= N_MODES}
        pairing = by_hand(self.pairing, known, self.hz[:N_MODES], self.taps)
        return {one.mode: one.measured_hz for one in pairing.pairs}


def digest(tables: Tables) -> str:
    """Of all that the modes of a drawing depend on."""
    seen = {head: tables.get(head) for head in TOP_HEADS}
    return hashlib.sha256(json.dumps(seen, sort_keys=True).encode()).hexdigest()


def plan_digest(tables: Tables) -> str:
    """Of all that the points of the plan depend on."""
    return hashlib.sha256(json.dumps([tables.get("outline"), tables.get("hole")]).encode()).hexdigest()


def plan_points(design: Design) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 2) in m over a top, the same for all braces, and triangles (m, 3) between them."""
    plate = replace(design.plate, ring_width=0.0, ring_reduction=0.0, regions=(), grid=None)
    bare = replace(design, plate=plate, braces=(), joints=(), patches=(), masses=())
    flat = mesh_top(bare, design.outline.length / POINTS_PER_LENGTH).flat
    return np.asarray(flat.p.T), np.asarray(flat.t.T)


def solve_top(report: Report, folder: Path, tables: Tables, with_taps: bool) -> Solved:
    """Solve a drawing in full; with taps also say which mode was heard where.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    report("mesh and matrices", 0.05)
    case = drafted_case(folder, tables)
    model = build_model(case.design, case.woods, size=case.mesh_size or MESH_SIZE)
    report("modes", 0.25)
    modes = solve(model, N_MODES + EXTRA)
    report("what governs them", 0.7)
    summaries = summarise(model, modes)
    points, _ = plan_points(case.design)
    shapes = deflections(model, modes, points)
    report("what cuts do", 0.8)
    shaving = tuple(row for row in shaving_table(model, modes) if row.mode <= N_MODES)
    facts = tuple(
        {
            "name": one.name,
            "lines": list(one.nodal_lines),
            "shares": one.shares,
            "modal_mass_g": one.modal_mass / GRAM,
            "bridge": one.bridge.name,
        }
        for one in summaries
    )
    pairing, taps, notes = _paired(report, folder, model, modes, facts) if with_taps else (None, (), ())
    return Solved(
        digest(tables),
        modes.frequencies,
        facts,
        shapes / np.abs(shapes).max(axis=1, keepdims=True),
        shaving,
        model.mass() / GRAM,
        pairing,
        taps,
        notes,
    )


def successors(before: Solved, after: Solved) -> tuple[int, ...]:
    """For each shown mode of one drawing the mode (from 0) of another that it became, by their shapes."""
    if before.shapes.shape[1] != after.shapes.shape[1]:
        return tuple(range(min(N_MODES, len(after.hz))))
    return follow(mac(before.shapes[:N_MODES].T, after.shapes.T))


def _paired(
    report: Report, folder: Path, model: Model, modes: Modes, facts: tuple[dict[str, Any], ...]
) -> tuple[Pairing | None, tuple[Measured, ...], tuple[str, ...]]:
    if not has_taps(folder):
        return None, (), ()
    report("taps", 0.85)
    try:
        taps = read_taps(folder)
    except BracedTopError as error:
        return None, (), (f"The taps could not be read: {' '.join(str(error).split())}",)
    peak = np.abs(modes.shapes[:, :, 2]).max(axis=1)[:N_MODES]

    def deflection(points: np.ndarray) -> np.ndarray:
        return np.asarray(deflections(model, modes, points)[:N_MODES] / peak[:, None])

    lines = [(int(one["lines"][0]), int(one["lines"][1])) for one in facts[:N_MODES]]
    pairing = pair(modes.frequencies[:N_MODES], lines, taps.measured, deflection=deflection)
    return pairing, tuple(taps.measured), ()
