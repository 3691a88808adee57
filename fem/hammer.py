"""Taps with a force hammer: frequency response, coherence, and strikes taken out of amplitudes.

Depends on nothing inside the project.

References
----------
J. S. Bendat, A. G. Piersol, Random Data, 4th ed. 2010, ch. 6 (H1 = S_xy / S_xx, coherence). D. J. Ewins, Modal
Testing, 2nd ed. 2000, ch. 3 (transient excitation, exponential window).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import csd, welch

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

BEFORE = 20e-3
"""Quiet stretch before a pulse from which the force channel's offset is taken, s; chosen: a period of the mains."""

ONSET = 0.1
"""A pulse begins where it reaches this part of its peak; chosen: above the noise of the channel."""


LEAST_BOUNCE = 0.02
"""Part of a pulse's peak from which the hammer touches; chosen: a lighter bounce changes no mode by more."""


@dataclass(frozen=True, slots=True)
class FrequencyResponse:
    """Response per force over frequency, averaged over hits.

    Parameters
    ----------
    frequency : (n,) array, Hz
    response : (n,) complex array
        H1 estimate; conj(force) times response over the force's power.
    coherence : (n,) array or None
        1 where the response follows from the force alone; None for a single hit, of which it says nothing.
    window_rate : float, 1/s
        Force and response were both multiplied by exp(-window_rate t), so the response is that of the top with this
        much added to every decay rate.
    n_hits : int
    unit : str
        Of the response, such as "Pa/N".
    """

    frequency: Real
    response: Complex
    coherence: Real | None
    window_rate: float
    n_hits: int
    unit: str


def frequency_response(
    force: Real, response: Real, rate: float, *, window_rate: float = 0.0, unit: str = "1"
) -> FrequencyResponse:
    """H1 estimate over hits, and its coherence.

    Parameters
    ----------
    force, response : (n_hits, n_samples) arrays
        From shortly before each pulse to the end of its decay.
    rate : float, Hz
    window_rate : float, 1/s
        Of the exponential window, for decays that are cut off; 0 for none.
    unit : str
        Of response over force.
    """
    n = force.shape[1]
    window = np.exp(-window_rate * np.arange(n) / rate)
    x, y = force * window, response * window
    # Each hit is one transient that begins and ends at rest: one segment, no taper.
    one = {"fs": rate, "window": "boxcar", "nperseg": n, "detrend": False, "axis": 1}
    frequency, s_xx = welch(x, **one)
    s_xy = csd(x, y, **one)[1].mean(axis=0)
    s_xx = s_xx.mean(axis=0)
    s_yy = welch(y, **one)[1].mean(axis=0)
    tiny = np.finfo(float).tiny
    coherence = np.abs(s_xy) ** 2 / np.maximum(s_xx * s_yy, tiny) if len(x) > 1 else None
    return FrequencyResponse(frequency, s_xy / np.maximum(s_xx, tiny), coherence, window_rate, len(x), unit)


def pulse_onset(force: Real) -> int:
    """Sample at which a force pulse begins."""
    size = np.abs(force)
    return int(np.argmax(size > ONSET * size.max()))


def pulse_end(force: Real, noise: float) -> int:
    """First sample from which a force, bounces included, stays at nothing.

    Parameters
    ----------
    force : (n,) array
        From the strike to the end of its decay, without offset.
    noise : float
        Largest magnitude of the channel before the strike.
    """
    pressed = np.flatnonzero(np.abs(force) > max(LEAST_BOUNCE * float(np.abs(force).max()), 2 * noise))
    return int(pressed[-1]) + 1 if len(pressed) else 0


def strike_at(force: Real, rate: float, s: Complex) -> Complex:
    """Laplace transform of a hit's force at the poles, in the force's unit times s.

    The response behind a pulse f is the sum of R_k F(s_k) exp(s_k t), with the residues R_k of the response to a unit
    impulse, so an amplitude divided by F(s_k) is the residue exactly, whatever the pulse looked like.

    Parameters
    ----------
    force : (n,) array
        From the moment t = 0 to which amplitudes belong to a moment behind the pulse.
    rate : float, Hz
    s : (k,) complex array, 1/s
        Poles -sigma + i omega.
    """
    t = np.arange(len(force)) / rate
    return np.asarray(np.exp(-np.outer(s, t)) @ force / rate)
