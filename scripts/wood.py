"""Constants of your own wood from the taps of a board or a brace stick.

Give a board file (TOML): size, mass and the notes that the board sings when it is held at its still lines and tapped,
before it is cut to shape. Nothing is written. Name the file in a drawing, and the drawing is computed with this board:

  [wood.my_spruce]
  board = "boards/spruce_a.toml"

A board file:

  kind = "plate"                  # or "stick", with height_mm in place of thickness_mm
  length_mm = 560
  width_mm = 215
  grain_along = "length"          # or "width"
  thickness_mm = [3.02, 2.98, 3.01, 3.05, 2.99]   # one number, or readings at several places
  mass_g = 152.3
  based_on = "spruce_sitka"       # for what the taps do not tell
  moisture_percent = 8            # 12 if not given
  [errors]                        # one standard error each; these are the defaults
  length_mm = 0.5
  width_mm = 0.5
  thickness_mm = 0.03             # height_mm = 0.05 for a stick
  mass_g = 0.5
  hz_percent = 0.5                # of a note, board held anew
  decay_percent = 15
  [[tap]]
  mode = "long"                   # two still lines across the grain
  hz = [51.2, 51.6, 51.3]         # one number, or a reading each time that the board was held anew
  q = 140                         # optional; or t60_s
  [[tap]]
  mode = "twist"                  # a cross of still lines through the middle
  wav = "twist.wav"               # a recording beside the board file or below it
  near_hz = 34                    # which peak; the strongest if not given

Modes of a plate: long, cross (two still lines along the grain), twist; x and ring where long and cross fall together;
others by nodes_across and nodes_along, the numbers of still lines that run across the grain and along it. Modes of a
stick: height and width (it bends that way), twist; with nodes for more still points than 2 (twist: 1).

Figures: speed of sound sqrt(E / density), characteristic impedance sqrt(E x density), radiation ratio
sqrt(E / density^3); U. G. K. Wegst, American Journal of Botany 93 (2006) 1439.

example:
  bracedtop wood cases/boards/spruce_a.toml
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from bracedtop.fem.board_fit import BoardFit, Constant
    from bracedtop.fem.board_losses import Loss
    from bracedtop.fem.merit import Merit


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("board", type=Path, metavar="BOARD.toml", help="board file")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Fit a board's constants and print them."""
    from bracedtop.fem.board_file import read_board
    from bracedtop.fem.board_fit import fit_board
    from bracedtop.fem.board_losses import fit_losses
    from bracedtop.fem.merit import merit_figures
    from bracedtop.scripts.console import Progress, print_json

    progress = Progress(quiet=args.quiet)
    with progress.stage("taps"):
        board = read_board(args.board)
    with progress.stage("fit"):
        fit = fit_board(board)
        losses, merits = fit_losses(fit), merit_figures(fit)
    if args.json:
        print_json(wood_json(fit, losses, merits))
        return 0
    print_wood(fit, losses, merits)
    return 0


def wood_json(fit: "BoardFit", losses: "tuple[Loss, ...]", merits: "tuple[Merit, ...]") -> dict[str, Any]:
    """What ``wood --json`` prints."""
    from bracedtop.geometry.units import GRAM, MM

    board = fit.board
    names = size_names(fit)
    return {
        "board": board.name,
        "file": board.file,
        "kind": board.kind,
        "sizes_mm": {
            name: {"value": size.value / MM, "error": size.error / MM}
            for name, size in zip(names[:3], board.sizes, strict=True)
        },
        "mass_g": {"value": board.mass.value / GRAM, "error": board.mass.error / GRAM},
        "moisture_percent": 100 * fit.wood.moisture,
        "based_on": board.base.name,
        "constants": [
            {
                "name": shown_constant(c)[0],
                "value": shown_constant(c)[1],
                "error": shown_constant(c)[2],
                "determined": c.determined,
                "origin": c.origin,
                "error_from": budget(fit, c),
            }
            for c in fit.constants
        ],
        "condition": fit.condition,
        "not_told": [{"change": dict(w.change), "largest_effect": w.effect} for w in fit.weak],
        "taps": [
            {
                "mode": tap.words,
                "hz": tap.hz.value,
                "error_hz": tap.hz.error,
                "fitted_hz": float(hz),
                "errors_explain_percent": 100 * float(expected),
                "likeness": float(mac),
                "loss": None if tap.loss is None else tap.loss.value,
                "source": tap.source,
            }
            for tap, hz, expected, mac in zip(board.taps, fit.hz, fit.expected, fit.likeness, strict=True)
        ],
        "losses": [{"name": x.name, "value": x.value, "error": x.error, "determined": x.determined} for x in losses],
        "merit": [
            {
                "name": m.name,
                "direction": m.direction,
                "value": m.value,
                "error": m.error,
                "unit": m.unit,
                "formula": m.formula,
                "of_base_wood": m.usual,
            }
            for m in merits
        ],
        "warnings": list(fit.warnings),
    }


def size_names(fit: "BoardFit") -> tuple[str, ...]:
    """The sizes and the mass in the maker's words, in the order of the error's budget."""
    if fit.board.kind == "stick":
        return ("length", "width", "height", "mass")
    return ("size along the grain", "size across", "thickness", "mass")


def budget(fit: "BoardFit", constant: "Constant") -> dict[str, float]:
    """Shares of a constant's error in the maker's words."""
    taps, *sizes, assumed = constant.budget.values()
    return {"taps": taps} | dict(zip(size_names(fit), sizes, strict=True)) | {"assumed constants": assumed}


def shown_constant(constant: "Constant") -> tuple[str, float, float]:
    """Name with its unit as in a drawing, value and error in this unit."""
    from bracedtop.geometry.units import GPA

    if constant.name == "density":
        return "density_kg_per_m3", constant.value, constant.error
    if constant.name == "nu_LR":
        return "nu_LR", constant.value, constant.error
    return f"{constant.name}_gpa", constant.value / GPA, constant.error / GPA


def print_wood(fit: "BoardFit", losses: "tuple[Loss, ...]", merits: "tuple[Merit, ...]") -> None:
    """Print constants, taps, losses and merit figures for a reader at the bench."""
    from bracedtop.geometry.units import GRAM, MM
    from bracedtop.scripts.console import print_table, signed

    board = fit.board
    a, b, c = (size.value / MM for size in board.sizes)
    size = f"{a:g} mm along the grain, {b:g} across" if board.kind == "plate" else f"{a:g} mm long, {b:g} wide"
    thick = "thick" if board.kind == "plate" else "high"
    print(
        f"{board.name}: {size}, {c:.4g} {thick}; {board.mass.value / GRAM:g} g; {100 * fit.wood.moisture:g} % moisture"
    )
    rows = []
    for constant in fit.constants:
        name, value, error = shown_constant(constant)
        rows.append([name, constant.origin, f"{value:.4g}", f"{error:.2g}", f"{100 * error / abs(value):.0f} %"])
    print_table(["constant", "from", "value", "error", ""], rows, left=2)
    print()
    determined = [c for c in fit.constants if c.determined]
    heads = list(budget(fit, determined[0]))
    rows = [[c.name, *(f"{100 * share:.0f} %" for share in budget(fit, c).values())] for c in determined]
    print_table(["error comes from", *heads], rows)
    for weak in fit.weak:
        print(f"The taps hardly tell {change_words(weak.change)}: it moves none by more than {percent(weak.effect)}.")
    print()
    rows = []
    for tap, hz, expected in zip(board.taps, fit.hz.tolist(), fit.expected.tolist(), strict=True):
        off = [f"{signed(100 * (hz / tap.hz.value - 1), 2)} %", f"{100 * expected:.1f} %"]
        rows.append([tap.words, tap.source, f"{tap.hz.value:.1f}", f"{tap.hz.error:.2f}", f"{hz:.1f}", *off])
    print_table(["tap", "read from", "Hz", "error", "fitted", "off by", "errors explain"], rows, left=2)
    print()
    if losses:
        print_table(
            ["loss", "from", "1/Q", "error"],
            [
                [x.name, "decays" if x.determined else "not told, usual", f"{x.value:.4f}", f"{x.error:.4f}"]
                for x in losses
            ],
            left=2,
        )
        print()
    print_table(
        ["figure", "formula", "grain", "this board", "error", board.base.name, "unit"],
        [
            [m.name, m.formula, m.direction, f"{m.value:.4g}", f"{m.error:.2g}", f"{m.usual:.4g}", m.unit]
            for m in merits
        ],
        left=3,
    )
    for warning in fit.warnings:
        print(f"note: {warning}")


def change_words(change: "Mapping[str, float]") -> str:
    """Words such as ``E_R +12 % with nu_LR -0.08``."""
    from bracedtop.scripts.console import signed

    parts = [
        f"{name} {signed(value, 2)}" if name == "nu_LR" else f"{name} {signed(100 * value, 0)} %"
        for name, value in sorted(change.items(), key=lambda item: -abs(item[1]))
    ]
    return " with ".join(parts)


def percent(value: float) -> str:
    """Small part in per cent."""
    return "0.01 %" if value < 1e-4 else f"{100 * value:.2g} %"
