"""What was measured: recordings and bench notes of a case, joined to one list of modes.

Depends on geometry/errors, fem/recording, fem/tap_notes, fem/tap_shape.
"""

import math
from dataclasses import dataclass, replace
from pathlib import Path

from bracedtop.fem.recording import T60, Peak, Recording, analyse_recording
from bracedtop.fem.tap_notes import FILE_NAME, Note, read_notes
from bracedtop.fem.tap_shape import Shape
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
    nodes : tuple of (float, float), m
        Points where it was seen to stand still.
    nodal_lines : (int or None, int or None)
        Lines across the grain and along it, as far as seen.
    source : str
        Files and, for notes, the line.
    warnings : tuple of str
    std_error_hz : float or None
        Standard error of `hz`.
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
    """

    measured: tuple[Measured, ...]
    recordings: tuple[Recording, ...]
    warnings: tuple[str, ...]
    sources: tuple[str, ...]


def read_taps(folder: Path) -> Taps:
    """Taps of a case folder: `taps.csv` and the recordings in `taps/`.

    Peaks of different recordings that are close are one mode. A line of `taps.csv` that is close to a recorded
    mode adds its label, tap point and nodes to it; the frequency and decay are the recording's.

    Raises
    ------
    FileError
        If there is nothing measured, or a file cannot be used.
    """
    folder = Path(folder)
    if not folder.is_dir():
        message = f"{folder}: is no folder; taps are read from {FILE_NAME} or {FOLDER_NAME}/ in a case folder"
        raise FileError(message)
    return join_taps(folder / FILE_NAME, recording_paths(folder))


def recording_paths(folder: Path) -> tuple[Path, ...]:
    """Recordings in the folder `taps/` of a case, by name."""
    inside = folder / FOLDER_NAME
    if not inside.is_dir():
        return ()
    return tuple(sorted(path for path in inside.iterdir() if path.suffix.lower() in SUFFIXES and path.is_file()))


def join_taps(notes_path: Path | None, paths: tuple[Path, ...]) -> Taps:
    """Taps of the recordings and, if it exists, of the notes at `notes_path`.

    Raises
    ------
    FileError
        If neither exists, or a file cannot be used.
    """
    notes: tuple[Note, ...] = ()
    warnings: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
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
    recordings = tuple(analyse_recording(path) for path in paths)
    for recording in recordings:
        warnings += tuple(f"{_short(recording.path)}: {text}" for text in recording.warnings)
    heard = merge_recordings(recordings)
    measured = sorted(_with_notes(heard, notes), key=lambda mode: mode.hz)
    return Taps(
        tuple(replace(mode, number=k) for k, mode in enumerate(measured, start=1)),
        recordings,
        warnings,
        sources + tuple(_short(path) for path in paths),
    )


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
        decay_time=None if rate is None else T60 / rate,
        q=None if rate is None else math.pi * hz / rate,
        source=f"{names} ({n} hit{'s' * (n != 1)})",
    )


def _with_notes(heard: list[Measured], notes: tuple[Note, ...]) -> list[Measured]:
    """The recorded modes with the notes that belong to them, and the other notes as modes of their own."""
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
                decay_time=mode.decay_time,
                q=mode.q,
                source=f"{mode.source}; notes from {seen.source}",
            )
        else:
            modes.append(seen)
    return modes
