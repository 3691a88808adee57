"""The taps of a board file: from numbers and recordings to modes with frequencies, decays and errors.

Depends on fem/board, fem/board_schema, fem/named_path, fem/recording.
"""

import math
from pathlib import Path

import numpy as np

from bracedtop.fem.board import Reading, Tap
from bracedtop.fem.board_schema import PLATE_MODES, STICK_MODES, BoardTable, ErrorsTable, TapTable
from bracedtop.fem.free_bar import BarMode
from bracedtop.fem.free_plate import PlateMode
from bracedtop.fem.named_path import named_path
from bracedtop.fem.recording import T60, Peak, Recording, analyse_recording
from bracedtop.fem.toml_file import refuse_value, shown
from bracedtop.geometry.errors import FileError

DEFAULT_WEIGHT = 4
"""Readings that the stated error of one hold counts for beside the scatter of repeated readings; chosen: a few
readings that agree by chance must not claim more than they can."""

LOWEST_HZ = 15.0
"""Lowest mode that is looked for in a recording; half a guitar's top twists at 30 Hz."""

NEAR = 0.1
"""A recorded peak belongs to near_hz within this part of it; chosen."""

RIVAL_DB = 6.0
"""A peak this little below the strongest could as well be meant; chosen."""

NAMED_MODES = {
    "long": PlateMode(2, 0),
    "cross": PlateMode(0, 2),
    "twist": PlateMode(1, 1),
    "x": PlateMode(2, 0, -1),
    "ring": PlateMode(2, 0, 1),
}


def read_taps(table: BoardTable, path: Path, file: str) -> tuple[list[Tap], list[str]]:
    """Taps of a board file, and what limits them, in words.

    Parameters
    ----------
    table : BoardTable
    path : Path
        Of the board file.
    file : str
        Its name in messages.

    Raises
    ------
    FileError
        If a mode is named wrongly or twice, or a recording cannot be used.
    """
    hold = _hold_error(table)
    recordings: dict[Path, Recording] = {}
    taps: list[Tap] = []
    warnings: list[str] = []
    for number, row in enumerate(table.tap, start=1):
        where = f"tap {number}"
        mode, words = (_plate_mode if table.kind == "plate" else _stick_mode)(row, where, file)
        earlier = [k for k, tap in enumerate(taps, start=1) if tap.mode == mode]
        if earlier:
            found = f"{where} = {words}: tap {earlier[0]} is this mode; write repeated readings as a list, hz = [ ]"
            message = f"{file}: {found}"
            raise FileError(message)
        if row.hz is not None:
            taps.append(Tap(mode, words, *_noted(row, hold, table.errors)))
            continue
        source = named_path(row.wav or "", path.parent, path.parent, f"{file}: {where}.wav")
        if source not in recordings:
            recordings[source] = analyse_recording(source, lowest=LOWEST_HZ)
            warnings += [f"{row.wav}: {text}" for text in recordings[source].warnings]
        peak = _peak(recordings[source], row, where, file, warnings)
        taps.append(Tap(mode, words, *_heard(peak, row.wav or "", hold, table.errors)))
    given = {tap.words for tap in taps}
    if given & {"x", "ring"} and given & {"long", "cross"}:
        allowed = "where long and cross fall together they become x and ring; name them one way only"
        refuse_value(file, "tap modes", ", ".join(tap.words for tap in taps), allowed)
    return taps, warnings


def _hold_error(table: BoardTable) -> float:
    """Relative error of one reading: the stated one, and the scatter of all repeated readings."""
    stated = table.errors.hz_percent / 100
    logs = [np.log(row.hz) for row in table.tap if row.hz is not None]
    freedom = sum(len(values) - 1 for values in logs)
    squares = sum(float(((values - values.mean()) ** 2).sum()) for values in logs)
    return math.sqrt((DEFAULT_WEIGHT * stated**2 + squares) / (DEFAULT_WEIGHT + freedom))


def _noted(row: TapTable, hold: float, errors: ErrorsTable) -> tuple[Reading, Reading | None, str]:
    values = row.hz or []
    hz = float(np.exp(np.mean(np.log(values))))
    losses = [1 / q for q in row.q or []] or [T60 / (math.pi * hz * t) for t in row.t60_s or []]
    loss = None
    if losses:
        mean = float(np.mean(losses))
        scatter = float(np.std(losses, ddof=1)) if len(losses) > 1 else 0.0
        loss = Reading(mean, max(errors.decay_percent / 100 * mean, scatter) / math.sqrt(len(losses)))
    source = f"{len(values)} reading{'s' * (len(values) > 1)}"
    return Reading(hz, hold * hz / math.sqrt(len(values))), loss, source


def _heard(peak: Peak, name: str, hold: float, errors: ErrorsTable) -> tuple[Reading, Reading | None, str]:
    # All hits of a recording share one hold.
    scatter = (peak.spread_hz or 0.0) / math.sqrt(peak.n_hits)
    loss = None if peak.q is None else Reading(1 / peak.q, errors.decay_percent / 100 / peak.q)
    source = f"{name} ({peak.n_hits} hit{'s' * (peak.n_hits > 1)})"
    return Reading(peak.hz, math.hypot(hold * peak.hz, scatter)), loss, source


def _peak(recording: Recording, row: TapTable, where: str, file: str, warnings: list[str]) -> Peak:
    if row.near_hz is None:
        best = max(recording.peaks, key=lambda peak: peak.level_db)
        rivals = [peak for peak in recording.peaks if peak is not best and peak.level_db > best.level_db - RIVAL_DB]
        if rivals:
            others = ", ".join(f"{peak.hz:.1f}" for peak in rivals)
            warnings.append(
                f"{where}: took the strongest peak of {row.wav}, {best.hz:.1f} Hz; nearly as strong: {others} Hz; "
                "near_hz tells which"
            )
        return best
    best = min(recording.peaks, key=lambda peak: abs(peak.hz - (row.near_hz or 0.0)))
    if abs(best.hz - row.near_hz) > NEAR * row.near_hz:
        heard = ", ".join(f"{peak.hz:.1f}" for peak in recording.peaks)
        refuse_value(
            file, f"{where}.near_hz", f"{row.near_hz:g}", f"nothing within 10 % of it in {row.wav}; heard: {heard}"
        )
    return best


def _plate_mode(row: TapTable, where: str, file: str) -> tuple[PlateMode, str]:
    across, along = row.nodes_across, row.nodes_along
    if row.mode is not None and across is None and along is None:
        if row.mode not in NAMED_MODES:
            allowed = f"a plate's modes are {', '.join(PLATE_MODES)}; others by nodes_across and nodes_along"
            refuse_value(file, f"{where}.mode", shown(row.mode), allowed)
        _refuse_nodes(row, where, file)
        return NAMED_MODES[row.mode], row.mode
    if row.mode is not None or across is None or along is None:
        message = f"{file}: {where}: needs either mode, or both nodes_across and nodes_along"
        raise FileError(message)
    _refuse_nodes(row, where, file)
    if across + along < 2:
        refuse_value(
            file, f"{where}.nodes_across + nodes_along", f"{across + along}", "must be >= 2, as a free board has"
        )
    mode = PlateMode(across, along)
    words = next((name for name, known in NAMED_MODES.items() if known == mode), f"{across} across, {along} along")
    return mode, words


def _refuse_nodes(row: TapTable, where: str, file: str) -> None:
    if row.nodes is not None:
        refuse_value(
            file, f"{where}.nodes", str(row.nodes), 'is for kind = "stick"; a plate has nodes_across, nodes_along'
        )


def _stick_mode(row: TapTable, where: str, file: str) -> tuple[BarMode, str]:
    if row.nodes_across is not None or row.nodes_along is not None:
        message = f"{file}: {where}: nodes_across and nodes_along are for plates; a stick has mode and nodes"
        raise FileError(message)
    name = row.mode
    if name != "height" and name != "width" and name != "twist":
        found = "nothing" if name is None else shown(name)
        allowed = f"a stick's modes are {', '.join(STICK_MODES)} (it bends that way, or twists)"
        refuse_value(file, f"{where}.mode", found, allowed)
    lowest = 1 if name == "twist" else 2
    nodes = row.nodes or lowest
    if nodes < lowest:
        refuse_value(file, f"{where}.nodes", str(nodes), "must be >= 2 for a stick that bends")
    return BarMode(name, nodes), name if nodes == lowest else f"{name}, {nodes} nodes"
