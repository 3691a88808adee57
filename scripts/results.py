"""Results of a run: written aside, then put into ``out/`` when all are complete."""

import contextlib
import shutil
import signal
import tempfile
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NoReturn

from bracedtop.geometry.errors import FileError


@contextlib.contextmanager
def fresh_results(case: Path, owned: Sequence[str] = ()) -> Iterator[Path]:
    """Temporary folder beside ``out/``, whose files replace those of the same name in ``out/`` at the end.

    If the block raises or is interrupted, ``out/`` stays as it was.

    Parameters
    ----------
    case : Path
    owned : sequence of str
        Glob patterns of the command's own files in ``out/``. Those that this run did not write again are removed at
        the end, as they belong to an earlier drawing.

    Raises
    ------
    FileError
        If the folder or a file in ``out/`` cannot be written.
    """
    out = case / "out"
    if out.exists() and not out.is_dir():
        message = f"{out}: is a file; results need a folder of that name"
        raise FileError(message)
    try:
        aside = Path(tempfile.mkdtemp(prefix=".out-", dir=case))
    except OSError as error:
        _refuse(case, "results cannot be written here", error)
    try:
        yield aside
        with _uninterrupted():
            _replace(aside, out, owned)
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def _replace(aside: Path, out: Path, owned: Sequence[str]) -> None:
    moves = [(source, out / source.relative_to(aside)) for source in sorted(aside.rglob("*")) if source.is_file()]
    # Everything that can be found out before is, so that the files change together or not at all.
    for folder in sorted({target.parent for _, target in moves}):
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            _refuse(folder, "cannot be made a folder", error)
    for _, target in moves:
        if target.is_dir():
            message = f"{target}: is a folder; a result of that name has to be written"
            raise FileError(message)
    written = {target for _, target in moves}
    old = {path for pattern in owned for path in out.glob(pattern) if path.is_file()} - written
    for source, target in moves:
        try:
            source.replace(target)
        except OSError as error:
            _refuse(target, "cannot be replaced; close it in other programs", error)
    for path in old:
        path.unlink(missing_ok=True)


def _refuse(path: Path, what: str, error: OSError) -> NoReturn:
    message = f"{path}: {what} ({error.strerror})"
    raise FileError(message) from error


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
        signal.raise_signal(signal.SIGINT)
