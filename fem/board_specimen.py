"""How the taps of a board or stick follow from its constants.

Depends on fem/board, fem/board_parameters, fem/board_start, fem/free_bar, fem/free_plate, fem/wood.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from bracedtop.fem.board import Board
from bracedtop.fem.board_parameters import SPREADS
from bracedtop.fem.board_start import bar_modulus, twist_modulus
from bracedtop.fem.free_bar import PARAMETERS as STICK_PARAMETERS
from bracedtop.fem.free_bar import BarMode, stick_frequency, stick_slopes
from bracedtop.fem.free_plate import PARAMETERS as PLATE_PARAMETERS
from bracedtop.fem.free_plate import PlateMode, Response, free_plate
from bracedtop.fem.wood import Wood
from bracedtop.geometry.errors import AccuracyError

N_SIZES = 4
"""Three sizes and the mass, last among the parameters of plates and sticks."""

CONSTANTS = {"plate": PLATE_PARAMETERS[:-N_SIZES], "stick": STICK_PARAMETERS[:-N_SIZES]}
SIZES = {"plate": PLATE_PARAMETERS[-N_SIZES:], "stick": STICK_PARAMETERS[-N_SIZES:]}

N_TRIANGLES = 300
"""Chosen: the twist is then 0.1 % too high, other low modes less."""

IN_TUNE = 0.1
"""Standard error of the logarithm of E_R / E_L of a board on which an X and a ring are seen; chosen: with long and
cross farther apart than 5 % their lines look like themselves."""

Respond = Callable[[np.ndarray], Response]
"""Frequencies of a specimen's taps from its constants, with their slopes by constants and sizes."""


def specimen(board: Board) -> tuple[Respond, dict[str, float]]:
    """How a board's taps follow from its constants, and constants to start a fit from.

    Raises
    ------
    MeshError
        If the board cannot be meshed.
    """
    a, b, h = (size.value for size in board.sizes)
    sizes = [a, b, h, board.mass.value]
    if board.kind == "stick":
        bars = [tap.mode for tap in board.taps if isinstance(tap.mode, BarMode)]

        def respond_stick(constants: np.ndarray) -> Response:
            values = np.array([*constants, *sizes])
            hz = np.array([stick_frequency(values, mode) for mode in bars])
            slopes = np.array([stick_slopes(values, mode) for mode in bars])
            return Response(hz, slopes, np.ones(len(bars)))

        base = {name: float(getattr(board.base, name)) for name in CONSTANTS["stick"]}
        found = respond_stick(np.array(list(base.values()))).hz
        scale = float(np.mean([(tap.hz.value / f) ** 2 for tap, f in zip(board.taps, found, strict=True)]))
        return respond_stick, {key: value * scale for key, value in base.items()}
    modes = [tap.mode for tap in board.taps if isinstance(tap.mode, PlateMode)]
    start = _plate_start(board)
    stretch = (start["E_L"] / start["E_R"]) ** 0.25
    lines = max(max(mode.across, mode.along) for mode in modes)
    # Three cubic triangles a half-wave at least.
    n = N_TRIANGLES * max(1.0, (lines / 5) ** 2)
    # Triangles as long as the waves are, so the mesh is drawn on a board as stiff across as along, and squeezed.
    plate = free_plate(a, b * stretch, float(np.sqrt(a * b * stretch / (0.43 * n))))

    def respond_plate(constants: np.ndarray) -> Response:
        try:
            return plate.response([*constants, *sizes], modes)
        except AccuracyError as error:
            message = f"{board.file}: {error}; is each tap the mode that its name says?"
            raise AccuracyError(message) from error

    return respond_plate, start


def remembered(respond: Respond) -> Respond:
    """The same, without computing anew what was asked for last."""
    last: list[tuple[np.ndarray, Response]] = []

    def again(constants: np.ndarray) -> Response:
        if not last or not np.array_equal(last[0][0], constants):
            last[:] = [(constants.copy(), respond(constants))]
        return last[0][1]

    return again


def anchor(board: Board) -> tuple[Wood, Mapping[str, float]]:
    """Wood whose ratios hold where the taps tell nothing, and how well they are known.

    The base wood; for a board that makes an X and a ring one that does, because these modes are seen only where long
    and cross fall together: E_L / a^4 = E_R / b^4.
    """
    a, b, _ = (size.value for size in board.sizes)
    base = board.base
    if not any(isinstance(tap.mode, PlateMode) and tap.mode.mix for tap in board.taps):
        return base, SPREADS
    E_R = base.E_L * (b / a) ** 4
    wood = replace(base, E_R=E_R, E_T=base.E_T * E_R / base.E_R, G_RT=base.G_RT * E_R / base.E_R)
    return wood, SPREADS | {"E_R": IN_TUNE}


def _plate_start(board: Board) -> dict[str, float]:
    a, b, h = (size.value for size in board.sizes)
    base, _ = anchor(board)
    found: dict[str, float] = {}
    for tap in board.taps:
        mode, hz = tap.mode, tap.hz.value
        if not isinstance(mode, PlateMode):
            continue
        if mode.along == 0:
            found.setdefault("E_L", bar_modulus(hz, mode.across, a, h, board.density))
        if mode.across == 0 or mode.mix:
            found.setdefault("E_R", bar_modulus(hz, mode.along or 2, b, h, board.density))
        if (mode.across, mode.along) == (1, 1):
            found["G_LR"] = twist_modulus(hz, a, b, h, board.density)
    scale = np.exp(np.mean([np.log(value / getattr(base, name)) for name, value in found.items()])) if found else 1.0
    every = {name: getattr(base, name) * float(scale) for name in ("E_L", "E_R", "G_LR")} | found
    every["G_LT"] = every["G_LR"] * base.G_LT / base.G_LR
    every["G_RT"] = every["E_R"] * base.G_RT / base.E_R
    every["nu_LR"] = base.nu_LR
    return every
