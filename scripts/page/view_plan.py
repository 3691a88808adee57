"""The plan on the page: targets, one pass at a time, its template, and what was really cut.

Depends on fem/bench_log, fem/session, scripts/cut, scripts/page/session, tapped, view_taps, on scripts/page/plan_task
in tasks, and on fem/template once a template is asked for. Targets and limits, ``target`` and ``plan``, are changes of
the drawing. The page also keeps ``done/PASS/ROW`` (what is ticked off) and ``really/PASS`` (what was cut, as long as it
is not recorded). Cuts belong to the drawing in top.toml: a draft of anything but targets and limits is not planned for.
"""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from bracedtop.fem.session import has_taps
from bracedtop.fem.taps import recording_paths
from bracedtop.geometry.cut import EDGE_RING
from bracedtop.geometry.errors import BracedTopError, DesignError
from bracedtop.geometry.units import MM
from bracedtop.scripts.cut import PLANNED
from bracedtop.scripts.page.document import Document
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.journal import Json
from bracedtop.scripts.page.session import Session
from bracedtop.scripts.page.tapped import chosen_pairs, passes_cut, session_folder
from bracedtop.scripts.page.view_taps import readings

if TYPE_CHECKING:
    from bracedtop.fem.case import Case
    from bracedtop.fem.sheet import Sheet

PLAN, CUT = "plan/make", "plan/cut"
"""Names of the tasks."""

PAPERS = ("A4", "A3", "letter")

MOST_ROWS = 200
"""Cuts of one pass."""

FARTHEST_MM = 3000.0

KEYS = ("from_mm", "to_mm", "depth_from_mm", "depth_to_mm")

KEPT = ("tapped", "microphone", "pairing")
"""What the page keeps of the taps."""


def state(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """The pass to come, its plan if there is one, and what is known of the modes."""
    number = passes_cut(session.folder) + 1
    last = session_folder(session.folder, number - 1)
    case = _case(session)
    path = session.folder / PLANNED.with_name("plan.json")
    plan = _read(path)
    is_next = plan is not None and plan.get("pass") == number
    recorded = session.tasks.finished(CUT)
    return {
        "pass": number,
        "has_taps": has_taps(last),
        "must_tap": number > 1 and not has_taps(last),
        "braces": [{"name": b.name, "length_mm": b.length / MM} for b in case.design.braces],
        "has_ring": case.design.plate.ring_width > 0,
        "ring_name": EDGE_RING,
        "is_other_draft": plan_tables(session.document) != session.document.tables,
        "plan": plan if is_next else None,
        "is_old": is_next and plan is not None and _is_old(session, case, plan, path, last),
        "pictures": _pictures(path.parent) if is_next else [],
        "modes": _modes(session, number - 1, plan if is_next else None),
        "recorded": None if recorded is None else recorded.result,
        "papers": PAPERS,
    }


def make(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """Plan the next pass, as a task."""
    document = session.document
    tables = plan_tables(document)
    kept = {head: document.under(head) for head in KEPT}
    session.memory["plan/made of"] = _seen(document)
    session.tasks.start(PLAN, "Making the plan", document.revision, plan_task, session.folder, tables, kept)
    return {}


def plan_task(report: Any, *arguments: Any) -> Any:
    """Plan a pass, in a process of its own."""
    from bracedtop.scripts.page.plan_task import plan_pass

    return plan_pass(report, *arguments)


def cut(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Record what was really cut, as a task.

    Raises
    ------
    DesignError
        If the pass is recorded already, or its cuts are no cuts.
    """
    number = passes_cut(session.folder) + 1
    rows = message["rows"]
    if message["pass"] != number:
        what = f"pass {message['pass']} is recorded already; pass {number} comes next"
        raise DesignError(what)
    if any(task.name == CUT for task in session.tasks.unfinished()):
        what = f"pass {number} is being recorded"
        raise DesignError(what)
    check_rows(rows)
    rows = [{**row, "depth_to_mm": row["depth_from_mm"] if row["depth_to_mm"] is None else row["depth_to_mm"]}
            for row in rows]  # fmt: skip
    missing = [row["brace"] for row in rows if None in row.values()]
    if missing:
        what = f"the cut of {missing[0]!r} needs from, to and a depth, in mm"
        raise DesignError(what)
    plan = _read(session.folder / PLANNED.with_name("plan.json")) or {}
    planned = [{key: one[key] for key in ("brace", *KEYS)} for one in plan.get("cuts", [])]
    is_planned = plan.get("pass") == number and planned == rows
    document = session.document
    arguments = (session.folder, document.drawing, rows, is_planned)
    session.tasks.start(CUT, f"Recording pass {number}", document.revision, cut_task, *arguments)
    return {}


def cut_task(report: Any, *arguments: Any) -> Any:
    """Record a pass, in a process of its own."""
    from bracedtop.scripts.page.plan_task import record_cuts

    return record_cuts(report, *arguments)


def sheets(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Titles of a template's sheets."""
    made, _ = _sheets(session, str(message.get("paper", "A4")))
    return {"sheets": [sheet.title for sheet in made]}


def plan_tables(document: Document) -> Tables:
    """The drawing in top.toml with the targets and limits of the draft."""
    own = {key: document.tables[key] for key in ("target", "plan") if key in document.tables}
    return {**{key: value for key, value in document.drawing.items() if key not in ("target", "plan")}, **own}


def check_rows(rows: Json) -> None:
    """Refuse what is no list of cuts.

    Raises
    ------
    DesignError
    """
    is_list = isinstance(rows, list) and len(rows) <= MOST_ROWS
    if not is_list or not all(isinstance(row, dict) and set(row) == {"brace", *KEYS} for row in rows):
        message = f"cuts are told by brace, {', '.join(KEYS)}, at most {MOST_ROWS} of them"
        raise DesignError(message)
    for row in rows:
        values = [row[key] for key in KEYS]
        is_text = isinstance(row["brace"], str) and len(row["brace"]) <= 200
        if not is_text or not all(value is None or _is_length(value) for value in values):
            message = f"a cut needs the name of a brace and numbers from 0 to {FARTHEST_MM:g} mm"
            raise DesignError(message)


def _is_length(value: Json) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= FARTHEST_MM


def _case(session: Session) -> "Case":
    """The case that is planned for."""
    tables = plan_tables(session.document)
    known = session.memory.get("plan/case")
    if known is None or known[0] != tables:
        known = session.memory["plan/case"] = (tables, drafted_case(session.folder, tables))
    case: Case = known[1]
    return case


def _read(path: Path) -> dict[str, Any] | None:
    try:
        found = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def _pictures(folder: Path) -> list[dict[str, Any]]:
    """Pictures of the last plan, with what tells a new one from an old one."""
    words = {
        "cuts": "Where to cut, seen from the inside",
        "braces": "The braces from the side",
        "way": "Where the modes go",
    }
    paths = [(folder / f"{name}.png", told) for name, told in words.items()]
    return [
        {"file": f"out/plan/{path.name}", "words": told, "version": path.stat().st_mtime_ns % 10**12}
        for path, told in paths
        if path.is_file()
    ]


def _seen(document: Document) -> tuple[Any, ...]:
    """What a plan depends on in the document."""
    return (plan_tables(document), *(document.under(head) for head in KEPT))


def _is_old(session: Session, case: "Case", plan: dict[str, Any], path: Path, last: Path) -> bool:
    """Whether a plan is of other targets, pairs or taps than there are now."""
    made_of = session.memory.get("plan/made of")
    if made_of is not None and made_of != _seen(session.document):
        return True
    wanted = {(one.mode, one.kind, one.weight, one.text) for one in (*case.targets, *case.other_targets)}
    planned = plan.get("targets", [])
    told = {(row["mode"], row["kind"], row["weight"], row["wish"].rsplit(": ", 1)[0]) for row in planned}
    made = path.stat().st_mtime
    heard = [*recording_paths(last), *(last / name for name in ("taps.csv", "taps.toml"))]
    return wanted != told or any(file.exists() and file.stat().st_mtime > made for file in heard)


def _modes(session: Session, number: int, plan: dict[str, Any] | None) -> list[dict[str, Any]]:
    """Modes as they are now, as far as they are known: tapped ones where they were, the others as predicted."""
    read = readings(session).get(number)
    if read is not None and len(read.predicted_hz):
        from bracedtop.scripts.page.tapped_read import shown

        chosen = chosen_pairs(session.document.under("pairing"), number, read.measured)
        found = shown(read, chosen)
        heard = {row["mode"]: row["hz"] for row in found["taps"] if row["mode"]}
        return [
            {**one, "hz": heard.get(one["mode"], one["hz"]), "is_tapped": one["mode"] in heard}
            for one in found["modes"]
            for one in found["modes"]
        ]
    if plan is not None:
        return [
            {"mode": row["mode"], "hz": row["now_hz"], "name": "", "is_tapped": False}
            for row in plan.get("expected", [])
        ]
    return []


def _sheets(session: Session, paper: str) -> "tuple[tuple[Sheet, ...], str]":
    """Sheets of the planned pass, or of the top as it is where none is planned, and their title."""
    from bracedtop.fem.cut_file import read_cut
    from bracedtop.fem.template import template_sheets
    from bracedtop.scripts.template import as_left

    case = drafted_case(session.folder, session.document.drawing)
    number, design = as_left(session.folder, case.design)
    path = session.folder / PLANNED
    plan = _read(path.with_name("plan.json"))
    is_planned = plan is not None and plan.get("pass") == number and bool(plan.get("cuts")) and path.is_file()
    cuts = read_cut(path, design) if is_planned else ()
    title = f"{case.name}, pass {number}" if cuts else f"{case.name}, as it is"
    return template_sheets(cuts, design, paper, title=title), title


def _template(request: Request) -> Response:
    """The template as a PDF file, or one sheet of it as an SVG file."""
    from bracedtop.fem.sheet import sheet_svg, sheets_pdf

    session: Session = request.app.state.session
    paper = request.query_params.get("paper", "A4")
    sheet = request.query_params.get("sheet", "1")
    try:
        made, title = _sheets(session, paper)
    except BracedTopError as error:
        raise HTTPException(422, " ".join(str(error).split())) from None
    if request.url.path.endswith(".pdf"):
        return Response(sheets_pdf(made, title), media_type="application/pdf")
    if not sheet.isascii() or not sheet.isdecimal() or not 1 <= int(sheet[:6]) <= len(made):
        raise HTTPException(404, f"the template has sheets 1 to {len(made)}")
    name = f"template-{int(sheet):02d}.svg"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(sheet_svg(made[int(sheet) - 1]), media_type="image/svg+xml", headers=headers)


def _check_done(_: Session, key: str, value: Json) -> None:
    steps = key.split("/")[1:]
    is_row = len(steps) == 2 and all(step.isascii() and step.isdecimal() and len(step) < 4 for step in steps)
    if not is_row or not isinstance(value, str) or len(value) > 300:
        message = f"{key[:80]!r} is no line of a cut list; done/PASS/ROW is, with the line as its value"
        raise DesignError(message)


def _check_really(_: Session, key: str, value: Json) -> None:
    number = key.partition("/")[2]
    if not number.isascii() or not number.isdecimal() or len(number) > 3:
        message = f"{key[:80]!r} is no pass; really/PASS is"
        raise DesignError(message)
    check_rows(value)


HANDLERS = {"plan/state": state, PLAN: make, CUT: cut, "plan/sheets": sheets}
ROUTES = [Route("/plan/template.pdf", _template), Route("/plan/template.svg", _template)]
CHECKS = {"done": _check_done, "really": _check_really}
