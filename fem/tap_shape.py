"""Shapes of measured modes: how much, and which way, each tapped point moves.

Depends on nothing inside the project.

Mode k sounds in hit h at point x_h, heard at y_c, with the amplitude

    a_hck = s_h exp(i omega_k tau_h) phi_k(x_h) g_kc

s_h is the strength of the strike and tau_h how far its moment was misjudged; g_kc belongs to the microphone. The
moments are found from the phases of all modes of a hit together, since phi is real (`strike_delays`). The strengths
cannot be: strength s_h at a point where all modes move twice as far looks the same as 2 s_h at that point. So without
a hammer **strikes count as equally strong on the average over the hits of a point**, and their scatter over repeated
hits, or `STRENGTH` where there are none, goes into the standard errors. By reciprocity the same holds for one tapped
point and a roving microphone; if a microphone stays in place, or all were there at once, the strikes cancel exactly
(`by_reference`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

STRENGTH = 0.25
"""Scatter of the strength of taps by hand, relative; common practice, no source: a decibel or two either way."""

BY_HAMMER = 0.10
"""Scatter that remains with a hammer, from not hitting the same place; chosen."""

PRIOR_HITS = 4
"""Repeated hits that the expected scatter counts for; chosen: two that agree by chance must not claim too much."""

LARGEST_DELAY = 3e-3
"""How far the moment of a strike may be misjudged, s; chosen: the touch of a soft finger."""

DELAY_ERROR = 0.7e-3
"""Expected error of it, s; chosen: the way of the click to the microphone is up to 0.3 m."""

PHASE_SCATTER = 0.3
"""Expected error of a phase beside that of the noise; chosen: a neighbouring mode turns it by as much."""

AS_GOOD = 3.0
"""Logarithm of the likelihood by which another moment of a hit may be less likely and still be the right one; chosen:
a chance of one in twenty."""

NOT_REAL = 0.3
"""Complexity from which a shape has no signs; chosen: phases by chance have 0.5, neighbours in a beat 0.1."""

TOO_WEAK = 3.0
"""Largest value over its standard error below which a shape says nothing; chosen."""


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A measured mode at some points, up to one common factor.

    Parameters
    ----------
    points : (k, 2) array, m
    values : (k,) array
        Signed; the largest magnitude is 1 and positive.
    errors : (k,) array
        Standard errors of the values, in the same unit.
    complexity : float
        Part of the shape's energy that is a quarter of a period out of step with the rest: 0 for a real mode.
    """

    points: Real
    values: Real
    errors: Real
    complexity: float = 0.0

    def __post_init__(self) -> None:
        """Keep the arrays from changes."""
        for name in ("points", "values", "errors"):
            array = np.array(getattr(self, name), dtype=float)
            array.flags.writeable = False
            object.__setattr__(self, name, array)


def shapes_of_points(
    amplitude: Complex,
    point: NDArray[np.intp],
    points: Real,
    omega: Real,
    errors: Real,
    *,
    by_hammer: bool = False,
) -> list[Shape | str]:
    """Shape of each mode over points tapped one after the other.

    Parameters
    ----------
    amplitude : (n_hits, n_channels, n_modes) complex array
        At the strikes; of fixed microphones.
    point : (n_hits,) array of int
    points : (k, 2) array, m
    omega : (n_modes,) array, rad/s
    errors : (n_hits, n_channels, n_modes) array
        Standard errors that the noise makes of the amplitudes' parts.
    by_hammer : bool
        Whether the amplitudes are already divided by the strikes.

    Returns
    -------
    list of Shape, or in its place why there is none
    """
    n_hits, n_channels, n_modes = amplitude.shape
    tau = other = np.zeros(n_hits)
    if not by_hammer:
        flat = (n_hits, n_channels * n_modes)
        tau, other = strike_delays(amplitude.reshape(flat), errors.reshape(flat), np.tile(omega, n_channels))
    heard = np.unique(point)
    found: list[Shape | str] = []
    for k in range(n_modes):
        hits = _together(amplitude[:, :, k] * np.exp(-1j * omega[k] * tau)[:, None])
        turned = hits * np.exp(1j * omega[k] * (tau - other))
        expected = BY_HAMMER if by_hammer else STRENGTH
        found.append(_shape(hits, turned, np.searchsorted(heard, point), points[heard], expected))
    return found


def by_reference(amplitude: Complex, points: Real) -> list[Shape | str]:
    """Shape of each mode over microphones of which each hit was heard by some, one at least by all.

    Parameters
    ----------
    amplitude : (n_hits, k, n_modes) complex array
        nan where a microphone was not there.
    points : (k, 2) array, m
    """
    return [_rank_one(amplitude[:, :, m], points) for m in range(amplitude.shape[2])]


def strike_delays(amplitude: Complex, errors: Real, omega: Real) -> tuple[Real, Real]:
    """How much too early the moment of each hit was taken, s, from the phases of real modes.

    The most likely delays tau_h and phases gamma_j that bring a_hj exp(-i (omega_j tau_h + gamma_j)) to the real axis,
    of either sign, by alternation from several starts. A delay common to all hits is not told by this, nor needed.

    Parameters
    ----------
    amplitude : (n_hits, n) complex array
    errors : (n_hits, n) array
        Standard errors of the amplitudes' parts.
    omega : (n,) array, rad/s

    Returns
    -------
    tau, other : (n_hits,) arrays, s
        The best delays, and the second best where they fit nearly as well; else the best again.
    """
    size = np.maximum(np.abs(amplitude), np.finfo(float).tiny)
    # A phase off by psi costs psi^2 / (2 variance), near (1 - cos 2 psi) / (4 variance), whatever the sign.
    weight = 0.25 / (np.minimum(errors / size, 1e3) ** 2 + PHASE_SCATTER**2)
    doubled = weight * np.exp(2j * np.angle(amplitude))
    grid = np.arange(-LARGEST_DELAY, LARGEST_DELAY, 2e-5)
    turned = np.exp(-2j * np.outer(omega, grid))
    expected = 0.5 * (grid / DELAY_ERROR) ** 2
    best, found, scores = -np.inf, np.zeros(len(amplitude)), np.zeros((len(amplitude), len(grid)))
    # A hit next to a still line of a mode has no phase of it to begin from.
    strong = (size > 0.3 * np.sqrt((size**2).mean(axis=0))) & (errors < 0.3 * size)
    starts = np.argsort(-strong.sum(axis=1), kind="stable")[:6]
    for start in starts:
        gamma = np.exp(2j * np.angle(amplitude[start]))
        tau, total = found, -np.inf
        for _ in range(30):
            score = (doubled * gamma.conj() @ turned).real - expected
            pick = score.argmax(axis=1)
            tau, before, total = grid[pick], total, float(score.max(axis=1).sum())
            gamma = (doubled * np.exp(-2j * np.outer(tau, omega))).sum(axis=0)
            gamma = gamma / np.maximum(np.abs(gamma), np.finfo(float).tiny)
            if total - before < 1e-9:
                break
        if total > best:
            best, found, scores = total, tau, score
    return found, _second_best(scores, grid, found)


def _second_best(scores: Real, grid: Real, found: Real) -> Real:
    """Delay of the next peak of each hit's score that is nearly as high, else the delay found."""
    other = found.copy()
    for h, score in enumerate(scores):
        peaks = find_peaks(score)[0]
        peaks = peaks[(score[peaks] > score.max() - AS_GOOD) & (np.abs(grid[peaks] - found[h]) > 1e-4)]
        if len(peaks):
            other[h] = grid[peaks[score[peaks].argmax()]]
    return other


def _together(amplitude: Complex) -> Complex:
    """Amplitudes (n_hits, n_channels) of one mode as one channel, each by how well it hears it."""
    if amplitude.shape[1] == 1:
        return amplitude[:, 0]
    return np.asarray(amplitude @ np.linalg.svd(amplitude, full_matrices=False)[2][0].conj())


def _real(values: Complex) -> tuple[Complex, float]:
    """Values turned so that their real parts are largest, and the part of their energy that stays imaginary."""
    turned = values * np.exp(-0.5j * np.angle((values**2).sum()))
    total = float((np.abs(turned) ** 2).sum())
    return turned, float((turned.imag**2).sum()) / total if total > 0 else 1.0


def _shape(hits: Complex, otherwise: Complex, point: NDArray[np.intp], points: Real, expected: float) -> Shape | str:
    """Shape from amplitudes of one mode, hit by hit, and what they would be if the moments were the second best."""
    turned, complexity = _real(hits)
    doubt = (turned - otherwise * turned / np.where(hits == 0, 1.0, hits)).real / 2
    n = np.bincount(point, minlength=len(points))
    mean = np.bincount(point, turned.real) / n
    # What is out of step is noise, room or a neighbouring mode; as much of it must be expected in step.
    noise = float((turned.imag**2).mean())
    left = float(((turned.real - mean[point]) ** 2).sum()) - noise * float((n - 1).sum())
    # Each hit leaves (n - 1) / n of its own scatter beside its point's mean.
    freedom = int((n - 1).sum())
    size = float((mean[point] ** 2 * ((n - 1) / n)[point]).sum())
    seen = max(left, 0.0) / size if size > 0 else 0.0
    relative = (PRIOR_HITS * expected**2 + freedom * seen) / (PRIOR_HITS + freedom)
    errors = np.sqrt((relative * mean**2 + noise) / n + np.bincount(point, doubt**2, len(points)) / n**2)
    return _checked(points, mean, errors, complexity)


def _rank_one(amplitude: Complex, points: Real) -> Shape | str:
    """Shape of one mode from (n_hits, k) amplitudes b_h psi_c, some of them nan, by alternating least squares."""
    there = np.isfinite(amplitude)
    a = np.where(there, amplitude, 0.0)
    # Begun from a microphone that heard every hit.
    lead = int(np.argmax(there.sum(axis=0) + (np.abs(a) ** 2).sum(axis=0) / max(float((np.abs(a) ** 2).sum()), 1e-300)))
    strength = a[:, lead]
    tiny = np.finfo(float).tiny
    psi = np.zeros(a.shape[1], dtype=complex)
    for _ in range(50):
        psi = (strength.conj() @ a) / np.maximum((np.abs(strength) ** 2) @ there, tiny)
        strength = (a @ psi.conj()) / np.maximum(there @ np.abs(psi) ** 2, tiny)
    turned, complexity = _real(psi)
    rest = np.where(there, a - np.outer(strength, psi), 0.0)
    freedom = max(int(there.sum()) - len(a) - a.shape[1] + 1, 1)
    noise = float((np.abs(rest) ** 2).sum()) / (2 * freedom)
    energy = (np.abs(strength) ** 2) @ there
    # One hit leaves nothing over, but its phases do.
    out_of_step = float((turned.imag**2).mean())
    return _checked(points, turned.real, np.sqrt(noise / np.maximum(energy, tiny) + out_of_step), complexity)


def _checked(points: Real, values: Real, errors: Real, complexity: float) -> Shape | str:
    largest = int(np.argmax(np.abs(values)))
    scale = values[largest]
    if abs(scale) < TOO_WEAK * errors[largest]:
        return "too weak at all points for a shape"
    if complexity > NOT_REAL:
        return f"{100 * complexity:.0f} % of its motion is out of step between the points, so they have no signs"
    return Shape(points, values / scale, errors / abs(scale), complexity)
