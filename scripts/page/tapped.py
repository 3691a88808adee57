"""Taps as the page knows them: places and pairs that the maker has set, with what the files of a session say.

Depends on fem/session, fem/taps, fem/taps_file, geometry/units. `taps.toml` is the maker's own file and never written
here: places are kept in the document as ``tapped/PASS/FILE`` ([x, y] in mm) and ``microphone/PASS``, pairs as
``pairing/PASS/TAP`` ({"mode": 3, "hz": 190.2}, mode 0 for none), PASS 0 being the top before the first cut.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path

from bracedtop.fem.cut_file import FILE_NAME as CUT
from bracedtop.fem.session import PREFIX, pass_folders
from bracedtop.fem.tap_notes import FILE_NAME as NOTES
from bracedtop.fem.taps import SAME_NOTE, Measured, Taps, join_taps, recording_paths
from bracedtop.fem.taps_file import FILE_NAME as PLACES
from bracedtop.fem.taps_file import Placement, read_placements
from bracedtop.geometry.units import MM
from bracedtop.scripts.page.journal import Json

Choices = Mapping[str, Json]
"""What the document keeps, by the rest of the key: ``"0/one.wav"``."""


def passes_cut(folder: Path) -> int:
    """How many passes of a case have been cut; the present taps are those behind the last one.

    Raises
    ------
    FileError
        If a pass is missing before another.
    """
    folders = pass_folders(folder)
    # A folder that was only made ready is the pass to come.
    return len(folders) - bool(folders and not (folders[-1] / CUT).exists())


def session_folder(folder: Path, number: int) -> Path:
    """Folder of a session's taps: the case's own for number 0."""
    return folder / f"{PREFIX}{number}" if number else folder


def places_of(tapped: Choices, number: int) -> dict[str, Json]:
    """What is kept for one session, by the rest of the key."""
    start = f"{number}/"
    return {key.removeprefix(start): value for key, value in tapped.items() if key.startswith(start)}


def merged(
    own: Sequence[Placement], paths: Sequence[Path], tapped: Mapping[str, Json], microphone: Json
) -> tuple[Placement, ...]:
    """Placements of a `taps.toml` and, of recordings that it does not name, those set on the page.

    Parameters
    ----------
    own : sequence of Placement
    paths : sequence of Path
        Recordings that are there.
    tapped : mapping
        [x, y] in mm by the file's name.
    microphone : [x, y] or None, mm
    """
    named = {placed.path.resolve() for placed in own}
    heard = () if microphone is None else (_metres(microphone),)
    drafted = [
        Placement(path, points=(_metres(tapped[path.name]),), microphones=heard)
        for path in paths
        if path.resolve() not in named and path.name in tapped
    ]
    return (*own, *drafted)


def read_with(place: Path, tapped: Mapping[str, Json], microphone: Json = None) -> Taps:
    """Taps of a session's folder with the places set on the page.

    Raises
    ------
    FileError
        If there is nothing measured, or a file cannot be used.
    """
    own = read_placements(place / PLACES) if (place / PLACES).exists() else ()
    paths = recording_paths(place)
    return join_taps(place / NOTES, paths, merged(own, paths, tapped, microphone))


def chosen_pairs(pairing: Choices, number: int, measured: Sequence[Measured]) -> dict[int, int]:
    """Modes that the maker has chosen for measured ones, by their numbers; 0 for none.

    A choice belongs to the tap that is nearest to the frequency it was made for, as numbers change when more is
    recorded; without one that close it counts for nothing. Of two choices of one mode the later one counts.
    """
    return {tap: int(choice["mode"]) for tap, (_, choice) in _chosen(pairing, number, measured).items()}


def pair_keys(pairing: Choices, number: int, measured: Sequence[Measured]) -> dict[int, str]:
    """Keys in the document under which each measured mode's choice is kept, or would be."""
    held = {tap: key for tap, (key, _) in _chosen(pairing, number, measured).items()}
    used = set(places_of(pairing, number))
    keys = {}
    for mode in measured:
        free = next(k for k in range(mode.number, 10_000) if str(k) not in used or held.get(mode.number) == str(k))
        keys[mode.number] = held.get(mode.number, str(free))
        used.add(keys[mode.number])
    return {tap: f"pairing/{number}/{key}" for tap, key in keys.items()}


def _chosen(pairing: Choices, number: int, measured: Sequence[Measured]) -> dict[int, tuple[str, dict[str, Json]]]:
    found: dict[int, tuple[str, dict[str, Json]]] = {}
    for key, choice in places_of(pairing, number).items():
        near = min(measured, key=lambda mode: abs(mode.hz - choice["hz"]), default=None)
        if near is None or abs(near.hz - choice["hz"]) > SAME_NOTE * near.hz:
            continue
        if choice["mode"]:
            found = {tap: one for tap, one in found.items() if one[1]["mode"] != choice["mode"]}
        found[near.number] = (key, choice)
    return found


def _metres(point: Json) -> tuple[float, float]:
    return (float(point[0]) * MM, float(point[1]) * MM)
