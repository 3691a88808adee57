"""The record of a top, read back from CASE/log.jsonl: what was cut, when, and what it did.

Taps, calibrations, plans and cuts enter it by themselves; --note adds your own words. For each pass, what the plan
expected stands beside what the re-tap showed. Files that have changed since they were recorded are named.

example:
  bracedtop log wren
  bracedtop log wren --note "Strung up, left a week at 45 % humidity."
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.bench_log import Log
    from bracedtop.fem.log_entry import CalibrationEntry, DrawingEntry, Entry, PlanEntry, TapsEntry
    from bracedtop.fem.record import Outcome, PassRecord

LONGEST_NOTE = 2000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds log.jsonl")
    parser.add_argument("--note", type=note_text, metavar="TEXT", help="add a note of your own first")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a text")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def note_text(text: str) -> str:
    """A note from the command line."""
    if not text.strip() or len(text) > LONGEST_NOTE:
        message = f"a note of {len(text.strip())} characters; give 1 to {LONGEST_NOTE}"
        raise argparse.ArgumentTypeError(message)
    return text.strip()


def run(args: argparse.Namespace) -> int:
    """Tell the record."""
    from bracedtop.fem.bench_log import FILE_NAME, append, note_entry, read_log
    from bracedtop.fem.record import passes_of
    from bracedtop.geometry.errors import FileError

    if not args.case.is_dir():
        message = f"{args.case}: is no folder; must be a case folder"
        raise FileError(message)
    log = read_log(args.case)
    written = []
    if args.note is not None:
        append(args.case, note_entry(args.note, max((entry.number for entry in log.entries), default=0)))
        written.append(str(args.case / FILE_NAME))
        log = read_log(args.case)
    if not log.entries and not log.complaints:
        message = f"{args.case / FILE_NAME}: no record yet; it begins with bracedtop taps, plan or cut, or with --note"
        raise FileError(message)
    records = passes_of(log)
    doubts = [*log.complaints, *changed_files(args.case, log), *unrecorded(args.case, records)]
    if args.json:
        print_record_json(log, records, doubts, written)
        return 0
    print_record(args.case, log, records)
    for doubt in doubts:
        print(f"- {doubt}")
    print(f"Read: {args.case / FILE_NAME}. Written: {', '.join(written) or 'nothing'}")
    return 0


def changed_files(case: Path, log: "Log") -> list[str]:
    """What has become of the files that the last entries name by content."""
    from bracedtop.fem.log_entry import DrawingEntry, TapsEntry, logged_file
    from bracedtop.geometry.errors import FileError

    newest = {}
    for entry in log.entries:
        if isinstance(entry, DrawingEntry | TapsEntry):
            newest |= {file.name: (file, entry) for file in entry.files}
    doubts = []
    for name, (file, entry) in sorted(newest.items()):
        if not (case / name).is_file():
            doubts.append(f"{name}: is no longer there; it was recorded on {day(entry)}")
            continue
        try:
            same = logged_file(case, name) == file
        except FileError as error:
            doubts.append(str(error))
            continue
        if not same:
            doubts.append(f"{name}: has changed since it was recorded on {day(entry)}")
    return doubts


def unrecorded(case: Path, records: "tuple[PassRecord, ...]") -> list[str]:
    """Cuts and taps in the case's folders that the log does not know as they are."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.log_entry import logged_cut
    from bracedtop.fem.session import has_taps, read_passes
    from bracedtop.geometry.errors import DesignError, FileError

    try:
        passes = read_passes(case, read_case(case).design)
        tapped = [has_taps(folder) for folder in (case, *(folder for folder, _ in passes))]
    except (FileError, DesignError) as error:
        return [str(error)]
    cuts = {
        record.number: [cut.model_copy(update={"grams": None}) for cut in record.cut.cuts]
        for record in records
        if record.cut is not None
    }
    doubts = []
    for number, (folder, own) in enumerate(passes, start=1):
        if number not in cuts:
            doubts.append(f"{folder.name}/cut.csv: is not in the log")
        elif cuts[number] != [logged_cut(cut) for cut in own]:
            doubts.append(f"{folder.name}/cut.csv: is not what was recorded; the file counts")
    doubts += [f"pass-{number}/cut.csv: is no longer there" for number in cuts if number > len(passes)]
    known = {record.number for record in records if record.taps is not None}
    for number, is_tapped in enumerate(tapped):
        where = f"pass-{number}: its" if number else "the first"
        if is_tapped and number not in known:
            doubts.append(f"{where} taps are not in the log yet; bracedtop plan or the next cut records them")
        if number == len(passes) > 0 and not is_tapped:
            doubts.append(f"pass-{number}: was not tapped yet")
    return doubts


def print_record(case: Path, log: "Log", records: "tuple[PassRecord, ...]") -> None:
    """Print the record as a page of a notebook."""
    from bracedtop.fem.log_entry import DrawingEntry

    drawings = [entry for entry in log.entries if isinstance(entry, DrawingEntry)]
    cut = [record for record in records if record.cut is not None]
    grams = sum(record.grams for record in cut)
    name = drawings[-1].name if drawings else case.resolve().name
    if log.entries:
        passes = "not cut yet" if not cut else f"{_many(len(cut), 'pass', 'passes')}, {grams:.2f} g taken in all"
        print(f"{name}: record from {day(log.entries[0])} to {day(log.entries[-1])}; {passes}")
    for drawing in drawings:
        print(f"\n{moment(drawing)}  {drawing_words(drawing)}")
    for record in records:
        if record.number:
            print(f"\nPass {record.number}")
        _print_pass(record)


def _print_pass(record: "PassRecord") -> None:
    from bracedtop.scripts.cut import print_rows

    if record.plan is not None:
        print(f"{moment(record.plan)}  {plan_words(record.plan)}")
    if record.cut is not None:
        rows = [cut.model_dump() for cut in record.cut.cuts]
        planned = record.plan is not None and _same_cuts(record.plan, rows)
        print_rows(f"{moment(record.cut)}  Cut{' as planned' if planned else ''}", rows)
    if record.taps is not None:
        print(f"{moment(record.taps)}  {taps_words(record.taps, record.number)}")
        if record.outcomes:
            print_outcomes(record.outcomes)
        else:
            print_taps(record.taps)
    if record.calibration is not None:
        print(f"{moment(record.calibration)}  {calibration_words(record.calibration)}")
    for entry in record.notes:
        print(f"{moment(entry)}  Note: {' '.join(entry.text.split())}")


def print_outcomes(rows: "tuple[Outcome, ...]") -> None:
    """Table of expected against found."""
    from bracedtop.scripts.console import print_table, signed

    table = []
    for row in rows:
        off, by = row.off_hz, row.off_cents
        table.append(
            [
                str(row.mode),
                None if row.before_hz is None else f"{row.before_hz:.2f}",
                f"{row.expected_hz:.2f}",
                None if row.std_hz is None else f"{row.std_hz:.2f}",
                None if row.found_hz is None else f"{row.found_hz:.2f}",
                None if off is None else signed(off, 2),
                None if by is None else signed(by, 0),
            ]
        )
    print_table(["mode", "before Hz", "expected Hz", "give or take", "found Hz", "off by Hz", "cents"], table)
    found = [abs(row.off_cents) for row in rows if row.off_cents is not None]
    if found:
        mean = sum(found) / len(found)
        print(
            f"Found {len(found)} of {len(rows)} expected modes, off by {mean:.0f} cents on average, "
            f"{max(found):.0f} at most."
        )


def print_taps(entry: "TapsEntry") -> None:
    """Table of measured modes."""
    from bracedtop.scripts.console import print_table

    print_table(
        ["tap", "Hz", "error Hz", "T60 s", "Q", "label"],
        [
            [
                str(tap.number),
                f"{tap.hz:.2f}",
                None if tap.std_error_hz is None else f"{tap.std_error_hz:.2f}",
                None if tap.t60_s is None else f"{tap.t60_s:.2f}",
                None if tap.q is None else f"{tap.q:.0f}",
                tap.label,
            ]
            for tap in entry.modes
        ],
    )


def drawing_words(entry: "DrawingEntry") -> str:
    """What is said of a drawing."""
    files = ", ".join(f"{file.name} ({file.sha256[:8]})" for file in entry.files)
    mass = f"; {entry.grams['all']:.1f} g in all" if "all" in entry.grams else ""
    modes = f"; modes at {', '.join(f'{mode.hz:.0f}' for mode in entry.modes)} Hz" if entry.modes else ""
    return f"Drawing: {files}{mass}{modes}"


def taps_words(entry: "TapsEntry", number: int) -> str:
    """What is said of taps."""
    when = "Re-tap" if number else "Taps before the first cut"
    return f"{when}: {_many(len(entry.modes), 'mode', 'modes')} from {', '.join(file.name for file in entry.files)}"


def plan_words(entry: "PlanEntry") -> str:
    """What is said of a plan."""
    targets = "; ".join(_target_words(target) for target in entry.targets)
    grams = sum(cut.grams or 0.0 for cut in entry.cuts)
    mass = f", {grams:.2f} g" if grams else ""
    return f"Plan: {_many(len(entry.cuts), 'cut', 'cuts')}{mass}{f'; targets: {targets}' if targets else ''}"


def calibration_words(entry: "CalibrationEntry") -> str:
    """What is said of a calibration."""
    shown = []
    for name, mean in list(entry.means.items())[:8]:
        spread = entry.standard_deviations.get(name)
        if mean is not None:
            shown.append(f"{name} {mean:.4g}" + ("" if spread is None else f" ± {spread:.2g}"))
    more = len(entry.means) - len(shown)
    numbers = ", ".join(shown) + (f" and {more} more" if more > 0 else "")
    return f"Model fitted to the taps{f': {numbers}' if numbers else ''}"


def _target_words(target: dict[str, Any]) -> str:
    text = target.get("text")
    if isinstance(text, str) and text:
        return f"mode {target['mode']} {text}" if "mode" in target else text
    return " ".join(
        f"{key} {value:.5g}" if isinstance(value, float) else f"{key} {value}" for key, value in target.items()
    )


def _same_cuts(plan: "PlanEntry", rows: list[dict[str, Any]]) -> bool:
    planned = [{**cut.model_dump(), "grams": None} for cut in plan.cuts]
    return planned == [{**row, "grams": None} for row in rows]


def moment(entry: "Entry") -> str:
    """When an entry was made, in the clock of where it was made."""
    return f"{entry.time:%Y-%m-%d %H:%M}"


def day(entry: "Entry") -> str:
    """The day on which an entry was made."""
    return f"{entry.time:%Y-%m-%d}"


def _many(n: int, one: str, more: str) -> str:
    return f"{n} {one if n == 1 else more}"


def print_record_json(log: "Log", records: "tuple[PassRecord, ...]", doubts: list[str], written: list[str]) -> None:
    """What ``log --json`` prints: the lines as they are, and the passes with their outcomes."""
    from bracedtop.scripts.console import print_json

    print_json(
        {
            "entries": [entry.model_dump(mode="json", by_alias=True) for entry in log.entries],
            "newer": list(log.newer),
            "passes": [
                {
                    "pass": record.number,
                    "grams": record.grams,
                    "outcomes": [
                        {
                            "mode": row.mode,
                            "before_hz": row.before_hz,
                            "expected_hz": row.expected_hz,
                            "std_hz": row.std_hz,
                            "found_hz": row.found_hz,
                            "off_hz": row.off_hz,
                            "off_cents": row.off_cents,
                        }
                        for row in record.outcomes
                    ],
                }
                for record in records
            ],
            "grams": sum(record.grams for record in records),
            "doubts": doubts,
            "written": written,
        }
    )
