"""What was measured: recordings and bench notes of a case, joined to one list of modes.

Depends on geometry/errors, fem/recording, fem/sound, fem/strike, fem/tap_grid, fem/tap_notes, fem/tap_shape,
fem/taps_file.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bracedtop.fem.recording import T60, Peak, Recording, analyse_recording, analyse_together
from bracedtop.fem.sound import Sound, read_channels
from bracedtop.fem.strike import Struck, struck
from bracedtop.fem.tap_grid import Grid, grid_shapes, largest_grid
from bracedtop.fem.tap_notes import FILE_NAME, Note, read_notes
from bracedtop.fem.tap_shape import Shape
from bracedtop.fem.taps_file import FILE_NAME as PLACES_NAME
from bracedtop.fem.taps_file import Placement, read_placements
from bracedtop.geometry.errors import FileError

FOLDER_NAME = "taps"
SUFFIXES = (".wav", ".flac")

SAME_MODE = 0.015
SAME_MODE_HZ = 3.0
"""Peaks of two recordings this close, relative or in Hz, whichever is wider, are one mode; common practice, no source:
a top that is picked up and held again returns within about one per cent."""

SAME_NOTE = 0.01
"""A note belongs to a recorded mode this close; chosen: within what a tuner or a spectrum on a phone shows."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One measured mode.

    Parameters
    ----------
    number : int
        1 for the lowest.
    hz : float
    spread_hz : float or None
        Standard deviation over hits and files.
    decay_time : float or None, s
        T60.
    q : float or None
    label : str
    tap_point : (float, float) or None, m
        Where it was heard best, if that is known.
    nodes : tuple of (float, float), m
        Points where it was seen to stand still.
    nodal_lines : (int or None, int or None)
        Lines across the grain and along it, as far as seen.
    source : str
        Files and, for notes, the line.
    warnings : tuple of str
    std_error_hz : float or None
        Standard error of `hz`, of the hold or holds in which it was tapped.
    shape : Shape or None
        How it moves at the points of `taps.toml`.
    """

    number: int
    hz: float
    spread_hz: float | None
    decay_time: float | None
    q: float | None
    label: str = ""
    tap_point: tuple[float, float] | None = None
    nodes: tuple[tuple[float, float], ...] = ()
    nodal_lines: tuple[int | None, int | None] = (None, None)
    source: str = ""
    warnings: tuple[str, ...] = ()
    std_error_hz: float | None = None
    shape: Shape | None = None


@dataclass(frozen=True, slots=True)
class Taps:
    """Everything measured on a top.

    Parameters
    ----------
    measured : tuple of Measured
        In order of frequency.
    recordings : tuple of Recording
    warnings : tuple of str
        Each beginning with its file.
    sources : tuple of str
        Files that were read.
    placements : tuple of Placement
        What `taps.toml` says of recordings.
    struck : tuple of Struck
        Amplitudes in these.
    struck_numbers : tuple of int
        Number of the measured mode in each column of these amplitudes.
    """

    measured: tuple[Measured, ...]
    recordings: tuple[Recording, ...]
    warnings: tuple[str, ...]
    sources: tuple[str, ...]
    placements: tuple[Placement, ...] = ()
    struck: tuple[Struck, ...] = ()
    struck_numbers: tuple[int, ...] = ()


def read_taps(folder: Path) -> Taps:
    """Taps of a case folder or of a pass in it: `taps.csv`, `taps.toml` and the recordings in `taps/`.

    Peaks of different recordings that are close are one mode. A line of `taps.csv` that is close to a recorded
    mode adds its label, tap point and nodes to it; the frequency and decay are the recording's. `taps.toml` says where
    recordings were tapped and heard; points tapped with the microphone in one place give the modes their shapes.

    Raises
    ------
    FileError
        If there is nothing measured, or a file cannot be used.
    """
    folder = Path(folder)
    if not folder.is_dir():
        message = f"{folder}: is no folder; taps are read from {FILE_NAME} or {FOLDER_NAME}/ in a case folder"
        raise FileError(message)
    places = folder / PLACES_NAME
    placements = read_placements(places) if places.exists() else ()
    return join_taps(folder / FILE_NAME, recording_paths(folder), placements)


def recording_paths(folder: Path) -> tuple[Path, ...]:
    """Recordings in the folder `taps/` of a case, by name."""
    inside = folder / FOLDER_NAME
    if not inside.is_dir():
        return ()
    return tuple(sorted(path for path in inside.iterdir() if path.suffix.lower() in SUFFIXES and path.is_file()))


def join_taps(notes_path: Path | None, paths: Sequence[Path], placements: Sequence[Placement] = ()) -> Taps:
    """Taps of the recordings and, if it exists, of the notes at `notes_path`.

    Parameters
    ----------
    notes_path : Path or None
    paths : sequence of Path
        Recordings; those of `placements` need not be among them.
    placements : sequence of Placement

    Raises
    ------
    FileError
        If neither exists, or a file cannot be used.
    """
    notes: tuple[Note, ...] = ()
    warnings: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    paths = sorted({*paths, *(placed.path for placed in placements)})
    if notes_path is not None and notes_path.exists():
        notes, warnings = read_notes(notes_path)
        sources = (FILE_NAME,)
        if not notes and not paths:
            message = f"{FILE_NAME}: has a header but no taps; needs one line a mode"
            raise FileError(message)
    elif not paths:
        where = notes_path.parent if notes_path is not None else "taps"
        message = (
            f"{where}: no taps; put recordings (WAV or FLAC) into {FOLDER_NAME}/, or write {FILE_NAME} with a column hz"
        )
        raise FileError(message)
    if placements:
        sources += (PLACES_NAME,)
    placed = {placement.path: placement for placement in placements}
    grid = largest_grid(placements)
    together = {one.path: one for one in _analysed_together(grid)}
    recordings = tuple(together.get(path) or _analysed(path, placed.get(path)) for path in paths)
    for recording in recordings:
        warnings += tuple(f"{_short(recording.path)}: {text}" for text in recording.warnings)
    heard = merge_recordings(recordings)
    if placements:
        heard, amplitudes, more = _placed(heard, recordings, placements, grid)
        warnings += more
    else:
        amplitudes = ()
    every = _with_notes(heard, notes)
    order = sorted(range(len(every)), key=lambda k: every[k].hz)
    number = {k: n for n, k in enumerate(order, start=1)}
    return Taps(
        tuple(replace(every[k], number=number[k]) for k in order),
        recordings,
        warnings,
        sources + tuple(_short(path) for path in paths),
        tuple(placements),
        amplitudes,
        tuple(number[k] for k, mode in enumerate(heard) if mode.decay_time is not None) if placements else (),
    )


def _analysed(path: Path, placement: Placement | None) -> Recording:
    """A recording by itself, by the loudest channel that is no hammer."""
    if placement is None or placement.hammer_channel is None:
        return analyse_recording(path)
    loudest = max(_sounds(placement), key=lambda sound: float((sound.samples**2).sum()))
    return analyse_recording(path, channel=loudest.channel)


def _analysed_together(grid: Grid) -> tuple[Recording, ...]:
    """The recordings of a grid: the top was held in one way, and a point that stands still hears nothing by itself."""
    if not grid.members:
        return ()
    return analyse_together([(placement.path, _sounds(placement)) for placement in grid.members])


def _sounds(placement: Placement) -> tuple[Sound, ...]:
    """Channels of a placed recording that hear the top."""
    every = read_channels(placement.path)
    heard = tuple(every[k - 1] for k in placement.channels(len(every)))
    if not heard:
        message = f"{placement.path}: one channel; with hammer_channel it needs another that hears the top"
        raise FileError(message)
    if len(placement.microphones) < 2 and len(heard) > 1:
        return (max(heard, key=lambda sound: float((sound.samples**2).sum())),)
    return heard


def _placed(
    heard: list[Measured], recordings: Sequence[Recording], placements: Sequence[Placement], grid: Grid
) -> tuple[list[Measured], tuple[Struck, ...], tuple[str, ...]]:
    """The recorded modes in order of frequency with their shapes, their amplitudes, and why some have no shape."""
    by_path = {recording.path: recording for recording in recordings}
    heard = sorted(heard, key=lambda mode: mode.hz)
    modes = [mode for mode in heard if mode.decay_time is not None]
    hz = np.array([mode.hz for mode in modes])
    sigma = np.array([T60 / (mode.decay_time or math.inf) for mode in modes])
    strikes = []
    for placement in placements:
        recording = by_path[placement.path]
        own_hz, own_sigma = hz.copy(), sigma.copy()
        # The top may have been held anew: what this recording heard of a mode itself goes before the mean.
        for peak in recording.peaks:
            k = int(np.argmin(np.abs(hz - peak.hz)))
            if abs(hz[k] - peak.hz) <= max(SAME_MODE * hz[k], SAME_MODE_HZ):
                own_hz[k] = peak.hz
                own_sigma[k] = T60 / peak.decay_time if peak.decay_time else own_sigma[k]
        strikes.append(struck(placement, 2 * np.pi * own_hz, own_sigma, recording.steady_hz))
    shapes = grid_shapes(grid, strikes, 2 * np.pi * hz)
    shape_of = dict(zip(map(id, modes), shapes, strict=True))
    reasons: dict[str, list[str]] = {}
    placed = []
    for mode in heard:
        shape = shape_of.get(id(mode))
        if isinstance(shape, str):
            reasons.setdefault(shape, []).append(f"{mode.hz:.1f}")
            placed.append(mode)
        elif shape is not None:
            best = shape.points[int(np.argmax(np.abs(shape.values)))]
            placed.append(replace(mode, shape=shape, tap_point=(float(best[0]), float(best[1]))))
        else:
            placed.append(mode)
    warnings = tuple(f"{PLACES_NAME}: no shape of {', '.join(names)} Hz: {why}" for why, names in reasons.items())
    return placed, tuple(strikes), warnings


def _short(path: Path) -> str:
    return f"{path.parent.name}/{path.name}" if path.parent.name == FOLDER_NAME else path.name


def merge_recordings(recordings: tuple[Recording, ...]) -> list[Measured]:
    """Modes of several recordings, close peaks of different ones merged; numbers are not set yet.

    Nearest first, and never two peaks of one recording, as those are two modes.
    """
    peaks = [(peak, n) for n, recording in enumerate(recordings) for peak in recording.peaks]
    group = list(range(len(peaks)))
    pairs = []
    for i, (a, file_a) in enumerate(peaks):
        for j, (b, file_b) in enumerate(peaks[:i]):
            distance = abs(a.hz - b.hz)
            if file_a != file_b and distance <= max(SAME_MODE * min(a.hz, b.hz), SAME_MODE_HZ):
                pairs.append((distance, i, j))
    for _, i, j in sorted(pairs):
        files = [[file for k, (_, file) in enumerate(peaks) if group[k] == group[m]] for m in (i, j)]
        if group[i] != group[j] and not set(files[0]) & set(files[1]):
            group = [group[i] if g == group[j] else g for g in group]
    merged = []
    for g in dict.fromkeys(group):
        members = [peaks[k] for k in range(len(peaks)) if group[k] == g]
        merged.append(_merged([peak for peak, _ in members], [recordings[file] for _, file in members]))
    return merged


def _merged(peaks: list[Peak], recordings: list[Recording]) -> Measured:
    weights = [max(peak.n_hits, 1) for peak in peaks]
    n = sum(weights)
    hz = sum(w * peak.hz for w, peak in zip(weights, peaks, strict=True)) / n
    # Variance within each recording and between them.
    squares = sum(
        (w - 1) * (peak.spread_hz or 0.0) ** 2 + w * (peak.hz - hz) ** 2 for w, peak in zip(weights, peaks, strict=True)
    )
    known = len(peaks) > 1 or peaks[0].spread_hz is not None
    rates = [(w, T60 / peak.decay_time) for w, peak in zip(weights, peaks, strict=True) if peak.decay_time]
    rate = sum(w * sigma for w, sigma in rates) / sum(w for w, _ in rates) if rates else None
    names = ", ".join(sorted({_short(recording.path) for recording in recordings}))
    return Measured(
        number=0,
        hz=hz,
        spread_hz=math.sqrt(squares / (n - 1)) if known and n > 1 else None,
        std_error_hz=_standard_error(peaks),
        decay_time=None if rate is None else T60 / rate,
        q=None if rate is None else math.pi * hz / rate,
        source=f"{names} ({n} hit{'s' * (n != 1)})",
    )


def _standard_error(peaks: list[Peak]) -> float | None:
    """Standard error of the mean frequency: within recordings, and between them where they differ by more."""
    # Recordings analysed together share a frequency, and its error is already that of all.
    alone = {peak.hz: peak.std_error_hz for peak in peaks if peak.std_error_hz}
    errors = [sum(error**-2 for error in alone.values()) ** -0.5] if alone else []
    hz = [peak.hz for peak in peaks]
    if len(set(hz)) > 1:
        mean = sum(hz) / len(hz)
        errors.append(math.sqrt(sum((f - mean) ** 2 for f in hz) / (len(hz) - 1) / len(hz)))
    return max(errors, default=None)


def _with_notes(heard: list[Measured], notes: tuple[Note, ...]) -> list[Measured]:
    """The recorded modes in their order with the notes that belong to them, then the other notes as modes."""
    pairs = sorted(
        (abs(note.hz - mode.hz), i, j)
        for i, note in enumerate(notes)
        for j, mode in enumerate(heard)
        if abs(note.hz - mode.hz) <= SAME_NOTE * mode.hz
    )
    belongs: dict[int, int] = {}
    for _, i, j in pairs:
        if i not in belongs and j not in belongs.values():
            belongs[i] = j
    modes = list(heard)
    for i, note in enumerate(notes):
        seen = Measured(
            number=0,
            hz=note.hz,
            spread_hz=note.spread_hz,
            decay_time=note.decay_time,
            q=note.q,
            label=note.label,
            tap_point=note.tap_point,
            nodes=note.nodes,
            nodal_lines=note.nodal_lines,
            source=f"{FILE_NAME} line {note.line}",
        )
        if i in belongs:
            mode = heard[belongs[i]]
            modes[belongs[i]] = replace(
                seen,
                hz=mode.hz,
                spread_hz=mode.spread_hz,
                std_error_hz=mode.std_error_hz,
                decay_time=mode.decay_time,
                q=mode.q,
                tap_point=seen.tap_point or mode.tap_point,
                shape=mode.shape,
                source=f"{mode.source}; notes from {seen.source}",
            )
        else:
            modes.append(seen)
    return modes
