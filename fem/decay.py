"""Frequencies and decays of the sinusoids in one or more free decays, by separable nonlinear least squares.

All decays share the poles s = -sigma + i omega; each has its own amplitudes. The fit works on the bins of the
discrete Fourier transform, where a decaying sinusoid has a closed form, so no filter or window blurs it, and only
the bins around a pole are needed to refine it.

References
----------
G. H. Golub, V. Pereyra, "The differentiation of pseudo-inverses and nonlinear least squares problems whose variables
separate", SIAM J. Numer. Anal. 10 (1973) 413-432; L. Kaufman, BIT 15 (1975) 49-57 (the Jacobian used here).
S. G. Mallat, Z. Zhang, "Matching pursuits with time-frequency dictionaries", IEEE Trans. Signal Process. 41 (1993)
3397-3415 (how poles are found one after the other).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.optimize import least_squares
from scipy.signal import find_peaks
from scipy.stats import chi2

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

TRIAL_DECAYS = (0.4, 0.16, 0.08, 0.04, 0.02, 0.01)
"""Time constants of the matched filters, s; chosen: Q from 5 to 1000 over 50-2000 Hz lies within a factor of 1.5."""

FALSE_ALARM = 1e-4
"""Chance that noise alone makes one pole in a recording; chosen."""

SMALLEST = 10 ** (-48 / 20)
"""Amplitude in the matched filter below which nothing is sought, relative to the strongest; chosen: the dynamic
range of a room and a microphone."""

AGAINST_NEIGHBOURS = 10 ** (-20 / 20)
"""The same relative to what is already fitted there; chosen: real decays are not exponential to better than 10 %."""

MOST_POLES = 40
MOST_ROUNDS = 8
LARGEST_CLUSTER = 6
CLOSEST = 1.0
"""Smallest distance of two modes in half bandwidths; chosen: closer ones look like one decay that is no exponential."""

LARGEST_STEP = 20.0
"""Largest growth of a decay rate in one fit; chosen: from one trial decay over most others."""

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

    def of_hit(self, hit: int) -> "Decays":
        """One hit's decay alone."""
        return Decays(self.spectra[hit : hit + 1], self.omega, self.rate, self.n_samples)


@dataclass(frozen=True, slots=True)
class Poles:
    """Decaying sinusoids Re(a exp((-sigma + i omega) t)).

    Parameters
    ----------
    omega, sigma : (n,) array, rad/s and 1/s
    amplitude : (n_hits, n) complex array
        At the start of each decay.
    steady : (n,) bool array
        Tones whose decay rate is held at nothing.
    signal_to_noise : (n,) array
        Energy over all hits divided by that of the noise in one degree of freedom.
    """

    omega: Real
    sigma: Real
    amplitude: Complex
    steady: NDArray[np.bool_]
    signal_to_noise: Real

    def kept(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> "Poles":
        """The poles that are marked, or those of these indices in their order."""
        return Poles(
            self.omega[keep],
            self.sigma[keep],
            self.amplitude[:, keep],
            self.steady[keep],
            self.signal_to_noise[keep],
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
    turn = np.exp(-1j * omega / rate)[:, None] * np.exp(s / rate)
    low = 1.0 - turn
    top = -np.expm1(s * n / rate)
    # At a bin that an undamped tone hits, the sum has n equal terms.
    low[np.abs(low) < 1e-13] = 1e-13
    value = top / low
    slope = (turn * value - n * np.exp(s * n / rate)) / (rate * low)
    return value, slope


def find_poles(decays: Decays, steady_hz: Real, *, n_rounds: int = MOST_ROUNDS) -> Poles:
    """All sinusoids that stand out of the noise, the steady ones at `steady_hz` among them.

    The strongest are fitted first; what is left is searched with filters matched to decaying sinusoids, and the
    fit repeated, until nothing significant is left.
    """
    n_hits = len(decays.spectra)
    omega = 2 * np.pi * np.asarray(steady_hz, dtype=float)
    omega = omega[(omega > decays.omega[0]) & (omega < decays.omega[-1])]
    sigma = np.full(len(omega), STEADY)
    steady = np.ones(len(omega), dtype=bool)
    amplitude = np.zeros((n_hits, len(omega)), dtype=complex)
    for _ in range(n_rounds):
        omega, sigma, amplitude = _sweep(decays, omega, sigma, amplitude, steady, n_sweeps=2)
        alone = _distinct(omega, sigma, amplitude, steady)
        if not alone.all():
            omega, sigma, amplitude, steady = omega[alone], sigma[alone], amplitude[:, alone], steady[alone]
            omega, sigma, amplitude = _sweep(decays, omega, sigma, amplitude, steady, n_sweeps=1)
        new_omega, new_sigma = _candidates(decays, omega, sigma, amplitude, steady)
        room = MOST_POLES - len(omega)
        if not len(new_omega) or room <= 0:
            break
        omega, sigma = np.append(omega, new_omega[:room]), np.append(sigma, new_sigma[:room])
        steady = np.append(steady, np.zeros(len(omega) - len(steady), dtype=bool))
        amplitude = np.hstack([amplitude, np.zeros((n_hits, len(omega) - amplitude.shape[1]), dtype=complex)])
    # A pole that served only while another was missing goes again, and so does one that has run into another.
    significant = chi2.isf(FALSE_ALARM / len(decays.omega), 4 * n_hits) / 2
    for _ in range(4):
        omega, sigma, amplitude = _sweep(decays, omega, sigma, amplitude, steady, n_sweeps=2)
        poles = _measured(decays, omega, sigma, amplitude, steady)
        keep = (poles.signal_to_noise > significant) & _distinct(omega, sigma, amplitude, steady) | steady
        poles = poles.kept(keep)
        if keep.all():
            break
        omega, sigma, amplitude, steady = poles.omega, poles.sigma, poles.amplitude, poles.steady
    return poles.kept(np.argsort(poles.omega))


def _distinct(omega: Real, sigma: Real, amplitude: Complex, steady: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Poles that lie no closer than a bandwidth's half to a stronger one.

    Closer ones are the two halves of one decay that is not quite exponential, and their amplitudes cancel.
    """
    energy = (np.abs(amplitude) ** 2).sum(axis=0) / sigma
    alone = np.ones(len(omega), dtype=bool)
    for k in np.argsort(-energy):
        # A broad background must not swallow the narrow modes on it.
        width = np.maximum(sigma[k], np.minimum(sigma, 3 * sigma[k]))
        near = (np.abs(omega - omega[k]) < CLOSEST * width) & ~steady
        if not steady[k] and (near & alone & (np.arange(len(omega)) != k) & (energy >= energy[k])).any():
            alone[k] = False
    return alone


def _measured(decays: Decays, omega: Real, sigma: Real, amplitude: Complex, steady: NDArray[np.bool_]) -> Poles:
    """Poles with their energy over that of the noise."""
    rest = decays.spectra - _model(decays, omega, sigma, amplitude).sum(axis=2)
    noise = np.interp(omega, decays.omega, _noise(rest))
    x = 2 * sigma * decays.n_samples / decays.rate
    # Mean square of exp(-sigma t) over the decay; the noise's power in a bin is its variance times n_samples.
    mean_square = -np.expm1(-x) / x
    energy = (np.abs(amplitude) ** 2).sum(axis=0) * mean_square * decays.n_samples**2 / 4
    return Poles(omega, sigma, amplitude, steady, energy / noise)


def refit(decays: Decays, start: Poles) -> Poles:
    """The same poles fitted to other decays, such as those of a single hit, in the same order."""
    amplitude = np.zeros((len(decays.spectra), len(start.omega)), dtype=complex)
    # Amplitudes first, all together, so that no pole takes its neighbour's part.
    phi = real_columns(
        transform(-start.sigma + 1j * start.omega, decays.omega, decays.rate, decays.n_samples)[0],
        transform(-start.sigma - 1j * start.omega, decays.omega, decays.rate, decays.n_samples)[0],
    )
    c = np.linalg.lstsq(phi, stacked(decays.spectra.T), rcond=None)[0]
    amplitude = _amplitude(c, len(start.omega))
    return _measured(
        decays, *_sweep(decays, start.omega, start.sigma, amplitude, start.steady, n_sweeps=2), start.steady
    )


def misfit(decays: Decays, poles: Poles) -> Real:
    """Part of each hit's energy in the band that the poles leave unexplained, (n_hits,)."""
    rest = decays.spectra - _model(decays, poles.omega, poles.sigma, poles.amplitude).sum(axis=2)
    whole = (np.abs(decays.spectra) ** 2).sum(axis=1)
    return np.asarray((np.abs(rest) ** 2).sum(axis=1) / np.maximum(whole, np.finfo(float).tiny))


def stacked(values: Complex) -> Real:
    """Real parts above imaginary parts."""
    return np.concatenate([values.real, values.imag])


def real_columns(value: Complex, mirror: Complex) -> Real:
    """Real least-squares columns of the transforms at s and its conjugate: all real parts, then all imaginary."""
    return np.hstack([stacked((value + mirror) / 2), stacked(1j * (value - mirror) / 2)])


def _amplitude(c: NDArray[np.floating[Any]], k: int) -> Complex:
    return np.asarray((c[:k] + 1j * c[k : 2 * k]).T)


def _model(decays: Decays, omega: Real, sigma: Real, amplitude: Complex) -> Complex:
    """Each pole's part of each spectrum, (n_hits, n_bins, n_poles)."""
    value = transform(-sigma + 1j * omega, decays.omega, decays.rate, decays.n_samples)[0]
    mirror = transform(-sigma - 1j * omega, decays.omega, decays.rate, decays.n_samples)[0]
    return np.asarray((amplitude[:, None, :] * value + amplitude.conj()[:, None, :] * mirror) / 2)


def _clusters(omega: Real, sigma: Real) -> list[NDArray[np.intp]]:
    """Poles whose resonances overlap, together."""
    order = np.argsort(omega)
    groups: list[list[int]] = []
    for k in order:
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


def _sweep(
    decays: Decays, omega: Real, sigma: Real, amplitude: Complex, steady: NDArray[np.bool_], n_sweeps: int
) -> tuple[Real, Real, Complex]:
    """Refit cluster after cluster, each with the others' present part subtracted."""
    omega, sigma, amplitude = omega.copy(), sigma.copy(), amplitude.copy()
    for _ in range(n_sweeps if len(omega) else 0):
        parts = _model(decays, omega, sigma, amplitude)
        rest = decays.spectra - parts.sum(axis=2)
        moved = 0.0
        for group in _clusters(omega, sigma):
            margin = np.maximum(10 * sigma[group], max(2 * np.pi * 10, 5 * (decays.omega[1] - decays.omega[0])))
            low, high = (omega[group] - margin).min(), (omega[group] + margin).max()
            bins = slice(*np.searchsorted(decays.omega, [low, high]))
            if bins.stop - bins.start < 2 * len(group) + 4:
                continue
            local = Decays(
                rest[:, bins] + parts[:, bins][:, :, group].sum(axis=2),
                decays.omega[bins],
                decays.rate,
                decays.n_samples,
            )
            before = omega[group]
            omega[group], sigma[group], amplitude[:, group] = _fit(local, before, sigma[group], steady[group])
            moved = max(moved, float((np.abs(omega[group] - before) / sigma[group])[~steady[group]].max(initial=0.0)))
            changed = _model(decays, omega[group], sigma[group], amplitude[:, group])
            rest += parts[:, :, group].sum(axis=2) - changed.sum(axis=2)
            parts[:, :, group] = changed
        if moved < SETTLED:
            break
    return omega, sigma, amplitude


def _fit(local: Decays, omega0: Real, sigma0: Real, steady: NDArray[np.bool_]) -> tuple[Real, Real, Complex]:
    """Poles and amplitudes that fit the bins of one cluster best, over a straight background."""
    k = len(omega0)
    free = np.flatnonzero(~steady)
    target = stacked(local.spectra.T)
    x = np.linspace(-1, 1, len(local.omega))
    background = np.hstack([stacked(np.column_stack([u * np.ones_like(x), u * x])) for u in (1, 1j)])
    # A steady tone may only move within its own line's width.
    scale = np.where(steady, np.pi * local.rate / local.n_samples, sigma0)

    def poles(p: Real) -> tuple[Real, Real]:
        sigma = sigma0.copy()
        sigma[free] *= np.exp(np.clip(p[k:], -9, 5))
        return omega0 + scale * p[:k], sigma

    def columns(p: Real) -> tuple[Real, Complex, Complex]:
        omega, sigma = poles(p)
        value, slope = transform(-sigma + 1j * omega, local.omega, local.rate, local.n_samples)
        mirror, mirror_slope = transform(-sigma - 1j * omega, local.omega, local.rate, local.n_samples)
        phi = np.hstack([real_columns(value, mirror), background])
        return phi, slope, mirror_slope

    # The minimiser asks for the residual and then for the Jacobian at the same place.
    last: dict[bytes, tuple[Real, Real, Complex, Complex]] = {}

    def factors(p: Real) -> tuple[Real, Real, Complex, Complex]:
        key = p.tobytes()
        if key not in last:
            phi, slope, mirror_slope = columns(p)
            last.clear()
            last[key] = (*np.linalg.qr(phi), slope, mirror_slope)
        return last[key]

    def residual(p: Real) -> Real:
        q = factors(p)[0]
        return np.asarray((target - q @ (q.T @ target)).ravel(order="F"))

    def jacobian(p: Real) -> Real:
        q, r, slope, mirror_slope = factors(p)
        sigma = poles(p)[1]
        a = _amplitude(np.linalg.solve(r, q.T @ target), k)
        by_omega = 1j * scale * (a[:, None, :] * slope - a.conj()[:, None, :] * mirror_slope) / 2
        by_sigma = -(a[:, None, :] * slope + a.conj()[:, None, :] * mirror_slope)[:, :, free] * sigma[free] / 2
        d = np.concatenate([by_omega, by_sigma], axis=2)
        d = np.concatenate([d.real, d.imag], axis=1)
        return np.asarray(-(d - q @ (q.T @ d)).reshape(-1, d.shape[2]))

    p = np.zeros(k + len(free))
    if target.size > 2 * len(p):
        try:
            p = least_squares(residual, p, jac=jacobian, method="lm", xtol=1e-6, ftol=1e-8, max_nfev=20).x
        except np.linalg.LinAlgError:
            # Two poles fell together; the start is kept, and the weaker one goes at the end of the round.
            p = np.zeros(k + len(free))
    omega, sigma = poles(p)
    # A step out of the cluster's bins, or to a decay that is none, has lost its peak.
    most = np.minimum(LARGEST_STEP * sigma0, omega / (2 * LOWEST_Q))
    lost = ~((omega > local.omega[0]) & (omega < local.omega[-1]) & (sigma < most))
    omega, sigma = np.where(lost, omega0, omega), np.where(lost, sigma0, np.maximum(sigma, STEADY))
    p = np.concatenate([(omega - omega0) / scale, np.log(sigma[free] / sigma0[free])])
    c = np.linalg.lstsq(columns(p)[0], target, rcond=1e-9)[0]
    return omega, sigma, _amplitude(c, k)


def _noise(rest: Complex) -> Real:
    """Power of the noise in each bin, from the median over neighbouring bins, (n_bins,)."""
    n_hits = len(rest)
    power = (np.abs(rest) ** 2).mean(axis=0)
    width = max(min(61, len(power) // 4), 3)
    # The median of a mean of n exponential variables is below 1 by this factor.
    return np.asarray(median_filter(power, width, mode="reflect") / (chi2.median(2 * n_hits) / (2 * n_hits))) + 1e-300


def _candidates(
    decays: Decays, omega: Real, sigma: Real, amplitude: Complex, steady: NDArray[np.bool_]
) -> tuple[Real, Real]:
    """Start values (omega, sigma) of poles that stand out of what is left, the strongest first."""
    fitted = _model(decays, omega, sigma, amplitude).sum(axis=2)
    rest = decays.spectra - fitted
    n_hits, n_bins = rest.shape
    noise = _noise(rest)
    spacing = decays.omega[1] - decays.omega[0]
    duration = 2 * np.pi / spacing
    # Back to time at the band's own rate: a filter matched to exp(-sigma t) is then a window. The zeros keep the
    # band's two ends, which the window blurs, apart.
    n_padded = 2 * n_bins
    grid = np.arange(n_padded) / n_padded * duration
    in_time = np.fft.ifft(rest, n_padded, axis=1)
    fitted_in_time = np.fft.ifft(fitted, n_padded, axis=1)
    trials = [tau for tau in TRIAL_DECAYS if tau <= 1.5 * duration]
    threshold = chi2.isf(FALSE_ALARM / (n_bins * len(trials)), 2 * n_hits) / (2 * n_hits)
    energies: list[Real] = []
    there: list[Real] = []
    for tau in trials:
        window = np.exp(-grid / tau)
        norm = np.mean(window**2)
        for signal, store in ((in_time, energies), (fitted_in_time, there)):
            store.append((np.abs(np.fft.fft(signal * window, axis=1)[:, :n_bins]) ** 2).mean(axis=0) / norm)
    least = SMALLEST**2 * max(float((e + t).max()) for e, t in zip(energies, there, strict=True))
    found: list[tuple[float, float, float]] = []
    for tau, energy, other in zip(trials, energies, there, strict=True):
        good = (energy > threshold * noise) & (energy > AGAINST_NEIGHBOURS**2 * other) & (energy > least)
        peaks = find_peaks(energy)[0]
        found += [(float(energy[k]), float(decays.omega[k]), 1.0 / tau) for k in peaks[good[peaks]]]
    found.sort(reverse=True)
    taken: list[tuple[float, float, float]] = []
    for energy_k, omega_k, sigma_k in found:
        # Weaker ones wait for the next round, when the skirts of the strong are gone.
        if len(taken) >= 10 or (taken and energy_k < 0.003 * taken[0][0]):
            break
        # A decaying mode may lie on a steady tone, not on another mode.
        near = np.abs(omega - omega_k) < CLOSEST * np.maximum(sigma, sigma_k) + spacing
        if (near & ~(steady & (sigma_k * duration > 3))).any():
            continue
        skirts = sum(e * 4 * (s + sigma_k) ** 2 / ((s + sigma_k) ** 2 + (omega_k - o) ** 2) for e, o, s in taken)
        if energy_k > skirts and all(abs(omega_k - o) > 3 * spacing for _, o, _ in taken):
            taken.append((energy_k, omega_k, sigma_k))
    return np.array([t[1] for t in taken]), np.array([t[2] for t in taken])
