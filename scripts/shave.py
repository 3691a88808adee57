"""Take wood off one brace in the model, solve again, and show every mode before and after.

Nothing but out/ is written: top.toml stays as drawn. Distances run along the brace from its first path point.

example:
  bracedtop shave wren --brace "x bass" --from 60 --to 140 --take 1.5
"""

import argparse
from pathlib import Path
from typing import Any

WARNING = (
    "A model is no proof: take less than it says, tap again after every pass, and stop short of the target. "
    "Wood cannot be put back."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    from bracedtop.scripts.modes import add_case

    add_case(parser)
    parser.add_argument("--brace", required=True, metavar="NAME", help="name of the brace in top.toml")
    parser.add_argument("--from", required=True, type=millimetres, dest="start", metavar="MM", help="start of the cut")
    parser.add_argument("--to", required=True, type=millimetres, dest="stop", metavar="MM", help="end of the cut")
    parser.add_argument("--take", required=True, type=depth, metavar="MM", help="depth of the cut")


def millimetres(text: str) -> float:
    """Length from the command line, in m."""
    from bracedtop.geometry.units import MM

    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0 <= value <= 3000:
        message = f"{text!r} is not a length; give 0 to 3000 mm"
        raise argparse.ArgumentTypeError(message)
    return value * MM


def depth(text: str) -> float:
    """Depth of a cut from the command line, in m."""
    value = millimetres(text)
    if value == 0:
        message = f"{text!r} takes nothing off; give more than 0 mm"
        raise argparse.ArgumentTypeError(message)
    return value


def run(args: argparse.Namespace) -> int:
    """Show a cut before it is made."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.describe import summarise
    from bracedtop.fem.model import build_model, solve
    from bracedtop.fem.what_if import resolved, shaved_design
    from bracedtop.scripts.console import Progress, print_json, print_table, signed
    from bracedtop.scripts.modes import mesh_size
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    refuse_unknown(args.brace, [brace.name for brace in case.design.braces])
    design = shaved_design(case.design, args.brace, args.start, args.stop, args.take)
    with progress.stage("as drawn"):
        model = build_model(case.design, case.woods, size=mesh_size(case))
        modes = solve(model, args.modes)
    with progress.stage("after the cut"):
        change = resolved(model, modes, design)
    rows: list[dict[str, Any]] = []
    for summary, after in zip(summarise(model, modes), change.successor, strict=True):
        hz = float(change.modes.frequencies[after])
        rows.append({"mode": summary.mode, "looks_like": summary.name, "before_hz": summary.hz, "after_hz": hz})
    grams = 1e3 * change.mass_removed
    with fresh_results(args.case, ("shave.csv",)) as folder:
        _write_csv(folder / "shave.csv", rows)
    written = str(args.case / "out" / "shave.csv")
    if args.json:
        print_json({"modes": rows, "grams_removed": grams, "caution": WARNING, "written": [written]})
        return 0
    print(
        f'{case.name}: {1e3 * args.take:g} mm off brace "{args.brace}" from {1e3 * args.start:g} to '
        f"{1e3 * args.stop:g} mm, {grams:.2f} g"
    )
    print_table(
        ["mode", "looks like", "before Hz", "after Hz", "change Hz", "cents"],
        [
            [
                str(row["mode"]),
                row["looks_like"],
                f"{row['before_hz']:.2f}",
                f"{row['after_hz']:.2f}",
                signed(row["after_hz"] - row["before_hz"], 2),
                signed(_cents(row["after_hz"], row["before_hz"]), 0),
            ]
            for row in rows
        ],
        left=2,
    )
    print(WARNING)
    print(f"Written: {written}")
    return 0


def refuse_unknown(name: str, known: list[str]) -> None:
    """Refuse the name of a brace that is not among the known ones."""
    from bracedtop.fem.toml_file import did_you_mean, shown
    from bracedtop.geometry.errors import DesignError

    if name not in known:
        message = f"no brace is named {shown(name)}; {did_you_mean(name, known)}braces: {', '.join(known) or 'none'}"
        raise DesignError(message)


def _cents(after: float, before: float) -> float:
    from bracedtop.geometry.units import cents

    return cents(after, before)


def _write_csv(path: Path, rows: list[dict[str, Any]]) -> None:
    import csv

    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["mode", "before_hz", "after_hz"])
        writer.writerows([row["mode"], f"{row['before_hz']:.3f}", f"{row['after_hz']:.3f}"] for row in rows)
