"""Work of the Box view's tasks: the closed box, its ring, rims and finishes side by side, and a customer's wish.

Depends on fem, scripts/box_output, scripts/box_compare, scripts/brief, scripts/finish, scripts/rims, scripts/ring,
scripts/page/draft. Loads what solves; imported when the maker asks for something.
"""

import io
import struct
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from bracedtop.fem.box_curves import admittance_picture, sound_picture
from bracedtop.fem.box_model import build_box
from bracedtop.fem.box_names import box_names
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_picture import WIDTH, box_pictures
from bracedtop.fem.box_sound import box_field
from bracedtop.fem.box_state import BoxState, box_state
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.brief import Figures, answered, figures_of
from bracedtop.fem.brief_file import Brief
from bracedtop.fem.brief_lines import target_lines
from bracedtop.fem.brief_picture import brief_picture
from bracedtop.fem.brief_ways import ways
from bracedtop.fem.brief_words import figure_words
from bracedtop.fem.case import Case
from bracedtop.fem.closed_case import ClosedCase, closed_case
from bracedtop.fem.closed_modes import HOLES, Hole, followed
from bracedtop.fem.closed_taps import FOLDER_NAME as CLOSED
from bracedtop.fem.finish_options import FinishOption, finish_values, finish_words
from bracedtop.fem.picture import PictureJob, draw_pictures
from bracedtop.fem.rim_options import drawn_rim, on_box, usual_rims
from bracedtop.fem.ring_picture import ring_picture
from bracedtop.fem.ring_table import thinner
from bracedtop.fem.ring_words import note_words
from bracedtop.fem.sustain_map import SustainMap
from bracedtop.fem.sustain_picture import band_of, limits_of
from bracedtop.fem.sustain_words import doubtful_notes, note_name, sustain_words
from bracedtop.geometry.box import Finish
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.units import MM, cents
from bracedtop.scripts import ring
from bracedtop.scripts.box_compare import beside_picture, state_beside
from bracedtop.scripts.box_compare import followed as followed_beside
from bracedtop.scripts.box_output import CAUTION, box_facts, box_notes, lumped_lines, mode_rows, voice_words
from bracedtop.scripts.brief import Result as BriefResult
from bracedtop.scripts.brief import brief_json
from bracedtop.scripts.finish import CAUTION as FINISH_CAUTION
from bracedtop.scripts.finish import finish_sentences
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.tasks import Report
from bracedtop.scripts.rims import rim_sentences

DEEPEST = 0.2
"""Most that the slider of the ring takes off, mm; chosen: a few passes."""

_SMALL_PX = 420
"""Width of a mode's picture in the strip, px; chosen: sharp at twice the pixels of a page."""

_HEAD_PX, _FOOT_PX = 200, 145
"""What of a mode's picture the strip leaves out, of `WIDTH` px: its words, which the page says itself."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as PNG, and what it shows in words."""

    png: bytes
    alt: str

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, px, which stand at the head of a PNG."""
        width, height = struct.unpack(">II", self.png[16:24])
        return width, height


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """What a task has made for one part of the page.

    Parameters
    ----------
    digest : str
        Of all that it depends on.
    told : dict
        For the page.
    pictures : mapping of str to Picture
    known : ClosedCase or None
        Of the ring: what the live answers come from.
    tables : dict
        Of the drawing.
    model : BoxModel or None
        Of that drawing, for boxes with other values, if it was made here; that is most of the work, so that other
        tasks get it.
    """

    digest: str
    told: dict[str, Any]
    pictures: Mapping[str, Picture] = field(default_factory=dict)
    known: ClosedCase | None = None
    tables: Tables = field(default_factory=dict)
    model: BoxModel | None = None


@dataclass(slots=True)
class _Stages:
    """A task's report as the commands' progress."""

    report: Report
    most: int
    done: int = 0

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Tell of a stage and count it."""
        self.report(name, self.done / self.most)
        yield
        self.done += 1


def closed_work(report: Report, folder: Path, tables: Tables, digest: str) -> Made:
    """The closed box: modes, curves, voice, notes."""
    stages = _Stages(report, 4)
    case = drafted_case(folder, tables)
    with stages.stage("top, back and air"):
        model = build_box(case, what_if=False)
    with stages.stage("sound field"):
        sound = box_field(model)
    with stages.stage("coupled modes, response, notes"):
        state = box_state(model, strings=case.strings, field=sound)
    names = [one.name for one in box_names(model, state.modes)]
    with stages.stage("pictures"):
        modes = box_pictures(model, state.modes, names)
        curves = [admittance_picture(model, state, names), sound_picture(model, state, names)]
        pictures, about = drawn([*modes, *curves])
        for job in modes:
            pictures[f"{job.name}-small"] = _small(pictures[job.name])
    return Made(digest, closed_told(case, model, state, names, about), pictures)


def closed_told(
    case: Case, model: BoxModel, state: BoxState, names: Sequence[str], about: str | None = None
) -> dict[str, Any]:
    """The closed box for the page."""
    rows = mode_rows(state, names)
    response = state.response
    for row in rows:
        row["admittance_db"] = float(np.interp(row["hz"], response.hz, response.admittance_level))
        row["pressure_db"] = float(np.interp(row["hz"], response.hz, response.pressure_level))
    return {
        "facts": box_facts(case, model),
        "modes": rows,
        "lumped": lumped_lines(state.lumped),
        "voice": voice_words(state.voice),
        "power": [[name, float(share)] for name, share in state.voice.shares.items()],
        "map": None if state.notes is None else map_told(state.notes),
        "notes": [*box_notes(case), *([about] if about else []), CAUTION],
    }


def map_told(found: SustainMap) -> dict[str, Any]:
    """The sustain map for the page: each note with its figures, and how dark its cell is, 0 to 4."""
    doubtful = {(one.string, one.fret): one for one in doubtful_notes(found)}
    limits = limits_of(found.decay_time)
    bands = np.array([[band_of(float(t), limits) for t in row] for row in found.decay_time])
    strings = []
    for i, string in enumerate(found.strings):
        cells = []
        for j in range(found.decay_time.shape[1]):
            one, k = doubtful.get((string, j)), int(found.nearest[i, j])
            cells.append(
                {
                    "note": note_name(found, i, j),
                    "hz": float(found.frequency[i, j]),
                    "t60_s": float(found.decay_time[i, j]),
                    "early_s": float(found.early_decay_time[i, j]),
                    "level_db": None if found.level is None else float(found.level[i, j]),
                    "part": float(found.part[i, j]),
                    "body_hz": float(found.peaks[k].frequency) if k >= 0 else None,
                    "split_hz": float(found.split[i, j]),
                    "marks": [] if one is None else [kind for kind in ("wolf", "short", "soft") if getattr(one, kind)],
                    "shade": round(4 * int(bands[i, j]) / max(int(bands.max()), 1)),
                }
            )
        strings.append({"name": string, "cells": cells})
    return {"strings": strings, "words": list(sustain_words(found))}


def ring_work(report: Report, folder: Path, tables: Tables, digest: str) -> Made:
    """What a thinner ring does, and the next safe pass, as ``bracedtop ring`` says it."""
    stages = _Stages(report, 9)
    case = drafted_case(folder, tables)

    def told(name: str) -> None:
        with stages.stage(name):
            pass

    known = closed_case(case, told=told)
    found = ring.ring_result(known, case.closed, None, stages)
    with stages.stage("pictures"):
        closed = known.closed
        design = closed.model.top.model.design
        words = "top with the hole blocked: part of what the ring does to it"
        job = ring_picture(design, found.table.fields["blocked"], closed.top_blocked, words)
        pictures, about = drawn([job])
    data = ring.ring_json(found)
    data["now"] = ring_now(known)
    deepest = ring_answer(known, data["now"], DEEPEST)
    data["widest_cents"] = max(abs(one["cents"]) for one in deepest["notes"])
    data["notes"] += [about] if about else []
    return Made(digest, data, pictures, known)


def ring_now(known: ClosedCase) -> dict[str, list[float]]:
    """Frequencies of the box as it is, Hz, by state of the hole."""
    return {hole: _sounding(known, hole, 0.0).tolist() for hole in HOLES}


def ring_answer(known: ClosedCase, now: Mapping[str, Sequence[float]], depth_mm: float) -> dict[str, Any]:
    """All coupled modes with a ring thinner by so much, both states of the hole; two solutions of some ten ms."""
    then = {hole: _sounding(known, hole, depth_mm * MM) for hole in HOLES}
    notes = []
    for name in ("air", "top", "top blocked"):
        hole, k = known.closed.place(name)
        before, hz = float(now[hole][k]), float(then[hole][k])
        notes.append({"note": name, "now": before, "hz": hz, "name": note_words(hz), "cents": cents(hz, before)})
    apart = [cents(notes[k]["hz"], notes[0]["hz"]) for k in (2, 1)]
    return {
        "depth_mm": depth_mm,
        "notes": notes,
        "apart_cents": {"blocked": apart[0], "open": apart[1]},
        "modes": {hole: hz.tolist() for hole, hz in then.items()},
    }


def _sounding(known: ClosedCase, hole: Hole, depth: float) -> np.ndarray:
    found = followed(known.closed, thinner(known.posterior.values, depth), hole)
    return np.asarray(found.frequencies * np.exp(known.posterior.bias(hole)))


def rims_work(report: Report, folder: Path, tables: Tables, digest: str, model: BoxModel | None = None) -> Made:
    """The drawn linings and a few usual ones on the same box."""
    stages = _Stages(report, 4)
    case = drafted_case(folder, tables)
    with stages.stage("top, back and air"):
        built = build_box(case) if model is None else None
        model = model or built
    notes = box_notes(case)
    rims = [on_box(model, case, drawn_rim(model.box))]
    for option in usual_rims(model.box):
        try:
            rims.append(on_box(model, case, option))
        except DesignError as error:
            notes.append(f"left out, as it does not fit: {error}")
    states, paths, names = _beside(stages, case, model, [rim.values for rim in rims], f"{len(rims)} rims")
    rows = [(rim.option.name, rim.option.words) for rim in rims]
    with stages.stage("picture"):
        words = "the same box, only its linings differ"
        job = beside_picture("rims", "Rims side by side", words, rows, names, states, paths)
        pictures, about = drawn([job])
    told = {
        "columns": _columns(rows, names, states, paths),
        "sentences": rim_sentences(rims, states),
        "notes": [*notes, *([about] if about else []), CAUTION],
    }
    return Made(digest, told, pictures, tables=tables, model=built)


def finish_work(
    report: Report,
    folder: Path,
    tables: Tables,
    digest: str,
    asked: dict[str, Any] | None,
    model: BoxModel | None = None,
) -> Made:
    """The box bare, as drawn, and with the finish that was asked for."""
    stages = _Stages(report, 4)
    case = drafted_case(folder, tables)
    options = finish_options(case, asked)
    with stages.stage("top, back and air"):
        built = build_box(case) if model is None else None
        model = model or built
    values = [finish_values(model, case, option) for option in options]
    states, paths, names = _beside(stages, case, model, values, f"{len(options)} finishes")
    rows = [(option.name, option.words) for option in options]
    with stages.stage("picture"):
        words = "the same box, only its finish differs"
        job = beside_picture("finish", "Finishes side by side", words, rows, names, states, paths)
        pictures, about = drawn([job])
    told = {
        "columns": _columns(rows, names, states, paths),
        "sentences": finish_sentences(options, states, paths, names),
        "notes": [*box_notes(case), *([about] if about else []), FINISH_CAUTION],
    }
    return Made(digest, told, pictures, tables=tables, model=built)


def finish_options(case: Case, asked: Mapping[str, Any] | None) -> list[FinishOption]:
    """Bare, as drawn if that is not bare, and what the maker has asked for.

    Raises
    ------
    DesignError
        If there is nothing to compare.
    """
    drawn_ones = () if case.box is None else case.box.finishes
    options = [FinishOption("bare", "no finish")]
    if drawn_ones:
        options.append(FinishOption("as drawn", finish_words(drawn_ones), drawn_ones))
    if asked:
        film = (asked["film_mm"] / 1e3, asked["modulus_gpa"] * 1e9, asked["loss"])
        # A film without stiffness only weighs.
        film = film if all(film) else (0.0, 0.0, 0.0)
        finishes = tuple(Finish(face, asked["mass_g_per_m2"] / 1e3, *film) for face in asked["faces"])
        options.append(FinishOption("asked for", finish_words(finishes), finishes))
    if len(options) < 2:
        message = "the drawing has no [[finish]]; say one to compare with the bare box"
        raise DesignError(message)
    return options


def brief_work(
    report: Report,
    folder: Path,
    tables: Tables,
    digest: str,
    wish: dict[str, str],
    theirs: dict[str, Any],
    model: BoxModel | None = None,
) -> Made:
    """A customer's words as figures, and the ways there, as ``bracedtop brief`` says them."""
    stages = _Stages(report, 4)
    case = drafted_case(folder, tables)
    with stages.stage("closed box"):
        built = None
        if (folder / CLOSED).is_dir():
            known = closed_case(case)
            model, values = known.closed.model, known.posterior.values
        else:
            built = build_box(case) if model is None else None
            model, values = model or built, BoxValues()
        sound = box_field(model, values)
        ours = figures_of(case.name, model, values, sound)
    other = Figures(theirs["name"], theirs["figures"], theirs["hz"], theirs["q"])
    plate = model.top.model.design.plate
    left = plate.thickness - plate.ring_reduction - values.top.ring
    room = max(min(left - case.closed_limits.least(plate.thickness), 0.2 * plate.thickness), 0.0)
    with stages.stage("ways"):
        answer = answered(model, ours, other, wish, ways(model, room), values, sound)
    with stages.stage("lines for top.toml"):
        lines = target_lines(case, model, values, answer)
    notes = ["sustain is that of one usual string for all notes, the same for both instruments"]
    unknown = [name for name in wish if name not in other.voice]
    if unknown:
        notes.insert(0, f"{', '.join(unknown)}: not known of the other instrument, so the wish counts from this one's")
    with stages.stage("picture"):
        pictures, about = drawn([brief_picture(answer)])
    notes += [about] if about else []
    data = brief_json(BriefResult(case, Brief("", None, None, wish), answer, lines, tuple(notes)))
    data["rows"] = [
        {
            "word": name,
            "theirs": figure_words(name, other.voice[name]) if name in other.voice else None,
            "ours": figure_words(name, figure),
            "wish": wish.get(name, ""),
            "wanted": figure_words(name, answer.wanted[name]) if name in answer.wanted else "",
            "then": figure_words(name, answer.after.voice[name]),
        }
        for name, figure in ours.voice.items()
    ]
    return Made(digest, data, pictures, tables=tables, model=built)


def drawn(jobs: Sequence[PictureJob]) -> tuple[dict[str, Picture], str | None]:
    """Pictures in memory by name, and a line for the maker, if there is one to say."""
    with tempfile.TemporaryDirectory(prefix="bracedtop-") as place:
        result = draw_pictures(jobs, Path(place))
        found = {job.name: Picture(path.read_bytes(), job.alt) for job, path in zip(jobs, result.paths, strict=True)}
    return found, result.note


def _small(picture: Picture) -> Picture:
    """A mode's picture without its words, for the strip."""
    with Image.open(io.BytesIO(picture.png)) as whole:
        scale = whole.width / WIDTH
        plans = whole.crop((0, round(_HEAD_PX * scale), whole.width, whole.height - round(_FOOT_PX * scale)))
        small = plans.convert("RGB").resize((_SMALL_PX, round(plans.height * _SMALL_PX / plans.width)))
    out = io.BytesIO()
    small.save(out, "PNG", optimize=True)
    return Picture(out.getvalue(), picture.alt)


def _beside(
    stages: _Stages, case: Case, model: BoxModel, values: Sequence[BoxValues], words: str
) -> tuple[list[BoxState], list[tuple[int, ...]], list[str]]:
    with stages.stage("sound field"):
        sound = box_field(model)
    with stages.stage(words):
        states = [box_state(model, one, case.strings, field=sound) for one in values]
    names = [one.name for one in box_names(model, states[0].modes)]
    return states, followed_beside(model, states), names


def _columns(
    rows: Sequence[tuple[str, str]],
    names: Sequence[str],
    states: Sequence[BoxState],
    paths: Sequence[tuple[int, ...]],
) -> list[dict[str, Any]]:
    """Boxes side by side for the page, a column each."""
    found = []
    for (name, words), state, path in zip(rows, states, paths, strict=True):
        one = state_beside(names, state, path)
        notes = state.notes
        found.append(
            {
                "name": name,
                "words": words,
                "modes": one["modes"],
                "voice": voice_words(state.voice),
                "power": one["power_goes_to"],
                "weak": None if notes is None else int(notes.weak.sum()),
                "wolf": None if notes is None else int(notes.wolf.sum()),
            }
        )
    return found
