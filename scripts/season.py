"""Compare a case in dry air with the same case in damp air, mode by mode.

The wood comes to rest in air of each humidity; its stiffness and its weight change, its sizes stay as drawn. Writes
out/season.csv.

example:
  bracedtop season wren --dry 30 --wet 70
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.wood import Wood

SHOWN = ("E_L", "E_R", "G_LR", "density")
"""What the table of woods shows of each."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    from bracedtop.scripts.climate import add_temperature, humidity
    from bracedtop.scripts.modes import add_case

    add_case(parser)
    parser.add_argument("--dry", type=humidity, required=True, metavar="PERCENT", help="relative humidity when dry")
    parser.add_argument("--wet", type=humidity, required=True, metavar="PERCENT", help="relative humidity when damp")
    add_temperature(parser)


def run(args: argparse.Namespace) -> int:
    """Show a dry and a damp season side by side."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.describe import summarise
    from bracedtop.fem.model import build_model, solve
    from bracedtop.fem.moisture import CAUTION, ROOM, Climate, woods_at
    from bracedtop.fem.what_if import followed
    from bracedtop.geometry.errors import DesignError
    from bracedtop.geometry.mesh import mesh_top
    from bracedtop.geometry.units import cents
    from bracedtop.scripts.climate import climate_json
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.modes import mesh_size
    from bracedtop.scripts.results import fresh_results

    if args.dry >= args.wet:
        message = f"--dry {100 * args.dry:g} and --wet {100 * args.wet:g}; the dry air must be the drier one"
        raise DesignError(message)
    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    temperature = ROOM if args.temperature is None else args.temperature
    climates = [Climate.from_air(humidity, temperature) for humidity in (args.dry, args.wet)]
    woods = [woods_at(case.woods, climate) for climate in climates]
    with progress.stage("mesh"):
        mesh = mesh_top(case.design, mesh_size(case))
    with progress.stage("dry"):
        dry = build_model(case.design, woods[0], mesh=mesh)
        modes = solve(dry, args.modes)
    with progress.stage("damp"):
        damp = build_model(case.design, woods[1], mesh=mesh)
        change = followed(dry, modes, damp)
    rows = []
    for summary, after, alike in zip(summarise(dry, modes), change.successor, change.mac, strict=True):
        hz = float(change.modes.frequencies[after])
        rows.append(
            {
                "mode": summary.mode,
                "looks_like": summary.name,
                "dry_hz": summary.hz,
                "wet_hz": hz,
                "difference_hz": hz - summary.hz,
                "difference_cents": cents(hz, summary.hz),
                "mac": alike,
            }
        )
    used = {case.design.plate.wood, *(b.wood for b in case.design.braces), *(p.wood for p in case.design.patches)}
    changes = {name: wood_change(woods[0][name], woods[1][name]) for name in sorted(used)}
    result = {
        "dry": climate_json(climates[0]),
        "wet": climate_json(climates[1]),
        "modes": rows,
        "woods_percent": changes,
        "mass_g": {"dry": 1e3 * dry.mass(), "wet": 1e3 * damp.mass()},
        "caution": CAUTION,
    }
    with fresh_results(args.case, ("season.csv",)) as folder:
        _write_csv(folder / "season.csv", rows)
    written = str(args.case / "out" / "season.csv")
    if args.json:
        print_json({**result, "written": [written]})
        return 0
    print(f"{case.name}: dry {climates[0].words}; damp {climates[1].words}")
    _print(rows, changes)
    print(CAUTION)
    print(f"Written: {written}")
    return 0


def wood_change(dry: "Wood", damp: "Wood") -> dict[str, float]:
    """Changes of a wood's constants from dry to damp, per cent."""
    return {key: 100 * (getattr(damp, key) / getattr(dry, key) - 1) for key in SHOWN}


def _print(rows: list[dict[str, Any]], changes: dict[str, dict[str, float]]) -> None:
    from bracedtop.scripts.console import print_table, signed

    print_table(
        ["mode", "looks like", "dry Hz", "damp Hz", "change Hz", "cents", "MAC"],
        [
            [
                str(row["mode"]),
                row["looks_like"],
                f"{row['dry_hz']:.1f}",
                f"{row['wet_hz']:.1f}",
                signed(row["difference_hz"], 1),
                signed(row["difference_cents"], 0),
                f"{row['mac']:.2f}",
            ]
            for row in rows
        ],
        left=2,
    )
    print_table(
        ["wood, dry to damp", "along", "across", "twisting", "density"],
        [[name, *(f"{signed(change[key], 1)} %" for key in SHOWN)] for name, change in changes.items()],
    )


def _write_csv(path: Path, rows: list[dict[str, Any]]) -> None:
    import csv

    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["mode", "dry_hz", "wet_hz", "mac"])
        writer.writerows(
            [row["mode"], f"{row['dry_hz']:.3f}", f"{row['wet_hz']:.3f}", f"{row['mac']:.4f}"] for row in rows
        )
