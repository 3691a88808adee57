"""The closed box: coupled modes of top, back and air, what takes their energy, sound, and how long each note sounds.

The box is [sides], [back] and what belongs to them in top.toml. With --notes, the decay time of every note is printed.
Writes out/box.json, the page out/box.html, and pictures to out/pictures: every mode (box-mode-01.png ...), admittance
at the bridge (box-admittance.png), sound at one metre (box-sound.png), and the fingerboard (sustain.png).

example:
  bracedtop box wren --notes
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bracedtop.fem.box_parts import BoxModel
    from bracedtop.fem.box_state import BoxState
    from bracedtop.fem.case import Case
    from bracedtop.fem.picture import PictureJob

OWNED = ("box.json", "box.html", "pictures/box-*.png", "pictures/sustain.png")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--notes", action="store_true", help="print the decay time of every note")
    parser.add_argument("--no-pictures", action="store_true", help="figures only, in a third of the time")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Show a closed box."""
    from bracedtop.fem.box_model import build_box
    from bracedtop.fem.box_names import box_names
    from bracedtop.fem.box_sound import box_field
    from bracedtop.fem.box_state import box_state
    from bracedtop.fem.case import read_case
    from bracedtop.scripts.box_output import (
        CAUTION,
        box_notes,
        curves_json,
        refuse_without_box,
        state_json,
    )
    from bracedtop.scripts.console import Progress, json_text, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    if case.box is None:
        refuse_without_box()
    with progress.stage("top, back and air"):
        model = build_box(case, what_if=False)
    with progress.stage("sound field"):
        field = box_field(model)
    with progress.stage("coupled modes, response, notes"):
        state = box_state(model, strings=case.strings, field=field)
    names = [one.name for one in box_names(model, state.modes)]
    notes = box_notes(case)
    result = {"case": case.name, **state_json(state, names), "notes_and_assumptions": notes}
    written = ["box.json"]
    with fresh_results(args.case, OWNED) as folder:
        (folder / "box.json").write_text(json_text({**result, "curves": curves_json(state)}), encoding="utf-8")
        if not args.no_pictures:
            with progress.stage("pictures"):
                jobs, about = _draw(model, state, names, folder)
            notes += [about] if about else []
            (folder / "box.html").write_text(_page(case, model, state, names, jobs, notes, folder), encoding="utf-8")
            written += ["box.html", *(f"pictures/{job.name}.png" for job in jobs)]
    files = [str(args.case / "out" / name) for name in written]
    if args.json:
        print_json({**result, "caution": CAUTION, "written": files})
        return 0
    _print(case, model, state, names, every_note=args.notes)
    for line in notes:
        print(f"note: {line}")
    print(CAUTION)
    print(f"Written: {', '.join(_shortened(files))}")
    return 0


def _print(case: "Case", model: "BoxModel", state: "BoxState", names: list[str], *, every_note: bool) -> None:
    from bracedtop.fem.sustain_words import sustain_words
    from bracedtop.scripts.box_output import (
        box_facts,
        lumped_lines,
        mode_rows,
        print_modes,
        print_notes_table,
        print_words,
        voice_rows,
    )
    from bracedtop.scripts.console import print_table

    print(box_facts(case, model))
    print()
    print_modes(mode_rows(state, names))
    print()
    for line in lumped_lines(state.lumped):
        print(line)
    print()
    print_table(["voice", "this box"], voice_rows([state.voice]))
    print_words()
    print()
    if state.notes is not None:
        for line in sustain_words(state.notes):
            print(line)
        if every_note:
            print()
            print_notes_table(state.notes)
        print()


def _draw(
    model: "BoxModel", state: "BoxState", names: list[str], folder: Path
) -> "tuple[list[PictureJob], str | None]":
    from bracedtop.fem.box_curves import admittance_picture, sound_picture
    from bracedtop.fem.box_picture import box_pictures
    from bracedtop.fem.picture import draw_pictures
    from bracedtop.fem.sustain_picture import sustain_picture

    jobs = [admittance_picture(model, state, names), sound_picture(model, state, names)]
    if state.notes is not None:
        jobs.append(sustain_picture(state.notes))
    jobs += box_pictures(model, state.modes, names)
    return jobs, draw_pictures(jobs, folder / "pictures").note


def _page(
    case: "Case",
    model: "BoxModel",
    state: "BoxState",
    names: list[str],
    jobs: "list[PictureJob]",
    notes: list[str],
    folder: Path,
) -> str:
    from importlib.metadata import version

    from bracedtop.fem.box_page import BoxPage, box_page
    from bracedtop.fem.report_data import ReportPicture
    from bracedtop.fem.sustain_words import sustain_words
    from bracedtop.scripts.box_output import (
        CAUTION,
        LOSSES,
        MOVERS,
        box_facts,
        lumped_lines,
        mode_rows,
        voice_words,
    )

    pictures = {job.name: ReportPicture.from_file(folder / "pictures" / f"{job.name}.png", job.alt) for job in jobs}
    curves = [
        ("At the bridge", [pictures["box-admittance"]]),
        ("What is heard", [pictures["box-sound"]]),
    ]
    if "sustain" in pictures:
        curves.append(("How long each note sounds", [pictures["sustain"]]))
    return box_page(
        BoxPage(
            case.name,
            case.note,
            box_facts(case, model),
            CAUTION,
            f"bracedtop {version('braced-top')}",
            [name for name, _ in MOVERS],
            [name for name, _ in LOSSES],
            mode_rows(state, names),
            lumped_lines(state.lumped),
            voice_words(state.voice),
            curves,
            () if state.notes is None else sustain_words(state.notes),
            [picture for name, picture in pictures.items() if name.startswith("box-mode-")],
            notes,
        )
    )


def _shortened(files: list[str]) -> list[str]:
    """Files with the numbered pictures of modes as one entry."""
    modes = [name for name in files if "box-mode-" in name]
    if len(modes) < 3:
        return files
    rest = [name for name in files if name not in modes]
    return [rest[0], f"{modes[0]} to {Path(modes[-1]).name}", *rest[1:]]
