"""The what-if model against full solutions in the same run: time to make it, time and error of a what-if.

Profiles are drawn at random between the least heights of its range and those drawn: every station by itself, or smooth
hollows in each brace. The least heights are 40 % of those drawn, more at joints; ends lower than the top is thick stay.

example:
  python scripts/benchmarks/what_if.py cases/wren --profiles 200
"""

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

N_MODES = 12
SEED = 4


def profiles(parameters: Sequence[Any], n: int) -> list[Any]:
    """Values of all parameters for random profiles, uneven and hollowed by turns."""
    import numpy as np

    rng = np.random.default_rng(SEED)
    drawn = np.array([p.drawn for p in parameters])
    is_height = np.array([p.kind == "height" for p in parameters])
    low = np.array([p.low for p in parameters])
    at = np.array([p.at for p in parameters])
    found = []
    for k in range(n):
        share = rng.uniform(0.4, 1.0, len(drawn))
        if k % 2:
            for brace in {p.part for p in parameters if p.kind == "height"}:
                mine = is_height & np.array([p.part == brace for p in parameters])
                s = at[mine]
                hollow = np.zeros(len(s))
                for _ in range(rng.integers(1, 4)):
                    half = rng.uniform(0.1, 0.3) * s.max() + 25e-3
                    hollow += rng.uniform(0, 0.6) * np.maximum(0, 1 - ((s - rng.uniform(0, s.max())) / half) ** 2)
                share[mine] = rng.uniform(0.6, 1.0) - hollow
        heights = np.maximum(np.clip(share, 0.4, 1.0) * drawn, low)
        found.append(np.where(is_height, heights, drawn))
    return found


def seconds(function: Any, repeats: int) -> float:
    """Shortest wall time of a call."""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        best = min(best, time.perf_counter() - start)
    return best


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("case", type=Path)
    parser.add_argument("--profiles", type=int, default=200)
    given = parser.parse_args(arguments)

    import numpy as np

    from bracedtop.fem.case import read_case
    from bracedtop.fem.model import build_model, solve
    from bracedtop.fem.parameter import drawing_at
    from bracedtop.fem.reduced import rates, shapes, what_if
    from bracedtop.fem.reduced_build import build_reduced

    case = read_case(given.case)
    start = time.perf_counter()
    reduced = build_reduced(case.design, case.woods, N_MODES, size=case.mesh_size)
    made = time.perf_counter() - start
    print(f"{given.case}: {len(reduced.parameters)} parameters, basis of {len(reduced.K)}", flush=True)

    def full(values: Any) -> Any:
        design, woods = drawing_at(case.design, case.woods, reduced.parameters, values)
        return solve(build_model(design, woods, mesh=reduced.mesh), N_MODES)

    values = profiles(reduced.parameters, given.profiles)
    state = what_if(reduced, values[0])
    quick = seconds(lambda: shapes(reduced, what_if(reduced, values[0])), 200)
    slope = seconds(lambda: rates(reduced, state), 50)
    slow = seconds(lambda: full(values[0]), 5)
    print(f"  made in                          {made:8.1f} s    (goal 5)")
    print(f"  a what-if, 12 modes and shapes   {1e3 * quick:8.1f} ms   (goal 5)")
    print(f"  all its derivatives              {1e3 * slope:8.1f} ms")
    print(f"  a full solution on the same mesh {1e3 * slow:8.0f} ms")
    print(f"  ratio                            {slow / quick:8.0f}      (goal 200)", flush=True)
    errors = []
    for k, each in enumerate(values):
        errors.append(100 * np.abs(what_if(reduced, each).frequencies / full(each).frequencies - 1).max())
        print(f"\r  {k + 1} of {len(values)} profiles, worst error {max(errors):.3f} %", end="", file=sys.stderr)
    print(file=sys.stderr)
    for name, part in (("uneven", errors[::2]), ("hollowed", errors[1::2])):
        if part:
            print(
                f"  largest error of a frequency, {len(part)} {name} profiles: worst {max(part):.3f} %, "
                f"median {np.median(part):.3f} %, 95 of 100 below {np.quantile(part, 0.95):.3f} %   (goal 0.05)"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
