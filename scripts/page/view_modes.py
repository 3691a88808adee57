"""Modes: the ladder of the top's modes, the shape of a chosen one, what governs it, and what cuts do to it.

Depends on scripts/page/session, view_drawing; on scripts/page/solved and scene once something is there to be shown.
"""

from threading import Lock
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from bracedtop.scripts.page.session import Session
from bracedtop.scripts.page.view_drawing import draft_solved, drawing_solved, points_of, top_state

if TYPE_CHECKING:
    from bracedtop.scripts.page.solved import Solved

SCENE = "scene"


def state(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """Modes of the draft as it is; those of the drawing until these are known."""
    case, plan = top_state(session)
    solved = draft_solved(session)
    is_current = solved is not None
    if solved is None:
        solved = drawing_solved(session)
    found: dict[str, Any] = {"plan": plan, "is_current": is_current, "modes": None, "is_drafted": False}
    if solved is None:
        return found
    from bracedtop.scripts.page.solved import N_MODES

    points, triangles = points_of(session, case)
    of_drawing, measured = _as_drawn(session, solved)
    targets = {t.mode: {"hz": t.hz, "words": t.text} for t in case.targets}
    found["modes"] = [
        {
            "mode": k + 1,
            "hz": float(solved.hz[k]),
            **solved.facts[k],
            "measured": measured.get(of_drawing[k]),
            "target": targets.get(of_drawing[k]),
            "was": of_drawing[k],
        }
        for k in range(min(N_MODES, len(solved.hz)))
    ]
    if len(points) == solved.shapes.shape[1]:
        found["points"] = {"xy": (1e3 * points).round(1).tolist(), "triangles": triangles.tolist()}
        found["shapes"] = (1000 * solved.shapes[:N_MODES]).round().astype(int).tolist()
    found["shaving"] = [
        {
            "brace": row.brace,
            "mode": row.mode,
            "start": round(1e3 * row.start, 1),
            "stop": round(1e3 * row.stop, 1),
            "hz_per_mm": round(row.hz_per_mm, 4),
            "grams_per_mm": round(row.grams_per_mm, 4),
        }
        for row in solved.shaving
    ]
    found["notes"] = list(solved.notes)
    found["mass_g"] = solved.mass
    return found


def _as_drawn(session: Session, solved: "Solved") -> tuple[dict[int, int], dict[int, float]]:
    """For each mode (from 0) the drawing's mode (from 1) that it was, and what was tapped of those."""
    drawn, choices = drawing_solved(session), session.document.under("pairing")
    if drawn is None or drawn is solved:
        return {k: k + 1 for k in range(len(solved.hz))}, solved.measured(choices)
    from bracedtop.scripts.page.solved import successors

    was = {after: before + 1 for before, after in enumerate(successors(drawn, solved))}
    return {k: was.get(k, 0) for k in range(len(solved.hz))}, drawn.measured(choices)


def scene(session: Session, _: dict[str, Any]) -> dict[str, Any]:
    """Whether the 3-D picture is there; it is begun if it is not."""
    from bracedtop.scripts.page.solved import plan_digest

    key = plan_digest(session.document.tables)
    with session.memory.setdefault("modes/lock", Lock()):
        if _viewer(session) is None:
            return {"is_ready": False, "is_running": False, "words": "the viewer of trame-vtk is not installed"}
        if session.tasks.finished(SCENE) is not None and session.memory.get("modes/scene of") == key:
            return {"is_ready": True, "is_running": False}
        if not any(task.name == SCENE for task in session.tasks.unfinished()):
            from bracedtop.scripts.page.scene import make_scene

            if session.memory.get("modes/scene of") == key:
                return {"is_ready": False, "is_running": False, "words": "it could not be made"}
            points, triangles = points_of(session, top_state(session)[0])
            session.memory["modes/scene of"] = key
            session.tasks.start(SCENE, "the 3-D picture", session.document.revision, make_scene, points, triangles)
    return {"is_ready": False, "is_running": True}


def _viewer(session: Session) -> str | None:
    if "modes/viewer" not in session.memory:
        from bracedtop.scripts.page.scene import viewer_script

        session.memory["modes/viewer"] = viewer_script()
    found: str | None = session.memory["modes/viewer"]
    return found


def viewer_file(request: Request) -> Response:
    """The viewer's script."""
    script = _viewer(request.app.state.session)
    if script is None:
        return Response("there is no viewer", status_code=404, media_type="text/plain")
    return Response(script, media_type="text/javascript")


def scene_file(request: Request) -> Response:
    """The scene."""
    done = request.app.state.session.tasks.finished(SCENE)
    if done is None:
        return Response("the 3-D picture is not made yet", status_code=404, media_type="text/plain")
    return Response(done.result, media_type="application/octet-stream")


HANDLERS = {"modes/state": state, "modes/scene": scene}
ROUTES = [Route("/modes/viewer.js", viewer_file), Route("/modes/top.vtksz", scene_file)]
