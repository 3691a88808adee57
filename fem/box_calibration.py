"""A closed box's numbers and the model's error, as its taps, hole open and blocked, and passes over its ring tell them.

Depends on fem/box_matrices, fem/box_modes, fem/box_parts, fem/box_values, fem/calibration, fem/closed_modes,
fem/closed_prior, fem/face_terms, fem/face_values, fem/most_probable, fem/prior, geometry.

As fem/calibration for the loose top: the state is x = (ln of factors, the ring in m; b), where b = ln(true over
modelled frequency) of each mode in each state of the hole. Modes that move alike share most of their model error, open
or blocked: the biases' correlation has a part in common and a part by the modes' likeness (squared product of their
shapes, of which a matrix is positive semidefinite by Schur's theorem).

References
----------
I. Schur, J. reine angew. Math. 140 (1911) 1-28 (product of positive semidefinite matrices, entry by entry).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.box_coupling import quadratic
from bracedtop.fem.box_matrices import box_matrices
from bracedtop.fem.box_modes import BoxModes
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.calibration import HOLDING, MOST_WRONG
from bracedtop.fem.closed_modes import HOLES, Closed, Hole, followed, moved_reference
from bracedtop.fem.closed_prior import WOOD
from bracedtop.fem.face_terms import face_matrices
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.most_probable import conditioned, log_evidence, most_probable, wrong_datum
from bracedtop.fem.prior import COMMON_BIAS, DENSITY_SD, FACTOR_SDS, MODULUS_SD, THICKNESS_SD
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import frozen

BIAS_SD = 0.012
"""Standard deviation of a mode's bias; chosen: that of a top by itself (fem/prior), and as much again for what is left
out of a box, such as motion of the sides in the plan."""

RIM_SD = float(np.log(2.0))
"""Of ln of the rim's springs; chosen: they are made of sections and woods whose glue and bends nobody knows."""

AIR_SD, VOLUME_SD = 0.06, 0.02
"""Of ln of the mass of the air at the holes, and of the volume; chosen: end corrections of holes in a curved body, and
linings and braces that take up room."""

BODY_SD = 0.15
"""Of ln of the mass of sides, blocks and neck; chosen: a neck is weighed, sides are not."""

RING = "ring"

_RIM_SPAN = float(np.log(8.0))
"""How far the logarithm of a spring is looked for from its mean; as far as the model's basis is made for."""

_SPAN = float(np.log(1.5))
"""The same of the other factors."""

STEP, RING_STEP = 1e-3, 2e-5
"""Steps in which matrices are differenced: of logarithms, and of the ring in m."""


@dataclass(frozen=True, slots=True)
class BoxNumber:
    """One number of a closed box that is inferred.

    Parameters
    ----------
    name : str
        In words.
    part : {"top", "back", "box"}
        What it changes.
    span : float
        How far its logarithm, or the ring in m, is looked for from its mean.
    """

    name: str
    part: str
    span: float = _SPAN


NUMBERS = (
    *(BoxNumber(f"top {key}", "top") for key in WOOD),
    BoxNumber("rim deflection", "top", _RIM_SPAN),
    BoxNumber("rim rotation", "top", _RIM_SPAN),
    BoxNumber("back stiffness", "back"),
    BoxNumber("back density", "back"),
    BoxNumber("hole air", "box"),
    BoxNumber("volume", "box"),
    BoxNumber("body mass", "box"),
    BoxNumber(RING, "top", 1e-3),
)
"""The state's numbers, in its order; the last is the thickness taken off the ring, m."""

N_NUMBERS = len(NUMBERS)


@dataclass(frozen=True, slots=True)
class BoxHeard:
    """What the taps of one visit said, and how they were taken.

    Parameters
    ----------
    number : int
        Of the visit.
    places : tuple of k (str, int)
        State of the hole and mode, from 0.
    measured, errors : (k,) arrays, Hz
    before, before_sd, after : (k,) arrays, Hz
        As of fem/calibration.
    set_aside : (k,) bool array
    squares : float
    """

    number: int
    places: tuple[tuple[Hole, int], ...]
    measured: np.ndarray
    errors: np.ndarray
    before: np.ndarray
    before_sd: np.ndarray
    after: np.ndarray
    set_aside: np.ndarray
    squares: float

    @property
    def cents(self) -> np.ndarray:
        """Measured above calibrated, (k,) in cents."""
        return np.asarray(1200 * np.log2(self.measured / self.after))

    @property
    def cents_before(self) -> np.ndarray:
        """Measured above what was expected before, (k,) in cents."""
        return np.asarray(1200 * np.log2(self.measured / self.before))


@dataclass(frozen=True, slots=True)
class BoxPosterior:
    """What is known of a closed box.

    Parameters
    ----------
    closed : Closed
    mean : (n + 2 m,) array
        Logarithms of factors and the ring in m; then biases of m modes with the hole open and m with it blocked.
    covariance : (n + 2 m, n + 2 m) array
    heard : tuple of BoxHeard
    evidence : float
        Logarithm of the probability density of all taps.
    notes : tuple of str
    """

    closed: Closed
    mean: np.ndarray
    covariance: np.ndarray
    heard: tuple[BoxHeard, ...] = ()
    evidence: float = 0.0
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Freeze the arrays and check that they fit together."""
        for key in ("mean", "covariance"):
            object.__setattr__(self, key, frozen(getattr(self, key)))
        size = N_NUMBERS + 2 * self.closed.n_modes
        if self.mean.shape != (size,) or self.covariance.shape != (size, size):
            message = f"closed box: state {self.mean.shape} and covariance {self.covariance.shape} do not fit together"
            raise DesignError(message)

    @property
    def sd(self) -> np.ndarray:
        """Standard deviations of the state."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))

    @property
    def values(self) -> BoxValues:
        """The box at the mean."""
        return values_of(self.closed, self.mean)

    @property
    def taken(self) -> float:
        """Thickness taken off the ring in passes so far, m."""
        return float(self.mean[N_NUMBERS - 1])

    def bias(self, hole: Hole) -> np.ndarray:
        """Logarithms of true over modelled frequencies in one state of the hole, (m,)."""
        return np.asarray(self.mean[self.at(hole)])

    def at(self, hole: Hole) -> slice:
        """Place of the biases of one state of the hole."""
        return _place(self.closed, hole)


def values_of(closed: Closed, state: np.ndarray) -> BoxValues:
    """The what-if that a state stands for."""
    x = dict(zip((number.name for number in NUMBERS), np.exp(state[: N_NUMBERS - 1]), strict=False))
    rim = closed.model.top.rim
    back = float(x["back stiffness"])
    return BoxValues(
        top=FaceValues(
            ring=float(state[N_NUMBERS - 1]),
            rim=replace(
                rim,
                deflection=rim.deflection * float(x["rim deflection"]),
                rotation=rim.rotation * float(x["rim rotation"]),
            ),
            E_L=float(x["top E_L"]),
            E_R=float(x["top E_R"]),
            G_LR=float(x["top G_LR"]),
            density=float(x["top density"]),
            thickness=float(x["top thickness"]),
        ),
        back=FaceValues(E_L=back, E_R=back, G_LR=back, density=float(x["back density"])),
        hole_mass=float(x["hole air"]),
        volume=float(x["volume"]),
        rim_mass=float(x["body mass"]),
    )


def begun(closed: Closed, wood: np.ndarray | None = None) -> BoxPosterior:
    """What is known before the first tap.

    Parameters
    ----------
    closed : Closed
    wood : (5, 5) array, optional
        Covariance of the logarithms of `WOOD`; the scatter of woods if not given.
    """
    sd = {
        **{f"top {key}": FACTOR_SDS[key] for key in WOOD},
        "rim deflection": RIM_SD,
        "rim rotation": RIM_SD,
        "back stiffness": MODULUS_SD,
        "back density": DENSITY_SD,
        "hole air": AIR_SD,
        "volume": VOLUME_SD,
        "body mass": BODY_SD,
        RING: THICKNESS_SD * closed.model.design.plate.thickness,
    }
    n, size = N_NUMBERS, N_NUMBERS + 2 * closed.n_modes
    C = np.zeros((size, size))
    C[np.arange(n), np.arange(n)] = [sd[number.name] ** 2 for number in NUMBERS]
    if wood is not None:
        C[: len(WOOD), : len(WOOD)] = wood
    C[n:, n:] = BIAS_SD**2 * (COMMON_BIAS + (1 - COMMON_BIAS) * _alike(closed))
    return BoxPosterior(closed, np.zeros(size), C)


def box_predicted(posterior: BoxPosterior, hole: Hole, deeper: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Calibrated frequencies in Hz, (m,), and derivatives of their logarithms by the state, (m, n + 2 m).

    Parameters
    ----------
    posterior : BoxPosterior
    hole : {"open", "blocked"}
    deeper : float, m
        Taken off the ring beside what was taken.
    """
    state = posterior.mean.copy()
    state[N_NUMBERS - 1] += deeper
    log_hz, slopes = _respond(posterior.closed, state, hole)
    return np.exp(log_hz), slopes


def box_after_ring(posterior: BoxPosterior, depth: float, error: float) -> BoxPosterior:
    """What is known after a pass over the ring, of `depth` with standard deviation `error`, in m."""
    mean, C = posterior.mean.copy(), posterior.covariance.copy()
    mean[N_NUMBERS - 1] += depth
    C[N_NUMBERS - 1, N_NUMBERS - 1] += error**2
    return replace(posterior, mean=mean, covariance=C)


def box_after_taps(
    posterior: BoxPosterior,
    places: Sequence[tuple[Hole, int]],
    measured: Sequence[float] | np.ndarray,
    errors: Sequence[float] | np.ndarray,
    number: int = 0,
) -> BoxPosterior:
    """What is known after taps of both states of the hole together.

    Parameters
    ----------
    posterior : BoxPosterior
    places : sequence of k (str, int)
        State of the hole and mode, from 0.
    measured, errors : (k,) arrays, Hz
        Frequencies and their standard errors, to which `HOLDING` is added.
    number : int
        Of the visit.

    Raises
    ------
    DesignError
        If a mode is named twice or is none, or a frequency or error is impossible.
    AccuracyError
        If the values do not settle.
    """
    hz, own = np.asarray(measured, dtype=float), np.asarray(errors, dtype=float)
    _check(places, hz, own, posterior.closed.n_modes)
    if not len(hz):
        return posterior
    closed = posterior.closed
    log_hz, error = np.log(hz), np.hypot(own / hz, HOLDING)

    wanted = _wanted(closed, places, log_hz)

    def respond(state: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return _at_places(closed, state, places, wanted)

    before, slopes = respond(posterior.mean)
    spread = np.sqrt(np.einsum("ki,ij,kj->k", slopes, posterior.covariance, slopes))
    bounds = _bounds(posterior)
    used = np.ones(len(hz), dtype=bool)
    settled = most_probable(respond, posterior.mean, posterior.covariance, bounds, log_hz, error)
    for _ in range(max(1, len(hz) // MOST_WRONG)):
        wrong = wrong_datum(settled, error, used)
        if wrong is None:
            break
        used[wrong] = False
        settled = most_probable(
            respond, posterior.mean, posterior.covariance, bounds, log_hz, np.where(used, error, np.inf)
        )
    heard = BoxHeard(
        number,
        tuple(places),
        hz,
        error * hz,
        np.exp(before),
        np.exp(before) * spread,
        np.exp(settled.data),
        ~used,
        settled.squares,
    )
    true = {hole: log_hz - settled.x[_place(closed, hole)] for hole, log_hz in wanted.items()}
    reached = [NUMBERS[i].name for i in settled.bounded if i < N_NUMBERS]
    return replace(
        posterior,
        closed=moved_reference(closed, values_of(closed, settled.x), true),
        mean=settled.x,
        covariance=conditioned(posterior.covariance, settled.slopes[used], error[used]),
        heard=(*posterior.heard, heard),
        evidence=posterior.evidence + log_evidence(settled, error, used),
        notes=(*posterior.notes, *(f"{name} reached the range of the model" for name in reached)),
    )


def _place(closed: Closed, hole: Hole) -> slice:
    m, k = closed.n_modes, HOLES.index(hole)
    return slice(N_NUMBERS + k * m, N_NUMBERS + (k + 1) * m)


def _wanted(closed: Closed, places: Sequence[tuple[Hole, int]], log_hz: np.ndarray) -> dict[Hole, np.ndarray]:
    """Logarithms of tapped frequencies by mode, nan for modes that were not tapped."""
    found: dict[Hole, np.ndarray] = {hole: np.full(closed.n_modes, np.nan) for hole in HOLES}
    for (hole, mode), value in zip(places, log_hz, strict=True):
        found[hole][mode] = value
    return found


def _at_places(
    closed: Closed, state: np.ndarray, places: Sequence[tuple[Hole, int]], wanted: dict[Hole, np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """Logarithms of frequencies of some modes and their slopes, (k,) and (k, n + 2 m)."""
    holes = dict.fromkeys(hole for hole, _ in places)
    found = {hole: _respond(closed, state, hole, wanted[hole]) for hole in holes}
    data = np.array([found[hole][0][mode] for hole, mode in places])
    return data, np.array([found[hole][1][mode] for hole, mode in places])


def _respond(
    closed: Closed, state: np.ndarray, hole: Hole, log_hz: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Logarithms of frequencies with bias, (m,), and their slopes, (m, n + 2 m); taps tell mixed modes apart."""
    at = _place(closed, hole)
    m = closed.n_modes
    modes = followed(closed, values_of(closed, state), hole, None if log_hz is None else log_hz - state[at])
    slopes = np.zeros((m, len(state)))
    slopes[:, :N_NUMBERS] = _slopes(closed, modes, state, hole)
    slopes[:, at] = np.eye(m)
    return np.log(modes.frequencies) + state[at], slopes


def _slopes(closed: Closed, modes: BoxModes, state: np.ndarray, hole: Hole) -> np.ndarray:
    """Derivatives of the logarithms of frequencies by the numbers of the state, (m, n).

    phi^T dK phi - omega^2 phi^T dM phi of modes of mass 1, as in fem/box_rates, with dK and dM from the matrices a
    step ahead and behind (`STEP`): what these leave of the derivative is below 1e-6 of it.
    """
    model, phi = closed.model, modes.vectors.T
    lam = (2 * np.pi * modes.frequencies) ** 2
    out = np.zeros((len(lam), N_NUMBERS))
    for i, number in enumerate(NUMBERS):
        h = RING_STEP if number.name == RING else STEP
        ahead, behind = (_quadratics(model, phi, lam, _moved(closed, state, i, x, hole), number) for x in (h, -h))
        out[:, i] = (ahead - behind) / (2 * h) / (2 * lam)
    return out


def _moved(closed: Closed, state: np.ndarray, i: int, step: float, hole: Hole) -> BoxValues:
    there = state.copy()
    there[i] += step
    return replace(values_of(closed, there), hole_blocked=hole == "blocked")


def _quadratics(model: BoxModel, phi: np.ndarray, lam: np.ndarray, values: BoxValues, number: BoxNumber) -> np.ndarray:
    """phi^T (K - omega^2 M) phi of all that the number may change, (m,)."""
    if number.part == "box":
        m = box_matrices(model, values)
        return np.asarray(quadratic(m.K, phi) - lam * quadratic(m.M, phi))
    face, own, sign = (model.top, values.top, 1.0) if number.part == "top" else (model.back, values.back, -1.0)
    if face is None:
        return np.zeros(len(lam))
    x, rim = phi[model.parts[number.part]], sign * phi[model.parts["rim"]]
    f = face_matrices(face, own)
    stiff = quadratic(f.K, x) + 2 * np.einsum("im,ij,jm->m", x, f.K_rigid, rim) + quadratic(f.K_rim, rim)
    return np.asarray(stiff - lam * quadratic(f.M, x))


def _alike(closed: Closed) -> np.ndarray:
    """Squared products of all modes' shapes, hole open and blocked, (2 m, 2 m), of size one."""
    phi = np.vstack([closed.opened.vectors, closed.blocked.vectors])
    M = closed.M.mean(axis=0)
    gram = phi @ M @ phi.T
    size = np.sqrt(np.diag(gram))
    return np.asarray((gram / np.outer(size, size)) ** 2)


def _bounds(posterior: BoxPosterior) -> tuple[np.ndarray, np.ndarray]:
    low, high = np.full(len(posterior.mean), -np.inf), np.full(len(posterior.mean), np.inf)
    span = np.array([number.span for number in NUMBERS])
    low[:N_NUMBERS], high[:N_NUMBERS] = -span, span
    return low, high


def _check(places: Sequence[tuple[Hole, int]], hz: np.ndarray, errors: np.ndarray, n_modes: int) -> None:
    if len(set(places)) < len(places) or any(not 0 <= mode < n_modes for _, mode in places):
        message = f"closed box: taps of modes {list(places)}; each must be named once and lie in 0 to {n_modes - 1}"
        raise DesignError(message)
    if hz.shape != (len(places),) or errors.shape != hz.shape:
        message = f"closed box: {len(places)} modes, {hz.size} taps, {errors.size} errors; must be one of each a mode"
        raise DesignError(message)
    if not (np.isfinite(hz).all() and (hz > 0).all() and np.isfinite(errors).all() and (errors >= 0).all()):
        message = "closed box: taps must be above 0 Hz and finite, their errors not negative"
        raise DesignError(message)
