"""Sound that a plane surface radiates: Rayleigh's integral.

Depends on fem/gas. Assumption: the surface lies in an infinite rigid plane (baffle) and radiates into the half-space in
front of it. A face's points and those of the pistons of air in its holes are sources of one plane. Sources are points
xy (n, 2) in m that carry the areas weight (n,) in m^2, so that a sum over them is an integral over the surface; shapes
(n, m) are the outward velocities there per unit of m generalised velocities. Time runs as exp(i omega t).

References
----------
L. E. Kinsler, A. R. Frey, A. B. Coppens, J. V. Sanders, "Fundamentals of Acoustics", 4th ed. (2000), ch. 7. A. D.
Pierce, "Acoustics" (1989), 5-2 (Rayleigh's integral) and 4-2 (multipoles). F. Fahy, P. Gardonio, "Sound and Structural
Vibration", 2nd ed. (2007), ch. 3 (radiation resistance matrices). All recalled.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.gas import Gas

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Kind = TypeVar("Kind", np.float64, np.complex128)

KA = 6.0
"""Wavenumber times the surface's half-diagonal up to which directions are provided if nothing else is said; chosen:
1300 Hz for a box half a metre long."""

MARGIN = 9
"""Directions beyond the bandwidth of the far field; chosen: powers are then within 1e-9 up to a ka of 12."""

_BLOCK = 2_000_000
"""Entries of an array of distances that are held at a time; chosen: 16 MB."""


@dataclass(frozen=True, slots=True)
class Directions:
    """Directions into the half-space, and the solid angle for which each stands.

    Parameters
    ----------
    cosines : (q, 2) array
        Direction cosines along x and y; the third is positive.
    solid_angle : (q,) array, sr
        Sum 2 pi.
    """

    cosines: Real
    solid_angle: Real


def hemisphere(ka: float = KA) -> Directions:
    """Directions that integrate the product of two far fields of real shapes.

    Gauss points between the plane and the normal, evenly turned around the normal through half a turn only: the far
    field of a real shape in the opposite direction is the conjugate one, and their products have the same real part.

    Parameters
    ----------
    ka : float
        Wavenumber times the largest distance of a source from the middle of all.
    """
    n = 2 * int(np.ceil((ka + MARGIN) / 2))
    mu, share = np.polynomial.legendre.leggauss(n)
    mu, share = mu[n // 2 :], share[n // 2 :]
    turn = np.pi * np.arange(n) / n
    sine = np.sqrt(1.0 - mu**2)[:, None]
    cosines = np.stack([sine * np.cos(turn), sine * np.sin(turn)], axis=-1).reshape(-1, 2)
    return Directions(cosines, np.repeat(share, n) * (2.0 * np.pi / n))


def far_field(hz: float, xy: Real, weight: Real, shapes: Real, cosines: Real, gas: Gas) -> Complex:
    """Volume flow as it is heard from afar, per unit of each generalised velocity.

    The pressure at a distance d is i omega rho exp(-i k d) / (2 pi d) times it.

    Parameters
    ----------
    hz : float
    xy : (n, 2) array, m
    weight : (n,) array, m^2
    shapes : (n, m) array
    cosines : (q, 2) array
        Direction cosines along x and y.
    gas : Gas

    Returns
    -------
    (q, m) complex array, m^3/s per unit
    """
    k = 2.0 * np.pi * hz / gas.speed
    phase = k * cosines @ xy.T
    moved = weight[:, None] * shapes
    return np.asarray(np.cos(phase) @ moved + 1j * (np.sin(phase) @ moved))


def resistance(hz: float, xy: Real, weight: Real, shapes: Real, gas: Gas, directions: Directions | None = None) -> Real:
    """Radiation resistance matrix R from the far field; the power of amplitudes v is v^H R v / 2.

    Parameters
    ----------
    hz : float
    xy : (n, 2) array, m
    weight : (n,) array, m^2
    shapes : (n, m) array
        Real.
    gas : Gas
    directions : Directions, optional
        Chosen for the frequency and the extent of the sources if not given.

    Returns
    -------
    (m, m) array, N s/m per unit of the shapes
        Symmetric, positive semidefinite.

    References
    ----------
    Power through a large hemisphere: W = rho c k^2 / (8 pi^2) times the integral of |far field|^2 over solid angle.
    """
    k = 2.0 * np.pi * hz / gas.speed
    chosen = hemisphere(k * half_extent(xy)) if directions is None else directions
    # Distances from the middle keep the phases, and with them the rounding of short shapes, small.
    field = far_field(hz, xy - middle(xy), weight, shapes, chosen.cosines, gas)
    scaled = np.sqrt(chosen.solid_angle)[:, None] * field
    both = np.concatenate([scaled.real, scaled.imag])
    return np.asarray(gas.density * gas.speed * k**2 / (4.0 * np.pi**2) * (both.T @ both))


def resistance_double_sum(hz: float, xy: Real, weight: Real, shapes: Real, gas: Gas) -> Real:
    """Radiation resistance matrix from the pressure in phase with the velocity on the surface itself; slow, for checks.

    Returns
    -------
    (m, m) array, N s/m per unit of the shapes

    References
    ----------
    R = omega rho / (2 pi) times the double integral of sin(k r) / r over both shapes: the real part of Rayleigh's
    integral.
    """
    omega = 2.0 * np.pi * hz
    k = omega / gas.speed
    moved = weight[:, None] * shapes
    R = np.zeros((shapes.shape[1], shapes.shape[1]))
    rows = max(_BLOCK // len(xy), 1)
    for start in range(0, len(xy), rows):
        part = slice(start, start + rows)
        r = np.linalg.norm(xy[part, None] - xy[None], axis=2)
        R += moved[part].T @ (np.sinc(k * r / np.pi) @ moved)
    R *= gas.density * omega * k / (2.0 * np.pi)
    return np.asarray((R + R.T) / 2.0)


def resistances(hz: Real, xy: Real, weight: Real, shapes: Real, gas: Gas) -> Real:
    """Radiation resistance matrices at many frequencies, interpolated between few.

    R / omega^2 is an entire function of the squared wavenumber, so a polynomial in it through Chebyshev points follows
    it to about nine digits.

    Parameters
    ----------
    hz : (f,) array
        Positive, in any order.

    Returns
    -------
    (f, m, m) array, N s/m per unit of the shapes
    """
    highest = float(np.max(hz))
    n = nodes_needed(2.0 * np.pi * highest / gas.speed * half_extent(xy))
    at = chebyshev(n, highest**2)
    known = np.array([resistance(np.sqrt(s), xy, weight, shapes, gas) / s for s in at])
    return np.asarray(hz[:, None, None] ** 2 * interpolated(at, known, hz**2), dtype=np.float64)


def power(R: Real, velocity: Complex | Real) -> float:
    """Radiated power of amplitudes (m,) of the generalised velocities, W."""
    return float(np.real(np.conj(velocity) @ R @ velocity)) / 2.0


def efficiency(R: Real, weight: Real, shapes: Real, velocity: Complex | Real, gas: Gas) -> float:
    """Radiated power over rho c S <v^2>, the mean square taken over the surface and over time."""
    square = float((weight * np.abs(shapes @ velocity) ** 2).sum()) / 2.0
    return power(R, velocity) / (gas.density * gas.speed * square)


def volume_flow(weight: Real, shapes: Real) -> Real:
    """Outward volume flow (m,) per unit of each generalised velocity, m^3/s per unit."""
    return np.asarray(weight @ shapes)


def pressure_at(hz: float, xy: Real, weight: Real, shapes: Real, receivers: Real, gas: Gas) -> Complex:
    """Sound pressure at points in front of the baffle, near or far, per unit of each generalised velocity.

    Parameters
    ----------
    hz : float
    xy : (n, 2) array, m
    weight : (n,) array, m^2
    shapes : (n, m) array
    receivers : (q, 3) array, m
        z from the surface outwards; should be above the distance between sources.
    gas : Gas

    Returns
    -------
    (q, m) complex array, Pa per unit

    References
    ----------
    p = i omega rho / (2 pi) times the integral of v exp(-i k r) / r (Rayleigh; Pierce 1989, 5-2).
    """
    sources = np.column_stack([xy, np.zeros(len(xy))])
    return 2.0 * free_pressure_at(hz, sources, weight, shapes, receivers, gas)


def free_pressure_at(hz: float, xyz: Real, weight: Real, shapes: Real, receivers: Real, gas: Gas) -> Complex:
    """Sound pressure of the same sources without a baffle, each a simple source in free space.

    Right for a body that is small against the wavelength, whose faces then act by the volume that each moves; the
    shadow of the body is left out.

    Parameters
    ----------
    xyz : (n, 3) array, m
    receivers : (q, 3) array, m

    Returns
    -------
    (q, m) complex array, Pa per unit

    References
    ----------
    p = i omega rho Q exp(-i k r) / (4 pi r) (Pierce 1989, 4-1).
    """
    omega = 2.0 * np.pi * hz
    r = np.linalg.norm(receivers[:, None] - xyz[None], axis=2)
    green = np.exp(-1j * omega / gas.speed * r) / (4.0 * np.pi * r)
    return np.asarray(1j * omega * gas.density * (green @ (weight[:, None] * shapes)))


def piston(xy: tuple[float, float], radius: float, n_rings: int = 4) -> tuple[Real, Real]:
    """Points (n, 2) in m and areas (n,) in m^2 of a disc.

    Gauss points along the radius, evenly turned; exact for polynomials of degree 2 `n_rings` - 1.
    """
    s, share = np.polynomial.legendre.leggauss(n_rings)
    n_turns = 2 * n_rings
    r = radius * np.sqrt((s + 1.0) / 2.0)
    turn = 2.0 * np.pi * np.arange(n_turns) / n_turns
    points = np.stack([r[:, None] * np.cos(turn), r[:, None] * np.sin(turn)], axis=-1).reshape(-1, 2)
    return points + np.asarray(xy), np.repeat(share, n_turns) * (np.pi * radius**2 / (2.0 * n_turns))


def middle(xy: Real) -> Real:
    """Middle (2,) of the rectangle around the sources, m."""
    return np.asarray((xy.min(axis=0) + xy.max(axis=0)) / 2.0)


def half_extent(xy: Real) -> float:
    """Largest distance of a source from the middle of all, m."""
    return float(np.linalg.norm(xy - middle(xy), axis=1).max())


def nodes_needed(ka: float) -> int:
    """Chebyshev points that carry R / omega^2 up to this ka to eight digits or more (measured up to 12)."""
    return int(np.ceil(ka)) + 8


def chebyshev(n: int, highest: float) -> Real:
    """Chebyshev points (n,) of the first kind between 0 and `highest`."""
    return np.asarray(highest * (1.0 + np.cos(np.pi * (np.arange(n) + 0.5) / n)) / 2.0)


def interpolated(at: Real, values: NDArray[Kind], wanted: Real) -> NDArray[Kind]:
    """Polynomial through values (n, ...) at Chebyshev points (n,), at `wanted` (f,); (f, ...)."""
    span = at.max() + at.min()  # The points lie evenly about half of it.
    t, s = 2.0 * at / span - 1.0, 2.0 * wanted / span - 1.0
    V = np.polynomial.chebyshev.chebvander(t, len(at) - 1)
    W = np.polynomial.chebyshev.chebvander(s, len(at) - 1) @ np.linalg.inv(V)
    return np.asarray(np.tensordot(W, values, axes=1))
