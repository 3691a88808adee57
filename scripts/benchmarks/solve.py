"""Seconds of each stage of a solve, and the same top as orthotropic solids of equal accuracy in the same run.

Needs NGSolve (the test extra) and a source tree, whose tests/reference holds the solids.

example:
  python scripts/benchmarks/solve.py cases/wren
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
N_MODES = 12
REPEATS = 3

LADDER = ((2, 20e-3), (3, 20e-3), (4, 20e-3))
"""Order and element size (m) of the solids, from coarse to fine; the last one only measures the error of the others."""


def timed(function: Callable[..., Any], *args: Any, **kwargs: Any) -> tuple[float, Any]:
    """Shortest of `REPEATS` wall times, and the last result."""
    best, result = float("inf"), None
    for _ in range(REPEATS):
        start = time.perf_counter()
        result = function(*args, **kwargs)
        best = min(best, time.perf_counter() - start)
    return best, result


def plates(folder: Path) -> tuple[float, Any, Any]:
    """Print the stages of the plate model; its seconds without pictures, its modes and the case."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.describe import summarise
    from bracedtop.fem.model import build_model, solve
    from bracedtop.geometry.mesh import mesh_top
    from bracedtop.scripts.drawing import draw_modes
    from bracedtop.scripts.modes import mesh_size

    case = read_case(folder)
    size = mesh_size(case)
    mesh_s, mesh = timed(mesh_top, case.design, size)
    assembly_s, model = timed(build_model, case.design, case.woods, mesh=mesh)
    modes_s, modes = timed(solve, model, N_MODES)
    total = mesh_s + assembly_s + modes_s
    with TemporaryDirectory() as out:
        start = time.perf_counter()
        draw_modes(case, model, modes, summarise(model, modes), Path(out))
        pictures_s = time.perf_counter() - start
    fine = solve(build_model(case.design, case.woods, size=0.7 * size, order=4), N_MODES)
    error = 100 * abs(modes.frequencies / fine.frequencies - 1).max()
    print(f"plate model of {folder}: {model.n_unknowns} unknowns, {N_MODES} modes")
    print(f"  mesh         {mesh_s:7.2f} s")
    print(f"  assembly     {assembly_s:7.2f} s")
    print(f"  eigenproblem {modes_s:7.2f} s")
    print(f"  together     {total:7.2f} s   discretisation error {error:.2f} % (quartic elements, 0.7 of the size)")
    print(f"  pictures     {pictures_s:7.2f} s   for {N_MODES} modes")
    return total, modes, (case, error)


def solids(case: Any, error: float, ours: float) -> tuple[float, Any]:
    """Print the solids; seconds of the coarsest one as accurate as the plate model, and the finest solid."""
    sys.path.insert(0, str(ROOT / "tests"))
    from reference.solid import solve_solid

    runs = [
        (order, size, solve_solid(case.design, case.woods, order=order, size=size, n_modes=N_MODES))
        for order, size in LADDER
    ]
    finest = runs[-1][2]
    print("solids (tetrahedra; drawing them is not counted)")
    chosen = None
    for order, size, solid in runs:
        seconds = sum(solid.seconds[key] for key in ("mesh", "assembly", "modes"))
        off = 100 * abs(solid.frequencies / finest.frequencies - 1).max()
        print(
            f"  order {order}, {1e3 * size:g} mm: {solid.n_unknowns} unknowns, {seconds:.1f} s, "
            f"{seconds / ours:.0f} times the plate model; {off:.2f} % off the finest"
        )
        if chosen is None and off <= max(error, 0.5):
            chosen = seconds
    return float(chosen or 0.0), finest


def main() -> int:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("case", nargs="?", type=Path, default=ROOT / "cases" / "wren", help="case folder")
    args = parser.parse_args()
    ours, modes, (case, error) = plates(args.case)
    theirs, finest = solids(case, error, ours)
    print(f"ratio at an error of at most {max(error, 0.5):.2g} %: {theirs / ours:.0f} (wanted: at least 20)")
    off = 100 * (modes.frequencies / finest.frequencies - 1)
    print("plate against the finest solid, %: " + " ".join(f"{value:+.1f}" for value in off))
    return 0


if __name__ == "__main__":
    sys.exit(main())
