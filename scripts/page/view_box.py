"""The closed box on the page: its modes and voice, its ring, linings and finishes side by side, a customer's wish.

Depends on fem/brief_file, brief_words, closed_taps, finish_options, voice, scripts/page/session, and on
scripts/page/box_work once something is asked for. What a maker asks for is kept in the document: ``brief/wish``,
``brief/theirs`` and ``asked/finish``. Each part is a task of its own; its pictures are served from memory.
"""

import hashlib
import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from bracedtop.fem.brief_file import FILE_NAME as BRIEF
from bracedtop.fem.brief_file import TheirsTable
from bracedtop.fem.brief_words import AMOUNTS
from bracedtop.fem.closed_taps import FOLDER_NAME as CLOSED
from bracedtop.fem.finish_options import PLACES
from bracedtop.fem.toml_file import Layout, read_layout
from bracedtop.fem.voice import WORDS
from bracedtop.geometry.errors import BracedTopError, DesignError
from bracedtop.scripts.page.draft import Tables
from bracedtop.scripts.page.guard import inside
from bracedtop.scripts.page.journal import Json
from bracedtop.scripts.page.session import Session

if TYPE_CHECKING:
    from bracedtop.fem.box_parts import BoxModel
    from bracedtop.scripts.page.box_work import Made

PARTS = {
    "closed": "The closed box",
    "ring": "The ring",
    "rims": "Linings side by side",
    "finish": "Finishes side by side",
    "brief": "The customer's wish",
}
"""Parts of the page, and what their tasks are called."""

BESIDE = ("rims", "finish", "brief")
"""Parts that set boxes with other values beside the drawn one, and share its model."""

DEEPEST = 0.2
"""Most that the slider of the ring takes off, mm; as scripts/page/box_work has it, which loads what solves."""

ASKED = {"mass_g_per_m2": 10_000.0, "film_mm": 10.0, "modulus_gpa": 1000.0, "loss": 0.999}
"""Figures of a finish that is asked for, and the most that each may be; the command's own."""

NO_BOX = (
    "This drawing is a top alone. Give the box its sides and its back in top.toml, and this page shows how top, back "
    "and air move together."
)

TO_ADD = """\
[sides]
wood = "mahogany_honduras"
thickness_mm = 2.2
depth_mm = 95

[back]
wood = "mahogany_honduras"
thickness_mm = 2.6
"""
"""What the smallest box needs; the figures are an invented example."""

_FIGURES = {"projection": "_db", "presence": "_db", "bass": "_db", "evenness": "_db", "sustain": "_s"}
_NOTES = {"air": "air", "top": "top", "top blocked": "top_blocked"}


def state(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """Which parts are ready, and what the maker has asked for."""
    if session.case().box is None:
        return {"has_box": False, "words": NO_BOX, "add": TO_ADD}
    return {
        "has_box": True,
        "parts": {part: _readiness(session, part) for part in PARTS},
        "words": [{"name": w.name, "unit": w.unit, "sentence": w.sentence} for w in WORDS],
        "amounts": list(AMOUNTS),
        "faces": list(PLACES),
        "wish": _wish(session),
        "theirs": _theirs(session),
        "finish": session.document.values.get("asked/finish"),
        "has_finish": bool(session.document.tables.get("finish")),
        "has_closed_taps": (session.folder / CLOSED).is_dir(),
        "brief_note": _file(session)[1],
        "deepest_mm": DEEPEST,
    }


def told(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """What the last task of a part has made, and where its pictures are."""
    part = _part(message)
    made = _made(session, part)
    if made is None:
        error = f"{PARTS[part]}: not made yet"
        raise DesignError(error)
    pictures = {
        name: {
            "address": f"box/picture/{part}/{name}.png?{made.digest[:12]}",
            "alt": picture.alt,
            "width": picture.size[0],
            "height": picture.size[1],
        }
        for name, picture in made.pictures.items()
    }
    return {"told": made.told, "pictures": pictures}


def make(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Begin to make a part, unless it is being made or holds already."""
    part = _part(message)
    if session.case().box is None:
        raise DesignError(NO_BOX)
    readiness = _readiness(session, part)
    if readiness["is_running"] or (readiness["is_ready"] and not readiness["is_old"]):
        return {}
    from bracedtop.scripts.page import box_work

    arguments: list[Any] = [session.folder, session.document.tables, digest(session, part)]
    if part == "finish":
        asked = session.document.values.get("asked/finish")
        box_work.finish_options(session.case(), asked)  # refuses at once if there is nothing to compare
        arguments.append(asked)
    elif part == "brief":
        if not (wish := _wish(session)):
            error = "say first what there should be more or less of"
            raise DesignError(error)
        arguments += [wish, _measured(_theirs(session))]
    if part in BESIDE:
        arguments.append(_model(session))
    work = getattr(box_work, f"{part}_work")
    session.tasks.start(f"box/{part}", PARTS[part], session.document.revision, work, *arguments)
    return {}


def ring(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """All coupled modes with a thinner ring, while the slider moves."""
    from bracedtop.scripts.page.box_work import ring_answer

    depth = float(message["depth_mm"])
    if not 0 <= depth <= DEEPEST:
        error = f"{depth:g} mm off the ring; the slider goes from 0 to {DEEPEST:g} mm"
        raise DesignError(error)
    made = _made(session, "ring")
    if made is None or made.known is None:
        error = "the ring is not made ready yet"
        raise DesignError(error)
    return ring_answer(made.known, made.told["now"], depth)


def digest(session: Session, part: str) -> str:
    """Of all that a part depends on."""
    held = session.document
    seen: list[Any] = [_drawing(held.tables)]
    if part == "finish":
        seen.append(held.values.get("asked/finish"))
    if part == "brief":
        seen += [_wish(session), _theirs(session)]
    if part in ("ring", "brief"):
        paths = [session.folder / "taps.csv", session.folder / "taps.toml", *session.folder.glob("taps/*")]
        paths += [*session.folder.glob("pass*/cut.csv"), *session.folder.glob(f"{CLOSED}/**/*")]
        for path in sorted(paths):
            if path.is_file():
                stat = path.stat()
                seen.append([path.relative_to(session.folder).as_posix(), stat.st_mtime_ns, stat.st_size])
    return hashlib.sha256(json.dumps(seen, sort_keys=True, default=str).encode()).hexdigest()


def _readiness(session: Session, part: str) -> dict[str, Any]:
    made = _made(session, part)
    return {
        "is_ready": made is not None,
        "is_old": made is not None and made.digest != digest(session, part),
        "is_running": any(task.name == f"box/{part}" for task in session.tasks.unfinished()),
        "mark": None if made is None else made.digest,
    }


def _made(session: Session, part: str) -> "Made | None":
    task = session.tasks.finished(f"box/{part}")
    return None if task is None else task.result


def _model(session: Session) -> "BoxModel | None":
    """The model of this drawing's box if a task has made it."""
    drawing = _drawing(session.document.tables)
    found = [made for part in BESIDE if (made := _made(session, part)) is not None]
    return next((made.model for made in found if made.model is not None and _drawing(made.tables) == drawing), None)


def _drawing(tables: Tables) -> Tables:
    """What of a drawing its sound depends on."""
    return {head: table for head, table in tables.items() if head != "build"}


def _part(message: dict[str, Any]) -> str:
    part = str(message["part"])
    if part not in PARTS:
        error = f'"{part[:40]}" is no part of the box; must be one of: {", ".join(PARTS)}'
        raise DesignError(error)
    return part


def _file(session: Session) -> tuple[dict[str, Any], str]:
    """Tables of brief.toml, and what is to be said of it."""
    from bracedtop.fem.brief_file import LAYOUT, BriefTable

    path = inside(session.folder, BRIEF)
    if not path.is_file():
        return {}, ""
    try:
        table = _brief_table(path.read_bytes(), LAYOUT, BriefTable)
    except (BracedTopError, OSError) as error:
        return {}, " ".join(str(error).split())
    found = table.model_dump(exclude_none=True)
    if table.against is not None:
        words = (
            f'{BRIEF} sets this instrument against the case "{table.against}", which lies outside this one and is not '
            "read by the page; type its figures, or run bracedtop brief."
        )
        return found, f"{table.note} {words}".strip()
    return found, table.note


def _brief_table(content: bytes, layout: Layout, kind: Any) -> Any:
    return read_layout(content, BRIEF, layout, kind)


def _wish(session: Session) -> dict[str, str]:
    own = session.document.values.get("brief/wish")
    return dict(_file(session)[0].get("wish", {}) if own is None else own)


def _theirs(session: Session) -> dict[str, Any]:
    own = session.document.values.get("brief/theirs")
    return dict(_file(session)[0].get("theirs", {}) if own is None else own)


def _measured(theirs: Mapping[str, Any]) -> dict[str, Any]:
    """The other instrument by the words and notes of fem/brief."""

    def known(keys: Mapping[str, str]) -> dict[str, float]:
        return {name: theirs[key] for name, key in keys.items() if theirs.get(key) is not None}

    return {
        "name": theirs.get("name") or "the other instrument",
        "figures": known({name: f"{name}{ending}" for name, ending in _FIGURES.items()}),
        "hz": known({note: f"{key}_hz" for note, key in _NOTES.items()}),
        "q": known({note: f"{key}_q" for note, key in _NOTES.items()}),
    }


def _check_brief(_: Session, key: str, value: Json) -> None:
    if key == "brief/wish":
        names = [word.name for word in WORDS]
        if not isinstance(value, dict) or not all(k in names and v in AMOUNTS for k, v in value.items()):
            message = f"a wish gives some of {', '.join(names)} an amount: {', '.join(AMOUNTS)}"
            raise DesignError(message)
    elif key == "brief/theirs":
        try:
            TheirsTable.model_validate(value)
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(str(step) for step in first["loc"])
            message = f"the other instrument: {place}{': ' if place else ''}{first['msg']}"
            raise DesignError(message) from None
    else:
        message = f"{key[:80]!r} is no part of a brief; there are brief/wish and brief/theirs"
        raise DesignError(message)


def _check_asked(_: Session, key: str, value: Json) -> None:
    if key != "asked/finish" or not isinstance(value, dict) or set(value) != {*ASKED, "faces"}:
        message = f"asked/finish holds {', '.join(ASKED)} and faces"
        raise DesignError(message)
    for name, most in ASKED.items():
        number = value[name]
        if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
            message = f"finish: {name} has to be a number"
            raise DesignError(message)
        if not 0 <= number <= most:
            message = f"finish: {name} = {number:g}; must be 0 to {most:g}"
            raise DesignError(message)
    faces = value["faces"]
    if not isinstance(faces, list) or not faces or not all(face in PLACES for face in faces):
        message = f"finish: faces are some of {', '.join(PLACES)}"
        raise DesignError(message)


def picture(request: Request) -> Response:
    """A picture that a task has made."""
    session: Session = request.app.state.session
    part, name = request.path_params["part"], request.path_params["name"]
    made = _made(session, part) if part in PARTS else None
    found = None if made is None else made.pictures.get(name.removesuffix(".png"))
    if found is None:
        return Response("there is no such picture", status_code=404, media_type="text/plain")
    return Response(found.png, media_type="image/png", headers={"Cache-Control": "private, max-age=3600"})


HANDLERS = {"box/state": state, "box/told": told, "box/make": make, "box/ring": ring}
ROUTES = [Route("/box/picture/{part}/{name}", picture)]
CHECKS = {"brief": _check_brief, "asked": _check_asked}
