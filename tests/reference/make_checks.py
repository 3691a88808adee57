"""Writes the checks that compare with solids: solves each top's solid and fills cases/checks/NAME.

Takes a minute or two a top on two cores, and needs NGSolve (the test extra). With --solids FOLDER solved ones are kept
there and taken from there again. Tolerances come from tests/reference/figures.py.

    PYTHONPATH=tests python -m reference.make_checks [NAME ...]
"""

import argparse
import math
from pathlib import Path

import numpy as np
from reference.compare import N_JUDGED, Figures
from reference.figures import CONVERGENCE, FIGURES, GOAL
from reference.tops import BODY, BUILDERS, CHECKS, N_MODES, Top, top

from bracedtop.fem.agreement import close_groups
from bracedtop.fem.case_writer import case_text

NOTE = "Orthotropic solid of the same drawing (invented), solved with NGSolve (tests/reference/solid.py)."

ARCHIVE = ("frequencies", "points", "deflections")


def solved(name: str, folder: Path | None) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies (n,) and deflections (n, k) of a top's solid, from the folder or new."""
    item = top(name)
    path = None if folder is None else folder / f"{name}.npz"
    if path is not None and path.exists():
        with np.load(path) as kept:
            if np.array_equal(kept["points"], item.points):
                return kept["frequencies"], kept["deflections"]
    from reference.solid import solve_solid

    solid = solve_solid(
        item.design,
        item.woods,
        size=item.size,
        order=item.order,
        graded=item.graded,
        n_modes=N_MODES,
        points=item.points,
    )
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        np.savez(path, **dict(zip(ARCHIVE, (solid.frequencies, item.points, solid.deflections), strict=True)))
    return solid.frequencies, solid.deflections


def expected_text(frequencies: np.ndarray, figures: Figures) -> str:
    """Text of expected.csv: held to the goal if it is met, else to half a per cent above what is."""
    met = figures.meets(GOAL)
    tolerance = GOAL.largest if met else math.ceil(2 * figures.largest + 0.5) / 2
    least = GOAL.mac if figures.mac >= GOAL.mac else math.floor(50 * figures.mac) / 50
    lines = ["mode,hz,tolerance_percent,kind,least_mac"]
    for k, hz in enumerate(frequencies, start=1):
        held = k <= N_JUDGED
        lines.append(f"{k},{hz:.2f},{f'{tolerance:g}' if held else ''},solid,{f'{least:g}' if held else ''}")
    return "\n".join(lines) + "\n"


def shapes_text(points: np.ndarray, deflections: np.ndarray) -> str:
    """Text of shapes.csv: deflections in thousandths of each mode's largest."""
    n = len(deflections)
    scaled = np.round(1e3 * deflections / np.abs(deflections).max(axis=1, keepdims=True)).astype(int)
    head = ",".join(["x_mm", "y_mm", *(f"mode_{k}" for k in range(1, n + 1))])
    rows = [
        ",".join([f"{1e3 * x:g}", f"{1e3 * y:g}", *(str(w) for w in column)])
        for (x, y), column in zip(points, scaled.T, strict=True)
    ]
    return "\n".join([head, *rows]) + "\n"


def readme_text(name: str, item: Top) -> str:
    """Text of the check's README."""
    title = name.replace("_", " ")
    figures = FIGURES[name]
    graded = ", graded towards the glue lines" if item.graded else ""
    verdict = (
        "The goal is met: 1 % at most, 0.5 % root mean square, MAC 0.95."
        if figures.meets(GOAL)
        else "The goal (1 % at most, 0.5 % root mean square, MAC 0.95) is missed; the tolerance keeps it from growing."
    )
    return f"""# {title}

Question: how far is the plate model from the solid that it stands for? Here: {item.note}.

Expected: tetrahedra of order {item.order}, {1e3 * item.size:g} mm{graded}. {left(name)} Modes are paired by their
deflections at the points of shapes.csv; modes closer than 2 % are compared as a space. {verdict}

Made by `PYTHONPATH=tests python -m reference.make_checks {name}`, drawing included (tests/reference/tops.py).
"""


def left(name: str) -> str:
    """What is known of a solid's own error."""
    above = CONVERGENCE[name]
    # One brace at orders 3, 4 and 5: 138.87, 138.42, 138.30 Hz, so that 0.36 of the step from 3 to 4 is left after 4.
    return (
        f"Order 3 lies at most {above:.2f} % above it on the same elements, so that about {0.36 * above:.2f} % of "
        "error are left, always upwards."
    )


def shipped_modes(frequencies: np.ndarray) -> int:
    """How many modes are shipped: ten, or more where the tenth is close to those after it."""
    return next(group[-1] + 1 for group in close_groups(frequencies) if group[-1] >= N_JUDGED - 1)


def main() -> None:
    """Write the checks."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"tops (default all): {', '.join(BUILDERS)}")
    parser.add_argument("--solids", type=Path, metavar="FOLDER", help="where solved solids are kept")
    args = parser.parse_args()
    for name in args.names or BUILDERS:
        item = top(name)
        folder = CHECKS / name
        folder.mkdir(exist_ok=True)
        frequencies, deflections = solved(name, args.solids)
        n = shipped_modes(frequencies)
        if item.drawn is None:
            outline = BODY if not item.design.outline.corners.any() else None
            text = case_text(name.replace("_", " "), NOTE, item.design, outline=outline, woods=item.woods)
            (folder / "top.toml").write_text(text, encoding="utf-8")
        (folder / "expected.csv").write_text(expected_text(frequencies[:n], FIGURES[name]), encoding="utf-8")
        (folder / "shapes.csv").write_text(shapes_text(item.points, deflections[:n]), encoding="utf-8")
        (folder / "README.md").write_text(readme_text(name, item), encoding="utf-8")
        print(folder, flush=True)


if __name__ == "__main__":
    main()
