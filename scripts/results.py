"""Results of a run: written aside, then put into ``out/`` when all are complete."""

import contextlib
import os
import shutil
import signal
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

from bracedtop.geometry.errors import FileError


@contextlib.contextmanager
def fresh_results(case: Path) -> Iterator[Path]:
    """Temporary folder beside ``out/``, whose files replace those of the same name in ``out/`` at the end.

    If the block raises or is interrupted, ``out/`` stays as it was.

    Raises
    ------
    FileError
        If ``out`` exists and is not a folder.
    """
    out = case / "out"
    if out.exists() and not out.is_dir():
        message = f"{out}: is a file; results need a folder of that name"
        raise FileError(message)
    aside = Path(tempfile.mkdtemp(prefix=".out-", dir=case))
    try:
        yield aside
        with _uninterrupted():
            for source in sorted(aside.rglob("*")):
                if source.is_file():
                    target = out / source.relative_to(aside)
                    target.parent.mkdir(parents=True, exist_ok=True)
                    source.replace(target)
    finally:
        shutil.rmtree(aside, ignore_errors=True)


@contextlib.contextmanager
def _uninterrupted() -> Iterator[None]:
    """Hold back Ctrl-C while files change places, and deliver it afterwards."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pending: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: pending.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if pending:
        os.kill(os.getpid(), signal.SIGINT)
