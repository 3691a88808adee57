"""The passes of a case: what was cut each time, and what the top rang with afterwards.

Depends on geometry/cut, fem/case, fem/cut_file, fem/taps. The case folder holds the first taps; behind it `pass-1/`,
`pass-2/` and so on each hold `cut.csv` and taps of their own.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from bracedtop.fem.case import read_case
from bracedtop.fem.cut_file import FILE_NAME, read_cut
from bracedtop.fem.tap_notes import FILE_NAME as NOTES
from bracedtop.fem.taps import FOLDER_NAME as TAPS
from bracedtop.fem.taps import SUFFIXES, Taps, read_taps, recording_paths
from bracedtop.fem.toml_file import shown
from bracedtop.geometry.cut import Cut, cut_design
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import FileError

PREFIX = "pass-"

_NUMBER = re.compile(r"[1-9][0-9]{0,2}", re.ASCII)
_LIKE_A_PASS = re.compile(r"pass[-_ ]*\d+", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Session:
    """One visit to the bench: a pass of cuts and the taps behind it.

    Parameters
    ----------
    number : int
        0 for the top before the first cut.
    folder : Path
    cuts : tuple of Cut
        Empty for number 0.
    taps : Taps or None
        None where nothing has been measured yet: in the last session only, or before the first cut.
    """

    number: int
    folder: Path
    cuts: tuple[Cut, ...]
    taps: Taps | None


def read_sessions(
    folder: Path, design: Design | None = None, *, read: Callable[[Path], Taps] = read_taps
) -> tuple[Session, ...]:
    """All sessions of a case, in order; number 0 is the case folder itself.

    Parameters
    ----------
    folder : Path
    design : Design, optional
        The drawing, if it has been read already.
    read : callable
        Reads the taps in a session's folder.

    Raises
    ------
    FileError
        If a pass is missing, has no cut, cannot be cut from what was left, or was cut again without a re-tap; or if a
        file in one cannot be used.
    DesignError
        If the drawing does not fit together.
    """
    folder = Path(folder)
    passes = read_passes(folder, read_case(folder).design if design is None else design)
    sessions = []
    for number, (place, cuts) in enumerate([(folder, ()), *passes]):
        if not has_taps(place):
            if 0 < number < len(passes):
                _refuse(place, f"was cut but not tapped before {PREFIX}{number + 1}; {retap_words(place)}")
            sessions.append(Session(number, place, cuts, None))
            continue
        try:
            sessions.append(Session(number, place, cuts, read(place)))
        except FileError as error:
            message = f"{place.name}: {error}" if number else str(error)
            raise FileError(message) from None
    return tuple(sessions)


def read_passes(folder: Path, design: Design) -> tuple[tuple[Path, tuple[Cut, ...]], ...]:
    """Folder and cuts of each pass, in order, each checked against what those before it have left.

    Raises
    ------
    FileError
        If a pass is missing or has no cut, or its cut cannot be used.
    """
    places = pass_folders(folder)
    return tuple(zip(places, read_cuts(places, design), strict=True))


def read_cuts(places: Sequence[Path], design: Design) -> tuple[tuple[Cut, ...], ...]:
    """Cuts of passes in the folders `places`, each checked against what those before it have left.

    Raises
    ------
    FileError
        If a pass has no cut, or its cut cannot be used.
    """
    found = []
    for place in places:
        path = place / FILE_NAME
        if not path.exists():
            what = "has taps but no" if has_taps(place) else "has no"
            _refuse(place, f"{what} {FILE_NAME}; write what was cut there, or remove the folder if nothing was")
        found.append(read_cut(path, design))
        design = cut_design(design, found[-1])
    return tuple(found)


def pass_folders(folder: Path) -> tuple[Path, ...]:
    """The folders `pass-1`, `pass-2` and so on of a case, whatever they hold.

    Raises
    ------
    FileError
        If one is missing before another, or is no folder, or a name is nearly one of these.
    """
    try:
        like = sorted(path for path in folder.iterdir() if _LIKE_A_PASS.fullmatch(path.name))
    except OSError as error:
        message = f"{folder}: cannot be read ({error.strerror}); must be a case folder"
        raise FileError(message) from error
    numbers = {}
    for path in like:
        text = path.name.removeprefix(PREFIX)
        if not (path.name.startswith(PREFIX) and _NUMBER.fullmatch(text)):
            _refuse(path, f"must be named {PREFIX}1, {PREFIX}2 and so on, to {PREFIX}999")
        if not path.is_dir():
            _refuse(path, "is a file; a pass is a folder")
        numbers[int(text)] = path
    for number in range(1, max(numbers, default=0) + 1):
        if number not in numbers:
            message = f"{PREFIX}{number}: is missing, but there is {PREFIX}{max(numbers)}; passes are numbered from 1"
            raise FileError(message)
    return tuple(numbers[number] for number in sorted(numbers))


def has_taps(folder: Path) -> bool:
    """Whether anything has been measured in a session's folder.

    Raises
    ------
    FileError
        If recordings lie beside the folder for them.
    """
    if (folder / NOTES).exists() or recording_paths(folder):
        return True
    if folder.name.startswith(PREFIX):
        astray = sorted(path.name for path in folder.iterdir() if path.suffix.lower() in SUFFIXES)
        if astray:
            _refuse(folder, f"holds the recording {shown(astray[0])}; recordings belong into {folder.name}/{TAPS}/")
    return False


def refuse_untapped(sessions: Sequence[Session]) -> None:
    """Refuse to go on from a top that has been cut and not tapped since, or not tapped at all.

    Raises
    ------
    FileError
    """
    last = sessions[-1]
    if last.taps is None:
        where = f"{PREFIX}{last.number}: was cut but not tapped" if last.number else f"{last.folder}: no taps yet"
        message = f"{where}; {retap_words(last.folder)}"
        raise FileError(message)


def retap_words(folder: Path) -> str:
    """What to do with a session that was not tapped."""
    inside = f"{folder.name}/" if folder.name.startswith(PREFIX) else ""
    first = "re-tap first" if inside else "tap first"
    return f"{first}: put the recordings into {inside}{TAPS}/, or write {inside}{NOTES}"


def _refuse(folder: Path, what: str) -> NoReturn:
    message = f"{folder.name}: {what}"
    raise FileError(message)
