"""Speed of sound and density of moist air.

Speed: O. Cramer, The variation of the specific heat ratio and the speed of sound in air with temperature, pressure,
humidity, and CO2 concentration, J. Acoust. Soc. Am. 93 (1993) 2510-2516, fig. 1: points read off the figure by others
(seen), carbon dioxide 314 ppm there against 400 here, which is worth 0.01 m/s. Tolerance 0.1 m/s, the reading's. ISO
9613-1:1993, eq. A.5: c = 343.2 sqrt(T / 293.15) (seen in transcription), for the air of its table.

Density: R. S. Davis, Metrologia 29 (1992) 67-70; 1.1992 kg/m3 at 20 degrees Celsius, 101.325 kPa and 50 % (RECALLED;
usual value of mass laboratories). Tolerance 0.1 %: the ideal gas. Dry air at 0 degrees: 1.2929 kg/m3 (Kaye and Laby,
Tables of Physical and Chemical Constants; RECALLED).

Viscosity: 18.2e-6 Pa s at 20 degrees (Kaye and Laby; RECALLED), 0.5 %.
"""

import pytest

from bracedtop.fem.gas import air_gas
from bracedtop.geometry.errors import DesignError

FIGURE_1 = [
    (0, 0.0047393, 331.5079),
    (0, 0.60032, 331.7063),
    (10, 0.30332, 337.6984),
    (20, 0.0078989, 343.3333),
    (20, 0.30174, 343.7302),
    (20, 0.6019, 344.1667),
    (20, 0.98736, 344.6825),
    (30, 0.6019, 350.5556),
    (30, 0.98894, 351.5079),
]

PRESSURES = [(0, 75265.49, 331.4732), (20, 75212.39, 343.3036), (20, 95017.7, 343.3929), (30, 85088.5, 349.1518)]


@pytest.mark.parametrize(("temperature", "humidity", "speed"), FIGURE_1)
def test_speed_and_humidity(temperature: float, humidity: float, speed: float) -> None:
    assert air_gas(temperature, humidity).speed == pytest.approx(speed, abs=0.1)


@pytest.mark.parametrize(("temperature", "pressure", "speed"), PRESSURES)
def test_speed_and_pressure(temperature: float, pressure: float, speed: float) -> None:
    assert air_gas(temperature, 0.0, pressure).speed == pytest.approx(speed, abs=0.1)


@pytest.mark.parametrize("temperature", [5.0, 20.0, 28.0])
def test_speed_of_the_standard(temperature: float) -> None:
    standard = 343.2 * ((temperature + 273.15) / 293.15) ** 0.5
    assert air_gas(temperature, 0.2).speed == pytest.approx(standard, rel=2e-3)


def test_density() -> None:
    assert air_gas(20.0).density == pytest.approx(1.1992, rel=1e-3)
    assert air_gas(0.0, 0.0).density == pytest.approx(1.2929, rel=1e-3)
    assert air_gas(20.0, 0.9).density < air_gas(20.0, 0.1).density


def test_viscosity() -> None:
    assert air_gas(20.0).viscosity == pytest.approx(18.2e-6, rel=5e-3)


@pytest.mark.parametrize("wrong", [{"temperature": 60.0}, {"humidity": 1.2}, {"pressure": 20e3}])
def test_out_of_range(wrong: dict[str, float]) -> None:
    with pytest.raises(DesignError, match="must be from"):
        air_gas(**{"temperature": 20.0, **wrong})
