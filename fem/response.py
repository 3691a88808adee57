"""What a force at the bridge does: motion, sound, and where its power goes.

Depends on fem/body_peaks, fem/radiation, fem/sound_field, geometry/errors. Time runs as exp(i omega t);
forces, velocities and pressures are rms, so that a quotient "per newton" is one of amplitudes too. With the loss
stiffness H (a loss factor times what stiffness it belongs to) and the radiation resistance R of both faces,

    (K + i H + i omega R - omega^2 M) x = g,    Y = i omega g^T x,

of which power per squared newton Re Y = omega x^H H x + omega^2 x^H R x. The air outside resists by R only: what mass
it adds to the faces has to be in M.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.linalg

from bracedtop.fem.body_peaks import Admittance
from bracedtop.fem.radiation import Complex, Real, resistance
from bracedtop.fem.sound_field import SoundField, pressures_in, resistances_in
from bracedtop.geometry.errors import AccuracyError

REACH = 1.6
"""Modes are taken up to so many times the highest frequency that is asked for; chosen: a voice's levels are then within
0.01 dB of those with all modes."""

SHIFT = (2.0 * np.pi * 15.0) ** 2
"""Added to all eigenvalues, 1/s^2, so that a free box has a definite stiffness; chosen: far below its modes."""

LINES = 500
"""Frequencies of a curve."""

ROUND_A_PEAK = np.array([-4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 4.0])
"""Frequencies added around a resonance, in halves of its width at half power; chosen."""

REFERENCE = 20e-6
"""Pa (ISO 1683)."""

_AT_A_TIME = 250
"""Frequencies that are solved together; chosen: some tens of megabytes."""

IN_FRONT, BEHIND = "sound in front", "sound behind"


@dataclass(frozen=True, slots=True, eq=False)
class Driven:
    """Everything that moves, and the force that moves it.

    Parameters
    ----------
    K, M : (N, N) arrays
    losses : mapping of str to (N, N) array
        Loss stiffness of each part, symmetric and positive semidefinite.
    force : (N,) array
        Motion of the driven point, outwards, of each unknown.
    field : SoundField
    """

    K: Real
    M: Real
    losses: Mapping[str, Real]
    force: Real
    field: SoundField


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """Answer to a force of 1 N at the bridge, by frequency.

    Parameters
    ----------
    hz : (f,) array
    admittance : (f,) complex array, s/kg
        Velocity of the bridge.
    on_axis : (f,) complex array, Pa/N
        Sound pressure `LISTENER` before the middle of the top.
    cone : (f,) array, Pa^2/N^2
        Mean-square pressure in the cone of half-angle `CONE` at that distance.
    ear : (f,) complex array, Pa/N
        At `EAR`: top, holes and back as simple sources without a baffle, with what each moves as part of the whole box.
    flows : mapping of str to (f,) complex array, m^3/s/N
        Outward volume flow of "top", "hole" and "back".
    shares : mapping of str to (f,) array
        Parts of the power put in: sound in front, sound behind, and each loss; sum 1.
    """

    hz: Real
    admittance: Complex
    on_axis: Complex
    cone: Real
    ear: Complex
    flows: Mapping[str, Complex]
    shares: Mapping[str, Real]

    @property
    def power(self) -> Real:
        """Power put in, W/N^2 (f,)."""
        return np.asarray(self.admittance.real)

    @property
    def sound_power(self) -> Real:
        """Radiated power, W/N^2 (f,)."""
        return np.asarray(self.power * (self.shares[IN_FRONT] + self.shares[BEHIND]))

    @property
    def admittance_level(self) -> Real:
        """Squared admittance, dB re 1 s/kg (f,)."""
        return decibels(np.abs(self.admittance) ** 2)

    @property
    def pressure_level(self) -> Real:
        """Mean square over the cone, dB re 20 uPa/N (f,)."""
        return decibels(self.cone / REFERENCE**2)


def decibels(square: Real) -> Real:
    """Ten times the logarithm of a squared quantity."""
    return np.asarray(10.0 * np.log10(np.maximum(square, 1e-30)))


def frequency_grid(low: float, high: float, n: int = LINES, resonances: tuple[Real, Real] | None = None) -> Real:
    """Frequencies at equal ratios, with more around resonances; rising, Hz.

    Parameters
    ----------
    low, high : float, Hz
    n : int
    resonances : pair of (m,) arrays, optional
        Frequencies in Hz and loss factors.
    """
    grid = np.geomspace(low, high, n)
    if resonances is None:
        return np.asarray(grid)
    at, loss = resonances
    extra = (at[:, None] * (1.0 + 0.5 * loss[:, None] * ROUND_A_PEAK)).ravel()
    return np.asarray(np.unique(np.concatenate([grid, extra[(extra > low) & (extra < high)]])))


def radiation_loss(field: SoundField, frequencies: Real, vectors: Real, M: Real) -> Real:
    """Loss factors (m,) by radiation of modes (N, m): phi^T R(omega) phi / (omega phi^T M phi)."""
    found = np.zeros(len(frequencies))
    known = frequencies <= field.highest
    for R in resistances_in(field, frequencies[known], vectors[:, known]):
        found[known] += np.einsum("mmm->m", R)
    for k in np.flatnonzero(~known):
        for one in (field.front, field.back):
            shape = one.shapes @ vectors[:, [k]]
            found[k] += resistance(float(frequencies[k]), one.xyz[:, :2], one.weight, shape, field.gas)[0, 0]
    return np.asarray(found / (2.0 * np.pi * frequencies * np.einsum("im,im->m", vectors, M @ vectors)))


def respond(driven: Driven, hz: Real, reach: float = REACH) -> Response:
    """Answer at frequencies (f,) in Hz, in the real modes up to `reach` times the highest, all losses between them.

    What the modes that are left out give way statically is kept: the box's sag under the force is one vector more.

    Raises
    ------
    AccuracyError
        If the matrices cannot be reduced, or a frequency lies beyond the table of the sound field.
    """
    B = basis(driven, reach * float(hz.max()))
    losses = {name: B.T @ H @ B for name, H in driven.losses.items()}
    field, omega = driven.field, 2.0 * np.pi * hz
    velocity, R = _velocities(driven, B, hz)
    admittance = velocity @ (B.T @ driven.force)
    shares = {
        name: _quadratic(part, velocity) / admittance.real for name, part in zip((IN_FRONT, BEHIND), R, strict=True)
    }
    for name, part in losses.items():
        shares[name] = _quadratic(part, velocity) / omega / admittance.real
    front, back = field.front, field.back
    flows = {
        "top": velocity @ ((front.weight * ~front.is_hole) @ front.shapes @ B),
        "hole": velocity @ ((front.weight * front.is_hole) @ front.shapes @ B),
        "back": velocity @ (back.weight @ back.shapes @ B),
    }
    pressure = np.einsum("fqr,fr->fq", pressures_in(field, hz, B), velocity)
    cone = np.abs(pressure[:, 1:-1]) ** 2 @ field.cone
    return Response(hz, admittance, pressure[:, 0], cone, pressure[:, -1], flows, shares)


def bridge_admittance(driven: Driven, reach: float = REACH) -> Admittance:
    """Admittance at the bridge in s/kg as a function of frequency in Hz, an array of any shape.

    Raises
    ------
    AccuracyError
        As `respond`, now or when it is called.
    """
    B = basis(driven, reach * driven.field.highest)
    g = B.T @ driven.force

    def admittance(hz: Real) -> Complex:
        return np.asarray(_velocities(driven, B, hz)[0] @ g)

    return _in_parts(admittance)


def bridge_pressure(driven: Driven, reach: float = REACH) -> Admittance:
    """Sound pressure, rms over the cone in front, in Pa/N as a function of frequency in Hz, an array of any shape.

    Above the table of the sound field it is 0.

    Raises
    ------
    AccuracyError
        If the matrices cannot be reduced.
    """
    B = basis(driven, reach * driven.field.highest)

    def pressure(hz: Real) -> Complex:
        known = np.minimum(hz, driven.field.highest)
        velocity = _velocities(driven, B, known)[0]
        p = np.einsum("fqr,fr->fq", pressures_in(driven.field, known, B)[:, 1:-1], velocity)
        return np.where(hz <= driven.field.highest, np.sqrt(np.abs(p) ** 2 @ driven.field.cone), 0j)

    return _in_parts(pressure)


def axis_pressure(driven: Driven, hz: Real, force: Real, reach: float = REACH) -> Complex:
    """Sound pressure before the middle of the top, with its phase, for unit forces at some places, Pa/N.

    Parameters
    ----------
    driven : Driven
        Its own force is not used but for the sag that the basis holds.
    hz : (f,) array, Hz
    force : (q, N) array
        Motion of each place, along its force, of each unknown.

    Returns
    -------
    (f, q) complex array

    Raises
    ------
    AccuracyError
        If the matrices cannot be reduced, or a frequency lies beyond the table of the sound field.
    """
    B = basis(driven, reach * driven.field.highest)
    g = force @ B
    found = np.empty((len(hz), len(g)), dtype=np.complex128)
    for start in range(0, len(hz), _AT_A_TIME):
        part = slice(start, start + _AT_A_TIME)
        A, _ = _dynamic(driven, B, hz[part])
        # The matrices are symmetric: what is heard at one place of a force at each is solved from the ear back.
        ear = pressures_in(driven.field, hz[part], B)[:, 0]
        back = np.linalg.solve(A, ear[..., None])[..., 0]
        found[part] = 2j * np.pi * hz[part, None] * (back @ g.T)
    return found


def _in_parts(curve: Admittance) -> Admittance:
    """The same function of many frequencies, some at a time."""

    def whole(hz: Real) -> Complex:
        flat = np.asarray(hz, dtype=np.float64).ravel()
        parts = [curve(flat[i : i + _AT_A_TIME]) for i in range(0, len(flat), _AT_A_TIME)]
        return np.concatenate(parts).reshape(np.shape(hz))

    return whole


def direct(driven: Driven, hz: float) -> Complex:
    """All unknowns (N,) at one frequency without any reduction, m/N; slow, for checks."""
    omega = 2.0 * np.pi * hz
    faces = (driven.field.front, driven.field.back)
    R = np.zeros_like(driven.K)
    for one in faces:
        R += resistance(hz, one.xyz[:, :2], one.weight, one.shapes, driven.field.gas)
    H = sum(driven.losses.values(), np.zeros_like(driven.K))
    return np.asarray(np.linalg.solve(driven.K + 1j * (H + omega * R) - omega**2 * driven.M, driven.force))


def basis(driven: Driven, highest: float) -> Real:
    """Modes up to `highest` in Hz and the sag under the force, (N, m)."""
    shifted = driven.K + SHIFT * driven.M
    # The largest mass per stiffness: the last vectors of a basis of plates may have hardly any mass.
    least = 1.0 / ((2.0 * np.pi * highest) ** 2 + SHIFT)
    try:
        factor = scipy.linalg.cho_factor(shifted)
        _, modes = scipy.linalg.eigh(driven.M, shifted, subset_by_value=[least, np.inf], driver="gvx")
    except np.linalg.LinAlgError as error:
        message = f"response: stiffness and mass cannot be reduced ({error})"
        raise AccuracyError(message) from error
    sag = scipy.linalg.cho_solve(factor, driven.force)
    whole = float(driven.force @ sag)
    sag -= modes @ (modes.T @ driven.force)  # Modes have phi^T shifted phi = 1.
    size = float(sag @ shifted @ sag)
    if size <= 1e-12 * whole:
        return np.asarray(modes)
    return np.column_stack([modes, sag / np.sqrt(size)])


def _velocities(driven: Driven, B: Real, hz: Real) -> tuple[Complex, tuple[Real, Real]]:
    """Velocities (f, m) of a basis's amplitudes per newton, and its radiation resistances in front and behind."""
    A, R = _dynamic(driven, B, hz)
    g = B.T @ driven.force
    x = np.linalg.solve(A, np.broadcast_to(g, (len(hz), len(g)))[..., None])[..., 0]
    return np.asarray(2j * np.pi * hz[:, None] * x, dtype=np.complex128), R


def _dynamic(driven: Driven, B: Real, hz: Real) -> tuple[Complex, tuple[Real, Real]]:
    """Dynamic stiffness (f, m, m) in a basis, and the radiation resistances in front and behind in it."""
    low, high = float(hz.min()), float(hz.max())
    if low <= 0 or high > driven.field.highest:
        message = f"response: {low:g} to {high:g} Hz; must be > 0 and at most {driven.field.highest:g} Hz"
        raise AccuracyError(message)
    K, M = B.T @ driven.K @ B, B.T @ driven.M @ B
    H = sum((B.T @ part @ B for part in driven.losses.values()), np.zeros_like(K))
    R = resistances_in(driven.field, hz, B)
    omega = 2.0 * np.pi * hz[:, None, None]
    return np.asarray(K + 1j * H + 1j * omega * (R[0] + R[1]) - omega**2 * M), R


def _quadratic(matrices: Real, vectors: Complex) -> Real:
    """v^H A v (f,) of vectors (f, m) and one matrix (m, m) or one each (f, m, m)."""
    return np.asarray(np.einsum("fi,fi->f", vectors.conj(), (matrices @ vectors[..., None])[..., 0]).real)
