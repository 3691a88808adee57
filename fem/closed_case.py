"""A case's closed box calibrated by all its taps and passes over the ring.

Depends on fem/box_calibration, fem/box_model, fem/calibrated_case, fem/case, fem/closed_modes, fem/closed_prior,
fem/closed_taps, fem/describe, fem/match.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from bracedtop.fem.box_calibration import BoxPosterior, begun, box_after_ring, box_after_taps, box_predicted
from bracedtop.fem.box_model import closed_box
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.calibrated_case import LEAST_RATIO, standard_errors
from bracedtop.fem.calibration import HOLDING
from bracedtop.fem.case import Case
from bracedtop.fem.closed_modes import HOLES, Closed, Hole, closed_modes, followed
from bracedtop.fem.closed_prior import TopKnown, top_known, with_ring
from bracedtop.fem.closed_taps import ClosedSession, read_closed
from bracedtop.fem.describe import node_lines
from bracedtop.fem.face_terms import face_deflections
from bracedtop.fem.match import Pairing, pair, relative
from bracedtop.fem.taps import Measured, Taps
from bracedtop.geometry.errors import DesignError

_GRID = 30
"""Points along the top on which its largest deflection is looked for; chosen."""


@dataclass(frozen=True, slots=True)
class ClosedCase:
    """A closed box and all that is known of it.

    Parameters
    ----------
    case : Case
    top : TopKnown
    posterior : BoxPosterior
    sessions : tuple of ClosedSession
    pairings : tuple of mapping of str to Pairing
        One a session, by state of the hole.
    """

    case: Case
    top: TopKnown
    posterior: BoxPosterior
    sessions: tuple[ClosedSession, ...]
    pairings: tuple[Mapping[Hole, Pairing], ...]

    @property
    def closed(self) -> Closed:
        """The box in both states of its hole."""
        return self.posterior.closed

    @property
    def tapped(self) -> bool:
        """Whether the closed box was tapped since the last pass over its ring."""
        return bool(self.sessions) and bool(self.sessions[-1].taps)


def closed_case(
    case: Case, *, width: float | None = None, model: BoxModel | None = None, told: Callable[[str], None] | None = None
) -> ClosedCase:
    """A case's closed box as its loose taps, closed taps and passes tell it.

    Parameters
    ----------
    case : Case
    width : float, m, optional
        Of the ring, instead of the drawing's.
    model : BoxModel, optional
        If it has been made already, of the same top and ring.
    told : callable, optional
        Is told each stage as it begins.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    tell = told or (lambda _: None)
    if case.box is None:
        message = f"{case.name}: no box; the drawing needs [sides] and [back]"
        raise DesignError(message)
    box = case.box if width is None else replace(case.box, ring_width=width)
    if width is not None and case.design.plate.ring_width and abs(width - case.design.plate.ring_width) > 1e-6:
        message = (
            f"ring {1e3 * width:g} mm wide; the drawing's edge ring is {1e3 * case.design.plate.ring_width:g} mm wide "
            "already and can only be thinned as it is"
        )
        raise DesignError(message)
    # Before anything is solved, so that a wrong file is refused at once.
    sessions = read_closed(case.folder, with_ring(case.design, box.ring_width))
    if len(sessions) > 1 and box.ring_width != case.box.ring_width:
        message = (
            f"ring {1e3 * box.ring_width:g} mm wide; passes were made over one of {1e3 * case.box.ring_width:g} mm, "
            "ring_width_mm in [box], and the next ones have to follow it"
        )
        raise DesignError(message)
    tell("loose top")
    top = top_known(case)
    tell("closed box")
    if model is None:
        model = closed_box(top.design, box, top.woods, top.losses, size=case.mesh_size)
    tell("calibration")
    posterior = begun(closed_modes(model), top.covariance)
    error = case.closed_limits.cut_error
    pairings: list[Mapping[Hole, Pairing]] = []
    for session in sessions:
        if session.depth:
            posterior = box_after_ring(posterior, session.depth, error)
        posterior, found = after_session(posterior, session)
        pairings.append(found)
    return ClosedCase(case, top, posterior, sessions, tuple(pairings))


def after_session(posterior: BoxPosterior, session: ClosedSession) -> tuple[BoxPosterior, Mapping[Hole, Pairing]]:
    """What is known after the taps of one visit; doubtful pairs are paired again with what the sure ones tell.

    Raises
    ------
    DesignError, AccuracyError
    """
    if not session.taps:
        return posterior, {}
    measured = {hole: taps.measured for hole, taps in session.taps.items()}
    found = {hole: paired(posterior, hole, modes) for hole, modes in measured.items()}
    if any(p.ambiguous_with for one in found.values() for p in one.pairs):
        sure = _after_pairs(posterior, found, measured, session.number)
        found = {hole: paired(sure, hole, modes) for hole, modes in measured.items()}
    return _after_pairs(posterior, found, measured, session.number), found


def paired(posterior: BoxPosterior, hole: Hole, measured: Sequence[Measured]) -> Pairing:
    """Measured modes in one state of the hole paired with the model's, by frequency and by the shape of the top.

    Raises
    ------
    AccuracyError
    """
    closed, model = posterior.closed, posterior.closed.model
    hz, slopes = box_predicted(posterior, hole)
    spread = slopes @ posterior.covariance @ slopes.T + HOLDING**2 * np.eye(len(hz))
    C = (1200 / np.log(2)) ** 2 * spread
    ones = np.ones(len(hz))
    common = 0.95 / float(ones @ np.linalg.solve(C, ones))
    shapes = followed(closed, posterior.values, hole).vectors[:, model.parts["top"]]

    def deflection(points: np.ndarray) -> np.ndarray:
        return np.asarray(shapes @ face_deflections(model.top, points).T)

    return pair(
        hz,
        node_lines(model.design, deflection),
        measured,
        deflection=relative(deflection, _points(model)),
        ratio_cents=max(LEAST_RATIO, float(np.sqrt(common))),
        scatter_cents=C - common,
    )


def measured_q(taps: Mapping[Hole, Taps], pairings: Mapping[Hole, Pairing]) -> dict[tuple[Hole, int], float]:
    """Measured quality factors by state of the hole and mode, from 0, as far as they were heard."""
    found = {}
    for hole, pairing in pairings.items():
        by_number = {mode.number: mode for mode in taps[hole].measured}
        for one in pairing.pairs:
            q = by_number[one.number].q
            if q and not one.ambiguous_with:
                found[hole, one.mode - 1] = q
    return found


def _after_pairs(
    posterior: BoxPosterior,
    pairings: Mapping[Hole, Pairing],
    measured: Mapping[Hole, Sequence[Measured]],
    number: int,
) -> BoxPosterior:
    """What is known after the pairs that are sure; the doubtful ones are noted and left out."""
    places: list[tuple[Hole, int]] = []
    hz, errors, notes = [], [], []
    for hole in HOLES:
        if hole not in pairings:
            continue
        own = dict(zip((m.number for m in measured[hole]), standard_errors(measured[hole]).tolist(), strict=True))
        pairs = pairings[hole].pairs
        sure = [one for one in pairs if not one.ambiguous_with] or list(pairs)
        for one in pairs:
            if one not in sure:
                doubt = " or ".join(str(mode) for mode in (one.mode, *one.ambiguous_with))
                notes.append(f"the tap at {one.measured_hz:.1f} Hz, hole {hole}, may be mode {doubt}: left out")
        for one in sure:
            places.append((hole, one.mode - 1))
            hz.append(one.measured_hz)
            errors.append(own[one.number])
    after = box_after_taps(posterior, places, hz, errors, number)
    return replace(after, notes=(*after.notes, *notes))


def _points(model: BoxModel) -> np.ndarray:
    """Points of the top on a grid, (k, 2) in m."""
    x0, y0, x1, y1 = model.design.outline.polygon.bounds
    step = (x1 - x0) / _GRID
    X, Y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step), indexing="ij")
    inside = shapely.contains_xy(model.design.region, X.ravel(), Y.ravel())
    return np.asarray(np.column_stack([X.ravel(), Y.ravel()])[inside])
