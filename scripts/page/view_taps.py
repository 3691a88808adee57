"""Taps on the page: recordings come in, are read, and their modes are paired with the predicted ones.

Depends on fem/session, taps, top_view, scripts/page/session, tapped, and on tapped_read once taps are read. Where a
recording was tapped is kept under ``tapped/PASS/FILE``, the microphone under ``microphone/PASS``, and pairs that the
maker sets under ``pairing/PASS/TAP``; see `tapped`.
"""

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from bracedtop.fem.session import pass_folders
from bracedtop.fem.tap_notes import FILE_NAME as NOTES
from bracedtop.fem.taps import FOLDER_NAME, recording_paths
from bracedtop.fem.taps_file import FARTHEST_MM, read_placements
from bracedtop.fem.taps_file import FILE_NAME as PLACES
from bracedtop.fem.top_view import top_view
from bracedtop.geometry.errors import BracedTopError, DesignError
from bracedtop.geometry.units import MM
from bracedtop.scripts.page.app import Upload
from bracedtop.scripts.page.draft import drafted_case
from bracedtop.scripts.page.guard import inside, keep_new
from bracedtop.scripts.page.journal import Json
from bracedtop.scripts.page.session import Session
from bracedtop.scripts.page.tapped import chosen_pairs, pair_keys, passes_cut, places_of, session_folder

TASK = "taps/read"

MOST_MODES = 200


def state(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Recordings of a session and what they tell, as far as they have been read."""
    present = passes_cut(session.folder)
    number = _number(message, present)
    place = session_folder(session.folder, number)
    found = readings(session).get(number)
    stamp = _stamp(session, number)
    files, trouble = _files(session, number)
    notes = (place / NOTES).exists()
    answer = {
        "pass": number,
        "present": present,
        "folder": f"pass-{number}/{FOLDER_NAME}/" if number else f"{FOLDER_NAME}/",
        "plan": _plan(session),
        "files": files,
        "has_notes": notes,
        "has_any": bool(files or notes),
        "microphone": session.document.under("microphone").get(str(number)),
        "trouble": trouble,
        "is_old": found is not None and found.stamp != stamp,
        "stamp": stamp,
        "read": None,
    }
    if found is not None:
        from bracedtop.scripts.page.tapped_read import shown

        pairing = session.document.under("pairing")
        read = shown(found, chosen_pairs(pairing, number, found.measured))
        keys = pair_keys(pairing, number, found.measured)
        answer["read"] = {**read, "taps": [{**row, "key": keys[row["number"]]} for row in read["taps"]]}
    return answer


def read(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Read a session's taps, as a task."""
    number = _number(message, passes_cut(session.folder))
    document = session.document
    places = places_of(document.under("tapped"), number), document.under("microphone").get(str(number))
    arguments = (session.folder, document.drawing, number, places, _stamp(session, number))
    session.tasks.start(TASK, "Reading the taps", document.revision, read_task, *arguments)
    return {}


def read_task(report: Any, *arguments: Any) -> Any:
    """Read a session's taps, in a process of its own."""
    from bracedtop.scripts.page.tapped_read import read_session

    return read_session(report, *arguments)


def keep(session: Session, content: bytes, name: str, fields: dict[str, str]) -> dict[str, Any]:
    """Keep a recording with the present taps, and where it was tapped."""
    number = passes_cut(session.folder)
    folder = f"pass-{number}/{FOLDER_NAME}" if number else FOLDER_NAME
    point = _point(fields)
    path = keep_new(inside(session.folder, f"{folder}/{name}"), content)
    if point is not None:
        session.change([f"tapped/{number}/{path.name}"], [point])
    return {"file": path.relative_to(session.folder.resolve()).as_posix(), "pass": number}


def _point(fields: dict[str, str]) -> list[float] | None:
    if "x" not in fields and "y" not in fields:
        return None
    try:
        point = [float(fields["x"]), float(fields["y"])]
    except (KeyError, ValueError):
        point = [math.nan, math.nan]
    _check_point("where it was tapped", point)
    return point


def _number(message: dict[str, Any], present: int) -> int:
    number = message.get("pass")
    return present if number is None else min(max(int(number), 0), present)


def readings(session: Session) -> dict[int, Any]:
    """The newest reading of each session."""
    kept: dict[int, Any] = session.memory.setdefault("taps/readings", {})
    done = session.tasks.finished(TASK)
    if done is not None:
        kept[done.result.number] = done.result
    return kept


def _stamp(session: Session, number: int) -> str:
    """Of everything that a session is read from."""
    place = session_folder(session.folder, number)
    cuts = [folder / "cut.csv" for folder in pass_folders(session.folder)[:number]]
    seen = []
    for path in [*recording_paths(place), place / NOTES, place / PLACES, *cuts]:
        if path.exists():
            status = path.stat()
            seen.append([path.name, status.st_size, status.st_mtime_ns])
    document = session.document
    places = places_of(document.under("tapped"), number), document.under("microphone").get(str(number))
    drawing = {key: value for key, value in document.drawing.items() if key not in ("target", "plan", "note", "build")}
    text = json.dumps([seen, places, drawing], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _files(session: Session, number: int) -> tuple[list[dict[str, Any]], str]:
    """Recordings with where they were tapped, and why `taps.toml` cannot be used."""
    place = session_folder(session.folder, number)
    own: dict[Path, Any] = {}
    trouble = ""
    try:
        placements = read_placements(place / PLACES) if (place / PLACES).exists() else ()
        own = {placed.path.resolve(): placed for placed in placements}
    except BracedTopError as error:
        trouble = " ".join(str(error).split())
    tapped = places_of(session.document.under("tapped"), number)
    files = []
    for path in recording_paths(place):
        placed = own.get(path.resolve())
        points = [[x / MM, y / MM] for x, y in placed.points] if placed else []
        files.append(
            {
                "name": path.name,
                "file": path.relative_to(session.folder).as_posix(),
                "key": f"tapped/{number}/{path.name}",
                "points": points or ([tapped[path.name]] if path.name in tapped else []),
                "is_in_file": placed is not None,
            }
        )
    return files, trouble


def _plan(session: Session) -> dict[str, Any]:
    """Outline, holes, braces and patches, mm."""
    tables = session.document.drawing
    known = session.memory.get("taps/plan")
    if known is None or known[0] != tables:
        view = top_view(drafted_case(session.folder, tables).design)
        plan = {
            "outline": _line(view.outline),
            "holes": [_line(hole) for hole in view.holes],
            "braces": [{"name": name, "border": _line(border)} for name, border, _ in view.braces],
            "patches": [_line(border) for _, border in view.patches],
        }
        known = session.memory["taps/plan"] = (tables, plan)
    plan_: dict[str, Any] = known[1]
    return plan_


def _line(points: np.ndarray) -> list[list[float]]:
    found: list[list[float]] = np.round(points / MM, 1).tolist()
    return found


def _check_place(_: Session, key: str, value: Json) -> None:
    head, _, rest = key.partition("/")
    number, _, name = rest.partition("/")
    is_named = bool(name) and "/" not in name if head == "tapped" else not name
    if not number.isascii() or not number.isdecimal() or len(number) > 3 or not is_named:
        message = f"{key[:80]!r} is no place; tapped/PASS/FILE and microphone/PASS are"
        raise DesignError(message)
    _check_point("where it was tapped" if head == "tapped" else "the microphone", value)


def _check_point(what: str, value: Json) -> None:
    is_point = isinstance(value, list) and len(value) == 2
    if not is_point or not all(
        isinstance(v, int | float) and not isinstance(v, bool) and abs(v) <= FARTHEST_MM for v in value
    ):
        message = f"{what}: must be x and y in mm, up to {FARTHEST_MM:g}"
        raise DesignError(message)


def _check_pairing(_: Session, key: str, value: Json) -> None:
    steps = key.split("/")[1:]
    if len(steps) != 2 or not all(step.isascii() and step.isdecimal() and len(step) < 5 for step in steps):
        message = f"{key[:80]!r} is no pair; pairing/PASS/TAP is"
        raise DesignError(message)
    is_pair = isinstance(value, dict) and set(value) == {"mode", "hz"}
    mode, hz = (value["mode"], value["hz"]) if is_pair else (None, None)
    is_mode = isinstance(mode, int) and not isinstance(mode, bool) and 0 <= mode <= MOST_MODES
    if not is_mode or isinstance(hz, bool) or not isinstance(hz, int | float) or not 0 < hz <= 20_000:
        message = f"a pair needs a mode from 1 to {MOST_MODES}, or 0 for none, and the tap's frequency in Hz"
        raise DesignError(message)


HANDLERS = {"taps/state": state, "taps/read": read}
CHECKS = {"tapped": _check_place, "microphone": _check_place, "pairing": _check_pairing}
UPLOADS = {"taps": Upload("sound", keep)}
