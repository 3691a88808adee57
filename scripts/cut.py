"""Record what was really cut, as the next pass of a case.

Give the plan's cut list as it was planned, a stretch of one brace, or a file: cut.csv with depths along stretches
(brace,from_mm,to_mm,depth_from_mm,depth_to_mm) or with heights measured afterwards (brace,at_mm,height_mm). Distances
run along the brace from its first path point. "edge ring" is thinned on the outside all round and takes no --from.
Writes CASE/pass-N/cut.csv, never over another one, and a line in CASE/log.jsonl; top.toml stays as it was drawn.

example:
  bracedtop cut wren --as-planned
  bracedtop cut wren --brace "x bass" --from 95 --to 230 --depth 0.4 --depth-end 0.6
  bracedtop cut wren --file measured.csv
"""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bracedtop.scripts.shave import depth, millimetres

if TYPE_CHECKING:
    from bracedtop.fem.case import Case
    from bracedtop.geometry.cut import Cut
    from bracedtop.geometry.design import Design
    from bracedtop.scripts.console import Stages

DUST = (
    "Wood dust harms lungs: wear a mask rated for fine dust, draw the dust off where it is made, and follow your local "
    "rules."
)

PLANNED = Path("out") / "plan" / "cut.csv"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--as-planned", action="store_true", help="the cut list of the last bracedtop plan, as it is")
    what.add_argument("--file", type=Path, metavar="CSV", help="a list of cuts, or of heights measured afterwards")
    what.add_argument("--brace", metavar="NAME", help='name of the brace in top.toml, or "edge ring"')
    parser.add_argument("--from", type=millimetres, dest="start", metavar="MM", help="start of the cut")
    parser.add_argument("--to", type=millimetres, dest="stop", metavar="MM", help="end of the cut")
    parser.add_argument(
        "--depth", type=depth, metavar="MM", help="depth of the cut, at its start if --depth-end is given"
    )
    parser.add_argument("--depth-end", type=millimetres, metavar="MM", help="depth at its end")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a table")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Record a pass."""
    from bracedtop.fem.case import read_case
    from bracedtop.scripts.console import Progress, print_json

    _check_arguments(args)
    case = read_case(args.case)
    number, design = next_pass(case)
    cuts, origin = _cuts(args, design, number)
    rows, written = record_pass(case, number, design, cuts, origin, Progress(quiet=args.quiet))
    folder = args.case / f"pass-{number}"
    total = sum(row["grams"] or 0.0 for row in rows)
    then = (
        f"re-tap as before, put the recordings into {folder}/taps/ (or write {folder}/taps.csv), "
        f"and run: bracedtop plan {args.case}"
    )
    if args.json:
        print_json({"pass": number, "cuts": rows, "grams": total, "caution": DUST, "next": then, "written": written})
        return 0
    print_rows(f"{case.name}, pass {number}", rows)
    print(DUST)
    print(f"Next: {then}")
    print(f"Written: {', '.join(written)}")
    return 0


def record_pass(
    case: "Case", number: int, before: "Design", cuts: "Sequence[Cut]", origin: str, progress: "Stages"
) -> tuple[list[dict[str, Any]], list[str]]:
    """Write what was really cut as pass `number`, and a line in the log.

    Parameters
    ----------
    case : Case
    number : int
    before : Design
        The top before the pass; see `next_pass`.
    cuts : sequence of Cut
    origin : str
        Where they come from, in words.
    progress : Stages

    Returns
    -------
    rows : list of dict
        The cuts with the wood that they take and the least height left.
    written : list of str

    Raises
    ------
    FileError, DesignError
        If the pass is there already, or there is not that much wood.
    """
    from bracedtop.fem.bench_log import append, cut_entry
    from bracedtop.fem.cut_file import cut_text, write_cut
    from bracedtop.fem.cut_mass import cut_grams
    from bracedtop.geometry.cut import cut_design

    left = cut_design(before, cuts)
    grams = cut_grams(before, case.woods, cuts)
    _record_before(case, number - 1, progress)
    folder = case.folder / f"pass-{number}"
    _make_folders(folder)
    path = folder / "cut.csv"
    write_cut(path, cut_text(cuts, [f"Pass {number}: what was really cut ({origin})."]))
    append(case.folder, cut_entry(cuts, grams, number))
    rows = [_row(cut, g, left) for cut, g in zip(cuts, grams, strict=True)]
    return rows, [str(path), str(case.folder / "log.jsonl")]


def next_pass(case: "Case") -> tuple[int, "Design"]:
    """Number of the pass to be recorded, and the top as the passes before have left it.

    Raises
    ------
    FileError
        If the last pass was not tapped, or an earlier one cannot be used.
    """
    from bracedtop.fem.cut_file import FILE_NAME
    from bracedtop.fem.session import has_taps, pass_folders, read_cuts, retap_words
    from bracedtop.geometry.cut import cut_design
    from bracedtop.geometry.errors import FileError

    folders = pass_folders(case.folder)
    # A folder that was only made ready is the pass to be recorded.
    if folders and not (folders[-1] / FILE_NAME).exists():
        folders = folders[:-1]
    if folders and not has_taps(folders[-1]):
        last = folders[-1].name
        message = (
            f"{last}/{FILE_NAME} is there already, and the top was not tapped since; {retap_words(folders[-1])}; "
            f"if more was cut in {last}, add it to that file"
        )
        raise FileError(message)
    design = case.design
    for cuts in read_cuts(folders, design):
        design = cut_design(design, cuts)
    return len(folders) + 1, design


def _record_before(case: "Case", number: int, progress: "Stages") -> None:
    """Put the drawing and the taps before this pass into the log, if no other command has."""
    from bracedtop.fem.bench_log import append, drawing_entry, read_log, taps_entry
    from bracedtop.fem.session import has_taps
    from bracedtop.fem.taps import read_taps

    log = read_log(case.folder)
    if log.last("drawing") is None:
        append(case.folder, drawing_entry(case))
    folder = case.folder / f"pass-{number}" if number else case.folder
    if log.last("taps", number) is None and has_taps(folder):
        with progress.stage("taps before this pass"):
            taps = read_taps(folder)
        append(case.folder, taps_entry(taps, number, folder))


def _check_arguments(args: argparse.Namespace) -> None:
    from bracedtop.geometry.cut import EDGE_RING
    from bracedtop.scripts.main import CommandLineError

    ends = {"--from": args.start, "--to": args.stop}
    given = {
        name
        for name, value in {**ends, "--depth": args.depth, "--depth-end": args.depth_end}.items()
        if value is not None
    }
    if args.brace is None:
        needed, allowed = set(), set()
    elif args.brace == EDGE_RING:
        needed = allowed = {"--depth"}
    else:
        needed, allowed = {*ends, "--depth"}, {*ends, "--depth", "--depth-end"}
    what = "without --brace" if args.brace is None else f'for --brace "{args.brace}"'
    if given - allowed:
        message = f"{', '.join(sorted(given - allowed))} cannot be given {what}"
        raise CommandLineError(message)
    if needed - given:
        message = f"{', '.join(sorted(needed - given))} must be given {what}"
        raise CommandLineError(message)


def _cuts(args: argparse.Namespace, design: "Design", number: int) -> tuple[tuple["Cut", ...], str]:
    """The cuts that the arguments tell, and where they come from."""
    from bracedtop.fem.bench_log import read_log
    from bracedtop.fem.cut_file import read_cut
    from bracedtop.geometry.cut import EDGE_RING, Cut, cut_design
    from bracedtop.geometry.errors import FileError
    from bracedtop.scripts.shave import refuse_unknown

    if args.as_planned:
        path = args.case / PLANNED
        if not path.exists():
            message = f"{path}: no plan yet; run bracedtop plan {args.case} first, or give --brace or --file"
            raise FileError(message)
        plan = read_log(args.case).last("plan")
        if plan is not None and plan.number != number:
            message = (
                f"{path}: is the plan of pass {plan.number}, but pass {number} is to be recorded; "
                f"run bracedtop plan {args.case} again"
            )
            raise FileError(message)
        return read_cut(path, design), "as planned"
    if args.file is not None:
        return read_cut(args.file, design), f"from {args.file.name}"
    if args.brace == EDGE_RING:
        cuts = (Cut(EDGE_RING, 0.0, 0.0, args.depth, args.depth),)
    else:
        refuse_unknown(args.brace, [brace.name for brace in design.braces])
        end = args.depth if args.depth_end is None else args.depth_end
        cuts = (Cut(args.brace, args.start, args.stop, args.depth, end),)
    cut_design(design, cuts)
    return cuts, "from the command line"


def _make_folders(folder: Path) -> None:
    from bracedtop.geometry.errors import FileError

    try:
        (folder / "taps").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        message = f"{folder}: cannot be made a folder ({error.strerror})"
        raise FileError(message) from error


def _row(cut: "Cut", grams: float, left: "Design") -> dict[str, Any]:
    from bracedtop.fem.log_entry import logged_cut

    return {**logged_cut(cut, grams).model_dump(), "lowest_left_mm": _lowest_left(cut, left)}


def _lowest_left(cut: "Cut", left: "Design") -> float:
    """Least height that a cut leaves in its stretch, or the least thickness of the ring, mm."""
    import numpy as np

    from bracedtop.geometry.cut import placed, thinnest_ring
    from bracedtop.geometry.units import MM

    if cut.is_ring:
        return round((thinnest_ring(left) - left.plate.ring_reduction) / MM, 3)
    brace = left.brace(cut.part)
    own = placed(brace, cut)
    inner = brace.stations[:, 0][(brace.stations[:, 0] > own.start) & (brace.stations[:, 0] < own.stop)]
    behind = brace.height(np.append(inner, own.start))
    before = brace.height_before(np.append(inner, own.stop))
    return round(float(min(behind.min(), before.min())) / MM, 3)


def print_rows(title: str, rows: Sequence[dict[str, Any]]) -> None:
    """Table of cuts with the wood that they take."""
    from bracedtop.scripts.console import print_table

    total = sum(row["grams"] or 0.0 for row in rows)
    print(f"{title}: {total:.2f} g in {len(rows)} {'cut' if len(rows) == 1 else 'cuts'}")
    head = ["brace", "from mm", "to mm", "depth mm", "g"]
    lowest = "lowest_left_mm" in rows[0]
    print_table(
        head + ["lowest left mm"] * lowest,
        [
            [
                row["brace"],
                f"{row['from_mm']:.1f}" if row["to_mm"] else "all",
                f"{row['to_mm']:.1f}" if row["to_mm"] else "round",
                shown_depth(row),
                None if row["grams"] is None else f"{row['grams']:.3f}",
                *([f"{row['lowest_left_mm']:.2f}"] if lowest else []),
            ]
            for row in rows
        ],
    )


def shown_depth(row: dict[str, Any]) -> str:
    """Depth of a cut such as ``0.4`` or ``0.4 to 0.6``."""
    first, last = f"{row['depth_from_mm']:.4g}", f"{row['depth_to_mm']:.4g}"
    return first if first == last else f"{first} to {last}"
