"""What a customer would like more of and less of, against two instruments: theirs and the new one.

Words (sustain, projection, presence, bass, evenness) become figures, figures become targets, and each way to get there
is shown with what it costs in the other words. The wish is brief.toml in the case, or --wish; the other instrument is
--against (a case folder with a box), or "against" or [theirs] (measured) in brief.toml. Writes out/brief/ (brief.json,
brief.png, lines.toml: lines for top.toml).

example:
  bracedtop brief wren --against linnet --wish "bass = more, sustain = a little more"
  bracedtop brief wren
"""

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.box_parts import BoxModel
    from bracedtop.fem.box_values import BoxValues
    from bracedtop.fem.brief import Answer, BriefAnswer, Figures
    from bracedtop.fem.brief_file import Brief
    from bracedtop.fem.case import Case

OWN_FILES = ("brief/*.json", "brief/*.png", "brief/*.toml")

CAUTIONS = (
    "What is taken off cannot be put back: try one way at a time, tap, and compare with what was expected.",
    "Figures are of the model: differences between two states of one instrument are surer than those between two "
    "instruments. A lighter or thinner top carries the strings less well: look at bracedtop load before cutting.",
)


@dataclass(frozen=True, slots=True)
class Result:
    """All that the command shows."""

    case: "Case"
    brief: "Brief"
    answer: "BriefAnswer"
    lines: str
    notes: tuple[str, ...]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder of the new instrument, with its closed box")
    parser.add_argument("--against", type=Path, metavar="CASE", help="case folder of the customer's instrument")
    parser.add_argument(
        "--wish",
        metavar="WORDS",
        help='instead of brief.toml, such as "bass = more, presence = a little less"; amounts, against the other '
        "instrument: more, a little more, the same, a little less, less",
    )
    parser.add_argument("--no-pictures", action="store_true", help="tables only")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Turn a customer's words into figures and ways."""
    from bracedtop.fem.case import read_case
    from bracedtop.scripts.console import Progress, json_text, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    brief = _brief(args)
    other = None if brief.against is None else read_case(brief.against)
    for one in (case, other):
        _refuse_without_box(one)
    found = _answered(case, other, brief, progress)
    data = brief_json(found)
    about = None
    files = ["brief.json", "lines.toml"]
    with fresh_results(args.case, OWN_FILES) as folder:
        out = folder / "brief"
        out.mkdir()
        (out / "brief.json").write_text(json_text(data) + "\n", encoding="utf-8")
        (out / "lines.toml").write_text(found.lines, encoding="utf-8")
        if not args.no_pictures:
            with progress.stage("picture"):
                about = _draw(found, out)
            files.append("brief.png")
    written = [str(args.case / "out" / "brief" / name) for name in files]
    if args.json:
        print_json({**data, "written": written})
        return 0
    _print(found, data)
    if about:
        print(f"note: {about}")
    print(f"Written: {', '.join(written)}")
    return 0


def _brief(args: argparse.Namespace) -> "Brief":
    """What the customer said, from the command line before the file."""
    from dataclasses import replace

    from bracedtop.fem.brief_file import FILE_NAME, Brief, parsed_wishes, read_brief

    if args.wish is not None:
        wish = parsed_wishes(args.wish)
        if args.against is None and (args.case / FILE_NAME).exists():
            return replace(read_brief(args.case), wish=wish)
        return Brief("", args.against, None, wish)
    return read_brief(args.case, args.against)


def _refuse_without_box(case: "Case | None") -> None:
    from bracedtop.geometry.errors import DesignError

    if case is not None and case.box is None:
        message = f"{case.name}: no box; a brief compares closed instruments: [sides] and [back] in top.toml"
        raise DesignError(message)


def _model(case: "Case", progress: Any) -> "tuple[BoxModel, BoxValues, dict[str, float]]":
    """The box as its closed taps tell it, or as drawn without; and tapped over modelled frequency of each note."""
    import math

    from bracedtop.fem.box_model import build_box
    from bracedtop.fem.box_values import BoxValues
    from bracedtop.fem.closed_case import closed_case
    from bracedtop.fem.closed_taps import FOLDER_NAME
    from bracedtop.fem.closed_target import NOTES

    with progress.stage(case.name):
        if (case.folder / FOLDER_NAME).is_dir():
            known = closed_case(case)
            places = {note: known.closed.place(note) for note in NOTES}
            true = {note: math.exp(known.posterior.bias(hole)[mode]) for note, (hole, mode) in places.items()}
            return known.closed.model, known.posterior.values, true
        return build_box(case), BoxValues(), {}


def _answered(case: "Case", other: "Case | None", brief: "Brief", progress: Any) -> Result:
    from dataclasses import replace

    from bracedtop.fem.box_sound import box_field
    from bracedtop.fem.brief import Figures, answered, figures_of, retuned
    from bracedtop.fem.brief_lines import target_lines
    from bracedtop.fem.brief_ways import ways

    model, values, true = _model(case, progress)
    field = box_field(model, values)
    ours = figures_of(case.name, model, values, field)
    if other is not None:
        another, drawn, tapped = _model(other, progress)
        theirs = retuned(figures_of(other.name, another, drawn), tapped)
    elif brief.theirs is not None:
        own = brief.theirs
        theirs = Figures(own.name, own.figures, own.hz, own.q)
    else:
        theirs = Figures("not given", {}, {}, {})
    plate = model.top.model.design.plate
    left = plate.thickness - plate.ring_reduction - values.top.ring
    room = max(min(left - case.closed_limits.least(plate.thickness), 0.2 * plate.thickness), 0.0)
    with progress.stage("ways"):
        answer = answered(model, ours, theirs, brief.wish, ways(model, room), values, field)
    with progress.stage("lines for top.toml"):
        lines = target_lines(case, model, values, answer, true)
    answer = replace(answer, ours=retuned(answer.ours, true), after=retuned(answer.after, true))
    notes = []
    unknown = [name for name in brief.wish if name not in theirs.voice]
    if unknown:
        words = "the other instrument's figure is not known, so the wish counts from the new one's"
        notes.append(f"{', '.join(unknown)}: {words}")
    if not (case.folder / "closed").is_dir():
        notes.append(f"{case.name} is as drawn; with taps of the closed box its figures would be those of the real one")
    notes.append("sustain is that of one usual string for all notes, the same for both instruments")
    return Result(case, brief, answer, lines, tuple(notes))


def _draw(found: Result, folder: Path) -> str | None:
    from bracedtop.fem.brief_picture import brief_picture
    from bracedtop.fem.picture import draw_pictures

    return draw_pictures([brief_picture(found.answer)], folder).note


def brief_json(found: Result) -> dict[str, Any]:
    """What ``brief --json`` prints."""
    from bracedtop.fem.brief import NAMES, shares
    from bracedtop.fem.brief_words import SIZES, word_of

    answer = found.answer
    return {
        "case": found.case.name,
        "note": found.brief.note,
        "instruments": [_figures_json(one) for one in (answer.theirs, answer.ours)],
        "wish": [
            {
                "word": name,
                "amount": amount,
                "wanted": answer.wanted[name],
                "unit": word_of(name).unit,
                "definition": word_of(name).sentence,
                "size": SIZES[name].source,
            }
            for name, amount in answer.wish.items()
        ],
        "effects": [
            {
                "way": effect.way.name,
                "step": effect.way.words(effect.direction * effect.way.step),
                "when": effect.way.when,
                "noticeable_steps": {name: effect.slopes[name] * effect.direction for name in NAMES},
            }
            for effect in answer.effects
        ],
        "single": {
            name: [_answer_json(one, answer.ours) for one in several] for name, several in answer.single.items()
        },
        "together": _answer_json(answer.together, answer.ours),
        "share_of_each": shares(answer),
        "then": _figures_json(answer.after),
        "lines": found.lines,
        "notes": list(found.notes),
        "cautions": list(CAUTIONS),
    }


def _figures_json(figures: "Figures") -> dict[str, Any]:
    return {
        "name": figures.name,
        "figures": dict(figures.voice),
        "hz": dict(figures.hz),
        "q": dict(figures.q),
    }


def _answer_json(answer: "Answer", ours: "Figures") -> dict[str, Any]:
    return {
        "ways": [{"way": way.name, "amount": way.words(amount), "when": way.when} for way, amount in answer.amounts],
        "share_of_wish": answer.share,
        "figures": dict(answer.voice),
        "change": {name: value - ours.voice[name] for name, value in answer.voice.items()},
    }


def _print(found: Result, data: dict[str, Any]) -> None:
    from bracedtop.fem.brief import NAMES
    from bracedtop.fem.brief_words import figure_words, word_of
    from bracedtop.scripts.console import print_table

    answer = found.answer
    if found.brief.note:
        print(found.brief.note)
    print_table(
        ["", answer.theirs.name, answer.ours.name, "wish", "wanted", "with the ways below"],
        [
            [
                name,
                figure_words(name, answer.theirs.voice[name]) if name in answer.theirs.voice else None,
                figure_words(name, answer.ours.voice[name]),
                answer.wish.get(name, ""),
                figure_words(name, answer.wanted[name]) if name in answer.wanted else "",
                figure_words(name, answer.after.voice[name]),
            ]
            for name in NAMES
        ]
        + [
            [
                f"{note}, Hz (Q)",
                *(_note(one, note) for one in (answer.theirs, answer.ours)),
                "",
                "",
                _note(answer.after, note),
            ]
            for note in ("air", "top", "top blocked")
        ],
    )
    for line in data["notes"]:
        print(f"note: {line}")
    print()
    for name, several in answer.single.items():
        print(f"{name}, {answer.wish[name]} (wanted {figure_words(name, answer.wanted[name])}); ways, each by itself:")
        for one in several[:5]:
            print(f"- {_single_words(one, name, answer)}")
        if not several:
            print("- none of the ways moves it toward the wish")
    _print_together(answer)
    print()
    print("Lines for top.toml (out/brief/lines.toml):")
    print(found.lines.rstrip())
    print()
    print("What the words mean, and how large the amounts are:")
    for name in NAMES:
        print(f"- {name}: {word_of(name).sentence}")
    for wish in data["wish"]:
        print(f"- sizes of {wish['word']}: {wish['size']}")
    for line in CAUTIONS:
        print(f"- {line}")


def _note(figures: "Figures", note: str) -> str | None:
    if note not in figures.hz:
        return None
    q = f" ({figures.q[note]:.0f})" if note in figures.q else ""
    return f"{figures.hz[note]:.1f}{q}"


def _single_words(one: "Answer", name: str, answer: "BriefAnswer") -> str:
    """One way in words: how far it goes and what it costs or gives elsewhere."""
    from bracedtop.fem.brief_words import change_words

    ((way, amount),) = one.amounts
    far = "all the way" if one.share > 0.95 else f"{100 * one.share:.0f} % of the way"
    costs, gains = _elsewhere(one, name, answer)
    words = f"{way.words(amount)} ({way.when}): {far}, {change_words(name, one.voice[name], answer.ours.voice[name])}"
    if costs:
        words += f"; costs: {', '.join(costs)}"
    if gains:
        words += f"; also: {', '.join(gains)}"
    return words


def _elsewhere(one: "Answer", name: str | None, answer: "BriefAnswer") -> tuple[list[str], list[str]]:
    """What else changes by a quarter of a noticeable step: less of a word, and more of it."""
    from bracedtop.fem.brief import NAMES
    from bracedtop.fem.brief_words import apart, change_words

    costs, gains = [], []
    for word in NAMES:
        if word == name:
            continue
        moved = apart(word, one.voice[word], answer.ours.voice[word])
        if abs(moved) >= 0.25:
            (gains if moved > 0 else costs).append(change_words(word, one.voice[word], answer.ours.voice[word]))
    return costs, gains


def _print_together(answer: "BriefAnswer") -> None:
    from bracedtop.fem.brief import shares
    from bracedtop.fem.brief_words import change_words

    print()
    if not answer.together.amounts:
        print("Nothing is to be changed: the wish is met within a quarter of a noticeable step, or no way helps.")
        return
    words = "; ".join(f"{way.words(amount)} ({way.when})" for way, amount in answer.together.amounts)
    print(f"Put together, solved anew: {words}")
    moved = ", ".join(
        change_words(name, answer.after.voice[name], answer.ours.voice[name]) for name in answer.together.voice
    )
    print(f"  gives {moved}")
    far = ", ".join(
        f"{name} {'met' if share is None else 'no nearer' if share < 0.005 else f'{100 * share:.0f} %'}"
        for name, share in shares(answer).items()
    )
    print(f"  of the wish: {far}")
