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

    with fresh_results(case, [str(inside / name) for name in OWNED]) as folder:
        target = folder / inside
        target.mkdir(parents=True)
        tables = {"modes.csv": _modes_rows(taps), "sustain.csv": _sustain_rows(bands), **_response_rows(taps)}
        if any(mode.shape is not None for mode in taps.measured):
            tables["shapes.csv"] = _shapes_rows(taps)
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


def _modes_rows(taps: "Taps") -> list[list[object]]:
    from bracedtop.geometry.units import note

    rows: list[list[object]] = [
        ["tap", "hz", "std_error_hz", "spread_hz", "note", "cents", "t60_s", "q", "points", "label", "source"]
    ]
    for mode in taps.measured:
        name, deviation = note(mode.hz)
        rows.append(
            [mode.number, _digits(mode.hz, 3), _digits(mode.std_error_hz, 4), _digits(mode.spread_hz, 4), name,
             _digits(deviation, 1), _digits(mode.decay_time, 4), _digits(mode.q, 2),
             len(mode.shape.points) if mode.shape else None, mode.label, mode.source]
        )  # fmt: skip
    return rows


def _shapes_rows(taps: "Taps") -> list[list[object]]:
    from bracedtop.geometry.units import MM

    rows: list[list[object]] = [["tap", "hz", "x_mm", "y_mm", "value", "std_error"]]
    for mode in taps.measured:
        if mode.shape is not None:
            rows += [
                [mode.number, _digits(mode.hz, 3), _digits(x / MM, 2), _digits(y / MM, 2), _digits(v, 4), _digits(e, 4)]
                for (x, y), v, e in zip(mode.shape.points, mode.shape.values, mode.shape.errors, strict=True)
            ]
    return rows


def _sustain_rows(bands: "tuple[BandDecay, ...]") -> list[list[object]]:
    rows: list[list[object]] = [
        [
            "band",
            "from_hz",
            "to_hz",
            "t60_s",
            "spread_s",
            "evaluated",
            "curvature_percent",
            "range_db",
            "hits",
            "remark",
        ]
    ]
    rows += [
        [d.band.name, _digits(d.band.low, 1), _digits(d.band.high, 1), _digits(d.decay_time, 4), _digits(d.spread, 4),
         d.kind, _digits(d.curvature, 1), _digits(d.range_db, 1), d.n_hits, d.remark]
        for d in bands
    ]  # fmt: skip
    return rows


def _response_rows(taps: "Taps") -> dict[str, list[list[object]]]:
    """Frequency responses up to 2.5 kHz, a table a channel."""
    import numpy as np

    from bracedtop.fem.strike import responses

    tables = {}
    for placement in taps.placements:
        if placement.hammer_channel is None:
            continue
        for k, one in enumerate(responses(placement), start=1):
            rows: list[list[object]] = [["hz", f"real, {one.unit}", f"imaginary, {one.unit}", "coherence"]]
            inside = np.flatnonzero(one.frequency <= 2500)
            rows += [
                [_digits(one.frequency[i], 3), f"{one.response[i].real:.5g}", f"{one.response[i].imag:.5g}",
                 None if one.coherence is None else _digits(one.coherence[i], 4)]
                for i in inside
            ]  # fmt: skip
            tables[f"response-{placement.path.stem}-{k}.csv"] = rows
    return tables


def _digits(value: float | None, digits: int) -> str | None:
    return None if value is None else f"{value:.{digits}f}"


def taps_json(taps: "Taps") -> dict[str, Any]:
    """What was measured, for other programs."""
    from bracedtop.geometry.units import MM

    return {
        "taps": [
            {
                "number": mode.number,
                "hz": mode.hz,
                "std_error_hz": mode.std_error_hz,
                "spread_hz": mode.spread_hz,
                "decay_time_s": mode.decay_time,
                "q": mode.q,
                "label": mode.label,
                "source": mode.source,
                "nodal_lines": list(mode.nodal_lines),
                "tap_point_mm": None if mode.tap_point is None else [value / MM for value in mode.tap_point],
                "node_points_mm": [[value / MM for value in point] for point in mode.nodes],
                "shape": None
                if mode.shape is None
                else {
                    "points_mm": (mode.shape.points / MM).tolist(),
                    "values": mode.shape.values.tolist(),
                    "std_errors": mode.shape.errors.tolist(),
                    "complexity": mode.shape.complexity,
                },
            }
            for mode in taps.measured
        ],
        "recordings": [
            {
                "file": str(recording.path),
                "rate": recording.rate,
                "hits": recording.n_hits,
                "steady_hz": list(recording.steady_hz),
                "peaks": [
                    {
                        "hz": peak.hz,
                        "std_error_hz": peak.std_error_hz,
                        "spread_hz": peak.spread_hz,
                        "decay_time_s": peak.decay_time,
                        "q": peak.q,
                        "level_db": peak.level_db,
                        "hits": peak.n_hits,
                    }
                    for peak in recording.peaks
                ],
                "warnings": list(recording.warnings),
            }
            for recording in taps.recordings
        ],
        "warnings": list(taps.warnings),
    }


def sustain_json(bands: "tuple[BandDecay, ...]") -> list[dict[str, Any]]:
    """Decay times by bands, for other programs."""
    return [
        {
            "band": decay.band.name,
            "from_hz": decay.band.low,
            "to_hz": decay.band.high,
            "decay_time_s": decay.decay_time,
            "spread_s": decay.spread,
            "evaluated": decay.kind or None,
            "curvature_percent": decay.curvature,
            "range_db": decay.range_db,
            "hits": decay.n_hits,
            "remark": decay.remark,
        }
        for decay in bands
    ]


def hammer_json(taps: "Taps") -> list[dict[str, Any]]:
    """What each recording with a hammer says, for other programs."""
    import numpy as np

    from bracedtop.fem.strike import modal_mass, responses
    from bracedtop.geometry.units import GRAM

    modes = [taps.measured[number - 1] for number in taps.struck_numbers]
    omega = 2 * np.pi * np.array([mode.hz for mode in modes])
    found = []
    for struck in taps.struck:
        if not struck.by_hammer:
            continue
        masses = modal_mass(struck, omega)
        for channel, response in enumerate(responses(struck.placement)):
            size = np.abs(struck.amplitude[:, channel]).mean(axis=0)
            coherence = response.coherence
            at = np.searchsorted(response.frequency, omega / (2 * np.pi))
            found.append(
                {
                    "file": str(struck.placement.path),
                    "channel": channel + 1,
                    "unit": response.unit,
                    "hits": response.n_hits,
                    "added_decay_per_s": response.window_rate,
                    "modes": [
                        {
                            "number": mode.number,
                            "hz": mode.hz,
                            "after_unit_impulse": float(size[k]),
                            "coherence": None if coherence is None else float(coherence[at[k]]),
                            "modal_mass_g": None if masses is None else float(masses[k]) / GRAM,
                        }
                        for k, mode in enumerate(modes)
                    ],
                }
            )
    return found


def print_taps(taps: "Taps") -> None:
    """Table of the measured modes, and the warnings."""
    from bracedtop.geometry.units import note
    from bracedtop.scripts.console import print_table, signed

    head = ["tap", "Hz", "std error", "note, cents", "spread Hz", "T60 s", "Q", "points", "label"]
    rows = []
    for mode in taps.measured:
        name, deviation = note(mode.hz)
        rows.append(
            [
                str(mode.number),
                f"{mode.hz:.2f}",
                _digits(mode.std_error_hz, 3),
                f"{name} {signed(deviation, 0)}",
                _digits(mode.spread_hz, 2),
                _digits(mode.decay_time, 2),
                _digits(mode.q, 0),
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

    if not bands:
        return
    print("\nSustain of the whole sound (T60; the better of T30 and T20)")
    print_table(
        ["band", "T60 s", "spread s", "from", "heard dB", "bent %"],
        [
            [
                decay.band.name,
                _digits(decay.decay_time, 2),
                _digits(decay.spread, 2),
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
                    _digits(mode["coherence"], 3),
                    *([_digits(mode["modal_mass_g"], 1)] if with_mass else []),
                ]
                for mode in one["modes"]
            ],
        )
        print()
