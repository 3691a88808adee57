"""Taps of the closed box: with the hole open and with it blocked, before each pass over the ring.

Depends on fem/cut_file, fem/session, fem/taps, geometry/cut.

They lie in the case's folder `closed/`: `open/` and `blocked/`, each with taps.csv, taps.toml and taps/ like a case's
own; then `pass-1/`, `pass-2/` and so on, each with cut.csv, what was taken off the ring, and its own `open/` and
`blocked/`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from bracedtop.fem.closed_modes import HOLES, Hole
from bracedtop.fem.cut_file import FILE_NAME as CUT
from bracedtop.fem.cut_file import read_cut
from bracedtop.fem.session import PREFIX, pass_folders
from bracedtop.fem.tap_notes import FILE_NAME as NOTES
from bracedtop.fem.taps import FOLDER_NAME as TAPS
from bracedtop.fem.taps import Taps, read_taps, recording_paths
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import FileError

FOLDER_NAME = "closed"


@dataclass(frozen=True, slots=True)
class ClosedSession:
    """What was done and heard at one visit to the closed box.

    Parameters
    ----------
    number : int
        0 before the first pass over the ring.
    folder : Path
    depth : float, m
        Taken off the ring in this pass.
    taps : mapping of str to Taps
        By state of the hole, "open" and "blocked", as far as it was tapped.
    """

    number: int
    folder: Path
    depth: float
    taps: Mapping[Hole, Taps]


def read_closed(folder: Path, design: Design) -> tuple[ClosedSession, ...]:
    """All visits to the closed box of a case, in order; none if there is no folder `closed/`.

    Parameters
    ----------
    folder : Path
        Of the case.
    design : Design
        The top, with the ring that is thinned.

    Raises
    ------
    FileError
        If a pass is missing, has no cut or takes more than there is, was cut again without a re-tap, or a file in one
        cannot be used.
    """
    closed = Path(folder) / FOLDER_NAME
    if not closed.exists():
        return ()
    if not closed.is_dir():
        _refuse(FOLDER_NAME, f"is a file; taps of the closed box lie in folders {' and '.join(HOLES)} in it")
    _refuse_astray(closed)
    places = (closed, *pass_folders(closed))
    sessions: list[ClosedSession] = []
    for number, place in enumerate(places):
        taps = {hole: read_taps(place / hole) for hole in HOLES if _is_tapped(place / hole)}
        sessions.append(ClosedSession(number, place, _depth(place, design) if number else 0.0, taps))
        if not taps and 0 < number < len(places) - 1:
            _refuse(shown(place), f"was cut but not tapped before {PREFIX}{number + 1}; {retap_words(place)}")
    return tuple(sessions)


def retap_words(place: Path) -> str:
    """What to do with a visit that was not tapped."""
    where = shown(place)
    return f"put recordings into {where}/open/{TAPS}/ and {where}/blocked/{TAPS}/, or write {NOTES} in these"


def shown(place: Path) -> str:
    """A visit's folder in messages."""
    return place.name if place.name == FOLDER_NAME else f"{FOLDER_NAME}/{place.name}"


def _is_tapped(folder: Path) -> bool:
    return folder.is_dir() and ((folder / NOTES).exists() or bool(recording_paths(folder)))


def _depth(place: Path, design: Design) -> float:
    """What a pass took off the ring, m."""
    path = place / CUT
    if not path.exists():
        _refuse(shown(place), f"has no {CUT}; write what was taken off the ring there, or remove the folder")
    cuts = read_cut(path, design)
    other = next((cut.part for cut in cuts if not cut.is_ring), None)
    if other is not None:
        _refuse(f"{shown(place)}/{CUT}", f'cuts "{other}"; on the closed box only the edge ring can be reached')
    return sum(cut.depth_start for cut in cuts)


def _refuse_astray(closed: Path) -> None:
    """Refuse taps that lie where nobody would look for them."""
    if (closed / NOTES).exists() or recording_paths(closed):
        _refuse(FOLDER_NAME, f"holds taps; they belong into {FOLDER_NAME}/open or {FOLDER_NAME}/blocked")


def _refuse(where: str, what: str) -> NoReturn:
    message = f"{where}: {what}"
    raise FileError(message)
