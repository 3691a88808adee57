"""Open the bench page of a case in the browser.

The whole job on one page, without typing: drawing, modes, taps, plan, box, sound and book. The page is served to this
machine only, under an address with a key in it that stays the same for the case. Every change is on the disk before the
page says so; Ctrl-C ends the server, and a page that is still open finds it again when it is started anew.

example:
  bracedtop bench wren
  bracedtop bench wren --no-browser --port 8765
"""

import argparse
import errno
import os
import socket
import sys
import threading
import webbrowser
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from bracedtop.geometry.errors import FileError

if TYPE_CHECKING:
    import uvicorn

    from bracedtop.scripts.page.guard import App, Door

LOCK = Path(".bracedtop") / "page.lock"

MOST_MESSAGE = 4_000_000
"""Longest message from the page, bytes; chosen: well above the largest change."""

LEAVE = 2
"""How long open connections may take to end after Ctrl-C, s."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument(
        "--port", type=port_number, metavar="N", help="port of this machine; otherwise the one that the case had before"
    )
    parser.add_argument("--no-browser", action="store_true", help="only print the address")
    parser.add_argument("--json", action="store_true", help="print the address as one JSON object")


def port_number(text: str) -> int:
    """A port from the command line."""
    if text.isascii() and text.isdigit() and len(text) < 6 and 1024 <= int(text) < 65536:
        return int(text)
    message = f"{text!r} is not a port; give 1024 to 65535"
    raise argparse.ArgumentTypeError(message)


def run(args: argparse.Namespace) -> int:
    """Serve the page until Ctrl-C."""
    from filelock import FileLock, Timeout

    from bracedtop.fem.case_file import read_tables
    from bracedtop.scripts.page.guard import door_of, keep_door

    read_tables(args.case)
    lock = FileLock(args.case / LOCK)
    try:
        (args.case / LOCK).parent.mkdir(exist_ok=True)
        lock.acquire(timeout=0)
    except Timeout:
        message = f"{args.case}: is open already at {door_of(args.case).address}; a case has one bench at a time"
        raise FileError(message) from None
    with lock:
        door = door_of(args.case)
        listener, note = chosen_listener(args.port, door.port)
        with listener:
            door = replace(door, port=listener.getsockname()[1])
            keep_door(args.case, door)
            return _serve(args, door, listener, note)


def _serve(args: argparse.Namespace, door: "Door", listener: socket.socket, note: str) -> int:
    from bracedtop.scripts.console import print_json
    from bracedtop.scripts.page.app import application
    from bracedtop.scripts.page.session import Session

    app = application(Session(args.case), door)
    if args.json:
        print_json({"address": door.address, "port": door.port, "case": str(args.case), "note": note or None})
    else:
        if note:
            print(f"bracedtop: {note}", file=sys.stderr)
        print(f"{args.case} is open at {door.address}")
        print("Ctrl-C ends it. Whoever has the address on this machine can change the case.")
    sys.stdout.flush()
    if not args.no_browser:
        threading.Timer(0.3, webbrowser.open, [door.address]).start()
    try:
        page_server(app).run(sockets=[listener])
    except KeyboardInterrupt:
        # Raised again by the server once all is closed.
        print("bracedtop: closed; everything is kept", file=sys.stderr)
    return 0


def page_server(app: "App") -> "uvicorn.Server":
    """Server of an application on sockets that are there already."""
    import uvicorn

    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,  # lines of it would hold the key
        ws="websockets-sansio",
        ws_max_size=MOST_MESSAGE,
        ws_per_message_deflate=False,
        server_header=False,
        timeout_graceful_shutdown=LEAVE,
    )
    return uvicorn.Server(config)


def loopback(port: int) -> socket.socket:
    """Socket that listens on a port of the loopback interface; any free one for 0.

    Raises
    ------
    OSError
        If the port cannot be had.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":
            # So that the port is free at once after the server was killed; elsewhere it would let others take it.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(64)
    except OSError:
        listener.close()
        raise
    return listener


def chosen_listener(asked: int | None, before: int) -> tuple[socket.socket, str]:
    """Socket on the loopback interface, and what there is to say about its port."""
    try:
        return loopback(before if asked is None else asked), ""
    except OSError as error:
        if asked is not None:
            taken = error.errno in (errno.EADDRINUSE, errno.EACCES)
            reason = "is taken by another program" if taken else f"cannot be used ({error.strerror})"
            message = f"--port {asked}: {reason}; give another, or none"
            raise FileError(message) from None
    return loopback(0), f"port {before} is taken by another program, so the address has changed"
