"""Second strikes that are heard only in the modes: nothing clicks, but every mode starts anew.

Depends on fem/decay.
"""

import numpy as np

from bracedtop.fem.decay import Decays, Poles, Real, real_columns, stacked, transform

BOUNCING_POLES = 12
"""Poles that may start anew; chosen: the strongest decide."""


def late_strikes(decays: Decays, poles: Poles, delays: Real) -> Real:
    """Part of what the poles leave unexplained that a second start of the same poles explains.

    A bounce excites the same modes again: at its moment every pole may start anew.

    Parameters
    ----------
    decays : Decays
    poles : Poles
    delays : (n_delays,) array, s
        Moments of a second strike after the decay's start.

    Returns
    -------
    (n_hits, n_delays) array
        Between 0 and 1.
    """
    n, rate, omega = decays.n_samples, decays.rate, decays.omega
    strongest = np.argsort(-poles.signal_to_noise)[:BOUNCING_POLES]
    s = (-poles.sigma + 1j * poles.omega)[~poles.steady]
    again = (-poles.sigma + 1j * poles.omega)[strongest[~poles.steady[strongest]]]
    steady = 1j * poles.omega[poles.steady]
    every = np.concatenate([s, steady])
    phi = real_columns(transform(every, omega, rate, n)[0], transform(every.conj(), omega, rate, n)[0])
    q = np.linalg.qr(phi)[0]
    target = stacked(decays.spectra.T)
    rest = target - q @ (q.T @ target)
    total = np.maximum((rest**2).sum(axis=0), np.finfo(float).tiny)
    part = np.zeros((len(decays.spectra), len(delays)))
    over = [-1 / np.expm1(p[None, :] / rate - 1j * omega[:, None] / rate) for p in (again, again.conj())]
    for i, delay in enumerate(np.rint(np.asarray(delays) * rate)):
        turned = np.exp(-1j * omega * delay / rate)[:, None]
        value, mirror = (
            (turned - np.exp(p * (n - delay) / rate)) * per for p, per in zip((again, again.conj()), over, strict=True)
        )
        d = real_columns(value, mirror)
        basis = np.linalg.qr(d - q @ (q.T @ d))[0]
        part[:, i] = ((basis.T @ rest) ** 2).sum(axis=0) / total
    return part
