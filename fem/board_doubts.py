"""What does not look right about a fitted board, in words.

Depends on fem/board.
"""

from collections.abc import Mapping

import numpy as np

from bracedtop.fem.board import Board

MIXED = 0.75
"""MAC with the named shape below which it is said; chosen."""

FAR = 3.0
"""Factor to the base wood that is worth a warning; chosen: boards of a species differ by less than 2."""


def doubts(
    board: Board,
    likeness: np.ndarray,
    misfit: np.ndarray,
    expected: np.ndarray,
    values: Mapping[str, tuple[float, float]],
    *,
    unlikely: bool,
) -> list[str]:
    """Warnings about a fitted board.

    Parameters
    ----------
    likeness, misfit, expected : (n_taps,) arrays
        MAC with the named shapes; difference of the frequencies' logarithms, model less tap; the size of it that
        the errors explain.
    values : mapping of str to (float, float)
        The constants that the taps gave, with their errors.
    unlikely : bool
        Whether the misfit is larger than the errors explain.
    """
    warnings = []
    for tap, mac in zip(board.taps, likeness, strict=True):
        if mac < MIXED:
            warnings.append(
                f"{tap.words}: its shape is mixed with another's on this board ({100 * mac:.0f} % like its name); "
                "long and cross near one another become x and ring"
            )
    if unlikely:
        worst = int(np.argmax(np.abs(misfit) / expected))
        warnings.append(
            "board and taps differ by more than their errors explain, most at "
            f"{board.taps[worst].words} ({100 * np.expm1(misfit[worst]):+.1f} %): a wrong name, an uneven board, or a "
            "hold that touches a moving part; errors are widened for it"
        )
    if "E_R" in values and "E_L" in values and values["E_R"][0] > values["E_L"][0]:
        warnings.append("stiffer across the grain than along it: are long and cross exchanged, or grain_along?")
    for name, (value, _) in values.items():
        factor = value / getattr(board.base, name)
        if name != "nu_LR" and not 1 / FAR < factor < FAR:
            warnings.append(
                f"{name} is {factor:.2g} times that of {board.base.name}: check sizes, mass and the names of the modes"
            )
    if "nu_LR" in values:
        nu, error = values["nu_LR"]
        if not -2 * error < nu < 0.7 + 2 * error:
            warnings.append(f"nu_LR = {nu:.2f} is no value of a wood (0.2 to 0.5): check the names of the modes")
    return warnings
