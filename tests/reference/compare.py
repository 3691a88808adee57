"""The plate model against a solid of the same top.

Run as a module it prints the table of all tops whose modes are shipped (tests/reference/shipped.py):

    PYTHONPATH=tests python -m reference.compare [NAME ...]
"""

import numpy as np
from reference.solid import Solid
from reference.tops import N_MODES, Top

from bracedtop.fem.agreement import Agreement, agreement
from bracedtop.fem.model import build_model, deflections, solve

N_JUDGED = 10
"""Modes of the solid that count."""

N_SPARE = 4
"""More modes of the plate than of the solid, so that one that moved up still finds its partner."""


def compared(top: Top, frequencies: np.ndarray, shapes: np.ndarray, size: float | None = None) -> Agreement:
    """Agreement of the plate model with the modes of a solid whose shapes (n, k) are given at the top's points."""
    model = build_model(top.design, top.woods, size=size)
    modes = solve(model, N_MODES + N_SPARE)
    return agreement(modes.frequencies, deflections(model, modes, top.points), frequencies, shapes).first(N_JUDGED)


def against(top: Top, solid: Solid) -> Agreement:
    """Agreement with a solid that has just been solved."""
    return compared(top, solid.frequencies, solid.deflections)


def line(name: str, found: Agreement) -> str:
    """One line for a table: largest and root-mean-square error, lowest MAC, all errors in per cent."""
    errors = " ".join(f"{100 * e:+.2f}" for e in found.errors)
    return (
        f"{name:20s} largest {100 * found.largest:+.2f} %  rms {100 * found.rms:.2f} %  "
        f"MAC {found.mac.min():.3f}  [{errors}]"
    )
