"""Predicted modes against the tapped ones, and what a millimetre off each brace would do to them.

Reads top.toml and the taps (taps.csv, taps/*.wav) of a case; writes out/report.html, its pictures and the tables
as CSV. The hertz per millimetre are for the first shavings only: tap again after every pass. Wood cannot be put back.

example:
  bracedtop compare wren
  bracedtop compare wren --json > wren.json
"""

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.case import Case
    from bracedtop.fem.describe import ModeSummary
    from bracedtop.fem.match import Pairing
    from bracedtop.fem.model import Model, Modes
    from bracedtop.fem.sensitivity import ShavingRow
    from bracedtop.fem.taps import Taps

RIGHT_CENTS = 15.0
"""A mode this close to where it should be counts as right; chosen: about what a careful re-tap repeats."""

MOVED_CENTS = 5.0
"""A millimetre that moves a right mode by more than this is flagged; chosen: a third of `RIGHT_CENTS`."""

CAUTION = (
    "Hertz per millimetre hold for the first shavings only. Take less than they say, tap again after every pass, "
    "and stop short of the target: wood cannot be put back."
)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that a comparison shows.

    Parameters
    ----------
    case : Case
    model, modes, summaries : the prediction
    taps : Taps
    pairing : Pairing
    shaving : tuple of ShavingRow
        For the paired modes.
    right : frozenset of int
        Paired modes that stand where they should: at their target, or at the prediction where there is none.
    """

    case: "Case"
    model: "Model"
    modes: "Modes"
    summaries: "tuple[ModeSummary, ...]"
    taps: "Taps"
    pairing: "Pairing"
    shaving: "tuple[ShavingRow, ...]"
    right: frozenset[int]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    from bracedtop.scripts.modes import add_case

    add_case(parser)
    parser.add_argument("--no-pictures", action="store_true", help="tables only: no pictures and no report page")


def run(args: argparse.Namespace) -> int:
    """Compare a case with its taps."""
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    found = compared(args.case, args.modes, progress)
    note = None
    with fresh_results(args.case) as folder:
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


def compared(folder: Path, n_modes: int, progress: Any) -> Comparison:
    """Solve, read the taps, pair, and differentiate.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    import numpy as np

    from bracedtop.fem.case import read_case
    from bracedtop.fem.describe import summarise
    from bracedtop.fem.match import pair
    from bracedtop.fem.model import build_model, deflections, solve
    from bracedtop.fem.sensitivity import shaving_table
    from bracedtop.fem.taps import read_taps
    from bracedtop.scripts.modes import mesh_size

    case = read_case(folder)
    with progress.stage("taps"):
        taps = read_taps(folder)
    with progress.stage("mesh and matrices"):
        model = build_model(case.design, case.woods, size=mesh_size(case))
    with progress.stage("modes"):
        modes = solve(model, n_modes)
        summaries = summarise(model, modes)
    peak = np.abs(modes.shapes[:, :, 2]).max(axis=1)

    def amplitude(points: np.ndarray) -> np.ndarray:
        return np.asarray(np.abs(deflections(model, modes, points)) / peak[:, None])

    with progress.stage("pairing and shaving table"):
        pairing = pair(modes.frequencies, [s.nodal_lines for s in summaries], taps.measured, amplitude)
        paired = {p.mode for p in pairing.pairs}
        shaving = tuple(row for row in shaving_table(model, modes) if row.mode in paired)
    return Comparison(case, model, modes, summaries, taps, pairing, shaving, right_modes(case, pairing))


def right_modes(case: "Case", pairing: "Pairing") -> frozenset[int]:
    """Paired modes that were tapped within `RIGHT_CENTS` of their target or, without one, of the prediction."""
    from bracedtop.geometry.units import cents

    targets = {target.mode: target.hz for target in case.targets}
    return frozenset(
        p.mode for p in pairing.pairs if abs(cents(p.measured_hz, targets.get(p.mode, p.predicted_hz))) <= RIGHT_CENTS
    )


def disturbs(row: "ShavingRow", found: Comparison) -> bool:
    """Whether a millimetre off this stretch moves a mode that is already right."""
    from bracedtop.geometry.units import cents

    if row.mode not in found.right:
        return False
    hz = found.summaries[row.mode - 1].hz
    return abs(cents(max(hz + row.hz_per_mm, 1e-3), hz)) > MOVED_CENTS


def compare_json(found: Comparison) -> dict[str, Any]:
    """What ``compare --json`` prints."""
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
        "caution": CAUTION,
        "warnings": [*found.case.warnings, *found.taps.warnings],
    }


def write_tables(folder: Path, found: Comparison) -> None:
    """Write pairs.csv and shaving.csv."""
    import csv

    result = compare_json(found)
    for name, rows in (("pairs.csv", result["pairs"]), ("shaving.csv", result["shaving"])):
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            if rows:
                writer.writerow(rows[0])
            for row in rows:
                writer.writerow([f"{v:.4g}" if isinstance(v, float) else "" if v is None else v for v in row.values()])


def print_comparison(found: Comparison) -> None:
    """Print the comparison for a reader at the bench."""
    from bracedtop.geometry.units import cents, note
    from bracedtop.scripts.console import print_table, signed

    measured = {m.number: m for m in found.taps.measured}
    targets = {t.mode: t.hz for t in found.case.targets}
    print(f"{found.case.name}: predicted and tapped modes")
    rows = []
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
                "-" if tap.decay_time is None else f"{tap.decay_time:.2f}",
                "-" if wanted is None else f"{wanted:.1f} ({signed(cents(p.measured_hz, wanted), 0)})",
                "yes" if p.mode in found.right else "",
            ]
        )
    head = ["mode", "looks like", "predicted Hz", "tapped Hz", "note", "Hz off", "cents off", "decay s"]
    print_table([*head, "wanted Hz (cents off)", "right"], rows, left=2)
    for k in found.pairing.unpaired_predicted:
        print(f"not tapped: mode {k}, {found.summaries[k - 1].name}, predicted at {found.summaries[k - 1].hz:.1f} Hz")
    for k in found.pairing.unpaired_measured:
        print(f"tapped, but no predicted mode fits: {measured[k].hz:.1f} Hz {measured[k].label}".rstrip())
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
    print_table(["brace", "stretch", "least mm", "g/mm", *[f"mode {m}" for m in modes]], body)
    for warning in [*found.case.warnings, *found.taps.warnings]:
        print(f"note: {warning}")
    print(CAUTION)
