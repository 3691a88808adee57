"""Places for labels beside what they belong to.

Depends on fem/scene.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from bracedtop.fem.colours import INK
from bracedtop.fem.scene import Label, text_width

GAP = 5.0
"""Distance of a label from its strip, px."""

_SHIFTS = (0.0, 0.2, -0.2, 0.35, -0.35)
"""Places to try along the strip, parts of its length."""

MOST_COVERED = 0.45
"""Part of a label that may lie on other strips; chosen: the halo still keeps the figures apart from them."""

_CROSSING = 0.3
"""Cost of a label across the rim or a hole, in parts covered; chosen: rather that than far off the middle."""


def beside(
    wanted: Sequence[tuple[str, np.ndarray]], size: int, width: float, borders: Sequence[np.ndarray] = ()
) -> list[Label]:
    """Labels beside long polygons, the earlier ones first; one that finds no free place is left out.

    Parameters
    ----------
    wanted : sequence of (str, (n, 2) array)
        Text, and border of what it belongs to, px.
    size : int
        Font size, px.
    width : float
        Width of the picture, px.
    borders : sequence of (n, 2) arrays
        Closed lines that a label crosses only if it must, px.
    """
    lines = shapely.MultiLineString([shapely.LinearRing(border) for border in borders])
    shapely.prepare(lines)
    faces = [shapely.Polygon(border) for _, border in wanted]
    tree = shapely.STRtree(faces)
    taken: list[shapely.Geometry] = []
    labels: list[Label] = []
    for i, (text, border) in enumerate(wanted):
        best: tuple[float, Label, shapely.Geometry] | None = None
        for cost, label in _places(text, size, border):
            left, _, right, _ = label.box
            frame = shapely.box(*label.box)
            if left < GAP or right > width - GAP or any(frame.intersects(other) for other in taken):
                continue
            covered = sum(float(frame.intersection(faces[k]).area) for k in tree.query(frame) if k != i) / frame.area
            cost += covered + _CROSSING * bool(shapely.intersects(lines, frame))
            if covered < MOST_COVERED and (best is None or cost < best[0]):
                best = (cost, label, frame)
        if best is not None:
            labels.append(best[1])
            taken.append(best[2])
    return labels


def _places(text: str, size: int, border: np.ndarray) -> Iterator[tuple[float, Label]]:
    """Candidates for a label, each with a cost for its distance from the middle."""
    sides = np.roll(border, -1, axis=0) - border
    lengths = np.hypot(*sides.T)
    long = sides[lengths.argmax()]
    long = long if (long[1], long[0]) > (0, 0) else -long
    across = np.array([long[1], -long[0]]) / lengths.max()
    # Half of what the label measures across the strip.
    reach = abs(across[0]) * text_width(text, size, bold=True) / 2 + abs(across[1]) * size / 2
    half_strip = shapely.Polygon(border).area / lengths.max() / 2
    for shift in _SHIFTS:
        for side in (1, -1):
            at = border.mean(axis=0) + shift * long + side * across * (half_strip + reach + GAP)
            yield 0.2 * abs(shift), Label(at[0], at[1], text, size, INK, bold=True, align="centre", halo=True)
