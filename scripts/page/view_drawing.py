"""Drawing: the top from the inside, its braces, and what all modes do while one is dragged.

Depends on scripts/page/session; on fem, geometry, scripts/page/live and solved once something is asked for. A drag is
answered by the what-if model of the drawing (live), a finished change by a full solution in a task (solved).
"""

import tomllib
from pathlib import Path
from threading import Lock
from time import perf_counter, thread_time
from typing import TYPE_CHECKING, Any

from bracedtop.geometry.errors import BracedTopError, DesignError
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.session import Session

if TYPE_CHECKING:
    import numpy as np
    import shapely

    from bracedtop.fem.case import Case
    from bracedtop.scripts.page.live import Live
    from bracedtop.scripts.page.solved import Solved

DRAWN, DRAFT = "solve/drawing", "solve/draft"
MODEL = "live/model"

N_BOARDS = 60
"""Most board files that are looked for in a case; chosen: more is no workshop's."""

FAMILIES = {
    "x": ("crossed X", "crossed X with tone bars, finger braces and a transverse brace"),
    "ladder": ("ladder", "bars across the top"),
    "fan": ("fan", "struts fanning out towards the tail, closing bars, harmonic bars"),
    "lattice": ("lattice", "two families of small crossing bars and transverse braces"),
}


def state(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """All about the top that does not change while a brace is dragged; at first without what has to be loaded."""
    case = _shown_case(session)
    held = session.document
    found: dict[str, Any] = {
        "plan": _plan(case),
        "crossings": _crossings(case),
        "woods": woods(session),
        "families": [{"name": name, "label": label, "words": words} for name, (label, words) in FAMILIES.items()],
        "targets": [{"mode": t.mode, "hz": t.hz, "words": t.text, "breadth": t.tolerance} for t in case.targets],
        "ladder": ladder(session),
        "points": None,
        "ranges": {},
    }
    is_first = bool(message.get("first"))
    live = live_for(session, held.tables, loads=not is_first)
    found["model"] = {
        "is_ready": live is not None,
        "is_running": any(task.name == MODEL for task in session.tasks.unfinished()),
    }
    if live is not None:
        from bracedtop.scripts.page.live import ranges

        found["ranges"] = ranges(live)
    solved = draft_solved(session) or drawing_solved(session)
    if not is_first and (live is not None or solved is not None):
        points, triangles = points_of(session, case)
        found["points"] = {"xy": (1e3 * points).round(1).tolist(), "triangles": triangles.tolist()}
    return found


def drag(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """What all modes do with other stations of a brace, in milliseconds; or why a full solution is needed."""
    start, processor = perf_counter(), thread_time()
    tables = session.document.tables
    lives: dict[str, Live] = session.memory.get("drawing/lives", {})
    if not lives:
        return {"reason": "the quick model is not ready yet"}
    from bracedtop.scripts.page.live import answer, values_of

    mode = message.get("mode")
    reasons = []
    for live in list(lives.values()):
        values = values_of(live, tables, str(message.get("brace", "")), message.get("stations", ()))
        if not isinstance(values, str):
            found = answer(live, values, None if mode is None else int(mode))
            found["ms"] = round(1e3 * (perf_counter() - start), 2)
            found["processor_ms"] = round(1e3 * (thread_time() - processor), 2)
            return found
        reasons.append(values)
    return {"reason": reasons[-1]}


def prepare(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """Have what is missing made: full solutions of drawing and draft, and the what-if model. Does nothing twice."""
    with session.memory.setdefault("drawing/preparing", Lock()):
        _solve(session)
        _prepare_model(session, session.document.tables, session.document.drawing)
    return {}


def _solve(session: Session) -> None:
    from bracedtop.scripts.page.solved import digest, solve_top

    held = session.document
    running = {task.name: task for task in session.tasks.unfinished()}
    wanted = [(DRAWN, "the drawing in full", held.drawing, True)]
    if held.is_drafted and digest(held.tables) != digest(held.drawing):
        wanted.append((DRAFT, "the draft in full", held.tables, False))
    elif DRAFT in running:
        session.tasks.cancel(running[DRAFT].number)
    for name, words, tables, with_taps in wanted:
        done = session.tasks.finished(name)
        mark = digest(tables)
        if done is not None and done.result.digest == mark:
            continue
        key = f"drawing/{name}"
        if name in running and session.memory.get(key) == mark:
            continue
        session.memory[key] = mark
        session.tasks.start(name, words, held.revision, solve_top, session.folder, tables, with_taps)


def pattern(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    """Changes that put a family of braces in place of those drawn."""
    from bracedtop.fem.part_writer import in_mm
    from bracedtop.fem.wood_table import handbook_wood
    from bracedtop.geometry.units import MM
    from bracedtop.scripts.pattern import pattern_braces

    family, wood = str(message["family"]), str(message["wood"])
    if family not in FAMILIES:
        error = f'no pattern is named "{family[:40]}"; must be one of: {", ".join(FAMILIES)}'
        raise DesignError(error)
    case = _shown_case(session)
    if wood not in case.woods:
        handbook_wood(wood)
    tables = session.document.tables
    changes: dict[str, Any] = {f"brace/{row['name']}": None for row in tables.get("brace", [])}
    for brace in pattern_braces(case.design, family, wood, {}, {}):
        changes[f"brace/{brace.name}"] = {
            "wood": brace.wood,
            "path_mm": [[round(v, 4) for v in row] for row in in_mm(brace.path)],  # type: ignore[union-attr]
            "width_mm": round(brace.width / MM, 4),
            "stations_mm": [[round(v, 4) for v in row] for row in in_mm(brace.stations)],  # type: ignore[union-attr]
            "shape": brace.shape,
        }
    if tables.get("joint"):
        changes["joint"] = None
    plan = tables.get("plan", {})
    for key in ("leave_braces", "brace_least_height_mm"):
        if key in plan:
            changes[f"plan/{key}"] = None
    return {"changes": changes}


def woods(session: Session) -> list[dict[str, str]]:
    """Woods to choose from: those of the case, boards in its folder, built-in ones."""
    from bracedtop.fem.wood_table import wood_names

    own = session.document.tables.get("wood", {})
    named = {row.get("board") for row in own.values()}
    found = [{"name": name, "kind": "of this case"} for name in own]
    for file in boards(session.folder):
        if file not in named:
            name = f"{Path(file).stem}"
            found.append({"name": name if name not in own else f"{name} board", "kind": "board", "board": file})
    return found + [{"name": name, "kind": "built-in"} for name in wood_names() if name not in own]


def boards(folder: Path) -> list[str]:
    """Board files in a case's folder, one level deep."""
    found = []
    for path in sorted([*folder.glob("*.toml"), *folder.glob("*/*.toml")])[: 4 * N_BOARDS]:
        if path.name.startswith(".") or path.parent.name.startswith((".", "drawings", "pass-", "out")):
            continue
        try:
            tables = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        except (OSError, ValueError):
            continue
        if "tap" in tables and "length_mm" in tables:
            found.append(path.relative_to(folder).as_posix())
    return found[:N_BOARDS]


def ladder(session: Session) -> dict[str, Any]:
    """Frequencies of the drawing, and of the draft by a full solution, in the order of the drawing's modes."""
    drawn, draft = drawing_solved(session), draft_solved(session)
    live = live_for(session, session.document.tables, loads=False)
    found: dict[str, Any] = {"drawn": None, "draft": None, "names": [], "measured": {}, "notes": [], "off": None}
    if drawn is not None:
        from bracedtop.scripts.page.solved import N_MODES

        found["drawn"] = drawn.hz[:N_MODES].tolist()
        found["names"] = [fact["name"] for fact in drawn.facts[:N_MODES]]
        found["measured"] = {str(mode): hz for mode, hz in drawn.measured(session.document.under("pairing")).items()}
        found["notes"] = list(drawn.notes)
        found["mass_g"] = drawn.mass
    elif live is not None:
        found["drawn"] = live.drawn.frequencies.tolist()
    if draft is not None:
        found["draft_mass_g"] = draft.mass
        if drawn is None:
            found["draft"] = draft.hz[: len(found["drawn"] or draft.hz)].tolist()
        else:
            from bracedtop.scripts.page.solved import successors

            found["draft"] = [float(draft.hz[k]) for k in successors(drawn, draft)]
        found["off"] = _off(live, session.document.tables, draft)
    return found


def _off(live: "Live | None", tables: Tables, full: "Solved") -> dict[str, float] | None:
    """How far the quick figures were off from the full ones, both in rising order: the worst of them in percent."""
    if live is None:
        return None
    import numpy as np

    from bracedtop.scripts.page.live import answer, values_of

    values = values_of(live, tables)
    if isinstance(values, str):
        return None
    quick = np.sort(answer(live, values, None)["hz"])
    share = 100 * (quick / full.hz[: len(quick)] - 1)
    worst = int(np.abs(share).argmax())
    return {"percent": float(share[worst]), "hz": float(quick[worst] - full.hz[worst]), "mode": worst + 1}


# What is solved and made, by the drawing and the draft.


def drawing_solved(session: Session) -> "Solved | None":
    """Full solution of the saved drawing."""
    return _solved(session, session.document.drawing)


def draft_solved(session: Session) -> "Solved | None":
    """Full solution of the draft as it is now; of the drawing if they have the same modes."""
    return _solved(session, session.document.tables)


def _solved(session: Session, tables: Tables) -> "Solved | None":
    done = [task for name in (DRAWN, DRAFT) if (task := session.tasks.finished(name)) is not None]
    if not done:
        return None
    from bracedtop.scripts.page.solved import digest

    mark = digest(tables)
    # Of the drawing first, as only that has its taps with it.
    return next((task.result for task in done if task.result.digest == mark), None)


def live_for(session: Session, tables: Tables, *, loads: bool = True) -> "Live | None":
    """The what-if model that can answer for a draft: the drawing's, or that of a draft; None if there is none.

    With one that cannot answer for it none of them can, and the drawing's is given, to say why.
    """
    lives: dict[str, Live] = session.memory.setdefault("drawing/lives", {})
    if loads:
        _load(session, lives)
    if not lives:
        return None
    from bracedtop.scripts.page.live import values_of

    for live in (found := list(lives.values())):
        if not isinstance(values_of(live, tables), str):
            return live
    return found[0]


def _load(session: Session, lives: "dict[str, Live]") -> None:
    """Read the models that are kept, unless they are in memory."""
    held = session.document
    kept_for: Tables | None = session.memory.get("drawing/model of draft")
    with session.memory.setdefault("drawing/lock", Lock()):
        for name, tables in (("what_if.npz", held.drawing), ("what_if_draft.npz", kept_for)):
            path = session.folder / ".bracedtop" / name
            if tables is None or not path.is_file():
                continue
            stamp = (path.stat().st_mtime_ns, path.stat().st_size)
            known = session.memory.get(f"drawing/stamp of {name}")
            if known is not None and known[0] == stamp and known[1] == tables:
                continue
            from bracedtop.scripts.page.live import read_live

            try:
                case = drafted_case(session.folder, tables)
                live = read_live(case, tables, points_of(session, case)[0], name)
            except BracedTopError:
                continue  # said elsewhere: a draft that cannot be built has no model
            session.memory[f"drawing/stamp of {name}"] = (stamp, tables)
            if live is not None:
                # Where the file is of another drawing, the one in memory stays: it may still answer for this one.
                lives[name] = live


def _prepare_model(session: Session, tables: Tables, drawing: Tables) -> None:
    """Begin to make the what-if model, of the saved drawing first, then of a draft that it does not reach."""
    if _is_answered(session, tables):
        return
    of_drawing = not _is_answered(session, drawing)
    name, wanted = ("what_if.npz", drawing) if of_drawing else ("what_if_draft.npz", tables)
    running = next((task for task in session.tasks.unfinished() if task.name == MODEL), None)
    if running is not None and session.memory.get("drawing/model in work") == wanted:
        return
    from bracedtop.scripts.page.live import make_live

    session.memory["drawing/model in work"] = wanted
    if not of_drawing:
        session.memory["drawing/model of draft"] = wanted
    words = "the quick model" + ("" if of_drawing else " of the draft")
    session.tasks.start(MODEL, words, session.document.revision, make_live, session.folder, wanted, name)


def _is_answered(session: Session, tables: Tables) -> bool:
    """Whether a what-if model that is there can answer for a drawing."""
    live = live_for(session, tables)
    if live is None:
        return False
    from bracedtop.scripts.page.live import values_of

    return not isinstance(values_of(live, tables), str)


def points_of(session: Session, case: "Case") -> "tuple[np.ndarray, np.ndarray]":
    """Points of the plan (n, 2) in m and triangles (m, 3), made once for an outline and its holes."""
    from bracedtop.scripts.page.solved import plan_digest, plan_points

    key = plan_digest(session.document.tables)
    known = session.memory.get("drawing/points")
    if known is None or known[0] != key:
        known = session.memory["drawing/points"] = (key, plan_points(case.design))
    found: tuple[np.ndarray, np.ndarray] = known[1]
    return found


def top_state(session: Session) -> "tuple[Case, dict[str, Any]]":
    """The case that is shown and its plan."""
    case = _shown_case(session)
    return case, _plan(case)


def _shown_case(session: Session) -> "Case":
    """The draft's case; where that cannot be built, the drawing's, so that the rest can still be seen."""
    try:
        return session.case()
    except BracedTopError:
        return drafted_case(session.folder, session.document.drawing)


def _plan(case: "Case") -> dict[str, Any]:
    design = case.design
    return {
        "outline": _line(design.outline.polygon.exterior.coords),
        "holes": [_line(hole.outline(90).points) for hole in design.holes],
        "patches": [
            {"name": p.name, "kind": "bridge" if p.is_bridge else "", "rings": _rings(p.polygon)}
            for p in design.patches
        ],
        "bridge": [round(1e3 * float(v), 2) for v in design.driving_point],
        "masses": [{"name": m.name, "at": [1e3 * float(v) for v in m.at]} for m in design.masses],
        "ring": 1e3 * design.plate.ring_width,
    }


def _crossings(case: "Case") -> list[dict[str, Any]]:
    from bracedtop.geometry.crossing import crossings

    given = {frozenset((joint.under, joint.over)): joint.kept is not None for joint in case.design.joints}
    return [
        {
            "under": one.under,
            "over": one.over,
            "kept_mm": round(1e3 * one.kept, 6),
            "at": [round(1e3 * float(v), 2) for v in one.point],
            "is_given": given.get(frozenset((one.under, one.over)), False),
        }
        for one in crossings(case.design)
    ]


def _rings(polygon: "shapely.Polygon") -> list[list[list[float]]]:
    return [_line(polygon.exterior.coords), *(_line(ring.coords) for ring in polygon.interiors)]


def _line(points: Any) -> list[list[float]]:
    return [[round(1e3 * float(x), 2), round(1e3 * float(y), 2)] for x, y in points]


HANDLERS = {
    "drawing/state": state,
    "drawing/drag": drag,
    "drawing/prepare": prepare,
    "drawing/pattern": pattern,
}
