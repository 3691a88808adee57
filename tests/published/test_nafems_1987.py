"""Free-vibration benchmarks of NAFEMS: FV12 (free square plate), FV16 (cantilever), Test 21 (thick, simply supported).

F. Abbassian, D. J. Dawswell, N. C. Knowles, Selected Benchmarks for Natural Frequency Analysis, NAFEMS (1987); targets
seen in transcriptions. Plate 10 m square, 0.05 m thick (Test 21: 1 m), E 200 GPa, nu 0.3, 8000 kg/m3.

The targets of FV12 and FV16 are those of Leissa's tables and so Ritz upper bounds; the gate is the converged thin
plate (recomputed with a polynomial Ritz code of two basis sizes), and the target may not be exceeded. Test 21 is a
shear-deformable plate and gated on its targets.

Tolerance 0.5 %.
"""

import numpy as np
import pytest
from reference.plates import frequencies, isotropic, misses, plate, rectangle

TOLERANCE = 0.005
STEEL = isotropic(200e9, 0.3, 8000.0)

THIN = {
    "FV12": ("free", (1.622, 2.360, 2.922, 4.233, 4.233, 7.416), (1.6217, 2.3595, 2.9223, 4.1902, 4.1902, 7.3560)),
    "FV16": ("clamped", (0.421, 1.029, 2.582, 3.306, 3.753, 6.555), (0.4179, 1.0242, 2.5627, 3.2749, 3.7271, 6.5241)),
}

TEST_21 = (45.897, 109.44, 109.44, 167.89, 204.51, 204.51, 256.50, 256.50)


@pytest.mark.parametrize("name", THIN)
def test_thin_plate(name: str) -> None:
    kind, target, converged = THIN[name]
    where = (lambda x: x[0] < 1e-6) if name == "FV16" else None
    found = frequencies(plate(rectangle(10.0, 10.0), 0.05, kind), STEEL, len(target), size=0.8, where=where)
    assert not misses(found, np.array(converged), TOLERANCE)
    # The targets carry four digits.
    assert (found <= np.array(target) * 1.0005).all()


def test_21_thick_plate() -> None:
    found = frequencies(plate(rectangle(10.0, 10.0), 1.0, "hinged"), STEEL, len(TEST_21), size=1.0)
    assert not misses(found, np.array(TEST_21), TOLERANCE)
