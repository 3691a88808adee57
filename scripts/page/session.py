"""One case on the bench: its journal, its draft, its tasks, and the pages that look at it.

Depends on fem/case, scripts/page/document, draft, guard, journal, tasks. Every method may be called from any thread.
"""

import hashlib
import os
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from bracedtop.fem.case import Case
from bracedtop.fem.case_file import FILE_NAME as TOP
from bracedtop.geometry.errors import BracedTopError, DesignError, FileError
from bracedtop.scripts.page.document import DRAWING, Document, change_words, document
from bracedtop.scripts.page.draft import (
    Tables,
    check_change,
    check_tables,
    draft_text,
    drafted,
    drafted_case,
    drawing_tables,
    is_drawing,
    read_drawing,
)
from bracedtop.scripts.page.guard import inside, keep_new
from bracedtop.scripts.page.journal import FILE_NAME, LARGEST_LINE, Change, Journal, Json, overlap, redoing, undoing
from bracedtop.scripts.page.journal import line_of as line_of_change
from bracedtop.scripts.page.tasks import Task, Tasks

UNITS = ("mm", "in")

Check = Callable[["Session", str, Json], None]
"""Refuses a key or value by raising DesignError."""


class Session:
    """A case that is served.

    Parameters
    ----------
    folder : Path
        The case.

    Attributes
    ----------
    document : Document
        What the page holds now; replaced, never changed.
    tasks : Tasks
    memory : dict
        For the views: what is dear to make, by names that begin with the view's.
    checks : dict of str to callable
        For every first word of a key that is not the drawing's: what it may hold.
    outside : str or None
        What has to be decided because top.toml was changed outside the page.

    Raises
    ------
    FileError
        If the case or its journal cannot be used.
    """

    def __init__(self, folder: Path) -> None:
        content, tables = read_drawing(folder)
        self.folder = folder
        self.memory: dict[str, Any] = {}
        self.checks: dict[str, Check] = {"units": _check_units}
        self.outside: str | None = None
        self.trouble: str | None = None
        self.warnings: tuple[str, ...] = ()
        self._listeners: list[Callable[[dict[str, Any]], None]] = []
        self._lock = threading.RLock()
        self._case_lock = threading.Lock()
        self._case: tuple[Tables, Case] | None = None
        self._is_checking = False
        self.journal = Journal(folder / FILE_NAME)
        if not any(DRAWING in change.keys for change in self.journal.changes):
            self.journal.put(_base_change(content, tables, None))
        self.document: Document = document(self.journal)
        self.tasks = Tasks(self._task_told)
        if self.journal.damaged is not None:
            self.warnings += (f"lines of the journal could not be read; a copy is kept as {self.journal.damaged.name}",)
        self._stamp: tuple[int, int] | None = None
        self.look_at_file()

    # What pages hear

    def listen(self, listener: Callable[[dict[str, Any]], None]) -> Callable[[], None]:
        """Have every event told; returns what ends that."""
        with self._lock:
            self._listeners.append(listener)

        def end() -> None:
            with self._lock:
                self._listeners.remove(listener)

        return end

    def tell(self, event: str, **data: Any) -> None:
        """Tell every page: ``bench.on(event, data => ...)``."""
        with self._lock:
            listeners = tuple(self._listeners)
        for listener in listeners:
            listener({"event": event, **data})

    def state(self) -> dict[str, Any]:
        """Everything that a page has to know about the document."""
        with self._lock:
            found = self.document.message()
            return found | {"outside": self.outside, "trouble": self.trouble, "warnings": self.warnings}

    # Changes

    def change(
        self,
        keys: Sequence[str],
        values: Sequence[Json],
        *,
        id: str | None = None,
        seen: int | None = None,
        page: str = "",
    ) -> dict[str, Any]:
        """Change keys at once.

        Parameters
        ----------
        keys, values : sequences
            None as a value takes away what the key names.
        id : str, optional
            Of the change, so that one that is sent twice counts once.
        seen : int, optional
            Revision on which it is based; now, if not given.
        page : str
            The page that asks.

        Returns
        -------
        answer : dict
            ``{"answer": "kept" | "known" | "conflict", "revision": ...}``; with a conflict also what the keys hold.

        Raises
        ------
        DesignError, FileError
            If a key or a value is not allowed, or the change cannot be written.
        """
        with self._lock:
            change = Change(
                id=id or secrets.token_hex(8),
                keys=tuple(keys),
                values=tuple(values),
                was=tuple(self.document.value(key) for key in keys),
                seen=self.document.revision if seen is None else seen,
                page=page,
                at=_now(),
            )
            if self.journal.knows(change.id):
                return {"answer": "known", "revision": self.document.revision}
            clashes = self.journal.clashes(change)
            if clashes:
                theirs = {key: self.document.value(key) for key in keys}
                if list(theirs.values()) == list(values):
                    return {"answer": "known", "revision": self.document.revision}
                return {"answer": "conflict", "clashes": clashes, "theirs": theirs, "revision": self.document.revision}
            self._check(change)
            return self._put(change)

    def undo(self, id: str, page: str = "") -> dict[str, Any]:
        """Take back the change with that id, which has to be the last one that can be."""
        with self._lock:
            last = self.document.undo
            if last is None or last.id != id:
                return {"answer": "conflict", "revision": self.document.revision}
            return self._put(undoing(last, **self._told(page))) | {"words": change_words(last)}

    def redo(self, id: str, page: str = "") -> dict[str, Any]:
        """Make again the change with that id, which has to be the last one that was taken back."""
        with self._lock:
            last = self.document.redo
            if last is None or last.id != id:
                return {"answer": "conflict", "revision": self.document.revision}
            return self._put(redoing(last, **self._told(page))) | {"words": change_words(last)}

    # The drawing

    def case(self) -> Case:
        """The case as drafted.

        Raises
        ------
        FileError, DesignError
            If it cannot be built as drafted.
        """
        tables = self.document.tables
        with self._case_lock:
            if self._case is None or self._case[0] != tables:
                self._case = (tables, drafted_case(self.folder, tables))
            return self._case[1]

    def start_again(self, page: str = "") -> dict[str, Any]:
        """Drop the draft; can be undone."""
        with self._lock:
            now = self.document
            return self._rebase(now.sha256, now.drawing, page)

    def take_file(self, page: str = "") -> dict[str, Any]:
        """Drop the draft and begin from top.toml as it is now; can be undone."""
        with self._lock:
            content, tables = read_drawing(self.folder)
            return self._rebase(_sha256(content), tables, page)

    def keep_draft(self, page: str = "") -> dict[str, Any]:
        """Put the draft's changes on top.toml as it is now; can be undone."""
        with self._lock:
            content, tables = read_drawing(self.folder)
            now = self.document
            kept = {key: now.value(key) for key in now.drafted}
            check_tables(drafted(tables, kept))
            old = {"sha256": now.sha256, "tables": now.drawing}
            new = {"sha256": _sha256(content), "tables": tables}
            # On both sides of the drawing, as a new one ends the draft, also when the change is undone.
            keys = (*now.drafted, DRAWING, *now.drafted)
            values = (*kept.values(), new, *kept.values())
            was = (*kept.values(), old, *kept.values())
            return self._put(Change(keys=keys, values=values, was=was, **self._told(page)))

    def save_drawing(self, page: str = "") -> dict[str, Any]:
        """Write the draft as the new top.toml; the earlier one is kept under drawings/.

        Raises
        ------
        FileError, DesignError
            If the draft cannot be built or written, or top.toml was changed outside.
        """
        with self._lock:
            self.look_at_file()
            if self.outside is not None:
                message = f"{TOP} was changed outside this page; choose first which of the two counts"
                raise FileError(message)
            tables = self.document.tables
            self.case()
            content = draft_text(tables).encode()
            target = inside(self.folder, TOP)
            stamp = datetime.now().astimezone().strftime("%Y-%m-%d %H.%M.%S")
            earlier = keep_new(inside(self.folder, f"drawings/top {stamp}.toml"), target.read_bytes())
            _write(target, content)
            self._stamp = None
            self._put(_base_change(content, tables, self.document, page))
            return {"answer": "kept", "revision": self.document.revision, "earlier": f"drawings/{earlier.name}"}

    def look_at_file(self) -> None:
        """See whether top.toml was changed outside the page; without a draft it is taken as it is."""
        with self._lock:
            try:
                status = (self.folder / TOP).stat()
                stamp = (status.st_mtime_ns, status.st_size)
                if stamp == self._stamp:
                    return
                content = (self.folder / TOP).read_bytes()
                self._stamp = stamp
                outside = self._outside(content)
            except OSError as error:
                outside = f"{TOP} cannot be read any more ({error.strerror}); Save as drawing writes it again"
            if outside != self.outside:
                self.outside = outside
                self.tell("document", **self.state())

    def _outside(self, content: bytes) -> str | None:
        if _sha256(content) == self.document.sha256:
            return None
        try:
            tables = drawing_tables(content)
        except FileError as error:
            return f"{TOP} was changed outside this page and cannot be read: {error}"
        if self.document.is_drafted and tables != self.document.tables:
            return f"{TOP} was changed outside this page, and the draft here has changes of its own."
        if tables != self.document.tables:
            self.tell("said", words=f"{TOP} was changed outside this page; it is shown as it is now")
        self._put(_base_change(content, tables, self.document))
        return None

    def _rebase(self, sha256: str, tables: Tables, page: str) -> dict[str, Any]:
        now = self.document
        keys = (*now.drafted, DRAWING)
        values = (*(None for _ in now.drafted), {"sha256": sha256, "tables": tables})
        was = (*(now.value(key) for key in now.drafted), {"sha256": now.sha256, "tables": now.drawing})
        return self._put(Change(keys=keys, values=values, was=was, **self._told(page)))

    def _check(self, change: Change) -> None:
        if not change.keys or len(change.keys) != len(change.values):
            message = "a change needs at least one key, and a value for each"
            raise DesignError(message)
        if any(overlap(a, b) for k, a in enumerate(change.keys) for b in change.keys[:k]):
            message = "a change cannot name the same part of the drawing twice"
            raise DesignError(message)
        try:
            size = len(line_of_change(change))
        except ValueError:
            message = "a number in a change must be finite, and text must be text"
            raise DesignError(message) from None
        if size > LARGEST_LINE:
            message = f"a change may hold {LARGEST_LINE // 1000} kB; this one holds {size // 1000} kB"
            raise DesignError(message)
        inside_drawing = {}
        for key, value in zip(change.keys, change.values, strict=True):
            head = key.split("/", 1)[0]
            if is_drawing(key):
                check_change(self.document.tables, key, value)
                inside_drawing[key] = value
            elif head in self.checks:
                if value is not None:
                    self.checks[head](self, key, value)
            else:
                message = f"{key[:80]!r} is nothing that this page keeps"
                raise DesignError(message)
        if inside_drawing:
            check_tables(drafted(self.document.tables, inside_drawing))

    def _put(self, change: Change) -> dict[str, Any]:
        answer = self.journal.put(change)
        if answer == "kept":
            before = getattr(self, "document", None)
            self.document = document(self.journal)
            if before is not None and before.sha256 != self.document.sha256:
                # Undone or redone across a change of the file: whether that still fits is seen anew.
                self._stamp = None
                self.look_at_file()
            self.tell("document", **self.state())
            self._check_soon()
        return {"answer": answer, "revision": self.document.revision}

    def _told(self, page: str) -> dict[str, Any]:
        return {"id": secrets.token_hex(8), "seen": self.document.revision, "page": page, "at": _now()}

    # Whether the draft can be built takes a while: beside the changes, and only for the newest draft.

    def _check_soon(self) -> None:
        with self._lock:
            if self._is_checking:
                return
            self._is_checking = True
        threading.Thread(target=self._check_draft, daemon=True).start()

    def _check_draft(self) -> None:
        while True:
            tables = self.document.tables
            trouble = None
            try:
                self.case()
            except BracedTopError as error:
                trouble = " ".join(str(error).split())
            with self._lock:
                is_new = trouble != self.trouble
                self.trouble = trouble
                if tables == self.document.tables:
                    self._is_checking = False
                    if is_new:
                        self.tell("document", **self.state())
                    return

    def _task_told(self, task: Task) -> None:
        self.tell("task", **task.message(), now=self.document.revision)

    def close(self) -> None:
        """End the tasks and close the journal."""
        self.tasks.close()
        self.journal.close()


def _check_units(session: Session, key: str, value: Json) -> None:
    if key != "units" or value not in UNITS:
        message = f"units must be one of: {', '.join(UNITS)}"
        raise DesignError(message)


def _base_change(content: bytes, tables: Tables, now: Document | None, page: str = "") -> Change:
    was: Mapping[str, Json] | None = None if now is None else {"sha256": now.sha256, "tables": now.drawing}
    return Change(
        id=secrets.token_hex(8),
        keys=(DRAWING,),
        values=({"sha256": _sha256(content), "tables": tables},),
        was=(was,),
        seen=0 if now is None else now.revision,
        page=page,
        at=_now(),
        quiet=True,
    )


def _write(path: Path, content: bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    except OSError as error:
        message = f"{path}: cannot be written ({error.strerror}); the drawing is as it was"
        raise FileError(message) from None


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
