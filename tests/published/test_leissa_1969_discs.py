"""Circular plates: lambda^2 = omega R^2 sqrt(rho h / D).

A. W. Leissa, Vibration of Plates, NASA SP-160 (1969), Table 2.1 (clamped, any nu: seen, and recomputed from the
Bessel functions) and Table 2.5 (free, nu = 0.33: exact values, recomputed from the Bessel functions). Modes with nodal
diameters come in pairs.

Tolerance 0.5 %: thin-plate values against a shear-deformable plate of thickness R/200.
"""

import numpy as np
from reference.plates import disc, frequencies, isotropic, misses, plate, rigidity

TOLERANCE = 0.005

# nodal diameters: lambda^2 with 0, 1, 2 nodal circles besides the rim
CLAMPED = {0: (10.2158, 39.771, 89.104), 1: (21.260, 60.829), 2: (34.877, 84.583), 3: (51.030,)}

FREE = ((2, 5.2620), (0, 9.0689), (3, 12.244), (1, 20.513), (4, 21.527))
"""(nodal diameters, lambda^2); the one at 20.513 has one circle as well."""


def found(nu: float, kind: str, n: int) -> np.ndarray:
    metal, h, R = isotropic(70e9, nu, 2700.0), 2.5e-3, 0.5
    f = frequencies(plate(disc(R), h, kind), metal, n, size=0.12 * R)
    return 2 * np.pi * f * R**2 * np.sqrt(metal.density * h / rigidity(metal, h))


def paired(rows: list[tuple[int, float]]) -> np.ndarray:
    return np.array(sorted(value for diameters, value in rows for _ in range(2 if diameters else 1)))


def test_clamped_disc() -> None:
    # 69.666 (four diameters) is not in the rows seen, so the list is gated up to the mode before it.
    table = paired([(d, value) for d, values in CLAMPED.items() for value in values if value < 65.0])
    assert not misses(found(0.3, "clamped", len(table)), table, TOLERANCE)


def test_clamped_disc_does_not_depend_on_poisson() -> None:
    np.testing.assert_allclose(found(0.1, "clamped", 3), found(0.4, "clamped", 3), rtol=1e-3)


def test_free_disc() -> None:
    table = paired(list(FREE))
    assert not misses(found(0.33, "free", len(table)), table, TOLERANCE)
