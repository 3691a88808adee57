"""What a sustain map says, in sentences and as a list of doubtful notes.

Depends on fem/sustain_map, geometry/units.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.sustain_map import NEIGHBOURS, QUIET, SHORT, SustainMap
from bracedtop.geometry.units import note

MOST_NAMED = 6
"""Notes named in a sentence; chosen: the rest is in the table."""


@dataclass(frozen=True, slots=True)
class DoubtfulNote:
    """A note that is weak (short or soft beside its neighbours), a wolf, or both.

    Parameters
    ----------
    string : str
    fret : int
        0 for the open string.
    note : str
    hz : float
    decay_time, early_decay_time : float, s
    short, soft, wolf : bool
    part : float
        Of the neighbours' decay time, or of their early one if that is less.
    split : float, Hz
        Into which a wolf's first partial splits.
    resonance : float or None, Hz
        Of the body, which takes most of the note.
    """

    string: str
    fret: int
    note: str
    hz: float
    decay_time: float
    early_decay_time: float
    short: bool
    soft: bool
    wolf: bool
    part: float
    split: float
    resonance: float | None


def note_name(found: SustainMap, string: int, fret: int) -> str:
    """Nearest tempered note of a fret, such as ``"G3"``."""
    return note(float(found.nominal[string, fret]))[0]


def doubtful_notes(found: SustainMap) -> tuple[DoubtfulNote, ...]:
    """Weak notes and wolves, string by string."""
    return tuple(_doubtful(found, int(i), int(j)) for i, j in np.argwhere(found.weak | found.wolf))


def sustain_words(found: SustainMap) -> tuple[str, ...]:
    """Sentences: the longest and the shortest note, the weak ones, the wolves."""
    doubtful = doubtful_notes(found)
    short, soft, wolves = ([d for d in doubtful if getattr(d, kind)] for kind in ("short", "soft", "wolf"))
    longest, shortest = int(np.argmax(found.decay_time)), int(np.argmin(found.decay_time))
    said = [f"The longest note is {_told(found, longest)}, the shortest {_told(found, shortest)}."]
    if short:
        many = _count(len(short), "is weak", "are weak")
        rule = f"under {SHORT:g} of the time of {NEIGHBOURS} frets to each side, in all or for the first 10 dB"
        said.append(f"{many}, too short ({rule}): {_listed(sorted(short, key=lambda d: d.part))}.")
    if soft:
        many = _count(len(soft), "is weak", "are weak")
        said.append(
            f"{many}, too soft ({QUIET:g} dB below {NEIGHBOURS} frets to each side): {_listed(soft, body=False)}."
        )
    if not (short or soft):
        said.append("No note is much weaker than the notes beside it.")
    if wolves:
        worst = sorted(wolves, key=lambda d: -d.split)
        many = _count(len(wolves), "is a wolf", "are wolves")
        said.append(f"{many}, held by the body's resonance so firmly as to split in two and beat: {_listed(worst)}.")
    else:
        said.append("No note is held so firmly by the body that it beats.")
    return tuple(said)


def place(string: str, fret: int) -> str:
    """Where a note is played, in words."""
    return f"on the open {string} string" if fret == 0 else f"at fret {fret} of the {string} string"


def seconds(value: float) -> str:
    """A decay time with two figures or so."""
    return f"{value:.2f}" if value < 1 else f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def _doubtful(found: SustainMap, i: int, j: int) -> DoubtfulNote:
    k = int(found.nearest[i, j])
    return DoubtfulNote(
        string=found.strings[i],
        fret=j,
        note=note_name(found, i, j),
        hz=float(found.frequency[i, j]),
        decay_time=float(found.decay_time[i, j]),
        early_decay_time=float(found.early_decay_time[i, j]),
        short=bool(found.short[i, j]),
        soft=bool(found.soft[i, j]),
        wolf=bool(found.wolf[i, j]),
        part=float(found.part[i, j]),
        split=float(found.split[i, j]),
        resonance=found.peaks[k].frequency if k >= 0 else None,
    )


def _told(found: SustainMap, at: int) -> str:
    i, j = divmod(at, found.decay_time.shape[1])
    return f"{note_name(found, i, j)} {place(found.strings[i], j)}, {seconds(float(found.decay_time[i, j]))} s"


def _count(n: int, one: str, many: str) -> str:
    return f"{n} notes {many}" if n > 1 else f"One note {one}"


def _listed(notes: Sequence[DoubtfulNote], *, body: bool = True) -> str:
    words = []
    for d in notes[:MOST_NAMED]:
        on = "" if d.resonance is None or not body else f" (body at {d.resonance:.0f} Hz)"
        words.append(f"{d.note} {place(d.string, d.fret)}{on}")
    more = len(notes) - MOST_NAMED
    return "; ".join(words) + (f"; and {more} more in the table" if more > 0 else "")
