"""How far the plate model is from the solids of tests/reference/tops.py: the goal, and what was measured last.

After a change of the model print the new figures with `PYTHONPATH=tests python -m reference.compare` and enter them
here; then `python -m reference.make_checks --solids FOLDER` writes the tolerances of the shipped checks.
"""

from reference.compare import Figures

GOAL = Figures(largest=1.0, rms=0.5, mac=0.95)
"""Largest frequency error and root mean square over the first ten modes, per cent, and least MAC."""

FIGURES = {
    "bare": Figures(0.00, 0.00, 1.000),
}
"""Measured: largest error, root mean square (per cent), lowest MAC."""

WHY: dict[str, str] = {}
"""Why a top misses, where it does."""

CONVERGENCE = {
    "bare": 0.0,
}
"""How far order 3 lies above order 4 on the same mesh, per cent of the frequency of the mode where it is most."""
