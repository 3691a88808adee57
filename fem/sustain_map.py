"""How long each note on each string sounds, and which notes are weak or wolves.

Depends on fem/body_peaks, fem/string_loss, geometry/errors.

A partial of angular frequency omega on a string of length L and tension T that ends on a body of admittance Y has

    omega' = omega + i (T / L) Y(omega),    decay rate = omega eta / 2 + (T / L) Re Y

to first order. Near a resonance of the body (omega_b, loss rate s_b = omega_b / 2Q, mass M at the bridge) string and
body are two coupled oscillators,

    (omega' - omega_s) (omega' - omega_b - i s_b) = kappa^2 = T / (2 M L),

which the first-order formula is the limit of. The strongest resonance is treated so, the rest of Y to first order.
Where the two meet, the roots have two frequencies (the note splits and beats) if kappa > s_b / 2, which is Gough's
(2 Q / (n pi)) sqrt(2 m / M) > 1 with the string's mass m.

The string is plucked at `PLUCK` of its sounding length and moves upright to the top only.

References
----------
J. Woodhouse, "On the synthesis of guitar plucks", Acta Acustica united with Acustica 90 (2004) 928-944, and the paper
after it, 945-965. C. E. Gough, "The theory of string resonances on musical instruments", Acustica 49 (1981) 124-141
(criterion from memory; derived above).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.body_peaks import Admittance, BodyPeak, Complex, Real, body_peaks, continued
from bracedtop.fem.string_loss import LossyString, partial_frequencies, string_rate
from bracedtop.geometry.errors import DesignError

Bool = NDArray[np.bool_]
Int = NDArray[np.int_]

N_FRETS = 20
"""Frets if a drawing does not say; common practice (19 to 21), no source."""

N_PARTIALS = 10

PLUCK = 0.18
"""Place of the pluck as a part of the sounding length; chosen: near the sound hole's edge on an open string, and at no
partial's node. It moves with the fret, so that the map shows the instrument and not the hand."""

NEARNESS = 1.0
"""Distance of a wolf's first partial from the body's resonance, in kappa; chosen: at one, a quarter of the energy
passes over."""

NEIGHBOURS = 3
"""Frets to each side with which a note is compared; chosen."""

SHORT = 0.6
"""A note is short if it lasts less than this part of its neighbours' median; chosen: decay times of 0.75 to 1.4 times
another's pass for the same (H. Jarvelainen, T. Tolonen, "Perceptual tolerances for decay parameters in plucked string
synthesis", J. Audio Eng. Soc. 49 (2001) 1049-1059, from memory)."""

QUIET = 6.0
"""A note is soft if it sounds this many decibels below its neighbours' median; chosen: half the pressure."""

HEARD = 0.25
"""First part of a note over which its level is taken, s; chosen: twice the time constant F of sound level meters (IEC
61672-1, from memory)."""

REFERENCE_PRESSURE = 20e-6
"""Pa (ISO 1683)."""

LEAST_RATE = 1e-6
"""1/s; chosen: far below any string's."""

LN_60, LONGEST = 3 * np.log(10.0), 200.0
"""ln of the amplitudes' ratio over 60 dB; and the longest decay time that is told apart, s."""


@dataclass(frozen=True, slots=True, eq=False)
class SustainMap:
    """Decay of every note; axes are string (in the order given), fret (0 is open), partial.

    Parameters
    ----------
    strings : tuple of str
    nominal, frequency : (s, f) array, Hz
        First partial between rigid ends, and on the body.
    decay_time : (s, f) array, s
        T60: until the energy of all partials of a pluck has fallen by 60 dB for good.
    early_decay_time : (s, f) array, s
        Six times the time of the first 10 dB.
    level : (s, f) array, dB, or None
        Mean sound pressure over the first `HEARD` seconds for a pluck that lets go 1 N, re 20 uPa.
    short, soft, wolf : (s, f) bool array
        Notes that are weak beside their neighbours, in time or in level, and wolves.
    part : (s, f) array
        Decay time as a part of the median of the neighbours', or early decay time, whichever is less.
    split : (s, f) array, Hz
        Distance of the two frequencies into which a wolf's first partial splits, else 0.
    nearest : (s, f) int array
        Body resonance that takes most of the note, index into `peaks`; -1 for none.
    peaks : tuple of BodyPeak
    partial_frequency : (s, f, n) array, Hz
        Coupled.
    partial_decay_time : (s, f, n) array, s
    own_rate, bridge_rate : (s, f, n) array, 1/s
        Decay rates by the string's own loss, and by the bridge to first order.
    coupling : (s, f, n) array
        Gough's figure with the resonance that matters most; above 1 the partial splits where it meets it.
    """

    strings: tuple[str, ...]
    nominal: Real
    frequency: Real
    decay_time: Real
    early_decay_time: Real
    level: Real | None
    short: Bool
    soft: Bool
    wolf: Bool
    part: Real
    split: Real
    nearest: Int
    peaks: tuple[BodyPeak, ...]
    partial_frequency: Real
    partial_decay_time: Real
    own_rate: Real
    bridge_rate: Real
    coupling: Real

    @property
    def weak(self) -> Bool:
        """Notes that are short or soft beside their neighbours, (s, f)."""
        return self.short | self.soft


def sustain_map(
    strings: Sequence[LossyString],
    admittance: Admittance,
    *,
    scale_length: float,
    n_frets: int = N_FRETS,
    n_partials: int = N_PARTIALS,
    pluck: float = PLUCK,
    highest: float | None = None,
    pressure: Admittance | None = None,
    peaks: Sequence[BodyPeak] | None = None,
) -> SustainMap:
    """Decay of each note on each string.

    Parameters
    ----------
    strings : sequence of LossyString
    admittance : callable
        Admittance at the bridge, m/(s N), of frequencies in Hz.
    scale_length : float, m
        Length of the open strings.
    n_frets, n_partials : int
    pluck : float
        Place as a part of the sounding length.
    highest : float or None, Hz
        Where the admittance is no longer known; above it, its mean over the octave below.
    pressure : callable or None
        Sound pressure per force at the bridge, Pa/N, of frequencies in Hz.
    peaks : sequence of BodyPeak or None
        Resonances of the body; None: from the admittance.

    Raises
    ------
    DesignError
        If there is no string, a size is not positive, or the pluck lies outside the string.
    """
    _check(strings, scale_length, n_frets, n_partials, pluck)
    length = (scale_length * 2.0 ** (-np.arange(n_frets + 1) / 12))[:, None]
    n = np.arange(1, n_partials + 1)
    f = np.array([partial_frequencies(string, length, n) for string in strings])
    # A string without any loss would sound for ever.
    own = np.maximum([string_rate(string, length, n) for string in strings], LEAST_RATE)
    pull = np.array([string.tension / length for string in strings])
    whole = admittance if highest is None else continued(admittance, highest)
    Y = np.asarray(whole(f), dtype=complex)
    if peaks is None:
        top = float(f.max()) if highest is None else highest
        peaks = body_peaks(admittance, min(float(f.min()), top) / 1.2, top)
    pair = coupled(f, own, pull, Y, tuple(peaks))

    weight = (np.sin(n * np.pi * pluck) / n) ** 2
    weight /= weight.sum()
    decay, early = _times(pair, weight)
    rate = np.imag(pair.string_root)
    split = pair.split[..., 0]
    # A wolf's resonance is the one that holds its first partial.
    worst = np.where(split > 0, 0, np.argmax(weight * (rate - own), axis=-1))
    part = np.minimum(decay / _around(decay), early / _around(early))
    level = None if pressure is None else _level(f, pair, pluck, pressure)
    soft = np.zeros(part.shape, dtype=bool) if level is None else level < _around(level) - QUIET
    return SustainMap(
        strings=tuple(string.name for string in strings),
        nominal=f[..., 0],
        frequency=pair.string_root.real[..., 0] / (2 * np.pi),
        decay_time=decay,
        early_decay_time=early,
        level=level,
        short=part < SHORT,
        soft=soft,
        wolf=split > 0,
        part=part,
        split=split,
        nearest=np.take_along_axis(pair.peak, worst[..., None], axis=-1)[..., 0],
        peaks=tuple(peaks),
        partial_frequency=pair.string_root.real / (2 * np.pi),
        partial_decay_time=LN_60 / rate,
        own_rate=own,
        bridge_rate=pull * Y.real,
        coupling=pair.coupling,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Each partial and the body's resonance that matters most to it: complex roots in rad/s, and the string's parts.

    After a pluck the body moves by `lift` (exp(i omega_1 t) - exp(i omega_2 t)) times what it would by the string's
    partial alone, where the resonance makes `share` of the admittance.
    """

    string_root: Complex
    body_root: Complex
    string_part: Complex
    body_part: Complex
    lift: Complex
    share: Real
    coupling: Real
    split: Real
    peak: Int


def coupled(f: Real, own: Real, pull: Real, Y: Complex, peaks: tuple[BodyPeak, ...]) -> Pairs:
    """Partials of strings on a body, each with the resonance that matters most to it.

    Parameters
    ----------
    f, own : arrays of one shape, Hz and 1/s
        Partials between rigid ends, and decay rates by the string's own loss.
    pull : array that broadcasts to it, N/m
        Tension over length.
    Y : complex array of the same shape, m/(s N)
        Admittance at the partials.
    peaks : tuple of BodyPeak
    """
    string = 2 * np.pi * f + 1j * own
    if not peaks:
        root, none = string + 1j * pull * Y, np.zeros_like(f)
        return Pairs(root, root, np.ones_like(root), np.zeros_like(root), root, none, none, none, np.full(f.shape, -1))
    omega = 2 * np.pi * np.array([peak.frequency for peak in peaks])
    loss = omega / (2 * np.array([peak.quality for peak in peaks]))
    mass = np.array([peak.mass for peak in peaks])
    shape = (len(peaks),) + (1,) * f.ndim
    kappa2 = pull / (2 * mass.reshape(shape))
    body = (omega + 1j * loss).reshape(shape)
    k = np.argmax(kappa2 / np.abs(body - string) ** 2, axis=0)
    kappa2 = np.take_along_axis(kappa2, k[None], axis=0)[0]
    body = (omega + 1j * loss)[k]
    # What the chosen resonance gives to first order; without it the rest of the admittance is left.
    own_Y = 1j / (2 * mass[k] * (body - 2 * np.pi * f))
    string = string + 1j * pull * (Y - own_Y)
    middle, half = (string + body) / 2, (string - body) / 2
    root = np.sqrt(half**2 + kappa2)
    # The root next to the string's own frequency has the larger part of the string's motion.
    root = np.where(np.abs(middle + root - string) <= np.abs(middle - root - string), root, -root)
    part = (string - middle + root) / (2 * root)
    coupling = np.sqrt(kappa2) / (loss[k] / 2)
    near = np.abs(2 * half.real) <= NEARNESS * np.sqrt(kappa2)
    split = np.where((coupling > 1) & near, np.abs(root.real) / np.pi, 0.0)
    # The body gives nothing back on the whole: no root decays more slowly than the string alone.
    first, second = (z.real + 1j * np.maximum(z.imag, own) for z in (middle + root, middle - root))
    lift = (string - body) / (first - second)
    share = np.minimum(np.abs(own_Y) / np.maximum(np.abs(Y), 1e-30), 1.0)
    return Pairs(first, second, part, 1 - part, lift, share, coupling, split, k)


def _times(pair: Pairs, weight: Real) -> tuple[Real, Real]:
    """Decay time and early decay time of notes, s."""
    t = np.concatenate([[0.0], np.geomspace(2e-3, LONGEST, 420)])
    shape = pair.string_root.shape[:-1]
    energy = np.zeros((*shape, len(t)))
    for j, part in enumerate(weight):
        first, second = (np.exp(1j * z[..., j, None] * t) for z in (pair.string_root, pair.body_root))
        # Only the difference of the two frequencies is left in the energy; it beats.
        motion = pair.string_part[..., j, None] * first + pair.body_part[..., j, None] * second
        energy += part * np.abs(motion) ** 2
    fallen = -10 * np.log10(np.maximum(energy, 1e-300))
    # For good: what comes later is never above.
    fallen = np.minimum.accumulate(fallen[..., ::-1], axis=-1)[..., ::-1]
    flat = fallen.reshape(-1, len(t))
    found = np.array([np.interp([60.0, 10.0], row, t) for row in flat])
    return found[:, 0].reshape(shape), 6 * found[:, 1].reshape(shape)


def _level(f: Real, pair: Pairs, pluck: float, pressure: Admittance) -> Real:
    """Level over the first `HEARD` seconds; a pluck that lets go 1 N pulls the bridge by 2 sin(n pi b) / (n pi) N.

    The body has to be set going first: near a resonance that holds the string the sound never reaches what a steady
    force of that frequency would give.
    """
    n = np.arange(1, f.shape[-1] + 1)
    steady = np.abs(2 * np.sin(n * np.pi * pluck) / (n * np.pi) * pressure(f))
    rest = 1 - pair.share
    first, second = rest * pair.string_part + pair.share * pair.lift, rest * pair.body_part - pair.share * pair.lift
    one, two = pair.string_root, pair.body_root

    def mean(z: Complex) -> Complex:
        return np.asarray(np.expm1(1j * z * HEARD) / (1j * z * HEARD))

    square = np.abs(first) ** 2 * mean(one - one.conj()) + np.abs(second) ** 2 * mean(two - two.conj())
    square += 2 * np.real(first * second.conj() * mean(one - two.conj()))
    total = np.sum(steady**2 * square.real, axis=-1) / 2
    return np.asarray(10 * np.log10(np.maximum(total, 1e-30) / REFERENCE_PRESSURE**2))


def _around(values: Real) -> Real:
    """Median of each note's neighbours on the same string, without itself."""
    n = values.shape[1]
    found = np.empty_like(values)
    for k in range(n):
        beside = [j for j in range(max(k - NEIGHBOURS, 0), min(k + NEIGHBOURS + 1, n)) if j != k] or [k]
        found[:, k] = np.median(values[:, beside], axis=1)
    return found


def _check(strings: Sequence[LossyString], length: float, n_frets: int, n_partials: int, pluck: float) -> None:
    message = ""
    if not strings:
        message = "sustain map: no string; needs one at least"
    elif not 0 < length < np.inf:
        message = f"sustain map: scale length {1e3 * length:g} mm; must be > 0"
    elif n_frets < 0 or n_partials < 1:
        message = f"sustain map: {n_frets} frets, {n_partials} partials; must be 0 or more, and 1 or more"
    elif not 0 < pluck < 1:
        message = f"sustain map: pluck at {pluck:g} of the string; must lie between 0 and 1"
    if message:
        raise DesignError(message)
