"""How damp the wood is, from the command line; shared by commands, not one itself."""

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bracedtop.fem.case import Case
    from bracedtop.fem.moisture import Climate


def add_climate(parser: argparse.ArgumentParser) -> None:
    """Options that put a case's wood into other air than the drawing says."""
    damp = parser.add_mutually_exclusive_group()
    damp.add_argument(
        "--humidity", type=humidity, metavar="PERCENT", help="relative humidity that the wood has come to rest in"
    )
    damp.add_argument("--moisture", type=moisture, metavar="PERCENT", help="moisture content of the wood")
    add_temperature(parser)


def add_temperature(parser: argparse.ArgumentParser) -> None:
    """Option for the temperature of air and wood."""
    parser.add_argument("--temperature", type=celsius, metavar="C", help="degrees Celsius (default 20)")


def humidity(text: str) -> float:
    """Relative humidity from the command line, 0 to 1."""
    return _number(text, "a relative humidity", 5, 95, " %") / 100


def moisture(text: str) -> float:
    """Moisture content from the command line, mass of water over ovendry mass."""
    return _number(text, "a moisture content", 2, 25, " %") / 100


def celsius(text: str) -> float:
    """Temperature from the command line, degrees Celsius."""
    return _number(text, "a temperature", 0, 50, " degrees Celsius")


def _number(text: str, what: str, low: float, high: float, unit: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        message = f"{text!r} is not {what}; give {low:g} to {high:g}{unit}"
        raise argparse.ArgumentTypeError(message)
    return value


def in_climate(case: "Case", args: argparse.Namespace) -> "Case":
    """The case with its wood in the climate of the command line, or as it is where none is given.

    Raises
    ------
    DesignError
        If there is a temperature alone.
    """
    from dataclasses import replace

    from bracedtop.fem.moisture import ROOM, Climate, woods_at
    from bracedtop.geometry.errors import DesignError

    temperature = ROOM if args.temperature is None else args.temperature
    climate: Climate
    if args.humidity is not None:
        climate = Climate.from_air(args.humidity, temperature)
    elif args.moisture is not None:
        climate = Climate(args.moisture, temperature)
    elif args.temperature is not None:
        message = "--temperature alone does not say how damp the wood is; give --humidity or --moisture with it"
        raise DesignError(message)
    else:
        return case
    others = (line for line in case.warnings if case.climate is None or line != case.climate.note)
    return replace(case, woods=woods_at(case.woods, climate), climate=climate, warnings=(*others, climate.note))


def climate_json(climate: "Climate | None") -> dict[str, float | None] | None:
    """A climate as commands print it; None for woods as they were given."""
    if climate is None:
        return None
    return {
        "moisture_percent": 100 * climate.moisture,
        "humidity_percent": None if climate.humidity is None else 100 * climate.humidity,
        "temperature_c": climate.temperature,
    }
