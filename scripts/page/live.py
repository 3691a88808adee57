"""The live what-if: what all modes do while a brace is dragged.

Depends on fem/reduced, fem/reduced_file, scripts/page/draft, scripts/page/solved. A `Live` holds the what-if model of
one drawing. A draft that differs from that drawing in heights of braces alone is answered in some ten milliseconds; of
any other it is said why a full solution is needed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from bracedtop.fem.case import Case
from bracedtop.fem.footprint import Points
from bracedtop.fem.parameter import what_if_stations
from bracedtop.fem.plate import shape_functions
from bracedtop.fem.reduced import Reduced, State, tracked, what_if
from bracedtop.fem.reduced_build import build_reduced
from bracedtop.fem.reduced_file import FILE, FOLDER, fingerprint, read_reduced, write_reduced
from bracedtop.geometry.crossing import crossings
from bracedtop.geometry.units import GRAM, MM
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.guard import inside
from bracedtop.scripts.page.solved import N_MODES, TOP_HEADS
from bracedtop.scripts.page.tasks import Report

DRAFT_FILE = "what_if_draft.npz"
"""What-if model of a draft, beside the one of the saved drawing."""

CLOSE_MM = 0.02
"""How far a profile may lie beside what heights at the model's places give, mm; chosen: no plane cuts so finely."""

SAME_MM = 1e-6

SCALE = 1000
"""Shapes are sent as whole numbers, 1000 for the largest deflection."""

_MODEL_STEPS = 19
"""About how often a model that is made tells that it goes on: its snapshots and what follows."""


@dataclass(frozen=True, slots=True, eq=False)
class BracePlaces:
    """Where the height of a brace may change: distances in mm, their parameters' numbers or -1, the drawn stations."""

    at: np.ndarray
    parameter: np.ndarray
    stations: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Live:
    """The what-if model of a drawing, ready to answer.

    Parameters
    ----------
    reduced : Reduced
    base : dict
        Tables of the drawing of which it was made.
    frame : dict
        What of them may not differ.
    joints : dict
        Joints of that drawing by the two braces' names, also those that it leaves to usage.
    drawn : State
    W : (n, r) array
        Deflection of the basis at the points of the plan.
    places : dict of str to BracePlaces
    """

    reduced: Reduced
    base: Tables
    frame: dict[str, Any]
    joints: dict[frozenset[str], tuple[Any, ...]]
    drawn: State
    W: np.ndarray
    places: dict[str, BracePlaces]


def make_live(report: Report, folder: Path, tables: Tables, name: str) -> None:
    """Make the what-if model of a drawing and keep it beside it.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    report("solving other heights", None)
    case = drafted_case(folder, tables)
    steps = 0

    def progress(_: int) -> None:
        nonlocal steps
        steps += 1
        report("solving other heights", min(0.95, steps / _MODEL_STEPS))

    reduced = build_reduced(case.design, case.woods, N_MODES, size=case.mesh_size, progress=progress)
    write_reduced(inside(folder, f"{FOLDER}/{name}"), reduced, _mark(case))


def read_live(case: Case, tables: Tables, points: np.ndarray, name: str = FILE) -> Live | None:
    """The what-if model of a drawing if it is kept and still holds."""
    path = case.folder / FOLDER / name
    reduced = read_reduced(path, _mark(case), case.design, case.woods, case.mesh_size)
    return None if reduced is None else live_of(reduced, tables, points)


def live_of(reduced: Reduced, tables: Tables, points: np.ndarray) -> Live:
    """A what-if model made ready for questions; `points` (n, 2) in m are those of the plan."""
    element, local = reduced.locator.locate(points)
    values, _ = shape_functions(reduced.space, Points(element, local, np.ones(len(element))))
    W = np.einsum("pj,pjr->pr", values, reduced.vectors[reduced.space.dofs[element]])
    joints = {
        frozenset((c.under, c.over)): (c.under, c.kept / MM, c.cap / MM, c.cap_length / MM)
        for c in crossings(reduced.design)
    }
    places = {}
    for brace in reduced.design.braces:
        at = what_if_stations(brace)
        number = {p.at: k for k, p in enumerate(reduced.parameters) if p.kind == "height" and p.part == brace.name}
        found = np.array([number.get(float(s), -1) for s in at])
        places[brace.name] = BracePlaces(at / MM, found, brace.stations / MM)
    drawn = what_if(reduced, reduced.drawn)
    return Live(reduced, tables, _frame(tables), joints, drawn, np.ascontiguousarray(W), places)


def values_of(live: Live, tables: Tables, brace: str = "", stations: Sequence[Any] = ()) -> np.ndarray | str:
    """Parameters of the what-if model for a draft, or in words why a full solution is needed.

    Parameters
    ----------
    live : Live
    tables : dict
        The draft.
    brace, stations : str and (k, 2) list, mm
        A brace that has other stations than in the draft, as it is being dragged.
    """
    if tables is not live.base:
        changed = _other(live, tables)
        if changed:
            return changed
    values = live.reduced.drawn.copy()
    for row in tables.get("brace", []):
        name = row["name"]
        wanted = np.asarray(stations if name == brace else row["stations_mm"], dtype=float)
        reason = _put_heights(live, name, wanted, values)
        if reason:
            return reason
    return values


def answer(live: Live, values: np.ndarray, mode: int | None) -> dict[str, Any]:
    """Frequencies of all modes in the order of the drawing's, the mass, and the shape of one mode (from 1)."""
    state = tracked(live.reduced, values, live.drawn)
    found: dict[str, Any] = {"hz": np.round(state.frequencies, 3).tolist(), "mass_g": round(state.mass / GRAM, 3)}
    if mode is not None and 0 < mode <= len(state.coordinates):
        w = live.W @ state.coordinates[mode - 1]
        found["shape"] = np.rint(SCALE * w / np.abs(w).max()).astype(int).tolist()
    return found


def ranges(live: Live) -> dict[str, list[list[float]]]:
    """For each brace the places at which the model lets its height change: distance, least and largest height, mm."""
    found = {}
    for name, places in live.places.items():
        known = [(at, live.reduced.parameters[k]) for at, k in zip(places.at, places.parameter, strict=True) if k >= 0]
        found[name] = [[round(float(at), 3), round(p.low / MM, 3), round(p.high / MM, 3)] for at, p in known]
    return found


def _put_heights(live: Live, name: str, wanted: np.ndarray, values: np.ndarray) -> str:
    places = live.places[name]
    drawn = places.stations
    if wanted.shape == drawn.shape and np.abs(wanted[:, 0] - drawn[:, 0]).max() < SAME_MM:
        at, depth = drawn[:, 0], drawn[:, 1] - wanted[:, 1]
        if np.abs(depth).max() < SAME_MM:
            return ""
    else:
        at = np.union1d(drawn[:, 0], wanted[:, 0])
        at = at[(at >= 0) & (at <= places.at[-1] + SAME_MM)]
        depth = np.interp(at, *drawn.T) - np.interp(at, *wanted.T)
    here = np.interp(places.at, at, depth)
    here[places.parameter < 0] = 0.0
    if np.abs(np.interp(at, places.at, here) - depth).max() > CLOSE_MM:
        worst = at[np.abs(np.interp(at, places.at, here) - depth).argmax()]
        return f"{name} is changed at {worst:.0f} mm, where the quick model has no height of its own"
    for k, d in zip(places.parameter, here, strict=True):
        if k < 0 or not d:
            continue
        one = live.reduced.parameters[k]
        value = one.drawn - d * MM
        if not one.low - 1e-9 <= value <= one.high + 1e-9:
            return (
                f"{name} at {one.at / MM:.0f} mm is {value / MM:.1f} mm high; the quick model holds from "
                f"{one.low / MM:.1f} to {one.high / MM:.1f} mm"
            )
        values[k] = value
    return ""


def _frame(tables: Tables) -> dict[str, Any]:
    found = {head: tables.get(head) for head in TOP_HEADS if head not in ("brace", "joint")}
    found["brace"] = {row["name"]: _without_stations(row) for row in tables.get("brace", [])}
    return found


def _without_stations(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != "stations_mm"}


def _other(live: Live, tables: Tables) -> str:
    """In words what of a draft a change of heights cannot give; nothing if there is nothing."""
    mine, theirs = live.frame["brace"], _frame(tables)
    now = theirs["brace"]
    for name in [*mine, *now]:
        if name not in now:
            return f"{name} was taken out"
        if name not in mine:
            return f"{name} is new"
        if mine[name] != now[name]:
            return f"{name} was moved or changed"
    for head in TOP_HEADS:
        if head not in ("brace", "joint") and live.frame[head] != theirs[head]:
            return f"the {head.replace('_', ' ')} was changed"
    for row in tables.get("joint", []):
        drawn = live.joints.get(frozenset((row["under"], row["over"])))
        if drawn is None:
            continue
        under, kept, cap, length = drawn
        told = (row["under"], row.get("kept_mm", kept), row.get("cap_mm", 0.0), row.get("cap_length_mm", 0.0))
        if told[0] != under or np.abs(np.subtract(told[1:], (kept, cap, length))).max() > 1e-4:
            return f"the joint of {row['under']} and {row['over']} was changed"
    return ""


def _mark(case: Case) -> str:
    return fingerprint(case.design, case.woods, N_MODES, case.mesh_size)
