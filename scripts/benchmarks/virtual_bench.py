"""Tune virtual tops by the plan and in the usual way, and write how often each arrives into the README.

Every top is hidden (virtual_top), has targets that can be reached (virtual_target), and is tuned twice from the same
first state: by the plan (plan_way) and brace by brace (usual_way). Results are appended to a file top by top; a run
that was stopped goes on where it was.

example:
  python scripts/benchmarks/virtual_bench.py --tops 5
  python scripts/benchmarks/virtual_bench.py --tops 100 --readme
"""

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

# Read when the linear algebra libraries load: the processes share the cores among themselves.
for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

ROOT = Path(__file__).resolve().parents[2]
PATTERNS = ("x", "fan", "ladder")
WAYS = ("plan", "usual")
MOST_PASSES = 4
SEED = 4
SCHEMA = 1

MOST_DRAWN = 10
"""So many tops are drawn until targets are found for one; nearly always for the first."""


def tuned(name: str, number: int, seed: int) -> dict[str, Any]:
    """Build one top, choose its targets and tune it both ways; everything that is to be kept of it."""
    import numpy as np

    from bracedtop.scripts.benchmarks.plan_way import PlanWay
    from bracedtop.scripts.benchmarks.usual_way import UsualWay
    from bracedtop.scripts.benchmarks.virtual_target import drawn, wanted
    from bracedtop.scripts.benchmarks.virtual_top import hidden_top, patterns, ring, taps

    begun = time.process_time()
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence([seed, PATTERNS.index(name), number]).spawn(5)]
    pattern = patterns()[name]
    for _ in range(MOST_DRAWN):
        top = hidden_top(pattern, streams[0])
        sounds = ring(pattern, top)
        targets = wanted(pattern, top, sounds, streams[1])
        if targets:
            break
    else:
        message = f"{name} {number}: no targets were found for {MOST_DRAWN} tops"
        raise RuntimeError(message)
    first = taps(pattern, sounds, streams[2], [target.real for target in targets])
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "pattern": name,
        "top": number,
        "seed": seed,
        "targets": [
            {"mode": target.drawn + 1, "hz": target.hz, "from_hz": float(sounds.frequencies[target.real])}
            for target in targets
        ],
        "grams": 1e3 * sounds.mass,
    }
    makers = {"plan": lambda: PlanWay(pattern, targets), "usual": lambda: UsualWay(pattern, drawn(name), targets)}
    for way, rng in zip(WAYS, streams[3:], strict=False):
        since = time.process_time()
        record[way] = _passes(pattern, top, sounds, targets, first, makers[way](), rng)
        record[way]["seconds"] = time.process_time() - since
    record["seconds"] = time.process_time() - begun
    return record


def _passes(
    pattern: Any, top: Any, sounds: Any, targets: Sequence[Any], first: Any, maker: Any, rng: Any
) -> dict[str, Any]:
    """Passes of one maker on one top, at most `MOST_PASSES`, each with a re-tap behind it."""
    from bracedtop.geometry.errors import BracedTopError
    from bracedtop.scripts.benchmarks.virtual_target import BAND
    from bracedtop.scripts.benchmarks.virtual_top import became, cut_by_hand, ring, taps

    mass, real = sounds.mass, [target.real for target in targets]
    excess = [float(sounds.frequencies[k]) / target.hz - 1 for k, target in zip(real, targets, strict=True)]
    steps: list[dict[str, Any]] = []
    passed, end = False, ""
    # Where the program fails, the maker stops; the top is as it is then.
    try:
        steps.append(_step(excess, maker.hear(first), targets, sounds, real, ()))
        for _ in range(MOST_PASSES):
            cuts = maker.cuts()
            if not cuts:
                break
            top, measured = cut_by_hand(top, cuts, rng)
            after = ring(pattern, top)
            successor = became(sounds, after)
            real, sounds = [int(successor[k]) for k in real], after
            excess = [float(sounds.frequencies[k]) / target.hz - 1 for k, target in zip(real, targets, strict=True)]
            passed = passed or min(excess) < 0
            steps.append(_step(excess, {}, targets, sounds, real, cuts))
            maker.made(measured)
            heard = maker.hear(taps(pattern, sounds, rng, real))
            steps[-1] = _step(excess, heard, targets, sounds, real, cuts)
    except BracedTopError as error:
        end = f"error: {error}"
    plan = getattr(maker, "plan", None)
    arrived = all(0 <= part <= BAND for part in excess)
    return {
        "arrived": arrived,
        "reached": arrived and not passed,
        "passed": passed,
        "passes": max(len(steps) - 1, 0),
        "grams": 1e3 * (mass - sounds.mass),
        "steps": steps,
        "end": end or ("" if plan is None else "done" if plan.done else "held back" if plan.held_back else "open"),
    }


def _step(
    excess: Sequence[float],
    heard: dict[int, float],
    targets: Sequence[Any],
    sounds: Any,
    real: Sequence[int],
    cuts: Sequence[Any],
) -> dict[str, Any]:
    """State behind a pass: how far above its target each mode is, and what the taps were taken for."""
    taken = [heard.get(target.drawn) for target in targets]
    truth = [float(sounds.frequencies[k]) for k in real]
    return {
        "excess": [round(part, 6) for part in excess],
        # Further off than any tap errs: another mode was taken for it.
        "wrong": sum(hz is not None and abs(hz / true - 1) > 0.006 for hz, true in zip(taken, truth, strict=True)),
        "unheard": sum(hz is None for hz in taken),
        "cuts": len(cuts),
        "deepest_mm": round(1e3 * max((max(c.depth_start, c.depth_stop) for c in cuts), default=0.0), 2),
    }


def attempted(name: str, number: int, seed: int) -> dict[str, Any]:
    """As `tuned`; where the program fails, the top is kept as not reached, with the error's line."""
    from bracedtop.geometry.errors import BracedTopError

    try:
        return tuned(name, number, seed)
    except BracedTopError as error:
        return {"schema": SCHEMA, "pattern": name, "top": number, "seed": seed, "error": str(error)}


def results(path: Path, seed: int) -> list[dict[str, Any]]:
    """What earlier runs with this seed have left; a line that was cut off is left out."""
    if not path.exists():
        return []
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            record = json.loads(line)
        except json.JSONDecodeError:
            continue
        if record.get("schema") == SCHEMA and record.get("seed") == seed:
            found.append(record)
    return found


def run(path: Path, names: Iterable[str], n_tops: int, seed: int, workers: int) -> list[dict[str, Any]]:
    """All tops that are asked for; those not in the file yet are tuned and appended to it."""
    from bracedtop.scripts.benchmarks.plan_way import what_ifs

    known = {(record["pattern"], record["top"]): record for record in results(path, seed)}
    asked = [(name, number) for name in names for number in range(n_tops)]
    # One of each pattern after the other, so that a run that is stopped knows as much of each.
    missing = sorted((key for key in asked if key not in known), key=lambda key: key[1])
    path.parent.mkdir(parents=True, exist_ok=True)
    for name in {name for name, _ in missing}:
        print(f"  what-if model of {name}", file=sys.stderr, flush=True)
        what_ifs(name)
    begun = time.perf_counter()
    with ProcessPoolExecutor(workers) as pool, path.open("a", encoding="utf-8") as file:
        futures = {pool.submit(attempted, name, number, seed): (name, number) for name, number in missing}
        for done, future in enumerate(as_completed(futures), start=1):
            record = future.result()
            known[futures[future]] = record
            file.write(json.dumps(record) + "\n")
            file.flush()
            spent = time.perf_counter() - begun
            left = spent / done * (len(missing) - done)
            print(f"  {done}/{len(missing)} {_line(record)}   {left / 60:.0f} min left", file=sys.stderr, flush=True)
    return [known[key] for key in asked]


def _line(record: dict[str, Any]) -> str:
    head = f"{record['pattern']} {record['top']}"
    if "error" in record:
        return f"{head}: {record['error']}"
    ways = [
        f"{way}: {'reached' if record[way]['reached'] else 'PASSED' if record[way]['passed'] else 'missed'} "
        f"in {record[way]['passes']}"
        for way in WAYS
    ]
    return f"{head}: {', '.join(ways)}, {record['seconds']:.0f} s of a core"


def main() -> int:
    """Run, print, and write the README if asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tops", type=int, default=100, metavar="N", help="tops of each pattern (100)")
    parser.add_argument("--patterns", nargs="+", choices=PATTERNS, default=PATTERNS, help="which ones (all)")
    parser.add_argument("--seed", type=int, default=SEED, help=f"of everything that is drawn at random ({SEED})")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, help="processes (one a core)")
    default = Path(tempfile.gettempdir()) / "bracedtop-virtual-bench" / "tops.jsonl"
    parser.add_argument("--work", type=Path, default=default, metavar="FILE", help=f"results top by top ({default})")
    parser.add_argument("--readme", action="store_true", help="write the table into README.md")
    args = parser.parse_args()
    from bracedtop.scripts.benchmarks.virtual_table import table, written

    records = run(args.work, args.patterns, args.tops, args.seed, args.workers)
    print("\n".join(table(records)))
    print(f"Results top by top: {args.work}")
    if args.readme:
        print(f"Written: {written(ROOT / 'README.md', records)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
