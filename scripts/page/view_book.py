"""The instrument's book on the page: the log pass by pass, what the maker tells, photographs, and the book itself.

Depends on fem/bench_log, book_passes, case_build, photographs, record, session, scripts/page/session, and on
scripts/book_maker once a book is made. Notes are kept under ``notes/ID``, words on photographs under
``photographs/NAME``; both, like [build] in the drawing, are changes of the document.
"""

import io
import re
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from PIL import Image, ImageOps, UnidentifiedImageError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from bracedtop.fem.bench_log import read_log
from bracedtop.fem.book_passes import book_passes
from bracedtop.fem.case_build import DATE_ALLOWED, is_date
from bracedtop.fem.photographs import FOLDER_NAME, photograph_paths, taken_on
from bracedtop.fem.record import passes_of
from bracedtop.fem.session import Session as BenchVisit
from bracedtop.fem.session import read_passes
from bracedtop.geometry.errors import BracedTopError, DesignError, FileError
from bracedtop.scripts.page.guard import inside
from bracedtop.scripts.page.journal import Json
from bracedtop.scripts.page.session import Session

TASK = "book"

LONGEST_NOTE = 5000
"""Signs in a note; chosen: two pages."""

SMALL_PX = 480
"""Longest side of a photograph on the page, px."""

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; sandbox"
"""The book is one file with its style in it; it runs nothing and loads nothing."""

_ID = re.compile(r"[A-Za-z0-9-]{1,60}", re.ASCII)


def state(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """The log pass by pass, the photographs, and whether there is a book."""
    log = read_log(session.folder)
    doubts = list(log.complaints)
    visits: tuple[BenchVisit, ...] = ()
    try:
        passes = read_passes(session.folder, session.case().design)
        first = BenchVisit(0, session.folder, (), None)
        visits = (first, *(BenchVisit(n, place, cuts, None) for n, (place, cuts) in enumerate(passes, start=1)))
    except BracedTopError as error:
        doubts.append(" ".join(str(error).split()))
    book = session.folder / "book" / "book.html"
    return {
        "passes": [asdict(one) for one in book_passes(passes_of(log), visits)],
        "photographs": [_photograph(path) for path in photograph_paths(session.folder)],
        "made": book.stat().st_mtime if book.is_file() else None,
        "doubts": doubts,
    }


def make(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """Make the book, as a task."""
    document = session.document
    build = document.tables.get("build")
    # As drafted, also while the draft is not saved: what is told of the building changes no sound.
    drafted = build if build != document.drawing.get("build") else None
    arguments = (str(session.folder), document.under("notes"), document.under("photographs"), drafted)
    session.tasks.start(TASK, "Making the book", document.revision, make_book_task, *arguments)
    return {}


def make_book_task(
    report: Callable[[str, float | None], None],
    folder: str,
    notes: dict[str, Any],
    photographs: dict[str, Any],
    build: dict[str, Any] | None,
) -> dict[str, Any]:
    """Make the book, in a process of its own."""
    from bracedtop.scripts.book_maker import Said, make_book

    return make_book(Path(folder), Said(notes, photographs, build), stage=report)


def _photograph(path: Path) -> dict[str, Any]:
    try:
        return {"name": path.name, "date": taken_on(path), "trouble": None}
    except FileError as error:
        return {"name": path.name, "date": "", "trouble": str(error)}


def _check_note(_: Session, key: str, value: Json) -> None:
    name = key.partition("/")[2]
    if not _ID.fullmatch(name):
        message = f"{key[:80]!r} is no note; a note's name has letters, digits and hyphens"
        raise DesignError(message)
    _check_told("a note", value, {"date", "words"}, least=1)


def _check_photograph(session: Session, key: str, value: Json) -> None:
    inside(session.folder, f"{FOLDER_NAME}/{key.partition('/')[2]}")
    _check_told("a photograph", value, {"date", "words", "left_out"}, least=0)


def _check_told(what: str, value: Json, keys: set[str], least: int) -> None:
    if not isinstance(value, dict) or not set(value) <= keys:
        message = f"{what} is told by {', '.join(sorted(keys))}"
        raise DesignError(message)
    date, words = value.get("date", ""), value.get("words", "")
    if not isinstance(date, str) or (date and not is_date(date)):
        message = f"{what}: its date {DATE_ALLOWED}"
        raise DesignError(message)
    if not isinstance(words, str) or not least <= len(words.strip()) <= LONGEST_NOTE:
        message = f"{what}: its words may have {least} to {LONGEST_NOTE} signs"
        raise DesignError(message)
    if not isinstance(value.get("left_out", False), bool):
        message = f"{what}: left_out must be true or false"
        raise DesignError(message)


def _book(request: Request) -> Response:
    session: Session = request.app.state.session
    path = inside(session.folder, "book/book.html")
    if not path.is_file():
        raise HTTPException(404, "no book was made yet")
    return HTMLResponse(path.read_bytes(), headers={"Content-Security-Policy": POLICY})


def _small(request: Request) -> Response:
    """A photograph as small as the page shows it."""
    session: Session = request.app.state.session
    try:
        path = inside(session.folder, f"{FOLDER_NAME}/{request.path_params['name']}")
    except FileError as error:
        raise HTTPException(404, str(error)) from None
    if path not in [known.resolve() for known in photograph_paths(session.folder)]:
        raise HTTPException(404, "there is no such photograph")
    out = io.BytesIO()
    try:
        with Image.open(path) as picture:
            picture.draft("RGB", (SMALL_PX, SMALL_PX))
            small = ImageOps.exif_transpose(picture)
            small.thumbnail((SMALL_PX, SMALL_PX))
            small.convert("RGB").save(out, "JPEG", quality=80)
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError, ValueError):
        raise HTTPException(404, "this photograph cannot be opened") from None
    return Response(out.getvalue(), media_type="image/jpeg")


HANDLERS = {"book/state": state, "book/make": make}
ROUTES = [Route("/book/book.html", _book), Route("/book/small/{name}", _small)]
CHECKS = {"notes": _check_note, "photographs": _check_photograph}
