"""The curve of a guitar-like body from its length, bouts and waist. Depends on geometry/errors.

Half of it is made of two end arcs and two flanks. An end arc is given by its radius of curvature as a function of
the direction, which is positive, so that the arc is convex; a flank is a half width over x whose slope rises once
and falls once. Direction and curvature are continuous everywhere, and the bouts and the waist are the only extrema.
"""

from dataclasses import dataclass
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BPoly

from bracedtop.geometry.errors import DesignError

ROUND_ENDS = (0.4, 2.5)
"""Allowed ratio of an end arc's length along x to its half width; chosen: beyond it the radius of curvature, a
series of three terms, does not stay positive."""

TIGHTEST = 0.1
"""Least radius of curvature of an end arc over the smaller of its two extents; chosen: a body has no corner there."""

SHALLOWEST = 60.0
"""Largest curvature at a flank's bout, times span squared over drop; chosen: it bounds the polynomial's degree."""

STEEPEST = 0.5
"""Least span of a flank over its drop; chosen: steeper ones turn as sharply as corners."""

COSINE = float(np.pi**2 / 2)
"""Curvature at the crest of a cosine, times span squared over drop."""

_FINE = 2000
"""Pieces in which a flank or an arc is computed before it is sampled evenly."""


@dataclass(frozen=True, slots=True)
class _EndArc:
    """Quarter of a rounded end: R(psi) = a + b cos 2 psi + c cos 4 psi, psi turning from across to along.

    The integrals of R sin psi and R cos psi over the quarter are its length along x and its half width.
    """

    a: float
    b: float
    c: float

    @property
    def bout_radius(self) -> float:
        return self.a - self.b + self.c

    def points(self) -> NDArray[np.float64]:
        """Points from the body's end (0, 0) to the bout, both included."""
        psi = np.linspace(0.0, np.pi / 2, _FINE + 1)
        x, y = self.a * (1 - np.cos(psi)), self.a * np.sin(psi)
        for k, factor in ((2, self.b), (4, self.c)):
            x += factor / 2 * ((1 - np.cos((k + 1) * psi)) / (k + 1) - (1 - np.cos((k - 1) * psi)) / (k - 1))
            y += factor / 2 * (np.sin((k + 1) * psi) / (k + 1) + np.sin((k - 1) * psi) / (k - 1))
        return np.column_stack([x, y])


def half_body(
    body_length: float,
    widths: tuple[float, float, float],
    positions: tuple[float, float, float],
    spacing: float,
) -> NDArray[np.float64]:
    """Points of half a body's curve from its tail end (0, 0) over y > 0 to its neck end (body_length, 0).

    Parameters
    ----------
    body_length : float, m
    widths, positions : three floats each, m
        Of lower bout, waist and upper bout.
    spacing : float, m
        Distance of the points.

    Raises
    ------
    DesignError
        If such a body cannot be drawn; see `body_outline`.
    """
    _check(body_length, widths, positions)
    x, y = np.array(positions), np.array(widths) / 2
    spans, drops = np.diff(x), np.array([y[0] - y[1], y[2] - y[1]])
    natural = COSINE * drops / spans**2
    tail = _end_arc(x[0], y[0], natural[0])
    neck = _end_arc(body_length - x[2], y[2], natural[1])
    _check_waist(widths, spans, (tail, neck))
    at_waist = min(np.sqrt(natural[0] * natural[1]), *(2 * natural))
    lower = _flank(spans[0], drops[0], 1 / tail.bout_radius, at_waist)
    upper = _flank(spans[1], drops[1], 1 / neck.bout_radius, at_waist)
    nodes = np.array([[0.0, 0.0], *zip(x, y, strict=True), [body_length, 0.0]])
    stretches = (
        tail.points(),
        nodes[1] + lower * [1, -1],
        (nodes[3] - upper)[::-1],
        (nodes[4] + neck.points() * [-1, 1])[::-1],
    )
    # The nodes as given, so that the widths are met to the last digit.
    parts = [nodes[:1]]
    for stretch, end in zip(stretches, nodes[1:], strict=True):
        parts += [_evenly(stretch, spacing)[1:-1], end[None]]
    return np.concatenate(parts)


def _end_arc(length: float, half: float, curvature: float) -> _EndArc:
    """End arc whose curvature at the bout comes near to that of the flank beyond it."""
    mean, b = (length + half) / 2, 1.5 * (half - length)
    # R >= least in every direction bounds c, which R is linear in.
    least = TIGHTEST * min(length, half)
    u = np.cos(np.linspace(0.0, np.pi, 181))
    slope = 1 / 15 + 2 * u**2 - 1
    bounds = (least - mean - b * u) / slope
    low, high = float(bounds[slope > 0].max()), float(bounds[slope < 0].min())
    # R at the bout is mean - b + 16/15 c; between the arc's own one and the flank's.
    own = mean - b + 16 / 15 * min(max(0.0, low), high)
    wanted = np.sqrt(own / curvature)
    c = float(np.clip((wanted - mean + b) * 15 / 16, low, high))
    return _EndArc(mean + c / 15, b, c)


def _flank(span: float, drop: float, at_bout: float, at_waist: float) -> NDArray[np.float64]:
    """Points of a flank from its bout at (0, 0) to its waist at (span, drop), with given curvatures at both.

    The slope is a Bernstein polynomial whose coefficients rise, stay and fall, so that it has one maximum. Its
    degree is the least at which the curvatures leave them that order.
    """
    c0, c1 = at_bout * span**2 / drop, at_waist * span**2 / drop
    n = 4
    while n * (n + 1) - c0 - c1 < max(c0, c1) * (n - 3):
        n += 1
    plateau = (n + 1 - (c0 + c1) / n) / (n - 3)
    slope = BPoly(np.array([[0.0, c0 / n, *[plateau] * (n - 3), c1 / n, 0.0]]).T, [0.0, 1.0])
    t = np.linspace(0.0, 1.0, _FINE + 1)
    return np.column_stack([span * t, drop * slope.antiderivative()(t)])


def _evenly(curve: NDArray[np.float64], spacing: float) -> NDArray[np.float64]:
    """The curve at equal distances of about `spacing` along it, ends included."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(curve, axis=0).T))])
    at = np.linspace(0.0, s[-1], max(int(np.ceil(s[-1] / spacing)), 2) + 1)
    return np.column_stack([np.interp(at, s, curve[:, 0]), np.interp(at, s, curve[:, 1])])


def _check(length: float, widths: tuple[float, float, float], positions: tuple[float, float, float]) -> None:
    names = ("lower_bout", "waist", "upper_bout")
    given = {"body_length": length}
    given |= dict(zip(names, widths, strict=True))
    given |= {f"{name}_at": at for name, at in zip(names, positions, strict=True)}
    for name, value in given.items():
        if not (np.isfinite(value) and value > 0):
            _refuse(name, value, "must be > 0")
    for i, before in ((1, 0), (2, 1)):
        if positions[i] <= positions[before]:
            allowed = f"must be greater than {names[before]}_at_mm = {1e3 * positions[before]:g}"
            _refuse(f"{names[i]}_at", positions[i], allowed)
    if positions[2] >= length:
        _refuse("upper_bout_at", positions[2], f"must be less than body_length_mm = {1e3 * length:g}")
    for i, extent in ((0, positions[0]), (2, length - positions[2])):
        low, high = (1e3 * ratio * widths[i] / 2 for ratio in ROUND_ENDS)
        if not low <= 1e3 * extent <= high:
            end = "tail" if i == 0 else "neck"
            allowed = f"must be {low:.1f} to {high:.1f} mm from the {end} end, 0.4 to 2.5 times half of its bout"
            _refuse(f"{names[i]}_at", positions[i], allowed)
    for i in (0, 2):
        drop = (widths[i] - widths[1]) / 2
        if drop <= 0:
            _refuse("waist", widths[1], f"must be less than {names[i]}_mm = {1e3 * widths[i]:g}")
        if abs(positions[i] - positions[1]) < STEEPEST * drop:
            allowed = f"must be at least {1e3 * STEEPEST * drop:.1f} mm away from {names[i]}_at_mm"
            _refuse("waist_at", positions[1], f"{allowed} for this change of width")


def _check_waist(widths: tuple[float, float, float], spans: NDArray[np.float64], arcs: tuple[_EndArc, _EndArc]) -> None:
    for name, width, span, arc in zip(("lower", "upper"), widths[::2], spans, arcs, strict=True):
        largest = width - 2 * float(span) ** 2 / (SHALLOWEST * arc.bout_radius)
        if widths[1] > largest:
            allowed = f"must be at most {1e3 * largest:.1f} beside {name}_bout_mm = {1e3 * width:g} to be a waist"
            _refuse("waist", widths[1], allowed)


def _refuse(name: str, value: float, allowed: str) -> NoReturn:
    message = f"outline.{name}_mm = {1e3 * value:g}: {allowed}"
    raise DesignError(message)
