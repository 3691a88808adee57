"""Closed formulas for a board's moduli from single taps, to start a fit from.

Depends on fem/free_plate.
"""

import math

from bracedtop.fem.free_plate import FREE_FREE


def bar_modulus(hz: float, n_nodes: int, length: float, thickness: float, density: float) -> float:
    """Young's modulus of a thin bar free at both ends, Pa, from a bending mode.

    E = 12 density (2 pi f)^2 L^4 / (beta^4 h^2), beta = 4.730 for two nodes: 0.946 density f^2 L^4 / h^2. Without
    shear, so too low for short bars. For a free plate's (2, 0) or (0, 2) mode it gives E_L or E_R, as in McIntyre and
    Woodhouse: their D1 is E_L / (12 (1 - nu_LR nu_RL)), and the plate bends freely crosswise as it bends.

    References
    ----------
    ASTM E1876, Standard test method for dynamic Young's modulus by impulse excitation, eq. 1 with T1 = 1 (constant
    0.9465).
    M. E. McIntyre, J. Woodhouse, Acta Metallurgica 36 (1988) 1397-1416: D1 = 0.0789 density f^2 a^4 / h^2.
    """
    beta = FREE_FREE[n_nodes]
    return 12 * density * (2 * math.pi * hz) ** 2 * length**4 / (beta**4 * thickness**2)


def twist_modulus(hz: float, length: float, width: float, thickness: float, density: float) -> float:
    """Shear modulus G_LR of a thin free plate, Pa, from its twist mode.

    G = 3 D4 = 0.822 density f^2 a^2 b^2 / h^2, from the shape w = x y, whose frequency is an upper bound of the true
    one: the modulus comes out too low, by some 9 % for plates like spruce.

    References
    ----------
    M. E. McIntyre, J. Woodhouse, Acta Metallurgica 36 (1988) 1397-1416: D4 = 0.274 density f^2 a^2 b^2 / h^2.
    """
    return density * (2 * math.pi * hz * length * width / thickness) ** 2 / 48
