"""What is heard of a loose top or of a closed box: sound pressure at one place per force at another, over frequency.

Depends on fem/body_peaks, fem/box_matrices, fem/box_modes, fem/box_sound, fem/face_terms, fem/gas, fem/radiation,
fem/response, fem/sound_field.

The loose top is heard `ABOVE` the place that is tapped, by Rayleigh's integral: as if it closed a hole in a large wall.
That is right close to it; from afar its back would cancel much of what its front radiates at low frequencies. Its own
modes are summed, p = sum over k of i omega phi_k P_k / (omega_k^2 + i omega omega_k eta_k - omega^2), where P_k is the
pressure per velocity of mode k; its motion as a whole, and modes that were not solved for, are left out.

The box is heard one metre in front of the middle of its top (fem/sound_field).
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline

from bracedtop.fem.body_peaks import Admittance, BodyPeak, body_peaks
from bracedtop.fem.box_matrices import box_matrices
from bracedtop.fem.box_modes import solve_box
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_sound import box_field, driven_box, radiating
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.face_terms import face_deflections
from bracedtop.fem.gas import Gas
from bracedtop.fem.radiation import (
    Complex,
    Real,
    chebyshev,
    half_extent,
    interpolated,
    nodes_needed,
    pressure_at,
)
from bracedtop.fem.response import axis_pressure, bridge_admittance
from bracedtop.fem.sound_field import LISTENER, SoundField
from bracedtop.geometry.errors import DesignError

ABOVE = 0.3
"""Distance of the ear from a loose top, m; common practice, no source: held by the ear with one hand, tapped with the
other."""

BEYOND = 3.0
"""A loose top's sound is computed up to so many times its highest mode; chosen: the end is then faded out well above it
(fem/listen)."""

FADED = np.log(1e4)
"""Logarithm of the ratio by which the slowest mode falls within a period: 80 dB; chosen: below what is heard."""

SHORTEST, LONGEST = 1.0, 4.0
"""Limits of a period, s; chosen: a loose top rings for two seconds, and longer ones of very little loss are cut."""

LEAST_LOSS = 1e-4
"""Loss factor; chosen: far below any box's."""

LOWEST_PEAK = 60.0
"""Where the search for resonances of a box begins, Hz; chosen: below the lowest string's first partial."""


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """Sound pressure per force at evenly spaced frequencies from 0.

    Parameters
    ----------
    spacing : float, Hz
        Of the frequencies; one over it is the longest sound that can be made of them, s.
    pressure : (n,) complex array, Pa/N
        Time runs as exp(i omega t).
    frequencies, loss : (m,) arrays
        Modes in Hz, and their loss factors.
    lag : float, s
        Travel time of the sound.
    place : str
        Where it is heard, in words.
    """

    spacing: float
    pressure: Complex
    frequencies: Real
    loss: Real
    lag: float
    place: str

    @property
    def hz(self) -> Real:
        """Frequencies (n,)."""
        return np.asarray(self.spacing * np.arange(len(self.pressure)))

    @property
    def highest(self) -> float:
        """The last frequency, Hz."""
        return self.spacing * (len(self.pressure) - 1)

    @property
    def decays(self) -> Real:
        """Rates at which the modes' amplitudes fall, omega loss / 2, 1/s (m,)."""
        return np.asarray(np.pi * self.frequencies * self.loss)


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A box as strings meet it.

    Parameters
    ----------
    heard : Heard
        Driven at the bridge.
    admittance : (n,) complex array, m/(s N)
        At the bridge, at the same frequencies.
    peaks : tuple of BodyPeak
    """

    heard: Heard
    admittance: Complex
    peaks: tuple[BodyPeak, ...]


@dataclass(frozen=True, slots=True, eq=False)
class BoxHeard:
    """A box as strings meet it, and as it is heard when it is struck on its top.

    Parameters
    ----------
    body : Body
    places : (q, 2) array, m
    pressure : (n, q) complex array, Pa/N
        For a force at each place.
    """

    body: Body
    places: Real
    pressure: Complex


def heard_top(
    frequencies: Real, loss: Real, at_tap: Real, xy: Real, weight: Real, shapes: Real, place: Real, gas: Gas
) -> Heard:
    """What is heard of a loose top that is struck.

    Parameters
    ----------
    frequencies, loss : (m,) arrays
        Modes in Hz, and their loss factors.
    at_tap : (m,) array
        Deflection of modes of 1 kg at the struck place, outwards.
    xy : (n, 2) array, m
        Points over the top.
    weight : (n,) array, m^2
        Areas for which they stand.
    shapes : (m, n) array
        Deflections there.
    place : (2,) array, m
        Over which the ear is.
    gas : Gas

    Raises
    ------
    DesignError
        If there is no mode, or a frequency or a loss is not positive.
    """
    if not len(frequencies) or not (frequencies > 0).all() or not (loss > 0).all():
        message = "sound of a top: modes need a frequency and a loss; every one must be > 0"
        raise DesignError(message)
    spacing = _spacing(frequencies, loss)
    n = int(np.ceil(BEYOND * float(frequencies.max()) / spacing)) + 1
    hz = np.asarray(spacing * np.arange(n), dtype=np.float64)
    ear = np.array([[*place, ABOVE]])
    lag = ABOVE / gas.speed
    highest = float(hz[-1])
    reach = half_extent(xy) + float(np.linalg.norm(place - xy.mean(axis=0)))
    at = chebyshev(2 * nodes_needed(np.pi * highest / gas.speed * reach), highest)
    known = np.array(
        [pressure_at(float(f), xy, weight, shapes.T, ear, gas)[0] * np.exp(2j * np.pi * f * lag) / (1j * f) for f in at]
    )
    P = 1j * (hz * np.exp(-2j * np.pi * hz * lag))[:, None] * interpolated(at, known, hz)
    omega, own = 2.0 * np.pi * hz[:, None], 2.0 * np.pi * frequencies
    velocity = 1j * omega * at_tap / (own**2 + 1j * omega * own * loss - omega**2)
    words = f"{100 * ABOVE:.0f} cm above the tapped place"
    return Heard(spacing, np.asarray((P * velocity).sum(axis=1)), frequencies, loss, lag, words)


def heard_box(
    model: BoxModel,
    values: BoxValues | None = None,
    *,
    field: SoundField | None = None,
    places: Real | None = None,
) -> BoxHeard:
    """What is heard of a box driven at its bridge, and struck at some places of its top.

    Parameters
    ----------
    model : BoxModel
    values : BoxValues, optional
    field : SoundField, optional
        As for `fem.box_sound.driven_box`.
    places : (q, 2) array, m, optional
        The bridge alone if not given.

    Raises
    ------
    AccuracyError
        If a solution does not pass its checks.
    MeshError
        If a place lies off the top.
    """
    values = values or BoxValues()
    if field is None:
        field = box_field(model, values)
    places = np.zeros((0, 2)) if places is None else np.asarray(places, dtype=float)
    modes = radiating(model, solve_box(model, values), field)
    driven = driven_box(model, values, field)
    loss = np.maximum(modes.loss, LEAST_LOSS)
    audible = modes.frequencies > LOWEST_PEAK / 2.0
    spacing = _spacing(modes.frequencies[audible], loss[audible])
    hz = np.asarray(spacing * np.arange(1, int(field.highest / spacing) + 1), dtype=np.float64)
    force = np.zeros((1 + len(places), model.size))
    force[1:, model.parts["top"]] = face_deflections(model.top, places)
    force = force[:, box_matrices(model, values).free]
    force[0] = driven.force
    pressure = np.concatenate([np.zeros((1, len(force))), axis_pressure(driven, hz, force)])
    words = f"{LISTENER:g} m in front of the middle of the top"
    heard = Heard(spacing, pressure[:, 0], modes.frequencies, loss, LISTENER / field.gas.speed, words)
    Y = np.concatenate([[0j], bridge_admittance(driven)(hz)])
    body = Body(heard, Y, body_peaks(between(hz, Y[1:]), LOWEST_PEAK, float(hz[-1])))
    return BoxHeard(body, places, pressure[:, 1:])


def heard_at(box: BoxHeard, place: Real) -> Heard:
    """What is heard of a box struck at the one of its places that is nearest to a place (2,) in m."""
    k = int(np.argmin(np.linalg.norm(box.places - place, axis=1)))
    return replace(box.body.heard, pressure=box.pressure[:, k])


def admittance_of_body(body: Body) -> Admittance:
    """The admittance of a body as a function of frequency in Hz, up to its highest."""
    return between(body.heard.hz, body.admittance)


def between(hz: Real, values: Complex) -> Admittance:
    """A curve (n,) at close frequencies (n,), as a function."""
    spline = CubicSpline(hz, values)
    return lambda f: np.asarray(spline(f), dtype=np.complex128)


def _spacing(frequencies: Real, loss: Real) -> float:
    """One over a period in which the slowest mode has faded, in whole twentieths of a second."""
    period = FADED / float((np.pi * frequencies * loss).min())
    return 20.0 / float(np.ceil(20.0 * min(max(period, SHORTEST), LONGEST)))
