"""The free decays of a recording's hits: which hits are clean, where each decay begins, how long all are.

Depends on geometry/errors, fem/sound, fem/hits, fem/decay, fem/bounce, fem/modal_fit_order.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import iirnotch, lfilter

from bracedtop.fem.bounce import late_strikes
from bracedtop.fem.decay import Decays, misfit, with_amplitudes
from bracedtop.fem.hits import AFTER_STRIKE, Hit, find_hits
from bracedtop.fem.modal_fit_order import find_poles
from bracedtop.fem.sound import Sound
from bracedtop.geometry.errors import FileError

SHORTEST_DECAY = 0.2
"""Shortest free decay that is analysed, s; resolves modes 5 Hz apart."""

LONGEST_DECAY = 1.0
"""Longest, s; a mode of Q 80 at 90 Hz has fallen by 30 dB."""

ENOUGH_HITS = 3
"""With so many clean hits the others are left out; chosen."""

MOST_BOUNCES = 5

NOTCH = 3.0
"""Width of what is taken out around a steady tone before taps are sought, Hz; chosen: more than a hum's drift."""

MAINS = (50.0, 60.0)

MOST_MULTIPLES = 12
"""Multiples of the mains that are taken out; chosen: up to where taps are loud."""

SETTLING, FADING = 0.3, 0.1
"""Until the filters that take tones out have settled, to 25 dB, and over how long they are faded in, s."""


@dataclass(frozen=True, slots=True)
class Tapped:
    """One recording and the hits of it that can be used.

    Parameters
    ----------
    name : str
        For messages.
    channels : tuple of Sound
        Of equal length; all hear the same hits.
    hits : tuple of Hit
    steady_hz : (n,) array
        Tones that were there before the first hit.
    warnings : tuple of str
    """

    name: str
    channels: tuple[Sound, ...]
    hits: tuple[Hit, ...]
    steady_hz: NDArray[np.float64]
    warnings: tuple[str, ...]

    @property
    def rate(self) -> int:
        """Samples per second."""
        return self.channels[0].rate

    @property
    def longest(self) -> float:
        """Longest free decay, s."""
        return max(hit.stop_s - hit.decay_s for hit in self.hits)

    def starts(self, duration: float) -> NDArray[np.intp]:
        """First sample of each hit's decay, (n_hits,)."""
        last = len(self.channels[0].samples) - int(duration * self.rate)
        return np.array([min(round(hit.decay_s * self.rate), last) for hit in self.hits], dtype=np.intp)

    def samples(self, duration: float) -> NDArray[np.float64]:
        """The decays, channel after channel, (n_channels n_hits, n_samples)."""
        n, starts = int(duration * self.rate), self.starts(duration)
        return np.array([sound.samples[k : k + n] for sound in self.channels for k in starts])


def tapped(name: str, channels: tuple[Sound, ...], band: tuple[float, float]) -> Tapped:
    """The usable hits of a recording.

    Parameters
    ----------
    name : str
    channels : tuple of Sound
    band : (float, float), Hz

    Raises
    ------
    FileError
        If there is no clear hit, or none followed by 0.2 s of decay.
    """
    listened = _clearest(channels)
    clipped = np.unique(np.concatenate([sound.clipped for sound in channels]))
    warnings: list[str] = []
    if len(clipped):
        warnings.append(
            f"clipped: {len(clipped)} samples at full scale; the decays after them were used, levels are too low"
        )
    found, steady_hz = _hits(listened, clipped, band)
    if not found:
        message = f"{name}: no clear hit; a tap has to rise well above the noise of the room and die away"
        raise FileError(message)
    if len(steady_hz):
        # They hide when the sound sinks into the noise, and are told from modes beside them by long decays.
        found = tuple(replace(hit, quiet_s=hit.stop_s) for hit in found)
    hits = _without_bounces(_after_bounces(listened, found, band, steady_hz), warnings)
    result = Tapped(name, channels, hits, steady_hz, tuple(warnings))
    if result.longest < SHORTEST_DECAY:
        message = (
            f"{name}: too short: {1e3 * max(result.longest, 0):.0f} ms of decay after a hit; must be "
            f"{1e3 * SHORTEST_DECAY:.0f} ms or more before the next hit or the end"
        )
        raise FileError(message)
    return result


def _clearest(channels: tuple[Sound, ...]) -> Sound:
    """The loudest channel of those that are clipped least."""
    return min(channels, key=lambda sound: (len(sound.clipped) > 0, -float((sound.samples**2).sum())))


def common_length(hits: tuple[Hit, ...]) -> float:
    """Length of decay that makes most of these hits, s; those with less are left out."""
    # Long decays resolve close modes, many hits average the noise.
    lengths = np.minimum([hit.stop_s - hit.decay_s for hit in hits], LONGEST_DECAY)
    worth = [(lengths >= t).sum() * -np.expm1(-t / 0.2) for t in lengths]
    # Far below the noise floor there is nothing more to hear.
    sunk = 3 * max(hit.quiet_s - hit.decay_s for hit in hits)
    return min(float(lengths[int(np.argmax(worth))]), max(sunk, 2 * SHORTEST_DECAY))


def long_enough(hits: tuple[Hit, ...], duration: float) -> tuple[Hit, ...]:
    """The hits whose decays are that long."""
    return tuple(hit for hit in hits if hit.stop_s - hit.decay_s >= duration)


def _tones_before(sound: Sound, first: Hit, band: tuple[float, float]) -> NDArray[np.float64]:
    """Frequencies of the tones in the last second before the first hit, Hz."""
    stop = int((first.start_s - 0.01) * sound.rate)
    start = max(stop - round(LONGEST_DECAY * sound.rate), 0)
    if stop - start < 0.15 * sound.rate:
        return np.array([])
    before = Decays.from_samples(sound.samples[None, start:stop], sound.rate, band)
    tones = find_poles(before, np.array([]), n_rounds=3)
    duration = (stop - start) / sound.rate
    return np.asarray(tones.omega[tones.sigma * duration < 1.0] / (2 * np.pi))


def _hits(
    sound: Sound, clipped: NDArray[np.intp], band: tuple[float, float]
) -> tuple[tuple[Hit, ...], NDArray[np.float64]]:
    """Taps and the tones before the first one; where there are tones, weak taps are sought with these taken out."""
    found = find_hits(sound.samples, sound.rate, clipped)
    steady_hz = _tones_before(sound, found[0], band) if found else np.array([])
    if found and not len(steady_hz):
        return found, steady_hz
    sought = [steady_hz]
    for mains in MAINS:
        multiples = mains * np.arange(1, MOST_MULTIPLES + 1)
        if not found or (np.abs(steady_hz[:, None] - multiples) < 0.5).any():
            sought.append(multiples)
    best = found
    for tones in sought:
        more = find_hits(_without_tones(sound, tones), sound.rate, clipped)
        # Where the tones fade, what is left of them dies away like a tap.
        more = tuple(
            hit
            for hit in more
            if hit.start_s > SETTLING + FADING or any(abs(hit.start_s - other.start_s) < 0.02 for other in found)
        )
        best = max(best, more, key=len)
    if best and best[0] not in found:
        steady_hz = _tones_before(sound, best[0], band)
    return best, steady_hz


def _without_tones(sound: Sound, hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """The samples without these tones, good enough to hear the taps."""
    quieter = sound.samples
    for f in hz:
        quieter = lfilter(*iirnotch(f, f / NOTCH, fs=sound.rate), quieter)
    # Until the filters have settled the tones go through them; faded, as a step would be heard as a tap.
    seconds = np.arange(len(quieter)) / sound.rate
    settled = np.clip((seconds - SETTLING) / FADING, 0.0, 1.0)
    return np.asarray(settled * quieter + (1 - settled) * sound.samples)


def _after_bounces(
    sound: Sound, hits: tuple[Hit, ...], band: tuple[float, float], steady_hz: NDArray[np.float64]
) -> tuple[Hit, ...]:
    """The hits with their decays begun after bounces that are heard only in the modes, not as a click."""
    as_found = hits
    for _ in range(MOST_BOUNCES):
        duration = common_length(hits)
        used = long_enough(hits, duration)
        delays = np.arange(0.004, min(0.15, 0.5 * duration), 0.002)
        if duration < SHORTEST_DECAY:
            return as_found
        samples = Tapped("", (sound,), used, steady_hz, ()).samples(duration)
        decays = Decays.from_samples(samples, sound.rate, band)
        # Two rounds: after one, a strong mode not fitted yet looks like a bounce; later ones fit the bounce itself.
        # Once enough hits are known to have bounced, what follows there is sure, and the others are held against it.
        sure = np.array([hit.n_bounces > 0 for hit in used])
        sure |= sure.sum() < max(ENOUGH_HITS, len(used) / 2)
        poles = find_poles(replace(decays, spectra=decays.spectra[sure]), steady_hz, n_rounds=2)
        if poles.steady.all():
            return as_found
        poles = with_amplitudes(decays, poles)
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
