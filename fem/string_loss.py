"""A string's own partials and losses: bending stiffness, air, friction in the string.

Depends on geometry/errors.

Loss of the n-th partial (Woodhouse 2004, eq. 8)::

    eta_n = [T (eta_F + eta_A / omega_n) + EI eta_B (n pi / L)^2] / [T + EI (n pi / L)^2]

Nylon takes eta_F, eta_A, eta_B and EI of the string in Woodhouse's Table I that is nearest in mass. Steel has no such
table: eta_F and eta_B are the thermoelastic and viscoelastic losses of a steel string, 1 / Q_te and delta_ve,
measured by Issanchou et al. 2017, and the air's part is Stokes's drag on a cylinder, eta_A(omega) = R(omega) / m.
Both laws are the same: EI delta_ve (n pi / L)^2 / T is Valette's 4 pi^2 m E I delta_ve f^2 / T^2.

References
----------
J. Woodhouse, "Plucked guitar transients: comparison of measurements and synthesis", Acta Acustica united with
Acustica 90 (2004) 945-965: eq. 8, Table I (seen in transcription, the masses of the third and fifth string recalled).
C. Valette, C. Cuesta, Mecanique de la corde vibrante, Hermes 1993: drag, viscoelastic and thermoelastic loss. A.
Pate, J.-L. Le Carrou, B. Fabre, "Predicting the decay time of solid body electric guitar tones", J. Acoust. Soc. Am.
135 (2014) 3045-3055: the same law for steel guitar strings. C. Issanchou, S. Bilbao, J.-L. Le Carrou, C. Touze, O.
Doare, "A modal-based approach to the nonlinear vibration of strings against a unilateral obstacle", J. Sound Vib. 393
(2017) 229-251: figures of steel. The formulas and figures of the last three from memory.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bracedtop.geometry.errors import DesignError

Real = NDArray[np.float64]
Material = Literal["steel", "nylon"]

STEEL_TENSION = 80.0
"""Mean tension from which a set is taken for steel, N; chosen: nylon sets have 61 to 67 N a string (Woodhouse 2004,
Table I: 66), light steel sets 95 to 130 N (common practice, no source)."""

NYLON = (
    # mass kg/m, EI N m^2, eta_F, eta_A 1/s, eta_B
    (0.380e-3, 130e-6, 40e-5, 1.5, 0.024),
    (0.519e-3, 160e-6, 40e-5, 1.2, 0.020),
    (0.90e-3, 310e-6, 14e-5, 1.7, 0.020),
    (1.95e-3, 51e-6, 5e-5, 1.2, 0.020),
    (3.61e-3, 40e-6, 7e-5, 0.9, 0.025),
    (6.24e-3, 57e-6, 2e-5, 1.2, 0.020),
)
"""Woodhouse 2004, Table I, E4 to E2."""

STEEL_FRICTION = 2.03e-4
"""1 / Q_te of a steel string (Issanchou et al. 2017, from memory)."""

STEEL_BENDING_LOSS = 4.5e-3
"""delta_ve of a steel string (Issanchou et al. 2017, from memory)."""

STEEL_MODULUS = 200e9
"""Young's modulus of string wire, Pa; handbook value of steel."""

STEEL_DENSITY, WINDING_DENSITY = 7850.0, 8800.0
"""Of steel wire and of a bronze winding, kg/m^3; handbook values."""

PLAIN_MASS = 1.7e-3
"""Heaviest plain steel string if no core is given, kg/m: 0.52 mm of wire; common practice, no source."""

CORE_RATIO = 0.4
"""Core over outer diameter of a wound steel string if no core is given; common practice (0.35 to 0.5), no source."""

WINDING_FILL = np.pi / 4
"""Share of a winding's room that round wire fills: exact for a flat row of round wires."""

AIR_VISCOSITY, AIR_DENSITY = 1.8e-5, 1.2
"""Pa s and kg/m^3, air at 20 degrees."""


@dataclass(frozen=True, slots=True)
class LossyString:
    """A stretched string with bending stiffness and its own loss.

    Parameters
    ----------
    name : str
    tension : float, N
    mass : float, kg/m
    bending_stiffness : float, N m^2
    friction : float
        eta_F, loss factor that does not depend on frequency.
    bending_loss : float
        eta_B, loss factor of bending.
    air : float, 1/s
        eta_A; what the air takes, a rate that does not depend on frequency. Not used if a diameter is given.
    diameter : float, m
        Outer diameter for Stokes's drag in place of `air`; 0 for none.
    source : str
        Where the losses are from.

    Raises
    ------
    DesignError
        If tension or mass are not positive, or a loss is negative.
    """

    name: str
    tension: float
    mass: float
    bending_stiffness: float
    friction: float
    bending_loss: float
    air: float = 0.0
    diameter: float = 0.0
    source: str = ""

    def __post_init__(self) -> None:
        """Check the figures once."""
        for what, value in (("tension", self.tension), ("mass per length", self.mass)):
            if not 0 < value < np.inf:
                message = f'string "{self.name}": {what} {value:g}; must be > 0'
                raise DesignError(message)
        for what in ("bending_stiffness", "friction", "bending_loss", "air", "diameter"):
            value = getattr(self, what)
            if not 0 <= value < np.inf:
                message = f'string "{self.name}": {what} {value:g}; must not be negative'
                raise DesignError(message)


def set_material(tensions: ArrayLike) -> Material:
    """Steel if the strings of a set are pulled by `STEEL_TENSION` or more on the average, else nylon."""
    return "steel" if float(np.mean(np.asarray(tensions))) >= STEEL_TENSION else "nylon"


def nylon_string(name: str, tension: float, mass: float, *, bending_stiffness: float | None = None) -> LossyString:
    """A nylon string with stiffness and losses of the published one that is nearest in mass.

    Parameters
    ----------
    name : str
    tension : float, N
    mass : float, kg/m
    bending_stiffness : float or None, N m^2
        In place of the published string's.

    Raises
    ------
    DesignError
        If a figure is not positive.

    References
    ----------
    Woodhouse 2004, Table I.
    """
    _positive(name, mass)
    _, EI, eta_F, eta_A, eta_B = min(NYLON, key=lambda row: abs(np.log(row[0] / mass)))
    EI = EI if bending_stiffness is None else bending_stiffness
    return LossyString(name, tension, mass, EI, eta_F, eta_B, air=eta_A, source="Woodhouse 2004, Table I")


def steel_string(
    name: str,
    tension: float,
    mass: float,
    *,
    diameter: float | None = None,
    core: float | None = None,
    bending_stiffness: float | None = None,
) -> LossyString:
    """A steel string, plain or wound.

    Parameters
    ----------
    name : str
    tension : float, N
    mass : float, kg/m
    diameter : float or None, m
        Outer one; None: from the mass.
    core : float or None, m
        Core of a wound string; None: the string is plain up to `PLAIN_MASS`, above that its core is `CORE_RATIO` of its
        outer diameter.
    bending_stiffness : float or None, N m^2
        None: that of the core alone; the turns of a winding slide on each other.

    Raises
    ------
    DesignError
        If a figure is not positive.

    References
    ----------
    Valette and Cuesta 1993; Issanchou et al. 2017.
    """
    _positive(name, mass)
    plain = core is None and mass <= PLAIN_MASS
    if plain:
        core = np.sqrt(4 * mass / (np.pi * STEEL_DENSITY))
        outer = core
    else:
        outer = _wound_diameter(mass, core)
        core = CORE_RATIO * outer if core is None else core
    EI = STEEL_MODULUS * np.pi * core**4 / 64 if bending_stiffness is None else bending_stiffness
    return LossyString(
        name, tension, mass, float(EI), STEEL_FRICTION, STEEL_BENDING_LOSS,
        diameter=float(outer if diameter is None else diameter),
        source="Valette and Cuesta 1993, Issanchou et al. 2017",
    )  # fmt: skip


def partial_frequencies(string: LossyString, length: ArrayLike, n: ArrayLike) -> Real:
    """Frequencies of partials `n` between rigid ends `length` apart, Hz.

    Parameters
    ----------
    string : LossyString
    length : float or array, m
    n : int or array
        1 for the first; broadcast against `length`.

    References
    ----------
    Hinged ends; N. H. Fletcher, T. D. Rossing, The Physics of Musical Instruments, 1998, eq. 2.67a (from memory).
    """
    k = np.asarray(n) * np.pi / np.asarray(length)
    tension = string.tension + string.bending_stiffness * k**2
    return np.asarray(k * np.sqrt(tension / string.mass) / (2 * np.pi), dtype=float)


def loss_factor(string: LossyString, length: ArrayLike, n: ArrayLike) -> Real:
    """Loss factor 1 / Q of partials `n` between rigid ends, shaped as `partial_frequencies`.

    References
    ----------
    Woodhouse 2004, eq. 8.
    """
    k = np.asarray(n) * np.pi / np.asarray(length)
    omega = 2 * np.pi * partial_frequencies(string, length, n)
    bending = string.bending_stiffness * k**2
    taken = string.tension * (string.friction + air_rate(string, omega) / omega) + bending * string.bending_loss
    return np.asarray(taken / (string.tension + bending), dtype=float)


def string_rate(string: LossyString, length: ArrayLike, n: ArrayLike) -> Real:
    """Decay rate omega eta / 2 of the amplitude of partials `n` by the string's own loss, 1/s."""
    return np.pi * partial_frequencies(string, length, n) * loss_factor(string, length, n)


def air_rate(string: LossyString, omega: ArrayLike) -> Real:
    """eta_A of a string, 1/s: Stokes's drag over the mass if its diameter is known, else its constant.

    References
    ----------
    G. G. Stokes 1851, in the approximation of Valette and Cuesta 1993:
    R = 2 pi mu + 2 pi d sqrt(pi mu rho f), per length and velocity (from memory).
    """
    omega = np.asarray(omega, dtype=float)
    if string.diameter == 0:
        return np.full(omega.shape, string.air)
    viscous = np.sqrt(AIR_VISCOSITY * AIR_DENSITY * omega / 2)
    return np.asarray(2 * np.pi * (AIR_VISCOSITY + string.diameter * viscous) / string.mass)


def _wound_diameter(mass: float, core: float | None) -> float:
    """Outer diameter of a steel core and a bronze winding that together have the mass."""
    winding = WINDING_FILL * WINDING_DENSITY
    if core is None:
        area = mass / (CORE_RATIO**2 * STEEL_DENSITY + (1 - CORE_RATIO**2) * winding)
    else:
        area = np.pi / 4 * core**2
        area += max(mass - STEEL_DENSITY * area, 0.0) / winding
    return float(np.sqrt(4 * area / np.pi))


def _positive(name: str, mass: float) -> None:
    if not 0 < mass < np.inf:
        message = f'string "{name}": mass per length {mass:g}; must be > 0'
        raise DesignError(message)
