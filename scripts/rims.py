"""Several rims side by side on one box: linings soft and stiff, and what they do to sustain, projection and presence.

The drawn linings come first, then a few usual ones (their sections are common practice, no source). --linings names a
TOML file of your own in place of these: [[rim]] with a name and the keys of [[lining]] without face (both faces; with
face = "top" or "back", the other stays as drawn), and [wood.NAME] as in top.toml.
Writes out/rims.json and out/pictures/rims.png; top.toml stays as drawn.

example:
  bracedtop rims wren
  bracedtop rims wren --linings my-rims.toml
"""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bracedtop.fem.box_state import BoxState
    from bracedtop.fem.rim import Rim
    from bracedtop.fem.rim_options import OptionOnBox

OWNED = ("rims.json", "pictures/rims.png")

SAME = 0.01
"""Ratio of sustain, and decibels over ten, below which two rims are called alike; chosen: nobody hears it."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--linings", type=Path, metavar="FILE", help="TOML file with [[rim]] tables of your own")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Compare rims."""
    from bracedtop.fem.box_model import build_box
    from bracedtop.fem.box_names import box_names
    from bracedtop.fem.box_sound import box_field
    from bracedtop.fem.box_state import box_state
    from bracedtop.fem.case import read_case
    from bracedtop.fem.picture import draw_pictures
    from bracedtop.fem.rim_options import drawn_rim, on_box, usual_rims
    from bracedtop.fem.rims_file import read_rims
    from bracedtop.geometry.errors import DesignError
    from bracedtop.scripts.box_compare import beside_picture, followed, state_beside
    from bracedtop.scripts.box_output import CAUTION, box_notes, refuse_without_box
    from bracedtop.scripts.console import Progress, json_text, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    if case.box is None:
        refuse_without_box()
    own = None if args.linings is None else read_rims(args.linings, case.woods)
    with progress.stage("top, back and air"):
        model = build_box(case)
    notes = box_notes(case)
    rims = [on_box(model, case, drawn_rim(model.box))]
    for option in usual_rims(model.box) if own is None else own:
        try:
            rims.append(on_box(model, case, option))
        except DesignError as error:
            if own is not None:
                raise
            notes.append(f"left out, as it does not fit: {error}")
    with progress.stage("sound field"):
        field = box_field(model)
    with progress.stage(f"{len(rims)} rims"):
        states = [box_state(model, rim.values, case.strings, field=field) for rim in rims]
    names = [one.name for one in box_names(model, states[0].modes)]
    paths = followed(model, states)
    sentences = rim_sentences(rims, states)
    result = {
        "case": case.name,
        "rims": [
            {"name": rim.option.name, "what": rim.option.words, **_rim_json(rim), **state_beside(names, state, path)}
            for rim, state, path in zip(rims, states, paths, strict=True)
        ],
        "in_words": sentences,
        "notes_and_assumptions": notes,
    }
    rows = [(rim.option.name, rim.option.words) for rim in rims]
    with fresh_results(args.case, OWNED) as folder:
        (folder / "rims.json").write_text(json_text(result), encoding="utf-8")
        job = beside_picture(
            "rims", "Rims side by side", "the same box, only its linings differ", rows, names, states, paths
        )
        with progress.stage("picture"):
            about = draw_pictures([job], folder / "pictures").note
    notes += [about] if about else []
    written = [str(args.case / "out" / name) for name in ("rims.json", "pictures/rims.png")]
    if args.json:
        print_json({**result, "caution": CAUTION, "written": written})
        return 0
    _print(case.name, rims, states, names, paths, sentences)
    for line in notes:
        print(f"note: {line}")
    print(CAUTION)
    print(f"Written: {', '.join(written)}")
    return 0


def _rim_json(rim: "OptionOnBox") -> dict[str, object]:
    def springs(one: "Rim") -> dict[str, float]:
        return {
            "deflection_n_per_mm2": one.deflection / 1e6,
            "rotation_n_per_rad": one.rotation,
            "deflection_loss": one.deflection_loss,
            "rotation_loss": one.rotation_loss,
        }

    return {"top_rim": springs(rim.top), "back_rim": springs(rim.back), "rim_mass_g": 1e3 * rim.mass}


def _print(
    case: str,
    rims: "Sequence[OptionOnBox]",
    states: "Sequence[BoxState]",
    names: Sequence[str],
    paths: Sequence[Sequence[int]],
    sentences: Sequence[str],
) -> None:
    from bracedtop.scripts.box_compare import print_modes_beside, print_voices_beside
    from bracedtop.scripts.console import print_table

    titles = [rim.option.name for rim in rims]
    print(f"{case}: {len(rims)} rims; how firmly each holds the top, per length of rim")
    print_table(
        ["rim", "what it is", "up and down N/mm2", "turning N/rad", "loss, up", "loss, turning", "rim g"],
        [
            [
                rim.option.name,
                rim.option.words,
                f"{rim.top.deflection / 1e6:.1f}",
                f"{rim.top.rotation:.0f}",
                f"{rim.top.deflection_loss:.3f}",
                f"{rim.top.rotation_loss:.3f}",
                f"{1e3 * rim.mass:.0f}",
            ]
            for rim in rims
        ],
        left=2,
    )
    print()
    print_modes_beside(names, titles, states, paths)
    print()
    print_voices_beside(titles, states)
    print()
    for sentence in sentences:
        print(sentence)
    print()


def rim_sentences(rims: "Sequence[OptionOnBox]", states: "Sequence[BoxState]") -> list[str]:
    """What the figures say."""
    from bracedtop.scripts.box_compare import POWER, power_share
    from bracedtop.scripts.console import signed

    drawn = states[0].voice
    said = []
    for rim, state in zip(rims[1:], states[1:], strict=True):
        voice = state.voice
        ratio = voice.sustain / drawn.sustain
        front, near = voice.projection - drawn.projection, voice.presence - drawn.presence
        if abs(ratio - 1) < SAME and max(abs(front), abs(near)) < 10 * SAME:
            said.append(f"{rim.option.name}: as good as the drawn rim.")
            continue
        said.append(
            f"{rim.option.name}: sustain {signed(100 * (ratio - 1), 0)} %, projection {signed(front, 1)} dB, presence "
            f"{signed(near, 1)} dB against the drawn rim."
        )
    if len(rims) > 1:
        order = sorted(range(len(rims)), key=lambda k: rims[k].top.rotation * rims[k].top.deflection)
        soft, stiff = order[0], order[-1]
        parts = POWER[1][1]
        passed = [100 * power_share(states[k], parts) for k in (soft, stiff)]
        longer = states[soft].voice.sustain > states[stiff].voice.sustain
        more = "keeps more in the top" if passed[0] < passed[1] else "takes more out of the top"
        said.append(
            f"Here the softest rim ({rims[soft].option.name}) {more}: {passed[0]:.0f} % of the power from the bridge "
            f"ends in rim and back, with the stiffest ({rims[stiff].option.name}) {passed[1]:.0f} %; the notes ring "
            f"{'longer' if longer else 'shorter'} with the soft one ({states[soft].voice.sustain:.1f} against "
            f"{states[stiff].voice.sustain:.1f} s)."
        )
    return said
