"""One session's taps read for the page, with what the drawing predicts and how the two are paired.

Depends on fem, scripts/page/draft, tapped. Loads what solves; imported in tasks only.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from bracedtop.fem.ambiguity import ambiguities, tap_places
from bracedtop.fem.case import Case
from bracedtop.fem.describe import summarise
from bracedtop.fem.mac import follow, mac
from bracedtop.fem.match import Motion, Pairing, pair
from bracedtop.fem.model import MESH_SIZE, Model, Modes, build_model, deflections, solve
from bracedtop.fem.pairing_by_hand import by_hand
from bracedtop.fem.recording import Recording
from bracedtop.fem.session import pass_folders, read_cuts
from bracedtop.fem.sound import read_sound
from bracedtop.fem.taps import Measured
from bracedtop.fem.taps_file import FILE_NAME as PLACES
from bracedtop.geometry.cut import cut_design
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import BracedTopError
from bracedtop.geometry.units import MM, note
from bracedtop.scripts.page.draft import Tables, drafted_case
from bracedtop.scripts.page.journal import Json
from bracedtop.scripts.page.tapped import read_with, session_folder
from bracedtop.scripts.page.tasks import Report

N_MODES = 12
"""Predicted modes, as many as the page shows."""

MOST_SHOWN = 24
"""Recordings whose wave and spectrum are shown; chosen: more make a page that nobody reads."""

BINS = 480
"""Points of a wave and of a spectrum; chosen: more than a phone has pixels."""


@dataclass(frozen=True, slots=True, eq=False)
class TapsRead:
    """What one session tells.

    Parameters
    ----------
    number : int
        Pass behind which it was tapped, 0 for none.
    stamp : str
        Of all files and places that it was read from.
    measured : tuple of Measured
    recordings : tuple of dict
        Wave, hits and spectrum of each, ready to be shown.
    warnings : tuple of str
    predicted_hz : (n,) array
        Empty if nothing could be predicted.
    names : tuple of n str
    pairing : Pairing or None
    close : tuple of (str, tuple of int)
        Close calls in words, and the measured modes that they are about.
    trouble : str
        Why nothing could be predicted.
    """

    number: int
    stamp: str
    measured: tuple[Measured, ...]
    recordings: tuple[dict[str, Any], ...]
    warnings: tuple[str, ...]
    predicted_hz: np.ndarray
    names: tuple[str, ...]
    pairing: Pairing | None
    close: tuple[tuple[str, tuple[int, ...]], ...]
    trouble: str = ""


def read_session(
    report: Report, folder: Path, tables: Tables, number: int, places: tuple[Mapping[str, Json], Json], stamp: str
) -> TapsRead:
    """Read a session's taps and pair them with the modes of the top as it was cut by then.

    Parameters
    ----------
    report : Report
    folder : Path
        Of the case.
    tables : dict
        The drawing.
    number : int
    places : (mapping, [x, y] or None)
        Where recordings were tapped, by name, and where the microphone was, mm.
    stamp : str

    Raises
    ------
    FileError
        If the taps cannot be used.
    """
    report("listening to the taps", 0.05)
    place = session_folder(folder, number)
    taps = read_with(place, *places)
    recordings = tuple(_recording(one, taps.measured) for one in taps.recordings[:MOST_SHOWN])
    warnings = taps.warnings
    if not (place / PLACES).exists():
        # Of places set on the page: a microphone's place is what asks for shapes.
        about = [text.removeprefix(f"{PLACES}: ") for text in warnings]
        warnings = tuple(text for text in about if text in warnings or places[1] is not None)
    report("predicting the modes", 0.5)
    try:
        case = drafted_case(folder, tables)
        hz, names, lines, deflection = _predicted(report, case, number)
        report("pairing", 0.9)
        pairing = pair(hz, lines, taps.measured, deflection=deflection)
        close = ambiguities(pairing, hz, taps.measured, deflection, tap_places(case.design))
    except BracedTopError as error:
        trouble = " ".join(str(error).split())
        return TapsRead(number, stamp, taps.measured, recordings, warnings, np.zeros(0), (), None, (), trouble)
    words = tuple((f"{one.words[0].upper()}{one.words[1:]}.", one.measured) for one in close)
    return TapsRead(number, stamp, taps.measured, recordings, warnings, hz, names, pairing, words)


def shown(found: TapsRead, chosen: Mapping[int, int]) -> dict[str, Any]:
    """The reading for the page, with the pairs that the maker has chosen."""
    pairing = found.pairing
    if pairing is not None and chosen:
        known = {tap: mode for tap, mode in chosen.items() if mode <= len(found.predicted_hz)}
        pairing = by_hand(pairing, known, found.predicted_hz, found.measured)
    pairs = {} if pairing is None else {one.number: one for one in pairing.pairs}
    own = {} if found.pairing is None else {one.number: one.mode for one in found.pairing.pairs}
    rows = []
    for mode in found.measured:
        name, deviation = note(mode.hz)
        one = pairs.get(mode.number)
        rows.append(
            {
                "number": mode.number,
                "hz": mode.hz,
                "error_hz": mode.std_error_hz or mode.spread_hz,
                "note": name,
                "cents": deviation,
                "decay_s": mode.decay_time,
                "q": mode.q,
                "label": mode.label,
                "source": mode.source,
                "tap_mm": None if mode.tap_point is None else [value / MM for value in mode.tap_point],
                "mode": 0 if one is None else one.mode,
                "proposed": own.get(mode.number, 0),
                "by_hand": mode.number in chosen,
                "predicted_hz": None if one is None else one.predicted_hz,
                "off_cents": None if one is None else one.difference_cents,
                "mac": None if one is None else one.mac,
                "or_modes": [] if one is None else list(one.ambiguous_with),
            }
        )
    return {
        "pass": found.number,
        "taps": rows,
        "modes": [
            {"mode": k, "hz": float(hz), "name": name}
            for k, (hz, name) in enumerate(zip(found.predicted_hz, found.names, strict=True), start=1)
        ],
        "unheard": [] if pairing is None else list(pairing.unpaired_predicted),
        "ratio": 1.0 if pairing is None else pairing.ratio,
        "close": [words for words, numbers in found.close if not all(number in chosen for number in numbers)],
        "warnings": list(found.warnings),
        "recordings": list(found.recordings),
        "trouble": found.trouble,
    }


def _predicted(
    report: Report, case: Case, number: int
) -> tuple[np.ndarray, tuple[str, ...], list[tuple[int, int]], Motion]:
    """Modes of the top as it was behind a pass, with the drawing's numbers."""
    design = case.design
    for cuts in read_cuts(pass_folders(case.folder)[:number], design):
        design = cut_design(design, cuts)
    model, modes = _solved(case, design)
    order = np.arange(min(N_MODES, len(modes.frequencies)))
    if number:
        report("following the modes through the cuts", 0.7)
        drawn_model, drawn = _solved(case, case.design)
        points = tap_places(case.design)
        similar = mac(deflections(drawn_model, drawn, points).T, deflections(model, modes, points).T)
        order = np.array(follow(similar))[: len(order)]
    summaries = summarise(model, modes)
    peak = np.abs(modes.shapes[:, :, 2]).max(axis=1)

    def deflection(points: np.ndarray) -> np.ndarray:
        return np.asarray((deflections(model, modes, points) / peak[:, None])[order])

    return (
        np.asarray(modes.frequencies)[order],
        tuple(summaries[k].name for k in order),
        [summaries[k].nodal_lines for k in order],
        deflection,
    )


def _solved(case: Case, design: Design) -> tuple[Model, Modes]:
    model = build_model(design, case.woods, size=case.mesh_size or MESH_SIZE)
    return model, solve(model, N_MODES)


def _recording(recording: Recording, measured: tuple[Measured, ...]) -> dict[str, Any]:
    sound = read_sound(recording.path)
    length = len(sound.samples) / sound.rate
    highest = 1.15 * max((peak.hz for peak in recording.peaks), default=800.0)
    inside = (recording.frequency >= 40.0) & (recording.frequency <= highest)
    frequency, level = recording.frequency[inside], recording.level[inside]
    return {
        "file": recording.path.name,
        "seconds": length,
        "wave": np.round(_largest(np.abs(sound.samples)), 4).tolist(),
        "hits": [
            {"at_s": hit.strike_s, "from_s": hit.decay_s, "to_s": hit.quiet_s, "level_db": hit.level_db}
            for hit in recording.hits
        ],
        "hz": [float(frequency[0]), float(frequency[-1])] if len(frequency) else [40.0, highest],
        "level": np.round(_largest(np.maximum(level, -70.0)), 1).tolist(),
        "peaks": [
            {
                "hz": peak.hz,
                "level": float(np.interp(peak.hz, recording.frequency, recording.level)),
                "number": min(measured, key=lambda mode: abs(mode.hz - peak.hz)).number,
            }
            for peak in recording.peaks
        ],
        "steady_hz": [float(hz) for hz in recording.steady_hz],
        "warnings": list(recording.warnings),
    }


def _largest(values: np.ndarray) -> np.ndarray:
    """Largest value in each of at most `BINS` equal stretches."""
    if len(values) <= BINS:
        return values
    starts = np.linspace(0, len(values), BINS, endpoint=False).astype(int)
    return np.asarray(np.maximum.reduceat(values, starts))
