"""The coupled box: time to make it, time and error of a what-if, against full models in the same run.

The top's modes by themselves come first, as every command solves them; the box is what comes on top of that. A what-if
changes the ring, a lining's springs and a film at once. Errors are those of the fewer vectors (fem/box_basis) against
the whole bases of the faces, for values drawn at random.

example:
  python scripts/benchmarks/box.py cases/wren --values 20
"""

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

SEED = 5
N_MODES = 24


def seconds(function: Callable[[], Any], repeats: int) -> float:
    """Shortest time of a call."""
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        function()
        best = min(best, time.process_time() - start)
    return best


def anything(face: Any, rng: Any) -> Any:
    """Values of a face drawn at random: ring, rim and film up to double or half, woods as boards differ, a mass."""
    from bracedtop.fem.face_values import FaceValues

    def factor(most: float) -> float:
        return float(most ** rng.uniform(-1, 1))

    springs = ("deflection", "rotation", "inplane")
    rim = replace(face.rim, **{key: getattr(face.rim, key) * factor(2.0) for key in springs})
    film = face.finish and replace(
        face.finish, mass=face.finish.mass * factor(2.0), thickness=face.finish.thickness * factor(2.0)
    )
    return FaceValues(
        ring=rng.uniform(0, 0.3e-3),
        rim=rim,
        finish=film,
        E_L=factor(1.1),
        E_R=factor(1.15),
        G_LR=factor(1.15),
        density=factor(1.07),
        thickness=factor(1.04),
        added_mass=rng.uniform(0, 0.02),
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("case", type=Path)
    parser.add_argument("--values", type=int, default=20)
    given = parser.parse_args(arguments)

    import numpy as np

    from bracedtop.fem.box_basis import narrowed_box
    from bracedtop.fem.box_model import BoxValues, build_box, solve_box
    from bracedtop.fem.box_rates import box_rates
    from bracedtop.fem.case import read_case
    from bracedtop.fem.model import build_model, solve

    case = read_case(given.case)
    start = time.process_time()
    solve(build_model(case.design, case.woods, size=case.mesh_size), 12)
    top = time.process_time() - start
    start, wall = time.process_time(), time.perf_counter()
    build_box(case, what_if=False)
    drawn = time.process_time() - start
    drawn_wall = time.perf_counter() - wall
    start = time.process_time()
    whole = build_box(case, narrow=False)
    made = time.process_time() - start
    small = narrowed_box(whole)
    narrow = time.process_time() - start - made
    print(f"{given.case}: {whole.size} unknowns, {small.size} in fewer vectors", flush=True)
    changed = BoxValues(
        replace(
            anything(small.top, np.random.default_rng(SEED)), E_L=1.0, E_R=1.0, G_LR=1.0, density=1.0, thickness=1.0
        )
    )
    quick = seconds(lambda: solve_box(small, changed), 100)
    slow = seconds(lambda: solve_box(whole, changed), 20)
    modes = solve_box(small)
    slopes = seconds(lambda: box_rates(small, modes), 3)
    rng = np.random.default_rng(SEED)
    off = []
    for _ in range(given.values):
        back = None if whole.back is None else anything(whole.back, rng)
        values = BoxValues(anything(whole.top, rng), volume=float(np.exp(rng.uniform(-0.1, 0.1))))
        values = values if back is None else replace(values, back=back)
        ours, full = (solve_box(model, values, n_modes=N_MODES).frequencies for model in (small, whole))
        off.append(np.abs(ours / full - 1))
    error = np.abs(solve_box(small).frequencies / solve_box(whole).frequencies - 1)
    print(f"  the top's modes by themselves    {top:8.1f} s")
    print(f"  the box as drawn                 {drawn:8.1f} s    (of a core; {drawn_wall:.1f} s by the clock, goal 5)")
    print(f"  the box for what-ifs, whole      {made:8.1f} s")
    print(f"  in fewer vectors                 {narrow:8.1f} s")
    print(f"  a what-if, {N_MODES} modes and losses   {1e3 * quick:8.1f} ms   (goal 10)")
    print(f"  the same in the whole bases      {1e3 * slow:8.1f} ms")
    print(f"  all derivatives                  {1e3 * slopes:8.0f} ms")
    print(f"  a what-if over making it anew    {(made + narrow) / quick:8.0f} times")
    print(f"  error as drawn, at most          {100 * error.max():8.4f} %")
    print(
        f"  at random, at most and rms       {100 * np.max(off):8.3f} % {100 * np.sqrt(np.mean(np.square(off))):.3f} %"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
