"""What the strings do to the top: the bridge's turn, dip and belly, and stresses against the woods' strengths.

The strings are [strings] and [[string]] in top.toml. With --shave, the same after a proposed cut, side by side; the cut
is given as "NAME FROM TO DEPTH" in mm along the brace from its first path point, as for bracedtop shave, and may be
repeated. Writes out/load.csv and the pictures; top.toml stays as drawn.

example:
  bracedtop load wren --shave "x bass 60 140 1.5"
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, NoReturn

if TYPE_CHECKING:
    from bracedtop.fem.case import Case
    from bracedtop.fem.load_summary import LoadSummary
    from bracedtop.geometry.design import Design


class Cut(NamedTuple):
    """A proposed cut: brace; start, stop and depth in m."""

    brace: str
    start: float
    stop: float
    depth: float


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument(
        "--shave",
        action="append",
        default=[],
        type=cut,
        metavar='"NAME FROM TO DEPTH"',
        help="wood to take off a brace, in mm; may be repeated",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def cut(text: str) -> Cut:
    """A cut from the command line."""
    from bracedtop.scripts.shave import depth, millimetres

    parts = text.rsplit(maxsplit=3)
    if len(parts) != 4:
        message = f'{text!r} is not a cut; give "NAME FROM TO DEPTH", such as "x bass 60 140 1.5"'
        raise argparse.ArgumentTypeError(message)
    name, start, stop, take = parts
    return Cut(name.strip(), millimetres(start), millimetres(stop), depth(take))


def run(args: argparse.Namespace) -> int:
    """Show a top under its strings."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.load_summary import held_design, load_summary
    from bracedtop.fem.model import build_model
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.load_output import CAUTION, load_json, load_notes, load_state, print_load, write_load_csv
    from bracedtop.scripts.modes import mesh_size
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    strings = case.strings
    if strings is None:
        _refuse_without_strings()
    design = held_design(case.design, strings)
    shaved = _shaved(design, args.shave)
    with progress.stage("as drawn"):
        model = build_model(design, case.woods, size=mesh_size(case))
        before = load_summary(model, strings, case.strengths)
    after = None
    if args.shave:
        with progress.stage("after the cut"):
            after = load_summary(build_model(shaved, case.woods, mesh=model.mesh), strings, case.strengths)
    notes = load_notes(case, strings, before)
    with fresh_results(args.case, ("load.csv", "pictures/load*.png")) as folder:
        write_load_csv(folder / "load.csv", before, after)
        with progress.stage("pictures"):
            about_pictures = _draw(case, before, after, folder)
    names = ["load.csv", "pictures/load.png", *(["pictures/load-after.png"] if after else [])]
    written = [str(args.case / "out" / name) for name in names]
    if args.json:
        result = load_json(strings, before, notes)
        if after is not None:
            result["after"] = load_state(after)
        print_json({**result, "caution": CAUTION, "written": written})
        return 0
    print_load(case.name, strings, before, after, args.shave)
    for line in [*notes, *([about_pictures] if about_pictures else [])]:
        print(f"note: {line}")
    print(CAUTION)
    print(f"Written: {', '.join(written)}")
    return 0


def _refuse_without_strings() -> NoReturn:
    from bracedtop.geometry.errors import DesignError

    message = (
        "top.toml: has no [strings]; add [strings] with saddle_height_mm, and for each string [[string]] with "
        "tension_n, or with note and mass_g_per_m and then scale_length_mm under [strings]"
    )
    raise DesignError(message)


def _shaved(design: "Design", cuts: list[Cut]) -> "Design":
    from bracedtop.fem.what_if import shaved_design
    from bracedtop.scripts.shave import refuse_unknown

    for one in cuts:
        refuse_unknown(one.brace, [brace.name for brace in design.braces])
        design = shaved_design(design, *one)
    return design


def _draw(case: "Case", before: "LoadSummary", after: "LoadSummary | None", folder: Path) -> str | None:
    from bracedtop.fem.load_picture import load_picture
    from bracedtop.fem.picture import draw_pictures
    from bracedtop.fem.top_view import top_view

    view = top_view(case.design)
    jobs = [load_picture(view, before)]
    if after is not None:
        jobs.append(load_picture(view, after, name="load-after", title="Under the strings, after the cut"))
    return draw_pictures(jobs, folder / "pictures").note
