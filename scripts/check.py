"""Run published checks: each solves a plate from the literature and compares.

Without folders, all checks that come with the program. A check is a case folder that also holds expected.csv with
the columns mode, hz, tolerance_percent and kind. Kinds: "exact", "converged", "theory", "solid" and "measured" are held
to their tolerance either way; "upper bound" may not be exceeded by more than it. Without a tolerance a value is only
shown.
The exit code is 1 if a value misses.

example:
  bracedtop check
  bracedtop check my-plate --json
"""

import argparse
import contextlib
import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

KINDS = ("exact", "converged", "theory", "solid", "upper bound", "measured")
COLUMNS = ["mode", "hz", "tolerance_percent", "kind"]
FILE_NAME = "expected.csv"


@dataclass(frozen=True, slots=True)
class Expected:
    """One line of expected.csv; `tolerance` in per cent, None for what is shown only."""

    mode: int
    hz: float
    tolerance: float | None
    kind: str


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
        print_markdown(results)
    if missed:
        print(f"{len(missed)} of {len(results)} checks missed: {', '.join(missed)}. Nothing was written.")
    else:
        print(f"All {len(results)} checks hold. Nothing was written.")
    return 1 if missed else 0


@contextlib.contextmanager
def packaged_checks() -> Iterator[list[Path]]:
    """Folders of the checks that come with the program."""
    from importlib import resources

    with resources.as_file(resources.files("bracedtop.cases") / "checks") as root:
        yield sorted(path.parent for path in root.glob(f"*/{FILE_NAME}"))


def checked(folder: Path) -> dict[str, Any]:
    """Solve one check and compare.

    Raises
    ------
    FileError
        If the drawing or expected.csv cannot be read.
    """
    from bracedtop.fem.case import read_case
    from bracedtop.fem.model import build_model, solve
    from bracedtop.scripts.modes import mesh_size

    expected = read_expected(folder / FILE_NAME)
    case = read_case(folder)
    n_modes = max(row.mode for row in expected)
    modes = solve(build_model(case.design, case.woods, size=mesh_size(case)), n_modes)
    rows = [compared(row, float(modes.frequencies[row.mode - 1])) for row in expected]
    return {"name": case.name, "source": case.note, "ok": all(row["ok"] for row in rows), "rows": rows}


def compared(row: Expected, hz: float) -> dict[str, Any]:
    """One line of the comparison."""
    difference = 100 * (hz / row.hz - 1)
    ok = True
    if row.tolerance is not None:
        ok = difference <= row.tolerance if row.kind == "upper bound" else abs(difference) <= row.tolerance
    return {
        "mode": row.mode,
        "hz": hz,
        "expected_hz": row.hz,
        "difference_percent": difference,
        "tolerance_percent": row.tolerance,
        "kind": row.kind,
        "ok": ok,
    }


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
            row["kind"],
            "" if row["ok"] else "MISS",
        ]
        for row in check["rows"]
    ]
    print_table(["mode", "Hz", "expected", "diff %", "allowed %", "kind", ""], rows)
    print()


def print_markdown(checks: list[dict[str, Any]]) -> None:
    """Print the checks as one table, a line for each kind of expected values in a check."""
    from bracedtop.scripts.console import signed

    print("| check | modes | expected from | largest difference | allowed | source |")
    print("|---|---|---|---|---|---|")
    for check in checks:
        for kind in KINDS:
            rows = [row for row in check["rows"] if row["kind"] == kind]
            if not rows or kind == "upper bound":
                continue
            worst = max((row["difference_percent"] for row in rows), key=abs)
            allowed = [row["tolerance_percent"] for row in rows if row["tolerance_percent"] is not None]
            bound = f"{max(allowed):g} %" if allowed else "shown only"
            numbers = sorted(row["mode"] for row in rows)
            modes = f"{numbers[0]}–{numbers[-1]}" if len(numbers) > 1 else f"{numbers[0]}"
            source = " ".join(check["source"].split())
            print(f"| {check['name']} | {modes} | {kind} | {signed(worst, 2)} % | {bound} | {source} |")
    print()


def read_expected(path: Path) -> list[Expected]:
    """Lines of an expected.csv.

    Raises
    ------
    FileError
        If the file is missing or a line of it is wrong.
    """
    from bracedtop.geometry.errors import FileError

    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        message = f"{path}: cannot be read ({reason}); a check needs this file beside top.toml"
        raise FileError(message) from None
    table = list(csv.reader(lines))
    if not table or table[0] != COLUMNS:
        message = f"{path}: line 1: must be {','.join(COLUMNS)}"
        raise FileError(message)
    rows = [_row(path, number, cells) for number, cells in enumerate(table[1:], start=2) if cells]
    if not rows:
        message = f"{path}: holds no value; at least one line is needed"
        raise FileError(message)
    return rows


def _row(path: Path, number: int, cells: list[str]) -> Expected:
    from bracedtop.geometry.errors import FileError
    from bracedtop.scripts.modes import MOST_MODES

    where = f"{path}: line {number}"
    if len(cells) != len(COLUMNS):
        message = f"{where}: {len(cells)} values; must be {len(COLUMNS)}"
        raise FileError(message)
    mode, hz, tolerance, kind = (cell.strip() for cell in cells)
    if kind not in KINDS:
        message = f"{where}: kind = {kind!r}; must be one of {', '.join(KINDS)}"
        raise FileError(message)
    if not (mode.isdecimal() and 1 <= int(mode) <= MOST_MODES):
        message = f"{where}: mode = {mode!r}; must be a whole number from 1 to {MOST_MODES}"
        raise FileError(message)
    value = _positive(where, "hz", hz)
    return Expected(int(mode), value, _positive(where, "tolerance_percent", tolerance) if tolerance else None, kind)


def _positive(where: str, key: str, text: str) -> float:
    from bracedtop.geometry.errors import FileError

    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0 < value < math.inf:
        message = f"{where}: {key} = {text!r}; must be a number > 0"
        raise FileError(message)
    return value
