"""A customer's words against two instruments: wanted figures, ways there, and what each costs elsewhere.

Depends on fem/box_sound, fem/box_values, fem/brief_ways, fem/brief_words, fem/closed_modes, fem/voice.

Every figure is that of fem/voice with one usual string for all notes, so that bodies are compared and not strings. Ways
are tried one step each, the figures are taken as straight lines in between, and what several ways together give is
solved anew.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import lsq_linear

from bracedtop.fem.box_modes import solve_box
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_sound import box_field, box_response, radiating
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.brief_ways import Way
from bracedtop.fem.brief_words import SIZES, apart, wished
from bracedtop.fem.closed_modes import Closed, closed_modes, followed
from bracedtop.fem.sound_field import SoundField
from bracedtop.fem.voice import WORDS, Voice, voice_of

NAMES = tuple(word.name for word in WORDS)

KEPT = 0.35
"""Weight of a word that the customer did not name, beside one that was; chosen: a third of a step elsewhere is worth
one here."""

SPARING = 0.3
"""Weight of a whole range of a way, in noticeable steps; chosen: ways that hardly help are used sparingly."""

REACHED = 0.25
"""A wish is met within this part of a noticeable step; chosen."""

MOST_WAYS = 4
"""Ways that are put together; chosen: as many as a maker can keep apart in what is heard."""

ROUNDS = 3
"""Rounds in which several ways are bettered; chosen."""

WORTH = 0.05
"""Part of what is left over that one way more has to take away; chosen."""


@dataclass(frozen=True, slots=True)
class Figures:
    """One instrument in figures.

    Parameters
    ----------
    name : str
    voice : mapping of str to float
        By the words of fem/voice, as far as known.
    hz, q : mapping of str to float
        Of "air", "top" and "top blocked", as far as known.
    """

    name: str
    voice: Mapping[str, float]
    hz: Mapping[str, float]
    q: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Effect:
    """One way, tried by one step.

    Parameters
    ----------
    way : Way
    direction : int
        1 or -1, the side on which it was tried.
    slopes : mapping of str to float
        Noticeable steps of each word per step of the way; of sustain, of its logarithm.
    """

    way: Way
    direction: int
    slopes: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a way, or several, give.

    Parameters
    ----------
    amounts : tuple of (Way, float)
        Ways and amounts, in what their `change` takes.
    voice : mapping of str to float
        Figures then; by straight lines for one way, solved for several.
    share : float
        Part of the wish that is met, 0 to 1; of several words the least.
    """

    amounts: tuple[tuple[Way, float], ...]
    voice: Mapping[str, float]
    share: float


@dataclass(frozen=True, slots=True)
class BriefAnswer:
    """All of it.

    Parameters
    ----------
    ours, theirs : Figures
    wish : mapping of str to str
        Amounts by word.
    wanted : mapping of str to float
        Wanted figures by word.
    effects : tuple of Effect
    single : mapping of str to tuple of Answer
        By word that is off: single ways, the best first.
    together : Answer
        Several ways.
    after : Figures
        The instrument then.
    """

    ours: Figures
    theirs: Figures
    wish: Mapping[str, str]
    wanted: Mapping[str, float]
    effects: tuple[Effect, ...]
    single: Mapping[str, tuple[Answer, ...]]
    together: Answer
    after: Figures


def figures_of(name: str, model: BoxModel, values: BoxValues | None = None, field: SoundField | None = None) -> Figures:
    """Figures of a box as drawn, or with other values.

    Parameters
    ----------
    name : str
    model : BoxModel
    values : BoxValues, optional
    field : SoundField, optional
        Of the box with its hole open.

    Raises
    ------
    DesignError, AccuracyError
    """
    values = values or BoxValues()
    closed = closed_modes(model, values)
    both = {
        "open": radiating(model, closed.opened, field),
        "blocked": radiating(model, closed.blocked),
    }
    hz, q = {}, {}
    for note in ("air", "top", "top blocked"):
        hole, mode = closed.place(note)
        hz[note], q[note] = float(both[hole].frequencies[mode]), float(both[hole].q[mode])
    return Figures(name, voice_figures(spoken(model, values, field)), hz, q)


def retuned(figures: Figures, true: Mapping[str, float]) -> Figures:
    """The same figures with notes as a tapped box has them: tapped over modelled frequency by note."""
    return replace(figures, hz={note: f * true.get(note, 1.0) for note, f in figures.hz.items()})


def shares(answer: "BriefAnswer") -> dict[str, float | None]:
    """Part of each wish that the ways put together reach, 0 where they lead away; None where nothing was to do."""
    found: dict[str, float | None] = {}
    for name, figure in answer.wanted.items():
        gap = apart(name, figure, answer.ours.voice[name])
        moved = apart(name, answer.after.voice[name], answer.ours.voice[name])
        found[name] = None if abs(gap) <= REACHED else float(np.clip(moved / gap, 0.0, 1.0))
    return found


def spoken(model: BoxModel, values: BoxValues, field: SoundField | None = None) -> Voice:
    """Voice of a box with one usual string for all notes."""
    modes = solve_box(model, values)
    return voice_of(box_response(model, values, field=field, modes=modes))


def voice_figures(voice: Voice) -> dict[str, float]:
    """Figures by word."""
    return {name: voice.figure(name) for name in NAMES}


def answered(
    model: BoxModel,
    ours: Figures,
    theirs: Figures,
    wish: Mapping[str, str],
    ways: Sequence[Way],
    values: BoxValues | None = None,
    field: SoundField | None = None,
) -> BriefAnswer:
    """Wanted figures and the ways there.

    A wish is measured from the customer's instrument; of a word whose figure is not known there, from the new one's.

    Parameters
    ----------
    model : BoxModel
        The new instrument.
    ours, theirs : Figures
    wish : mapping of str to str
    ways : sequence of Way
    values : BoxValues, optional
        The new instrument as it is.
    field : SoundField, optional

    Raises
    ------
    AccuracyError
    """
    values = values or BoxValues()
    field = box_field(model, values) if field is None else field
    wanted = {name: wished(name, amount, theirs.voice.get(name, ours.voice[name])) for name, amount in wish.items()}
    effects = tuple(_effect(model, ours.voice, way, values, field) for way in ways)
    gaps = {name: apart(name, figure, ours.voice[name]) for name, figure in wanted.items()}
    single = {name: tuple(_alone(ours.voice, effects, name, gap)) for name, gap in gaps.items() if abs(gap) > REACHED}
    amounts = _improved(model, ours.voice, _together(effects, gaps), gaps, values, field)
    after = replace(ours, name="then")
    if amounts:
        after = figures_of("then", model, changed(model, values, amounts), field)
    together = Answer(amounts, after.voice, _share(ours.voice, after.voice, gaps))
    return BriefAnswer(ours, theirs, dict(wish), wanted, effects, single, together, after)


def _effect(model: BoxModel, now: Mapping[str, float], way: Way, values: BoxValues, field: SoundField) -> Effect:
    direction = 1 if way.high > 0 else -1
    room = way.high if direction > 0 else -way.low
    part = min(1.0, room)
    if not part:
        return Effect(way, direction, dict.fromkeys(NAMES, 0.0))
    then = voice_figures(spoken(model, way.change(model, values, direction * part * way.step), field))
    return Effect(way, direction, {name: direction * apart(name, then[name], now[name]) / part for name in NAMES})


def _alone(now: Mapping[str, float], effects: Sequence[Effect], name: str, gap: float) -> list[Answer]:
    """Single ways toward one word, those that go farthest for the least elsewhere first."""
    found = []
    for effect in effects:
        slope = effect.slopes[name]
        if abs(slope) < 0.02:
            continue
        steps = float(np.clip(gap / slope, effect.way.low, effect.way.high))
        share = steps * slope / gap
        if share < 0.1:
            continue
        then = {word: _moved(word, now[word], steps * effect.slopes[word]) for word in NAMES}
        cost = sum(abs(steps * effect.slopes[word]) for word in NAMES if word != name)
        found.append((share - 0.1 * cost, Answer(((effect.way, steps * effect.way.step),), then, float(share))))
    return [answer for _, answer in sorted(found, key=lambda one: -one[0])]


def _together(effects: Sequence[Effect], gaps: Mapping[str, float]) -> tuple[tuple[Way, float], ...]:
    """Amounts of a few ways that come nearest to all wishes: by bounded least squares, one way more at a time."""
    if all(abs(gap) <= REACHED for gap in gaps.values()):
        return ()
    usable = [effect for effect in effects if effect.way.high > effect.way.low]
    chosen: list[Effect] = []
    steps, cost = np.zeros(0), _fitted([], gaps)[1]
    while len(chosen) < MOST_WAYS:
        rest = [effect for effect in usable if effect not in chosen]
        tried = [(*_fitted([*chosen, effect], gaps), effect) for effect in rest]
        if not tried:
            break
        x, less, effect = min(tried, key=lambda one: one[1])
        if less > (1 - WORTH) * cost:
            break
        chosen.append(effect)
        steps, cost = x, less
    return tuple((effect.way, float(n) * effect.way.step) for effect, n in zip(chosen, steps, strict=True) if n)


def changed(model: BoxModel, values: BoxValues, amounts: Sequence[tuple[Way, float]]) -> BoxValues:
    """A box with amounts of some ways."""
    for way, amount in amounts:
        values = way.change(model, values, amount)
    return values


def _improved(
    model: BoxModel,
    now: Mapping[str, float],
    amounts: tuple[tuple[Way, float], ...],
    gaps: Mapping[str, float],
    values: BoxValues,
    field: SoundField,
) -> tuple[tuple[Way, float], ...]:
    """The amounts bettered by solving anew: figures are no straight lines, a note next to a resonance least of all.

    Steps of Gauss and Newton inside a radius that shrinks where the figures turn out otherwise; nothing at all if that
    is nearer to the wish.
    """
    ways = [way for way, _ in amounts]
    x = np.array([amount / way.step for way, amount in amounts])
    if not ways:
        return ()
    weight = np.array([1.0 if name in gaps else KEPT for name in NAMES])
    wanted = np.array([gaps.get(name, 0.0) for name in NAMES])
    low, high = (np.array([getattr(way, end) for way in ways]) for end in ("low", "high"))
    reach = np.maximum(high, -low)

    def moved(steps: np.ndarray) -> np.ndarray:
        pairs = [(way, float(n) * way.step) for way, n in zip(ways, steps, strict=True)]
        then = voice_figures(spoken(model, changed(model, values, pairs), field))
        return np.array([apart(name, then[name], now[name]) for name in NAMES])

    def cost(steps: np.ndarray, at: np.ndarray) -> float:
        return float((weight**2 * (at - wanted) ** 2).sum() + (SPARING**2 * (steps / reach) ** 2).sum())

    tried = [(steps, moved(steps)) for steps in (x, 0.5 * x, 0.0 * x)]
    best, at = min(tried, key=lambda one: cost(*one))
    radius = 0.5
    for _ in range(ROUNDS):
        J = np.zeros((len(NAMES), len(ways)))
        for k, r in enumerate(reach):
            # Towards the inside, so that no way is tried beyond its range.
            h = 0.1 * r if best[k] + 0.1 * r <= high[k] else -0.1 * r
            J[:, k] = (moved(best + h * np.eye(len(ways))[k]) - at) / h
        box = np.maximum(low, best - radius * reach), np.minimum(high, best + radius * reach)
        rows = np.vstack([weight[:, None] * J, SPARING * np.diag(1 / reach)])
        right = np.concatenate([weight * (wanted - at + J @ best), np.zeros(len(ways))])
        new = lsq_linear(rows, right, (box[0] - 1e-9, box[1] + 1e-9)).x
        new = np.clip(new, low, high)
        there = moved(new)
        if cost(new, there) < cost(best, at):
            best, at = new, there
        else:
            radius *= 0.4
    return tuple((way, float(n) * way.step) for way, n, r in zip(ways, best, reach, strict=True) if abs(n) > 0.02 * r)


def _fitted(effects: Sequence[Effect], gaps: Mapping[str, float]) -> tuple[np.ndarray, float]:
    """Steps of some ways, and what is left of all squares: of wishes, of words left alone, of the ways' own ranges."""
    weight = np.array([1.0 if name in gaps else KEPT for name in NAMES])
    b = weight * np.array([gaps.get(name, 0.0) for name in NAMES])
    if not effects:
        return np.zeros(0), float(b @ b)
    A = weight[:, None] * np.array([[effect.slopes[name] for effect in effects] for name in NAMES])
    low, high = (np.array([getattr(effect.way, end) for effect in effects]) for end in ("low", "high"))
    reach = np.maximum(high, -low)
    rows = np.vstack([A, SPARING * np.diag(1 / reach)])
    found = lsq_linear(rows, np.concatenate([b, np.zeros(len(effects))]), (low, high))
    return np.asarray(found.x), 2.0 * float(found.cost)


def _share(now: Mapping[str, float], then: Mapping[str, float], gaps: Mapping[str, float]) -> float:
    parts = [apart(name, then[name], now[name]) / gap for name, gap in gaps.items() if abs(gap) > REACHED]
    return float(np.clip(min(parts, default=1.0), 0.0, 1.0))


def _moved(name: str, figure: float, steps: float) -> float:
    """A figure some noticeable steps of its word away."""
    size = SIZES[name].little
    if name == "sustain":
        return float(figure * size**steps)
    more = next(word.more for word in WORDS if word.name == name)
    return figure + more * steps * size


def blocked_after(closed: Closed, values: BoxValues) -> float:
    """The top's note with the hole blocked at other values, Hz."""
    return float(followed(closed, values, "blocked").frequencies[closed.top_blocked])
