"""Fit the model to the taps: what the wood, the heights and the rim of this top really are, and how sure that is.

Reads top.toml, the taps of the case and those of every pass behind it (pass-1/, pass-2/, ...) with what was cut there.
Each pass tells more. Writes out/calibration/ (constants.csv, modes.csv, calibration.png) and a line in log.jsonl.

example:
  bracedtop calibrate wren
  bracedtop calibrate wren --json > wren.json
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.calibration import Posterior
    from bracedtop.fem.calibration_doubts import Doubts, Learned
    from bracedtop.fem.case import Case
    from bracedtop.fem.match import Pairing
    from bracedtop.fem.reduced import Reduced
    from bracedtop.fem.session import Session

OWN_FILES = ("calibration/*.csv", "calibration/*.png")


@dataclass(frozen=True, slots=True)
class Result:
    """All that the command shows."""

    case: "Case"
    reduced: "Reduced"
    posterior: "Posterior"
    sessions: "tuple[Session, ...]"
    pairings: "tuple[Pairing | None, ...]"
    doubts: "Doubts"
    rows: "tuple[Learned, ...]"
    names: tuple[str, ...]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--no-pictures", action="store_true", help="tables only")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Calibrate a case."""
    from bracedtop.fem.bench_log import append, calibration_entry
    from bracedtop.fem.calibrated_case import calibrated, tapped_sessions
    from bracedtop.fem.calibration_doubts import calibration_doubts, overview
    from bracedtop.fem.case import read_case
    from bracedtop.fem.reduced_file import case_reduced
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    with progress.stage("taps"):
        sessions = tapped_sessions(case)
    with progress.stage("what-if model"):
        reduced = case_reduced(case)
    with progress.stage("calibration"):
        _, posterior, _, pairings = calibrated(case, reduced, sessions)
        doubts = calibration_doubts(reduced, posterior)
    names = _names(reduced, posterior)
    found = Result(case, reduced, posterior, sessions, pairings, doubts, overview(posterior), names)
    note = None
    with fresh_results(args.case, OWN_FILES) as folder:
        out = folder / "calibration"
        out.mkdir()
        _write_tables(out, found)
        if not args.no_pictures:
            from bracedtop.fem.calibration_picture import calibration_picture
            from bracedtop.fem.picture import draw_pictures

            with progress.stage("picture"):
                note = draw_pictures([calibration_picture(found.rows, doubts.residuals)], out).note
    append(args.case, calibration_entry(log_data(found), _last(found).number))
    files = ["constants.csv", "modes.csv", *([] if args.no_pictures else ["calibration.png"])]
    written = [str(args.case / "out" / "calibration" / name) for name in files] + [str(args.case / "log.jsonl")]
    if args.json:
        print_json({**calibrate_json(found), "written": written})
        return 0
    _print(found)
    if note:
        print(note)
    print(f"Written: {', '.join(written)}")
    return 0


def calibrate_json(found: Result) -> dict[str, Any]:
    """What ``calibrate --json`` prints."""
    return {
        "case": found.case.name,
        "sessions": [
            {
                "pass": session.number,
                "cuts": len(session.cuts),
                "taps": 0 if session.taps is None else len(session.taps.measured),
                "paired": 0 if pairing is None else len(pairing.pairs),
            }
            for session, pairing in zip(found.sessions, found.pairings, strict=True)
        ],
        "constants": [_row(row) for row in found.rows],
        "parameters": [_row(row) for row in found.doubts.learned],
        "modes": _modes(found),
        "n_told": found.doubts.n_told,
        "told_together": list(found.doubts.together),
        "suspicions": [
            {"kind": s.fault.kind, "part": s.fault.part, "at_mm": 1e3 * s.fault.at, "odds": s.odds, "words": s.words}
            for s in found.doubts.suspicions
        ],
        "warnings": list(found.doubts.warnings),
    }


def log_data(found: Result) -> dict[str, Any]:
    """What the bench log keeps of it."""
    rows = [_row(row) for row in found.rows]
    keys = ["name" if row["unit"] == "factor" else "name_mm" for row in rows]
    names = [row["name"] + (", mm" if key == "name_mm" else "") for row, key in zip(rows, keys, strict=True)]
    return {
        "means": {name: round(row["now"], 4) for name, row in zip(names, rows, strict=True)},
        "standard_deviations": {name: round(row["sd"], 4) for name, row in zip(names, rows, strict=True)},
        "residuals": [
            {key: round(value, 3) if isinstance(value, float) else value for key, value in row.items()}
            for row in _modes(found)
        ],
        "warnings": list(found.doubts.warnings),
    }


def _row(row: "Learned") -> dict[str, Any]:
    in_mm = row.kind in ("height", "ring")
    scale = 1e3 if in_mm else 1.0
    return {
        "name": row.name,
        "unit": "mm" if in_mm else "factor",
        "drawn": scale * row.drawn,
        "after_cuts": scale * row.expected,
        "now": scale * row.value,
        "sd": scale * row.sd,
        "sd_without_taps": scale * row.sd_before,
        "told_by_taps": row.is_told,
    }


def _modes(found: Result) -> list[dict[str, Any]]:
    return [
        {
            "mode": r.mode,
            "looks_like": found.names[r.mode - 1],
            "tapped_hz": r.measured_hz,
            "expected_hz": r.before_hz,
            "model_hz": r.model_hz,
            "off_hz": r.hz,
            "off_cents": r.cents,
            "off_deviations": r.deviations,
            "left_out": r.set_aside,
        }
        for r in found.doubts.residuals
    ]


def _names(reduced: "Reduced", posterior: "Posterior") -> tuple[str, ...]:
    """What each mode looks like now."""
    import numpy as np

    from bracedtop.fem.describe import mode_name, node_lines
    from bracedtop.fem.numbering import modelled
    from bracedtop.fem.reduced import deflections_at

    state = modelled(reduced, posterior.values, posterior.reference).state

    def deflection(points: np.ndarray) -> np.ndarray:
        return deflections_at(reduced, state, points)

    is_free = reduced.design.edge.kind == "free"
    return tuple(mode_name(lines, free=is_free) for lines in node_lines(reduced.design, deflection))


def _last(found: Result) -> "Session":
    return [session for session in found.sessions if session.taps is not None][-1]


def _write_tables(folder: Path, found: Result) -> None:
    import csv

    tables = {"constants.csv": [_row(row) for row in found.doubts.learned], "modes.csv": _modes(found)}
    for name, rows in tables.items():
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            if rows:
                writer.writerow(rows[0])
            writer.writerows([_written(value) for value in row.values()] for row in rows)


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _print(found: Result) -> None:
    from bracedtop.scripts.console import print_table, signed

    print(f"{found.case.name}: what the taps tell of this top ({_heard(found)})")
    print_table(
        ["number", "drawn, cut", "now", "+-", "+- before", "told by the taps"],
        [
            [
                row["name"],
                _figure(row, "after_cuts"),
                _figure(row, "now"),
                _figure(row, "sd"),
                _figure(row, "sd_without_taps"),
                "yes" if row["told_by_taps"] else "hardly",
            ]
            for row in map(_row, found.rows)
        ],
    )
    print(
        "Factors are of what the drawing says. Heights are after the cuts so far, one mean a brace; +- is one standard"
    )
    print("deviation, before and after the taps.")
    print()
    print("Tapped against the model with these numbers")
    print_table(
        ["mode", "looks like", "tapped Hz", "expected Hz", "model Hz", "Hz off", "cents off", "sd off"],
        [
            [
                str(row["mode"]),
                row["looks_like"],
                f"{row['tapped_hz']:.1f}",
                f"{row['expected_hz']:.1f}",
                f"{row['model_hz']:.1f}",
                "left out" if row["left_out"] else signed(row["off_hz"]),
                signed(row["off_cents"], 0),
                signed(row["off_deviations"]),
            ]
            for row in _modes(found)
        ],
        left=2,
    )
    _print_lines(found)


def _print_lines(found: Result) -> None:
    doubts = found.doubts
    pairing = found.pairings[found.sessions.index(_last(found))]
    if pairing is not None and pairing.unpaired_measured:
        taps = _last(found).taps
        hz = {mode.number: mode.hz for mode in taps.measured} if taps else {}
        words = ", ".join(f"{hz[number]:.1f} Hz" for number in pairing.unpaired_measured)
        print(f"Tapped, but no mode of the model fits: {words}")
    numbers = len(doubts.learned)
    print(
        f"The taps tell {doubts.n_told} independent combinations of {numbers} numbers; for the rest the drawing counts."
    )
    for words in (*doubts.together, *doubts.warnings):
        print(f"- {words}")
    if not doubts.suspicions:
        print("Nothing speaks for a loose brace or a wrong height; taps alone cannot rule out a small one.")


def _figure(row: dict[str, Any], key: str) -> str:
    return f"{row[key]:.2f} mm" if row["unit"] == "mm" else f"{row[key]:.2f}"


def _heard(found: Result) -> str:
    words: Sequence[str] = [
        f"{'first taps' if session.number == 0 else f'pass {session.number}'}: {len(pairing.pairs)} modes paired"
        for session, pairing in zip(found.sessions, found.pairings, strict=True)
        if pairing is not None
    ]
    return "; ".join(words)
