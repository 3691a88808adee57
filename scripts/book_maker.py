"""Gathers all that the instrument's book holds, and puts the book with its files into place.

Imported by the command and by the page only when a book is made, as it loads what solves.
"""

import contextlib
import csv
import datetime
import hashlib
import io
import json
import shutil
import tempfile
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from bracedtop.fem.as_built import as_built_tables
from bracedtop.fem.bench_log import FILE_NAME as LOG
from bracedtop.fem.bench_log import Log, append, drawing_entry, read_log, taps_entry
from bracedtop.fem.book import book_html
from bracedtop.fem.book_data import BookData, BookFile, BookTable, DatedWords, Figure
from bracedtop.fem.book_drawing import plan_figure, sides_figure, thickness_figure
from bracedtop.fem.book_facts import (
    box_tables,
    brace_tables,
    facts,
    paragraphs,
    plate_tables,
    string_tables,
    wood_tables,
)
from bracedtop.fem.book_passes import book_passes
from bracedtop.fem.case import Case, case_of
from bracedtop.fem.case_file import FILE_NAME as TOP
from bracedtop.fem.case_file import LAYOUT, read_tables
from bracedtop.fem.case_schema import CaseTable
from bracedtop.fem.cut_file import FILE_NAME as CUT
from bracedtop.fem.deflection import deflection_map, write_deflections
from bracedtop.fem.describe import ModeSummary, summarise
from bracedtop.fem.match import Pairing, pair
from bracedtop.fem.mode_picture import mode_picture
from bracedtop.fem.model import Model, Modes, build_model, deflections, solve
from bracedtop.fem.photographs import FOLDER_NAME as PHOTOGRAPHS
from bracedtop.fem.photographs import Photograph, read_photographs
from bracedtop.fem.picture import draw_pictures
from bracedtop.fem.record import passes_of
from bracedtop.fem.session import Session, read_sessions
from bracedtop.fem.taps import Taps
from bracedtop.fem.toml_file import read_layout, shown_text
from bracedtop.fem.top_view import top_view
from bracedtop.geometry.cut import cut_design
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import FileError
from bracedtop.geometry.units import MM, cents
from bracedtop.scripts.console import plain
from bracedtop.scripts.log import changed_files, unrecorded
from bracedtop.scripts.modes import mesh_size
from bracedtop.scripts.page.draft import draft_text

BOOK, PAGE, SUMS = "book", "book.html", "SHA256SUMS"

AS_BUILT = """\
# As built: the drawing with the cuts of all passes on it. Lengths in mm, angles in degrees. x runs along the centreline
# from the tail end to the neck; y points to the right as seen from the inside with the neck up. stations_mm are pairs:
# distance along the brace and height there.
"""

Stage = Callable[[str, float | None], None]


@dataclass(frozen=True, slots=True)
class Said:
    """What the maker said on the page.

    Parameters
    ----------
    notes : mapping
        By any key: "date" and "words".
    photographs : mapping
        By the photograph's name: "date", "words", "left_out".
    build : mapping or None
        The table [build], if it is not yet saved into top.toml.
    """

    notes: Mapping[str, Any] = field(default_factory=dict)
    photographs: Mapping[str, Any] = field(default_factory=dict)
    build: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Solved:
    """The top as built, solved, and its last taps paired with that."""

    model: Model
    modes: Modes
    summaries: tuple[ModeSummary, ...]
    taps: Taps | None
    pairing: Pairing | None
    after: int


def make_book(
    folder: Path, said: Said | None = None, *, n_modes: int = 12, pictures: bool = True, stage: Stage | None = None
) -> dict[str, Any]:
    """Make the book of a case in its folder ``book/``, in the place of an earlier one.

    Parameters
    ----------
    folder : Path
        The case.
    said : Said, optional
    n_modes : int
    pictures : bool
        Whether the modes are drawn.
    stage : callable, optional
        Told what is being done, and the share that is done.

    Returns
    -------
    found : dict
        "book" (path of the page), "files" (number beside it), "photographs", "passes", "notes" (to be shown).

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
        If the case cannot be read or solved, or the book cannot be written; an earlier one is then as it was.
    """
    said = said or Said()
    tell = stage or (lambda words, share: None)
    folder = Path(folder)
    _refuse_strange(folder / BOOK)
    tell("reading the case", 0.02)
    content, case = _read(folder, said)
    sessions = read_sessions(folder, case.design)
    built = case.design
    for session in sessions:
        built = cut_design(built, session.cuts)
    _record(case, sessions)
    log = read_log(folder)
    tell("solving the top as built", 0.15)
    solved = _solved(case, built, sessions, n_modes)
    tell("photographs", 0.4)
    photographs = read_photographs(folder, said.photographs)
    try:
        aside = Path(tempfile.mkdtemp(prefix=".book-", dir=folder))
    except OSError as error:
        message = f"{folder}: the book cannot be written here ({error.strerror})"
        raise FileError(message) from error
    try:
        tell("drawing", 0.5)
        figures, note = _mode_figures(built, solved, aside) if pictures else ([], None)
        drawings = _drawings(case, built)
        _write_data(folder, content, case, built, sessions, solved, said, drawings, aside)
        tell("writing", 0.9)
        data = _data(case, built, sessions, log, solved, said, photographs, drawings, figures, _listed(aside))
        (aside / PAGE).write_text(book_html(data), encoding="utf-8")
        sums = [f"{_sha256(path)}  {path.relative_to(aside).as_posix()}\n" for path in _files(aside)]
        (aside / SUMS).write_text("".join(sums), encoding="utf-8")
        _put(aside, folder / BOOK)
    except OSError as error:
        message = f"{error.filename or folder / BOOK}: the book cannot be written ({error.strerror})"
        raise FileError(message) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return {
        "book": str(folder / BOOK / PAGE),
        "files": len(sums),
        "photographs": len(photographs),
        "passes": sum(1 for session in sessions if session.number),
        "notes": [note] if note else [],
    }


def _read(folder: Path, said: Said) -> tuple[bytes, Case]:
    read_tables(folder)
    content = (folder / TOP).read_bytes()
    if said.build is None:
        return content, case_of(read_layout(content, TOP, LAYOUT, CaseTable), folder)
    tables = {**tomllib.loads(content.decode("utf-8-sig")), "build": dict(said.build)}
    content = draft_text(tables, "").encode()
    return content, case_of(read_layout(content, TOP, LAYOUT, CaseTable), folder)


def _record(case: Case, sessions: Sequence[Session]) -> None:
    """Put into the log what it does not have yet: the drawing, and the taps of every pass."""
    log = read_log(case.folder)
    if log.last("drawing") is None:
        append(case.folder, drawing_entry(case))
    for session in sessions:
        if session.taps is not None and log.last("taps", session.number) is None:
            append(case.folder, taps_entry(session.taps, session.number, session.folder))


def _solved(case: Case, built: Design, sessions: Sequence[Session], n_modes: int) -> Solved:
    import numpy as np

    model = build_model(built, case.woods, size=mesh_size(case))
    modes = solve(model, n_modes)
    summaries = summarise(model, modes)
    last = next((session for session in reversed(sessions) if session.taps is not None), None)
    if last is None or last.taps is None:
        return Solved(model, modes, summaries, None, None, 0)
    peak = np.abs(modes.shapes[:, :, 2]).max(axis=1)

    def deflection(points: np.ndarray) -> np.ndarray:
        return np.asarray(deflections(model, modes, points) / peak[:, None])

    lines = [s.nodal_lines for s in summaries]
    pairing = pair(modes.frequencies, lines, last.taps.measured, deflection=deflection)
    return Solved(model, modes, summaries, last.taps, pairing, last.number)


def _mode_figures(built: Design, solved: Solved, aside: Path) -> tuple[list[Figure], str | None]:
    fields = deflection_map(solved.model, solved.modes)
    view = top_view(built)
    jobs = [mode_picture(view, fields, summary) for summary in solved.summaries]
    drawn = draw_pictures(jobs, aside / "pictures")
    figures = [
        Figure(path.read_bytes(), job.alt, job.alt, f"pictures/{path.name}")
        for job, path in zip(jobs, drawn.paths, strict=True)
    ]
    return figures, drawn.note


def _drawings(case: Case, built: Design) -> dict[str, Figure]:
    found = {"plan": plan_figure(built, case.name)}
    others = {"sides": sides_figure(case.design, built), "thickness": thickness_figure(built)}
    if case.box is not None:
        # As seen through the top: the back is drawn in the top's plan.
        others["back"] = plan_figure(case.box.back, f"{case.name}: the back", view="in the top's plan")
    return found | {name: figure for name, figure in others.items() if figure is not None}


def _write_data(
    folder: Path,
    content: bytes,
    case: Case,
    built: Design,
    sessions: Sequence[Session],
    solved: Solved,
    said: Said,
    drawings: Mapping[str, Figure],
    aside: Path,
) -> None:
    """All files beside the page, but the pictures of modes."""
    data = aside / "data"
    data.mkdir(exist_ok=True)
    (data / TOP).write_bytes(content)
    tables = as_built_tables(tomllib.loads(content.decode("utf-8-sig")), case.design, built)
    (data / "top-as-built.toml").write_text(draft_text(tables, AS_BUILT), encoding="utf-8")
    (data / "modes.csv").write_text(_modes_csv(solved), encoding="utf-8")
    (data / "braces.csv").write_text(_braces_csv(case.design, built), encoding="utf-8")
    fields = deflection_map(solved.model, solved.modes)
    write_deflections(fields, solved.modes, data / "shapes.vtu", built.plate.dome)
    notes = plain({"notes": dict(said.notes), "photographs": dict(said.photographs)})
    (data / "notes.json").write_text(json.dumps(notes, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    named = [LOG, *_named_files(content)]
    for session in sessions:
        own = f"{session.folder.name}/" if session.number else ""
        named += [f"{own}{CUT}"] if session.number else []
        named += [f"{own}{name}" for name in ([] if session.taps is None else session.taps.sources)]
        named.append(f"{own}taps.toml")
    for name in dict.fromkeys(named):
        _copy(folder, name, data)
    for figure, path in ((figure, aside / "pictures" / f"{name}.svg") for name, figure in drawings.items()):
        path.parent.mkdir(exist_ok=True)
        path.write_text(str(figure.content), encoding="utf-8")
    for photo in _shown_photographs(folder, said):
        _copy(folder, f"{PHOTOGRAPHS}/{photo}", aside)


def _shown_photographs(folder: Path, said: Said) -> list[str]:
    from bracedtop.fem.photographs import photograph_paths

    return [p.name for p in photograph_paths(folder) if not (said.photographs.get(p.name) or {}).get("left_out")]


def _named_files(content: bytes) -> list[str]:
    """Files that the drawing names."""
    tables = tomllib.loads(content.decode("utf-8-sig"))
    own = [tables.get(head, {}).get("thickness_csv") for head in ("top", "back")]
    boards = [wood.get("board") for wood in tables.get("wood", {}).values()]
    return [name for name in (*own, *boards) if name]


def _copy(folder: Path, name: str, to: Path) -> None:
    """Copy a file of the case, if it is there; what lies outside the case goes to the top of the folder."""
    source = folder / name
    if not source.is_file():
        return
    target = to / (name if ".." not in Path(name).parts and not Path(name).is_absolute() else source.name)
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)


def _modes_csv(solved: Solved) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    head = ["mode", "predicted_hz", "measured_hz", "q", "decay_s", "lines_across", "lines_along", "looks_like"]
    writer.writerow([*head, "modal_mass_g"])
    for summary in solved.summaries:
        tap = _tap(solved, summary.mode)
        measured = ["", "", ""] if tap is None else [f"{tap.hz:.3f}", _or_none(tap.q, 1), _or_none(tap.decay_time, 3)]
        across, along = summary.nodal_lines
        mass = f"{1e3 * summary.modal_mass:.3f}"
        writer.writerow([summary.mode, f"{summary.hz:.3f}", *measured, across, along, summary.name, mass])
    return out.getvalue()


def _or_none(value: float | None, digits: int) -> str:
    return "" if value is None else f"{value:.{digits}f}"


def _braces_csv(drawn: Design, built: Design) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["brace", "state", "at_mm", "height_mm"])
    for state, design in (("drawn", drawn), ("built", built)):
        for brace in design.braces:
            writer.writerows([brace.name, state, f"{s / MM:.3f}", f"{h / MM:.4f}"] for s, h in brace.stations)
    return out.getvalue()


def _tap(solved: Solved, mode: int) -> Any:
    if solved.taps is None or solved.pairing is None:
        return None
    number = next((p.number for p in solved.pairing.pairs if p.mode == mode), None)
    return next((m for m in solved.taps.measured if m.number == number), None) if number is not None else None


def _mode_tables(solved: Solved) -> tuple[BookTable, ...]:
    rows = []
    for summary in solved.summaries:
        tap = _tap(solved, summary.mode)
        off = "" if tap is None else f"{cents(tap.hz, summary.hz):+.0f}".replace("-", "\N{MINUS SIGN}")
        measured = "" if tap is None else f"{tap.hz:.1f}"
        q, decay = ("", "") if tap is None else (_or_none(tap.q, 0), _or_none(tap.decay_time, 2))
        rows.append((str(summary.mode), summary.name, f"{summary.hz:.1f}", measured, off, q, decay))
    head = ("mode", "looks like", "predicted Hz", "measured Hz", "off by cents", "Q", "falls by 60 dB in s")
    when = "before the first cut" if solved.after == 0 else f"after pass {solved.after}"
    caption = "Modes of the top as built" + ("" if solved.taps is None else f"; measured {when}")
    tables = [BookTable(caption, head, tuple(rows), left=2)]
    if solved.taps is not None and solved.pairing is not None:
        paired = {p.number for p in solved.pairing.pairs}
        others = tuple((f"{m.hz:.1f}", m.label) for m in solved.taps.measured if m.number not in paired)
        if others:
            tables.append(BookTable("Measured, but no mode of the model", ("Hz", "in words"), others, left=2))
    return tuple(tables)


def _data(
    case: Case,
    built: Design,
    sessions: Sequence[Session],
    log: Log,
    solved: Solved,
    said: Said,
    photographs: Sequence[Photograph],
    drawings: Mapping[str, Figure],
    mode_figures: Sequence[Figure],
    files: tuple[BookFile, ...],
) -> BookData:
    records = passes_of(log)
    notes = [DatedWords(str(n.get("date") or ""), str(n.get("words") or "")) for n in said.notes.values() if n]
    doubts = [*log.complaints, *changed_files(case.folder, log), *unrecorded(case.folder, records)]
    program = f"bracedtop {version('braced-top')}"
    return BookData(
        name=case.name,
        note=case.note,
        date=datetime.datetime.now().astimezone().date().isoformat(),
        facts=facts(case, built),
        cautions=case.build.cautions,
        words=paragraphs(case.build.words),
        drawings=tuple(replace(f, file=f"pictures/{name}.svg") for name, f in drawings.items()),
        braces=brace_tables(case.design, built),
        plate=plate_tables(built),
        woods=wood_tables(case),
        box=box_tables(case),
        strings=string_tables(case),
        passes=book_passes(records, sessions),
        modes=_mode_tables(solved),
        mode_pictures=tuple(mode_figures),
        notes=tuple(sorted((n for n in notes if n.words), key=lambda n: (n.date == "", n.date))),
        photographs=tuple(_photograph_figure(photo) for photo in photographs),
        how=_how(case, solved, program),
        doubts=tuple(doubts),
        files=files,
        program=program,
    )


def _photograph_figure(photo: Photograph) -> Figure:
    said = " ".join(words for words in (photo.date, photo.words) if words)
    return Figure(photo.jpeg, photo.words or f"Photograph {photo.name}", said, f"{PHOTOGRAPHS}/{photo.name}")


def _how(case: Case, solved: Solved, program: str) -> tuple[str, ...]:
    mesh, model = solved.model.mesh, solved.model
    climate = "" if case.climate is None else f" The woods are at {100 * case.climate.moisture:.1f} % moisture."
    return (
        f"Figures that are called predicted were computed by {program}, an open program, from the file "
        "data/top-as-built.toml. Figures that are called measured were read from taps.",
        "The model is the top alone, held at its rim as said under “What it is”: a thin plate of grained wood that "
        "bends, stretches and shears (Reissner and Mindlin), in finite elements, with every brace, patch and crossing "
        "of braces as a solid strip glued to it. Vibrations are those without damping, in still air of no weight.",
        f"It was cut into {mesh.flat.t.shape[1]} triangles of at most about {mesh.size / MM:.0f} mm, with cubic shapes "
        f"in each; {model.n_unknowns} unknowns; largest residual of a mode {solved.modes.residual:.0e}.{climate}",
        "Wood differs from tree to tree by more than the computation errs. Where predicted and measured differ, the "
        "measured figure is the instrument's.",
    )


# Files


def _files(aside: Path) -> list[Path]:
    return sorted(path for path in aside.rglob("*") if path.is_file())


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _listed(aside: Path) -> tuple[BookFile, ...]:
    names = [(path, path.relative_to(aside).as_posix()) for path in _files(aside)]
    return tuple(BookFile(name, path.stat().st_size, _sha256(path), _what(name)) for path, name in names)


def _what(name: str) -> str:
    known = {
        "data/top.toml": "the drawing before the first cut",
        "data/top-as-built.toml": "the drawing as built",
        "data/modes.csv": "modes, predicted and measured",
        "data/braces.csv": "heights of the braces, drawn and built",
        "data/shapes.vtu": "shapes of the modes",
        "data/log.jsonl": "the bench log, one entry a line",
        "data/notes.json": "notes of the maker, and words on photographs",
        "pictures/plan.svg": "the plan as built",
        "pictures/sides.svg": "the braces from the side",
        "pictures/back.svg": "the plan of the back",
        "pictures/thickness.svg": "measured thicknesses",
    }
    last = name.rsplit("/", 1)[-1]
    if name in known:
        return known[name]
    if name.startswith(f"{PHOTOGRAPHS}/"):
        return "photograph as it was taken"
    if name.startswith("pictures/"):
        return "picture of a mode"
    if last == CUT:
        return "what was cut in this pass"
    if last in ("taps.csv", "taps.toml"):
        return "taps: notes and places"
    if last.rsplit(".", 1)[-1].lower() in ("wav", "flac"):
        return "recording of taps"
    return "named by the drawing"


def _refuse_strange(book: Path) -> None:
    """Refuse to replace a folder that holds anything but an earlier book."""
    if not book.exists() and not book.is_symlink():
        return
    known: set[str] = {SUMS}
    if book.is_dir() and not book.is_symlink():
        with contextlib.suppress(OSError, UnicodeDecodeError):
            lines = (book / SUMS).read_text(encoding="utf-8").splitlines()
            known |= {line[66:] for line in lines}
        strange = [path.relative_to(book).as_posix() for path in _files(book)]
        strange = [name for name in strange if name not in known]
        if not strange:
            return
        what = f"holds {shown_text(strange[0])}, which is not of an earlier book"
    else:
        what = "is no folder"
    message = f"{book}: {what}; move it elsewhere, as a new book takes the folder's place"
    raise FileError(message)


def _put(aside: Path, book: Path) -> None:
    """Give the new book its name; an earlier one goes when the new one is in place."""
    aside.chmod(0o755)
    old = aside.with_name(f"{aside.name}-old")
    if book.exists():
        book.rename(old)
    try:
        aside.rename(book)
    except OSError:
        if old.exists():
            old.rename(book)
        raise
    shutil.rmtree(old, ignore_errors=True)
