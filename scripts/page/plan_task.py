"""The plan and the record of a pass, in a process of their own.

Depends on fem/case_plan, scripts/cut, scripts/plan, scripts/page/draft, tapped. Loads what solves; imported in tasks
only.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bracedtop.fem.session import Session
from bracedtop.fem.taps import Taps
from bracedtop.geometry.cut import Cut, cut_design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.units import MM
from bracedtop.scripts.cut import next_pass, record_pass
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.journal import Json
from bracedtop.scripts.page.tapped import chosen_pairs, places_of, read_with
from bracedtop.scripts.page.tasks import Report
from bracedtop.scripts.plan import planned, write_plan

_SHARES = {"taps": 0.05, "what-if model": 0.2, "calibration": 0.55, "plan": 0.7, "string load": 0.85, "pictures": 0.9}
"""How much is done when a stage begins; chosen."""

_WORDS = {"taps": "reading the taps", "what-if model": "what-if model of the drawing", "pictures": "drawing"}


@dataclass(frozen=True, slots=True)
class TaskStages:
    """Stages of a command, told to the page."""

    report: Report

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Context manager around one stage."""
        self.report(_WORDS.get(name, name), _SHARES.get(name))
        yield


def plan_pass(report: Report, folder: Path, tables: Tables, kept: Mapping[str, Mapping[str, Json]]) -> dict[str, Any]:
    """Plan the next pass and write it as the command does.

    Parameters
    ----------
    report : Report
    folder : Path
    tables : dict
        The drawing, with the targets and limits to plan for.
    kept : mapping
        What the page keeps under "tapped", "microphone" and "pairing".

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    stages = TaskStages(report)

    def number_of(place: Path) -> int:
        return 0 if place == folder else int(place.name.rpartition("-")[2])

    def read(place: Path) -> Taps:
        number = number_of(place)
        return read_with(place, places_of(kept["tapped"], number), kept["microphone"].get(str(number)))

    def chosen(session: Session) -> dict[int, int]:
        return {} if session.taps is None else chosen_pairs(kept["pairing"], session.number, session.taps.measured)

    found, before = planned(drafted_case(folder, tables), stages, read=read, chosen=chosen)
    data, written, note = write_plan(folder, found, before, stages, pictures=True)
    return {**data, "written": written, "picture_note": note}


def record_cuts(report: Report, folder: Path, tables: Tables, rows: list[dict[str, Json]], is_planned: bool) -> Any:
    """Record what was really cut as the next pass.

    Parameters
    ----------
    report : Report
    folder : Path
    tables : dict
        The drawing.
    rows : list of dict
        "brace", "from_mm", "to_mm", "depth_from_mm", "depth_to_mm" of each cut.
    is_planned : bool
        Whether these are the plan's cuts as they are.

    Raises
    ------
    FileError, DesignError
    """
    report("checking the cuts", 0.1)
    case = drafted_case(folder, tables)
    number, before = next_pass(case)
    cuts = tuple(cut for cut in cuts_of(rows) if not cut.is_nothing)
    if not cuts:
        message = "nothing was cut: enter at least one depth above 0"
        raise DesignError(message)
    cut_design(before, cuts)
    origin = "as planned" if is_planned else "entered on the bench page"
    done, written = record_pass(case, number, before, cuts, origin, TaskStages(report))
    return {"pass": number, "cuts": done, "grams": sum(row["grams"] or 0.0 for row in done), "written": written}


def cuts_of(rows: list[dict[str, Json]]) -> tuple[Cut, ...]:
    """Cuts in the maker's units as cuts.

    Raises
    ------
    DesignError
        If a cut has no extent, or takes nothing off.
    """
    keys = ("from_mm", "to_mm", "depth_from_mm", "depth_to_mm")
    return tuple(Cut(str(row["brace"]), *(float(row[key]) * MM for key in keys)) for row in rows)
