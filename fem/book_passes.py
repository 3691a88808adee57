"""The passes of an instrument for its book: from the bench log, and from the case's folders where the log is silent.

Depends on fem/book_data, fem/log_entry, fem/record, fem/session.
"""

from collections.abc import Mapping, Sequence

from bracedtop.fem.book_data import BookPass, BookTable, DatedWords
from bracedtop.fem.log_entry import CalibrationEntry, LoggedCut, TapsEntry, logged_cut
from bracedtop.fem.record import Outcome, PassRecord
from bracedtop.fem.session import Session
from bracedtop.fem.taps import Taps

MOST_VALUES = 40
"""Values of the fitted model that are shown; all of them stand in log.jsonl."""


def book_passes(records: Sequence[PassRecord], sessions: Sequence[Session]) -> tuple[BookPass, ...]:
    """Every pass in order; number 0 is the top before the first cut.

    Parameters
    ----------
    records : sequence of PassRecord
        Of the log.
    sessions : sequence of Session
        Of the case's folders: what was really cut counts as these have it.
    """
    logged = {record.number: record for record in records}
    found = {session.number: session for session in sessions}
    # A plan whose cuts were never made is no pass yet.
    numbers = sorted({*found, *(n for n, record in logged.items() if record.cut or record.taps or record.notes)})
    return tuple(_pass(number, logged.get(number), found.get(number)) for number in numbers)


def _pass(number: int, record: PassRecord | None, session: Session | None) -> BookPass:
    tables: list[BookTable] = []
    words: list[str] = []
    notes: tuple[DatedWords, ...] = ()
    date = ""
    cuts = _cuts(record, session)
    if record is not None:
        entries = [entry for entry in (record.cut, record.taps, record.plan) if entry is not None]
        date = f"{entries[0].time:%Y-%m-%d}" if entries else ""
        notes = tuple(DatedWords(f"{entry.time:%Y-%m-%d}", entry.text) for entry in record.notes)
    if number and record is not None and record.plan is not None:
        words += [f"Wanted: {words_of_target(target)}" for target in record.plan.targets]
        if record.plan.cuts and not _same(record.plan.cuts, cuts):
            tables.append(_cut_table("Planned", record.plan.cuts))
    if cuts:
        tables.append(_cut_table("Cut", cuts))
    if record is not None and record.outcomes:
        tables.append(_outcomes(record.outcomes))
    if record is not None and record.taps is not None:
        tables.append(_logged_taps(record.taps))
    elif session is not None and session.taps is not None:
        tables.append(_taps(session.taps))
    if record is not None and record.calibration is not None:
        tables += _calibration(record.calibration)
    if not tables and not words and not notes:
        words.append("Nothing was recorded.")
    title = f"Pass {number}" if number else "Before the first cut"
    return BookPass(number, title, date, tuple(words), tuple(tables), notes)


def words_of_target(target: Mapping[str, object]) -> str:
    """A target of the log in words."""
    text = target.get("text")
    mode = f"mode {target['mode']}: " if "mode" in target else ""
    if isinstance(text, str) and text:
        return f"{mode}{text}"
    return mode + ", ".join(f"{key} {value}" for key, value in target.items() if key != "mode")


def _cuts(record: PassRecord | None, session: Session | None) -> tuple[LoggedCut, ...]:
    """What was cut, as the case's folder has it, with the grams that the log knows."""
    logged = () if record is None or record.cut is None else record.cut.cuts
    if session is None or not session.cuts:
        return logged
    own = tuple(logged_cut(cut) for cut in session.cuts)
    return logged if _same(logged, own) else own


def _same(first: Sequence[LoggedCut], second: Sequence[LoggedCut]) -> bool:
    bare = [[cut.model_copy(update={"grams": None}) for cut in cuts] for cuts in (first, second)]
    return bare[0] == bare[1]


def _cut_table(what: str, cuts: Sequence[LoggedCut]) -> BookTable:
    rows = tuple(
        (
            cut.brace,
            f"{cut.from_mm:.1f}" if cut.to_mm else "all",
            f"{cut.to_mm:.1f}" if cut.to_mm else "round",
            f"{cut.depth_from_mm:.2f}",
            f"{cut.depth_to_mm:.2f}",
            "" if cut.grams is None else f"{cut.grams:.2f}",
        )
        for cut in cuts
    )
    grams = sum(cut.grams or 0.0 for cut in cuts)
    caption = f"{what}: depths off the free side, mm{f'; {grams:.2f} g in all' if grams else ''}"
    return BookTable(caption, ("brace", "from mm", "to mm", "depth there mm", "depth at the end mm", "g"), rows)


def _outcomes(outcomes: Sequence[Outcome]) -> BookTable:
    rows = tuple(
        (
            str(row.mode),
            _hz(row.before_hz),
            _hz(row.expected_hz),
            _hz(row.std_hz),
            _hz(row.found_hz),
            "" if row.off_hz is None else f"{row.off_hz:+.2f}".replace("-", "\N{MINUS SIGN}"),
        )
        for row in outcomes
    )
    head = ("mode", "before Hz", "expected Hz", "give or take Hz", "found Hz", "off by Hz")
    return BookTable("What was expected and what was found", head, rows)


def _logged_taps(entry: TapsEntry) -> BookTable:
    rows = tuple(
        (
            str(tap.number),
            tap.label,
            _hz(tap.hz),
            _hz(tap.std_error_hz),
            "" if tap.t60_s is None else f"{tap.t60_s:.2f}",
            "" if tap.q is None else f"{tap.q:.0f}",
        )
        for tap in entry.modes
    )
    return _tap_table(rows)


def _taps(taps: Taps) -> BookTable:
    rows = tuple(
        (
            str(mode.number),
            mode.label,
            _hz(mode.hz),
            _hz(mode.std_error_hz),
            "" if mode.decay_time is None else f"{mode.decay_time:.2f}",
            "" if mode.q is None else f"{mode.q:.0f}",
        )
        for mode in taps.measured
    )
    return _tap_table(rows)


def _tap_table(rows: tuple[tuple[str, ...], ...]) -> BookTable:
    return BookTable("Taps", ("tap", "in words", "Hz", "give or take Hz", "falls by 60 dB in s", "Q"), rows, left=2)


def _calibration(entry: CalibrationEntry) -> list[BookTable]:
    known = [(name, mean) for name, mean in entry.means.items() if mean is not None]
    rows = []
    for name, mean in known[:MOST_VALUES]:
        spread = entry.standard_deviations.get(name)
        rows.append((name, f"{mean:.4g}", "" if spread is None else f"{spread:.2g}"))
    if not rows:
        return []
    return [BookTable("The model fitted to the taps", ("value", "mean", "give or take"), tuple(rows))]


def _hz(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"
