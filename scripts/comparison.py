"""A case compared with its taps: solved, paired, differentiated.

Imported by the commands only when they run, as it loads what solves.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bracedtop.fem.ambiguity import Ambiguity, ambiguities, tap_places
from bracedtop.fem.case import Case, read_case
from bracedtop.fem.describe import ModeSummary, summarise
from bracedtop.fem.match import Pairing, pair
from bracedtop.fem.model import Model, Modes, build_model, deflections, solve
from bracedtop.fem.sensitivity import ShavingRow, shaving_table
from bracedtop.fem.taps import Taps, read_taps
from bracedtop.geometry.units import cents
from bracedtop.scripts.console import Progress
from bracedtop.scripts.modes import mesh_size

RIGHT_CENTS = 15.0
"""A mode this close to where it should be counts as right; chosen: about what a careful re-tap repeats."""

MOVED_CENTS = 5.0
"""A millimetre that moves a right mode by more than this is flagged; chosen: a third of `RIGHT_CENTS`."""

COMMON_PERCENT = 2.0
"""A common factor between tapped and predicted frequencies larger than this is said; chosen."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that a comparison shows.

    Parameters
    ----------
    case : Case
    model, modes, summaries : the prediction
    taps : Taps
    pairing : Pairing
    shaving : tuple of ShavingRow
        For the paired modes.
    right : frozenset of int
        Paired modes that stand where they should: at their target, or at the prediction where there is none.
    warnings : tuple of str
    ambiguous : tuple of Ambiguity
        Close calls of the pairing.
    """

    case: Case
    model: Model
    modes: Modes
    summaries: tuple[ModeSummary, ...]
    taps: Taps
    pairing: Pairing
    shaving: tuple[ShavingRow, ...]
    right: frozenset[int]
    warnings: tuple[str, ...]
    ambiguous: tuple[Ambiguity, ...] = ()


def compared(folder: Path, n_modes: int, progress: Progress) -> Comparison:
    """Solve, read the taps, pair, and differentiate.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    case = read_case(folder)
    with progress.stage("taps"):
        taps = read_taps(folder)
    with progress.stage("mesh and matrices"):
        model = build_model(case.design, case.woods, size=mesh_size(case))
    with progress.stage("modes"):
        modes = solve(model, n_modes)
        summaries = summarise(model, modes)
    peak = np.abs(modes.shapes[:, :, 2]).max(axis=1)

    def deflection(points: np.ndarray) -> np.ndarray:
        return np.asarray(deflections(model, modes, points) / peak[:, None])

    with progress.stage("pairing and shaving table"):
        pairing = pair(modes.frequencies, [s.nodal_lines for s in summaries], taps.measured, deflection=deflection)
        ambiguous = ambiguities(pairing, modes.frequencies, taps.measured, deflection, tap_places(case.design))
        paired = {p.mode for p in pairing.pairs}
        shaving = tuple(row for row in shaving_table(model, modes) if row.mode in paired)
    warnings = (*case.warnings, *taps.warnings, *remarks(case, pairing, n_modes))
    right = right_modes(case, pairing)
    return Comparison(case, model, modes, summaries, taps, pairing, shaving, right, warnings, ambiguous)


def remarks(case: Case, pairing: Pairing, n_modes: int) -> list[str]:
    """What the reader of a pairing has to know besides its table."""
    lines = [
        f"target for mode {t.mode}: only modes 1 to {n_modes} were solved; ask for more with --modes"
        for t in case.targets
        if t.mode > n_modes
    ]
    off = 100 * (pairing.ratio - 1)
    if abs(off) > COMMON_PERCENT:
        lines.append(
            f"the tapped modes lie about {abs(off):.0f} % {'above' if off > 0 else 'below'} the predicted ones all "
            "together, which was allowed for in pairing them: the wood's stiffness, density or thickness differs from "
            "the drawing's"
        )
    return lines


def right_modes(case: Case, pairing: Pairing) -> frozenset[int]:
    """Paired modes that were tapped within `RIGHT_CENTS` of their target or, without one, of the prediction."""
    targets = {target.mode: target.hz for target in case.targets}
    return frozenset(
        p.mode for p in pairing.pairs if abs(cents(p.measured_hz, targets.get(p.mode, p.predicted_hz))) <= RIGHT_CENTS
    )


def disturbs(row: ShavingRow, found: Comparison) -> bool:
    """Whether a millimetre off this stretch moves a mode that is already right."""
    if row.mode not in found.right:
        return False
    hz = found.summaries[row.mode - 1].hz
    return abs(cents(max(hz + row.hz_per_mm, 1e-3), hz)) > MOVED_CENTS
