"""Figures by which makers compare boards.

Depends on fem/board_fit, fem/wood. With a modulus E and a density rho:

speed of sound          sqrt(E / rho)     m/s            how fast a stretching wave runs
characteristic impedance sqrt(E rho)      kg/(m^2 s)     how hard it is to drive
radiation ratio         sqrt(E / rho^3)   m^4/(kg s)     speed of sound over density: how loud it answers

References
----------
U. G. K. Wegst, Wood for sound, American Journal of Botany 93 (2006) 1439-1448 (recalled): the three figures.
J. C. Schelleng, The violin as a circuit, J. Acoust. Soc. Am. 35 (1963) 326-338 (recalled): the radiation ratio.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.fem.board_fit import BoardFit
from bracedtop.fem.wood import Wood

FIGURES = {
    "speed of sound": (0.5, -0.5, "m/s", "sqrt(E / density)"),
    "characteristic impedance": (0.5, 0.5, "kg/(m2 s)", "sqrt(E x density)"),
    "radiation ratio": (0.5, -1.5, "m4/(kg s)", "sqrt(E / density^3)"),
}
"""Powers of the modulus and of the density, unit, and formula of each."""

DIRECTIONS = {"along": "E_L", "across": "E_R"}


@dataclass(frozen=True, slots=True)
class Merit:
    """One figure of a board.

    Parameters
    ----------
    name, direction : str
    value, error : float
        With one standard error; size and mass enter modulus and density, so it is smaller than from the two apart.
    usual : float
        The same figure of the base wood.
    unit, formula : str
    """

    name: str
    direction: str
    value: float
    error: float
    usual: float
    unit: str
    formula: str


def figure(name: str, E: float, density: float) -> float:
    """Merit figure from a modulus in Pa and a density in kg/m^3."""
    power, weight, _, _ = FIGURES[name]
    return float(E**power * density**weight)


def merit_figures(fit: BoardFit) -> tuple[Merit, ...]:
    """Figures along the grain, and across it for a plate whose taps tell E_R."""
    found = []
    names = [c.name for c in fit.constants]
    base: Wood = fit.board.base
    for direction, modulus in DIRECTIONS.items():
        if modulus not in names or not fit.constant(modulus).determined:
            continue
        for name, (power, weight, unit, formula) in FIGURES.items():
            row = np.zeros(len(names))
            row[names.index(modulus)], row[names.index("density")] = power, weight
            value = figure(name, fit.constant(modulus).value, fit.constant("density").value)
            error = value * float(np.sqrt(row @ fit.covariance @ row))
            usual = figure(name, getattr(base, modulus), base.density)
            found.append(Merit(name, direction, value, error, usual, unit, formula))
    return tuple(found)
