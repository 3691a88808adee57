"""Frequencies of a case at several mesh sizes, which tell whether they drift.

example:
  python scripts/benchmarks/refinement.py cases/wren
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SIZES_MM = (40.0, 30.0, 22.0, 15.0)
"""Sizes of the triangles; 22 mm is the usual one."""

N_MODES = 10


def table(folder: Path, sizes_mm: Sequence[float] = SIZES_MM, n_modes: int = N_MODES) -> list[str]:
    """Lines of a Markdown table: a row a mode, a column a size, and the largest distance from the finest."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.model import build_model, solve
    from bracedtop.geometry.units import MM

    case = read_case(folder)
    sizes = sorted(sizes_mm, reverse=True)
    models = (build_model(case.design, case.woods, size=size * MM) for size in sizes)
    columns = [solve(model, n_modes).frequencies for model in models]
    lines = [
        f"| mode | {' | '.join(f'{size:g} mm' for size in sizes)} | largest change |",
        "|---|" + "---|" * (len(sizes) + 1),
    ]
    for k in range(n_modes):
        values = [column[k] for column in columns]
        change = 100 * max(abs(value / values[-1] - 1) for value in values)
        lines.append(f"| {k + 1} | {' | '.join(f'{value:.2f}' for value in values)} | {change:.2f} % |")
    return lines


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("case", nargs="?", type=Path, default=ROOT / "cases" / "wren", help="case folder")
    parser.add_argument("--sizes-mm", type=float, nargs="+", default=list(SIZES_MM), metavar="S")
    parser.add_argument("--modes", type=int, default=N_MODES, metavar="N")
    args = parser.parse_args()
    print("\n".join(table(args.case, args.sizes_mm, args.modes)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
