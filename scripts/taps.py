"""Read the taps of a case: which frequencies ring, how long, and how well the hits agree.

Give a case folder (taps.csv, taps/*.wav), one recording (WAV or FLAC) or one table (CSV). Nothing is written unless
--picture asks for out/taps/spectrum.png in a case folder.

example:
  bracedtop taps wren --picture
  bracedtop taps knock.wav
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.taps import Taps


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("source", type=Path, help="case folder, WAV or FLAC file, or CSV file")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a table")
    parser.add_argument("--picture", action="store_true", help="draw the spectra into out/taps/spectrum.png")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """List what was measured."""
    from bracedtop.geometry.errors import FileError
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    if args.picture and not args.source.is_dir():
        message = f"{args.source}: --picture writes into a case's out/; give the case folder"
        raise FileError(message)
    with progress.stage("taps"):
        taps = read_source(args.source)
    written = []
    if args.picture:
        from bracedtop.fem.tap_picture import write_spectra

        with progress.stage("picture"), fresh_results(args.source, ("taps/spectrum.png",)) as folder:
            (folder / "taps").mkdir()
            write_spectra(folder / "taps" / "spectrum.png", taps)
        written.append(str(args.source / "out" / "taps" / "spectrum.png"))
    if args.json:
        print_json({**taps_json(taps), "written": written})
        return 0
    print_taps(taps)
    print(f"Read: {', '.join(taps.sources)}. Written: {', '.join(written) or 'nothing'}")
    return 0


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


def taps_json(taps: "Taps") -> dict[str, Any]:
    """What ``taps --json`` prints."""
    from bracedtop.geometry.units import MM

    return {
        "taps": [
            {
                "number": mode.number,
                "hz": mode.hz,
                "spread_hz": mode.spread_hz,
                "decay_time_s": mode.decay_time,
                "q": mode.q,
                "label": mode.label,
                "source": mode.source,
                "nodal_lines": list(mode.nodal_lines),
                "tap_point_mm": None if mode.tap_point is None else [value / MM for value in mode.tap_point],
                "node_points_mm": [[value / MM for value in point] for point in mode.nodes],
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


def print_taps(taps: "Taps") -> None:
    """Table of the measured modes, and the warnings."""
    from bracedtop.geometry.units import note
    from bracedtop.scripts.console import print_table, signed

    rows = []
    for mode in taps.measured:
        name, deviation = note(mode.hz)
        rows.append(
            [
                str(mode.number),
                f"{mode.hz:.2f}",
                f"{name} {signed(deviation, 0)}",
                None if mode.spread_hz is None else f"{mode.spread_hz:.2f}",
                None if mode.decay_time is None else f"{mode.decay_time:.2f}",
                None if mode.q is None else f"{mode.q:.0f}",
                mode.label,
            ]
        )
    print_table(["tap", "Hz", "note, cents", "spread Hz", "T60 s", "Q", "label"], rows)
    for warning in taps.warnings:
        print(f"- {warning}")
