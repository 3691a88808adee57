"""What is known of a top before it is tapped: the drawing's tolerances, the scatter of woods, the model's own error.

Depends on fem/board_fit, fem/parameter, fem/wood, geometry.

Covariances are of heights and the edge ring in m, of an added mass in kg, and of the natural logarithms of factors,
which stay positive so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.board_fit import BoardFit
from bracedtop.fem.parameter import FACTORS, Parameter, drawn_values
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import frozen

HEIGHT_SD = 0.2e-3
"""Standard deviation of a brace's height about the drawing, m; chosen: a caliper held by hand, and the glue line."""

ALONG = 60e-3
"""Distance over which errors of one brace's height, or of a cut's depth, belong together, m; chosen: the length of a
plane."""

THICKNESS_SD = 0.015
"""Of the top's thickness, and of what is left in its edge ring, over the thickness; chosen: 0.04 mm in 2.8 mm."""

MODULUS_SD = 0.22
DENSITY_SD = 0.10
"""Coefficients of variation of modulus of elasticity in static bending, and of specific gravity, within a species
(Forest Products Laboratory 2021, Wood Handbook, FPL-GTR-282, ch. 5, Table 5-6; recalled)."""

STIFFER_WITH_DENSITY = 0.84 * DENSITY_SD / MODULUS_SD
"""Correlation of E_L with density. Modulus of elasticity goes with specific gravity to the power 0.84 in softwoods
(the same, Table 5-11a, 12 % moisture; recalled), and that part of its scatter comes from the density's."""

ACROSS_SD = 0.25
"""Of ln E_R and ln G_LR; chosen, as the Handbook gives no scatter of these: about as wide as species differ in their
ratios to E_L (Table 5-1)."""

SPRINGS_SD = float(np.log(2.0))
"""Of ln of the rim's springs: a factor of 2; chosen, as nothing is known of them beforehand."""

BIAS_SD = 0.01
"""Of ln(true over modelled frequency) of a mode where every number is right; chosen: mesh, joints and bridges against
solids come out within about 1 %."""

COMMON_BIAS = 0.3
"""Part of the variance of these that all modes share; chosen: air that moves along, and the mesh, act on all alike."""

WHOLE_BOARD = 0.03
"""What the wood of a finished top differs from its tapped board, of each logarithm; chosen: the board is not all used,
and woods differ from end to end."""

FACTOR_SDS: Mapping[str, float] = {
    "thickness": THICKNESS_SD,
    "E_L": MODULUS_SD,
    "E_R": ACROSS_SD,
    "G_LR": ACROSS_SD,
    "density": DENSITY_SD,
    "brace_E": MODULUS_SD,
    "brace_density": DENSITY_SD,
    "springs": SPRINGS_SD,
}

TOP_WOOD = ("E_L", "E_R", "G_LR", "density")
BRACE_WOOD = {"brace_E": "E_L", "brace_density": "density"}


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known before the taps.

    Parameters
    ----------
    parameters : tuple of n Parameter
    mean : (n,) array
        In the parameters' units.
    covariance : (n, n) array
        Of ln of factors, of the other parameters themselves. A parameter of variance 0 is held.
    bias_sd : float
        Standard deviation of ln(true over modelled frequency) of each mode.

    Raises
    ------
    DesignError
        If the sizes do not fit together, or the covariance is none.
    """

    parameters: tuple[Parameter, ...]
    mean: np.ndarray
    covariance: np.ndarray
    bias_sd: float = BIAS_SD

    def __post_init__(self) -> None:
        """Check the arrays once."""
        object.__setattr__(self, "mean", frozen(self.mean))
        object.__setattr__(self, "covariance", frozen(self.covariance))
        n, C = len(self.parameters), self.covariance
        if self.mean.shape != (n,) or C.shape != (n, n):
            message = f"prior: mean {self.mean.shape} and covariance {C.shape} of {n} parameters do not fit together"
            raise DesignError(message)
        if not (np.isfinite(self.mean).all() and np.isfinite(C).all() and np.isfinite(self.bias_sd)):
            message = "prior: its numbers must be finite"
            raise DesignError(message)
        lowest = float(np.linalg.eigvalsh(_unitless(C)).min()) if n else 0.0
        if (
            (np.diag(C) < 0).any()
            or not np.allclose(C, C.T, rtol=1e-9, atol=0.0)
            or lowest < -1e-9
            or self.bias_sd <= 0
        ):
            message = "prior: its covariance must be symmetric without negative directions, and its bias_sd > 0"
            raise DesignError(message)

    @property
    def is_factor(self) -> np.ndarray:
        """Which parameters are factors, (n,) bool."""
        return factors(self.parameters)

    def bias_covariance(self, n_modes: int) -> np.ndarray:
        """Covariance of the modes' biases, (n_modes, n_modes)."""
        return self.bias_sd**2 * (COMMON_BIAS + (1.0 - COMMON_BIAS) * np.eye(n_modes))


def factors(parameters: Sequence[Parameter]) -> np.ndarray:
    """Which parameters are factors, (n,) bool; their logarithms are what is inferred."""
    return np.array([parameter.kind in FACTORS for parameter in parameters], dtype=bool)


def default_prior(
    design: Design,
    woods: Mapping[str, Wood],
    parameters: Sequence[Parameter],
    *,
    board: Mapping[str, BoardFit] | None = None,
) -> Prior:
    """The drawing with its tolerances, and the scatter of its woods.

    Added masses are held at 0: where a maker adds one, its weight is known.

    Parameters
    ----------
    design : Design
    woods : mapping of str to Wood
    parameters : sequence of n Parameter
        Of `parameters_of(design)`.
    board : mapping of str to BoardFit, optional
        Tapped boards and sticks by the name of the wood that they are in the drawing. Their covariance takes the place
        of the species' scatter; for the braces only if all are of that wood.

    Raises
    ------
    DesignError
        If a wood of `board` is not one of the drawing's.
    """
    parameters = tuple(parameters)
    boards = dict(board or {})
    for name in boards:
        if name not in woods:
            message = f'prior: a board for wood "{name}", which is none of the drawing: {", ".join(sorted(woods))}'
            raise DesignError(message)
    n = len(parameters)
    C = np.zeros((n, n))
    at: dict[str, int] = {
        parameter.kind: i for i, parameter in enumerate(parameters) if parameter.kind not in ("height", "mass")
    }
    for i, j in _same_brace(parameters):
        C[i, j] = HEIGHT_SD**2 * np.exp(-abs(parameters[i].at - parameters[j].at) / ALONG)
    for kind, i in at.items():
        sd = THICKNESS_SD * design.plate.thickness if kind == "ring" else FACTOR_SDS[kind]
        C[i, i] = sd**2
    for modulus, density in (("E_L", "density"), ("brace_E", "brace_density")):
        if modulus in at and density in at:
            i, j = at[modulus], at[density]
            C[i, j] = C[j, i] = STIFFER_WITH_DENSITY * MODULUS_SD * DENSITY_SD
    if design.plate.wood in boards:
        _put(C, at, {key: key for key in TOP_WOOD}, boards[design.plate.wood])
    brace_woods = {brace.wood for brace in design.braces}
    if len(brace_woods) == 1 and (name := brace_woods.pop()) in boards:
        _put(C, at, BRACE_WOOD, boards[name])
    return Prior(parameters, drawn_values(parameters), C)


def _same_brace(parameters: Sequence[Parameter]) -> list[tuple[int, int]]:
    heights = [(i, parameter.part) for i, parameter in enumerate(parameters) if parameter.kind == "height"]
    return [(i, j) for i, part in heights for j, other in heights if part == other]


def _put(C: np.ndarray, at: Mapping[str, int], constants: Mapping[str, str], fit: BoardFit) -> None:
    """Put a board's covariance where the wood's own scatter was."""
    order = {constant.name: k for k, constant in enumerate(fit.constants)}
    kinds = [kind for kind, constant in constants.items() if kind in at and constant in order]
    rows = [at[kind] for kind in kinds]
    of = [order[constants[kind]] for kind in kinds]
    found = np.asarray(fit.covariance)[np.ix_(of, of)]
    C[rows, :] = 0.0
    C[:, rows] = 0.0
    C[np.ix_(rows, rows)] = found + WHOLE_BOARD**2 * np.eye(len(rows))


def _unitless(C: np.ndarray) -> np.ndarray:
    """Correlations of what has a variance."""
    sd = np.sqrt(np.maximum(np.diag(C), 0.0))
    kept = sd > 0
    return np.asarray(C[np.ix_(kept, kept)] / np.outer(sd[kept], sd[kept])) if kept.any() else np.zeros((1, 1))
