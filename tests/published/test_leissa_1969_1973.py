"""Square plates, nu = 0.3: lambda = omega a^2 sqrt(rho h / D).

A. W. Leissa, Vibration of Plates, NASA SP-160 (1969), chapter 4 (clamped: 35.992 seen in a transcription, the other
printed digits recalled from memory). A. W. Leissa, The free vibration of rectangular plates, J. Sound Vib. 31 (1973)
257-293 (free: seen, the last recalled). Cantilever: M. V. Barton, J. Appl. Mech. 18 (1951) 129-134, as repeated in
the French validation guide VPCS, case SDLS01 (seen). All simply supported: exact, pi^2 (m^2 + n^2).

The printed values of the clamped, free and cantilever plates are Ritz upper bounds with few terms, up to 0.7 % above
the limit. The gate is the converged thin-plate value, recomputed with a polynomial Ritz code of two basis sizes and
again with Argyris' triangle (tests/limits/test_thin_plate.py). The printed one has to be no lower than what we find.

Tolerance 0.5 %: the check's own plate is 1/200 thick and shear-deformable, which is worth up to 0.1 %.
"""

import numpy as np
import pytest
from reference.plates import frequencies, isotropic, misses, plate, rectangle, rigidity

TOLERANCE = 0.005

ROUNDING = 0.0005
"""Digits printed: four or five; the smallest carries half a unit in 13.489."""

ROWS = {
    # edges: (kind, only the side x = 0, printed, converged)
    "simply supported": (
        "hinged",
        False,
        (19.7392, 49.348, 49.348, 78.957, 98.696, 98.696),
        (19.7392, 49.348, 49.348, 78.957, 98.696, 98.696),
    ),
    "clamped": (
        "clamped",
        False,
        (35.992, 73.413, 73.413, 108.27, 131.64, 132.24),
        (35.9852, 73.3938, 73.3938, 108.217, 131.581, 132.205),
    ),
    "free": (
        "free",
        False,
        (13.489, 19.789, 24.432, 35.024, 35.024, 61.526),
        (13.468, 19.596, 24.270, 34.801, 34.801, 61.093),
    ),
    "cantilever": (
        "clamped",
        True,
        (3.492, 8.525, 21.43, 27.33, 31.11, 54.44),
        (3.4710, 8.5063, 21.284, 27.199, 30.955, 54.184),
    ),
}


@pytest.mark.parametrize("edges", ROWS)
def test_square_plate(edges: str) -> None:
    kind, one_side, printed, converged = ROWS[edges]
    metal, h, a = isotropic(70e9, 0.3, 2700.0), 2.5e-3, 0.5
    where = (lambda x: x[0] < 1e-6) if one_side else None
    found = frequencies(plate(rectangle(a, a), h, kind), metal, len(printed), size=a / 14, where=where)
    lam = 2 * np.pi * found * a**2 * np.sqrt(metal.density * h / rigidity(metal, h))
    assert not misses(lam, np.array(converged), TOLERANCE)
    assert (lam <= np.array(printed) * (1 + ROUNDING)).all()
