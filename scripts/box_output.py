"""What ``bracedtop box``, ``rims`` and ``finish`` say and share: sentences, tables, JSON."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from bracedtop.fem.box_parts import BoxModel
    from bracedtop.fem.box_state import BoxState
    from bracedtop.fem.case import Case
    from bracedtop.fem.lumped import Lumped
    from bracedtop.fem.sustain_map import SustainMap
    from bracedtop.fem.voice import Voice

CAUTION = (
    "A model is no proof: tap the box, hole open and hole blocked, before you take wood off it. Dust of rosewoods and "
    "other tropical woods sensitises, finishes and their solvents burn and harm when breathed, hot hide glue scalds: "
    "data sheets of the makers and local rules stand above this line."
)

LOSSES = (
    ("wood", ("top wood", "back wood")),
    ("rim", ("rim",)),
    ("finish", ("finish",)),
    ("air", ("air",)),
    ("sound", ("radiation",)),
)
"""Columns of losses, and which of fem/box_modes.loss_parts each holds."""

MOVERS = (("top", ("top",)), ("back", ("back",)), ("air", ("hole", "cavity")), ("rim", ("rim",)))
"""Columns of who moves, and which of fem/box_parts.PARTS each holds."""


def refuse_without_box() -> NoReturn:
    """Say what a drawing of a top alone lacks."""
    from bracedtop.geometry.errors import DesignError

    message = (
        "top.toml: has no [sides]; the closed box needs [sides] with wood, thickness_mm and depth_mm, and [back] with "
        "wood and thickness_mm; [[lining]], [[block]], [[back_brace]], [[finish]] and [box] may follow"
    )
    raise DesignError(message)


def box_notes(case: "Case") -> list[str]:
    """What was assumed and what is missing."""
    from bracedtop.fem.box_state import has_notes

    lines = [
        "sound: top and hole as in one endless wall, the back as in another; the player's ear without walls "
        "(assumptions stated in the README)"
    ]
    if case.strings is None:
        lines.append("no [strings]: sustain is that of one usual string, and there is no map of the fingerboard")
    elif not has_notes(case.strings):
        lines.append(
            "strings without scale_length_mm or a note: sustain is that of one usual string, and there is no map of "
            "the fingerboard"
        )
    return [*lines, *case.warnings]


def summed(parts: "dict[str, Any]", names: Sequence[str], k: int) -> float:
    """Sum of one mode's entries of some names."""
    return float(sum(parts[name][k] for name in names if name in parts))


def mode_rows(state: "BoxState", names: Sequence[str]) -> list[dict[str, Any]]:
    """One dictionary a coupled mode."""
    from bracedtop.fem.box_parts import PARTS
    from bracedtop.geometry.units import note

    modes = state.modes
    shares = {part: modes.shares[:, i] for i, part in enumerate(PARTS)}
    rows = []
    for k, hz in enumerate(modes.frequencies):
        pitch, deviation = note(float(hz))
        rows.append(
            {
                "mode": k + 1,
                "name": names[k],
                "hz": float(hz),
                "note": pitch,
                "cents": float(deviation),
                "q": float(modes.q[k]),
                "t60_s": float(modes.t60[k]),
                "moves": {name: summed(shares, own, k) for name, own in MOVERS},
                "loses": {name: summed(dict(state.losses), own, k) / float(modes.loss[k]) for name, own in LOSSES},
            }
        )
    return rows


def print_modes(rows: Sequence[dict[str, Any]]) -> None:
    """Print the table of coupled modes."""
    from bracedtop.scripts.console import print_table, signed

    movers, losses = [name for name, _ in MOVERS], [name for name, _ in LOSSES]
    print("Coupled modes; who moves (% of the energy), and what takes the energy (% of the loss)")
    print_table(
        ["mode", "what it is", "Hz", "note", "cents", "Q", "T60 s", *movers, " |", *losses],
        [
            [
                str(row["mode"]),
                row["name"],
                f"{row['hz']:.1f}",
                row["note"],
                signed(row["cents"], 0),
                f"{row['q']:.0f}",
                f"{row['t60_s']:.2f}",
                *(f"{100 * row['moves'][name]:.0f}" for name in movers),
                "|",
                *(f"{100 * row['loses'][name]:.0f}" for name in losses),
            ]
            for row in rows
        ],
        left=2,
    )


def lumped_lines(lumped: "Lumped") -> list[str]:
    """The lumped picture in a few lines."""
    from bracedtop.fem.lumped import closed_box, coupled, in_vacuo, split

    air = lumped.volume, lumped.bulk
    closed = closed_box(lumped.top, *air)
    spring = 100 * (1 - (in_vacuo(lumped.top) / closed) ** 2)
    lines = [
        "As makers and papers think of it, each by itself and then joined by the spring of the air:",
        f"  top alone, hole blocked: {pitch(closed)}; {spring:.0f} % of its stiffness is the air's (without that "
        f"{in_vacuo(lumped.top):.1f} Hz); it weighs {1e3 * lumped.top.mass:.0f} g at the bridge",
    ]
    if lumped.hole is None:
        return [*lines, "  no open hole: top and air cannot split"]
    pair = split(lumped)
    lines.append(
        f"  air alone, hole of a box that does not give: {pitch(pair.hole)}, {abs(pair.apart):.0f} Hz "
        f"{'below' if pair.apart > 0 else 'above'} the top"
    )
    lines.append(
        f"  top and air together: {pitch(pair.low)} and {pitch(pair.high)}, {pair.high - pair.low:.0f} Hz apart; each "
        f"pushed away by {pair.pushed:.0f} Hz"
    )
    if lumped.back is not None:
        three = coupled(lumped).frequencies
        lines.append(
            f"  with the back ({closed_box(lumped.back, *air):.1f} Hz alone): {three[0]:.1f}, {three[1]:.1f} and "
            f"{three[2]:.1f} Hz; the table has what the whole model makes of these"
        )
    return lines


def lumped_json(lumped: "Lumped") -> dict[str, Any]:
    """The lumped picture for machines."""
    from dataclasses import asdict

    from bracedtop.fem.lumped import closed_box, coupled, in_vacuo, split

    air = lumped.volume, lumped.bulk
    found: dict[str, Any] = {
        "volume_l": 1e3 * lumped.volume,
        "top_hz": in_vacuo(lumped.top),
        "top_hole_blocked_hz": closed_box(lumped.top, *air),
        "top_mass_g": 1e3 * lumped.top.mass,
        "top_area_cm2": 1e4 * lumped.top.area,
        "together_hz": coupled(lumped).frequencies.tolist(),
    }
    if lumped.back is not None:
        found |= {"back_hz": in_vacuo(lumped.back), "back_hole_blocked_hz": closed_box(lumped.back, *air)}
    if lumped.hole is not None:
        pair = split(lumped)
        found["top_and_air"] = {
            **{f"{key}_hz": value for key, value in asdict(pair).items()},
            "apart_hz": pair.apart,
            "coupling": pair.coupling,
            "pushed_hz": pair.pushed,
        }
    return found


def voice_rows(voices: "Sequence[Voice]") -> list[list[str]]:
    """Rows of the figures of `WORDS`, a column each box."""
    from bracedtop.fem.voice import WORDS

    return [
        [f"{word.name}, {word.unit}", *(_figure(voice.figure(word.name), word.unit) for voice in voices)]
        for word in WORDS
    ]


def voice_words(voice: "Voice") -> list[dict[str, str]]:
    """The figures of `WORDS` with their definitions."""
    from bracedtop.fem.voice import WORDS

    return [
        {
            "name": word.name,
            "value": _figure(voice.figure(word.name), word.unit),
            "unit": word.unit,
            "sentence": word.sentence,
        }
        for word in WORDS
    ]


def print_words() -> None:
    """Print the definitions of the figures."""
    from bracedtop.fem.voice import WORDS

    for word in WORDS:
        print(f"  {word.name}: {word.sentence}")


def print_notes_table(found: "SustainMap") -> None:
    """Print the decay time of every note."""
    from bracedtop.fem.sustain_words import seconds
    from bracedtop.scripts.console import print_table

    n = found.decay_time.shape[1]
    marks = {"w": found.wolf, "s": found.short, "q": found.soft}

    def cell(i: int, j: int) -> str:
        mark = next((letter for letter, marked in marks.items() if marked[i, j]), " ")
        return f"{seconds(float(found.decay_time[i, j]))} {mark}"

    print("T60 of every note, s; w wolf, s short, q soft (quiet)")
    print_table(
        ["string", *(str(j) if j else "open" for j in range(n))],
        [[name, *(cell(i, j) for j in range(n))] for i, name in enumerate(found.strings)],
        repeat=1,
    )


def state_json(state: "BoxState", names: Sequence[str]) -> dict[str, Any]:
    """The part of the JSON that a change of the box changes."""
    found: dict[str, Any] = {
        "modes": mode_rows(state, names),
        "lumped": lumped_json(state.lumped),
        **voice_json(state),
    }
    if state.notes is not None:
        found["notes"] = notes_json(state.notes)
    return found


def voice_json(state: "BoxState") -> dict[str, Any]:
    """The figures of the voice, and where the power goes."""
    from bracedtop.fem.voice import WORDS

    voice = state.voice
    return {
        "voice": {word.name: {"value": voice.figure(word.name), "unit": word.unit} for word in WORDS},
        "power_goes_to": dict(voice.shares),
    }


def notes_json(found: "SustainMap") -> dict[str, Any]:
    """The map of the fingerboard."""
    from dataclasses import asdict

    from bracedtop.fem.sustain_words import doubtful_notes

    return {
        "strings": list(found.strings),
        "hz": found.nominal.tolist(),
        "t60_s": found.decay_time.tolist(),
        "early_decay_s": found.early_decay_time.tolist(),
        "level_db": None if found.level is None else found.level.tolist(),
        "doubtful": [asdict(one) for one in doubtful_notes(found)],
    }


def curves_json(state: "BoxState") -> dict[str, Any]:
    """Curves over frequency."""
    response = state.response
    return {
        "hz": response.hz.tolist(),
        "admittance_db_re_1_s_per_kg": response.admittance_level.tolist(),
        "pressure_db_re_20_upa_per_n": response.pressure_level.tolist(),
    }


def pitch(hz: float) -> str:
    """Frequency with its note, such as ``102.0 Hz (G#2 -31)``."""
    from bracedtop.geometry.units import note
    from bracedtop.scripts.console import signed

    name, deviation = note(hz)
    return f"{hz:.1f} Hz ({name} {signed(deviation, 0)} cents)"


def box_facts(case: "Case", model: "BoxModel") -> str:
    """One line about the box."""
    air = model.air
    litres = f"{1e3 * air.volume:.1f} litres of air"
    holes = len(air.hole_area)
    area = f"{1e4 * float(air.hole_area.sum()):.0f} cm2" if holes else "no"
    rim = "held in a heavy rig" if model.box.held else "free to move"
    return f"{case.name}: {litres}, {area} of hole, rim {rim}"


def _figure(value: float, unit: str) -> str:
    return f"{value:.2f}" if unit == "s" else f"{value:.1f}"
