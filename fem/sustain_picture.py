"""The fingerboard as a picture: how long each note sounds, the weak ones and the wolves marked.

Depends on fem/colours, fem/picture, fem/scene, fem/sustain_map, fem/sustain_words.
"""

import numpy as np

from bracedtop.fem.colours import INK, PAPER, PENCIL, Rgb, falling, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Area, Label, Scene, Shape, Stroke, box, dashes, fitted
from bracedtop.fem.sustain_map import NEIGHBOURS, QUIET, SHORT, SustainMap
from bracedtop.fem.sustain_words import note_name, seconds

_CELL, _HEIGHT = 55.0, 84.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 100.0, 24.0, 186.0, 218.0
_LEAST_WIDTH = 1000
_BANDS = 10
_LIGHT_FROM = 6
"""Band from which a cell is dark enough for light figures; chosen by the contrast of both on `falling`."""

_NICE = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)
_TITLE, _WORDS, _NOTE, _FIGURE, _MARK = 42, 25, 18, 21, 16


def sustain_picture(found: SustainMap) -> PictureJob:
    """Map of the decay times, named ``sustain``: strings as rows, the first at the bottom, frets as columns.

    Parameters
    ----------
    found : SustainMap
    """
    n_strings, n_frets = found.decay_time.shape
    width = int(max(_LEAST_WIDTH, _LEFT + n_frets * _CELL + _RIGHT))
    height = int(_TOP + _BOTTOM + n_strings * _HEIGHT)
    cell = (width - _LEFT - _RIGHT) / n_frets
    limits = limits_of(found.decay_time)
    colours = [tuple_of(colour) for colour in falling(_BANDS)]
    top = height - _TOP
    shapes: list[Shape] = []
    labels = [
        Label(34, height - 48, "How long each note sounds", _TITLE, INK, bold=True),
        Label(34, height - 98, "seconds until a plucked note has fallen by 60 dB (T60)", 27, PENCIL),
        Label(_LEFT - 14, top + 24, "fret", _WORDS, PENCIL, align="right"),
    ]
    for j in range(n_frets):
        words = str(j) if j else "open"
        x = _LEFT + (j + 0.5) * cell
        labels.append(Label(x, top + 24, *fitted(words, 22, cell - 2, smallest=12), INK, align="centre"))
    framed: list[Shape] = []
    for i in range(n_strings):
        y = _BOTTOM + i * _HEIGHT
        labels.append(
            Label(_LEFT - 14, y + _HEIGHT / 2, *fitted(found.strings[i], 27, _LEFT - 24, bold=True, smallest=14), INK,
                  bold=True, align="right")
        )  # fmt: skip
        for j in range(n_frets):
            x = _LEFT + j * cell
            band = band_of(float(found.decay_time[i, j]), limits)
            shapes.append(Area(box(x + 1, y + 1, x + cell - 1, y + _HEIGHT - 1), colours[band]))
            framed += _frame(x, y, cell, weak=bool(found.weak[i, j]), wolf=bool(found.wolf[i, j]))
            labels += _words(found, i, j, x + cell / 2, y, cell, PAPER if band >= _LIGHT_FROM else INK)
    # The nut.
    shapes.append(Stroke(np.array([[_LEFT + cell, _BOTTOM], [_LEFT + cell, top]]), 5.0, INK))
    shapes += framed
    shapes += _scale(labels, limits, colours, width)
    shapes += _key(labels, found.level is not None, width)
    n_weak, n_wolf = int(found.weak.sum()), int(found.wolf.sum())
    alt = (
        f"Fingerboard of {n_strings} strings and {n_frets - 1} frets, shaded by decay times from "
        f"{seconds(float(found.decay_time.min()))} to {seconds(float(found.decay_time.max()))} s; {n_weak} weak notes "
        f"and {n_wolf} wolves are marked and listed in the table."
    )
    return PictureJob("sustain", Scene(width, height, tuple(shapes), tuple(labels)), alt)


def limits_of(times: np.ndarray) -> tuple[float, float]:
    """Round figures around the decay times, s, for the scale's ends."""
    low, high = float(np.min(times)), float(np.max(times))
    below = [10.0**e * m for e in range(-3, 3) for m in _NICE if 10.0**e * m <= low * 1.0001]
    above = [10.0**e * m for e in range(-3, 4) for m in _NICE if 10.0**e * m >= high * 0.9999]
    start, stop = max(below, default=1e-3), min(above)
    return (start, stop) if stop > start else (start, 2 * start)


def band_of(time: float, limits: tuple[float, float]) -> int:
    """Which of the scale's bands a decay time belongs to; each is the same ratio wide."""
    low, high = limits
    part = np.log(max(time, low) / low) / np.log(high / low)
    return int(min(part * _BANDS, _BANDS - 1))


def _words(found: SustainMap, i: int, j: int, x: float, y: float, cell: float, ink: Rgb) -> list[Label]:
    name = fitted(note_name(found, i, j), _NOTE, cell - 10, smallest=12)
    time = fitted(seconds(float(found.decay_time[i, j])), _FIGURE, cell - 8, bold=True, smallest=12)
    rows = [Label(x, y + 66, *name, ink, align="centre"), Label(x, y + 42, *time, ink, bold=True, align="centre")]
    marks = (("wolf", found.wolf), ("short", found.short), ("soft", found.soft))
    word = next((word for word, marked in marks if marked[i, j]), "")
    if word:
        rows.append(Label(x, y + 19, *fitted(word, _MARK, cell - 14, smallest=12), ink, align="centre"))
    return rows


def _frame(x: float, y: float, cell: float, *, weak: bool, wolf: bool) -> list[Shape]:
    """Twofold and whole around a wolf, dashed around a weak note; seen on light and dark cells."""
    if wolf:
        outer, inner = (box(x + g, y + g, x + cell - g, y + _HEIGHT - g) for g in (3.0, 6.5))
        return [Stroke(outer, 4.0, INK, closed=True), Stroke(inner, 2.0, PAPER, closed=True)]
    if weak:
        line = box(x + 4.0, y + 4.0, x + cell - 4.0, y + _HEIGHT - 4.0)
        under = Stroke(line, 5.0, PAPER, closed=True)
        return [under, *(Stroke(dash, 3.0, INK) for dash in dashes(np.vstack([line, line[:1]]), 7.0, 9.0))]
    return []


def _scale(labels: list[Label], limits: tuple[float, float], colours: list[Rgb], width: int) -> list[Shape]:
    """Colours and their times, below the map."""
    left, y, step = _LEFT, _BOTTOM - 62, 56.0
    low, high = limits
    shapes: list[Shape] = []
    for k, colour in enumerate(colours):
        shapes.append(Area(box(left + k * step, y, left + (k + 1) * step, y + 30), colour))
    shapes.append(Stroke(box(left, y, left + len(colours) * step, y + 30), 1.6, PENCIL, closed=True))
    for k in range(0, len(colours) + 1, 2):
        at = low * (high / low) ** (k / len(colours))
        labels.append(Label(left + k * step, y - 20, seconds(at), 21, INK, align="centre"))
    labels.append(Label(left + len(colours) * step + 30, y + 15, "seconds; dark notes sound long", _WORDS, PENCIL))
    return shapes


def _key(labels: list[Label], levels: bool, width: int) -> list[Shape]:
    """What the frames mean."""
    held = "wolf: the body's resonance holds the note so firmly that it splits and beats"
    weak = f"weak: short, under {SHORT:g} of the time of {NEIGHBOURS} frets to each side, in all or for the first 10 dB"
    weak += f"; soft, {QUIET:g} dB below them" if levels else ""
    room = width - _LEFT - 72 - _RIGHT
    for y, words in ((82.0, held), (36.0, weak)):
        labels.append(Label(_LEFT + 72, y, *fitted(words, 23, room, smallest=16), PENCIL))
    scaled = []
    for y, wolf in ((64.0, True), (18.0, False)):
        for shape in _frame(0.0, 0.0, _CELL, weak=not wolf, wolf=wolf):
            if isinstance(shape, Stroke):
                points = shape.points * [1.0, 36.0 / _HEIGHT] + [_LEFT, y]
                scaled.append(Stroke(points, shape.width, shape.colour, shape.closed))
    return list(scaled)
