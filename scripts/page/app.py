"""The page's application: files of the page, uploads, and the connection on which page and views talk.

Depends on scripts/page/guard, session, tasks and, by name only, the views.

How a view joins
----------------
A view named NAME of `VIEWS` is a module ``scripts/page/view_NAME.py``, an ES module ``static/NAME.js`` and, if it
wants rules of its own, ``static/NAME.css`` (every selector under ``#view-NAME``). Each is found by its name; nothing
has to be registered here. ``view_NAME`` may define any of:

``HANDLERS: dict[str, Callable[[Session, dict], dict]]``
    Answers to ``bench.ask({ask: "NAME/what", ...})``; keys are the whole ``"NAME/what"``. Called in a thread of its own
    with the session and the message; what it returns has to be JSON (numpy arrays by ``.tolist()``; NaN and infinity
    become null). An error of `geometry/errors` reaches the page as one sentence.
``ROUTES: list[Route]``
    Starlette routes under ``/TOKEN/``, such as ``Route("/NAME/template.pdf", answer)``; the session is
    ``request.app.state.session``. Reading only (GET); the guard lets nothing else from outside through, and answers
    block nothing if they are plain functions (Starlette runs these in threads).
``CHECKS: dict[str, Callable[[Session, str, Json], None]]``
    For the first words of keys that the view keeps in the document (``bench.change("notes/12", {...})``): raises
    DesignError if key or value is not allowed. Keys of the drawing, and ``units``, are checked already.
``UPLOADS: dict[str, Upload]``
    For ``bench.upload("what", file, {point: "bridge"})``: ``Upload("sound" | "picture", keep)``; `keep(session,
    content, name, fields)` gets a content that has been checked and a clean name with its ending, and returns JSON.

The session (scripts/page/session.py): ``session.document`` (frozen: ``tables`` as drafted, ``values``,
``under("notes")``, ``revision``), ``session.case()`` (the drafted `Case`, or an error),
``session.change(keys, values)``, ``session.tell(event, **data)`` to every page, ``session.memory["NAME/what"]`` for
what is dear to make, and
``session.tasks.start("NAME/what", "words for the maker", session.document.revision, function, *arguments)``
with ``function(report, *arguments)`` in a module, run in a process of low priority; ``report("stage", 0.4)`` shows
progress; ``session.tasks.finished("NAME/what")`` has `.result` and `.revision` of the last one done. Paths by
``inside(session.folder, "taps/bridge.wav")``; new files by ``keep_new(path, content)``.
"""

import asyncio
import importlib
import importlib.util
import json
import traceback
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from anyio import CapacityLimiter, to_thread
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket, WebSocketDisconnect

from bracedtop.geometry.errors import BracedTopError, FileError
from bracedtop.scripts.console import plain
from bracedtop.scripts.page.draft import HEADS
from bracedtop.scripts.page.guard import (
    ENDINGS,
    MEGABYTE,
    MOST_BYTES,
    SERVED,
    App,
    Door,
    Guard,
    Kind,
    clean_name,
    inside,
    keep_new,
)
from bracedtop.scripts.page.session import Session

VIEWS = {
    "drawing": "Drawing",
    "modes": "Modes",
    "taps": "Taps",
    "plan": "Plan",
    "box": "Box",
    "sound": "Listen",
    "book": "Book",
}
"""Names of the views and what their tabs say."""

STATIC = Path(__file__).parent / "static"

LOOK_EVERY = 2.0
"""How often top.toml is looked at, s."""

AT_ONCE = 8
"""Questions that are answered at the same time; chosen: a page asks one or two at once."""

Handler = Callable[[Session, dict[str, Any]], dict[str, Any]]
Keep = Callable[[Session, bytes, str, dict[str, str]], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Upload:
    """What may be uploaded under a name, and what is done with it.

    Parameters
    ----------
    kind : {"sound", "picture"}
    keep : callable
        ``keep(session, content, name, fields) -> dict``.
    """

    kind: Kind
    keep: Keep


def keep_in(folder: str) -> Keep:
    """Keeps uploads in a folder of the case under their own names, never over another file."""

    def keep(session: Session, content: bytes, name: str, _: dict[str, str]) -> dict[str, Any]:
        path = keep_new(inside(session.folder, f"{folder}/{name}"), content)
        return {"file": path.relative_to(session.folder.resolve()).as_posix()}

    return keep


def application(session: Session, door: Door) -> App:
    """The whole page of a case, guarded."""
    handlers: dict[str, Handler] = dict(HANDLERS)
    uploads = {"taps": Upload("sound", keep_in("taps")), "photographs": Upload("picture", keep_in("photographs"))}
    routes: list[BaseRoute] = [
        Route("/", _page),
        Route("/upload/{what}/{name}", _upload, methods=["POST"]),
        Route("/case/{path:path}", _case_file),
        WebSocketRoute("/live", _live),
        Mount("/static", StaticFiles(directory=STATIC)),
    ]
    for name in VIEWS:
        if importlib.util.find_spec(f"bracedtop.scripts.page.view_{name}") is not None:
            view = importlib.import_module(f"bracedtop.scripts.page.view_{name}")
            handlers |= getattr(view, "HANDLERS", {})
            uploads |= getattr(view, "UPLOADS", {})
            routes += getattr(view, "ROUTES", [])
            session.checks |= getattr(view, "CHECKS", {})
    app = Starlette(routes=[Mount(f"/{door.token}", routes=routes)], lifespan=_lifespan)
    app.state.session, app.state.handlers, app.state.uploads = session, handlers, uploads
    return Guard(app, door)


def hello(session: Session) -> dict[str, Any]:
    """What a page hears first."""
    views = [
        {
            "name": name,
            "label": label,
            "is_there": (STATIC / f"{name}.js").exists(),
            "has_look": (STATIC / f"{name}.css").exists(),
        }
        for name, label in VIEWS.items()
    ]
    return {
        "event": "hello",
        "case": session.folder.resolve().name,
        "views": views,
        "heads": sorted(HEADS),
        "tasks": [task.message() for task in session.tasks.unfinished()],
        "state": session.state(),
    }


def _change(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    keys, values = message["keys"], message["values"]
    if not isinstance(keys, list) or not isinstance(values, list) or not all(isinstance(key, str) for key in keys):
        error = "a change names its keys and values in two lists"
        raise FileError(error)
    known = {"id": str(message["id"])[:100], "seen": int(message["seen"]), "page": str(message["page"])[:100]}
    return session.change(keys, values, **known)


def _cancel(session: Session, message: dict[str, Any]) -> dict[str, Any]:
    session.tasks.cancel(int(message["task"]))
    return {}


HANDLERS: dict[str, Handler] = {
    "change": _change,
    "undo": lambda session, message: session.undo(str(message["id"]), str(message["page"])),
    "redo": lambda session, message: session.redo(str(message["id"]), str(message["page"])),
    "start again": lambda session, message: session.start_again(str(message["page"])),
    "take file": lambda session, message: session.take_file(str(message["page"])),
    "keep draft": lambda session, message: session.keep_draft(str(message["page"])),
    "save drawing": lambda session, message: session.save_drawing(str(message["page"])),
    "cancel": _cancel,
}
"""Questions that the frame itself asks."""


@asynccontextmanager
async def _lifespan(app: Starlette) -> AsyncIterator[None]:
    session: Session = app.state.session
    app.state.limiter = CapacityLimiter(AT_ONCE)
    watch = asyncio.create_task(_watch(session))
    try:
        yield
    finally:
        watch.cancel()
        with suppress(asyncio.CancelledError):
            await watch
        session.close()


async def _watch(session: Session) -> None:
    while True:
        await asyncio.sleep(LOOK_EVERY)
        await to_thread.run_sync(session.look_at_file)


def _page(_: Request) -> Response:
    return FileResponse(STATIC / "page.html", media_type="text/html; charset=utf-8")


def _case_file(request: Request) -> Response:
    session: Session = request.app.state.session
    try:
        path = inside(session.folder, request.path_params["path"])
    except FileError as error:
        raise HTTPException(404, str(error)) from None
    if path.suffix.lower() not in SERVED or not path.is_file():
        raise HTTPException(404, "the case has no such file that a page may show")
    return FileResponse(path, media_type=SERVED[path.suffix.lower()])


async def _upload(request: Request) -> Response:
    session: Session = request.app.state.session
    upload: Upload | None = request.app.state.uploads.get(request.path_params["what"])
    if upload is None:
        raise HTTPException(404, "nothing of that kind can be uploaded")
    content = await _content(request, MOST_BYTES[upload.kind])

    def kept() -> dict[str, Any]:
        name = clean_name(request.path_params["name"], ENDINGS[upload.kind](content))
        return upload.keep(session, content, name, dict(request.query_params))

    try:
        answer = await to_thread.run_sync(kept)
    except BracedTopError as error:
        raise HTTPException(422, " ".join(str(error).split())) from None
    return JSONResponse(plain(answer))


async def _content(request: Request, most: int) -> bytes:
    refusal = HTTPException(413, f"this file is too large; it may have {most // MEGABYTE} MB")
    told = request.headers.get("content-length", "")
    if told.isascii() and told.isdigit() and int(told[:20]) > most:
        raise refusal
    content = bytearray()
    try:
        async for piece in request.stream():
            content += piece
            if len(content) > most:
                raise refusal
    except ClientDisconnect:
        raise HTTPException(400, "the file broke off") from None
    return bytes(content)


async def _live(socket: WebSocket) -> None:
    """One page: every question is answered by its number; events come between."""
    session: Session = socket.app.state.session
    await socket.accept()
    loop = asyncio.get_running_loop()
    outgoing: asyncio.Queue[dict[str, Any]] = asyncio.Queue()

    def hear(event: dict[str, Any]) -> None:
        with suppress(RuntimeError):  # the loop has closed
            loop.call_soon_threadsafe(outgoing.put_nowait, event)

    end = session.listen(hear)
    outgoing.put_nowait(hello(session))
    sender = asyncio.create_task(_send(socket, outgoing))
    answers: set[asyncio.Task[None]] = set()
    try:
        while True:
            number, message = _question(await socket.receive_text())
            # Changes keep their order: the next one waits until the last is on the disk.
            if message.get("ask") == "change":
                await _answer(socket, number, message, outgoing)
            else:
                answers.add(task := asyncio.create_task(_answer(socket, number, message, outgoing)))
                task.add_done_callback(answers.discard)
    except (WebSocketDisconnect, KeyError):
        pass  # the page has gone; a message that is no text counts as that
    finally:
        end()
        sender.cancel()


async def _send(socket: WebSocket, outgoing: asyncio.Queue[dict[str, Any]]) -> None:
    with suppress(WebSocketDisconnect, RuntimeError):
        while True:
            message = await outgoing.get()
            await socket.send_text(json.dumps(plain(message), separators=(",", ":"), allow_nan=False))


async def _answer(
    socket: WebSocket, number: Any, message: dict[str, Any], outgoing: asyncio.Queue[dict[str, Any]]
) -> None:
    state, ask = socket.app.state, str(message.get("ask"))
    answer: dict[str, Any] = {"answer": number}
    handler: Handler | None = state.handlers.get(ask)
    if handler is None:
        answer["error"] = f"this page cannot be asked for {ask[:80]!r}"
    else:
        try:
            answer["result"] = await to_thread.run_sync(handler, state.session, message, limiter=state.limiter)
        except BracedTopError as error:
            answer["error"] = " ".join(str(error).split())
        except (KeyError, TypeError, ValueError) as error:
            # Mostly a question without all that belongs to it: a mistake in a view, so its trace is wanted too.
            traceback.print_exc()
            answer["error"] = f"the program could not answer {ask!r}: {type(error).__name__} {error}"
    outgoing.put_nowait(answer)


def _question(text: str) -> tuple[Any, dict[str, Any]]:
    """Number and message; apart, so that a message may have a number of its own."""

    def refuse(word: str) -> None:
        error = f"{word} is not a number that a page may send"
        raise ValueError(error)

    try:
        asked = json.loads(text, parse_constant=refuse)
    except (ValueError, RecursionError):
        return None, {}
    asked = asked if isinstance(asked, dict) else {}
    message = asked.get("message")
    return asked.get("number"), message if isinstance(message, dict) else {}
