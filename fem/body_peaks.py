"""Resonances of a body out of its admittance at the bridge: frequency, loss, and the mass that a string feels.

Depends on nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Admittance = Callable[[Real], Complex]
"""Velocity per force at the bridge in m/(s N) at frequencies in Hz, of any shape; time goes as exp(+i omega t)."""

PER_OCTAVE = 300
"""Samples an octave; chosen: four within the half-power width of a resonance with Q = 100."""

NEAR = 0.65
"""Part of a peak's height down to which its width is taken; chosen: above half, where the neighbours reach in."""


@dataclass(frozen=True, slots=True)
class BodyPeak:
    """A resonance of the body as a string meets it.

    Parameters
    ----------
    frequency : float, Hz
    quality : float
        Q.
    mass : float, kg
        Effective mass at the bridge.
    """

    frequency: float
    quality: float
    mass: float


def body_peaks(admittance: Admittance, low: float, high: float) -> tuple[BodyPeak, ...]:
    """Peaks of an admittance's real part between two frequencies in Hz, lowest first.

    One resonance alone has Re Y = (1 / (M Gamma)) / (1 + (2 (omega - omega_0) / Gamma)^2) near its top, Gamma being
    omega_0 / Q: a parabola through 1 / Re Y gives all three figures.
    """
    n = max(round(PER_OCTAVE * np.log2(high / low)), 16)
    f = np.geomspace(low, high, n)
    real = np.real(admittance(f))
    tops, _ = find_peaks(real)
    found = []
    for top in tops:
        start, stop = top, top
        while start > 0 and NEAR * real[top] < real[start - 1] < real[start]:
            start -= 1
        while stop < n - 1 and NEAR * real[top] < real[stop + 1] < real[stop]:
            stop += 1
        fine = np.linspace(f[max(start - 1, 0)], f[min(stop + 1, n - 1)], 17)
        peak = _parabola(fine, np.real(admittance(fine)))
        if peak is not None:
            found.append(peak)
    return tuple(found)


def admittance_of(peaks: tuple[BodyPeak, ...], f: Real) -> Complex:
    """Sum of single resonances at frequencies in Hz, m/(s N)."""
    omega = 2 * np.pi * np.asarray(f, dtype=float)
    total = np.zeros(omega.shape, dtype=complex)
    for peak in peaks:
        own = 2 * np.pi * peak.frequency
        total += 1j * omega / peak.mass / (own**2 - omega**2 + 1j * omega * own / peak.quality)
    return total


def continued(admittance: Admittance, highest: float) -> Admittance:
    """`admittance` up to `highest` Hz; above it, its mean conductance over the octave below.

    The mean conductance of a plate does not depend on frequency; for partials above the highest computed mode it is the
    better guess than the tails of the modes below.

    References
    ----------
    E. Skudrzyk, "The mean-value method of predicting the dynamic response of complex vibrators", J. Acoust. Soc. Am. 67
    (1980) 1105-1135 (from memory).
    """
    mean = float(np.mean(np.real(admittance(np.linspace(highest / 2, highest, 250)))))

    def whole(f: Real) -> Complex:
        f = np.asarray(f, dtype=float)
        found = np.full(f.shape, mean, dtype=complex)
        known = f <= highest
        found[known] = admittance(f[known])
        return found

    return whole


def _parabola(f: Real, real: Real) -> BodyPeak | None:
    keep = real > NEAR * real.max()
    if keep.sum() < 5:
        return None
    middle = f[np.argmax(real)]
    a, b, c = np.polyfit(f[keep] - middle, real.max() / real[keep], 2)
    if a <= 0:
        return None
    at = middle - b / (2 * a)
    least = c - b**2 / (4 * a)
    if least <= 0 or not f[0] < at < f[-1]:
        return None
    width = 2 * np.sqrt(least / a)
    return BodyPeak(float(at), float(at / width), float(least / (real.max() * 2 * np.pi * width)))
