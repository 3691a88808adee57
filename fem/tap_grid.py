"""Which placed recordings make a grid, and the shapes of modes over it.

Depends on fem/strike, fem/tap_shape.
"""

from collections.abc import Callable, Hashable, Sequence

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.strike import Struck
from bracedtop.fem.tap_shape import Shape, by_reference, shapes_of_points

Point = tuple[float, float]


def grid_shapes(struck: Sequence[Struck], omega: NDArray[np.float64]) -> list[Shape | str]:
    """Shape of each mode over the largest grid, or why there is none.

    A grid is made of all points tapped while the same microphones stayed in place, or of all places of microphones
    that heard one and the same point tapped.

    Parameters
    ----------
    struck : sequence of Struck
    omega : (n_modes,) array, rad/s
    """
    placed = [one for one in struck if one.placement.microphones and one.placement.points and len(one.amplitude)]
    taps = _grids(placed, lambda one: (one.placement.microphones, one.by_hammer), lambda one: one.placement.points)
    still = [one for one in placed if len(one.placement.points) == 1]
    ears = _grids(
        still, lambda one: (_place(one.placement.points[0]), one.by_hammer), lambda one: one.placement.microphones
    )
    n_taps, members = max(taps, key=lambda grid: grid[0], default=(0, []))
    n_ears, hearing = max(ears, key=lambda grid: grid[0], default=(0, []))
    if max(n_taps, n_ears) < 2:
        return ["no two points were tapped with the microphone in one place"] * len(omega)
    return _over_taps(members, omega) if n_taps >= n_ears else _over_microphones(hearing, omega)


def _place(point: Point) -> Point:
    """The point to a hundredth of a millimetre, so that 0.1 + 0.2 is 0.3."""
    return (round(point[0], 5), round(point[1], 5))


def _grids(
    struck: Sequence[Struck], key: Callable[[Struck], Hashable], points: Callable[[Struck], Sequence[Point]]
) -> list[tuple[int, list[Struck]]]:
    """Recordings by what they have in common, and the number of points of each such grid."""
    groups: dict[Hashable, list[Struck]] = {}
    for one in struck:
        groups.setdefault(key(one), []).append(one)
    return [(len({_place(point) for one in group for point in points(one)}), group) for group in groups.values()]


def _over_taps(members: Sequence[Struck], omega: NDArray[np.float64]) -> list[Shape | str]:
    index: dict[Point, int] = {}
    numbers = []
    for one in members:
        own = [index.setdefault(_place(point), len(index)) for point in one.placement.points]
        numbers.append(np.array(own)[one.point])
    return shapes_of_points(
        np.concatenate([one.amplitude for one in members]),
        np.concatenate(numbers),
        np.array(list(index)),
        omega,
        by_hammer=members[0].by_hammer,
    )


def _over_microphones(members: Sequence[Struck], omega: NDArray[np.float64]) -> list[Shape | str]:
    index: dict[Point, int] = {}
    columns = [[index.setdefault(_place(ear), len(index)) for ear in one.placement.microphones] for one in members]
    points = np.array(list(index))
    n_hits = sum(len(one.amplitude) for one in members)
    amplitude = np.full((n_hits, len(index), len(omega)), np.nan, dtype=complex)
    row = 0
    for one, own in zip(members, columns, strict=True):
        amplitude[row : row + len(one.amplitude), own] = one.amplitude
        row += len(one.amplitude)
    there = np.isfinite(amplitude[:, :, 0])
    if there.all(axis=0).any() and (there.sum(axis=1) > 1).all():
        return by_reference(amplitude, points)
    hit, ear = np.nonzero(there)
    return shapes_of_points(
        amplitude[hit, ear][:, None, :], np.asarray(ear), points, omega, by_hammer=members[0].by_hammer
    )
