"""What can be listened to on the page: versions of the loose top and of the closed box, made ready in a task.

Depends on fem, scripts/page/draft. Loads what solves; imported when the maker asks for sounds.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from bracedtop.fem.box_model import build_box
from bracedtop.fem.box_sound import box_field, driven_box
from bracedtop.fem.box_state import has_notes
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.bridge_motion import grid_points
from bracedtop.fem.case import Case
from bracedtop.fem.case_strings import lossy_strings
from bracedtop.fem.cut_file import FILE_NAME as CUT
from bracedtop.fem.cut_file import read_cut
from bracedtop.fem.describe import summarise
from bracedtop.fem.face_terms import FaceValues
from bracedtop.fem.heard import BoxHeard, admittance_of_body, heard_box
from bracedtop.fem.loose_sound import N_MODES, LooseTop, loose_top
from bracedtop.fem.match import pair
from bracedtop.fem.model import MESH_SIZE, Model, Modes, build_model, deflections, solve
from bracedtop.fem.response import bridge_pressure
from bracedtop.fem.rim_options import on_box, usual_rims
from bracedtop.fem.session import has_taps, read_passes
from bracedtop.fem.string_loss import LossyString
from bracedtop.fem.sustain_map import N_FRETS, SustainMap, sustain_map
from bracedtop.fem.taps import read_taps
from bracedtop.fem.what_if import resolved
from bracedtop.geometry.box import Finish
from bracedtop.geometry.cut import cut_design
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import BracedTopError
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.tasks import Report

RING = 0.3e-3
"""Taken off the ring of the top's edge in the version to compare with, m; chosen: what is heard and still is safe."""

N_PLACES = 250
"""Places on a box's top that can be struck; chosen: one every two centimetres."""


@dataclass(frozen=True, slots=True)
class Version:
    """One thing to listen to: its name in questions, and for the maker."""

    id: str
    label: str
    words: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class TopSounds:
    """Loose tops, ready to be tapped."""

    digest: str
    versions: tuple[Version, ...]
    tops: Mapping[str, LooseTop]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class BoxSounds:
    """Closed boxes, ready to be tapped and played; strings and charts only if the drawing has strings."""

    digest: str
    versions: tuple[Version, ...]
    boxes: Mapping[str, BoxHeard]
    strings: tuple[LossyString, ...]
    scale_length: float
    n_frets: int
    charts: Mapping[str, SustainMap]
    notes: tuple[str, ...]


def drawings(now: Tables, saved: Tables) -> tuple[tuple[Version, Tables], ...]:
    """The drawing, and the draft if it differs; the one that the page shows comes first."""
    drawn = Version("saved", "as drawn", "top.toml as it is saved")
    if now == saved:
        return ((drawn, saved),)
    return ((Version("draft", "draft", "the drawing with what was changed on this page"), now), (drawn, saved))


def top_sounds(report: Report, folder: Path, now: Tables, saved: Tables, digest: str) -> TopSounds:
    """Solve every version of the loose top."""
    versions: list[Version] = []
    tops: dict[str, LooseTop] = {}
    notes: list[str] = []
    drawn = drawings(now, saved)
    case = drafted_case(folder, saved)
    report("the loose top", 0.05)
    model = _model(case)
    modes = solve(model, N_MODES)
    report("losses from the taps", 0.3)
    measured, said = _measured_q(folder, model, modes)
    notes += said
    for k, (version, tables) in enumerate(drawn):
        report(f"{version.label}: losses of its woods", 0.5 + 0.1 * k)
        of_this, its_model, its_modes = case, model, modes
        if tables is not saved:
            of_this = drafted_case(folder, tables)
            its_model = _model(of_this)
            its_modes = solve(its_model, N_MODES)
        versions.append(version)
        tops[version.id] = loose_top(its_model, its_modes, of_this.losses, measured)
    changed, said = _cut_versions(folder, case.design)
    notes += said
    for k, (version, design) in enumerate(changed):
        report(version.label, 0.7 + 0.1 * k)
        change = resolved(model, modes, design)
        followed = {change.successor[mode]: q for mode, q in measured.items() if mode < len(change.successor)}
        # As many modes as the others have: more of them would be heard as a change.
        lowest = replace(
            change.modes, frequencies=change.modes.frequencies[:N_MODES], vectors=change.modes.vectors[:N_MODES]
        )
        versions.append(version)
        tops[version.id] = loose_top(change.model, lowest, case.losses, followed)
    return TopSounds(digest, tuple(versions), tops, tuple(notes))


def box_sounds(report: Report, folder: Path, now: Tables, saved: Tables, digest: str) -> BoxSounds:
    """Solve every version of the closed box."""
    versions: list[Version] = []
    boxes: dict[str, BoxHeard] = {}
    charts: dict[str, SustainMap] = {}
    notes: list[str] = []
    strings: tuple[LossyString, ...] = ()
    scale, n_frets = 0.0, 0
    drawn = drawings(now, saved)
    for number, (version, tables) in enumerate(drawn):
        case = drafted_case(folder, tables)
        start, share = number / len(drawn), 1 / len(drawn)
        report(f"{version.label}: top, back and air", start + 0.02)
        model = build_box(case)
        report(f"{version.label}: what it radiates", start + 0.6 * share)
        field = box_field(model)
        places = grid_points(case.design.region, N_PLACES)
        wanted = [(version, BoxValues())]
        if number == 0:
            changed, said = _box_changes(model, case)
            wanted += changed
            notes += said
            if has_notes(case.strings) and case.strings is not None and case.strings.scale_length is not None:
                strings, scale = lossy_strings(case.strings), case.strings.scale_length
                n_frets = N_FRETS if case.strings.frets is None else case.strings.frets
        for k, (one, values) in enumerate(wanted):
            report(one.label, start + share * (0.65 + 0.35 * k / len(wanted)))
            box = heard_box(model, values, field=field, places=places)
            versions.append(one)
            boxes[one.id] = box
            if strings:
                charts[one.id] = sustain_map(
                    strings,
                    admittance_of_body(box.body),
                    scale_length=scale,
                    n_frets=n_frets,
                    highest=box.body.heard.highest,
                    pressure=bridge_pressure(driven_box(model, values, field)) if not charts else None,
                    peaks=box.body.peaks,
                )
    return BoxSounds(digest, tuple(versions), boxes, strings, scale, n_frets, charts, tuple(notes))


def _model(case: Case) -> Model:
    return build_model(case.design, case.woods, size=case.mesh_size or MESH_SIZE)


def _measured_q(folder: Path, model: Model, modes: Modes) -> tuple[dict[int, float], list[str]]:
    """Q of modes (counted from 0) that were tapped, and what has to be said."""
    if not has_taps(folder):
        return {}, ["Nothing is tapped yet: how long each mode rings is guessed from the kind of wood."]
    try:
        taps = read_taps(folder)
    except BracedTopError as error:
        return {}, [f"The taps could not be read ({error}); how long each mode rings is guessed from the kind of wood."]
    peak = np.abs(modes.shapes[:, :, 2]).max(axis=1)

    def deflection(points: np.ndarray) -> np.ndarray:
        return np.asarray(deflections(model, modes, points) / peak[:, None])

    lines = [one.nodal_lines for one in summarise(model, modes)]
    pairing = pair(modes.frequencies, lines, taps.measured, deflection=deflection)
    q = {one.number: one.q for one in taps.measured}
    found = {one.mode - 1: float(known) for one in pairing.pairs if (known := q.get(one.number)) is not None}
    n = len(found)
    return found, [
        f"How long a mode rings is taken from the taps for {n} of {len(modes.frequencies)} modes, for the others from "
        "the kind of wood."
    ]


def _cut_versions(folder: Path, design: Design) -> tuple[list[tuple[Version, Design]], list[str]]:
    """The top as it was cut so far, and after the planned pass."""
    found: list[tuple[Version, Design]] = []
    try:
        passes = read_passes(folder, design)
        for _, cuts in passes:
            design = cut_design(design, cuts)
        if passes:
            words = f"after pass {len(passes)}" if len(passes) > 1 else "after the first pass"
            found.append((Version("cut", "as cut so far", words), design))
        planned = folder / "out" / "plan" / CUT
        if planned.exists():
            after = cut_design(design, read_cut(planned, design))
            found.append((Version("plan", "after the plan", "with the planned pass cut"), after))
    except BracedTopError as error:
        return found, [f"Not to be heard: {error}"]
    return found, []


def _box_changes(model: Any, case: Case) -> tuple[list[tuple[Version, BoxValues]], list[str]]:
    """Other edges, films and linings of a box."""
    notes = []
    found = [
        (Version("ring", "edge thinned", f"{1e3 * RING:g} mm off the ring of the top's edge"), _with_top(ring=RING)),
    ]
    if model.top.finish is not None:
        bare = replace(model.top.finish, mass=0.0, thickness=0.0, modulus=0.0, loss=0.0)
        found.append((Version("bare", "in the white", "the top without its finish"), _with_top(finish=bare)))
    else:
        # Invented: a brushed varnish of middling weight.
        film = Finish("top", mass=0.1, thickness=60e-6, modulus=2.5e9, loss=0.05)
        words = "100 g/m2 of varnish on the top, 60 micrometres"
        found.append((Version("varnish", "varnished", words), _with_top(finish=film)))
    for option in usual_rims(model.box):
        try:
            made = on_box(model, case, option)
        except BracedTopError as error:
            notes.append(f'The lining "{option.name}" is left out: {error}')
        else:
            found.append((Version(f"rim-{option.name}", f"{option.name} lining", option.words), made.values))
    return found, notes


def _with_top(**changes: Any) -> BoxValues:
    return BoxValues(top=replace(FaceValues(), **changes))
