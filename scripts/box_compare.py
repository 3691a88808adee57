"""What ``bracedtop rims`` and ``bracedtop finish`` share: boxes side by side."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.box_parts import BoxModel
    from bracedtop.fem.box_state import BoxState
    from bracedtop.fem.picture import PictureJob

SHOWN_MODES = 8
"""Modes in a table of several boxes; chosen: to about 400 Hz."""


def followed(model: "BoxModel", states: "Sequence[BoxState]") -> list[tuple[int, ...]]:
    """For each state, which of its modes each of the lowest modes of the first state became."""
    from bracedtop.fem.box_matrices import box_matrices
    from bracedtop.fem.mac import follow, mac

    M = box_matrices(model, states[0].modes.values).M
    first = states[0].modes.vectors[:SHOWN_MODES].T
    return [follow(mac(first, state.modes.vectors.T, M)) for state in states]


def print_modes_beside(
    names: Sequence[str], titles: Sequence[str], states: "Sequence[BoxState]", paths: Sequence[Sequence[int]]
) -> None:
    """Hertz and T60 of the lowest modes, a pair of columns a box."""
    from bracedtop.scripts.console import print_table

    head = ["mode", "what it is"]
    for title in titles:
        head += [f"{title}: Hz", "T60 s"]
    rows = []
    for k in range(len(paths[0])):
        row: list[object] = [str(k + 1), names[k]]
        for state, path in zip(states, paths, strict=True):
            row += [f"{state.modes.frequencies[path[k]]:.1f}", f"{state.modes.t60[path[k]]:.2f}"]
        rows.append(row)
    print_table(head, rows, left=2, repeat=2)


def print_voices_beside(titles: Sequence[str], states: "Sequence[BoxState]") -> None:
    """The figures of the voice, a column a box, and where the power goes."""
    from bracedtop.scripts.box_output import voice_rows
    from bracedtop.scripts.console import print_table

    rows = voice_rows([state.voice for state in states])
    if all(state.notes is not None for state in states):
        rows.append(["weak notes", *(str(int(state.notes.weak.sum())) for state in states if state.notes is not None)])
        rows.append(["wolf notes", *(str(int(state.notes.wolf.sum())) for state in states if state.notes is not None)])
    for label, parts in POWER:
        rows.append([label, *(f"{100 * power_share(state, parts):.1f}" for state in states)])
    print_table(["", *titles], rows)


POWER = (
    ("to sound in front, %", ("sound in front",)),
    ("to rim, back and behind, %", ("rim", "back wood", "sound behind")),
    ("to wood of the top, %", ("top wood",)),
    ("to finish, %", ("finish",)),
)
"""Rows about where the power put in at the bridge goes."""


def power_share(state: "BoxState", parts: Sequence[str]) -> float:
    """Part of the power put in from 80 Hz to 1 kHz that goes to some of `Voice.shares`."""
    return float(sum(state.voice.shares.get(part, 0.0) for part in parts))


def state_beside(names: Sequence[str], state: "BoxState", path: Sequence[int]) -> dict[str, Any]:
    """One box for machines."""
    from bracedtop.scripts.box_output import notes_json, voice_json

    modes = state.modes
    found: dict[str, Any] = {
        "modes": [
            {
                "mode": k + 1,
                "name": names[k],
                "hz": float(modes.frequencies[at]),
                "q": float(modes.q[at]),
                "t60_s": float(modes.t60[at]),
            }
            for k, at in enumerate(path)
        ],
        **voice_json(state),
    }
    if state.notes is not None:
        found["notes"] = notes_json(state.notes)
    return found


def beside_picture(
    name: str,
    title: str,
    words: str,
    rows: Sequence[tuple[str, str]],
    names: Sequence[str],
    states: "Sequence[BoxState]",
    paths: Sequence[Sequence[int]],
) -> "PictureJob":
    """Picture of the boxes side by side."""
    from bracedtop.fem.side_by_side import Figure, side_by_side

    main = next((k for k in range(len(paths[0])) if names[k].startswith("main top")), 0)

    def of_mode(key: str) -> list[float]:
        return [float(getattr(state.modes, key)[path[main]]) for state, path in zip(states, paths, strict=True)]

    figures = [
        Figure("sustain", "s, middle note", [s.voice.sustain for s in states], 2, 0.5),
        Figure("projection", "dB re 20 \N{MICRO SIGN}Pa/N", [s.voice.projection for s in states], 1, 1.0),
        Figure("presence", "dB re 20 \N{MICRO SIGN}Pa/N", [s.voice.presence for s in states], 1, 1.0),
        Figure(names[main], "Hz", of_mode("frequencies"), 1, 2.0),
        Figure(names[main], "s, T60", of_mode("t60"), 2, 0.05),
        Figure("to rim, back", "% of power", [100 * power_share(s, POWER[1][1]) for s in states], 1, 2.0),
    ]
    return side_by_side(name, title, words, rows, figures)
