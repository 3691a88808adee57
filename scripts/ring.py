"""The secondary tuning: what a thinner ring along the edge of the closed box's top does, and how much is safe to take.

Reads the taps of the closed box, hole open and hole blocked (closed/open/, closed/blocked/, each with taps.csv or taps/
like a case's own), fits the box to them, and says how far apart the top's note and the air's are, what each hundredth
of a millimetre off the ring does to each coupled mode, where along the rim it works, and how deep the next pass may be.
Never more than one pass: take it, record it with --took, tap again. What is wanted is [closed] in top.toml, or
--target. Writes out/ring/ (ring.json, pictures).

example:
  bracedtop ring wren
  bracedtop ring wren --target "top blocked = F#3" --take 0.05
  bracedtop ring wren --took 0.04        records a pass that was made
"""

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    from bracedtop.fem.case import Case
    from bracedtop.fem.closed_case import ClosedCase
    from bracedtop.fem.closed_levers import Help
    from bracedtop.fem.closed_modes import Hole
    from bracedtop.fem.closed_target import ClosedWish
    from bracedtop.fem.ring_load import RingLoad
    from bracedtop.fem.ring_plan import RingPlan
    from bracedtop.fem.ring_table import RingTable
    from bracedtop.fem.strings import StringSet
    from bracedtop.scripts.console import Stages

OWN_FILES = ("ring/*.json", "ring/*.png")


@dataclass(frozen=True, slots=True)
class Result:
    """All that the command shows."""

    known: "ClosedCase"
    table: "RingTable"
    plan: "RingPlan"
    load: "RingLoad | None"
    helps: "tuple[Help, ...]"
    number: int
    notes: tuple[str, ...]


def millimetres(text: str) -> float:
    """A depth or width on the command line, m."""
    from bracedtop.geometry.units import MM

    value = float(text)
    if not 0 < value < 1000:
        raise ValueError
    return value * MM


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml with its closed box")
    parser.add_argument(
        "--width",
        type=millimetres,
        metavar="MM",
        help="of the ring; else edge_ring_width_mm, or ring_width_mm of [box]",
    )
    parser.add_argument("--take", type=millimetres, metavar="MM", help="show this depth too")
    parser.add_argument(
        "--target",
        metavar="WISH",
        help="instead of [closed]: octave, fifth, 10.5 (semitones between blocked top and air), or NOTE = Hz or name, "
        "where NOTE is top, top blocked or air",
    )
    parser.add_argument("--took", type=millimetres, metavar="MM", help="record a pass that took this off, and stop")
    parser.add_argument("--no-pictures", action="store_true", help="tables only")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Plan one pass over the ring, or record one."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.closed_case import closed_case
    from bracedtop.fem.closed_target import parsed_wish
    from bracedtop.scripts.console import Progress, json_text, print_json
    from bracedtop.scripts.results import fresh_results

    case = read_case(args.case)
    wish = case.closed if args.target is None else parsed_wish(args.target)
    if args.took is not None:
        return _record(args, case)
    progress = Progress(quiet=args.quiet)
    with progress.stage("closed box and its taps"):
        known = closed_case(case, width=args.width)
    found = ring_result(known, wish, args.take, progress)
    data = ring_json(found)
    about = None
    files = ["ring.json"]
    with fresh_results(args.case, OWN_FILES) as folder:
        out = folder / "ring"
        out.mkdir()
        (out / "ring.json").write_text(json_text(data) + "\n", encoding="utf-8")
        if not args.no_pictures:
            with progress.stage("pictures"):
                about, pictures = _draw(found, out)
            files += pictures
    written = [str(args.case / "out" / "ring" / name) for name in files]
    if args.json:
        print_json({**data, "written": written})
        return 0
    _print(found, data)
    if about:
        print(f"note: {about}")
    print(f"Written: {', '.join(written)}")
    return 0


def ring_result(known: "ClosedCase", wish: "ClosedWish | None", take: float | None, progress: "Stages") -> Result:
    """All that the command shows, from a calibrated box."""
    from bracedtop.fem.closed_levers import helps
    from bracedtop.fem.ring_plan import ring_plan, ring_room
    from bracedtop.fem.ring_table import TAKES, ring_table

    case, posterior = known.case, known.posterior
    limits = case.closed_limits
    takes = sorted({*TAKES, *([] if take is None else [take])})
    with progress.stage("what each hundredth does"):
        table = ring_table(posterior, _sds(known), takes)
    room = ring_room(posterior, limits)
    load = None
    if case.strings is not None:
        with progress.stage("string load"):
            load = _load(known, case.strings, room)
        room = min(room, load.most)
    with progress.stage("passes"):
        plan = ring_plan(
            posterior,
            wish,
            limits,
            confidence=case.limits.confidence,
            room=room,
            tapped=known.tapped,
            allowed=case.limits.cuts_ring,
        )
    other = ()
    if wish is not None and plan.state in ("passed", "too far", "left alone"):
        with progress.stage("what would help"):
            other = helps(posterior, wish, room if plan.state == "too far" else 0.0)
    return Result(known, table, plan, load, other, len(known.sessions) or 1, _notes(known, room, load))


def _sds(known: "ClosedCase") -> "dict[Hole, np.ndarray]":
    """Standard deviations of the calibrated frequencies by state of the hole, cents."""
    import numpy as np

    from bracedtop.fem.box_calibration import box_predicted
    from bracedtop.fem.closed_modes import HOLES
    from bracedtop.fem.ring_plan import CENTS

    found = {}
    for hole in HOLES:
        _, J = box_predicted(known.posterior, hole)
        found[hole] = CENTS * np.sqrt(np.einsum("ki,ij,kj->k", J, known.posterior.covariance, J))
    return found


def _load(known: "ClosedCase", strings: "StringSet", room: float) -> "RingLoad":
    from dataclasses import replace

    from bracedtop.fem.ring_load import ring_load

    case, top = known.case, known.top
    strengths = dict(case.strengths) | {
        new: case.strengths[old] for new, old in top.strength_names.items() if old in case.strengths
    }
    design = replace(known.closed.model.top.model.design, edge=case.design.edge)
    return ring_load(
        design,
        top.woods,
        strings,
        strengths,
        case.limits,
        taken=known.posterior.taken,
        depth=max(room, 0.01e-3),
        size=case.mesh_size,
    )


def _notes(known: "ClosedCase", room: float, load: "RingLoad | None") -> tuple[str, ...]:
    from bracedtop.geometry.units import MM

    found = []
    if not known.sessions:
        found.append(
            "the closed box has not been tapped: frequencies are the drawing's, and no pass is planned; put taps into "
            "closed/open and closed/blocked"
        )
    elif not known.tapped:
        found.append("the last pass has not been tapped: tap the hole open and blocked before the next one")
    elif len(known.sessions[-1].taps) < 2:
        (only,) = known.sessions[-1].taps
        found.append(f"tapped with the hole {only} only; the other state tells top and air apart")
    if not known.top.tapped:
        found.append("the loose top was not tapped: its woods are those of their kind")
    found.append(f"at most {max(room, 0.0) / MM:.2f} mm more may be taken off the ring")
    if load is not None and load.binding and load.most < room + 1e-9:
        found.append(f"what stops it is the strings' load: {load.binding}")
    if load is not None:
        limit = known.case.limits.largest_stress_share
        found += [
            f"{name}: at {100 * share:.0f} % of its short-term strength under the strings already, more than "
            f"{100 * limit:.0f} %"
            for name, share in load.now.shares.items()
            if share > limit
        ]
    if known.sessions:
        found.append("the model has no strings: tap with them off, or slack and damped, and the same way each time")
    return (*found, *known.posterior.notes)


def _draw(found: Result, folder: Path) -> tuple[str | None, list[str]]:
    from bracedtop.fem.picture import draw_pictures
    from bracedtop.fem.ring_picture import ring_picture

    closed = found.known.closed
    design = closed.model.top.model.design
    words = "top with the hole blocked: part of what the ring does to it"
    jobs = [ring_picture(design, found.table.fields["blocked"], closed.top_blocked, words)]
    return draw_pictures(jobs, folder).note, [f"{job.name}.png" for job in jobs]


def ring_json(found: Result) -> dict[str, Any]:
    """What ``ring --json`` prints."""
    import numpy as np

    from bracedtop.fem.box_lumped import lumped_of
    from bracedtop.fem.lumped import split as split_of
    from bracedtop.fem.ring_picture import sector_name
    from bracedtop.fem.ring_table import ring_grams
    from bracedtop.fem.ring_words import (
        CAUTIONS,
        STRING_CAUTION,
        help_words,
        note_words,
        pass_words,
        practice_words,
        state_words,
        stop_words,
    )
    from bracedtop.geometry.units import MM, cents

    known, table, plan = found.known, found.table, found.plan
    closed, design = known.closed, known.closed.model.top.model.design
    field = table.fields["blocked"]
    shares, areas = field.sector_shares(closed.top_blocked)
    now = {note: float(values[0]) for note, values in plan.sunk.hz.items()}
    split = split_of(lumped_of(closed.model, known.posterior.values, with_back=False))
    left = design.plate.thickness - design.plate.ring_reduction - known.posterior.taken
    return {
        "case": known.case.name,
        "state": plan.state,
        "in_words": state_words(plan),
        "ring": {
            "width_mm": design.plate.ring_width / MM,
            "thickness_mm": left / MM,
            "taken_mm": known.posterior.taken / MM,
            "room_mm": plan.room / MM,
            "area_cm2": 1e4 * field.ring_area(),
        },
        "notes_heard": [
            {
                "note": note,
                "hz": hz,
                "name": note_words(hz),
                "sd_cents": float(plan.sunk.sd_cents[note][0]),
            }
            for note, hz in now.items()
        ],
        "apart": {
            "top_blocked_over_air_cents": cents(now["top blocked"], now["air"]),
            "top_over_air_cents": cents(now["top"], now["air"]),
            "by_themselves": {
                "top_on_closed_box_hz": split.closed,
                "hole_in_rigid_box_hz": split.hole,
                "pair_hz": [split.low, split.high],
                "pushed_apart_hz": split.pushed,
            },
        },
        "modes": [
            {
                "hole": line.hole,
                "mode": line.mode,
                "name": line.name,
                "note": line.note,
                "hz": line.hz,
                "sd_cents": line.sd_cents,
                "hz_per_hundredth": line.per_hundredth,
                "change_hz": dict(zip(_takes(table), line.changes.tolist(), strict=True)),
                "q": line.q,
                "t60_s": line.t60,
                "change_t60_s": dict(zip(_takes(table), line.t60_changes.tolist(), strict=True)),
            }
            for line in table.lines
        ],
        "grams": {text: ring_grams(field, d) for text, d in zip(_takes(table), table.takes, strict=True)},
        "widths": [
            {"width_mm": w.width / MM, "hz_per_hundredth": w.per_hundredth, "grams_per_hundredth": w.grams}
            for w in table.widths
        ],
        "useful_width_mm": table.best / MM,
        "sectors": [
            {"sector": k + 1, "where": sector_name(design, k), "share": float(s), "share_of_area": float(a)}
            for k, (s, a) in enumerate(zip(shares, areas, strict=True))
        ],
        "practice": practice_words(table.lines, table.takes),
        "calibration": _calibration(known),
        "wish": None if plan.wish is None else plan.wish.words,
        "off_cents": float(plan.sunk.off[0]),
        "off_sd_cents": float(plan.sunk.off_sd[0]),
        "cents_per_hundredth": plan.rate * 0.01 * MM,
        "unreachable_by_cents": plan.short,
        "passes": [
            {
                "depth_mm": one.depth / MM,
                "grams": ring_grams(field, one.depth),
                "off_cents": one.off,
                "sd_cents": one.sd,
                "chance_of_passing": one.chance,
                "hz": one.hz,
            }
            for one in plan.passes
        ],
        "next": pass_words(plan, found.number, ring_grams(field, plan.passes[0].depth)) if plan.passes else None,
        "stop": stop_words(plan) if plan.passes else None,
        "would_help": [help_words(one) for one in found.helps],
        "string_load": _load_json(found),
        "notes": list(found.notes),
        "cautions": [*CAUTIONS, *([] if found.load is None else [STRING_CAUTION])] if plan.passes else [],
        "covariance_of_numbers": np.asarray(known.posterior.covariance).tolist(),
    }


def _takes(table: "RingTable") -> list[str]:
    return [f"{1e3 * depth:.2f} mm" for depth in table.takes]


def _calibration(known: "ClosedCase") -> dict[str, Any]:
    import numpy as np

    from bracedtop.fem.box_calibration import N_NUMBERS, NUMBERS
    from bracedtop.fem.closed_case import measured_q

    posterior = known.posterior
    rows = []
    by_number = {
        session.number: (session, pairing) for session, pairing in zip(known.sessions, known.pairings, strict=True)
    }
    for heard in posterior.heard:
        session, pairing = by_number[heard.number]
        q = measured_q(session.taps, pairing)
        for k, (hole, mode) in enumerate(heard.places):
            rows.append(
                {
                    "visit": session.number,
                    "hole": hole,
                    "mode": mode + 1,
                    "tapped_hz": float(heard.measured[k]),
                    "expected_hz": float(heard.before[k]),
                    "cents_before": float(heard.cents_before[k]),
                    "cents_after": float(heard.cents[k]),
                    "tapped_q": q.get((hole, mode)),
                    "set_aside": bool(heard.set_aside[k]),
                }
            )
    numbers = [
        {
            "number": number.name,
            "factor" if i < N_NUMBERS - 1 else "taken_mm": float(
                np.exp(posterior.mean[i]) if i < N_NUMBERS - 1 else 1e3 * posterior.mean[i]
            ),
            "sd": float(posterior.sd[i] if i < N_NUMBERS - 1 else 1e3 * posterior.sd[i]),
        }
        for i, number in enumerate(NUMBERS)
    ]
    return {"taps": rows, "numbers": numbers}


def _load_json(found: Result) -> dict[str, Any] | None:
    load = found.load
    if load is None:
        return None
    first = found.plan.passes[0].depth if found.plan.passes else 0.0
    whole = sum(one.depth for one in found.plan.passes)
    stages: dict[str, Any] = {}
    for name, depth in (("now", 0.0), ("after_pass", first), ("at_the_end", whole), ("at_least_thickness", load.depth)):
        turn, share, where = load.at(depth)
        stages[name] = {"turn_deg": turn, "largest_share": share, "where": where}
    return {**stages, "deepest_mm": None if load.most == float("inf") else 1e3 * load.most, "binding": load.binding}


def _print(found: Result, data: dict[str, Any]) -> None:
    from bracedtop.fem.ring_words import note_words
    from bracedtop.scripts.console import print_table, signed

    table = found.table
    ring = data["ring"]
    print(f"{data['case']}: {data['in_words']}")
    print(f"Ring: {ring['width_mm']:.0f} mm wide, {ring['thickness_mm']:.2f} mm thick, {ring['area_cm2']:.0f} cm2")
    apart = data["apart"]
    alone = apart["by_themselves"]
    print(
        f"Top with the hole blocked and air: {apart['top_blocked_over_air_cents']:.0f} cents apart "
        f"({apart['top_blocked_over_air_cents'] / 100:.1f} semitones); top with the hole open and air: "
        f"{apart['top_over_air_cents']:.0f}. By themselves, the back stiff: top {alone['top_on_closed_box_hz']:.1f} "
        f"Hz, hole {alone['hole_in_rigid_box_hz']:.1f} Hz; together {alone['pair_hz'][0]:.1f} and "
        f"{alone['pair_hz'][1]:.1f} Hz"
    )
    print()
    takes = _takes(table)
    print_table(
        ["hole", "mode", "", "Hz", "note", "95 % cents", "Hz per 0.01 mm", *takes, "Q", "T60 s", f"T60 at {takes[-1]}"],
        [
            [
                line.hole,
                str(line.mode),
                line.name + (f" ({line.note})" if line.note else ""),
                f"{line.hz:.1f}",
                note_words(line.hz),
                f"{1.96 * line.sd_cents:.0f}",
                signed(line.per_hundredth, 3),
                *(signed(float(change), 2) for change in line.changes),
                f"{line.q:.0f}",
                f"{line.t60:.2f}",
                f"{line.t60 + float(line.t60_changes[-1]):.2f}",
            ]
            for line in table.lines
        ],
        left=3,
    )
    grams = ", ".join(f"{value:.1f} g for {text}" for text, value in data["grams"].items())
    print(f"Hertz for each thickness taken off all round; wood: {grams}")
    print()
    print_table(
        ["ring width", "Hz per 0.01 mm, top blocked", "g per 0.01 mm", "Hz per g"],
        [
            [
                f"{row['width_mm']:.0f} mm",
                signed(row["hz_per_hundredth"], 3),
                f"{row['grams_per_hundredth']:.3f}",
                f"{row['hz_per_hundredth'] / row['grams_per_hundredth']:.2f}",
            ]
            for row in data["widths"]
        ],
    )
    print(
        f"Beyond {data['useful_width_mm']:.0f} mm from the rim, wood works less than a quarter of what the outermost "
        "does on the top's note."
    )
    places: dict[str, float] = {}
    for row in data["sectors"]:
        places[row["where"]] = places.get(row["where"], 0.0) + row["share"]
    best = sorted(places.items(), key=lambda item: -item[1])[:5]
    words = "; ".join(f"{where} {100 * share:.0f} %" for where, share in best)
    print(f"Where along the rim, of what the ring does to the top's note: {words}; see ring-where.png")
    print(data["practice"])
    _print_taps(data)
    _print_plan(found, data)


def _print_taps(data: dict[str, Any]) -> None:
    from bracedtop.scripts.console import print_table, signed

    rows = data["calibration"]["taps"]
    if not rows:
        return
    print()
    print("Taps of the closed box")
    print_table(
        ["visit", "hole", "mode", "tapped Hz", "expected Hz", "cents off", "after the fit", "tapped Q", ""],
        [
            [
                str(row["visit"]),
                row["hole"],
                str(row["mode"]),
                f"{row['tapped_hz']:.1f}",
                f"{row['expected_hz']:.1f}",
                signed(row["cents_before"], 0),
                signed(row["cents_after"], 1),
                None if row["tapped_q"] is None else f"{row['tapped_q']:.0f}",
                "set aside" if row["set_aside"] else "",
            ]
            for row in rows
        ],
        left=3,
    )


def _print_plan(found: Result, data: dict[str, Any]) -> None:
    from bracedtop.scripts.console import print_table

    print()
    for line in data["notes"]:
        print(f"note: {line}")
    if data["passes"]:
        print_table(
            ["pass", "mm", "g", "cents left", "95 %", "chance past"],
            [
                [
                    str(found.number + k),
                    f"{row['depth_mm']:.2f}",
                    f"{row['grams']:.2f}",
                    f"{row['off_cents']:.0f}",
                    f"{1.96 * row['sd_cents']:.0f}",
                    f"{100 * row['chance_of_passing']:.1f} %",
                ]
                for k, row in enumerate(data["passes"])
            ],
        )
        print("Only the first is to be made; the others are what is left if each re-tap shows what is expected.")
        print(data["next"])
        print(data["stop"])
    load = data["string_load"]
    if load is not None:
        now, least = load["now"], load["at_least_thickness"]
        print(
            f"Under the strings the bridge turns by {now['turn_deg']:.2f} degrees now and {least['turn_deg']:.2f} at "
            f"the ring's least thickness; largest stress {100 * now['largest_share']:.0f} % of short-term strength, "
            f"then {100 * least['largest_share']:.0f} % ({least['where']})"
        )
    for line in data["would_help"]:
        print(f"- {line}")
    for line in data["cautions"]:
        print(f"- {line}")
    if data["passes"]:
        took = f"--took {data['passes'][0]['depth_mm']:.2f}"
        print(
            f"Next: take the pass, then bracedtop ring {found.known.case.folder} {took} (or what was really taken), "
            "and tap again, hole open and blocked."
        )


def _record(args: argparse.Namespace, case: "Case") -> int:
    """Write a pass over the ring into the case and its log."""
    from bracedtop.fem.bench_log import append, note_entry
    from bracedtop.fem.closed_prior import with_ring
    from bracedtop.fem.closed_taps import FOLDER_NAME, read_closed, retap_words
    from bracedtop.fem.cut_file import FILE_NAME as CUT
    from bracedtop.fem.cut_file import cut_text, write_cut
    from bracedtop.fem.session import PREFIX, pass_folders
    from bracedtop.geometry.cut import EDGE_RING, Cut, cut_design
    from bracedtop.geometry.errors import DesignError, FileError
    from bracedtop.geometry.units import MM
    from bracedtop.scripts.console import print_json

    if case.box is None:
        message = f"{case.name}: no box; the drawing needs [sides] and [back]"
        raise DesignError(message)
    design = with_ring(case.design, case.box.ring_width)
    sessions = read_closed(case.folder, design)
    if not sessions or not sessions[-1].taps:
        where = case.folder / FOLDER_NAME if not sessions else sessions[-1].folder
        message = f"{where}: not tapped; before a pass is recorded, {retap_words(where)}"
        raise FileError(message)
    for session in sessions:
        if session.depth:
            design = cut_design(design, [Cut(EDGE_RING, 0.0, 0.0, session.depth, session.depth)])
    cut = Cut(EDGE_RING, 0.0, 0.0, args.took, args.took)
    after = cut_design(design, [cut])
    left = after.plate.thickness - after.plate.ring_reduction
    number = len(sessions)
    folder = case.folder / FOLDER_NAME / f"{PREFIX}{number}"
    for hole in ("open", "blocked"):
        (folder / hole / "taps").mkdir(parents=True, exist_ok=True)
    write_cut(folder / CUT, cut_text([cut], [f"Pass {number} over the ring of the closed box."]))
    text = (
        f"closed box, pass {number} over the ring: {args.took / MM:.3g} mm off, {left / MM:.2f} mm left "
        f"({after.plate.ring_width / MM:.0f} mm wide)"
    )
    append(case.folder, note_entry(text, len(pass_folders(case.folder))))
    written = [str(folder / CUT), str(case.folder / "log.jsonl")]
    if args.json:
        print_json(
            {"case": case.name, "pass": number, "took_mm": args.took / MM, "left_mm": left / MM, "written": written}
        )
        return 0
    print(f"{text[0].upper()}{text[1:]}")
    least = case.closed_limits.least(after.plate.thickness)
    if left < least:
        print(f"note: that is below {least / MM:.2f} mm, the least thickness; leave the ring from here on")
    print(f"Next: {retap_words(folder)}; then bracedtop ring {case.folder}")
    print(f"Written: {', '.join(written)}")
    return 0
