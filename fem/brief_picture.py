"""Two instruments and a wish in figures, side by side.

Depends on fem/brief, fem/brief_words, fem/colours, fem/picture, fem/scene, fem/voice.
"""

import numpy as np

from bracedtop.fem.brief import NAMES, BriefAnswer
from bracedtop.fem.brief_words import apart, figure_words, word_of
from bracedtop.fem.colours import INK, PAPER, PENCIL, Rgb, falling, rising, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.scene import Area, Label, Scene, Shape, Stroke, box, fitted

WIDTH = 1200
_MARGIN, _LEFT, _ROW = 34.0, 270.0, 150.0
_HEAD, _FOOT = 190.0, 110.0
_TITLE, _WORDS, _SMALL = 42, 28, 24
_RADIUS = 13.0

_THEIRS: Rgb = tuple_of(rising(10)[7])
_OURS: Rgb = tuple_of(falling(10)[5])
_THEN: Rgb = tuple_of(falling(10)[8])


def brief_picture(answer: BriefAnswer) -> PictureJob:
    """Each word as a line on which more lies to the right; named ``brief``.

    Parameters
    ----------
    answer : BriefAnswer
    """
    height = int(_HEAD + len(NAMES) * _ROW + _FOOT)
    shapes: list[Shape] = []
    labels = [
        Label(_MARGIN, height - 48, "What was asked for", _TITLE, INK, bold=True),
        Label(
            _MARGIN,
            height - 98,
            "more of each word lies to the right; a tick is a just noticeable step",
            _WORDS,
            PENCIL,
        ),
    ]
    _legend(answer, height - 145.0, shapes, labels)
    span = _span(answer)
    for k, name in enumerate(NAMES):
        y = height - _HEAD - (k + 0.6) * _ROW
        unit = word_of(name).unit
        labels.append(Label(_MARGIN, y + 14, f"{name}, {unit}", _WORDS, INK, bold=name in answer.wish))
        labels.append(Label(_MARGIN, y - 20, answer.wish.get(name, ""), _SMALL, PENCIL))
        _line(answer, name, y, span, shapes, labels)
    text = "; ".join(
        f"{name}: {answer.ours.name} {figure_words(name, answer.ours.voice[name])}, {answer.theirs.name} "
        + (figure_words(name, answer.theirs.voice[name]) if name in answer.theirs.voice else "not known")
        + (f", wanted {figure_words(name, answer.wanted[name])}" if name in answer.wanted else "")
        for name in NAMES
    )
    return PictureJob(
        "brief", Scene(WIDTH, height, tuple(shapes), tuple(labels)), f"Figures of two instruments. {text}."
    )


def _marks(answer: BriefAnswer, name: str) -> list[tuple[str, float]]:
    """What is shown on a word's line, in noticeable steps from the new instrument."""
    now = answer.ours.voice[name]
    found = [("ours", 0.0)]
    if name in answer.theirs.voice:
        found.append(("theirs", apart(name, answer.theirs.voice[name], now)))
    if answer.together.amounts:
        found.append(("then", apart(name, answer.after.voice[name], now)))
    if name in answer.wanted:
        found.append(("wish", apart(name, answer.wanted[name], now)))
    return found


def _span(answer: BriefAnswer) -> tuple[float, float]:
    """Steps at the ends of all lines."""
    every = [value for name in NAMES for _, value in _marks(answer, name)]
    low, high = min([-1.0, *every]), max([1.0, *every])
    return float(np.floor(low - 0.3)), float(np.ceil(high + 0.3))


def _line(
    answer: BriefAnswer, name: str, y: float, span: tuple[float, float], shapes: list[Shape], labels: list[Label]
) -> None:
    low, high = span
    right = WIDTH - 60.0

    def place(value: float) -> float:
        return _LEFT + (value - low) / (high - low) * (right - _LEFT)

    shapes.append(Stroke(np.array([[_LEFT, y], [right, y]]), 3.0, PENCIL))
    ticks = [place(step) for step in np.arange(low, high + 0.5)]
    shapes += [Stroke(np.array([[x, y - 7], [x, y + 7]]), 1.6, PENCIL) for x in ticks]
    above: list[tuple[float, float]] = []
    for kind, value in _marks(answer, name):
        x = place(value)
        figures = {"ours": answer.ours.voice, "theirs": answer.theirs.voice, "then": answer.after.voice}
        figure = answer.wanted[name] if kind == "wish" else figures[kind][name]
        _mark(kind, x, y, shapes)
        if kind == "then":
            continue
        # Figures that would touch go to the other side of the line.
        up = kind != "wish" and all(abs(x - other) > 120 for other, _ in above)
        if kind != "wish" and up:
            above.append((x, y))
        text = f"{figure:.1f}"
        labels.append(Label(x, y + (36 if up else -36), text, _SMALL, INK, align="centre", halo=True))


def _mark(kind: str, x: float, y: float, shapes: list[Shape]) -> None:
    turn = np.linspace(0, 2 * np.pi, 28, endpoint=False)
    disc = np.column_stack([np.cos(turn), np.sin(turn)])
    at = np.array([x, y])
    if kind == "wish":
        r = 1.5 * _RADIUS
        shapes.append(Stroke(at + r * np.array([[0, 1], [1, 0], [0, -1], [-1, 0]]), 4.0, INK, closed=True))
    elif kind == "then":
        r = 0.8 * _RADIUS
        shapes += [
            Area(box(x - r, y - r, x + r, y + r), _THEN),
            Stroke(box(x - r, y - r, x + r, y + r), 2.0, PAPER, closed=True),
        ]
    else:
        shapes += [
            Area(at + _RADIUS * disc, _THEIRS if kind == "theirs" else _OURS),
            Stroke(at + _RADIUS * disc, 2.0, PAPER, closed=True),
        ]


def _legend(answer: BriefAnswer, y: float, shapes: list[Shape], labels: list[Label]) -> None:
    entries = [("ours", answer.ours.name), ("theirs", answer.theirs.name), ("wish", "wanted")]
    if answer.together.amounts:
        entries.append(("then", f"{answer.ours.name} with the ways put together"))
    x = _MARGIN + _RADIUS
    room = (WIDTH - 2 * _MARGIN) / 4.6
    for kind, words in entries:
        _mark(kind, x, y, shapes)
        text, size = fitted(words, _SMALL, room if kind != "then" else 1.7 * room, smallest=16)
        label = Label(x + 26, y, text, size, INK)
        labels.append(label)
        x = label.box[2] + 46
