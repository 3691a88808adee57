"""A recording of taps: its modes' frequencies, decays and how well the taps agree.

Depends on geometry/errors, fem/sound, fem/hits, fem/decay, fem/bounce.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.bounce import late_strikes
from bracedtop.fem.decay import Decays, Poles, find_poles, misfit, refit
from bracedtop.fem.hits import AFTER_STRIKE, Hit, find_hits
from bracedtop.fem.sound import Sound, read_sound
from bracedtop.geometry.errors import FileError

T60 = float(np.log(1e3))
"""Time in which a decay falls by 60 dB, over its time constant."""

SHORTEST_DECAY = 0.2
"""Shortest free decay that is analysed, s; resolves modes 5 Hz apart."""

LONGEST_DECAY = 1.0
"""Longest, s; a mode of Q 80 at 90 Hz has fallen by 30 dB."""

QUIETEST = -35.0
"""Level of the weakest mode reported, dB relative to the strongest; chosen."""

LEAST_SIGNAL_TO_NOISE = 60.0
"""Energy of a reported mode over the noise's; chosen: its frequency is then good to a tenth of the bandwidth."""

Q_RANGE = (8.0, 400.0)
"""Chosen: wooden plates lie between 10 and 200; broader is background, narrower a steady tone."""

MUCH_LEFT = 0.1
"""Unexplained part of the decays' energy that is worth a warning; chosen: noise 10 dB below the sound."""

ENOUGH_HITS = 3
"""With so many clean hits the others are left out; chosen."""

MOST_BOUNCES = 5

MAINS = (50.0, 60.0)


@dataclass(frozen=True, slots=True)
class Peak:
    """One mode heard in a recording.

    Parameters
    ----------
    hz : float
    spread_hz : float or None
        Standard deviation over the hits in which it was found; None for a single one.
    decay_time : float or None, s
        Time T60 in which it falls by 60 dB.
    q : float or None
        Quality factor pi f T60 / ln 1000.
    level_db : float
        Amplitude at the strike, mean square over the hits, relative to the strongest mode.
    n_hits : int
        Hits in which it stood out by itself.
    """

    hz: float
    spread_hz: float | None
    decay_time: float | None
    q: float | None
    level_db: float
    n_hits: int


@dataclass(frozen=True, slots=True)
class Recording:
    """What a recording tells.

    Parameters
    ----------
    path : Path
    rate : int
        Samples per second.
    n_hits : int
        Hits that were used.
    peaks : tuple of Peak
        In order of frequency.
    warnings : tuple of str
        What limits the result, in words.
    hits : tuple of Hit
    steady_hz : tuple of float
        Tones that do not decay (hum); not among the peaks.
    frequency : (n,) array, Hz
    level : (n,) array, dB
        Mean power spectrum of the free decays, relative to its largest value.
    """

    path: Path
    rate: int
    n_hits: int
    peaks: tuple[Peak, ...]
    warnings: tuple[str, ...]
    hits: tuple[Hit, ...]
    steady_hz: tuple[float, ...]
    frequency: NDArray[np.float64]
    level: NDArray[np.float64]


def analyse_recording(
    path: Path, *, lowest: float = 50.0, highest: float = 2000.0, channel: int | None = None
) -> Recording:
    """Frequencies and decays of the modes in a WAV or FLAC file of one or more taps.

    Each tap's free decay is cut out; all decays together are fitted by decaying sinusoids that share their
    frequencies and decay rates (fem/decay), then each decay alone for the spread. Bounces end the part that is
    left out at a tap's start. Tones that were there before the first tap, or do not decay, are no modes.

    Parameters
    ----------
    path : Path
    lowest, highest : float, Hz
        Range of interest.
    channel : int, optional
        Counted from 1; the loudest if not given.

    Raises
    ------
    FileError
        If the file cannot be used: see fem/sound, or no clear hit, no hit followed by 0.2 s of decay, or nothing
        that decays in the range of interest.
    """
    path = Path(path)
    sound = read_sound(path, channel)
    highest = min(highest, 0.45 * sound.rate)
    band = (0.6 * lowest, min(1.2 * highest, 0.49 * sound.rate))
    warnings: list[str] = []
    if sound.n_channels > 1 and channel is None:
        warnings.append(f"{sound.n_channels} channels; only channel {sound.channel} was used")
    if len(sound.clipped):
        warnings.append(
            f"clipped: {len(sound.clipped)} samples at full scale; the decays after them were used, levels are too low"
        )
    found = find_hits(sound.samples, sound.rate, sound.clipped)
    if not found:
        message = f"{path}: no clear hit; a tap has to rise well above the noise of the room and die away"
        raise FileError(message)
    steady_hz = _tones_before(sound, found[0], band)
    hits = _without_bounces(_after_bounces(sound, found, band, steady_hz), warnings)
    longest = max(hit.stop_s - hit.decay_s for hit in hits)
    if longest < SHORTEST_DECAY:
        message = (
            f"{path}: too short: {1e3 * max(longest, 0):.0f} ms of decay after a hit; must be "
            f"{1e3 * SHORTEST_DECAY:.0f} ms or more before the next hit or the end"
        )
        raise FileError(message)
    n_before = len(hits)
    hits, duration = _long_enough(hits)
    if len(hits) < n_before:
        warnings.append(f"{n_before - len(hits)} of {n_before} hits left out: the next one, or the end, came too soon")
    decays = _decays(sound, hits, duration, band)
    poles = find_poles(decays, steady_hz)
    left = misfit(decays, poles)
    odd = (left > 0.05) & (left > 4 * np.median(left))
    if odd.any():
        warnings.append(f"{odd.sum()} of {len(hits)} hits left out: no clean decay")
        hits = tuple(hit for hit, bad in zip(hits, odd, strict=True) if not bad)
        decays = _decays(sound, hits, duration, band)
        poles = find_poles(decays, steady_hz)
        left = misfit(decays, poles)
    if np.median(left) > MUCH_LEFT:
        warnings.append(
            f"{100 * np.median(left):.0f} % of the sound is no clean decay (noise, room, rattle); trust weak modes less"
        )
    is_mode = _decaying(poles)
    hum = poles.omega[~is_mode & (poles.sigma * duration < 0.7)] / (2 * np.pi)
    peaks = _peaks(decays, poles, is_mode, hits, (lowest, highest))
    if not peaks:
        message = (
            f"{path}: {len(hits)} hit{'s' * (len(hits) > 1)} found, but nothing between {lowest:g} and {highest:g} Hz "
            "rings and dies away; hold the top freely and tap it, microphone near"
        )
        raise FileError(message)
    if len(hits) == 1:
        warnings.append("one hit only, so no spread; five or more tell how well the taps agree")
    heard = sorted(hz for hz in hum if hz >= lowest)
    if heard:
        warnings.append("steady tones, not taken for modes: " + ", ".join(f"{hz:.1f}" for hz in heard) + " Hz")
    frequency, level = _spectrum(sound, hits, duration, (lowest, highest))
    return Recording(
        path, sound.rate, len(hits), peaks, tuple(warnings), hits, tuple(map(float, heard)), frequency, level
    )


def _long_enough(hits: tuple[Hit, ...]) -> tuple[tuple[Hit, ...], float]:
    """Hits with a decay of a common length, and that length in s."""
    available = np.array([hit.stop_s - hit.decay_s for hit in hits])
    # Long decays resolve close modes, many hits average the noise.
    lengths = np.minimum(available, LONGEST_DECAY)
    worth = [(lengths >= t).sum() * -np.expm1(-t / 0.2) for t in lengths]
    # Far below the noise floor there is nothing more to hear.
    sunk = 3 * max(hit.quiet_s - hit.decay_s for hit in hits)
    duration = min(float(lengths[int(np.argmax(worth))]), max(sunk, 2 * SHORTEST_DECAY))
    return tuple(hit for hit, t in zip(hits, available, strict=True) if t >= duration), duration


def _decays(sound: Sound, hits: tuple[Hit, ...], duration: float, band: tuple[float, float]) -> Decays:
    n = int(duration * sound.rate)
    starts = [min(round(hit.decay_s * sound.rate), len(sound.samples) - n) for hit in hits]
    return Decays.from_samples(np.array([sound.samples[k : k + n] for k in starts]), sound.rate, band)


def _tones_before(sound: Sound, first: Hit, band: tuple[float, float]) -> NDArray[np.float64]:
    """Frequencies of the tones in the last second before the first hit, Hz."""
    stop = int((first.start_s - 0.01) * sound.rate)
    start = max(stop - round(LONGEST_DECAY * sound.rate), 0)
    if stop - start < 0.15 * sound.rate:
        return np.array([])
    before = Decays.from_samples(sound.samples[None, start:stop], sound.rate, band)
    tones = find_poles(before, np.array([]), n_rounds=3)
    duration = (stop - start) / sound.rate
    return tones.omega[tones.sigma * duration < 1.0] / (2 * np.pi)


def _after_bounces(
    sound: Sound, hits: tuple[Hit, ...], band: tuple[float, float], steady_hz: NDArray[np.float64]
) -> tuple[Hit, ...]:
    """The hits with their decays begun after bounces that are heard only in the modes, not as a click."""
    as_found = hits
    for _ in range(MOST_BOUNCES):
        used, duration = _long_enough(hits)
        delays = np.arange(0.004, min(0.15, 0.5 * duration), 0.002)
        if duration < SHORTEST_DECAY:
            return as_found
        decays = _decays(sound, used, duration, band)
        # Two rounds: after one, a strong mode not fitted yet looks like a bounce; later ones fit the bounce itself.
        poles = find_poles(decays, steady_hz, n_rounds=2)
        if poles.steady.all():
            return as_found
        part = late_strikes(decays, poles, delays)
        gain = part.max(axis=1)
        # Chosen: a bounce brings 0.3 % of the energy or more, and at one moment, not at any.
        bounced = (gain * misfit(decays, poles) > 0.003) & (gain > 0.2) & (gain > 2 * np.median(part, axis=1))
        if not bounced.any():
            return hits
        later = {
            hit: _bounced(hit, float(delay))
            for hit, delay, again in zip(used, delays[part.argmax(axis=1)], bounced, strict=True)
            if again
        }
        hits = tuple(later.get(hit, hit) for hit in hits)
    # What goes on for ever is no bounce, but a decay that is not exponential.
    return as_found


def _bounced(hit: Hit, delay: float) -> Hit:
    """The hit with a bounce so many seconds after the start of its decay."""
    strike = hit.decay_s + delay
    return replace(hit, strike_s=strike, decay_s=strike + AFTER_STRIKE, n_bounces=hit.n_bounces + 1)


def _without_bounces(hits: tuple[Hit, ...], warnings: list[str]) -> tuple[Hit, ...]:
    """The hits that did not bounce, if there are enough of them; else all."""
    clean = tuple(hit for hit in hits if not hit.n_bounces)
    n_bounced = len(hits) - len(clean)
    if not n_bounced:
        return hits
    if len(clean) >= ENOUGH_HITS:
        warnings.append(f"{n_bounced} of {len(hits)} hits left out: they bounced")
        return clean
    warnings.append(f"{n_bounced} of {len(hits)} hits bounced; their decays were taken after the last bounce")
    return hits


def _decaying(poles: Poles) -> NDArray[np.bool_]:
    """Which poles are modes: not steady, not as narrow as a tone, not a remnant of the mains."""
    hz = poles.omega / (2 * np.pi)
    q = poles.omega / (2 * poles.sigma)
    mode = ~poles.steady & (q > Q_RANGE[0]) & (q < Q_RANGE[1])
    for mains in MAINS:
        off = np.abs(hz - mains * np.rint(hz / mains))
        mode &= ~((off < 0.6) & (q > 150) & (hz > 0.5 * mains))
    size = (np.abs(poles.amplitude) ** 2).mean(axis=0)
    for k in np.flatnonzero(poles.steady):
        # What remains where a tone's strength varies.
        mode &= ~((np.abs(hz - hz[k]) < 1.5) & ((q > 150) | (size < 0.25 * size[k])))
    return mode


def _peaks(
    decays: Decays, poles: Poles, is_mode: NDArray[np.bool_], hits: tuple[Hit, ...], limits: tuple[float, float]
) -> tuple[Peak, ...]:
    """Peaks within the limits in Hz, with the spread of each over the hits."""
    hz = poles.omega / (2 * np.pi)
    inside = is_mode & (hz >= limits[0]) & (hz <= limits[1]) & (poles.signal_to_noise > LEAST_SIGNAL_TO_NOISE)
    alone = [refit(decays.of_hit(hit), poles) for hit in range(len(hits))] if inside.any() else []
    # Within its bandwidth and above the noise: a hit shows this mode by itself.
    own = {
        int(k): [
            float(one.omega[k]) / (2 * np.pi)
            for one in alone
            if one.signal_to_noise[k] > 12 and abs(one.omega[k] - poles.omega[k]) < 2 * poles.sigma[k]
        ]
        for k in np.flatnonzero(inside)
    }
    own = {k: found for k, found in own.items() if len(found) >= min(len(hits), 2)}
    if not own:
        return ()
    waited = np.array([hit.decay_s - hit.strike_s for hit in hits])
    strike = np.abs(poles.amplitude) * np.exp(np.minimum(poles.sigma * waited[:, None], 5.0))
    size = np.sqrt((strike**2).mean(axis=0))
    level = 20 * np.log10(size / size[list(own)].max())
    return tuple(
        Peak(
            hz=float(hz[k]),
            spread_hz=float(np.std(found, ddof=1)) if len(found) > 1 else None,
            decay_time=float(T60 / poles.sigma[k]),
            q=float(poles.omega[k] / (2 * poles.sigma[k])),
            level_db=float(level[k]),
            n_hits=len(found),
        )
        for k, found in own.items()
        if level[k] >= QUIETEST
    )


def _spectrum(
    sound: Sound, hits: tuple[Hit, ...], duration: float, limits: tuple[float, float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    n = int(duration * sound.rate)
    # Interpolated to half a hertz or finer, so that a drawn peak has its height.
    padded = max(n, 2 * sound.rate)
    # Falls to nothing at the end, so that the noise floor is not cut off.
    taper = np.cos(np.linspace(0, np.pi / 2, n)) ** 2
    power = np.zeros(padded // 2 + 1)
    for hit in hits:
        start = min(round(hit.decay_s * sound.rate), len(sound.samples) - n)
        power += np.abs(np.fft.rfft(taper * sound.samples[start : start + n], padded)) ** 2
    frequency = np.fft.rfftfreq(padded, 1 / sound.rate)
    inside = (frequency >= limits[0]) & (frequency <= limits[1])
    power = power[inside]
    return np.asarray(frequency[inside], dtype=float), 10 * np.log10(np.maximum(power / power.max(), 1e-12))
