"""Amplitudes of known modes at the moment of each strike, in every channel of a placed recording.

Depends on geometry/errors, fem/decay, fem/hammer, fem/hits, fem/sound, fem/taps_file.
"""

import math
from dataclasses import dataclass

import numpy as np
import soundfile
from numpy.typing import NDArray

from bracedtop.fem.decay import Decays, real_columns, stacked, transform
from bracedtop.fem.hammer import BEFORE, FrequencyResponse, frequency_response, pulse_end, pulse_onset, strike_at
from bracedtop.fem.hits import Hit, find_hits
from bracedtop.fem.sound import read_sound
from bracedtop.fem.taps_file import FILE_NAME, Placement
from bracedtop.geometry.errors import FileError

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

SHORTEST, LONGEST = 0.1, 1.0
"""Stretch of the decay from which amplitudes are taken, s; chosen: the modes are known, so half of what finding them
takes (fem/recording) will do."""

BAND = (40.0, 2400.0)
"""Chosen: that of fem/recording."""

STRIKE_WINDOW = (4e-3, 8e-3)
"""Where the onset of a strike is looked for, s before and behind the hop in which it was found; chosen."""


SAME_PLACE = 15e-3
"""A sensor this near to the hammer moves as the hammer's point does, m; chosen: a twentieth of a bending wave."""


@dataclass(frozen=True, slots=True)
class Struck:
    """Amplitudes of the modes in the hits of one recording.

    Parameters
    ----------
    placement : Placement
    amplitude : (n_hits, n_channels, n_modes) complex array
        Of Re(a exp(s t)) with t from the strike; divided by the strike's transform where `by_hammer`.
    errors : (n_hits, n_channels, n_modes) array
        Standard error that the noise makes of a real and of an imaginary part.
    point : (n_hits,) array of int
        Which of the placement's points was hit; -1 where none is known.
    by_hammer : bool
    """

    placement: Placement
    amplitude: Complex
    errors: Real
    point: NDArray[np.intp]
    by_hammer: bool


@dataclass(frozen=True, slots=True)
class Channels:
    """All samples of a placed recording, and its hits.

    Parameters
    ----------
    rate : int
    heard : (n_samples, n_channels) array
        Channels that hear the top, in the sensor's unit if that is known, else relative to full scale.
    force : (n_samples,) array or None
        Likewise.
    hits : tuple of Hit
        Every one that was found.
    """

    rate: int
    heard: Real
    force: Real | None
    hits: tuple[Hit, ...]


def read_channels(placement: Placement) -> Channels:
    """Samples and hits of a placed recording.

    Raises
    ------
    FileError
        If the file cannot be used, or its channels are not those of the placement.
    """
    path = placement.path
    loudest = read_sound(path)
    if placement.hammer_channel is None:
        lead = loudest
    else:
        if loudest.n_channels < 2:
            message = f"{path}: one channel; with hammer_channel it needs another that hears the top"
            raise FileError(message)
        lead = read_sound(path, placement.hammer_channel)
    values = soundfile.read(path, dtype="float64", always_2d=True)[0]
    channels = placement.channels(loudest.n_channels)
    if len(placement.microphones) > 1 and len(placement.microphones) != len(channels):
        message = (
            f"{path}: {len(channels)} channels hear the top, but microphones_mm in {FILE_NAME} has "
            f"{len(placement.microphones)} places; must be one a channel, in order, the hammer's left out"
        )
        raise FileError(message)
    if len(placement.microphones) <= 1 and len(channels) > 1:
        # One place for several channels: a stereo recorder.
        energy = [(values[:, k - 1] ** 2).sum() for k in channels]
        channels = (channels[int(np.argmax(energy))],)
    heard = values[:, [k - 1 for k in channels]] * (placement.sensor_full_scale or 1.0)
    force = None
    if placement.hammer_channel is not None:
        force = values[:, placement.hammer_channel - 1] * (placement.hammer_newtons or 1.0)
    return Channels(lead.rate, heard, force, find_hits(lead.samples, lead.rate, lead.clipped))


def points_of_hits(placement: Placement, n_hits: int) -> NDArray[np.intp]:
    """Index of the point of each hit; -1 where none is known.

    Raises
    ------
    FileError
        If the hits are not so many for each point.
    """
    n = len(placement.points)
    if n < 2:
        return np.full(n_hits, n - 1)
    each = placement.hits_each
    if n_hits % n or n_hits == 0 or (each is not None and n_hits != n * each):
        wanted = f"{n} x {each} = {n * each}" if each else f"as many for each of {n} points"
        message = (
            f"{placement.path}: {n_hits} hits heard; must be {wanted} by points_mm in {FILE_NAME}; a file a point does "
            "not have to be counted"
        )
        raise FileError(message)
    return np.repeat(np.arange(n), n_hits // n)


def struck(placement: Placement, omega: Real, sigma: Real, steady_hz: tuple[float, ...] = ()) -> Struck:
    """Amplitudes of known modes in a placed recording.

    Parameters
    ----------
    placement : Placement
    omega, sigma : (n_modes,) arrays, rad/s and 1/s
    steady_hz : tuple of float
        Tones that go on, to be left out.

    Raises
    ------
    FileError
        If the file cannot be used or its hits are not those of the placement.
    """
    channels = read_channels(placement)
    rate, force = channels.rate, channels.force
    point = points_of_hits(placement, len(channels.hits))
    s = -sigma + 1j * omega
    every = np.concatenate([s, 2j * np.pi * np.array(steady_hz)])
    amplitude, errors, kept = [], [], []
    for k, hit in enumerate(channels.hits):
        strike = onset(channels.heard if force is None else force[:, None], rate, hit)
        start, last = round(hit.decay_s * rate), min(round(hit.stop_s * rate), len(channels.heard))
        pushed = None
        if force is not None:
            # The pulse's foot, before it is seen to begin, belongs to it.
            strike = max(strike - round(1e-3 * rate), 0)
            pushed = _pushed(force, rate, strike, last)
            start = max(start, strike + len(pushed))
        stop = min(last, start + round(LONGEST * rate))
        # A bounce strikes each mode at another phase; a hammer tells how, nothing else does.
        if stop - start < SHORTEST * rate or (pushed is None and hit.n_bounces):
            continue
        decays = Decays.from_samples(channels.heard[start:stop].T, rate, (BAND[0], min(BAND[1], 0.49 * rate)))
        a, error = (part[:, : len(s)] for part in _amplitudes(decays, every))
        back = np.exp(-s * (start - strike) / rate)
        if pushed is not None:
            back = back / strike_at(pushed, rate, s)
        amplitude.append(a * back)
        errors.append(error * np.abs(back))
        kept.append(k)
    shape = (len(kept), channels.heard.shape[1], len(s))
    return Struck(
        placement,
        np.array(amplitude, dtype=complex).reshape(shape),
        np.array(errors, dtype=float).reshape(shape),
        point[kept],
        force is not None,
    )


def _pushed(force: Real, rate: float, strike: int, stop: int) -> Real:
    """Force of a hit from its strike until the hammer, bounces included, has left the top."""
    before = force[max(strike - round(BEFORE * rate), 0) : max(strike - round(BEFORE / 10 * rate), 1)]
    pushed = force[strike:stop] - before.mean()
    return np.asarray(pushed[: pulse_end(pushed, float(np.abs(before - before.mean()).max()))])


def responses(placement: Placement) -> tuple[FrequencyResponse, ...]:
    """Frequency response of each channel of a recording with a hammer.

    Decays that are cut off before they have fallen by 40 dB are faded out (`FrequencyResponse.window_rate`).

    Raises
    ------
    FileError
        If there is no hammer, the file cannot be used, or no hit has 0.1 s of decay.
    """
    channels = read_channels(placement)
    rate, force = channels.rate, channels.force
    if force is None:
        message = f"{placement.path}: no hammer_channel in {FILE_NAME}; a frequency response needs one"
        raise FileError(message)
    lead = round(BEFORE * rate)
    starts, stops = [], []
    for hit in channels.hits:
        start, stop = onset(force[:, None], rate, hit) - lead, min(round(hit.stop_s * rate), len(force))
        if start >= 0 and stop - start >= lead + SHORTEST * rate:
            starts.append(start)
            stops.append(stop)
    if not starts:
        message = f"{placement.path}: no hit of the hammer with {1e3 * SHORTEST:.0f} ms of decay behind it"
        raise FileError(message)
    n = min(stop - start for start, stop in zip(starts, stops, strict=True))
    pushed = np.array([force[k : k + n] - force[k : k + (9 * lead) // 10].mean() for k in starts])
    unit = f"{_unit(placement)}/{'N' if placement.hammer_newtons else 'full scale'}"
    found = []
    for channel in channels.heard.T:
        heard = np.array([channel[k : k + n] for k in starts])
        first, last = (np.mean(part**2) for part in (heard[:, lead : lead + n // 10], heard[:, -(n // 10) :]))
        fade = 0.0 if last < 1e-4 * first else math.log(100.0) * rate / n
        found.append(frequency_response(pushed, heard, rate, window_rate=fade, unit=unit))
    return tuple(found)


def _unit(placement: Placement) -> str:
    if placement.sensor_full_scale is None:
        return "full scale"
    return "(m/s2)" if placement.is_accelerometer else "Pa"


def modal_mass(struck: Struck, omega: Real) -> Real | None:
    """Modal mass of each mode at the tapped point, kg, (n_modes,), from an accelerometer there and a hammer in newtons.

    An impulse of 1 N s leaves the acceleration omega / m of a mode whose mass there is m. None if the recording does
    not have all of this: one point, an accelerometer within `SAME_PLACE` of it, and both full scales.
    """
    placed = struck.placement
    near = [
        k
        for k, ear in enumerate(placed.microphones)
        if len(placed.points) == 1 and math.dist(ear, placed.points[0]) < SAME_PLACE
    ]
    known = struck.by_hammer and placed.is_accelerometer and placed.hammer_newtons and placed.sensor_full_scale
    if not near or not known or not len(struck.amplitude):
        return None
    return np.asarray(omega / np.abs(struck.amplitude[:, near[0]].mean(axis=0)))


def _amplitudes(decays: Decays, s: Complex) -> tuple[Complex, Real]:
    """Amplitudes at the decays' start, all poles together, and their errors by what is left, (n_channels, n_poles)."""
    value = transform(s, decays.omega, decays.rate, decays.n_samples)[0]
    mirror = transform(s.conj(), decays.omega, decays.rate, decays.n_samples)[0]
    columns, target = real_columns(value, mirror), stacked(decays.spectra.T)
    u, size, v = np.linalg.svd(columns, full_matrices=False)
    inverse = (v.T / np.maximum(size, 1e-9 * size[0])) @ u.T
    c = inverse @ target
    left = ((target - columns @ c) ** 2).sum(axis=0) / max(len(target) - len(c), 1)
    spread = (inverse**2).sum(axis=1)
    error = np.sqrt(np.outer(left, spread[: len(s)] + spread[len(s) :]) / 2)
    return np.asarray((c[: len(s)] + 1j * c[len(s) :]).T), error


def onset(signal: Real, rate: float, hit: Hit) -> int:
    """Sample at which a strike begins, in a signal (n_samples, n_channels)."""
    first = max(round((hit.start_s - STRIKE_WINDOW[0]) * rate), 0)
    part = signal[first : round((hit.start_s + STRIKE_WINDOW[1]) * rate)]
    # Differences, because a strike is sharper than any mode.
    return first + pulse_onset(np.abs(np.diff(part, axis=0, prepend=part[:1])).sum(axis=1))
