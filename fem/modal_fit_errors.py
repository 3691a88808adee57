"""Standard errors of fitted frequencies and decays, from the noise and from the spread over the hits.

A jackknife over hits in one step: each hit h pulls at the common poles with a force g_h = J_h^T r_h, the forces sum to
nothing, and without it the poles would lie by (H - H_h)^-1 g_h elsewhere, H_h = J_h^T J_h, H their sum. With few hits
the scatter is itself uncertain, and with one there is none, so no error is stated smaller than what the noise beside
the poles alone makes, H^-1 times its variance.

Depends on fem/decay.

References
----------
B. Efron, "The jackknife, the bootstrap and other resampling plans", SIAM 1982, ch. 3. J. G. MacKinnon, H. White,
J. Econometrics 29 (1985) 305-325 (the jackknife in one step, there for linear fits).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.decay import Decays, Mask, Poles, Real, background_noise, each_cluster, modelled

SHOWN = 12.0
"""Energy over the noise's from which a hit shows a mode by itself; chosen: its frequency is good to a quarter of the
bandwidth."""

AGAIN = 30.0
"""The same of all hits but the strongest, together, from which a mode is no single event; chosen."""


def standard_errors(decays: Decays, poles: Poles, hit_of_row: NDArray[np.intp]) -> tuple[Real, Real]:
    """Standard errors of the poles' angular frequencies and decay rates.

    Parameters
    ----------
    decays : Decays
    poles : Poles
        Fitted to `decays`.
    hit_of_row : (n_rows,) array of int
        The hit that each decay belongs to: several channels hear one hit.

    Returns
    -------
    omega, sigma : (n_poles,) arrays, rad/s and 1/s
        Infinite for a steady tone and where the hits do not determine it.
    """
    n = len(poles.omega)
    by_omega, by_sigma = np.full(n, np.inf), np.full(n, np.inf)
    if not n:
        return by_omega, by_sigma
    noise = background_noise(decays.spectra - modelled(decays, poles))
    hits = np.unique(hit_of_row)
    for group, cluster in each_cluster(decays, poles):
        free = cluster.free
        start = np.zeros(2 * len(free))
        if not len(free) or cluster.target.shape[0] < 4 * len(group) + 6:
            continue
        n_rows = cluster.target.shape[1]
        jacobian = cluster.jacobian(start).reshape(n_rows, -1, len(start))
        residual = cluster.residual(start).reshape(n_rows, -1)
        own = np.einsum("hbi,hbj->hij", jacobian, jacobian)
        forces = np.einsum("hbi,hb->hi", jacobian, residual)
        own, forces = (np.array([x[hit_of_row == hit].sum(axis=0) for hit in hits]) for x in (own, forces))
        information = own.sum(axis=0)
        # A bin's real and imaginary parts share its power.
        variance = np.interp(poles.omega[group[free]], decays.omega, noise) / 2
        try:
            square = np.diag(np.linalg.inv(information)) * np.tile(variance, 2)
            if len(hits) > 1:
                moves = np.linalg.solve(information - own, forces[:, :, None])[:, :, 0]
                square = np.maximum(square, (moves**2).sum(axis=0) * (len(hits) - 1) / len(hits))
        except np.linalg.LinAlgError:
            continue
        error = np.sqrt(np.maximum(square, 0.0)) * np.tile(poles.sigma[group[free]], 2)
        by_omega[group[free]], by_sigma[group[free]] = error[: len(free)], error[len(free) :]
    return by_omega, by_sigma


def amplitude_error(decays: Decays, poles: Poles) -> Real:
    """Standard error that noise makes of the real part, and of the imaginary, of each amplitude, (n_rows, n_poles).

    At the poles as they are, and for a pole by itself: the matched filter's, with the noise power of each row near it.
    That the poles are uncertain changes a mode's amplitudes in all hits alike.
    """
    if not len(poles.omega):
        return np.zeros(poles.amplitude.shape)
    rest = decays.spectra - modelled(decays, poles)
    noise = np.array([np.interp(poles.omega, decays.omega, background_noise(row[None])) for row in rest])
    x = 2 * poles.sigma * decays.duration
    # sum of exp(-2 sigma t) / 2 over the samples; the noise's variance is its power in a bin over n_samples.
    energy = decays.n_samples * -np.expm1(-x) / x / 2
    return np.asarray(np.sqrt(noise / decays.n_samples / energy))


@dataclass(frozen=True, slots=True)
class HitByHit:
    """What the hits tell one by one.

    Parameters
    ----------
    omega : (n_hits, n_poles) array, rad/s
        NaN where a hit does not show the pole by itself.
    is_heard_again : (n_poles,) bool array
        Whether more than one hit tells of it.
    """

    omega: Real
    is_heard_again: Mask


def hit_by_hit(decays: Decays, poles: Poles, hit_of_row: NDArray[np.intp]) -> HitByHit:
    """Each hit fitted by itself, starting from the common poles.

    Parameters
    ----------
    decays : Decays
    poles : Poles
        Fitted to all of `decays`.
    hit_of_row : (n_rows,) array of int
    """
    hits = np.unique(hit_of_row)
    omega = np.full((len(hits), len(poles.omega)), np.nan)
    energy = np.zeros(omega.shape)
    if not len(poles.omega):
        return HitByHit(omega, np.zeros(0, dtype=bool))
    noise = np.interp(poles.omega, decays.omega, background_noise(decays.spectra - modelled(decays, poles)))
    x = 2 * poles.sigma * decays.duration
    unit = -np.expm1(-x) / x * decays.n_samples**2 / 4 / noise
    for h, hit in enumerate(hits):
        energy[h] = (np.abs(poles.amplitude[hit_of_row == hit]) ** 2).max(axis=0) * unit
    for group, cluster in each_cluster(decays, poles):
        own = poles.kept(group)
        for h, hit in enumerate(hits):
            row = hit_of_row == hit
            if not (energy[h, group] > SHOWN).any():
                continue
            spectra, target = cluster.local.spectra[row], cluster.target[:, row]
            alone = replace(cluster, local=replace(cluster.local, spectra=spectra), target=target, last={}).fitted()
            shown = (energy[h, group] > SHOWN) & (np.abs(alone.omega - own.omega) < 2 * own.sigma)
            omega[h, group[shown]] = alone.omega[shown]
    others = energy.sum(axis=0) - energy.max(axis=0)
    return HitByHit(omega, (np.isfinite(omega).sum(axis=0) > 1) | (others > AGAIN))
