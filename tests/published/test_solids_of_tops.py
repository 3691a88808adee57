"""The frozen solids of cases/checks against the same solids solved anew, coarser, so that they stay reproducible.

Solved here at order 3 without grading, the starter top at order 2: these lie above the frozen ones, by what the coarser
elements are too stiff.
"""

import numpy as np
import pytest
from reference.compare import N_JUDGED, shipped
from reference.solid import solve_solid
from reference.tops import BUILDERS, top

from bracedtop.fem.agreement import agreement

ORDER = dict.fromkeys(BUILDERS, 3) | {"starter_top": 2}

ABOVE = {2: 0.0, 3: 0.0}
"""How far a coarse solid may lie above the frozen one, by its order."""


@pytest.mark.slow
@pytest.mark.parametrize("name", BUILDERS)
def test_frozen_solid(name: str) -> None:
    item = top(name)
    frequencies, points, shapes = shipped(name)
    order = ORDER[name]
    coarse = solve_solid(
        item.design,
        item.woods,
        size=item.size,
        order=order,
        hold_brace_ends=item.hold_brace_ends,
        n_modes=len(frequencies) + 2,
        points=points,
    )
    found = agreement(coarse.frequencies, coarse.deflections, frequencies, shapes).first(N_JUDGED)
    assert found.errors.min() > -0.001, np.round(100 * found.errors, 2)
    assert found.errors.max() < ABOVE[order], np.round(100 * found.errors, 2)
    assert found.mac.min() > 0.95, np.round(found.mac, 3)
