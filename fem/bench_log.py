"""The bench log `log.jsonl`: one JSON document a line, appended and never rewritten.

Depends on fem/log_entry. A crash, a full disk or two commands at once must not damage earlier lines: a line is written
in one piece at the file's end and forced to the disk, under a lock (filelock: the system frees it when a process dies;
appending in one piece alone is not enough on Windows, nor where a broken last line has to be looked for first). A write
that fails is taken back.
"""

import contextlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from filelock import FileLock, Timeout
from pydantic import ValidationError

from bracedtop.fem.log_entry import (
    ENTRY,
    SCHEMA,
    Entry,
    calibration_entry,
    cut_entry,
    drawing_entry,
    note_entry,
    plan_entry,
    same_content,
    taps_entry,
)
from bracedtop.fem.toml_file import shown, shown_text
from bracedtop.geometry.errors import FileError

__all__ = [
    "FILE_NAME",
    "Log",
    "append",
    "calibration_entry",
    "cut_entry",
    "drawing_entry",
    "note_entry",
    "plan_entry",
    "read_log",
    "taps_entry",
]

FILE_NAME = "log.jsonl"
LOCK = Path(".bracedtop") / "log.lock"

PATIENCE = 10.0
"""How long another process that writes is waited for, s; chosen: a line takes some milliseconds."""

LARGEST_FILE = 50_000_000
"""Largest log, bytes; chosen: thousands of visits to the bench."""


@dataclass(frozen=True, slots=True)
class Log:
    """A log as it was read.

    Parameters
    ----------
    entries : tuple of Entry
        In the order of the file.
    complaints : tuple of str
        Lines that were left out, and why.
    newer : tuple of dict
        Lines of a later version of the form, as they are; they are left out of `entries`.
    """

    entries: tuple[Entry, ...]
    complaints: tuple[str, ...] = ()
    newer: tuple[dict[str, Any], ...] = ()

    def last(self, stage: str, number: int | None = None) -> Entry | None:
        """The last entry of a stage, of one pass if its number is given."""
        for entry in reversed(self.entries):
            if entry.stage == stage and number in (None, entry.number):
                return entry
        return None


def append(folder: Path, entry: Entry) -> bool:
    """Append an entry to a case's log, unless the last one of its stage and pass says the same.

    Returns
    -------
    bool
        Whether a line was written.

    Raises
    ------
    FileError
        If it cannot be written; earlier lines are as they were.
    """
    folder = Path(folder)
    line = entry.model_dump_json(by_alias=True).encode() + b"\n"
    with _locked(folder):
        before = read_log(folder).last(entry.stage, entry.number)
        if before is not None and same_content(before, entry):
            return False
        _write(folder / FILE_NAME, line)
    return True


def read_log(folder: Path) -> Log:
    """Entries of a case's log, without the lines that cannot be read; empty if there is none.

    Raises
    ------
    FileError
        If there is a log and it cannot be read at all.
    """
    path = Path(folder) / FILE_NAME
    try:
        if not path.exists():
            return Log(())
        if not path.is_file():
            message = f"{FILE_NAME}: is not a regular file; the log is a text file"
            raise FileError(message)
        with path.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        message = f"{path}: cannot be read ({error.strerror})"
        raise FileError(message) from error
    if len(content) > LARGEST_FILE:
        message = f"{FILE_NAME}: is larger than {LARGEST_FILE // 1_000_000} MB; move it aside and begin another"
        raise FileError(message)
    entries: list[Entry] = []
    complaints: list[str] = []
    newer: list[dict[str, Any]] = []
    lines = content.split(b"\n")
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        where = f"{FILE_NAME}: line {number}"
        try:
            document = json.loads(line)
        except (ValueError, RecursionError):
            what = "breaks off" if number == len(lines) else "is no JSON document"
            complaints.append(f"{where} {what}; it was left out")
            continue
        version = document.get("schema") if isinstance(document, dict) else None
        if type(version) is not int:
            complaints.append(f"{where}: has no schema, a whole number; it was left out")
            continue
        if version > SCHEMA:
            complaints.append(f"{where} has schema {shown(version)}; this program knows {SCHEMA} and leaves it out")
            newer.append(document)
            continue
        try:
            entries.append(ENTRY.validate_json(line))
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            place = ".".join(str(part) for part in first["loc"])
            complaints.append(shown_text(f"{where}: {place or 'it'}: {first['msg']}; it was left out"))
    return Log(tuple(entries), tuple(complaints), tuple(newer))


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    path = folder / LOCK
    try:
        path.parent.mkdir(exist_ok=True)
        lock = FileLock(path, timeout=PATIENCE)
        lock.acquire()
    except Timeout:
        message = f"{FILE_NAME}: another process has been writing it for {PATIENCE:g} s; try again when it has finished"
        raise FileError(message) from None
    except (OSError, NotImplementedError) as error:
        # The latter comes from file systems that have no locks.
        message = f"{path}: cannot be locked ({getattr(error, 'strerror', None) or error})"
        raise FileError(message) from error
    try:
        yield
    finally:
        lock.release()


def _write(path: Path, line: bytes) -> None:
    """Put a line at the end of a file: all of it, or none."""
    is_new = not path.exists()
    flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
    try:
        file = os.open(path, flags, 0o666)
    except OSError as error:
        _refuse(path, error)
    try:
        size = os.lseek(file, 0, os.SEEK_END)
        if size:
            os.lseek(file, size - 1, os.SEEK_SET)
            # A line that a crash has broken off stays alone on its line.
            line = line if os.read(file, 1) == b"\n" else b"\n" + line
        try:
            written = os.write(file, line)
            os.fsync(file)
        except OSError as error:
            _take_back(file, size)
            _refuse(path, error)
        if written < len(line):
            _take_back(file, size)
            message = f"{path}: only a part could be written, and was taken back; is the disk full?"
            raise FileError(message)
    finally:
        os.close(file)
    if is_new:
        _keep_name(path.parent)


def _take_back(file: int, size: int) -> None:
    # If even this fails, the next entry begins on a new line and reading leaves the part out.
    with contextlib.suppress(OSError):
        os.ftruncate(file, size)
        os.fsync(file)


def _keep_name(folder: Path) -> None:
    """Force a new file's name to the disk, where the system lets a folder be opened."""
    with contextlib.suppress(OSError):
        file = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(file)
        finally:
            os.close(file)


def _refuse(path: Path, error: OSError) -> NoReturn:
    message = f"{path}: cannot be written ({error.strerror}); earlier entries are as they were"
    raise FileError(message) from error
