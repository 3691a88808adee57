"""Read the taps of a case: which frequencies ring, how long, how well the hits agree, and how the top moves.

Give a case folder (taps.csv, taps.toml, taps/*.wav), one recording (WAV or FLAC) or one table (CSV). Nothing is written
unless --picture or --export asks for it, and then into out/taps/ of the case folder.

example:
  bracedtop taps siskin --picture --export
  bracedtop taps wren --pass 1
  bracedtop taps knock.wav --thirds
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.sustain import BandDecay
    from bracedtop.fem.taps import Taps

OWNED = ("taps.json", "modes.csv", "shapes.csv", "sustain.csv", "response-*.csv")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("source", type=Path, help="case folder, WAV or FLAC file, or CSV file")
    parser.add_argument(
        "--pass", type=pass_number, dest="number", metavar="N", help="the taps after pass N, in pass-N/"
    )
    parser.add_argument("--thirds", action="store_true", help="sustain by third-octave bands instead of octaves")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a table")
    parser.add_argument("--picture", action="store_true", help="draw the spectra, and the shapes if points are known")
    parser.add_argument("--export", action="store_true", help="write modes, shapes and sustain as CSV, and taps.json")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def pass_number(text: str) -> int:
    """Number of a pass from the command line."""
    if not (text.isascii() and text.isdecimal() and 0 < len(text) < 4 and int(text) > 0):
        message = f"{text!r} is no pass; give 1 for the first, up to 999"
        raise argparse.ArgumentTypeError(message)
    return int(text)


def run(args: argparse.Namespace) -> int:
    """List what was measured."""
    from bracedtop.fem.sustain import tap_sustain
    from bracedtop.geometry.errors import FileError
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.taps_output import hammer_json, sustain_json, taps_json

    progress = Progress(quiet=args.quiet)
    for option in ("picture", "export"):
        if getattr(args, option) and not args.source.is_dir():
            message = f"{args.source}: --{option} writes into a case's out/; give the case folder"
            raise FileError(message)
    with progress.stage("taps"):
        taps = read_source(pass_folder(args.source, args.number))
    with progress.stage("sustain"):
        bands = tap_sustain(taps, parts=3 if args.thirds else 1)
    result = taps_json(taps) | {"sustain": sustain_json(bands), "hammer": hammer_json(taps)}
    inside = Path("taps") if args.number is None else Path(f"pass-{args.number}") / "taps"
    written, note = [], None
    if args.picture:
        with progress.stage("picture"):
            names, note = _draw(args.source, inside, taps)
        written += names
    if args.export:
        written += _export(args.source, inside, taps, bands, result)
    if args.json:
        print_json({**result, "written": written})
        return 0
    print_taps(taps)
    print_sustain(bands)
    print_hammer(result["hammer"])
    if note:
        print(f"- {note}")
    print(f"Read: {', '.join(taps.sources)}. Written: {', '.join(written) or 'nothing'}")
    return 0


def pass_folder(source: Path, number: int | None) -> Path:
    """Folder of the taps: the case's, or that of a pass in it.

    Raises
    ------
    FileError
        If there is no such pass.
    """
    from bracedtop.geometry.errors import FileError

    if number is None:
        return source
    folder = source / f"pass-{number}"
    if not folder.is_dir():
        message = f"{folder}: there is no such folder; the taps after pass {number} are read from it"
        raise FileError(message)
    return folder


def read_source(path: Path) -> "Taps":
    """Taps of a case folder, a recording or a table.

    Raises
    ------
    FileError
        If the file does not exist or cannot be used.
    """
    from bracedtop.fem.taps import SUFFIXES, join_taps, read_taps
    from bracedtop.geometry.errors import FileError

    if path.is_dir():
        return read_taps(path)
    if not path.is_file():
        message = f"{path}: there is no such file or folder; give a case folder, a WAV, FLAC or CSV file"
        raise FileError(message)
    if path.suffix.lower() == ".csv":
        return join_taps(path, ())
    if path.suffix.lower() in SUFFIXES:
        return join_taps(None, (path,))
    message = f"{path}: must be a case folder or a file that ends in .csv, {', '.join(SUFFIXES)}"
    raise FileError(message)


def _draw(case: Path, inside: Path, taps: "Taps") -> tuple[list[str], str | None]:
    """Draw spectra and shapes into out/; files, and a note about the pictures."""
    from bracedtop.fem.tap_picture import write_spectra
    from bracedtop.scripts.results import fresh_results

    names, note = ["spectrum.png"], None
    owned = [str(inside / name) for name in ("spectrum.png", "shapes.png")]
    with fresh_results(case, owned) as folder:
        (folder / inside).mkdir(parents=True)
        write_spectra(folder / inside / "spectrum.png", taps)
        if any(mode.shape is not None for mode in taps.measured):
            if (case / "top.toml").is_file():
                from bracedtop.fem.case import read_case
                from bracedtop.fem.picture import draw_pictures
                from bracedtop.fem.tap_shape_picture import shapes_picture
                from bracedtop.fem.top_view import top_view

                view = top_view(read_case(case).design)
                note = draw_pictures([shapes_picture(view, taps.measured)], folder / inside).note
                names.append("shapes.png")
            else:
                note = "shapes are drawn on the outline of a top.toml in the case folder; there is none"
    return [str(case / "out" / inside / name) for name in names], note


def _export(
    case: Path, inside: Path, taps: "Taps", bands: "tuple[BandDecay, ...]", result: dict[str, Any]
) -> list[str]:
    """Write tables and JSON into out/; the files."""
    import json

    from bracedtop.scripts.console import plain
    from bracedtop.scripts.results import fresh_results
    from bracedtop.scripts.taps_output import modes_rows, response_rows, shapes_rows, sustain_rows

    with fresh_results(case, [str(inside / name) for name in OWNED]) as folder:
        target = folder / inside
        target.mkdir(parents=True)
        tables = {"modes.csv": modes_rows(taps), "sustain.csv": sustain_rows(bands), **response_rows(taps)}
        if any(mode.shape is not None for mode in taps.measured):
            tables["shapes.csv"] = shapes_rows(taps)
        for name, rows in tables.items():
            _write_csv(target / name, rows)
        text = json.dumps(plain(result), indent=2, allow_nan=False)
        (target / "taps.json").write_text(text + "\n", encoding="utf-8")
        names = sorted([*tables, "taps.json"])
    return [str(case / "out" / inside / name) for name in names]


def _write_csv(path: Path, rows: list[list[object]]) -> None:
    import csv

    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(["" if value is None else value for value in row] for row in rows)


def print_taps(taps: "Taps") -> None:
    """Table of the measured modes, and the warnings."""
    from bracedtop.geometry.units import note
    from bracedtop.scripts.console import print_table, signed
    from bracedtop.scripts.taps_output import digits

    head = ["tap", "Hz", "std error", "note, cents", "spread Hz", "T60 s", "Q", "points", "label"]
    rows = []
    for mode in taps.measured:
        name, deviation = note(mode.hz)
        rows.append(
            [
                str(mode.number),
                f"{mode.hz:.2f}",
                digits(mode.std_error_hz, 3),
                f"{name} {signed(deviation, 0)}",
                digits(mode.spread_hz, 2),
                digits(mode.decay_time, 2),
                digits(mode.q, 0),
                None if mode.shape is None else str(len(mode.shape.points)),
                mode.label,
            ]
        )
    if all(mode.shape is None for mode in taps.measured):
        head, rows = head[:7] + head[8:], [row[:7] + row[8:] for row in rows]
    print_table(head, rows)
    for warning in taps.warnings:
        print(f"- {warning}")


def print_sustain(bands: "tuple[BandDecay, ...]") -> None:
    """Table of the decay times by bands."""
    from bracedtop.scripts.console import print_table, signed
    from bracedtop.scripts.taps_output import digits

    if not bands:
        return
    print("\nSustain of the whole sound (T60; the better of T30 and T20)")
    print_table(
        ["band", "T60 s", "spread s", "from", "heard dB", "bent %"],
        [
            [
                decay.band.name,
                digits(decay.decay_time, 2),
                digits(decay.spread, 2),
                decay.kind or None,
                f"{decay.range_db:.0f}",
                None if decay.curvature is None else signed(decay.curvature, 0),
            ]
            for decay in bands
        ],
    )
    for decay in bands:
        if decay.remark:
            print(f"- {decay.band.name}: {decay.remark}")
    print()


def print_hammer(found: list[dict[str, Any]]) -> None:
    """Table of each hammered channel."""
    from bracedtop.scripts.console import print_table
    from bracedtop.scripts.taps_output import digits

    for one in found:
        print(f"{one['file']}, channel {one['channel']}: {one['unit']}, {one['hits']} hits of the hammer")
        with_mass = any(mode["modal_mass_g"] is not None for mode in one["modes"])
        print_table(
            ["tap", "Hz", "after 1 N s", "coherence", *(["mass g"] if with_mass else [])],
            [
                [
                    str(mode["number"]),
                    f"{mode['hz']:.2f}",
                    f"{mode['after_unit_impulse']:.3g}",
                    digits(mode["coherence"], 3),
                    *([digits(mode["modal_mass_g"], 1)] if with_mass else []),
                ]
                for mode in one["modes"]
            ],
        )
        print()
