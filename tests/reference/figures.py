"""How far the plate model is from the solids of tests/reference/tops.py: the goal, and what was measured last.

After a change of the model print the new figures with `PYTHONPATH=tests python -m reference.compare --figures` and
enter them here; then `python -m reference.make_checks --figures` writes the tolerances of the shipped checks anew.
"""

from reference.compare import Figures

GOAL = Figures(largest=1.0, rms=0.5, mac=0.95)
"""Largest frequency error and root mean square over the first ten modes, per cent, and least MAC."""

FIGURES = {
    "bridge_plate_alone": Figures(0.35, 0.19, 1.000),
    "bridge_alone": Figures(0.69, 0.42, 1.000),
    "one_brace": Figures(0.42, 0.21, 1.000),
    "half_lap": Figures(1.04, 0.59, 0.980),
    "rounded_and_peaked": Figures(0.18, 0.10, 0.999),
    "scalloped_x": Figures(0.61, 0.31, 1.000),
    "starter_top": Figures(1.10, 0.80, 0.996),
    "x_alone": Figures(0.90, 0.42, 1.000),
    "bridge_and_plate": Figures(0.59, 0.35, 1.000),
    "whole_and_cut": Figures(0.93, 0.50, 0.981),
    "bare": Figures(0.12, 0.05, 1.000),
    "butted": Figures(4.28, 1.50, 0.834),
    "ladder": Figures(0.57, 0.25, 0.999),
    "fan": Figures(1.09, 0.58, 1.000),
    "lattice": Figures(0.92, 0.60, 0.999),
    "thinned_edge": Figures(0.44, 0.35, 0.996),
    "domed_clamped": Figures(0.26, 0.16, 0.999),
    "domed_free": Figures(0.31, 0.17, 0.999),
    "ribbed_rectangle": Figures(0.43, 0.24, 1.000),
}
"""Measured: largest error, root mean square (per cent), lowest MAC."""

WHY: dict[str, str] = {}
"""Why a top misses, where it does."""

STEPS = {
    "bridge_plate_alone": 0.35,
    "bridge_alone": 0.35,
    "one_brace": 0.35,
    "half_lap": 0.35,
    "rounded_and_peaked": 0.35,
    "scalloped_x": 0.35,
    "starter_top": 0.35,
    "x_alone": 0.35,
    "bridge_and_plate": 0.35,
    "whole_and_cut": 0.35,
    "bare": 0.35,
    "butted": 0.35,
    "ladder": 0.35,
    "fan": 0.35,
    "lattice": 0.35,
    "thinned_edge": 0.35,
    "domed_clamped": 0.35,
    "domed_free": 0.35,
    "ribbed_rectangle": 0.35,
}
"""Largest fall of a frequency from order 3 to order 4 of the solid, per cent; printed by make_checks."""
