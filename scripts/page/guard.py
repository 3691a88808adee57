"""Who may ask for what: token and port of a case, allowed hosts, headers, paths, and what is uploaded.

Depends on geometry/errors, fem/sound. Only the loopback interface is served, but every page in the browser and every
program of the machine can send requests there: hence the token in the address, and the checks of host and origin.
"""

import io
import json
import os
import re
import secrets
import unicodedata
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import soundfile
from PIL import Image
from starlette.responses import PlainTextResponse

from bracedtop.fem.sound import FORMATS
from bracedtop.geometry.errors import FileError

FILE_NAME = Path(".bracedtop") / "page.json"

HOSTS = ("127.0.0.1", "localhost")

MEGABYTE = 1_000_000

MOST_BYTES = {"sound": 100 * MEGABYTE, "picture": 25 * MEGABYTE}
"""Largest uploads; chosen: eight minutes of a studio's WAV, and a photograph of any telephone."""

MOST_PIXELS = 80_000_000
"""Largest photograph; chosen: above any telephone's, below what takes a laptop's memory."""

RATES = (8_000, 384_000)

SERVED = {
    ".wav": "audio/wav",
    ".flac": "audio/flac",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".pdf": "application/pdf",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
    ".toml": "text/plain; charset=utf-8",
}
"""Files of the case that the page may read; none that a browser would run."""

Kind = Literal["sound", "picture"]
Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]


@dataclass(frozen=True, slots=True)
class Door:
    """Token and port of a case's page: they stay, so that an open page finds its server again."""

    token: str
    port: int

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://127.0.0.1:{self.port}/{self.token}/"


def door_of(folder: Path) -> Door:
    """The token and the port that the case had, or a new token and port 0.

    Raises
    ------
    FileError
        If the file cannot be read.
    """
    path = folder / FILE_NAME
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
        door = Door(raw["token"], raw["port"])
    except FileNotFoundError:
        return Door(secrets.token_urlsafe(24), 0)
    except OSError as error:
        message = f"{path}: cannot be read ({error.strerror}); it has to be a readable file"
        raise FileError(message) from None
    except (ValueError, KeyError, TypeError):
        return Door(secrets.token_urlsafe(24), 0)
    is_token = isinstance(door.token, str) and re.fullmatch(r"[A-Za-z0-9_-]{32,64}", door.token)
    is_port = isinstance(door.port, int) and 0 <= door.port < 65536
    return door if is_token and is_port else Door(secrets.token_urlsafe(24), 0)


def keep_door(folder: Path, door: Door) -> None:
    """Write token and port where only their owner can read them.

    Raises
    ------
    FileError
        If they cannot be written.
    """
    path = folder / FILE_NAME
    part = path.with_suffix(".part")
    try:
        path.parent.mkdir(exist_ok=True)
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            json.dump({"token": door.token, "port": door.port}, stream)
        part.replace(path)
    except OSError as error:
        message = f"{path}: cannot be written ({error.strerror}); the case's folder has to be writable"
        raise FileError(message) from None


def inside(folder: Path, name: str) -> Path:
    """Path of a file in a folder, wherever links lead.

    Parameters
    ----------
    folder : Path
    name : str
        With slashes between folders.

    Raises
    ------
    FileError
        If the name leads out of the folder, into a hidden one, or is none that every system can have.
    """
    steps = name.split("/")
    for step in steps:
        is_odd = step != clean_step(step) or len(step.encode()) > 200
        if not step or step.startswith(".") or is_odd:
            message = f"{name[:80]!r} is not a name of a file in the case"
            raise FileError(message)
    root = folder.resolve()
    try:
        path = root.joinpath(*steps).resolve()
    except (OSError, RuntimeError):
        message = f"{name[:80]!r} cannot be followed; links in the case must not lead in circles"
        raise FileError(message) from None
    if not path.is_relative_to(root) or any(part.startswith(".") for part in path.relative_to(root).parts):
        message = f"{name[:80]!r} leads out of the case; only files in its folder can be used"
        raise FileError(message)
    return path


def clean_step(text: str) -> str:
    """A name without what some system does not allow in a file's name."""
    text = unicodedata.normalize("NFC", text)
    text = "".join(c if c.isprintable() and c not in '<>:"/\\|?*' else "-" for c in text)
    text = text.strip(" .")
    stem = text.split(".", 1)[0].strip().upper()
    return f"_{text}" if stem in _RESERVED else text


_RESERVED = {"CON", "PRN", "AUX", "NUL", *(f"{port}{k}" for port in ("COM", "LPT") for k in range(1, 10))}
"""Names that one system keeps for its devices."""


def clean_name(text: str, ending: str) -> str:
    """Name of an uploaded file with the ending that its content has: ``lower bout.wav``.

    Whatever folders the name brings are dropped.
    """
    last = re.split(r"[/\\]", text)[-1]
    stem = last.rsplit(".", 1)[0] if "." in last.strip(".") else last
    stem = clean_step(stem)
    while len(stem.encode()) > 80:
        stem = stem[:-1].rstrip(" .")
    return f"{stem or 'unnamed'}{ending}"


def free_path(path: Path) -> Path:
    """The path, or the next one with a number behind its stem that is free."""
    number, found = 2, path
    while found.exists() or found.is_symlink():
        found = path.with_name(f"{path.stem} {number}{path.suffix}")
        number += 1
    return found


def keep_new(path: Path, content: bytes) -> Path:
    """Write a file that was not there, under the next free name; returns its path.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        while True:
            path = free_path(path)
            try:
                # "x" fails rather than overwrite a file that appeared meanwhile.
                stream = path.open("xb")
            except FileExistsError:
                continue
            break
        with stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        path.unlink(missing_ok=True)
        message = f"{path}: cannot be written ({error.strerror})"
        raise FileError(message) from None
    return path


def sound_ending(content: bytes) -> str:
    """Ending of a recording's name, ``.wav`` or ``.flac``.

    Raises
    ------
    FileError
        If the content is no recording that the program reads.
    """
    try:
        with soundfile.SoundFile(io.BytesIO(content)) as file:
            kind, rate, frames = file.format, file.samplerate, file.frames
    except soundfile.LibsndfileError:
        message = "this is not a recording that can be read; it has to be a WAV or FLAC file"
        raise FileError(message) from None
    if kind not in FORMATS:
        message = f"this recording is {kind}; it has to be a WAV or FLAC file"
        raise FileError(message)
    if frames <= 0 or not RATES[0] <= rate <= RATES[1]:
        message = f"this recording has {frames} samples at {rate} Hz; it needs some, at {RATES[0]} to {RATES[1]} Hz"
        raise FileError(message)
    return ".flac" if kind == "FLAC" else ".wav"


def picture_ending(content: bytes) -> str:
    """Ending of a picture's name, ``.png`` or ``.jpg``.

    Raises
    ------
    FileError
        If the content is no such picture.
    """
    try:
        with Image.open(io.BytesIO(content), formats=("PNG", "JPEG")) as picture:
            width, height = picture.size
            kind = picture.format
            picture.verify()
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        message = "this is not a picture that can be read; it has to be a PNG or JPEG file"
        raise FileError(message) from None
    if width * height > MOST_PIXELS:
        message = f"this picture has {width} by {height} pixels; it may have {MOST_PIXELS // MEGABYTE} million"
        raise FileError(message)
    return ".png" if kind == "PNG" else ".jpg"


ENDINGS: dict[Kind, Callable[[bytes], str]] = {"sound": sound_ending, "picture": picture_ending}


class Guard:
    """Application around the page's: who asks, and the headers of every answer.

    Parameters
    ----------
    app : application
    door : Door
    """

    def __init__(self, app: App, door: Door) -> None:
        self.app, self.door = app, door
        self.hosts = {f"{host}:{door.port}".encode() for host in HOSTS}
        self.origins = {b"http://" + host for host in self.hosts}
        sockets = " ".join(f"ws://{host}:{door.port}" for host in HOSTS)
        self.headers = [
            (
                b"content-security-policy",
                f"default-src 'self'; connect-src 'self' {sockets}; img-src 'self' data: blob:; "
                "media-src 'self' blob:; style-src 'self'; script-src 'self'; frame-ancestors 'none'; "
                "base-uri 'none'; form-action 'none'; object-src 'none'".encode(),
            ),
            (b"referrer-policy", b"no-referrer"),
            (b"x-content-type-options", b"nosniff"),
            (b"x-frame-options", b"DENY"),
            (b"permissions-policy", b"microphone=(self), camera=(self), geolocation=()"),
            (b"cache-control", b"no-store"),
            (b"cross-origin-opener-policy", b"same-origin"),
            (b"cross-origin-resource-policy", b"same-origin"),
        ]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                # An answer that brings a policy of its own, such as a page that runs nothing, keeps it.
                own = {name.lower() for name, _ in message["headers"]}
                message["headers"] = [*message["headers"], *(line for line in self.headers if line[0] not in own)]
            await send(message)

        refused = self.refusal(scope)
        if refused is None:
            await self.app(scope, receive, sent)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 4403})
        else:
            code, words = refused
            await PlainTextResponse(words, code)(scope, receive, sent)

    def refusal(self, scope: Scope) -> tuple[int, str] | None:
        """Code and words of why a request is refused, None if it is not."""
        headers: dict[bytes, bytes] = {}
        for name, value in scope["headers"]:
            if name in (b"host", b"origin", b"sec-fetch-site") and name in headers:
                return 400, f"two headers {name.decode()}"
            headers[name] = value
        if headers.get(b"host") not in self.hosts:
            return 400, "no such host here"
        first = scope["path"].split("/", 2)[1]
        if not secrets.compare_digest(first.encode("utf-8", "replace"), self.door.token.encode()):
            return 404, "nothing here; the address of the page is printed by the command bench"
        is_reading = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        origin = headers.get(b"origin")
        if origin not in self.origins and not (origin is None and is_reading):
            return 403, "only the page itself may ask this"
        return None
