"""Settings of all tests."""

import os
import signal

from hypothesis import settings

# The same examples in every run; a failure found by chance elsewhere becomes an explicit example.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

# Before numpy comes in: as the program itself does, see scripts/main.py.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell starts background jobs so; tests of interruptions need the usual.
    signal.signal(signal.SIGINT, signal.default_int_handler)

SOLIDS = [
    "published/test_orthotropic_solids.py",
    "published/test_olson_hazell_1977.py",
    "published/test_turned_grain_solids.py",
    "published/test_board_solids.py",
    "published/test_string_load_solids.py",
    "published/test_solids_of_joints.py",
    "published/test_solids_of_tops.py",
    "published/test_cavity_solids.py",
]
collect_ignore: list[str] = []
missing = ""

try:
    import ngsolve  # noqa: F401
except ImportError as error:
    # Its wheel takes libquadmath from the system, which a bare one lacks. CI makes sure that it loads there.
    missing = str(error)
    collect_ignore = SOLIDS


def pytest_report_header() -> str:
    """Say when the solid references are left out."""
    return f"solid references left out, NGSolve cannot be loaded: {missing}" if missing else "solid references: NGSolve"


def pytest_terminal_summary(terminalreporter: object) -> None:
    """Say it again at the end, where it is read."""
    if missing:
        terminalreporter.write_line(f"NOT RUN: {', '.join(SOLIDS)}; NGSolve cannot be loaded: {missing}")  # type: ignore[attr-defined]
