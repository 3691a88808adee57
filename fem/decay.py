"""Frequencies and decays of the sinusoids in one or more free decays, by separable nonlinear least squares.

All decays share the poles s = -sigma + i omega; each has its own amplitudes. The fit works on the bins of the
discrete Fourier transform, where a decaying sinusoid has a closed form, so no filter or window blurs it, and only
the bins around a pole are needed to refine it. Which poles there are is decided in fem/modal_fit_order.

Depends on nothing inside the project.

References
----------
G. H. Golub, V. Pereyra, "The differentiation of pseudo-inverses and nonlinear least squares problems whose variables
separate", SIAM J. Numer. Anal. 10 (1973) 413-432; L. Kaufman, BIT 15 (1975) 49-57 (the Jacobian used here).
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.optimize import least_squares
from scipy.stats import chi2

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Mask = NDArray[np.bool_]

LARGEST_CLUSTER = 6

LARGEST_STEP = 20.0
"""Largest growth of a decay rate in one fit; chosen: from one trial decay over most others."""

SEARCHED, POLISHED = 10.0, 20.0
"""Bins on either side of a pole that are fitted, in half bandwidths, while poles are sought and at last; chosen: with
10 the straight background costs a tenth of the precision."""

SETTLED = 1e-4
"""Movement of the poles in a sweep, in half bandwidths, after which no further sweep is made."""

LOWEST_Q = 2.0
"""Broader than this a peak is background; chosen: no plate of wood is."""

STEADY = 1e-3
"""Decay rate given to a tone that does not decay, 1/s."""


@dataclass(frozen=True, slots=True)
class Decays:
    """Fourier transform of free decays of equal length.

    Parameters
    ----------
    spectra : (n_hits, n_bins) complex array
        Unwindowed transform of each decay in the band.
    omega : (n_bins,) array, rad/s
    rate : float, Hz
    n_samples : int
        Samples of each decay.
    """

    spectra: Complex
    omega: Real
    rate: float
    n_samples: int

    @classmethod
    def from_samples(cls, samples: Real, rate: float, band: tuple[float, float]) -> "Decays":
        """Transform of decays (n_hits, n_samples), kept between the band's limits in Hz."""
        n = samples.shape[1]
        first = max(int(np.ceil(band[0] * n / rate)), 1)
        last = min(int(band[1] * n / rate), (n - 1) // 2)
        spectra = np.fft.rfft(samples, axis=1)[:, first : last + 1]
        return cls(spectra, 2 * np.pi * np.arange(first, last + 1) * rate / n, rate, n)

    @property
    def duration(self) -> float:
        """Length of each decay, s."""
        return self.n_samples / self.rate

    def of_hit(self, hit: int) -> "Decays":
        """One hit's decay alone."""
        return replace(self, spectra=self.spectra[hit : hit + 1])


@dataclass(frozen=True, slots=True)
class Poles:
    """Decaying sinusoids Re(a exp((-sigma + i omega) t)).

    Parameters
    ----------
    omega, sigma : (n,) array, rad/s and 1/s
    amplitude : (n_hits, n) complex array
        At the start of each decay.
    drift : (n_hits, n) complex array
        Growth of a steady tone's amplitude over the length of the decay; nothing for the others.
    steady : (n,) bool array
        Tones whose decay rate is held at nothing.
    signal_to_noise : (n,) array
        Energy over all hits divided by that of the noise in one degree of freedom.
    """

    omega: Real
    sigma: Real
    amplitude: Complex
    drift: Complex
    steady: Mask
    signal_to_noise: Real

    @classmethod
    def starting(cls, omega: Real, sigma: Real, n_hits: int, *, steady: bool = False) -> "Poles":
        """Poles whose amplitudes are not fitted yet."""
        n = len(omega)
        nothing = np.zeros((n_hits, n), dtype=complex)
        return cls(omega, sigma, nothing, nothing, np.full(n, steady), np.zeros(n))

    def kept(self, keep: Mask | NDArray[np.intp] | list[int]) -> "Poles":
        """The poles that are marked, or those of these indices in their order."""
        return Poles(
            self.omega[keep],
            self.sigma[keep],
            self.amplitude[:, keep],
            self.drift[:, keep],
            self.steady[keep],
            self.signal_to_noise[keep],
        )

    def joined(self, other: "Poles") -> "Poles":
        """These poles and the other ones behind them."""
        return Poles(
            np.concatenate([self.omega, other.omega]),
            np.concatenate([self.sigma, other.sigma]),
            np.hstack([self.amplitude, other.amplitude]),
            np.hstack([self.drift, other.drift]),
            np.concatenate([self.steady, other.steady]),
            np.concatenate([self.signal_to_noise, other.signal_to_noise]),
        )


def transform(s: Complex, omega: Real, rate: float, n: int) -> tuple[Complex, Complex]:
    """Discrete Fourier transform of exp(s t) sampled n times, and its derivative with respect to s.

    A geometric sum, (1 - z^n) / (1 - z e^(-i omega / rate)) with z = e^(s / rate), as omega is at a bin of n.

    Parameters
    ----------
    s : (k,) complex array, 1/s
    omega : (n_bins,) array, rad/s
    rate : float, Hz
    n : int

    Returns
    -------
    value, derivative : (n_bins, k) complex arrays
    """
    value, turn, over = _geometric_sum(s, omega, rate, n)
    slope = (turn * value - n * np.exp(s * n / rate)) * (over / rate)
    return value, slope


def _geometric_sum(s: Complex, omega: Real, rate: float, n: int) -> tuple[Complex, Complex, Complex]:
    """The transform, the ratio of two terms of the sum, and one over what that lacks to one; (n_bins, k) each."""
    turn = np.exp(-1j * omega / rate)[:, None] * np.exp(s / rate)
    low = 1.0 - turn
    # At a bin that an undamped tone hits, the sum has n equal terms.
    low[low == 0] = 1e-13
    over = 1.0 / low
    return -np.expm1(s * n / rate) * over, turn, over


def stacked(values: Complex) -> Real:
    """Real parts above imaginary parts."""
    return np.concatenate([values.real, values.imag])


def real_columns(value: Complex, mirror: Complex) -> Real:
    """Real least-squares columns of the transforms at s and its conjugate: all real parts, then all imaginary."""
    return np.hstack([stacked((value + mirror) / 2), stacked(1j * (value - mirror) / 2)])


def modelled(decays: Decays, poles: Poles) -> Complex:
    """The poles' part of each spectrum, (n_hits, n_bins)."""
    total = np.zeros(decays.spectra.shape, dtype=complex)
    t = poles.steady
    for sign, of in ((1, np.asarray), (-1, np.conj)):
        s = -poles.sigma + sign * 1j * poles.omega
        value = _geometric_sum(s, decays.omega, decays.rate, decays.n_samples)[0]
        total += of(poles.amplitude) @ value.T / 2
        if t.any():
            slope = transform(s[t], decays.omega, decays.rate, decays.n_samples)[1]
            total += of(poles.drift[:, t]) @ slope.T / (2 * decays.duration)
    return total


def background_noise(rest: Complex) -> Real:
    """Power of the noise in each bin, from the median over neighbouring bins, (n_bins,)."""
    n_hits = len(rest)
    power = (np.abs(rest) ** 2).mean(axis=0)
    width = max(min(61, len(power) // 4), 3)
    # The median of a mean of n exponential variables is below 1 by this factor.
    return np.asarray(median_filter(power, width, mode="reflect") / (chi2.median(2 * n_hits) / (2 * n_hits))) + 1e-300


def measured(decays: Decays, poles: Poles) -> Poles:
    """Poles with their energy over that of the noise."""
    rest = decays.spectra - modelled(decays, poles)
    noise = np.interp(poles.omega, decays.omega, background_noise(rest))
    x = 2 * poles.sigma * decays.duration
    # Mean square of exp(-sigma t) over the decay; the noise's power in a bin is its variance times n_samples.
    mean_square = -np.expm1(-x) / x
    energy = (np.abs(poles.amplitude) ** 2).sum(axis=0) * mean_square * decays.n_samples**2 / 4
    return replace(poles, signal_to_noise=energy / noise)


def refit(decays: Decays, start: Poles) -> Poles:
    """The same poles fitted to other decays, such as those of a single hit, in the same order."""
    # Amplitudes first, all together, so that no pole takes its neighbour's part.
    return measured(decays, swept(decays, with_amplitudes(decays, start), 2))


def with_amplitudes(decays: Decays, poles: Poles) -> Poles:
    """The poles as they are, with the amplitudes that fit these decays best, all bins together."""
    phi = pole_columns(decays, poles)
    c = np.linalg.lstsq(phi, stacked(decays.spectra.T), rcond=1e-9)[0]
    return _with_coefficients(poles, c)


def misfit(decays: Decays, poles: Poles) -> Real:
    """Part of each hit's energy in the band that the poles leave unexplained, (n_hits,)."""
    rest = decays.spectra - modelled(decays, poles)
    whole = (np.abs(decays.spectra) ** 2).sum(axis=1)
    return np.asarray((np.abs(rest) ** 2).sum(axis=1) / np.maximum(whole, np.finfo(float).tiny))


def pole_columns(decays: Decays, poles: Poles) -> Real:
    """Real columns of all amplitudes, then of the steady tones' drifts."""
    s = -poles.sigma + 1j * poles.omega
    value, slope = transform(s, decays.omega, decays.rate, decays.n_samples)
    mirror, mirror_slope = transform(s.conj(), decays.omega, decays.rate, decays.n_samples)
    t = poles.steady
    drifts = real_columns(slope[:, t] / decays.duration, mirror_slope[:, t] / decays.duration)
    return np.hstack([real_columns(value, mirror), drifts])


def _with_coefficients(poles: Poles, c: NDArray[np.floating[Any]]) -> Poles:
    k, n_steady = len(poles.omega), int(poles.steady.sum())
    drift = np.zeros((c.shape[1], k), dtype=complex)
    drift[:, poles.steady] = (c[2 * k : 2 * k + n_steady] + 1j * c[2 * k + n_steady : 2 * (k + n_steady)]).T
    return replace(poles, amplitude=np.asarray((c[:k] + 1j * c[k : 2 * k]).T), drift=drift)


def clusters(poles: Poles) -> list[NDArray[np.intp]]:
    """Poles whose resonances overlap, together."""
    omega, sigma = poles.omega, poles.sigma
    groups: list[list[int]] = []
    for k in np.argsort(omega):
        # Bandwidth 2 sigma; 1.5 of them on either side share too many bins to be fitted apart.
        if (
            groups
            and len(groups[-1]) < LARGEST_CLUSTER
            and omega[k] - omega[groups[-1][-1]] < 3 * (sigma[k] + sigma[groups[-1][-1]]) + 2 * np.pi * 2
        ):
            groups[-1].append(int(k))
        else:
            groups.append([int(k)])
    return [np.array(group) for group in groups]


def swept(decays: Decays, poles: Poles, n_sweeps: int, width: float = SEARCHED) -> Poles:
    """The poles refitted cluster after cluster, each with the others' present part subtracted.

    `width` is that of the fitted bins on either side of a pole, in half bandwidths.
    """
    poles = replace(
        poles,
        omega=poles.omega.copy(),
        sigma=poles.sigma.copy(),
        amplitude=poles.amplitude.copy(),
        drift=poles.drift.copy(),
    )
    if not len(poles.omega):
        return poles
    rest = decays.spectra - modelled(decays, poles)
    parts: dict[bytes, Complex] = {}
    for _ in range(n_sweeps):
        moved = 0.0
        last, parts = parts, {}
        for group in clusters(poles):
            before = poles.kept(group)
            part = last.get(group.tobytes())
            if part is None:
                part = modelled(decays, before)
            near = near_bins(decays, before, width)
            if near.stop - near.start < 2 * len(group) + 4:
                continue
            after = Cluster.around(decays, rest + part, before, near).fitted()
            change = np.abs(after.omega - before.omega) / before.sigma
            moved = max(moved, float(change[~before.steady].max(initial=0.0)))
            parts[group.tobytes()] = modelled(decays, after)
            rest += part - parts[group.tobytes()]
            poles.omega[group], poles.sigma[group] = after.omega, after.sigma
            poles.amplitude[:, group], poles.drift[:, group] = after.amplitude, after.drift
        if moved < SETTLED:
            break
    return poles


def near_bins(decays: Decays, poles: Poles, width: float) -> slice:
    """The bins within so many half bandwidths of these poles."""
    margin = np.maximum(width * poles.sigma, max(2 * np.pi * 10, 5 * (decays.omega[1] - decays.omega[0])))
    low, high = (poles.omega - margin).min(), (poles.omega + margin).max()
    return slice(*(int(k) for k in np.searchsorted(decays.omega, [low, high])))


def each_cluster(decays: Decays, poles: Poles, width: float = POLISHED) -> Iterator[tuple[NDArray[np.intp], "Cluster"]]:
    """Every cluster's indices and its problem, with the other poles' part subtracted."""
    rest = decays.spectra - modelled(decays, poles)
    for group in clusters(poles):
        own = poles.kept(group)
        yield group, Cluster.around(decays, rest + modelled(decays, own), own, near_bins(decays, own, width))


@dataclass(frozen=True, slots=True)
class Cluster:
    """Poles and amplitudes that fit the bins of one cluster best, over a straight background.

    The parameters p are the steps of omega, in units of sigma, of the poles that decay, then those of the logarithms
    of their sigmas. A steady tone stays where it is: its drift, another for each hit, does what a step would do.

    Parameters
    ----------
    local : Decays
        The cluster's bins.
    start : Poles
    background : (2 n_bins, 4) array
    target : (2 n_bins, n_hits) array
    last : dict
        Factors at the latest parameters: the minimiser asks for the residual and for the Jacobian at one place.
    """

    local: Decays
    start: Poles
    background: Real
    target: Real
    last: dict[bytes, tuple[Real, Real, Complex, Complex]] = field(default_factory=dict)

    @classmethod
    def around(cls, decays: Decays, spectra: Complex, start: Poles, near: slice) -> "Cluster":
        """The problem in the bins `near`; `spectra` (n_hits, n_bins) holds nothing but these poles and noise."""
        local = Decays(spectra[:, near], decays.omega[near], decays.rate, decays.n_samples)
        x = np.linspace(-1, 1, len(local.omega))
        background = np.hstack([stacked(np.column_stack([u * np.ones_like(x), u * x])) for u in (1, 1j)])
        return cls(local, start, background, stacked(local.spectra.T))

    @property
    def free(self) -> NDArray[np.intp]:
        """Poles that decay."""
        return np.flatnonzero(~self.start.steady)

    def at(self, p: Real) -> tuple[Real, Real]:
        """Angular frequencies and decay rates of the parameters."""
        free, n = self.free, len(self.free)
        omega, sigma = self.start.omega.copy(), self.start.sigma.copy()
        omega[free] += sigma[free] * p[:n]
        sigma[free] *= np.exp(np.clip(p[n:], -9, 5))
        return omega, sigma

    def _columns(self, p: Real) -> tuple[Real, Complex, Complex]:
        omega, sigma = self.at(p)
        local, s = self.local, -sigma + 1j * omega
        value, slope = transform(s, local.omega, local.rate, local.n_samples)
        mirror, mirror_slope = transform(s.conj(), local.omega, local.rate, local.n_samples)
        t, length = self.start.steady, local.duration
        parts = [real_columns(value, mirror)]
        if t.any():
            parts.append(real_columns(slope[:, t] / length, mirror_slope[:, t] / length))
        return np.hstack([*parts, self.background]), slope, mirror_slope

    def _factors(self, p: Real) -> tuple[Real, Real, Complex, Complex]:
        key = p.tobytes()
        if key not in self.last:
            phi, slope, mirror_slope = self._columns(p)
            self.last.clear()
            self.last[key] = (*np.linalg.qr(phi), slope, mirror_slope)
        return self.last[key]

    def residual(self, p: Real) -> Real:
        """What the best amplitudes leave, (n_hits 2 n_bins,)."""
        q = self._factors(p)[0]
        return np.asarray((self.target - q @ (q.T @ self.target)).ravel(order="F"))

    def jacobian(self, p: Real) -> Real:
        """Kaufman's derivative of the residual, (n_hits 2 n_bins, n_parameters)."""
        q, r, slope, mirror_slope = self._factors(p)
        sigma, free = self.at(p)[1], self.free
        k = len(sigma)
        c = np.linalg.solve(r, q.T @ self.target)
        a = np.asarray((c[:k] + 1j * c[k : 2 * k]).T)[:, None, free]
        ahead, back = a * slope[:, free], a.conj() * mirror_slope[:, free]
        by_omega = 1j * self.start.sigma[free] * (ahead - back) / 2
        by_sigma = -(ahead + back) * sigma[free] / 2
        d = np.concatenate([by_omega, by_sigma], axis=2)
        d = np.concatenate([d.real, d.imag], axis=1)
        return np.asarray(-(d - q @ (q.T @ d)).reshape(-1, d.shape[2]))

    def fitted(self) -> Poles:
        """The poles where the residual is least."""
        free, start, local = self.free, self.start, self.local
        p = np.zeros(2 * len(free))
        if len(p) and self.target.size > 2 * len(p):
            try:
                p = least_squares(self.residual, p, jac=self.jacobian, method="lm", xtol=1e-6, ftol=1e-8, max_nfev=20).x
            except np.linalg.LinAlgError:
                # Two poles fell together; the start is kept, and the weaker one goes at the end of the round.
                p = np.zeros(2 * len(free))
        omega, sigma = self.at(p)
        # A step out of the cluster's bins, or to a decay that is none, has lost its peak.
        most = np.minimum(LARGEST_STEP * start.sigma, omega / (2 * LOWEST_Q))
        lost = ~((omega > local.omega[0]) & (omega < local.omega[-1]) & (sigma < most))
        omega = np.where(lost, start.omega, omega)
        sigma = np.where(lost, start.sigma, np.maximum(sigma, STEADY))
        p = np.concatenate([((omega - start.omega) / start.sigma)[free], np.log(sigma / start.sigma)[free]])
        c = np.linalg.lstsq(self._columns(p)[0], self.target, rcond=1e-9)[0]
        return _with_coefficients(replace(start, omega=omega, sigma=sigma), c)
