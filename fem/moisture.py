"""Wood in damp and in dry air: moisture content from the air, constants and density from the moisture content.

Depends on fem/wood, fem/moisture_table. Sizes stay as drawn: swelling, cracks, glue joints and the bow that a humid
or dry season puts into a top are outside this model.

References
----------
Forest Products Laboratory, "Wood handbook: wood as an engineering material", FPL-GTR-282, Madison 2021: ch. 4, eq. 4-5
(equilibrium moisture content); ch. 5, eq. 5-3 (change of a property with moisture), Table 5-14 (modulus across the
grain and shear modulus at 6 and 20 % over that at 12 %), Table 5-15 (temperature).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.moisture_table import response
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import FIBRE_SATURATION, MOISTURE
from bracedtop.geometry.errors import DesignError

ROOM = 20.0
"""Temperature that counts where none is given, degrees Celsius; the tables' constants hold there."""

HUMIDITY_RANGE = (0.05, 0.95)
"""Relative humidities of Table 4-2."""

TEMPERATURE_RANGE = (0.0, 50.0)
"""Degrees Celsius; within Table 4-2, and up to the temperature of Table 5-15."""

MOISTURE_RANGE = (0.02, 0.25)
"""Moisture contents that are allowed; chosen: about those that air of 10 to 95 % gives."""

CAUTION = (
    "Outside this model: cracks, glue joints, swelling and the bow that a season puts into a top. Dry air can crack a "
    "top or open a joint before its notes say so."
)

# Table 5-14 (recalled): relative change from 12 % at 6 % and at 20 % moisture content. Between and beyond the printed
# points the property changes by a constant ratio per point of moisture, the form of eq. 5-3.
_ACROSS = (1.20, 0.77)
_SHEAR = (1.20, 0.80)
_DRY, _DAMP = 0.06, 0.20

# Table 5-15 (seen in transcription): change at +50 and -50 degrees Celsius from 20, by moisture content. Shear is
# printed above fibre saturation only, and taken to hold below; across the grain and in shear nothing is printed for
# the cold side, and the slope of the warm side is taken.
_ALONG_WARM = ((0.0, -0.06), (0.12, -0.07))
_ALONG_COLD = ((0.0, 0.11), (0.12, 0.17))
_ACROSS_WARM = ((0.06, -0.20), (0.12, -0.35), (0.20, -0.38))
_SHEAR_WARM = ((0.30, -0.25),)


@dataclass(frozen=True, slots=True)
class Climate:
    """Moisture content and temperature of the wood, and the air that gave it, if known.

    Parameters
    ----------
    moisture : float
        Mass of water over ovendry mass.
    temperature : float, degrees Celsius
    humidity : float or None
        Relative humidity of the air, 0 to 1.

    Raises
    ------
    DesignError
        If one of them is outside its range.
    """

    moisture: float
    temperature: float = ROOM
    humidity: float | None = None

    def __post_init__(self) -> None:
        """Check the ranges once."""
        _within("moisture content", self.moisture, MOISTURE_RANGE, 100, " %")
        _within("temperature", self.temperature, TEMPERATURE_RANGE, 1, " degrees Celsius")
        if self.humidity is not None:
            _within("relative humidity", self.humidity, HUMIDITY_RANGE, 100, " %")

    @classmethod
    def from_air(cls, humidity: float, temperature: float = ROOM) -> "Climate":
        """Wood that has come to rest in air of that relative humidity (0 to 1) and temperature."""
        _within("relative humidity", humidity, HUMIDITY_RANGE, 100, " %")
        _within("temperature", temperature, TEMPERATURE_RANGE, 1, " degrees Celsius")
        # Air of 5 % gives less than the least moisture content that is allowed.
        moisture = min(max(equilibrium_moisture(humidity, temperature), MOISTURE_RANGE[0]), MOISTURE_RANGE[1])
        return cls(moisture, temperature, humidity)

    @property
    def words(self) -> str:
        """In words, such as "8.5 % moisture content (45 % relative humidity, 20 degrees Celsius)"."""
        air = f"{self.temperature:g} degrees Celsius"
        if self.humidity is not None:
            air = f"{100 * self.humidity:g} % relative humidity, {air}"
        return f"{100 * self.moisture:.1f} % moisture content ({air})"

    @property
    def note(self) -> str:
        """What a reader of results has to know of it."""
        return f"wood at {self.words}. {CAUTION}"


def _within(what: str, value: float, limits: tuple[float, float], scale: float, unit: str) -> None:
    low, high = limits
    if not low <= value <= high:
        message = f"{what} {scale * value:g}{unit}; must be from {scale * low:g} to {scale * high:g}{unit}"
        raise DesignError(message)


def equilibrium_moisture(humidity: float, temperature: float) -> float:
    """Moisture content at which wood neither gains nor loses water.

    Parameters
    ----------
    humidity : float
        Relative, 0 to 1.
    temperature : float, degrees Celsius

    Returns
    -------
    float
        Mass of water over ovendry mass; an average of species, between that of drying and of wetting wood.

    References
    ----------
    Wood Handbook (2021), eq. 4-5, after W. T. Simpson, Wood and Fiber 5 (1973) 41-49: the model of Hailwood and
    Horrobin with two hydrates.
    """
    T, h = temperature, humidity
    W = 349 + 1.29 * T + 0.0135 * T**2
    K = 0.805 + 0.000736 * T - 0.00000273 * T**2
    K1 = 6.27 - 0.00938 * T - 0.000303 * T**2
    K2 = 1.91 + 0.0407 * T - 0.000293 * T**2
    Kh = K * h
    hydrates = (K1 * Kh + 2 * K1 * K2 * Kh**2) / (1 + K1 * Kh + K1 * K2 * Kh**2)
    return 18 / W * (Kh / (1 - Kh) + hydrates)


def property_at(P_12: float, P_green: float, moisture: float, intersection: float) -> float:
    """A property at some moisture content from its values at 12 % and green; green from `intersection` on.

    References
    ----------
    Wood Handbook (2021), eq. 5-3: P = P_12 (P_12 / P_g)^((12 - M) / (M_p - 12)).
    """
    M = min(moisture, intersection)
    return float(P_12 * (P_12 / P_green) ** ((MOISTURE - M) / (intersection - MOISTURE)))


def wood_at(wood: Wood, climate: Climate) -> Wood:
    """The same wood at another moisture content and temperature.

    E_L follows eq. 5-3 with the species' bending moduli. E_R and E_T follow the Handbook's row "modulus perpendicular
    to grain", all three shear moduli its row "shear modulus" (Table 5-14), one ratio for all species. Poisson's ratios
    are kept (assumed). The density gains the water's mass and the swollen volume.
    """
    if wood.species is None or (climate.moisture, climate.temperature) == (wood.moisture, wood.temperature):
        return wood
    species = response(wood.species)
    before, after = (wood.moisture, wood.temperature), (climate.moisture, climate.temperature)
    along = _along(*after, species.stiffening, species.intersection) / _along(
        *before, species.stiffening, species.intersection
    )
    across = _across(*after) / _across(*before)
    shear = _shear(*after) / _shear(*before)
    return replace(
        wood,
        E_L=wood.E_L * along,
        E_R=wood.E_R * across,
        E_T=wood.E_T * across,
        G_LR=wood.G_LR * shear,
        G_LT=wood.G_LT * shear,
        G_RT=wood.G_RT * shear,
        density=wood.density * _heaviness(after[0], species.shrinkage) / _heaviness(before[0], species.shrinkage),
        moisture=climate.moisture,
        temperature=climate.temperature,
        source=f"{wood.source}; taken to {climate.words}" if wood.source else f"taken to {climate.words}",
    )


def woods_at(woods: Mapping[str, Wood], climate: Climate) -> dict[str, Wood]:
    """Every wood of a case at another moisture content and temperature."""
    return {name: wood_at(wood, climate) for name, wood in woods.items()}


def _along(moisture: float, temperature: float, stiffening: float, intersection: float) -> float:
    """E_L over its value at 12 % and 20 degrees."""
    warm = temperature > ROOM
    rows, span = (_ALONG_WARM, 30.0) if warm else (_ALONG_COLD, -70.0)
    return property_at(1.0, 1.0 / stiffening, moisture, intersection) * _heated(rows, moisture, temperature, span)


def _across(moisture: float, temperature: float) -> float:
    return _trend(_ACROSS, moisture) * _heated(_ACROSS_WARM, moisture, temperature, 30.0)


def _shear(moisture: float, temperature: float) -> float:
    return _trend(_SHEAR, moisture) * _heated(_SHEAR_WARM, moisture, temperature, 30.0)


def _trend(printed: tuple[float, float], moisture: float) -> float:
    dry, damp = printed
    if moisture < MOISTURE:
        return float(dry ** ((MOISTURE - moisture) / (MOISTURE - _DRY)))
    return float(damp ** ((moisture - MOISTURE) / (_DAMP - MOISTURE)))


def _heated(rows: tuple[tuple[float, float], ...], moisture: float, temperature: float, span: float) -> float:
    """1 plus the change by temperature, linear in it (text to Table 5-15)."""
    at, change = zip(*rows, strict=True)
    return 1 + float(np.interp(moisture, at, change)) * (temperature - ROOM) / span


def _heaviness(moisture: float, shrinkage: float) -> float:
    """Density over ovendry mass per green volume: water's mass gained, volume shrunk in proportion below saturation."""
    return (1 + moisture) / (1 - shrinkage * max(1 - moisture / FIBRE_SATURATION, 0.0))
