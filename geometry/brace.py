"""A brace: its path on the top, its width and its height profile."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Array, frozen

Shape = Literal["square", "rounded", "peaked"]

_ROUNDING = 1e-12
"""Heights closer than this are the same, m."""


@dataclass(frozen=True, slots=True)
class Brace:
    """A strip of wood on edge, glued to the inside of the top.

    Parameters
    ----------
    name, wood : str
    path : (n, 2) array, m
        Centreline of the glued face, two or more points.
    width : float, m
    stations : (k, 2) array, m
        Distance along the path and height there, in order of distance; between stations the height is
        linear. Two stations at one distance make a step.
    shape : {"square", "rounded", "peaked"}
        Form of the free side of the section.
    ring_angle : float, rad
        Of the growth rings, turned about the grain: 0 quarter-sawn on edge (R upright, the rings lie as layers
        parallel to the top), a right angle with the rings standing upright in it.
    runout : float, rad
        How far the grain rises out of the brace's length, seen from its side.

    Raises
    ------
    DesignError
        If a size is not positive, a height is negative, or the stations are out of order or off the path.
    """

    name: str
    wood: str
    path: Array
    width: float
    stations: Array
    shape: Shape = "square"
    ring_angle: float = 0.0
    runout: float = 0.0

    def __post_init__(self) -> None:
        """Check the brace once."""
        object.__setattr__(self, "path", frozen(self.path))
        object.__setattr__(self, "stations", frozen(self.stations))
        path, stations = self.path, self.stations
        where = f'brace "{self.name}"'
        if path.ndim != 2 or path.shape[0] < 2 or path.shape[1] != 2 or not np.isfinite(path).all():
            message = f"{where}: its path needs two or more points of two finite numbers each"
            raise DesignError(message)
        if (np.hypot(*np.diff(path, axis=0).T) <= 0).any():
            message = f"{where}: two neighbouring path points coincide; every piece needs a length > 0"
            raise DesignError(message)
        if not (np.isfinite(self.width) and self.width > 0):
            message = f"{where}: width {1e3 * self.width:g} mm; must be > 0"
            raise DesignError(message)
        if stations.ndim != 2 or stations.shape[0] < 2 or stations.shape[1] != 2 or not np.isfinite(stations).all():
            message = f"{where}: needs two or more stations of distance and height"
            raise DesignError(message)
        if (np.diff(stations[:, 0]) < 0).any():
            message = f"{where}: stations go back along the brace; distances must not decrease"
            raise DesignError(message)
        if (stations[:, 1] < 0).any():
            message = f"{where}: height {1e3 * stations[:, 1].min():g} mm at a station; must be >= 0"
            raise DesignError(message)
        if stations[0, 0] < -1e-9 or stations[-1, 0] > self.length * (1 + 1e-9) + 1e-9:
            message = (
                f"{where}: stations from {1e3 * stations[0, 0]:g} to {1e3 * stations[-1, 0]:g} mm; "
                f"must lie between 0 and the brace's length {1e3 * self.length:.1f} mm"
            )
            raise DesignError(message)

    @property
    def length(self) -> float:
        """Length of the path, m."""
        return float(np.hypot(*np.diff(self.path, axis=0).T).sum())

    def height(self, distance: Array) -> Array:
        """Height at distances along the path, same shape, m; the end stations' heights hold beyond them.

        At a step the height on the far side counts.
        """
        return self._height(distance, "right")

    def height_before(self, distance: Array) -> Array:
        """As `height`, but at a step the height on the near side."""
        return self._height(distance, "left")

    def _height(self, distance: Array, side: Literal["left", "right"]) -> Array:
        """Height just before ("left") or just behind ("right") distances along the path."""
        s, h = self.stations.T
        distance = np.asarray(distance, dtype=float)
        right = np.clip(np.searchsorted(s, distance, side=side), 1, len(s) - 1)
        left = right - 1
        span = s[right] - s[left]
        # Stations at one distance are a step; at an end of the stations it may be the piece looked at.
        behind = distance >= s[right] if side == "right" else distance > s[right]
        t = np.where(span > 0, (distance - s[left]) / np.where(span > 0, span, 1.0), behind)
        return np.asarray(h[left] + np.clip(t, 0.0, 1.0) * (h[right] - h[left]))

    def position(self, distance: Array) -> tuple[Array, Array]:
        """Points on the path and unit tangents there, both (n, 2), at n distances in m."""
        pieces = np.diff(self.path, axis=0)
        lengths = np.hypot(*pieces.T)
        ends = np.concatenate([[0.0], np.cumsum(lengths)])
        distance = np.asarray(distance, dtype=float)
        k = np.clip(np.searchsorted(ends, distance, side="right") - 1, 0, len(lengths) - 1)
        tangent = pieces[k] / lengths[k, None]
        return self.path[k] + tangent * (distance - ends[k])[:, None], tangent

    def rounded(self, step: float) -> "Brace":
        """Copy with positions, width, distances and heights on multiples of `step` m; what would be 0 wide stays."""
        path = frozen(np.round(self.path / step) * step)
        width = max(round(self.width / step) * step, step)
        free = replace(self, path=path, stations=frozen([[0.0, 0.0], [0.0, 0.0]]))
        # Rounded down where the path became shorter than its last station.
        last = np.floor(free.length / step + 1e-6) * step
        distance = np.minimum(np.round(self.stations[:, 0] / step) * step, last)
        height = np.round(self.stations[:, 1] / step) * step
        return replace(free, width=width, stations=frozen(np.column_stack([distance, height])))

    def shaved(self, start: float, stop: float, depth: float) -> "Brace":
        """Copy of the brace with `depth` m planed off its free side from `start` to `stop`, m along the path.

        Raises
        ------
        DesignError
            If the stretch is empty or off the brace, or the brace is lower than `depth` somewhere in it.
        """
        where = f'brace "{self.name}"'
        if not 0 <= start < stop <= self.length * (1 + 1e-9) + 1e-9:
            message = (
                f"{where}: stretch from {1e3 * start:g} to {1e3 * stop:g} mm; "
                f"must run forward inside 0 to {1e3 * self.length:.1f} mm"
            )
            raise DesignError(message)
        stop = min(stop, self.length)
        s, h = self.stations.T
        inner = s[(s > start) & (s < stop)]
        grid = np.unique(np.concatenate([[start], inner, [stop]]))
        # Two heights at each place, so that a step at an end of the stretch keeps its outer side.
        before, after = self._height(grid, "left"), self._height(grid, "right")
        floor = min(after[:-1].min(), before[1:].min())
        if not 0 <= depth <= floor + _ROUNDING:
            message = (
                f"{where}: {1e3 * depth:g} mm to take from {1e3 * start:g} to {1e3 * stop:g} mm, where the lowest "
                f"point is {1e3 * floor:.2f} mm high; must be between 0 and that height"
            )
            raise DesignError(message)
        rows: list[tuple[float, float]] = [(a, b) for a, b in zip(s, h, strict=True) if a < start]
        if start > 0:
            rows.append((start, float(before[0])))
        for i, x in enumerate(grid):
            if i > 0:
                rows.append((float(x), max(float(before[i]) - depth, 0.0)))
            if i < len(grid) - 1:
                rows.append((float(x), max(float(after[i]) - depth, 0.0)))
        if stop < self.length:
            rows.append((stop, float(after[-1])))
        rows += [(a, b) for a, b in zip(s, h, strict=True) if a > stop]
        return replace(self, stations=frozen(_without_repeats(rows)))


def _without_repeats(rows: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Rows without those that rounding alone tells from the one before."""
    return [
        row
        for i, row in enumerate(rows)
        if i == 0 or row[0] != rows[i - 1][0] or abs(row[1] - rows[i - 1][1]) > _ROUNDING
    ]
