"""Print braces of a common family for the outline and sound hole of a case.

The [[brace]] tables go to standard output, to take the place of those in top.toml (with their [[joint]] tables).
Sizes left out are usual ones, scaled to the body's length: a start to be changed. Nothing is written.

example:
  bracedtop pattern wren fan --struts 5 --focus-at-mm 520 > braces.toml
  bracedtop pattern wren fan --help
"""

import argparse
import math
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.geometry.brace import Brace
    from bracedtop.geometry.design import Design
    from bracedtop.geometry.outline import Array

FAMILIES = {
    "x": "crossed X with tone bars, finger braces and a transverse brace",
    "ladder": "bars across the top",
    "fan": "struts fanning out towards the tail, closing bars, harmonic bars",
    "lattice": "two families of small crossing bars and transverse braces",
}

MAIN_BAR = {"x": "leg", "ladder": "bar", "fan": "strut", "lattice": "bar"}
"""Braces whose sizes --width-mm, --height-mm, --end-height-mm and --profile set."""

PROFILES = ("level", "tapered", "parabolic", "scalloped")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    families = parser.add_subparsers(dest="family", metavar="FAMILY", required=True, help=", ".join(FAMILIES))
    parsers = {name: families.add_parser(name, help=line, description=line) for name, line in FAMILIES.items()}
    _add(parsers["x"], "--crossing-at-mm", coordinate, "where the legs cross, from the tail end")
    _add(parsers["x"], "--half-angle-deg", angle, "between centreline and either leg (default 49)")
    _add(parsers["x"], "--tone-bars", count, "how many tone bars (default 2)")
    _add(parsers["x"], "--fingers", count, "how many finger braces on either side (default 2)")
    _add(parsers["ladder"], "--lower-bars", count, "how many bars on the tail side of the one at the hole (default 3)")
    parsers["ladder"].add_argument(
        "--at-mm", type=coordinate, nargs="+", metavar="MM", help="places of all bars, from the tail end"
    )
    _add(parsers["fan"], "--struts", count, "how many struts (default 7)")
    _add(parsers["fan"], "--spacing-mm", length, "distance of neighbouring struts")
    _add(parsers["fan"], "--spaced-at-mm", coordinate, "where they have that distance, from the tail end")
    _add(parsers["fan"], "--focus-at-mm", coordinate, "where the struts' lines meet, from the tail end")
    _add(parsers["lattice"], "--spacing-mm", length, "distance of neighbouring parallel bars")
    _add(parsers["lattice"], "--half-angle-deg", angle, "between centreline and either family (default 45)")
    for name, family in parsers.items():
        kind = f"of every {MAIN_BAR[name]}"
        family.add_argument("--wood", default="spruce_sitka", help="wood of all braces (default spruce_sitka)")
        _add(family, "--clearance-mm", length, "distance of the ends from the rim (default 6, scaled)")
        _add(family, "--width-mm", length, f"width {kind}")
        _add(family, "--height-mm", length, f"full height {kind}")
        _add(family, "--end-height-mm", length, f"height at the ends {kind}")
        family.add_argument("--profile", choices=PROFILES, help=f"height profile {kind}")
        family.add_argument("--json", action="store_true", help="print one JSON object instead of text")


def _add(parser: argparse.ArgumentParser, name: str, kind: Any, line: str) -> None:
    parser.add_argument(name, type=kind, metavar="N" if kind is count else name.rsplit("-", 1)[-1].upper(), help=line)


def _number(text: str, low: float, high: float, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        message = f"{text!r} is not {what}; give {low:g} to {high:g}"
        raise argparse.ArgumentTypeError(message)
    return value


def length(text: str) -> float:
    """Length from the command line, mm."""
    return _number(text, 0, 3000, "a length in mm")


def coordinate(text: str) -> float:
    """Coordinate from the command line, mm."""
    return _number(text, -3000, 3000, "a coordinate in mm")


def angle(text: str) -> float:
    """Half of the angle between two crossing braces from the command line, degrees."""
    return _number(text, 10, 80, "an angle in degrees")


def count(text: str) -> int:
    """Number of braces from the command line."""
    value = int(text) if text.isdecimal() and len(text) < 4 else -1
    if not 0 <= value <= 40:
        message = f"{text!r} is not a number of braces; give 0 to 40"
        raise argparse.ArgumentTypeError(message)
    return value


def run(args: argparse.Namespace) -> int:
    """Print the braces."""
    import numpy as np

    from bracedtop.fem.case import read_case
    from bracedtop.fem.part_writer import brace_text
    from bracedtop.fem.wood_table import handbook_wood
    from bracedtop.geometry.units import DEGREE, MM
    from bracedtop.scripts.console import print_json

    case = read_case(args.case)
    if args.wood not in case.woods:
        handbook_wood(args.wood)
    names = {
        "lower_bars": "n_lower",
        "at_mm": "positions",
        "struts": "n_struts",
        "tone_bars": "n_tone_bars",
        "fingers": "n_fingers",
    }
    options: dict[str, Any] = {}
    sizes: dict[str, Any] = {}
    for key, value in vars(args).items():
        if value is None or key in ("case", "family", "wood", "json", "run", "command", "version"):
            continue
        name, _, unit = key.rpartition("_")
        factor = {"mm": MM, "deg": DEGREE}.get(unit)
        if factor is None:
            target = sizes if key == "profile" else options
            target[names.get(key, key)] = value
        else:
            target = sizes if name in ("width", "height", "end_height") else options
            target[names.get(key, name)] = [v * factor for v in value] if isinstance(value, list) else value * factor
    braces = pattern_braces(case.design, args.family, args.wood, options, sizes)
    text = brace_text(braces)
    if args.json:

        def in_mm(values: "Array") -> object:
            return (np.round(values / MM, 6) + 0.0).tolist()

        rows = [
            {
                "name": brace.name,
                "wood": brace.wood,
                "path_mm": in_mm(brace.path),
                "width_mm": round(brace.width / MM, 6),
                "stations_mm": in_mm(brace.stations),
                "shape": brace.shape,
            }
            for brace in braces
        ]
        print_json({"family": args.family, "braces": rows, "toml": text})
        return 0
    print(f"# {FAMILIES[args.family]}\n\n{text}", end="")
    print(
        f"{len(braces)} braces; put them in place of the [[brace]] and [[joint]] tables of {args.case / 'top.toml'}; "
        "nothing was written",
        file=sys.stderr,
    )
    return 0


def pattern_braces(
    design: "Design", family: str, wood: str, options: Mapping[str, Any], sizes: Mapping[str, Any]
) -> "tuple[Brace, ...]":
    """Braces of a family in round numbers, checked on the top.

    Parameters
    ----------
    design : Design
        Its outline, first hole and patches count; its braces and joints do not.
    family : {"x", "ladder", "fan", "lattice"}
    wood : str
    options : mapping
        Keyword arguments of the family's function in geometry/pattern, SI units.
    sizes : mapping
        Fields of the main braces' `Bar` to change.

    Raises
    ------
    DesignError
        If they do not fit.
    """
    from dataclasses import replace

    from bracedtop.geometry import bar, pattern
    from bracedtop.geometry.brace import Brace
    from bracedtop.geometry.layout import check_layout

    families: dict[str, tuple[Callable[..., tuple[Brace, ...]], bar.Bar]] = {
        "x": (pattern.crossed_x, bar.LEG),
        "ladder": (pattern.ladder, bar.LADDER_BAR),
        "fan": (pattern.fan, bar.STRUT),
        "lattice": (pattern.lattice, bar.LATTICE_BAR),
    }
    draw, usual = families[family]
    changed = dict(options)
    if sizes:
        changed[MAIN_BAR[family]] = replace(usual.scaled(design.outline.length / bar.USUAL_LENGTH), **sizes)
    hole = design.holes[0] if design.holes else None
    braces = tuple(rounded(brace) for brace in draw(design.outline, hole, wood, **changed))
    check_layout(replace(design, braces=braces, joints=()))
    return braces


def rounded(brace: "Brace") -> "Brace":
    """Copy of a brace with all sizes in whole tenths of a millimetre, as a maker would write them."""
    from dataclasses import replace

    import numpy as np

    tenth = 1e-4
    path = np.round(brace.path / tenth) * tenth
    new_length = float(np.hypot(*np.diff(path, axis=0).T).sum())
    stations = np.round(brace.stations / tenth)
    # The last station may not lie beyond the end of the rounded path.
    stations[:, 0] = np.minimum(stations[:, 0], np.floor(new_length / tenth))
    return replace(brace, path=path, width=round(brace.width / tenth) * tenth, stations=stations * tenth)
