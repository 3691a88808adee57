"""What commands say: progress on standard error, tables and JSON on standard output."""

import json
import math
import shutil
import sys
import time
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from types import TracebackType
from typing import Any, Protocol


class Stages(Protocol):
    """Whatever is told of the stages of a run."""

    def stage(self, name: str) -> AbstractContextManager[None]:
        """Context manager around one stage."""


class Progress:
    """Stages of a run with their times, on standard error."""

    def __init__(self, *, quiet: bool = False) -> None:
        self.quiet = quiet
        self.seconds: dict[str, float] = {}

    def stage(self, name: str) -> AbstractContextManager[None]:
        """Context manager around one stage."""
        return _Stage(self, name)


class _Stage:
    def __init__(self, progress: Progress, name: str) -> None:
        self.progress, self.name = progress, name

    def __enter__(self) -> None:
        self.start = time.perf_counter()
        if not self.progress.quiet:
            print(f"{self.name} ...", end="", file=sys.stderr, flush=True)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        took = time.perf_counter() - self.start
        self.progress.seconds[self.name] = took
        if not self.progress.quiet:
            print(f" {took:.2f} s" if kind is None else " stopped", file=sys.stderr, flush=True)


def print_table(head: Sequence[str], rows: Iterable[Sequence[object]], *, left: int = 1, repeat: int = 0) -> None:
    """Print columns, the first `left` of them flush left.

    With `repeat`, a table wider than the terminal is cut into blocks of columns that each begin with the first
    `repeat` ones.
    """
    cells = [list(head), *([_cell(value) for value in row] for row in rows)]
    widths = [max(len(row[k]) for row in cells) for k in range(len(head))]
    for block in _blocks(widths, repeat):
        for i, row in enumerate(cells):
            print("  ".join(row[k].ljust(widths[k]) if k < left else row[k].rjust(widths[k]) for k in block).rstrip())
            if i == 0:
                print("  ".join("-" * widths[k] for k in block))


def _blocks(widths: Sequence[int], repeat: int) -> list[list[int]]:
    every = list(range(len(widths)))
    room = shutil.get_terminal_size().columns if repeat and sys.stdout.isatty() else math.inf
    first = every[:repeat]
    blocks = [first.copy()]
    for k in every[repeat:]:
        if len(blocks[-1]) > len(first) and sum(widths[j] + 2 for j in [*blocks[-1], k]) - 2 > room:
            blocks.append(first.copy())
        blocks[-1].append(k)
    return blocks


def print_json(value: dict[str, Any]) -> None:
    """Print one JSON object; numbers that JSON does not know become null."""
    print(json_text(value))


def json_text(value: dict[str, Any]) -> str:
    """Text of one JSON object; numbers that JSON does not know become null."""
    return json.dumps(plain(value), indent=2, allow_nan=False)


def signed(value: float, digits: int = 1) -> str:
    """Number with its sign, ``+1.5``; zero without one."""
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else text


def _cell(value: object) -> str:
    if value is None:
        return "-"
    return f"{value:.1f}" if isinstance(value, float) else str(value)


def plain(value: Any) -> Any:
    """Value with tuples as lists, keys as text, and numbers that JSON does not know as None."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
