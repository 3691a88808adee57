"""Run published checks: each solves a plate from the literature, or one also solved as a solid, and compares.

Without folders, all checks that come with the program. A check is a case folder that also holds expected.csv with
the columns mode, hz, tolerance_percent, kind and, if wanted, least_mac. Kinds: "exact", "converged", "theory", "solid"
and "measured" are held to their tolerance either way; "upper bound" may not be exceeded by more than it. Without a
tolerance a value is only shown. Where shapes.csv lies beside it, modes of kind "solid" are paired by shape and held to
their least_mac. The exit code is 1 if a value misses.

example:
  bracedtop check
  bracedtop check my-plate --json
"""

import argparse
import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.scripts.check_files import Expected

N_JUDGED = 10
"""Largest and root-mean-square errors count the first ten modes; higher ones are in the table only."""

N_SPARE = 4
"""Modes solved beyond those with shapes, so that one that lies higher than expected is still found."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("folders", nargs="*", type=Path, metavar="FOLDER", help="checks to run (default: all packaged)")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--markdown", action="store_true", help="print one table of all checks for a text in Markdown")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Run checks; 1 if one misses."""
    from bracedtop.scripts.console import Progress, print_json

    progress = Progress(quiet=args.quiet)
    results = []
    with packaged_checks() if not args.folders else contextlib.nullcontext(args.folders) as folders:
        for folder in folders:
            with progress.stage(folder.name):
                results.append(checked(folder))
            if not args.json and not args.markdown:
                print_check(results[-1])
    missed = [check["name"] for check in results if not check["ok"]]
    if args.json:
        print_json({"checks": results, "ok": not missed})
        return 1 if missed else 0
    if args.markdown:
        print("\n".join(markdown(results)))
        print()
    if missed:
        print(f"{len(missed)} of {len(results)} checks missed: {', '.join(missed)}. Nothing was written.")
    else:
        print(f"All {len(results)} checks hold. Nothing was written.")
    return 1 if missed else 0


@contextlib.contextmanager
def packaged_checks() -> Iterator[list[Path]]:
    """Folders of the checks that come with the program."""
    from importlib import resources

    from bracedtop.scripts.check_files import FILE_NAME

    with resources.as_file(resources.files("bracedtop.cases") / "checks") as root:
        yield sorted(path.parent for path in root.glob(f"*/{FILE_NAME}"))


def checked(folder: Path) -> dict[str, Any]:
    """Solve one check and compare.

    Raises
    ------
    FileError
        If the drawing, expected.csv or shapes.csv cannot be read.
    """
    from bracedtop.fem.agreement import agreement
    from bracedtop.fem.case import read_case
    from bracedtop.fem.model import build_model, deflections, solve
    from bracedtop.scripts.check_files import FILE_NAME, SHAPES_NAME, read_expected, read_shapes
    from bracedtop.scripts.modes import mesh_size

    expected = read_expected(folder / FILE_NAME)
    case = read_case(folder)
    with_shapes = (folder / SHAPES_NAME).exists()
    if with_shapes:
        shapes, hz = read_shapes(folder / SHAPES_NAME, expected)
        _refuse_points_off_the_top(folder / SHAPES_NAME, shapes.points, case.design.region)
    n_modes = max(row.mode for row in expected) + (N_SPARE if with_shapes else 0)
    model = build_model(case.design, case.woods, size=mesh_size(case))
    modes = solve(model, n_modes)
    partners: dict[int, tuple[int, float]] = {}
    if with_shapes:
        found = agreement(modes.frequencies, deflections(model, modes, shapes.points), hz, shapes.deflections)
        pairs = zip(found.partners, found.mac, strict=True)
        partners = {k: (int(partner) + 1, float(mac)) for k, (partner, mac) in enumerate(pairs, start=1)}
    rows = []
    for row in expected:
        number, mac = partners.get(row.mode, (row.mode, None)) if row.kind == "solid" else (row.mode, None)
        rows.append(compared(row, number, float(modes.frequencies[number - 1]), mac))
    return {
        "name": case.name,
        "source": case.note,
        "ok": all(row["ok"] for row in rows),
        "summary": summaries(rows),
        "rows": rows,
    }


def compared(row: "Expected", number: int, hz: float, mac: float | None) -> dict[str, Any]:
    """One line of the comparison: the expected mode against the computed one of that number."""
    difference = 100 * (hz / row.hz - 1)
    ok = True
    if row.tolerance is not None:
        ok = difference <= row.tolerance if row.kind == "upper bound" else abs(difference) <= row.tolerance
    if row.least_mac is not None and mac is not None:
        ok = ok and mac >= row.least_mac
    return {
        "mode": row.mode,
        "computed_mode": number,
        "hz": hz,
        "expected_hz": row.hz,
        "difference_percent": difference,
        "tolerance_percent": row.tolerance,
        "mac": mac,
        "least_mac": row.least_mac,
        "kind": row.kind,
        "ok": ok,
    }


def summaries(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Largest and root-mean-square error and lowest MAC of the first modes, a line for each kind of expected values."""
    out = []
    for kind in dict.fromkeys(row["kind"] for row in rows):
        own = [row for row in rows if row["kind"] == kind and row["mode"] <= N_JUDGED]
        if not own:
            continue
        errors = [row["difference_percent"] for row in own]
        allowed = [row["tolerance_percent"] for row in own if row["tolerance_percent"] is not None]
        macs = [row["mac"] for row in own if row["mac"] is not None]
        out.append(
            {
                "kind": kind,
                "modes": sorted({row["mode"] for row in own}),
                "largest_percent": max(errors, key=abs),
                "rms_percent": (sum(error**2 for error in errors) / len(errors)) ** 0.5,
                "lowest_mac": min(macs) if macs else None,
                "tolerance_percent": max(allowed) if allowed else None,
            }
        )
    return out


def print_check(check: dict[str, Any]) -> None:
    """Print one check as a table."""
    from bracedtop.scripts.console import print_table, signed

    print(f"{check['name']}: {' '.join(check['source'].split())}")
    rows = [
        [
            row["mode"],
            f"{row['hz']:.3f}",
            f"{row['expected_hz']:g}",
            signed(row["difference_percent"], 2),
            "-" if row["tolerance_percent"] is None else f"{row['tolerance_percent']:g}",
            "-" if row["mac"] is None else f"{row['mac']:.3f}",
            row["kind"],
            "" if row["ok"] else "MISS",
        ]
        for row in check["rows"]
    ]
    print_table(["mode", "Hz", "expected", "diff %", "allowed %", "MAC", "kind", ""], rows)
    for line in check["summary"]:
        mac = "" if line["lowest_mac"] is None else f", lowest MAC {line['lowest_mac']:.3f}"
        print(
            f"{line['kind']}, {_modes(line['modes'])}: largest difference {signed(line['largest_percent'], 2)} %, "
            f"root mean square {line['rms_percent']:.2f} %{mac}"
        )
    print()


def markdown(checks: list[dict[str, Any]]) -> list[str]:
    """Lines of one table of all checks, one for each kind of expected values but upper bounds."""
    from bracedtop.scripts.console import signed

    lines = [
        "| check | modes | expected from | largest | rms | lowest MAC | allowed | source |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for check in checks:
        for line in check["summary"]:
            if line["kind"] == "upper bound":
                continue
            bound = "shown only" if line["tolerance_percent"] is None else f"{line['tolerance_percent']:g} %"
            mac = "" if line["lowest_mac"] is None else f"{line['lowest_mac']:.3f}"
            lines.append(
                f"| {check['name']} | {_modes(line['modes']).removeprefix('modes ').removeprefix('mode ')} "
                f"| {line['kind']} | {signed(line['largest_percent'], 2)} % | {line['rms_percent']:.2f} % | {mac} "
                f"| {bound} | {' '.join(check['source'].split())} |"
            )
    return lines


def _modes(numbers: list[int]) -> str:
    return f"modes {numbers[0]}–{numbers[-1]}" if len(numbers) > 1 else f"mode {numbers[0]}"


def _refuse_points_off_the_top(path: Path, points: Any, region: Any) -> None:
    import shapely

    from bracedtop.geometry.errors import FileError

    for x, y in points[~shapely.contains_xy(region, *points.T)]:
        message = f"{path}: point [{1e3 * x:g}, {1e3 * y:g}] mm does not lie on the top; every point has to"
        raise FileError(message)
