"""Elastic constants of a board or stick from its taps, with standard errors and their origin.

Depends on fem/board, fem/board_doubts, fem/board_parameters, fem/board_specimen, fem/told, fem/wood.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import least_squares
from scipy.special import chdtrc

from bracedtop.fem.board import Board
from bracedtop.fem.board_doubts import doubts
from bracedtop.fem.board_parameters import CANDIDATES, PARENTS, TOLD, Parameters
from bracedtop.fem.board_specimen import CONSTANTS, N_SIZES, SIZES, Respond, anchor, remembered, specimen
from bracedtop.fem.free_plate import Response
from bracedtop.fem.told import Weak, told, weak_directions
from bracedtop.fem.wood import Wood
from bracedtop.geometry.errors import AccuracyError, DesignError

UNLIKELY = 0.05
"""Chance of so large a misfit below which it is reported and widens the errors; chosen."""

NU_BOUNDS = (-0.2, 1.2)
MOST_STEPS = 25
"""Steps of the fit; boards with the right names need three to six."""

LARGEST_FACTOR = 20.0
"""Farthest that a modulus may move from where the closed formulas put it; chosen: beyond, the names are wrong."""


@dataclass(frozen=True, slots=True)
class Constant:
    """One elastic constant, or the density, of a board.

    Parameters
    ----------
    name : str
        As in `Wood`.
    value, error : float, SI units
        With one standard error.
    determined : bool
        Whether the measurement gave it.
    origin : str
        Whence the value came.
    budget : mapping of str to float
        Shares of the error's square: "taps", the sizes, "mass", "assumed constants"; summing to 1.
    """

    name: str
    value: float
    error: float
    determined: bool
    origin: str
    budget: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class BoardFit:
    """A board's wood.

    Parameters
    ----------
    board : Board
    wood : Wood
    constants : tuple of Constant
        What the frequencies depend on, then the density.
    covariance : (n, n) array
        Of the constants' logarithms, of nu_LR itself, in their order.
    hz, expected : (n_taps,) arrays
        Frequencies of the fitted board in Hz, and how far they may lie from the taps, relative: one standard error of
        taps, sizes, mass and assumed constants together.
    slopes : mapping of str to (n_taps,) array
        d ln f / d ln constant.
    likeness : (n_taps,) array
        MAC with the named shapes.
    weak : tuple of Weak
        Combinations that the taps hardly tell.
    condition : float
        Largest over smallest singular value of the taps' slopes by the constants, each in units of what is known
        of it without taps; infinite with fewer taps than constants.
    warnings : tuple of str
    """

    board: Board
    wood: Wood
    constants: tuple[Constant, ...]
    covariance: np.ndarray
    hz: np.ndarray
    expected: np.ndarray
    slopes: Mapping[str, np.ndarray]
    likeness: np.ndarray
    weak: tuple[Weak, ...]
    condition: float
    warnings: tuple[str, ...] = field(default=())

    def constant(self, name: str) -> Constant:
        """The constant of that name."""
        return next(c for c in self.constants if c.name == name)


@dataclass(frozen=True, slots=True)
class _Data:
    """Logarithms of the frequencies (n,), their relative errors (n,), those of the sizes and mass (4,)."""

    log_hz: np.ndarray
    tap_error: np.ndarray
    size_error: np.ndarray


@dataclass(frozen=True, slots=True)
class _Solution:
    """Unknowns of the best fit, the response there, and the inverse covariance by which it was weighted."""

    parameters: Parameters
    unknowns: np.ndarray
    response: Response
    weight: np.ndarray


def fit_board(board: Board) -> BoardFit:
    """Constants of a board's wood from its taps.

    Least squares of the logarithms of the frequencies, weighted by the inverse of all that makes model and taps
    differ: errors of the taps, of sizes and mass, of assumed constants. A constant that the taps do not tell better
    than the base wood does keeps the base wood's ratio to another (`PARENTS`), or its value.

    Raises
    ------
    AccuracyError
        If the taps tell nothing, or the fit does not settle.
    DesignError
        If the constants that come out cannot belong to a solid.
    MeshError
        If the board cannot be meshed.
    """
    respond, at = specimen(board)
    respond = remembered(respond)
    base, spreads = anchor(board)
    constants, candidates = CONSTANTS[board.kind], CANDIDATES[board.kind]
    data = _Data(
        np.log([tap.hz.value for tap in board.taps]),
        np.array([tap.hz.relative for tap in board.taps]),
        np.array([*(size.relative for size in board.sizes), board.mass.relative]),
    )
    solution = None
    # What can be told depends a little on the constants themselves, so it is looked at again after the fit.
    for looks in range(len(candidates) + 2):
        free = _told(
            respond(np.array([at[name] for name in constants])), Parameters(constants, candidates, spreads), data
        )
        if not free:
            message = f"{board.file}: these taps tell none of {', '.join(candidates)}; see bracedtop wood --help"
            raise AccuracyError(message)
        if solution is not None and solution.parameters.free == free:
            break
        if looks:
            # From here on fewer and fewer, so that it ends.
            candidates = free
        parameters = Parameters(constants, free, spreads)
        solution = _solved(respond, parameters, parameters.unknowns(at, base), data, board.file)
        at = dict(zip(constants, parameters.values(solution.unknowns).tolist(), strict=True))
    assert solution is not None
    return _result(board, base, solution, data)


def _covariance(slopes: np.ndarray, parameters: Parameters, data: _Data) -> tuple[np.ndarray, np.ndarray]:
    """What makes taps and model differ, (n, n), and the slopes by unknowns, (n, n_constants)."""
    n = len(parameters.constants)
    by_unknown = slopes[:, :n] @ parameters.chain()
    by_size = slopes[:, n:] * data.size_error
    by_held = by_unknown[:, parameters.held_at] * parameters.spread()
    return np.diag(data.tap_error**2) + by_size @ by_size.T + by_held @ by_held.T, by_unknown


def _told(response: Response, every: Parameters, data: _Data) -> tuple[str, ...]:
    """Candidates that the taps tell, in the order of `every`."""

    def errors(names: Sequence[str]) -> np.ndarray:
        trial = replace(every, free=tuple(name for name in every.free if name in names))
        C, by_unknown = _covariance(response.slopes, trial, data)
        J = by_unknown[:, trial.free_at]
        if np.linalg.matrix_rank(J, tol=1e-6) < len(names):
            return np.full(len(names), np.inf)
        sizes = np.sqrt(np.diag(np.linalg.inv(J.T @ np.linalg.solve(C, J))))
        return np.array([sizes[trial.free.index(name)] for name in names])

    found = told(every.free, {name: TOLD * every.spreads[name] for name in every.free}, errors)
    return tuple(name for name in every.free if name in found)


def _solved(respond: Respond, parameters: Parameters, u0: np.ndarray, data: _Data, file: str) -> _Solution:
    at, chain = parameters.free_at, parameters.chain()

    def response(x: np.ndarray) -> Response:
        u = u0.copy()
        u[at] = x
        return respond(parameters.values(u))

    C, _ = _covariance(response(u0[at]).slopes, parameters, data)
    whiten = np.linalg.inv(np.linalg.cholesky(C))

    def misfit(x: np.ndarray) -> np.ndarray:
        return np.asarray(whiten @ (np.log(response(x).hz) - data.log_hz))

    def slope(x: np.ndarray) -> np.ndarray:
        return np.asarray(whiten @ response(x).slopes[:, : len(chain)] @ chain[:, at])

    is_nu = np.array([name == "nu_LR" for name in parameters.free])
    low = np.where(is_nu, NU_BOUNDS[0], u0[at] - np.log(LARGEST_FACTOR))
    high = np.where(is_nu, NU_BOUNDS[1], u0[at] + np.log(LARGEST_FACTOR))
    scale = np.array([parameters.spreads[name] for name in parameters.free])
    found = least_squares(misfit, u0[at], slope, bounds=(low, high), x_scale=scale, xtol=1e-7, max_nfev=MOST_STEPS)
    if not found.success:
        message = f"{file}: the fit of the constants does not settle; is each tap the mode that its name says?"
        raise AccuracyError(message)
    u = u0.copy()
    u[at] = found.x
    return _Solution(parameters, u, response(found.x), whiten.T @ whiten)


def _result(board: Board, base: Wood, solution: _Solution, data: _Data) -> BoardFit:
    parameters, response = solution.parameters, solution.response
    C, by_unknown = _covariance(response.slopes, parameters, data)
    left = np.log(response.hz) - data.log_hz
    freedom = len(left) - len(parameters.free)
    squares = float(left @ np.linalg.solve(C, left))
    unlikely = bool(freedom > 0 and chdtrc(freedom, squares) < UNLIKELY)
    widen = float(np.sqrt(squares / freedom)) if unlikely else 1.0
    rows = _error_rows(solution, by_unknown, data, widen)
    covariance = rows @ rows.T
    constants = _constants(board, base, solution, rows, len(left))
    every = replace(parameters, free=CANDIDATES[board.kind])
    C_every, by_unknown = _covariance(response.slopes, every, data)
    units = np.array([every.spreads[name] for name in every.free])
    weak, condition = weak_directions(every.free, by_unknown[:, every.free_at], C_every, units, 1 / TOLD)
    given = {c.name: (c.value, c.error) for c in constants if c.name in parameters.free}
    expected = np.sqrt(np.diag(C))
    warnings = doubts(board, response.likeness, left, expected, given, unlikely=unlikely)
    return BoardFit(
        board=board,
        wood=_wood(board, constants),
        constants=constants,
        covariance=covariance,
        hz=response.hz,
        expected=expected,
        slopes={name: response.slopes[:, i] for i, name in enumerate(parameters.constants)},
        likeness=response.likeness,
        weak=weak,
        condition=condition,
        warnings=(*board.warnings, *warnings),
    )


def _error_rows(solution: _Solution, by_unknown: np.ndarray, data: _Data, widen: float) -> np.ndarray:
    """What one standard error of each source does to each constant's logarithm and to the density's.

    Sources are the taps, the sizes and mass, and the held constants, in this order.
    """
    parameters = solution.parameters
    n, n_taps = len(parameters.constants), len(data.log_hz)
    J = by_unknown[:, parameters.free_at]
    gain = np.linalg.solve(J.T @ solution.weight @ J, J.T @ solution.weight)
    found = np.hstack(
        [gain, -gain @ solution.response.slopes[:, n:], -gain @ by_unknown[:, parameters.held_at]]
    )  # fmt: skip
    T = parameters.chain()
    rows = T[:, parameters.free_at] @ found
    rows[:, n_taps + N_SIZES :] += T[:, parameters.held_at]
    # Mass over length, width and thickness.
    density = np.concatenate([np.zeros(n_taps), [-1, -1, -1, 1], np.zeros(len(parameters.held_at))])
    return np.asarray(
        np.vstack([rows, density]) * np.concatenate([widen * data.tap_error, data.size_error, parameters.spread()])
    )


def _constants(board: Board, base: Wood, solution: _Solution, rows: np.ndarray, n_taps: int) -> tuple[Constant, ...]:
    parameters = solution.parameters
    values = dict(zip(parameters.constants, parameters.values(solution.unknowns).tolist(), strict=True))
    groups = {"taps": slice(0, n_taps)}
    groups |= {name: slice(n_taps + k, n_taps + k + 1) for k, name in enumerate(SIZES[board.kind])}
    groups["assumed constants"] = slice(n_taps + N_SIZES, None)
    found = []
    for row, name in zip(rows, (*parameters.constants, "density"), strict=True):
        variance = float(row @ row)
        value = values.get(name, board.density)
        found.append(
            Constant(
                name=name,
                value=value,
                error=variance**0.5 * (1.0 if name == "nu_LR" else value),
                determined=name == "density" or name in parameters.free,
                origin=_origin(name, board, base, parameters),
                budget={key: float((row[part] ** 2).sum()) / variance for key, part in groups.items()},
            )
        )
    return tuple(found)


def _origin(name: str, board: Board, base: Wood, parameters: Parameters) -> str:
    if name == "density":
        return "mass over volume"
    if name in parameters.free:
        return "from the taps"
    untold = "not told by these taps; " if name in CANDIDATES[board.kind] else ""
    if name not in PARENTS:
        return f"{untold}value of {base.name}"
    parent = PARENTS[name]
    ratio = getattr(base, name) / getattr(base, parent)
    if name == "E_R" and base != board.base:
        return f"{untold}{ratio:.3g} {parent}, as x and ring need"
    return f"{untold}{ratio:.3g} {parent}, the ratio of {base.name}"


def _wood(board: Board, constants: Sequence[Constant]) -> Wood:
    base = board.base
    given = {c.name: c.value for c in constants}
    E_R = given.get("E_R", given["E_L"] * base.E_R / base.E_L)
    measured = [c.name for c in constants if c.determined]
    source = (
        f"{', '.join(measured)} from taps, sizes and mass of {board.name} ({board.file}) at {100 * base.moisture:g} % "
        f"moisture; the rest by the ratios of {base.name}"
    )
    try:
        return Wood(
            name=board.name,
            E_L=given["E_L"],
            E_R=E_R,
            E_T=E_R * base.E_T / base.E_R,
            G_LR=given["G_LR"],
            G_LT=given["G_LT"],
            G_RT=given.get("G_RT", E_R * base.G_RT / base.E_R),
            nu_LR=given.get("nu_LR", base.nu_LR),
            nu_LT=base.nu_LT,
            nu_RT=base.nu_RT,
            density=given["density"],
            source=source,
            moisture=base.moisture,
            temperature=base.temperature,
            species=base.species,
        )
    except DesignError as error:
        message = f"{board.file}: {error}; is each tap the mode that its name says?"
        raise DesignError(message) from None
