"""The plate model against a solid of the same top, solved or shipped with the checks.

As a module it prints one line a top, from the solids that are shipped:

    PYTHONPATH=tests python -m reference.compare [--figures] [NAME ...]
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from reference.tops import BUILDERS, CHECKS, N_MODES, Top, top

from bracedtop.fem.agreement import Agreement, agreement
from bracedtop.fem.model import build_model, deflections, solve
from bracedtop.scripts.check_files import FILE_NAME, SHAPES_NAME, read_expected, read_shapes

N_JUDGED = 10
"""Modes of the solid that count."""

N_SPARE = 4
"""More modes of the plate than of the solid, so that one that moved up still finds its partner."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What is judged of a top, over the first `N_JUDGED` modes.

    Parameters
    ----------
    largest, rms : float
        Largest size and root mean square of the frequency errors, per cent.
    mac : float
        Lowest modal assurance criterion.
    """

    largest: float
    rms: float
    mac: float

    @classmethod
    def of(cls, found: Agreement) -> "Figures":
        """Figures of an agreement."""
        return cls(100 * abs(found.largest), 100 * found.rms, float(found.mac.min()))

    def meets(self, goal: "Figures") -> bool:
        """Whether these are as good as `goal` throughout."""
        return self.largest <= goal.largest and self.rms <= goal.rms and self.mac >= goal.mac


def shipped(name: str, folder: Path = CHECKS) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Frequencies (n,), points (k, 2) in m and shapes (n, k) of the solid in a check's folder."""
    shapes, frequencies = read_shapes(folder / name / SHAPES_NAME, read_expected(folder / name / FILE_NAME))
    return frequencies, shapes.points, shapes.deflections


def compared(top: Top, frequencies: np.ndarray, shapes: np.ndarray, size: float | None = None) -> Agreement:
    """Agreement of the plate model with the modes of a solid whose shapes (n, k) are given at the top's points."""
    model = build_model(top.design, top.woods, size=size)
    modes = solve(model, N_MODES + N_SPARE)
    return agreement(modes.frequencies, deflections(model, modes, top.points), frequencies, shapes).first(N_JUDGED)


def line(name: str, found: Agreement) -> str:
    """One line for a table: largest and root-mean-square error, lowest MAC, all errors in per cent."""
    errors = " ".join(f"{100 * e:+.2f}" for e in found.errors)
    return (
        f"{name:20s} largest {100 * found.largest:+.2f} %  rms {100 * found.rms:.2f} %  "
        f"MAC {found.mac.min():.3f}  [{errors}]"
    )


def main() -> None:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"tops (default all): {', '.join(BUILDERS)}")
    parser.add_argument("--figures", action="store_true", help="print lines for tests/reference/figures.py instead")
    args = parser.parse_args()
    for name in args.names or BUILDERS:
        frequencies, _, shapes = shipped(name)
        found = compared(top(name), frequencies, shapes)
        own = Figures.of(found)
        entry = f'    "{name}": Figures({own.largest:.2f}, {own.rms:.2f}, {own.mac:.3f}),'
        print(entry if args.figures else line(name, found), flush=True)


if __name__ == "__main__":
    main()
