"""Predicted modes against the tapped ones, and what a millimetre off each brace would do to them.

Reads top.toml and the taps (taps.csv, taps/*.wav) of a case; writes out/report.html, its pictures and the tables
as CSV. The hertz per millimetre are for the first shavings only: tap again after every pass. Wood cannot be put back.

example:
  bracedtop compare wren
  bracedtop compare wren --json > wren.json
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.sensitivity import ShavingRow
    from bracedtop.fem.taps import Measured
    from bracedtop.scripts.comparison import Comparison

CAUTION = (
    "Hertz per millimetre hold for the first shavings only. Take less than they say, tap again after every pass, "
    "and stop short of the target: wood cannot be put back."
)

PICTURES = ("plan", "ladder", "mac", "mode-*", "shaving-*")
OWN_FILES = ("report.html", "pairs.csv", "shaving.csv", *(f"pictures/{name}.png" for name in PICTURES))
"""In out/; those of an earlier run go, as they belong to another drawing or other taps."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    from bracedtop.scripts.modes import add_case

    add_case(parser)
    parser.add_argument("--no-pictures", action="store_true", help="tables only; an earlier report is removed")


def run(args: argparse.Namespace) -> int:
    """Compare a case with its taps."""
    from bracedtop.scripts.comparison import compared
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    found = compared(args.case, args.modes, progress)
    note = None
    with fresh_results(args.case, OWN_FILES) as folder:
        write_tables(folder, found)
        if not args.no_pictures:
            from bracedtop.scripts.drawing import write_report

            with progress.stage("pictures and report"):
                note = write_report(found, folder)
    out = args.case / "out"
    written = [str(out / "pairs.csv"), str(out / "shaving.csv")]
    if not args.no_pictures:
        written = [str(out / "report.html"), str(out / "pictures"), *written]
    if args.json:
        print_json({**compare_json(found), "written": written})
        return 0
    print_comparison(found)
    if note:
        print(note)
    print(f"Written: {', '.join(written)}")
    return 0


def compare_json(found: "Comparison") -> dict[str, Any]:
    """What ``compare --json`` prints."""
    from bracedtop.scripts.comparison import disturbs

    measured = {m.number: m for m in found.taps.measured}
    names = {s.mode: s.name for s in found.summaries}
    return {
        "case": found.case.name,
        "pairs": [
            {
                "mode": p.mode,
                "looks_like": names[p.mode],
                "predicted_hz": float(p.predicted_hz),
                "measured": p.number,
                "measured_hz": float(p.measured_hz),
                "difference_hz": float(p.difference_hz),
                "difference_cents": float(p.difference_cents),
                "decay_time_s": measured[p.number].decay_time,
                "q": measured[p.number].q,
                "already_right": p.mode in found.right,
                "ambiguous_with": list(p.ambiguous_with),
                "mac": p.mac,
                "shape_points": _n_points(measured[p.number]),
            }
            for p in found.pairing.pairs
        ],
        "unpaired_predicted": [
            {"mode": k, "predicted_hz": found.summaries[k - 1].hz} for k in found.pairing.unpaired_predicted
        ],
        "unpaired_measured": [{"measured": k, "measured_hz": measured[k].hz} for k in found.pairing.unpaired_measured],
        "shaving": [
            {
                "brace": row.brace,
                "from_mm": 1e3 * row.start,
                "to_mm": 1e3 * row.stop,
                "least_height_mm": 1e3 * row.least_height,
                "mode": row.mode,
                "hz_per_mm": row.hz_per_mm,
                "grams_per_mm": row.grams_per_mm,
                "moves_a_right_mode": disturbs(row, found),
            }
            for row in found.shaving
        ],
        "targets": [{"mode": t.mode, "hz": t.hz} for t in found.case.targets],
        "common_ratio": found.pairing.ratio,
        "mac": mac_json(found),
        "ambiguities": [
            {
                "modes": list(a.modes),
                "measured": list(a.measured),
                "apart_hz": a.apart_hz,
                "tap_mm": None if a.tap is None else [1e3 * value for value in a.tap],
                "amplitudes_there": list(a.amplitudes),
                "words": a.words,
            }
            for a in found.ambiguous
        ],
        "caution": CAUTION,
        "warnings": list(found.warnings),
    }


def mac_json(found: "Comparison") -> dict[str, Any] | None:
    """MAC of every predicted mode (a row) with every measured one that has a shape (a column)."""
    mac = found.pairing.mac
    if mac is None:
        return None
    columns = [j for j, m in enumerate(found.taps.measured) if m.shape is not None]
    return {
        "modes": [s.mode for s in found.summaries],
        "measured": [found.taps.measured[j].number for j in columns],
        "points": [_n_points(found.taps.measured[j]) for j in columns],
        "values": [[float(value) for value in row] for row in mac[:, columns]],
    }


def _n_points(measured: "Measured") -> int:
    return 0 if measured.shape is None else len(measured.shape.points)


def write_tables(folder: Path, found: "Comparison") -> None:
    """Write pairs.csv and shaving.csv."""
    import csv

    result = compare_json(found)
    for name, rows in (("pairs.csv", result["pairs"]), ("shaving.csv", result["shaving"])):
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            if rows:
                writer.writerow(rows[0])
            for row in rows:
                writer.writerow([_written(value) for value in row.values()])


def _written(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.4g}"
    return " ".join(map(str, value)) if isinstance(value, list) else str(value)


def print_comparison(found: "Comparison") -> None:
    """Print the comparison for a reader at the bench."""
    from bracedtop.geometry.units import cents, note
    from bracedtop.scripts.comparison import disturbs
    from bracedtop.scripts.console import print_table, signed

    measured = {m.number: m for m in found.taps.measured}
    targets = {t.mode: t.hz for t in found.case.targets}
    print(f"{found.case.name}: predicted and tapped modes")
    rows, told = [], found.pairing.mac is not None
    for p in found.pairing.pairs:
        tap = measured[p.number]
        wanted = targets.get(p.mode)
        rows.append(
            [
                str(p.mode),
                found.summaries[p.mode - 1].name,
                f"{p.predicted_hz:.1f}",
                f"{p.measured_hz:.1f}",
                note(p.measured_hz)[0],
                signed(p.difference_hz),
                signed(p.difference_cents, 0),
                *([f"{p.mac:.2f}" if p.mac is not None else "-"] if told else []),
                "-" if tap.decay_time is None else f"{tap.decay_time:.2f}",
                "-" if wanted is None else f"{wanted:.1f} ({signed(cents(p.measured_hz, wanted), 0)})",
                "yes" if p.mode in found.right else "",
            ]
        )
    head = ["mode", "looks like", "predicted Hz", "tapped Hz", "note", "Hz off", "cents off"]
    print_table([*head, *(["MAC"] if told else []), "decay s", "wanted Hz (cents off)", "right"], rows, left=2)
    for k in found.pairing.unpaired_predicted:
        print(f"not tapped: mode {k}, {found.summaries[k - 1].name}, predicted at {found.summaries[k - 1].hz:.1f} Hz")
    highest = found.summaries[-1].hz
    for k in found.pairing.unpaired_measured:
        where = f"above the {len(found.summaries)} modes solved" if measured[k].hz > highest else ""
        words = ", ".join(filter(None, (f"{measured[k].hz:.1f} Hz", measured[k].label, where)))
        print(f"tapped, but no predicted mode fits: {words}")
    for close in found.ambiguous:
        print(f"close call: {close.words}")
    print()
    print("Hertz per millimetre removed (! moves a mode that is right already)")
    modes = [p.mode for p in found.pairing.pairs]
    by_stretch: dict[tuple[str, float, float], list[ShavingRow]] = {}
    for row in found.shaving:
        by_stretch.setdefault((row.brace, row.start, row.stop), []).append(row)
    body = []
    for (brace, start, stop), cells in by_stretch.items():
        values = {row.mode: f"{signed(row.hz_per_mm)}{'!' if disturbs(row, found) else ' '}" for row in cells}
        body.append(
            [
                brace,
                f"{1e3 * start:.0f}-{1e3 * stop:.0f} mm",
                f"{1e3 * cells[0].least_height:.1f}",
                f"{cells[0].grams_per_mm:.2f}",
                *[values[mode] for mode in modes],
            ]
        )
    print_table(["brace", "stretch", "least mm", "g/mm", *[f"mode {m}" for m in modes]], body, repeat=4)
    for warning in found.warnings:
        print(f"note: {warning}")
    print(CAUTION)
