"""What is known of a box before it is tapped: its top from the loose top's taps, the rest from the drawing.

Depends on fem/calibrated_case, fem/calibration, fem/case, fem/parameter, fem/prior, fem/session, geometry/cut.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.calibrated_case import calibrated, case_boards
from bracedtop.fem.case import Case
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.parameter import Parameter, drawing_at, parameters_of
from bracedtop.fem.prior import default_prior
from bracedtop.fem.session import read_sessions
from bracedtop.fem.wood import Wood
from bracedtop.geometry.cut import cut_design
from bracedtop.geometry.design import Design

WOOD = ("E_L", "E_R", "G_LR", "density", "thickness")
"""Factors on the top's wood that the closed box's taps may change."""


@dataclass(frozen=True, slots=True)
class TopKnown:
    """The top that is glued to the box.

    Parameters
    ----------
    design : Design
        With all wood that was taken off it while it was loose.
    woods : mapping of str to Wood
    losses : mapping of str to LossFactors
    covariance : (5, 5) array
        Of the logarithms of `WOOD` about it.
    strength_names : mapping of str to str
        The drawing's name of each of the woods that got a name of its own.
    tapped : bool
        Whether the loose top's taps are in it.
    notes : tuple of str
    """

    design: Design
    woods: Mapping[str, Wood]
    losses: Mapping[str, LossFactors]
    covariance: np.ndarray
    strength_names: Mapping[str, str]
    tapped: bool
    notes: tuple[str, ...] = ()


def top_known(case: Case) -> TopKnown:
    """The top of a case as it is glued on: calibrated by its loose taps if there are any, else as drawn and cut.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
        If its taps, cuts or boards cannot be used.
    """
    sessions = read_sessions(case.folder, case.design)
    if any(session.taps is not None for session in sessions):
        reduced, posterior, _, _ = calibrated(case, sessions=sessions)
        design, woods = drawing_at(reduced.design, reduced.woods, reduced.parameters, posterior.values)
        at = [_at(reduced.parameters, kind) for kind in WOOD]
        names = _names(case.design, design)
        return TopKnown(
            design,
            {**case.woods, **woods},
            {**case.losses, **{new: case.losses[old] for new, old in names.items() if old in case.losses}},
            posterior.covariance[np.ix_(at, at)],
            names,
            True,
            posterior.notes,
        )
    design = case.design
    for session in sessions:
        design = cut_design(design, session.cuts)
    parameters = parameters_of(case.design)
    prior = default_prior(case.design, case.woods, parameters, board=case_boards(case.folder))
    at = [_at(parameters, kind) for kind in WOOD]
    return TopKnown(design, case.woods, case.losses, prior.covariance[np.ix_(at, at)], {}, False)


def with_ring(design: Design, width: float) -> Design:
    """The top with a ring of this width, unless it has one."""
    plate = design.plate
    return replace(design, plate=replace(plate, ring_width=plate.ring_width or width))


def _at(parameters: Sequence[Parameter], kind: str) -> int:
    return next(i for i, parameter in enumerate(parameters) if parameter.kind == kind)


def _names(drawn: Design, changed: Design) -> dict[str, str]:
    names = {changed.plate.wood: drawn.plate.wood}
    return names | {new.wood: old.wood for new, old in zip(changed.braces, drawn.braces, strict=True)}
