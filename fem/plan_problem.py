"""What a plan may choose and what bounds it: depths at the stations of all braces and off the edge ring.

Depends on fem/parameter, fem/plan_limits, fem/prior, fem/target, geometry.

Depths are counted from the present top, are linear between stations and never negative: wood only comes off.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from bracedtop.fem.parameter import Parameter, what_if_stations
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.prior import ALONG
from bracedtop.fem.target import Goal
from bracedtop.geometry.cut import EDGE_RING, Cut
from bracedtop.geometry.design import Design

Array = np.ndarray
Tones = Callable[[Array], tuple[Array, Callable[[], Array]]]
"""From values (n,) of the parameters to ln of the true frequencies (m,) and to what gives its slopes (m, k) by the
state, whose first n entries are the parameters and whose others, if any, do not change with wood taken off. Slopes
cost more than frequencies, and are asked for where they are needed."""

RING_SHARE = 0.1
"""Deepest thinning of the ring in one pass, over its thickness; chosen: a scraper's patience."""

BEND_GAP = 45e-3
"""Length over which a change of slope is counted as a depth, m; chosen: the usual distance of stations."""

STRAIGHT = 0.03e-3
"""A place is a corner of a cut if its depth lies farther from the line between its neighbours, about, m; chosen."""

TENTH = 1e-4
"""Depths in a cut list are whole multiples of this, m."""


@dataclass(frozen=True, slots=True)
class Place:
    """One unknown depth.

    Parameters
    ----------
    index : int
        Of its parameter.
    part : str
        Name of a brace, or "edge ring".
    at : float, m
        Along the brace.
    before, behind : float, m
        Where the depth has fallen to nothing if no neighbour is cut; `at` itself at the brace's end.
    """

    index: int
    part: str
    at: float
    before: float
    behind: float

    @property
    def is_ring(self) -> bool:
        """Whether it is of the edge ring."""
        return self.part == EDGE_RING


@dataclass(frozen=True, slots=True)
class Problem:
    """Unknown depths (u,) in m, their bounds and the goals.

    Parameters
    ----------
    present : (n,) array
        Values of all parameters now.
    places : tuple of u Place
    scale : (u,) array
        Depth over the parameter's fall: 1 for heights, the factor on the top's thickness for the ring.
    most, step : (u,) arrays, m
        Largest depths altogether, and in one pass.
    neighbours : (p, 2) int array
        Places next to each other on one brace.
    gaps : (p,) array, m
        Their distances.
    largest_slope : float
    shortest : float, m
        Least length of a cut.
    grams : (u,) array, kg/m
    goals : tuple of Goal
    covariance : (k, k) array
        Of the state.
    cut_error : float, m
        Standard deviation of the depth of a cut.
    rows, bounds : (e, u) and (e,) arrays
        Further limits, rows @ depths <= bounds.
    wanted_mass : float or None, kg
        How much wood should come off, if the goals leave a choice.
    """

    present: Array
    places: tuple[Place, ...]
    scale: Array
    most: Array
    step: Array
    neighbours: Array
    gaps: Array
    largest_slope: float
    shortest: float
    grams: Array
    goals: tuple[Goal, ...]
    covariance: Array
    cut_error: float
    rows: Array
    bounds: Array
    wanted_mass: float | None = None

    @property
    def index(self) -> Array:
        """Numbers of the unknowns among the parameters, (u,)."""
        return np.array([place.index for place in self.places], dtype=int)

    def values(self, depths: Array) -> Array:
        """All parameters after depths (u,) were taken off."""
        values = self.present.copy()
        values[self.index] -= depths / self.scale
        return values

    def slopes(self) -> tuple[Array, Array]:
        """Rows G and bounds g of G @ depths <= g: nowhere steeper than a tool follows."""
        u = len(self.places)
        G = np.zeros((2 * len(self.neighbours), u))
        for k, (i, j) in enumerate(self.neighbours):
            G[2 * k, i], G[2 * k, j] = 1.0, -1.0
            G[2 * k + 1, i], G[2 * k + 1, j] = -1.0, 1.0
        return G, self.largest_slope * np.repeat(self.gaps, 2)

    def bends(self) -> Array:
        """Rows B (b, u): B @ depths is the change of slope at each place and where a cut runs out, times `BEND_GAP`."""
        rows = []
        following = {int(i): (int(j), gap) for (i, j), gap in zip(self.neighbours, self.gaps, strict=True)}
        preceding = {j: (i, gap) for i, (j, gap) in following.items()}
        for k, place in enumerate(self.places):
            if place.is_ring:
                continue
            here = np.zeros(len(self.places))
            for side, end in ((preceding, place.before), (following, place.behind)):
                reach = abs(end - place.at)
                if k in side:
                    other, gap = side[k]
                    here[k] -= BEND_GAP / gap
                    here[other] += BEND_GAP / gap
                elif reach > 0:
                    here[k] -= BEND_GAP / reach
                    # Nothing is cut beyond: there the slope sets in.
                    out = np.zeros(len(self.places))
                    out[k] = BEND_GAP / reach
                    rows.append(out)
            if place.before < place.at < place.behind:
                rows.append(here)
        return np.array(rows).reshape(-1, len(self.places))

    def with_limits(self, rows: Array, bounds: Array) -> "Problem":
        """Copy with further limits rows @ depths <= bounds."""
        return replace(self, rows=np.vstack([self.rows, rows]), bounds=np.concatenate([self.bounds, bounds]))


def places_of(design: Design, parameters: Sequence[Parameter], limits: Limits) -> tuple[Place, ...]:
    """Places at which a plan may take wood off.

    The last one of a brace is at its very end, where the last station may lie a little before it.
    """
    found = []
    stations = {brace.name: np.append(what_if_stations(brace)[:-1], brace.length) for brace in design.braces}
    for i, parameter in enumerate(parameters):
        if parameter.kind == "ring" and limits.cuts_ring:
            found.append(Place(i, EDGE_RING, 0.0, 0.0, 0.0))
        elif parameter.kind == "height" and parameter.part not in limits.left:
            at = stations[parameter.part]
            k = int(np.argmin(np.abs(at - parameter.at)))
            last = len(at) - 1
            found.append(Place(i, parameter.part, float(at[k]), float(at[max(k - 1, 0)]), float(at[min(k + 1, last)])))
    return tuple(found)


def problem_of(
    places: Sequence[Place],
    parameters: Sequence[Parameter],
    present: Array,
    grams: Array,
    goals: Sequence[Goal],
    covariance: Array,
    limits: Limits,
    cut_error: float,
) -> Problem:
    """Problem of a top with some goals.

    Parameters
    ----------
    places : sequence of u Place
    parameters : sequence of n Parameter
    present : (n,) array
    grams : (n,) array, kg per unit of each parameter
    goals : sequence of Goal
    covariance : (k, k) array
        Of the state, whose first n entries are the parameters.
    limits : Limits
    cut_error : float, m
    """
    index = np.array([place.index for place in places], dtype=int)
    thickness = next((v for p, v in zip(parameters, present, strict=True) if p.kind == "thickness"), 1.0)
    scale = np.array([thickness if place.is_ring else 1.0 for place in places])
    lowest = np.array([_lowest(parameters[i], limits) for i in index])
    # Round-off must not ask for more than there is.
    most = np.maximum((present[index] - lowest) * scale - 1e-9, 0.0)
    most = np.minimum(most, [_room(place, places, limits.largest_slope) for place in places])
    step = np.array([RING_SHARE * present[p.index] if p.is_ring else limits.largest_step for p in places], dtype=float)
    pairs, gaps = _neighbours(places)
    weight = np.asarray(grams)[index] / scale
    rows, bounds = np.zeros((0, len(places))), np.zeros(0)
    if limits.remove_at_most is not None:
        rows, bounds = weight[None, :], np.array([limits.remove_at_most])
    return Problem(
        np.asarray(present, dtype=float),
        tuple(places),
        scale,
        most,
        np.minimum(step, most),
        pairs,
        gaps,
        limits.largest_slope,
        limits.shortest,
        weight,
        tuple(goals),
        covariance,
        cut_error,
        rows,
        bounds,
        limits.remove_about,
    )


def _lowest(parameter: Parameter, limits: Limits) -> float:
    if parameter.kind == "ring":
        return parameter.low
    return max(parameter.low, limits.least_heights.get(parameter.part, limits.least_height))


def _room(place: Place, places: Sequence[Place], slope: float) -> float:
    """Largest depth beside stations at which nothing is cut, m."""
    if place.is_ring:
        return np.inf
    at = [other.at for other in places if other.part == place.part]
    ends = [end for end in (place.before, place.behind) if end != place.at]
    return min([slope * abs(end - place.at) for end in ends if min(abs(end - s) for s in at) > 1e-9], default=np.inf)


def _neighbours(places: Sequence[Place]) -> tuple[Array, Array]:
    pairs = [
        (i, j)
        for i, a in enumerate(places)
        for j, b in enumerate(places)
        if a.part == b.part and not a.is_ring and i != j and a.behind > a.at and abs(a.behind - b.at) < 1e-9
    ]
    gaps = [places[j].at - places[i].at for i, j in pairs]
    return np.array(pairs, dtype=int).reshape(-1, 2), np.array(gaps)


def runs(problem: Problem, depths: Array) -> list[list[int]]:
    """Places of each stretch that is cut in one go, in order along the brace."""
    following = {int(i): int(j) for i, j in problem.neighbours if depths[i] > 0 and depths[j] > 0}
    found = []
    for k in np.flatnonzero(depths > 0):
        if k in following.values():
            continue
        run = [int(k)]
        while run[-1] in following:
            run.append(following[run[-1]])
        found.append(run)
    return found


def length(problem: Problem, run: Sequence[int]) -> float:
    """Length of a stretch, m; infinite for the ring."""
    first, last = problem.places[run[0]], problem.places[run[-1]]
    return np.inf if first.is_ring else last.behind - first.before


def cut_covariance(problem: Problem, depths: Array) -> Array:
    """Covariance (u, u) of the depths that come out at the bench: one error a stretch, fading along it, m^2."""
    C = np.zeros((len(depths), len(depths)))
    for run in runs(problem, depths):
        at = np.array([problem.places[k].at for k in run])
        C[np.ix_(run, run)] = problem.cut_error**2 * np.exp(-np.abs(at[:, None] - at[None, :]) / ALONG)
    return C


def cuts_of(problem: Problem, depths: Array) -> tuple[Cut, ...]:
    """Cut list that takes depths (u,) off, in order along each brace; stretches of one slope are one cut."""
    found: list[Cut] = []
    for run in runs(problem, depths):
        places = [problem.places[k] for k in run]
        if places[0].is_ring:
            depth = float(depths[run[0]])
            found.append(Cut(EDGE_RING, 0.0, 0.0, depth, depth))
            continue
        corners = [(place.at, float(depths[k])) for place, k in zip(places, run, strict=True)]
        if places[0].before < places[0].at:
            corners.insert(0, (places[0].before, 0.0))
        if places[-1].behind > places[-1].at:
            corners.append((places[-1].behind, 0.0))
        straight = [corners[0]]
        for here, ahead in zip(corners[1:], [*corners[2:], None], strict=True):
            if ahead is None or not _on_line(straight[-1], here, ahead):
                straight.append(here)
        found += [Cut(places[0].part, a, b, da, db) for (a, da), (b, db) in pairwise(straight)]
    return tuple(found)


def _on_line(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    return abs(a[1] + (c[1] - a[1]) * (b[0] - a[0]) / (c[0] - a[0]) - b[1]) < 1e-9


def corners_of(problem: Problem, depths: Array) -> tuple[Array, Array]:
    """Corners of cuts and the matrix W (u, c) by which all depths follow from theirs, on straight lines between.

    Returns
    -------
    corners : (c,) int array
        Places.
    W : (u, c) array
    """
    corners: list[int] = []
    lines: list[tuple[int, dict[int, float]]] = []
    for run in runs(problem, depths):
        places = [problem.places[k] for k in run]
        marks: list[tuple[float, int | None, float]] = [
            (place.at, k, float(depths[k])) for place, k in zip(places, run, strict=True)
        ]
        if places[0].before < places[0].at:
            marks.insert(0, (places[0].before, None, 0.0))
        if places[-1].behind > places[-1].at:
            marks.append((places[-1].behind, None, 0.0))
        kept = [0]
        for i in range(1, len(marks) - 1):
            if not _straight(marks, kept[-1], i):
                kept.append(i)
        kept.append(len(marks) - 1)
        fixed = [marks[i] for i in dict.fromkeys(kept)]
        corners += [k for _, k, _ in fixed if k is not None]
        for at, k, _ in marks:
            if k is not None:
                lines.append((k, _shares(at, fixed)))
    column = {k: c for c, k in enumerate(corners)}
    W = np.zeros((len(depths), len(corners)))
    for k, shares in lines:
        for corner, share in shares.items():
            W[k, column[corner]] = share
    return np.array(corners, dtype=int), W


def _straight(marks: list[tuple[float, int | None, float]], first: int, i: int) -> bool:
    """Whether all marks after `first` up to `i` lie on the line from `first` to the one behind `i`."""
    a, c = marks[first], marks[i + 1]
    inner = marks[first + 1 : i + 1]
    return all(abs(a[2] + (c[2] - a[2]) * (m[0] - a[0]) / (c[0] - a[0]) - m[2]) < STRAIGHT for m in inner)


def _shares(at: float, fixed: list[tuple[float, int | None, float]]) -> dict[int, float]:
    for a, b in pairwise(fixed):
        if a[0] <= at <= b[0]:
            t = (at - a[0]) / (b[0] - a[0])
            return {k: share for k, share in ((a[1], 1 - t), (b[1], t)) if k is not None and share > 0}
    return {k: 1.0 for s, k, _ in fixed if k is not None and s == at}
