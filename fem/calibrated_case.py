"""A case calibrated by all its sessions: taps, cut, taps again.

Depends on fem/board_fit, fem/calibration, fem/case, fem/cut_file, fem/describe, fem/match,
fem/pairing_by_hand, fem/reduced_file, fem/session.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from bracedtop.fem.board_file import read_board
from bracedtop.fem.board_fit import BoardFit, fit_board
from bracedtop.fem.calibration import (
    HOLDING,
    MEASURED_CUT,
    UNMEASURED_CUT,
    Posterior,
    after_cut,
    after_taps,
    predicted,
    start,
)
from bracedtop.fem.case import Case
from bracedtop.fem.case_file import read_tables
from bracedtop.fem.csv_rows import read_rows
from bracedtop.fem.cut_file import DEPTHS, HEIGHTS, LARGEST_FILE
from bracedtop.fem.cut_file import FILE_NAME as CUT
from bracedtop.fem.describe import node_lines
from bracedtop.fem.match import Pair, Pairing, pair, relative
from bracedtop.fem.named_path import named_path
from bracedtop.fem.numbering import modelled
from bracedtop.fem.pairing_by_hand import by_hand
from bracedtop.fem.prior import default_prior
from bracedtop.fem.reduced import Reduced, deflections_at
from bracedtop.fem.reduced_file import case_reduced
from bracedtop.fem.session import Session, read_sessions, retap_words
from bracedtop.fem.taps import Measured
from bracedtop.geometry.errors import FileError

UNSTATED = 0.003
"""Standard error of a frequency, relative, where neither hits nor notes tell one; chosen: 5 cents, as tuners show."""

LEAST_RATIO = 10.0
"""Least standard deviation of what all modes have in common, cents; chosen: that of a top that is taken up again."""

_GRID = 40
"""Points along the top on which its largest deflection is looked for; chosen."""


def calibrated(
    case: Case,
    reduced: Reduced | None = None,
    sessions: Sequence[Session] | None = None,
    *,
    chosen: Mapping[int, Mapping[int, int]] | None = None,
) -> tuple[Reduced, Posterior, tuple[Session, ...], tuple[Pairing | None, ...]]:
    """What all sessions of a case tell of it.

    Parameters
    ----------
    case : Case
    reduced : Reduced, optional
        Its what-if model, if it is at hand.
    sessions : sequence of Session, optional
        If they have been read already.
    chosen : mapping of int to mapping, optional
        Pairs that the maker has set by hand, by the session's number; see `by_hand`.

    Returns
    -------
    reduced : Reduced
    posterior : Posterior
    sessions : tuple of Session
    pairings : tuple of Pairing or None
        One a session; None where nothing was tapped.

    Raises
    ------
    FileError
        If there are no taps, or a file cannot be used.
    DesignError, MeshError, AccuracyError
        If the drawing cannot be solved, or the values do not settle.
    """
    sessions = tapped_sessions(case) if sessions is None else tuple(sessions)
    reduced = case_reduced(case) if reduced is None else reduced
    prior = default_prior(case.design, case.woods, reduced.parameters, board=case_boards(case.folder))
    posterior = start(reduced, prior)
    pairings: list[Pairing | None] = []
    for session in sessions:
        own = (chosen or {}).get(session.number)
        posterior, pairing = after_session(reduced, posterior, session, own)
        pairings.append(pairing)
    return reduced, posterior, sessions, tuple(pairings)


def tapped_sessions(case: Case) -> tuple[Session, ...]:
    """All sessions of a case, at least one of them with taps.

    Raises
    ------
    FileError
        If there are no taps, or a file cannot be used.
    """
    sessions = read_sessions(case.folder, case.design)
    if all(session.taps is None for session in sessions):
        message = f"{case.folder}: no taps yet; {retap_words(case.folder)}"
        raise FileError(message)
    return sessions


def after_session(
    reduced: Reduced, posterior: Posterior, session: Session, chosen: Mapping[int, int] | None = None
) -> tuple[Posterior, Pairing | None]:
    """What is known after one session: first its cuts, then its taps, some of them paired by hand.

    Raises
    ------
    FileError, DesignError, AccuracyError
    """
    if session.cuts:
        posterior = after_cut(posterior, session.cuts, error=cut_error(session.folder))
    if session.taps is None:
        return posterior, None
    return after_measured(reduced, posterior, session.taps.measured, chosen)


def after_measured(
    reduced: Reduced, posterior: Posterior, measured: Sequence[Measured], chosen: Mapping[int, int] | None = None
) -> tuple[Posterior, Pairing]:
    """What is known after measured modes: paired with what is expected, the doubtful ones with what the sure ones tell.

    Raises
    ------
    DesignError, AccuracyError
    """
    found = paired(reduced, posterior, measured, chosen)
    sure = [p for p in found.pairs if not p.ambiguous_with]
    if 0 < len(sure) < len(found.pairs):
        found = paired(reduced, _after_pairs(reduced, posterior, sure, measured), measured, chosen)
    doubtful = [p for p in found.pairs if p.ambiguous_with]
    if 0 < len(doubtful) < len(found.pairs):
        kept = [p for p in found.pairs if not p.ambiguous_with]
        notes = tuple(f"the tap at {p.measured_hz:.1f} Hz may be mode {_modes(p)}: left out" for p in doubtful)
        after = _after_pairs(reduced, posterior, kept, measured)
        return replace(after, notes=(*after.notes, *notes)), found
    return _after_pairs(reduced, posterior, found.pairs, measured), found


def paired(
    reduced: Reduced, posterior: Posterior, measured: Sequence[Measured], chosen: Mapping[int, int] | None = None
) -> Pairing:
    """Measured modes paired with those of the calibrated model, by frequency, as well as it is known, and by shape.

    Those in `chosen` are paired as it says; see `by_hand`.

    Raises
    ------
    DesignError, AccuracyError
    """
    hz, covariance = predicted(reduced, posterior)
    # Two modes of one pairing are each held anew.
    C = (1200 / np.log(2)) ** 2 * (covariance / np.outer(hz, hz) + HOLDING**2 * np.eye(len(hz)))
    # The largest part that all have in common, so that what is left is still a covariance.
    ones = np.ones(len(hz))
    common = 0.95 / float(ones @ np.linalg.solve(C, ones))
    state = modelled(reduced, posterior.values, posterior.reference).state

    def deflection(points: np.ndarray) -> np.ndarray:
        return deflections_at(reduced, state, points)

    found = pair(
        hz,
        node_lines(reduced.design, deflection),
        measured,
        deflection=relative(deflection, _points(reduced)),
        ratio_cents=max(LEAST_RATIO, float(np.sqrt(common))),
        scatter_cents=C - common,
    )
    return by_hand(found, chosen, hz, measured) if chosen else found


def standard_errors(measured: Sequence[Measured]) -> np.ndarray:
    """Standard errors of measured frequencies, Hz: stated ones, else the spread of the hits, else `UNSTATED`."""
    stated = [mode.std_error_hz if mode.std_error_hz is not None else mode.spread_hz for mode in measured]
    return np.array([UNSTATED * m.hz if error is None else error for m, error in zip(measured, stated, strict=True)])


def case_boards(folder: Path) -> dict[str, BoardFit]:
    """Fits of the boards that a drawing takes its woods from, by the wood's name in the drawing.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    boards = {}
    for name, table in read_tables(folder).wood.items():
        if table.board is not None:
            path = named_path(table.board, folder, folder / "..", f'top.toml: wood "{name}".board')
            boards[name] = fit_board(read_board(path))
    return boards


def cut_error(folder: Path) -> float:
    """Standard deviation of the depths of a pass, m: smaller where its cut list holds measured heights.

    Raises
    ------
    FileError
    """
    rows = read_rows(folder / CUT, CUT, (DEPTHS, HEIGHTS), LARGEST_FILE, "a cut list")
    return MEASURED_CUT if rows and "height_mm" in rows[0].fields else UNMEASURED_CUT


def _after_pairs(
    reduced: Reduced, posterior: Posterior, pairs: Sequence[Pair], measured: Sequence[Measured]
) -> Posterior:
    errors = dict(zip((m.number for m in measured), standard_errors(measured).tolist(), strict=True))
    return after_taps(
        reduced, posterior, [(p.mode - 1, p.measured_hz) for p in pairs], [errors[p.number] for p in pairs]
    )


def _modes(doubtful: Pair) -> str:
    return " or ".join(str(mode) for mode in (doubtful.mode, *doubtful.ambiguous_with))


def _points(reduced: Reduced) -> np.ndarray:
    """Points of the top on a grid, (k, 2) in m."""
    x0, y0, x1, y1 = reduced.design.outline.polygon.bounds
    step = (x1 - x0) / _GRID
    X, Y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step), indexing="ij")
    inside = shapely.contains_xy(reduced.design.region, X.ravel(), Y.ravel())
    return np.asarray(np.column_stack([X.ravel(), Y.ravel()])[inside])
