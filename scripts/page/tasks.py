"""Long work in processes of its own: low priority, progress, cancel.

Depends on geometry/errors. A process is spawned and not forked, because the server has threads; it ends by itself when
the server dies.
"""

import contextlib
import multiprocessing
import os
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from typing import Any, Literal

from bracedtop.geometry.errors import BracedTopError

NICENESS = 10
"""Chosen: below the page and the browser, above what only idles."""

AT_ONCE = max(1, (os.cpu_count() or 2) - 1)
"""Tasks that run at once; the others wait. One core is left for the page."""

PATIENCE = 3.0
"""How long a cancelled process may take to end, s."""

Report = Callable[[str, float | None], None]
"""Called by the work with words and the share that is done, 0 to 1, or None where that is not known."""

State = Literal["waiting", "running", "done", "failed", "cancelled"]


@dataclass(slots=True)
class Task:
    """One piece of work.

    Parameters
    ----------
    name : str
        What it is, such as "solve"; a new one takes the place of an unfinished one of the same name.
    number : int
    words : str
        What the page calls it.
    revision : int
        Of the journal, that the work is about.
    state : str
    progress : float or None
        Share that is done, 0 to 1.
    stage : str
        What it is doing.
    error : str
        One sentence, once it has failed.
    result : object
        What the work returned.
    """

    name: str
    number: int
    words: str
    revision: int
    state: State = "waiting"
    progress: float | None = None
    stage: str = ""
    error: str = ""
    result: Any = None
    work: tuple[Callable[..., Any], tuple[Any, ...]] | None = field(default=None, repr=False)
    process: Any = field(default=None, repr=False)

    @property
    def is_over(self) -> bool:
        """Whether nothing more comes of it."""
        return self.state in ("done", "failed", "cancelled")

    def message(self) -> dict[str, Any]:
        """The task for the page, without its result."""
        keys = ("name", "number", "words", "revision", "state", "progress", "stage", "error")
        return {key: getattr(self, key) for key in keys}


class Tasks:
    """The tasks of a page.

    Parameters
    ----------
    told : callable
        Called with a task whenever something about it has changed, from any thread.
    at_once : int
    """

    def __init__(self, told: Callable[[Task], None], at_once: int = AT_ONCE) -> None:
        self._told = told
        self._at_once = at_once
        self._lock = threading.RLock()
        self._tasks: dict[int, Task] = {}
        self._finished: dict[str, Task] = {}
        self._number = 0
        self._is_closed = False

    def start(self, name: str, words: str, revision: int, work: Callable[..., Any], *arguments: Any) -> Task:
        """Have `work(report, *arguments)` done in a process; `work` is a function of a module, `report` a `Report`."""
        with self._lock:
            for other in [task for task in self._tasks.values() if task.name == name]:
                self.cancel(other.number)
            self._number += 1
            task = Task(name, self._number, words, revision, work=(work, arguments))
            self._tasks[task.number] = task
            self._told(task)
            self._next()
        return task

    def cancel(self, number: int) -> None:
        """Stop a task, if it is not over."""
        with self._lock:
            task = self._tasks.get(number)
            if task is None:
                return
            self._end(task, "cancelled")

    def finished(self, name: str) -> Task | None:
        """The last task of that name that was done, with its result; None if none was."""
        with self._lock:
            return self._finished.get(name)

    def unfinished(self) -> list[Task]:
        """Tasks that wait or run."""
        with self._lock:
            return list(self._tasks.values())

    def close(self) -> None:
        """Stop everything."""
        with self._lock:
            self._is_closed = True
            for number in list(self._tasks):
                self.cancel(number)

    def _next(self) -> None:
        running = sum(task.state == "running" for task in self._tasks.values())
        for task in list(self._tasks.values()):
            if task.state == "waiting" and running < self._at_once and not self._is_closed:
                running += 1
                self._run(task)

    def _run(self, task: Task) -> None:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=False)
        task.process = context.Process(target=_work, args=(theirs, *(task.work or ())), daemon=True)
        task.state = "running"
        task.process.start()
        theirs.close()
        self._told(task)
        threading.Thread(target=self._listen, args=(task, ours), daemon=True).start()

    def _listen(self, task: Task, pipe: Connection) -> None:
        state: State = "failed"
        error = "the work stopped before its end; the window in which the page was started may say why"
        result = None
        with contextlib.suppress(EOFError, OSError):
            while True:
                kind, *what = pipe.recv()
                if kind == "stage":
                    self._progress(task, *what)
                elif kind == "done":
                    state, error, result = "done", "", what[0]
                else:
                    error = what[0]
        pipe.close()
        task.process.join()
        with self._lock:
            if not task.is_over:
                task.error, task.result = error, result
                self._end(task, state)

    def _progress(self, task: Task, words: str, share: float | None) -> None:
        with self._lock:
            if task.is_over:
                return
            task.stage, task.progress = words, share
            self._told(task)

    def _end(self, task: Task, state: State) -> None:
        task.state = state
        task.work = None
        self._tasks.pop(task.number, None)
        if state == "done":
            self._finished[task.name] = task
        if task.process is not None and task.process.is_alive():
            task.process.terminate()
            threading.Thread(target=_surely_end, args=(task.process,), daemon=True).start()
        self._told(task)
        self._next()


def _surely_end(process: Any) -> None:
    process.join(PATIENCE)
    if process.is_alive():
        process.kill()


def _work(pipe: Connection, work: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
    """Of the process: do the work and tell how it went.

    A mistake in the program ends the process with its trace on the standard error of whoever started the server.
    """
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if hasattr(os, "nice"):
        os.nice(NICENESS)

    def report(words: str, share: float | None = None) -> None:
        pipe.send(("stage", words, share))

    try:
        pipe.send(("done", work(report, *arguments)))
    except BracedTopError as error:
        pipe.send(("failed", " ".join(str(error).split())))
    except MemoryError:
        pipe.send(("failed", "out of memory; a larger size_mm under [mesh] in top.toml needs less"))


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
