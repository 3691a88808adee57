"""One safe pass toward the targets of top.toml, planned for all braces together.

Reads the taps of the case and of every pass behind it, fits the model to them, and says what to take off next, what the
re-tap should show, and when to stop. Never more than one pass: record it with bracedtop cut, tap again, and plan again.
Targets and limits are [[target]] and [plan] in top.toml. Writes out/plan/ (plan.json, cut.csv, pictures) and a line in
log.jsonl.

example:
  bracedtop plan wren
  bracedtop plan wren --json > wren-plan.json
"""

import argparse
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.calibration import Posterior
    from bracedtop.fem.case import Case
    from bracedtop.fem.match import Pairing
    from bracedtop.fem.plan import Plan
    from bracedtop.fem.plan_load import LoadCheck
    from bracedtop.fem.reduced import Reduced
    from bracedtop.fem.session import Session
    from bracedtop.fem.taps import Taps
    from bracedtop.fem.target import Target
    from bracedtop.geometry.design import Design
    from bracedtop.scripts.console import Stages

OWN_FILES = ("plan/*.json", "plan/*.csv", "plan/*.png")


@dataclass(frozen=True, slots=True)
class Result:
    """All that the command shows."""

    case: "Case"
    number: int
    plan: "Plan"
    grams: tuple[float, ...]
    tapped: bool
    load: "Mapping[str, Any] | None"
    notes: tuple[str, ...]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--no-pictures", action="store_true", help="tables only")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Plan one pass."""
    from bracedtop.fem.case import read_case
    from bracedtop.scripts.console import Progress, print_json

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    found, before = planned(case, progress)
    data, written, about_pictures = write_plan(args.case, found, before, progress, pictures=not args.no_pictures)
    if args.json:
        print_json({**data, "written": written})
        return 0
    _print(found, data)
    if about_pictures:
        print(f"note: {about_pictures}")
    print(f"Written: {', '.join(written)}")
    return 0


def planned(
    case: "Case",
    progress: "Stages",
    *,
    read: "Callable[[Path], Taps] | None" = None,
    chosen: "Callable[[Session], Mapping[int, int]] | None" = None,
) -> "tuple[Result, Design]":
    """The plan of a case's next pass, and the top before it.

    Parameters
    ----------
    case : Case
    progress : Stages
    read : callable, optional
        Reads the taps in a session's folder.
    chosen : callable, optional
        Gives pairs that the maker has set by hand in a session: the mode by the tap's number, 0 for none.

    Raises
    ------
    FileError, DesignError, MeshError, AccuracyError
    """
    from bracedtop.fem.cut_mass import cut_grams
    from bracedtop.fem.plan import make_plan
    from bracedtop.fem.reduced_file import case_reduced
    from bracedtop.geometry.cut import cut_design

    _refuse_without_targets(case)
    with progress.stage("taps"):
        sessions = _sessions(case, read)
    with progress.stage("what-if model"):
        reduced = case_reduced(case)
    by_hand = {} if chosen is None else {session.number: chosen(session) for session in sessions}
    with progress.stage("calibration"):
        posterior, pairings = _known(case, reduced, sessions, by_hand)
    targets = _targets(case, reduced, posterior, sessions, pairings)
    check = _load_check(case, reduced)
    with progress.stage("plan"):
        narrowed = None if check is None else check.narrowed
        plan = make_plan(reduced, posterior, targets, case.limits, narrowed=narrowed)
    design = case.design
    for session in sessions:
        design = cut_design(design, session.cuts)
    with progress.stage("string load"):
        load = None if check is None else _load(check, plan)
    notes = (*posterior.notes, *([] if check is None else check.beyond(posterior.values)))
    found = Result(
        case,
        sessions[-1].number + 1,
        plan,
        cut_grams(design, case.woods, plan.cuts),
        any(session.taps is not None for session in sessions),
        load,
        notes,
    )
    return found, design


def write_plan(
    folder: Path, found: Result, before: "Design", progress: "Stages", *, pictures: bool
) -> tuple[dict[str, Any], list[str], str | None]:
    """Put a plan into out/plan/ and the log.

    Returns
    -------
    data : dict
        What ``plan --json`` prints.
    written : list of str
    note : str or None
        About the pictures.
    """
    from bracedtop.fem.bench_log import append, plan_entry
    from bracedtop.fem.cut_file import cut_text
    from bracedtop.scripts.console import json_text
    from bracedtop.scripts.results import fresh_results

    plan = found.plan
    data = plan_json(found)
    files = ["plan.json", *(["cut.csv"] if plan.cuts else [])]
    note = None
    with fresh_results(folder, OWN_FILES) as fresh:
        out = fresh / "plan"
        out.mkdir()
        (out / "plan.json").write_text(json_text(data) + "\n", encoding="utf-8")
        if plan.cuts:
            comments = [f"Pass {found.number} as planned; depths are off the free side, in mm."]
            (out / "cut.csv").write_text(cut_text(plan.cuts, comments), encoding="utf-8")
        if pictures:
            with progress.stage("pictures"):
                note, names = _draw(before, found, out)
            files += names
    append(folder, plan_entry(log_data(data), found.number))
    written = [str(folder / "out" / "plan" / name) for name in files] + [str(folder / "log.jsonl")]
    return data, written, note


def _refuse_without_targets(case: "Case") -> None:
    from bracedtop.geometry.errors import DesignError

    if not case.targets and not case.other_targets:
        message = 'top.toml: has no [[target]]; a plan needs one, such as [[target]] with mode = 6 and note = "D4"'
        raise DesignError(message)


def _sessions(case: "Case", read: "Callable[[Path], Taps] | None") -> "tuple[Session, ...]":
    """All sessions; refused if the last pass was cut and not tapped since."""
    from bracedtop.fem.session import read_sessions, refuse_untapped
    from bracedtop.fem.taps import read_taps

    sessions = read_sessions(case.folder, case.design, read=read or read_taps)
    if sessions[-1].number:
        refuse_untapped(sessions)
    return sessions


def _known(
    case: "Case", reduced: "Reduced", sessions: "Sequence[Session]", chosen: "Mapping[int, Mapping[int, int]]"
) -> "tuple[Posterior, tuple[Pairing | None, ...]]":
    """What is known of the top: from all taps, or from the drawing alone."""
    from bracedtop.fem.calibrated_case import calibrated, case_boards
    from bracedtop.fem.calibration import start
    from bracedtop.fem.prior import default_prior

    if all(session.taps is None for session in sessions):
        boards = case_boards(case.folder)
        return start(reduced, default_prior(case.design, case.woods, reduced.parameters, board=boards)), (None,)
    _, posterior, _, pairings = calibrated(case, reduced, sessions, chosen=chosen)
    return posterior, pairings


def _targets(
    case: "Case",
    reduced: "Reduced",
    posterior: "Posterior",
    sessions: "Sequence[Session]",
    pairings: "Sequence[Pairing | None]",
) -> "tuple[Target, ...]":
    """The drawing's targets; modes to keep are kept where they were tapped first, loss factors are the last ones."""
    from bracedtop.fem.calibration import predicted
    from bracedtop.fem.target import DECAY, settled

    hz, _ = predicted(reduced, posterior)
    first: dict[int, float] = {}
    loss: dict[int, float] = {}
    for session, pairing in zip(sessions, pairings, strict=True):
        if session.taps is None or pairing is None:
            continue
        by_number = {mode.number: mode for mode in session.taps.measured}
        for one in pairing.pairs:
            if one.ambiguous_with:
                continue
            first.setdefault(one.mode, one.measured_hz)
            tap = by_number[one.number]
            if tap.q:
                loss[one.mode] = 1.0 / tap.q
            elif tap.decay_time:
                loss[one.mode] = DECAY / (3.141592653589793 * tap.hz * tap.decay_time)
    for mode, value in first.items():
        if mode <= len(hz):
            hz[mode - 1] = value
    return settled((*case.targets, *case.other_targets), hz, loss)


def _load_check(case: "Case", reduced: "Reduced") -> "LoadCheck | None":
    from bracedtop.fem.plan_load import LoadCheck

    return None if case.strings is None else LoadCheck(reduced, case.strings, case.strengths, case.limits)


def _load(check: "LoadCheck", plan: "Plan") -> dict[str, Any]:
    """Turn of the bridge and the largest share of strength now, after this pass and at the plan's end."""
    found: dict[str, Any] = {}
    for name, depths in (("now", 0.0 * plan.depths), ("after_pass", plan.depths), ("at_the_end", plan.whole_depths)):
        state = check.state(plan.problem.values(depths))
        where, share = state.worst
        found[name] = {"turn_deg": state.turn, "largest_share": share, "where": where}
    return found


def _draw(design: "Design", found: Result, folder: Path) -> tuple[str | None, list[str]]:
    from bracedtop.fem.picture import draw_pictures
    from bracedtop.fem.plan_picture import plan_pictures

    jobs = plan_pictures(design, found.plan, found.number)
    return draw_pictures(jobs, folder).note, [f"{job.name}.png" for job in jobs]


def plan_json(found: Result) -> dict[str, Any]:
    """What ``plan --json`` prints."""
    import numpy as np

    from bracedtop.fem.log_entry import logged_cut
    from bracedtop.fem.plan_words import (
        CAUTIONS,
        STRING_CAUTION,
        UNTAPPED,
        expected_rows,
        off_words,
        state_words,
        stop_rules,
        target_words,
        unreachable_words,
    )

    plan = found.plan
    rows = zip(plan.goals, plan.targets, plan.in_band_now, plan.in_band, strict=True)
    every = range(1, len(plan.now) + 1)
    return {
        "case": found.case.name,
        "pass": found.number,
        "tapped": found.tapped,
        "done": plan.done,
        "state": state_words(plan),
        "cuts": [logged_cut(cut, g).model_dump() for cut, g in zip(plan.cuts, found.grams, strict=True)],
        "grams": sum(found.grams),
        "targets": [
            {
                "mode": target.mode,
                "kind": target.kind,
                "weight": target.weight,
                "wish": target_words(goal, target),
                "now_hz": float(plan.now[target.mode - 1]),
                "now": off_words(goal, np.log(plan.now)),
                "after": off_words(goal, np.log(plan.expected)),
                "in_band_now": float(now),
                "in_band_after": float(after),
            }
            for goal, target, now, after in rows
        ],
        "expected": expected_rows(plan, every),
        "passes_left": plan.passes_left,
        "chance_of_passing": plan.chance,
        "stop": list(stop_rules(plan)),
        "unreachable": [unreachable_words(lost, plan.final) for lost in plan.unreachable],
        "string_load": found.load,
        "notes": [*([] if found.tapped else [UNTAPPED]), *found.notes],
        "cautions": [*CAUTIONS, *([] if found.load is None else [STRING_CAUTION])] if plan.cuts else [],
    }


def log_data(data: Mapping[str, Any]) -> dict[str, Any]:
    """What the bench log keeps of it."""
    expected = [
        {"mode": row["mode"], "hz": round(row["hz"], 3), "std_hz": round((row["high_hz"] - row["low_hz"]) / 3.92, 4)}
        for row in data["expected"]
    ]
    targets = [
        {
            **{key: row[key] for key in ("mode", "kind", "weight", "wish", "now", "after")},
            "text": f"{row['wish']} ({row['now']} now, {row['after']} after it)",
        }
        for row in data["targets"]
    ]
    kept = {key: data[key] for key in ("done", "state", "passes_left", "unreachable")}
    return {**kept, "targets": targets, "cuts": data["cuts"], "expected": expected}


def _print(found: Result, data: Mapping[str, Any]) -> None:
    from bracedtop.scripts.console import print_table
    from bracedtop.scripts.cut import print_rows

    plan = found.plan
    print(f"{found.case.name}, pass {found.number}: {data['state']}")
    for line in data["notes"]:
        print(f"note: {line}")
    print_table(
        ["target", "", "now Hz", "now", "after this pass", "chance in band"],
        [
            [
                f"mode {row['mode']}: {row['wish']}",
                "" if row["weight"] == "must" else "wanted",
                f"{row['now_hz']:.1f}",
                row["now"],
                row["after"],
                f"{100 * row['in_band_after']:.0f} %",
            ]
            for row in data["targets"]
        ],
        left=2,
    )
    for line in data["unreachable"]:
        print(f"not reached by taking wood off: {line}")
    if not plan.cuts:
        return
    print()
    print_rows(f"Cut list of pass {found.number}", data["cuts"])
    print()
    print("What the re-tap should show")
    _print_expected(data["expected"])
    _print_load(found.load)
    for line in (*data["stop"], *data["cautions"]):
        print(f"- {line}")
    print(f"Next: cut, then bracedtop cut {found.case.folder} --as-planned (or say what was cut), and tap again.")


def _print_expected(rows: Sequence[Mapping[str, Any]]) -> None:
    from bracedtop.scripts.console import print_table, signed

    print_table(
        ["mode", "now Hz", "then Hz", "95 % from", "to", "cents"],
        [
            [
                str(row["mode"]),
                f"{row['now_hz']:.1f}",
                f"{row['hz']:.1f}",
                f"{row['low_hz']:.1f}",
                f"{row['high_hz']:.1f}",
                signed(row["change_cents"], 0),
            ]
            for row in rows
        ],
    )


def _print_load(load: Mapping[str, Any] | None) -> None:
    if load is None:
        return
    now, after, end = (load[key] for key in ("now", "after_pass", "at_the_end"))
    print(
        f"Under the strings the bridge turns by {now['turn_deg']:.2f} degrees now, {after['turn_deg']:.2f} after this "
        f"pass, {end['turn_deg']:.2f} at the end; largest stress {100 * after['largest_share']:.0f} % of short-term "
        f"strength ({after['where']})"
    )
