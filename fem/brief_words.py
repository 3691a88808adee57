"""How much "a little more" is: words of a customer as differences of figures.

Depends on fem/voice.
"""

import math
from dataclasses import dataclass
from typing import Literal

from bracedtop.fem.voice import WORDS, Word

Amount = Literal["more", "a little more", "the same", "a little less", "less"]

AMOUNTS: tuple[Amount, ...] = ("more", "a little more", "the same", "a little less", "less")

_STEPS = {"more": 2, "a little more": 1, "the same": 0, "a little less": -1, "less": -2}


@dataclass(frozen=True, slots=True)
class Size:
    """What a word's amounts are.

    Parameters
    ----------
    little, clear : float
        Differences in the word's unit; of sustain, ratios.
    source : str
        Where they are from.
    """

    little: float
    clear: float
    source: str


SIZES = {
    "projection": Size(
        1.0, 3.0, "1 dB: just noticeable for noise (Zwicker, Fastl, Psychoacoustics, 1990s; recalled); 3 dB: chosen"
    ),
    "presence": Size(1.0, 3.0, "as projection"),
    "bass": Size(1.0, 3.0, "as projection"),
    "evenness": Size(0.5, 1.5, "chosen: half of what is said of levels, as evenness is itself a difference of levels"),
    "sustain": Size(
        1.10,
        1.40,
        "1.10: chosen, twice what is just noticeable of early decay in rooms (5 %, ISO 3382-1:2009, Table A.1; "
        "recalled); 1.40: from where decays of plucked strings are told apart (Jarvelainen, Tolonen, J. Audio Eng. "
        "Soc. 49 (2001) 1049-1059; recalled)",
    ),
}
"""By word."""


def word_of(name: str) -> Word:
    """A word by its name."""
    return next(word for word in WORDS if word.name == name)


def wished(name: str, amount: str, reference: float) -> float:
    """The figure that an amount of a word means, from a reference figure.

    Parameters
    ----------
    name : str
        One of fem/voice's words.
    amount : str
        One of `AMOUNTS`.
    reference : float
        In the word's unit.
    """
    size, word, steps = SIZES[name], word_of(name), _STEPS[amount]
    if not steps:
        return reference
    step = size.little if abs(steps) == 1 else size.clear
    sign = (1 if steps > 0 else -1) * word.more
    return reference * step**sign if name == "sustain" else reference + sign * step


def apart(name: str, figure: float, reference: float) -> float:
    """How many noticeable steps of a word lie between two figures; positive: the first has more of it."""
    size, word = SIZES[name], word_of(name)
    if name == "sustain":
        return math.log(figure / reference) / math.log(size.little)
    return word.more * (figure - reference) / size.little


def change_words(name: str, figure: float, reference: float) -> str:
    """A change of a figure in words, such as "3.0 dB more presence"."""
    word = word_of(name)
    more = apart(name, figure, reference)
    side = "more" if more >= 0 else "less"
    if name == "sustain":
        return f"{100 * abs(figure / reference - 1):.0f} % {side} sustain"
    if name == "evenness":
        return f"notes {abs(figure - reference):.1f} dB {'more' if more >= 0 else 'less'} even"
    return f"{abs(figure - reference):.1f} {word.unit} {side} {name}"


def figure_words(name: str, figure: float) -> str:
    """A figure with its unit."""
    return f"{figure:.1f} {word_of(name).unit}"
