"""The journal of the page, `.bracedtop/page.jsonl`: every change, on the disk before it is acknowledged.

Depends on geometry/errors. One JSON document a line. Nothing in it is ever rewritten: what is undone is a further
change. A line that was torn by a dying machine was never acknowledged and is dropped; lines that cannot be read are
kept aside and the rest goes on.
"""

import json
import os
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from bracedtop.geometry.errors import FileError

FILE_NAME = Path(".bracedtop") / "page.jsonl"

LARGEST_LINE = 900_000
"""Longest change, bytes; chosen: below what the connection carries in one message, far above any drawing."""

Json = Any
"""What JSON can hold."""

Answer = Literal["kept", "known", "conflict"]


@dataclass(frozen=True, slots=True)
class Change:
    """One change of one or more keys, made at once and undone at once.

    Parameters
    ----------
    id : str
        Made by the page, so that a change that is sent twice counts once.
    keys : tuple of str
        Such as ``("brace/x bass/stations_mm",)``.
    values : tuple
        One a key; None takes away what the key named.
    was : tuple
        What the keys held before.
    seen : int
        Revision that the page saw when the change was made.
    page : str
        The page that made it. A page's own earlier changes never conflict with its later ones.
    at : str
        Date and time, ISO 8601.
    undoes, redoes : str or None
        Id of the change that this one takes back, or makes again.
    quiet : bool
        Bookkeeping that nobody undoes.
    """

    id: str
    keys: tuple[str, ...]
    values: tuple[Json, ...]
    was: tuple[Json, ...]
    seen: int = 0
    page: str = ""
    at: str = ""
    undoes: str | None = None
    redoes: str | None = None
    quiet: bool = False


class Journal:
    """The changes of a case.

    Parameters
    ----------
    path : Path
        Is made with its folder if it is not there.

    Raises
    ------
    FileError
        If the file cannot be read or written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            path.parent.mkdir(exist_ok=True)
            changes, self.damaged = _read(path)
            self._file = path.open("ab", buffering=0)
        except OSError as error:
            message = f"{path}: cannot be used ({error.strerror}); the page needs a journal that it can write"
            raise FileError(message) from None
        self.changes: tuple[Change, ...] = changes
        self._ids = {change.id for change in changes}

    @property
    def revision(self) -> int:
        """Number of changes so far."""
        return len(self.changes)

    def put(self, change: Change) -> Answer:
        """Keep a change; it is on the disk when this returns "kept".

        Returns
        -------
        answer : {"kept", "known", "conflict"}
            "known" for one that is kept already, "conflict" if another page has changed the same since the revision
            that this one has seen.

        Raises
        ------
        FileError
            If it cannot be written; then nothing of it is kept.
        """
        if change.id in self._ids:
            return "known"
        if self.clashes(change):
            return "conflict"
        self._write(line_of(change))
        self.changes = (*self.changes, change)
        self._ids.add(change.id)
        return "kept"

    def knows(self, id: str) -> bool:
        """Whether a change with that id is kept."""
        return id in self._ids

    def clashes(self, change: Change) -> tuple[str, ...]:
        """Keys of a change that another page has changed since."""
        since = [c for c in self.changes[max(change.seen, 0) :] if c.page != change.page and not c.quiet]
        return tuple(key for key in change.keys if any(overlap(key, other) for c in since for other in c.keys))

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def _write(self, line: bytes) -> None:
        size = self.path.stat().st_size
        try:
            self._file.write(line)
            os.fsync(self._file.fileno())
        except OSError as error:
            # Taken back, so that the next line does not follow half of this one.
            os.truncate(self.path, size)
            message = f"{self.path}: cannot be written ({error.strerror}); the change was not kept"
            raise FileError(message) from None


def overlap(key: str, other: str) -> bool:
    """Whether two keys name the same, or one a part of the other."""
    return key == other or key.startswith(f"{other}/") or other.startswith(f"{key}/")


def line_of(change: Change) -> bytes:
    """A change as its line; `key`, `value` and `was` stand alone where there is one, else in lists."""
    full = asdict(change)
    keys, values, was = full.pop("keys"), full.pop("values"), full.pop("was")
    line = {"id": full.pop("id"), "key": keys, "value": values, "was": was}
    if len(keys) == 1:
        line |= {"key": keys[0], "value": values[0], "was": was[0]}
    line |= {key: value for key, value in full.items() if value or key == "seen"}
    return json.dumps(line, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode() + b"\n"


def change_of(line: bytes) -> Change:
    """A change from its line.

    Raises
    ------
    ValueError, KeyError, TypeError
        If it is none.
    """
    raw = json.loads(line)
    keys, values, was = raw["key"], raw["value"], raw["was"]
    if not isinstance(keys, list):
        keys, values, was = [keys], [values], [was]
    change = Change(
        id=raw["id"],
        keys=tuple(keys),
        values=tuple(values),
        was=tuple(was),
        seen=int(raw["seen"]),
        quiet=bool(raw.get("quiet", False)),
        **{key: raw[key] for key in ("page", "at", "undoes", "redoes") if key in raw},
    )
    texts = (change.id, change.page, change.at, *change.keys)
    if not (len(keys) == len(values) == len(was) > 0) or not all(isinstance(text, str) for text in texts):
        message = "not a change"
        raise ValueError(message)
    return change


def values_of(changes: Iterable[Change], resets: Mapping[str, Callable[[str], bool]]) -> dict[str, Json]:
    """What the keys hold after some changes, in the order in which they were last changed.

    Parameters
    ----------
    changes : iterable of Change
    resets : mapping of str to callable
        Keys that take others with them when they change, and which: ``{"drawing": is_drawing}``.
    """
    values: dict[str, Json] = {}
    for change in changes:
        for key, value in zip(change.keys, change.values, strict=True):
            # What is a part of the key goes with it.
            reset = resets.get(key)
            for other in [k for k in values if k == key or k.startswith(f"{key}/") or (reset and reset(k))]:
                del values[other]
            values[key] = value
    return values


def history(changes: Sequence[Change]) -> tuple[tuple[Change, ...], tuple[Change, ...]]:
    """Changes that can be undone, and those that can be made again; the next one last."""
    done: list[Change] = []
    undone: list[Change] = []
    for change in changes:
        if change.quiet:
            continue
        if change.undoes is not None:
            if done and done[-1].id == change.undoes:
                undone.append(done.pop())
        elif change.redoes is not None:
            if undone and undone[-1].id == change.redoes:
                done.append(undone.pop())
        else:
            done.append(change)
            undone.clear()
    return tuple(done), tuple(undone)


def undoing(change: Change, **told: Any) -> Change:
    """The change that takes another one back; `told` are the fields that only its maker knows."""
    backwards = {"keys": change.keys[::-1], "values": change.was[::-1], "was": change.values[::-1]}
    return Change(**{**backwards, **told, "undoes": change.id})


def redoing(change: Change, **told: Any) -> Change:
    """The change that makes an undone one again."""
    again = {"keys": change.keys, "values": change.values, "was": change.was}
    return Change(**{**again, **told, "redoes": change.id})


def _read(path: Path) -> tuple[tuple[Change, ...], Path | None]:
    """The changes in a file, and the copy of the file if a line in it cannot be read."""
    if not path.exists():
        return (), None
    content = path.read_bytes()
    whole = content[: content.rfind(b"\n") + 1]
    changes: dict[str, Change] = {}
    good: list[bytes] = []
    for line in whole.splitlines(keepends=True):
        try:
            change = change_of(line)
        except (ValueError, KeyError, TypeError, RecursionError):
            continue
        if change.id not in changes:
            changes[change.id] = change
            good.append(line)
    copy = None
    if len(good) != whole.count(b"\n"):
        copy = _free(path)
        shutil.copyfile(path, copy)
    if b"".join(good) != content:
        part = path.with_suffix(".part")
        with part.open("wb") as stream:
            stream.write(b"".join(good))
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    return tuple(changes.values()), copy


def _free(path: Path) -> Path:
    number = 1
    while (copy := path.with_name(f"{path.stem}-damaged-{number}{path.suffix}")).exists():
        number += 1
    return copy


def told(values: Mapping[str, Json], head: str) -> dict[str, Json]:
    """What is kept under a head: ``{"1": ...}`` for ``{"notes/1": ...}`` and "notes"; without what was taken away."""
    start = f"{head}/"
    return {key.removeprefix(start): v for key, v in values.items() if key.startswith(start) and v is not None}
