"""The cut list at full size to lay on the top: a PDF of as many sheets as it takes, and the same as SVG files.

Shows the pass that bracedtop plan has planned, or the cuts of a file, or (--drawing) the top as it is. Print at 100 %
and measure the bar on each sheet before use. Writes out/template/.

example:
  bracedtop template wren
  bracedtop template wren --paper letter --file mine.csv
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bracedtop.geometry.cut import Cut
    from bracedtop.geometry.design import Design

OWN_FILES = ("template/*.pdf", "template/*.svg")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--paper", choices=("A4", "A3", "letter"), default="A4", help="paper (default A4)")
    source = parser.add_mutually_exclusive_group()
    source.add_argument("--file", type=Path, metavar="CSV", help="a cut list instead of the planned one")
    source.add_argument("--drawing", action="store_true", help="no cuts: the top as it is, with its stations")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a text")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Write the template."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.sheet import sheet_svg, sheets_pdf
    from bracedtop.fem.template import template_sheets
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    number, design = as_left(args.case, case.design)
    cuts = _cuts(args, design, number)
    title = f"{case.name}, pass {number}" if cuts else f"{case.name}, as it is"
    with progress.stage("template"), fresh_results(args.case, OWN_FILES) as folder:
        sheets = template_sheets(cuts, design, args.paper, title=title)
        out = folder / "template"
        out.mkdir()
        (out / "template.pdf").write_bytes(sheets_pdf(sheets, title))
        names = ["template.pdf"]
        for k, sheet in enumerate(sheets, start=1):
            names.append(f"template-{k:02d}.svg")
            (out / names[-1]).write_text(sheet_svg(sheet), encoding="utf-8")
    written = [str(args.case / "out" / "template" / name) for name in names]
    if args.json:
        print_json({"case": case.name, "pass": number, "paper": args.paper, "sheets": len(sheets), "written": written})
        return 0
    print(f"{title}: {len(sheets)} sheets of {args.paper}")
    print("Print at 100 % (actual size), without fitting to the page, and measure the bar on each sheet: 100 mm.")
    print(f"Written: {', '.join(written)}")
    return 0


def as_left(folder: Path, drawn: "Design") -> "tuple[int, Design]":
    """Number of the pass to come, and the top as the passes before it have left it.

    Raises
    ------
    FileError
        If a pass cannot be used.
    """
    from bracedtop.fem.cut_file import FILE_NAME
    from bracedtop.fem.session import pass_folders, read_cuts
    from bracedtop.geometry.cut import cut_design

    folders = pass_folders(folder)
    # A folder that was only made ready is the pass to come.
    if folders and not (folders[-1] / FILE_NAME).exists():
        folders = folders[:-1]
    for cuts in read_cuts(folders, drawn):
        drawn = cut_design(drawn, cuts)
    return len(folders) + 1, drawn


def _cuts(args: argparse.Namespace, design: "Design", number: int) -> "tuple[Cut, ...]":
    from bracedtop.fem.bench_log import read_log
    from bracedtop.fem.cut_file import read_cut
    from bracedtop.geometry.errors import FileError
    from bracedtop.scripts.cut import PLANNED

    if args.drawing:
        return ()
    if args.file is not None:
        return read_cut(args.file, design)
    path = args.case / PLANNED
    if not path.exists():
        message = f"{path}: no planned cuts; run bracedtop plan {args.case} first, or give --file or --drawing"
        raise FileError(message)
    plan = read_log(args.case).last("plan")
    if plan is not None and plan.number != number:
        message = (
            f"{path}: is the plan of pass {plan.number}, but pass {number} comes next; "
            f"run bracedtop plan {args.case} again"
        )
        raise FileError(message)
    return read_cut(path, design)
