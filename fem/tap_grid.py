"""Which placed recordings make a grid, and the shapes of modes over it.

Depends on fem/strike, fem/tap_shape, fem/taps_file.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.strike import Struck
from bracedtop.fem.tap_shape import Shape, by_reference, shapes_of_points
from bracedtop.fem.taps_file import Placement

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Grid:
    """Recordings whose points belong together.

    Parameters
    ----------
    members : tuple of Placement
    n_points : int
    roving : str
        ``"tap"`` where the microphones stayed in place, ``"microphone"`` where the tapped point did.
    """

    members: tuple[Placement, ...] = ()
    n_points: int = 0
    roving: str = "tap"


def largest_grid(placements: Sequence[Placement]) -> Grid:
    """The most points tapped while the same microphones stayed in place, or heard from one and the same point tapped.

    Without two such points the grid is empty. With and without a hammer do not mix.
    """
    placed = [one for one in placements if one.microphones and one.points]
    taps = _grouped(placed, lambda one: (one.microphones, one.hammer_channel is None), lambda one: one.points, "tap")
    still = [one for one in placed if len(one.points) == 1]
    ears = _grouped(
        still,
        lambda one: (_place(one.points[0]), one.hammer_channel is None),
        lambda one: one.microphones,
        "microphone",
    )
    grid = max([*taps, *ears], key=lambda grid: grid.n_points, default=Grid())
    return grid if grid.n_points > 1 else Grid()


def grid_shapes(grid: Grid, struck: Sequence[Struck], omega: NDArray[np.float64]) -> list[Shape | str]:
    """Shape of each mode over the grid, or why there is none.

    Parameters
    ----------
    grid : Grid
    struck : sequence of Struck
        Those of the grid's members are used.
    omega : (n_modes,) array, rad/s
    """
    members = [one for one in struck if one.placement in grid.members and len(one.amplitude)]
    if not members:
        return ["no two points were tapped with the microphone in one place"] * len(omega)
    return _over_taps(members, omega) if grid.roving == "tap" else _over_microphones(members, omega)


def _place(point: Point) -> Point:
    """The point to a hundredth of a millimetre, so that 0.1 + 0.2 is 0.3."""
    return (round(point[0], 5), round(point[1], 5))


def _grouped(
    placements: Sequence[Placement],
    key: Callable[[Placement], Hashable],
    points: Callable[[Placement], Sequence[Point]],
    roving: str,
) -> list[Grid]:
    """Recordings by what they have in common, with the number of points of each such grid."""
    groups: dict[Hashable, list[Placement]] = {}
    for one in placements:
        groups.setdefault((key(one), one.hammer_channel is None), []).append(one)
    return [
        Grid(tuple(group), len({_place(point) for one in group for point in points(one)}), roving)
        for group in groups.values()
    ]


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
        np.concatenate([one.errors for one in members]),
        by_hammer=members[0].by_hammer,
    )


def _over_microphones(members: Sequence[Struck], omega: NDArray[np.float64]) -> list[Shape | str]:
    index: dict[Point, int] = {}
    columns = [[index.setdefault(_place(ear), len(index)) for ear in one.placement.microphones] for one in members]
    points = np.array(list(index))
    n_hits = sum(len(one.amplitude) for one in members)
    amplitude = np.full((n_hits, len(index), len(omega)), np.nan, dtype=complex)
    errors = np.zeros(amplitude.shape)
    row = 0
    for one, own in zip(members, columns, strict=True):
        amplitude[row : row + len(one.amplitude), own] = one.amplitude
        errors[row : row + len(one.amplitude), own] = one.errors
        row += len(one.amplitude)
    there = np.isfinite(amplitude[:, :, 0])
    if there.all(axis=0).any() and (there.sum(axis=1) > 1).all():
        return by_reference(amplitude, points)
    hit, ear = np.nonzero(there)
    return shapes_of_points(
        amplitude[hit, ear][:, None, :],
        np.asarray(ear),
        points,
        omega,
        errors[hit, ear][:, None, :],
        by_hammer=members[0].by_hammer,
    )
