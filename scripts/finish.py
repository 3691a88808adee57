"""What a finish does: hertz, how long modes and notes ring, and projection, bare, as drawn, and with another one.

Without --mass, the drawn [[finish]] is set against the bare box. With --mass, a further finish stands beside them; with
--film, --modulus and --loss it also stiffens and damps, else it only weighs.
Writes out/finish.json and out/pictures/finish.png; top.toml stays as drawn.

example:
  bracedtop finish wren
  bracedtop finish wren --mass 90 --film 0.08 --modulus 3 --loss 0.05 --faces top,back
"""

import argparse
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bracedtop.fem.box_state import BoxState
    from bracedtop.fem.case import Case
    from bracedtop.fem.finish_options import FinishOption

OWNED = ("finish.json", "pictures/finish.png")

CAUTION = (
    "A film is rarely what is said of it: finish a scrap of the same wood, weigh it and tap it before and after. "
    "Finishes and their solvents burn and harm when breathed, spraying needs extraction that cannot spark and a "
    "respirator for vapour, oily rags set themselves on fire: data sheets and local rules stand above this."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument(
        "--mass", type=_within(0, 10_000), metavar="G_PER_M2", help="dry finish, grams per square metre"
    )
    parser.add_argument("--film", type=_within(0, 10), metavar="MM", help="thickness of its film")
    parser.add_argument("--modulus", type=_within(0, 1000), metavar="GPA", help="Young's modulus of its film")
    parser.add_argument("--loss", type=_within(0, 0.999), metavar="X", help="loss factor of its film")
    parser.add_argument(
        "--faces", type=_faces, default=("top", "back", "sides"), metavar="LIST", help="such as top,back (default all)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def _within(low: float, high: float) -> Callable[[str], float]:
    """Reader of a number from the command line between two limits."""

    def number(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            message = f"{text!r} is out of range; give {low:g} to {high:g}"
            raise argparse.ArgumentTypeError(message)
        return value

    return number


def _faces(text: str) -> tuple[str, ...]:
    from bracedtop.fem.finish_options import PLACES

    names = tuple(dict.fromkeys(part.strip() for part in text.split(",")))
    if not names or any(name not in PLACES for name in names):
        message = f"{text!r} are no faces; give some of {','.join(PLACES)}"
        raise argparse.ArgumentTypeError(message)
    return names


def run(args: argparse.Namespace) -> int:
    """Compare a box bare, as drawn, and with another finish."""
    from bracedtop.fem.box_model import build_box
    from bracedtop.fem.box_names import box_names
    from bracedtop.fem.box_sound import box_field
    from bracedtop.fem.box_state import box_state
    from bracedtop.fem.case import read_case
    from bracedtop.fem.finish_options import finish_values
    from bracedtop.fem.picture import draw_pictures
    from bracedtop.scripts.box_compare import beside_picture, followed, state_beside
    from bracedtop.scripts.box_output import box_notes, refuse_without_box
    from bracedtop.scripts.console import Progress, json_text, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    if case.box is None:
        refuse_without_box()
    options = _options(args, case)
    with progress.stage("top, back and air"):
        model = build_box(case)
    values = [finish_values(model, case, option) for option in options]
    with progress.stage("sound field"):
        field = box_field(model)
    with progress.stage(f"{len(options)} finishes"):
        states = [box_state(model, one, case.strings, field=field) for one in values]
    names = [one.name for one in box_names(model, states[0].modes)]
    paths = followed(model, states)
    notes = box_notes(case)
    sentences = finish_sentences(options, states, paths, names)
    result = {
        "case": case.name,
        "finishes": [
            {"name": option.name, "what": option.words, **state_beside(names, state, path)}
            for option, state, path in zip(options, states, paths, strict=True)
        ],
        "in_words": sentences,
        "notes_and_assumptions": notes,
    }
    rows = [(option.name, option.words) for option in options]
    with fresh_results(args.case, OWNED) as folder:
        (folder / "finish.json").write_text(json_text(result), encoding="utf-8")
        words = "the same box, only its finish differs"
        job = beside_picture("finish", "Finishes side by side", words, rows, names, states, paths)
        with progress.stage("picture"):
            about = draw_pictures([job], folder / "pictures").note
    notes += [about] if about else []
    written = [str(args.case / "out" / name) for name in ("finish.json", "pictures/finish.png")]
    if args.json:
        print_json({**result, "caution": CAUTION, "written": written})
        return 0
    _print(case.name, options, states, names, paths, sentences)
    for line in notes:
        print(f"note: {line}")
    print(CAUTION)
    print(f"Written: {', '.join(written)}")
    return 0


def _options(args: argparse.Namespace, case: "Case") -> "list[FinishOption]":
    """Bare, as drawn if it is not bare, and what the command line tells."""
    from bracedtop.fem.finish_options import FinishOption, finish_words
    from bracedtop.geometry.box import Finish
    from bracedtop.geometry.errors import DesignError

    drawn = () if case.box is None else case.box.finishes
    options = [FinishOption("bare", "no finish")]
    if drawn:
        options.append(FinishOption("as drawn", finish_words(drawn), drawn))
    film = (args.film, args.modulus, args.loss)
    if args.mass is None:
        if any(value is not None for value in film):
            message = "--film, --modulus and --loss belong to a finish; give its --mass in g/m2 too"
            raise DesignError(message)
        if not drawn:
            message = "top.toml: has no [[finish]]; add one, or give --mass in g/m2, with --film, --modulus and --loss"
            raise DesignError(message)
        return options
    if any(value is not None for value in film) and any(value is None for value in film):
        message = "a film takes all of --film in mm, --modulus in GPa and --loss; without them a finish only weighs"
        raise DesignError(message)
    thickness, modulus, loss = (value or 0.0 for value in film)
    finishes = tuple(Finish(face, args.mass / 1e3, thickness / 1e3, modulus * 1e9, loss) for face in args.faces)
    options.append(FinishOption("asked for", finish_words(finishes), finishes))
    return options


def _print(
    case: str,
    options: "Sequence[FinishOption]",
    states: "Sequence[BoxState]",
    names: Sequence[str],
    paths: Sequence[Sequence[int]],
    sentences: Sequence[str],
) -> None:
    from bracedtop.scripts.box_compare import print_modes_beside, print_voices_beside

    titles = [option.name for option in options]
    print(f"{case}: {len(options)} finishes")
    for option in options:
        print(f"  {option.name}: {option.words}")
    print()
    print_modes_beside(names, titles, states, paths)
    print()
    print_voices_beside(titles, states)
    print()
    for sentence in sentences:
        print(sentence)
    print()


def finish_sentences(
    options: "Sequence[FinishOption]",
    states: "Sequence[BoxState]",
    paths: Sequence[Sequence[int]],
    names: Sequence[str],
) -> list[str]:
    """What the figures say."""
    from bracedtop.geometry.units import cents
    from bracedtop.scripts.console import signed

    bare = states[0]
    said = []
    for option, state, path in zip(options[1:], states[1:], paths[1:], strict=True):
        moved = [
            cents(float(state.modes.frequencies[at]), float(bare.modes.frequencies[k])) for k, at in enumerate(path)
        ]
        most = max(range(len(moved)), key=lambda k, moved=moved: abs(moved[k]))  # type: ignore[misc]
        main = next((k for k in range(len(path)) if names[k].startswith("main top")), 0)
        ring = float(state.modes.t60[path[main]] / bare.modes.t60[main]) - 1
        voice, before = state.voice, bare.voice
        said.append(
            f"{option.name}, against bare: {names[main]} moves by {signed(moved[main], 0)} cents, its T60 "
            f"changes by {signed(100 * ring, 0)} %; {names[most]} moves most ({signed(moved[most], 0)} cents); "
            f"sustain of the notes {signed(100 * (voice.sustain / before.sustain - 1), 0)} %, projection "
            f"{signed(voice.projection - before.projection, 1)} dB, presence "
            f"{signed(voice.presence - before.presence, 1)} dB."
        )
    return said
