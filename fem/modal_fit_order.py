"""How many decaying sinusoids there are: which are added to a fit, and which are thrown out of it.

A pole is added where a filter matched to a decaying sinusoid finds more than noise, and stays only if leaving it out
would raise the misfit by more than noise does, even if the poles beside it moved to fill its place: a generalised
likelihood ratio test at a fixed rate of false alarms. A penalty such as Akaike's lets one spurious pole in some
noise pass; this one, at FALSE_ALARM for the whole band, one in ten thousand recordings.

Depends on fem/decay.

References
----------
S. G. Mallat, Z. Zhang, "Matching pursuits with time-frequency dictionaries", IEEE Trans. Signal Process. 41 (1993)
3397-3415 (how poles are found one after the other). S. M. Kay, "Fundamentals of statistical signal processing:
detection theory", Prentice Hall 1998, ch. 6 (generalised likelihood ratio).
"""

import numpy as np
from scipy.signal import find_peaks
from scipy.stats import chi2

from bracedtop.fem.decay import (
    SEARCHED,
    STEADY,
    Decays,
    Mask,
    Poles,
    Real,
    background_noise,
    each_cluster,
    measured,
    modelled,
    real_columns,
    stacked,
    swept,
    transform,
)

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

CLOSEST = 1.0
"""Smallest distance of two modes in half bandwidths; chosen: closer ones look like one decay that is no exponential."""


def find_poles(decays: Decays, steady_hz: Real, *, n_rounds: int = MOST_ROUNDS, known: Poles | None = None) -> Poles:
    """All sinusoids that stand out of the noise, the steady ones at `steady_hz` among them.

    The strongest are fitted first; what is left is searched with filters matched to decaying sinusoids, and the
    fit repeated, until nothing significant is left. Poles already `known` to fit these decays, the steady ones among
    them, are where the search begins.
    """
    n_hits = len(decays.spectra)
    omega = 2 * np.pi * np.asarray(steady_hz, dtype=float)
    omega = omega[(omega > decays.omega[0]) & (omega < decays.omega[-1])]
    poles = known or Poles.starting(omega, np.full(len(omega), STEADY), n_hits, steady=True)
    for _ in range(n_rounds):
        poles = swept(decays, poles, 2)
        alone = _distinct(poles)
        if not alone.all():
            poles = swept(decays, poles.kept(alone), 1)
        new_omega, new_sigma = _candidates(decays, poles)
        room = MOST_POLES - len(poles.omega)
        if not len(new_omega) or room <= 0:
            break
        poles = poles.joined(Poles.starting(new_omega[:room], new_sigma[:room], n_hits))
    return pruned(decays, poles)


def pruned(decays: Decays, poles: Poles) -> Poles:
    """The poles that the decays need, refitted, in order of frequency.

    A pole that served only while another was missing goes, and so does one that has run into another.
    """
    for _ in range(6):
        poles = measured(decays, swept(decays, poles, 2))
        keep = (evidence(decays, poles) > 1.0) & _distinct(poles) | poles.steady
        if keep.all():
            break
        poles = poles.kept(keep)
    return poles.kept(np.argsort(poles.omega))


def evidence(decays: Decays, poles: Poles) -> Real:
    """Energy that only this pole can explain, over what noise makes of it once in 1 / FALSE_ALARM recordings, (n,).

    Only this pole: what is left of it beside its neighbours, their first derivatives, by which they may move or
    broaden, and the background.
    """
    n_hits, n_bins = decays.spectra.shape
    result = np.zeros(len(poles.omega))
    if not len(poles.omega):
        return result
    noise = background_noise(decays.spectra - modelled(decays, poles))
    threshold = chi2.isf(FALSE_ALARM / n_bins, 4 * n_hits) / 2
    for group, cluster in each_cluster(decays, poles, SEARCHED):
        local, own = cluster.local, poles.kept(group)
        s = -own.sigma + 1j * own.omega
        value, slope = transform(s, local.omega, local.rate, local.n_samples)
        mirror, mirror_slope = transform(s.conj(), local.omega, local.rate, local.n_samples)
        scale = np.maximum(own.sigma, 1 / local.duration)
        for k, index in enumerate(group):
            others = np.arange(len(group)) != k
            rest = np.hstack(
                [
                    real_columns(value[:, others], mirror[:, others]),
                    real_columns((slope * scale)[:, others], (mirror_slope * scale)[:, others]),
                    cluster.background,
                ]
            )
            part = stacked(
                (np.outer(value[:, k], own.amplitude[:, k]) + np.outer(mirror[:, k], own.amplitude[:, k].conj())) / 2
            )
            if rest.shape[1] < rest.shape[0]:
                u, size, _ = np.linalg.svd(rest / np.linalg.norm(rest, axis=0), full_matrices=False)
                u = u[:, size > 1e-9 * size[0]]
                part = part - u @ (u.T @ part)
            result[index] = (part**2).sum() / (np.interp(own.omega[k], decays.omega, noise) * threshold)
    return result


def _distinct(poles: Poles) -> Mask:
    """Poles that lie no closer than a bandwidth's half to a stronger one.

    Closer ones are the two halves of one decay that is not quite exponential, and their amplitudes cancel.
    """
    omega, sigma, steady = poles.omega, poles.sigma, poles.steady
    energy = (np.abs(poles.amplitude) ** 2).sum(axis=0) / sigma
    alone = np.ones(len(omega), dtype=bool)
    for k in np.argsort(-energy):
        # A broad background must not swallow the narrow modes on it.
        width = np.maximum(sigma[k], np.minimum(sigma, 3 * sigma[k]))
        near = (np.abs(omega - omega[k]) < CLOSEST * width) & ~steady
        if not steady[k] and (near & alone & (np.arange(len(omega)) != k) & (energy >= energy[k])).any():
            alone[k] = False
    return alone


def _candidates(decays: Decays, poles: Poles) -> tuple[Real, Real]:
    """Start values (omega, sigma) of poles that stand out of what is left, the strongest first."""
    fitted = modelled(decays, poles)
    rest = decays.spectra - fitted
    n_hits, n_bins = rest.shape
    noise = background_noise(rest)
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
        near = np.abs(poles.omega - omega_k) < CLOSEST * np.maximum(poles.sigma, sigma_k) + spacing
        if (near & ~(poles.steady & (sigma_k * duration > 3))).any():
            continue
        skirts = sum(e * 4 * (s + sigma_k) ** 2 / ((s + sigma_k) ** 2 + (omega_k - o) ** 2) for e, o, s in taken)
        if energy_k > skirts and all(abs(omega_k - o) > 3 * spacing for _, o, _ in taken):
            taken.append((energy_k, omega_k, sigma_k))
    return np.array([t[1] for t in taken]), np.array([t[2] for t in taken])
