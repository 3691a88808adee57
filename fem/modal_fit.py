"""One set of modes fitted to the hits of one or more recordings of the same top.

Depends on geometry/errors, fem/sound, fem/hits, fem/decay, fem/modal_fit_hits, fem/modal_fit_order,
fem/modal_fit_errors, fem/modal_fit_start.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from bracedtop.fem.decay import POLISHED, Complex, Decays, Mask, Poles, Real, measured, misfit, swept, with_amplitudes
from bracedtop.fem.hits import Hit
from bracedtop.fem.modal_fit_errors import amplitude_error, hit_by_hit, standard_errors
from bracedtop.fem.modal_fit_hits import MAINS, Tapped, common_length, long_enough, tapped
from bracedtop.fem.modal_fit_order import find_poles
from bracedtop.fem.modal_fit_start import started_sooner
from bracedtop.fem.sound import Sound, read_sound
from bracedtop.geometry.errors import FileError

Q_RANGE = (8.0, 400.0)
"""Chosen: wooden plates lie between 10 and 200; broader is background, narrower a steady tone."""

LEAST_SIGNAL_TO_NOISE = 60.0
"""Energy of a reported mode over the noise's; chosen: its frequency is then good to a tenth of the bandwidth."""

MUCH_LEFT = 0.1
"""Unexplained part of the decays' energy that is worth a warning; chosen: noise 10 dB below the sound."""


@dataclass(frozen=True, slots=True)
class RecordingFit:
    """One recording's hits and their amplitudes in a fit.

    Parameters
    ----------
    name : str
    hits : tuple of Hit
        Those that were used.
    onsets : (n_hits,) array, s
        Moment of each hit in the recording, to which the amplitudes refer.
    amplitudes : (n_channels, n_hits, n_modes) complex array
        The sound of a mode after a hit is Re(a exp((-decay + 2 pi i f) (t - onset))), in full scales of the file.
    amplitude_errors : (n_channels, n_hits, n_modes) array
        Standard error that the noise makes of a real and of an imaginary part, with the poles as they are.
    warnings : tuple of str
    """

    name: str
    hits: tuple[Hit, ...]
    onsets: Real
    amplitudes: Complex
    amplitude_errors: Real
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ModalFit:
    """Modes common to some recordings, in order of frequency.

    Parameters
    ----------
    frequencies, decays : (n_modes,) arrays, Hz and 1/s
        A mode's sound falls as exp(-decay t); T60 = ln 1000 / decay, Q = pi frequency / decay.
    frequency_errors, decay_errors : (n_modes,) arrays, Hz and 1/s
        Standard errors, from the spread over the hits and not below what the noise makes.
    signal_to_noise : (n_modes,) array
        Energy over that of the noise in one degree of freedom.
    hit_frequencies : (n_hits, n_modes) array, Hz
        Of each hit fitted by itself, all recordings' hits in order; NaN where a hit does not show the mode by itself.
    recordings : tuple of RecordingFit
        One for each recording, in the order given.
    steady_hz : tuple of float
        Tones that do not decay (hum); not among the modes.
    duration : float, s
        Length of the decays that were fitted.
    warnings : tuple of str
        What is not said of one recording alone.
    """

    frequencies: Real
    decays: Real
    frequency_errors: Real
    decay_errors: Real
    signal_to_noise: Real
    hit_frequencies: Real
    recordings: tuple[RecordingFit, ...]
    steady_hz: tuple[float, ...]
    duration: float
    warnings: tuple[str, ...]

    @property
    def poles(self) -> Complex:
        """Complex frequencies s = -decay + 2 pi i frequency, 1/s, (n_modes,)."""
        return np.asarray(-self.decays + 2j * np.pi * self.frequencies)

    def amplitudes_at(self, recording: int, times: Real) -> Complex:
        """Amplitudes of one recording referred to other moments, one for each hit.

        Parameters
        ----------
        recording : int
            Its index.
        times : (n_hits,) array, s
            Such as the moments at which a hammer's force begins.

        Returns
        -------
        (n_channels, n_hits, n_modes) complex array
        """
        shift = np.asarray(times, dtype=float) - self.recordings[recording].onsets
        return np.asarray(self.recordings[recording].amplitudes * np.exp(shift[:, None] * self.poles))


def fit_recordings(
    recordings: Sequence[Path | tuple[str, Sequence[Sound]]], *, lowest: float = 50.0, highest: float = 2000.0
) -> ModalFit:
    """Frequencies, decays, and every hit's amplitudes and phases of the modes that the recordings share.

    Each tap's free decay is cut out; all decays of all recordings together are fitted by decaying sinusoids that share
    their frequencies and decay rates; the number of sinusoids is chosen in fem/modal_fit_order. Bounces end the part
    that is left out at a tap's start. Tones that were there before the first tap, or do not decay, are no modes.

    Parameters
    ----------
    recordings : sequence of Path or of (str, sequence of Sound)
        A file, of which the clearest channel is taken, or a name for messages and those channels of one file that are
        to be fitted (`fem.sound.read_channels`, without a hammer's). All of the same top, not shaved between them.
    lowest, highest : float, Hz
        Range of interest.

    Raises
    ------
    FileError
        If a file cannot be used: see fem/sound; no clear hit, no hit followed by 0.2 s of decay, or nothing that
        decays in the range of interest.
    """
    named = [
        (str(item), (read_sound(item),)) if isinstance(item, Path) else (item[0], tuple(item[1])) for item in recordings
    ]
    if not named:
        message = "no recordings; at least one is needed"
        raise FileError(message)
    rate = min(sound.rate for _, channels in named for sound in channels)
    named = [(name, tuple(_at_rate(sound, rate) for sound in channels)) for name, channels in named]
    highest = min(highest, 0.45 * rate)
    band = (0.6 * lowest, min(1.2 * highest, 0.49 * rate))
    return _fitted([tapped(name, channels, band) for name, channels in named], band, (lowest, highest))


def _at_rate(sound: Sound, rate: int) -> Sound:
    """The sound at a lower rate, so that one transform fits all recordings."""
    if sound.rate == rate:
        return sound
    common = int(np.gcd(sound.rate, rate))
    samples = resample_poly(sound.samples, rate // common, sound.rate // common)
    clipped = np.unique(sound.clipped * rate // sound.rate)
    return Sound(np.asarray(samples), rate, clipped, sound.n_channels, sound.channel)


@dataclass(frozen=True, slots=True)
class _Rows:
    """All decays of all recordings, each recording's of about equal loudness, and where they come from."""

    decays: Decays
    taps: list[Tapped]
    gain: list[float]
    tap_of_row: NDArray[np.intp]
    hit_of_row: NDArray[np.intp]
    duration: float

    @classmethod
    def of(cls, taps: list[Tapped], duration: float, band: tuple[float, float]) -> "_Rows":
        spectra, gain, tap_of_row, hit_of_row = [], [], [], []
        n_before = 0
        for k, tap in enumerate(taps):
            one = Decays.from_samples(tap.samples(duration), tap.rate, band)
            # The median bin holds the noise or the skirts of the modes, and follows the microphone's gain.
            gain.append(float(np.sqrt(np.median((np.abs(one.spectra) ** 2).mean(axis=0)))) or 1.0)
            spectra.append(one.spectra / gain[-1])
            tap_of_row += [k] * len(one.spectra)
            hit_of_row += [n_before + h for _ in tap.channels for h in range(len(tap.hits))]
            n_before += len(tap.hits)
        decays = Decays(np.concatenate(spectra), one.omega, one.rate, one.n_samples)
        return cls(decays, taps, gain, np.array(tap_of_row), np.array(hit_of_row), duration)

    def of_tap(self, poles: Poles, k: int) -> Poles:
        """The poles with the amplitudes of one recording, in its own unit."""
        own, gain = self.tap_of_row == k, self.gain[k]
        return replace(poles, amplitude=poles.amplitude[own] * gain, drift=poles.drift[own] * gain)


def _fitted(taps: list[Tapped], band: tuple[float, float], limits: tuple[float, float]) -> ModalFit:
    taps, duration, warnings = _of_one_length(taps)
    rows = _Rows.of(taps, duration, band)
    steady_hz = _merged(np.concatenate([tap.steady_hz for tap in taps]), duration)
    poles = find_poles(rows.decays, steady_hz)
    left = misfit(rows.decays, poles)
    odd = np.zeros(len(left), dtype=bool)
    for k in range(len(taps)):
        own = rows.tap_of_row == k
        odd[own] = (left[own] > 0.05) & (left[own] > 4 * np.median(left[own]))
    if odd.any():
        bad = np.unique(rows.hit_of_row[odd])
        taps = _without(taps, bad, warnings)
        rows = _Rows.of(taps, duration, band)
        poles = find_poles(rows.decays, steady_hz)
        left = misfit(rows.decays, poles)
    taps = [started_sooner(tap, rows.of_tap(poles, k), duration, band) for k, tap in enumerate(taps)]
    rows = _Rows.of(taps, duration, band)
    # What is heard sooner is heard louder: weak modes may stand out only now.
    poles = find_poles(rows.decays, steady_hz, known=with_amplitudes(rows.decays, poles))
    poles = measured(rows.decays, swept(rows.decays, poles, 3, POLISHED))
    for k, tap in enumerate(taps):
        part = float(np.median(left[rows.tap_of_row == k]))
        if part > MUCH_LEFT:
            warnings[k].append(
                f"{100 * part:.0f} % of the sound is no clean decay (noise, room, rattle); trust weak modes less"
            )
        if len(tap.hits) == 1:
            warnings[k].append("one hit only, so no spread; five or more tell how well the taps agree")
    mode = decaying(poles)
    hum = poles.omega[~mode & (poles.sigma * duration < 0.7)] / (2 * np.pi)
    hz = poles.omega / (2 * np.pi)
    inside = mode & (hz >= limits[0]) & (hz <= limits[1]) & (poles.signal_to_noise > LEAST_SIGNAL_TO_NOISE)
    hits = hit_by_hit(rows.decays, poles, rows.hit_of_row)
    inside &= hits.is_heard_again | (len(hits.omega) == 1)
    if not inside.any():
        n = sum(len(tap.hits) for tap in taps)
        message = (
            f"{taps[0].name}: {n} hit{'s' * (n > 1)} found, but nothing between {limits[0]:g} and {limits[1]:g} Hz "
            "rings and dies away; hold the top freely and tap it, microphone near"
        )
        raise FileError(message)
    by_omega, by_sigma = standard_errors(rows.decays, poles, rows.hit_of_row)
    noise = amplitude_error(rows.decays, poles)[:, inside]
    kept = poles.kept(inside)
    return ModalFit(
        frequencies=hz[inside],
        decays=kept.sigma,
        frequency_errors=by_omega[inside] / (2 * np.pi),
        decay_errors=by_sigma[inside],
        signal_to_noise=kept.signal_to_noise,
        hit_frequencies=hits.omega[:, inside] / (2 * np.pi),
        recordings=tuple(_recording_fit(rows, k, kept, noise, warnings[k]) for k in range(len(taps))),
        steady_hz=tuple(float(f) for f in sorted(hum) if f >= limits[0]),
        duration=duration,
        warnings=(),
    )


def _of_one_length(taps: list[Tapped]) -> tuple[list[Tapped], float, list[list[str]]]:
    """The recordings with the hits that are long enough, that length, and the warnings of each."""
    warnings = [list(tap.warnings) for tap in taps]
    duration = common_length(tuple(hit for tap in taps for hit in tap.hits))
    # No recording may fall out: its point would be missing from the shapes.
    duration = min([duration, *(tap.longest for tap in taps)])
    result = []
    for tap, said in zip(taps, warnings, strict=True):
        hits = long_enough(tap.hits, duration)
        if len(hits) < len(tap.hits):
            n = len(tap.hits)
            said.append(f"{n - len(hits)} of {n} hits left out: the next one, or the end, came too soon")
        result.append(Tapped(tap.name, tap.channels, hits, tap.steady_hz, ()))
    return result, duration, warnings


def _without(taps: list[Tapped], bad: NDArray[np.intp], warnings: list[list[str]]) -> list[Tapped]:
    """The recordings without these hits, counted over all of them."""
    result, first = [], 0
    for tap, said in zip(taps, warnings, strict=True):
        n = len(tap.hits)
        odd = [k for k in range(n) if first + k in bad]
        if odd:
            said.append(f"{len(odd)} of {n} hits left out: no clean decay")
        hits = tuple(hit for k, hit in enumerate(tap.hits) if k not in odd)
        result.append(Tapped(tap.name, tap.channels, hits, tap.steady_hz, tap.warnings))
        first += n
    return result


def _merged(hz: Real, duration: float) -> Real:
    """Tones that several recordings hear, once."""
    result: list[list[float]] = []
    for f in np.sort(hz):
        if result and f - result[-1][0] < 0.5 / duration:
            result[-1].append(float(f))
        else:
            result.append([float(f)])
    return np.array([np.median(group) for group in result])


def _recording_fit(rows: _Rows, k: int, poles: Poles, noise: Real, warnings: list[str]) -> RecordingFit:
    """A recording's amplitudes, moved from the start of its decays to the hits."""
    tap, own = rows.taps[k], rows.tap_of_row == k
    onsets = np.array([hit.strike_s for hit in tap.hits])
    waited = tap.starts(rows.duration) / tap.rate - onsets
    back = np.exp(np.outer(waited, poles.sigma - 1j * poles.omega))
    shape = (len(tap.channels), len(tap.hits), len(poles.omega))
    scale = rows.gain[k]
    return RecordingFit(
        tap.name,
        tap.hits,
        onsets,
        poles.amplitude[own].reshape(shape) * scale * back,
        noise[own].reshape(shape) * scale * np.abs(back),
        tuple(warnings),
    )


def decaying(poles: Poles) -> Mask:
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
    return np.asarray(mode)
