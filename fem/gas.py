"""Density, speed of sound and viscosity of moist air.

Depends on geometry/errors.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.geometry.errors import DesignError

HUMIDITY = 0.5
"""Relative humidity where nothing is said; common practice, no source: the usual climate of a guitar workshop."""

PRESSURE = 101325.0
"""Standard atmosphere, Pa."""

CARBON_DIOXIDE = 4e-4
"""Mole fraction of carbon dioxide; of Davis (1992)."""

_KELVIN = 273.15

_GAS_CONSTANT, _DRY_MASS, _WATER_MASS = 8.31451, 28.9635e-3, 18.015e-3
"""J/(mol K); kg/mol of dry air and of water; of Davis (1992)."""

_SPEED = (
    (331.5024, 0.603055, -0.000528),
    (51.471935, 0.1495874, -0.000782),
    (-1.82e-7, 3.73e-8, -2.93e-10),
    (-85.20931, -0.228525, 5.91e-5),
)
"""a0 to a11 of Cramer (1993), table III: powers of the temperature, times 1, water, pressure, carbon dioxide."""

_SPEED_SECOND = (-2.835149, -2.15e-13, 29.179762, 0.000486)
"""a12 to a15: water squared, pressure squared, carbon dioxide squared, the product of the three."""


@dataclass(frozen=True, slots=True)
class Gas:
    """The air inside and around a box.

    Parameters
    ----------
    density : float, kg/m^3
    speed : float, m/s
        Of sound.
    viscosity : float, Pa s
    heat_ratio : float
        Ratio of specific heats.
    prandtl : float
    """

    density: float
    speed: float
    viscosity: float
    heat_ratio: float = 1.4
    prandtl: float = 0.71


def air_gas(temperature: float, humidity: float = HUMIDITY, pressure: float = PRESSURE) -> Gas:
    """Air of a temperature in degrees Celsius, a relative humidity (0 to 1) and a pressure in Pa.

    The speed is Cramer's interpolation, good to 300 ppm from 0 to 30 degrees and 75 to 102 kPa. The density is that of
    a mixture of ideal gases, 0.04 % too low.

    Raises
    ------
    DesignError
        If the air is too cold, too warm, too damp or at a pressure outside the formulas' range.

    References
    ----------
    O. Cramer, The variation of the specific heat ratio and the speed of sound in air with temperature, pressure,
    humidity, and CO2 concentration, J. Acoust. Soc. Am. 93 (1993) 2510-2516 (coefficients seen in transcription).
    R. S. Davis, Equation for the determination of the density of moist air (1981/91), Metrologia 29 (1992) 67-70:
    vapour pressure and enhancement factor (seen in transcription), molar masses (RECALLED).
    U.S. Standard Atmosphere (1976), eq. 51: Sutherland's formula for the viscosity (RECALLED). Ratio of specific heats
    and Prandtl number: dry air at room temperature, RECALLED.
    """
    if not -10 <= temperature <= 40:
        message = f"air temperature {temperature:g} degrees Celsius; must be from -10 to 40"
        raise DesignError(message)
    if not (0 <= humidity <= 1 and 60e3 <= pressure <= 110e3):
        message = (
            f"air of relative humidity {100 * humidity:g} % at {1e-3 * pressure:g} kPa; must be from 0 to 100 % and "
            "from 60 to 110 kPa"
        )
        raise DesignError(message)
    kelvin = temperature + _KELVIN
    water, carbon = humidity * _saturated(temperature, pressure), CARBON_DIOXIDE
    first = np.array(_SPEED) @ temperature ** np.arange(3)
    second = np.array([water**2, pressure**2, carbon**2, water * pressure * carbon])
    speed = first @ np.array([1.0, water, pressure, carbon]) + second @ np.array(_SPEED_SECOND)
    mass = _DRY_MASS + water * (_WATER_MASS - _DRY_MASS)
    density = pressure * mass / (_GAS_CONSTANT * kelvin)
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    return Gas(float(density), float(speed), float(viscosity))


def _saturated(temperature: float, pressure: float) -> float:
    """Mole fraction of water vapour in saturated air."""
    kelvin = temperature + _KELVIN
    vapour = np.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * temperature**2
    return float(enhancement * vapour / pressure)
