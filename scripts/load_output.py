"""What ``bracedtop load`` says and writes: sentences, tables, JSON, CSV."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.case import Case
    from bracedtop.fem.load_summary import LoadSummary, Spot, StressLine
    from bracedtop.fem.strings import StringSet
    from bracedtop.scripts.load import Cut

COMMON_TURN = 2.0
"""Turn of a bridge in degrees that is called usual at most; common practice, no source."""

GRAVITY = 9.80665
"""Standard acceleration of gravity, m/s^2 (ISO 80000-3), to say a pull in kilograms."""

CAUTION = (
    "A model is no proof load: the woods' strengths are averages of clear pieces, and knots, run-out, cracks, bad glue "
    "and buckling are not in it. Strings under tension can hurt: slacken them before you work inside, and wear eye "
    "protection. A maker's judgement and local rules stand above these numbers."
)


def load_notes(case: "Case", strings: "StringSet", summary: "LoadSummary") -> list[str]:
    """What was assumed and what is missing."""
    kind = summary.static.model.design.edge.kind
    if strings.held is not None:
        why = "as [strings] held says"
    elif case.design.edge.kind == "free":
        why = 'as sides are thin and the drawing\'s edge is free; [strings] held = "clamped" is the other bound'
    else:
        why = "as the drawing's [edge] says"
    lines = [
        f"the sides hold the top {'by springs' if kind == 'springs' else kind}, {why}",
        "stresses in the top are means over 5 mm squares, shear in a brace's glue over 20 mm of its length; pressed "
        "fibres are held against the strength in compression, which is lower than that in bending",
    ]
    if any((line.lasting_share or 0.0) > 1.0 for line in summary.lines):
        lines.append(
            "above 100 % even average clear wood would not hold for years; beside a square end of a bridge, and where "
            "a brace stops just short of the rim, a drawing exaggerates: bridges are thinned and rounded there, and "
            "braces let into the linings (common practice, no source)"
        )
    unknown = sorted({f"{line.part} ({line.kind})" for line in summary.lines if line.strength is None})
    if unknown:
        lines.append(f"no strength is known for {', '.join(unknown)}; give it under [wood.NAME]")
    if case.climate is not None:
        lines.append("strengths are those at 12 % moisture, whatever [climate] says; damp wood is weaker")
    return [*lines, *case.warnings]


def load_state(summary: "LoadSummary") -> dict[str, Any]:
    """The part of the JSON that a cut changes."""
    from bracedtop.fem.strength import CREEP_FACTOR
    from bracedtop.geometry.units import DEGREE, MM, MPA

    def spot(value: "Spot | None") -> dict[str, float] | None:
        if value is None:
            return None
        return {"mm": value.deflection / MM, "x_mm": value.place[0] / MM, "y_mm": value.place[1] / MM}

    turn = summary.rotation / DEGREE
    return {
        "turn_deg": turn,
        "turn_years_deg": CREEP_FACTOR * turn,
        "largest": spot(summary.largest),
        "dip": spot(summary.dip),
        "belly": spot(summary.belly),
        "stresses": [
            {
                "part": line.part,
                "what": line.kind,
                "mpa": line.stress / MPA,
                "strength_mpa": None if line.strength is None else line.strength / MPA,
                "share": line.share,
                "share_years": line.lasting_share,
                "where": line.where,
            }
            for line in summary.lines
        ],
        "balance": summary.balance,
        "residual": summary.static.residual,
    }


def load_json(strings: "StringSet", summary: "LoadSummary", notes: list[str]) -> dict[str, Any]:
    """What ``load --json`` prints."""
    from bracedtop.fem.strength import CREEP_FACTOR, LONG_TERM_STRENGTH

    return {
        "strings": [{"name": string.name, "tension_n": string.tension} for string in strings.strings],
        "pull_n": summary.pull,
        "push_n": summary.push,
        "moment_n_m": summary.moment,
        "held": summary.static.model.design.edge.kind,
        "creep_factor": CREEP_FACTOR,
        "strength_left_after_years": LONG_TERM_STRENGTH,
        **load_state(summary),
        "notes": notes,
    }


def print_load(
    name: str, strings: "StringSet", before: "LoadSummary", after: "LoadSummary | None", cuts: "Sequence[Cut]"
) -> None:
    """Print the load for a reader at the bench."""
    each = ", ".join(f"{string.name} {string.tension:.0f}" for string in strings.strings)
    print(f"{name}: {len(strings.strings)} strings, {strings.tension:.0f} N in all ({each})")
    if strings.anchor == "bridge":
        print(
            f"They pull the bridge toward the neck with {before.pull:.0f} N (the weight of {before.pull / GRAVITY:.0f} "
            f"kg), {1e3 * strings.saddle_height:g} mm above the top: a moment of {before.moment:.1f} N m."
        )
    if before.push < 0:
        kg = -before.push / GRAVITY
        print(f"They press the saddle down with {-before.push:.0f} N (the weight of {kg:.0f} kg).")
    for one in cuts:
        print(f'Cut: {1e3 * one.depth:g} mm off brace "{one.brace}" from {1e3 * one.start:g} to {1e3 * one.stop:g} mm')
    print()
    for sentence in _sentences(before, after):
        print(sentence)
    print()
    _print_stresses(before, after)


def _print_stresses(before: "LoadSummary", after: "LoadSummary | None") -> None:
    from bracedtop.scripts.console import print_table

    if after is None:
        head = ["part", "what", "MPa", "strength", "used", "used, for years", "where"]
        rows = [
            [one.part, one.kind, _mpa(one), _limit(one), _percent(one.share), _percent(one.lasting_share), one.where]
            for one in before.lines
        ]
    else:
        head = ["part", "what", "MPa before", "after", "used before", "after", "for years before", "after"]
        rows = []
        for line in before.lines:
            new = _successor(line, after)
            pairs = (
                (_mpa(line), _mpa(new)),
                (_percent(line.share), _percent(new.share)),
                (_percent(line.lasting_share), _percent(new.lasting_share)),
            )
            rows.append([line.part, line.kind, *(cell for pair in pairs for cell in pair)])
    print_table(head, rows, left=2)


def _successor(line: "StressLine", after: "LoadSummary") -> "StressLine":
    """The line of the same part and side; a side that was pressed may be stretched after a cut."""
    same = [other for other in after.lines if other.part == line.part]
    side = line.kind.partition(",")[0]
    exact = [other for other in same if other.kind == line.kind]
    return (exact or [other for other in same if other.kind.partition(",")[0] == side] or [line])[0]


def _sentences(before: "LoadSummary", after: "LoadSummary | None") -> list[str]:
    from bracedtop.fem.strength import CREEP_FACTOR, LONG_TERM_STRENGTH
    from bracedtop.geometry.units import DEGREE, MM
    from bracedtop.scripts.console import signed

    turn = before.rotation / DEGREE
    later = "" if after is None else f"; {_turn(after.rotation / DEGREE)} after the cut"
    lines = [
        f"The bridge turns {_turn(turn)} when the strings go on, about {CREEP_FACTOR * abs(turn):.1f} after years "
        f"under load{later}. Common practice keeps it under about {COMMON_TURN:g} degrees (common practice, no "
        f"source); now it is {100 * abs(turn) / COMMON_TURN:.0f} % of that."
    ]
    spots = (
        ("Largest deflection", before.largest, None if after is None else after.largest),
        ("Lowest in front of the bridge", before.dip, None if after is None else after.dip),
        ("Highest behind the bridge", before.belly, None if after is None else after.belly),
    )
    for words, spot, new in spots:
        if spot is None:
            continue
        x, y = (round(value / MM) for value in spot.place)
        now, years = signed(spot.deflection / MM, 2), signed(CREEP_FACTOR * spot.deflection / MM, 1)
        later = "" if new is None else f"; {signed(new.deflection / MM, 2)} mm after the cut"
        lines.append(f"{words}: {now} mm at x {x}, y {y} mm, about {years} mm after years{later}.")
    known = [line for line in before.lines if line.share is not None]
    if known:
        most = max(known, key=lambda line: line.share or 0.0)
        lines.append(
            f"Nearest to its strength: {most.part}, {most.kind} ({most.where}): {_percent(most.share)} of what breaks "
            f"it within minutes, {_percent(most.lasting_share)} of what it holds for years ({LONG_TERM_STRENGTH:g} of "
            "that)."
        )
    return lines


def _turn(degrees: float) -> str:
    return f"{abs(degrees):.2f} degrees toward the {'neck' if degrees >= 0 else 'tail'}"


def _mpa(line: "StressLine") -> str:
    return f"{line.stress / 1e6:.2f}"


def _limit(line: "StressLine") -> str:
    return "-" if line.strength is None else f"{line.strength / 1e6:.1f}"


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.0f} %"


def write_load_csv(path: Path, before: "LoadSummary", after: "LoadSummary | None") -> None:
    """Write turn, dip, belly and stresses as a table, those after a cut below those as drawn."""
    import csv

    from bracedtop.geometry.units import DEGREE, MM, MPA

    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["state", "part", "what", "value", "unit", "strength", "share", "share_years", "where"])
        for state, summary in (("drawn", before), ("shaved", after)):
            if summary is None:
                continue
            writer.writerow([state, "bridge", "turn", f"{summary.rotation / DEGREE:.4f}", "deg", "", "", "", ""])
            for what, spot in (("largest", summary.largest), ("dip", summary.dip), ("belly", summary.belly)):
                if spot is not None:
                    where = f"x {round(spot.place[0] / MM)}, y {round(spot.place[1] / MM)} mm"
                    writer.writerow([state, "top", what, f"{spot.deflection / MM:.4f}", "mm", "", "", "", where])
            for line in summary.lines:
                limit = "" if line.strength is None else f"{line.strength / MPA:g}"
                shares = ["" if share is None else f"{share:.4f}" for share in (line.share, line.lasting_share)]
                value = f"{line.stress / MPA:.4f}"
                writer.writerow([state, line.part, line.kind, value, "MPa", limit, *shares, line.where])
