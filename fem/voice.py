"""What is said of an instrument's sound, in figures: projection, presence, bass, evenness, sustain.

Depends on fem/response, fem/sound_field, fem/sustain, geometry/errors, geometry/units. Each figure is defined here, in
`WORDS`, and nowhere else. All of them are of a steady force of 1 N (rms) at the bridge, the same at every frequency:
the string's own spectrum is the same for two instruments that are compared.

References
----------
IEC 61260-1:2014 (third-octave bands), from memory. J. Woodhouse, Acta Acustica united with Acustica 90 (2004) 945-965,
Table I (own loss of strings).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.radiation import Complex, Real
from bracedtop.fem.response import REFERENCE, Response, decibels
from bracedtop.fem.sustain import bands
from bracedtop.geometry.errors import AccuracyError
from bracedtop.geometry.units import note_frequency

LOWEST, HIGHEST, BASS_UP_TO = 80.0, 1000.0, 200.0
"""Nominal third-octave bands over which levels are taken, Hz; chosen: from the lowest string to where the modes of a
box begin to overlap; the bass, to the open third string."""

LOWEST_NOTE, HIGHEST_NOTE = "E2", "B5"
"""Played range; common practice, no source: six strings, nineteen frets."""

HALF_SEMITONE = 2.0 ** (1.0 / 24.0)


@dataclass(frozen=True, slots=True)
class ReferenceString:
    """One string for every note, so that bodies are compared and not strings.

    Parameters
    ----------
    impedance : float, kg/s
        Wave impedance sqrt(T m); chosen: the geometric mean of a set (0.16 to 0.67 for nylon, Woodhouse 2004, Table I).
    friction : float
        Loss factor of the string itself; chosen: middle of Woodhouse's.
    air : float, 1/s
        Loss to the air; chosen: middle of Woodhouse's.
    """

    impedance: float = 0.33
    friction: float = 1e-4
    air: float = 1.2


@dataclass(frozen=True, slots=True)
class Word:
    """A word of makers and players.

    Parameters
    ----------
    name, unit : str
    more : int
        1 if more of it is a larger figure, -1 if a smaller one.
    sentence : str
        Its definition.
    """

    name: str
    unit: str
    more: int
    sentence: str


WORDS = (
    Word(
        "projection",
        "dB",
        1,
        "How loud top and sound hole are one metre in front, within 30 degrees of straight ahead, when the bridge is "
        "driven with one newton: the mean of the levels in the twelve third-octave bands from 80 Hz to 1 kHz, dB re "
        "20 uPa.",
    ),
    Word(
        "presence",
        "dB",
        1,
        "How loud the box is at the player's ear, half a metre above its centreline on the bass side: top, sound hole "
        "and back together, with what the linings pass on to the back and to the box as a whole; bands and unit as for "
        "projection.",
    ),
    Word(
        "bass",
        "dB",
        1,
        "How loud it is in front in the five third-octave bands from 80 to 200 Hz alone; unit as for projection.",
    ),
    Word(
        "evenness",
        "dB",
        -1,
        "By how many decibels neighbouring notes from E2 to B5 differ in front (root mean square, each note the mean "
        "within half a semitone of it); the smaller, the more even.",
    ),
    Word(
        "sustain",
        "s",
        1,
        "How long the middle one of all notes takes to fall by 60 dB: half of them sound longer, half shorter.",
    ),
)
"""Definitions, as printed."""


@dataclass(frozen=True, slots=True)
class Voice:
    """The figures of `WORDS` for one box.

    Parameters
    ----------
    projection, presence, bass : float, dB re 20 uPa/N
    evenness : float, dB
    sustain : float, s
    shares : mapping of str to float
        Where the power goes over all bands together, by the names of `Response.shares`; sum 1.
    """

    projection: float
    presence: float
    bass: float
    evenness: float
    sustain: float
    shares: Mapping[str, float]

    def figure(self, name: str) -> float:
        """The figure of one of `WORDS`."""
        return float(getattr(self, name))


def voice_of(response: Response, decay_times: Real | None = None, string: ReferenceString | None = None) -> Voice:
    """What is said of an instrument with this response.

    Parameters
    ----------
    response : Response
        From 70 to 1130 Hz, `fem/response.frequency_grid` with the resonances given.
    decay_times : array of any shape, s, optional
        60 dB decay times of all notes, such as those of a map over the fingerboard. If not given, they are those of one
        string of constant wave impedance for all notes.
    string : ReferenceString, optional

    Raises
    ------
    AccuracyError
        If the response does not cover the bands.
    """
    hz = response.hz
    thirds = bands(3, LOWEST, HIGHEST)
    low, high = thirds[0].low, thirds[-1].high
    if hz[0] > low * (1 + 1e-9) or hz[-1] < high * (1 - 1e-9):
        message = f"voice: response from {hz[0]:g} to {hz[-1]:g} Hz; must cover {low:.1f} to {high:.1f} Hz"
        raise AccuracyError(message)
    near = np.abs(response.ear) ** 2
    in_front = np.array([_level(hz, response.cone, band.low, band.high) for band in thirds])
    at_ear = np.array([_level(hz, near, band.low, band.high) for band in thirds])
    is_bass = np.array([band.middle < BASS_UP_TO * 1.05 for band in thirds])
    notes = semitones()
    loud = np.array([_level(hz, response.cone, f / HALF_SEMITONE, f * HALF_SEMITONE) for f in notes])
    times = note_decays(response, string or ReferenceString()) if decay_times is None else decay_times
    power = band_mean(hz, response.power, low, high)
    return Voice(
        projection=float(in_front.mean()),
        presence=float(at_ear.mean()),
        bass=float(in_front[is_bass].mean()),
        evenness=float(np.sqrt((np.diff(loud) ** 2).mean())),
        sustain=float(np.median(times)),
        shares={
            name: band_mean(hz, share * response.power, low, high) / power for name, share in response.shares.items()
        },
    )


def semitones() -> Real:
    """Frequencies of the notes of the played range, Hz."""
    low, high = note_frequency(LOWEST_NOTE), note_frequency(HIGHEST_NOTE)
    n = round(12.0 * np.log2(high / low))
    return np.asarray(low * 2.0 ** (np.arange(n + 1) / 12.0))


def note_decays(response: Response, string: ReferenceString) -> Real:
    """60 dB decay times (n,) in s of the first partials of `semitones` on one string.

    References
    ----------
    Amplitudes decay with omega friction / 2 + air / 2 + (T / L) Re Y (Woodhouse 2004), and T / L = 2 f sqrt(T m).
    """
    f = semitones()
    real = np.array([band_mean(response.hz, response.power, x / HALF_SEMITONE, x * HALF_SEMITONE) for x in f])
    rate = np.pi * f * string.friction + string.air / 2.0 + 2.0 * f * string.impedance * real
    return np.asarray(3.0 * np.log(10.0) / rate)


def band_mean(hz: Real, values: Real | Complex, low: float, high: float) -> float:
    """Mean of values (f,) over equal ratios of frequency between two limits."""
    inside = (hz > low) & (hz < high)
    f = np.concatenate([[low], hz[inside], [high]])
    y = np.concatenate([[np.interp(low, hz, values)], values[inside], [np.interp(high, hz, values)]])
    return float(np.trapezoid(y, np.log(f)) / np.log(high / low))


def _level(hz: Real, square: Real, low: float, high: float) -> float:
    return float(decibels(np.array(band_mean(hz, square, low, high) / REFERENCE**2)))
