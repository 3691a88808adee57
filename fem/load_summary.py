"""What the strings do to a top, in a maker's terms: the bridge's turn, dip and belly, stresses against strengths.

Depends on fem/bridge_load, fem/deflection, fem/static, fem/strength, fem/strings, fem/stress.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely

from bracedtop.fem.bridge_load import bridge_of, bridge_points, string_tractions
from bracedtop.fem.deflection import fine_triangles
from bracedtop.fem.footprint import Points
from bracedtop.fem.model import Model
from bracedtop.fem.static import Static, fields_at, force_vector, resultant, solve_static
from bracedtop.fem.strength import LONG_TERM_STRENGTH, Strength
from bracedtop.fem.stress import BraceStress, brace_stress, largest
from bracedtop.fem.strings import StringSet
from bracedtop.geometry.design import Design, Edge

Xy = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Spot:
    """A deflection in m, positive out of the outside face, and the place (x, y) of it in m."""

    deflection: float
    place: Xy


@dataclass(frozen=True, slots=True)
class StressLine:
    """The largest stress of one kind in one part.

    Parameters
    ----------
    part : str
        "top", "bridge" or "brace NAME".
    kind : str
        What is stressed how, in words.
    stress : float, Pa
        Its size.
    strength : float or None, Pa
        Short-term strength, None where it is not known.
    where : str
        Place in mm, in words.
    """

    part: str
    kind: str
    stress: float
    strength: float | None
    where: str

    @property
    def share(self) -> float | None:
        """Stress over short-term strength."""
        return None if self.strength is None else self.stress / self.strength

    @property
    def lasting_share(self) -> float | None:
        """Stress over the strength that is left under a load for years."""
        return None if self.share is None else self.share / LONG_TERM_STRENGTH


@dataclass(frozen=True, slots=True)
class LoadSummary:
    """A top under its strings.

    Parameters
    ----------
    static : Static
    pull, push : float, N
        Toward the neck, and out of the top (negative: pressing in).
    moment : float, N m
        Of the strings about the top's outside face at the driving point; positive turns the bridge toward the neck.
    rotation : float, rad
        Mean slope of the top under the bridge; positive leans the bridge toward the neck.
    largest : Spot
        Place of the largest deflection of all.
    dip, belly : Spot or None
        Lowest place between the bridge and the hole (or the neck end), highest place behind the bridge, both within the
        bridge's breadth.
    lines : tuple of StressLine
    balance : float
        Force and moment that reactions and load leave over, each relative to the load's.
    """

    static: Static
    pull: float
    push: float
    moment: float
    rotation: float
    largest: Spot
    dip: Spot | None
    belly: Spot | None
    lines: tuple[StressLine, ...]
    balance: float


def held_design(design: Design, strings: StringSet) -> Design:
    """Copy of a design whose edge holds the top as it is under load.

    What the strings' table says counts first, then the drawing's edge; a free one becomes hinged, as sides are thin.
    """
    if strings.held is not None:
        return replace(design, edge=Edge(strings.held))
    return replace(design, edge=Edge("hinged")) if design.edge.kind == "free" else design


def load_summary(model: Model, strings: StringSet, strengths: Mapping[str, Strength]) -> LoadSummary:
    """Solve a held top under its strings and summarise it.

    Parameters
    ----------
    model : Model
        Of a design whose edge holds it; see `held_design`.
    strings : StringSet
    strengths : mapping of str to Strength
        Of the woods of top, bridge and braces.

    Raises
    ------
    DesignError
        If a string passes beside the bridge, or the edge does not hold the top.
    AccuracyError
        If the static solution fails its check.
    """
    static = solve_static(model, force_vector(model, string_tractions(model, strings)))
    pull, push = strings.forces().sum(axis=0)
    area, xy = bridge_points(model, strings)
    most, dip, belly = _spots(static, xy)
    lines = [*_top_lines(static, strengths), *_bridge_lines(model, strings, strengths, area, xy)]
    for brace in model.design.braces:
        lines += _brace_lines(brace_stress(static, brace.name), strengths[brace.wood])
    return LoadSummary(
        static,
        float(pull),
        float(push),
        float(pull) * strings.saddle_height,
        _rotation(static, area, xy),
        most,
        dip,
        belly,
        tuple(lines),
        _balance(static),
    )


def _rotation(static: Static, area: Points, xy: np.ndarray) -> float:
    """Turn about y of the plane that fits the deflection over the bridge best."""
    away = xy - (area.weight @ xy) / area.weight.sum()
    shapes = np.column_stack([np.ones(len(xy)), away])
    weighted = area.weight[:, None] * shapes
    w = fields_at(static, area)[:, 2]
    return float(-np.arctan(np.linalg.solve(weighted.T @ shapes, weighted.T @ w)[1]))


def _spots(static: Static, bridge: np.ndarray) -> tuple[Spot, Spot | None, Spot | None]:
    """Largest deflection, dip in front of the points (n, 2) of the bridge, belly behind them."""
    points, xy, _ = fine_triangles(static.model)
    w = fields_at(static, points)[:, 2]
    (rear, right), (front, left) = bridge.min(axis=0), bridge.max(axis=0)
    stop = np.inf
    for hole in static.model.design.holes:
        border = hole.outline().points
        near = border[(border[:, 1] >= right) & (border[:, 1] <= left) & (border[:, 0] > front)]
        if len(near):
            stop = min(stop, float(near[:, 0].min()))
    inside = (xy[:, 1] >= right) & (xy[:, 1] <= left)
    ahead = np.flatnonzero(inside & (xy[:, 0] > front) & (xy[:, 0] < stop))
    behind = np.flatnonzero(inside & (xy[:, 0] < rear))
    dip = _spot(w, xy, int(ahead[w[ahead].argmin()])) if len(ahead) else None
    belly = _spot(w, xy, int(behind[w[behind].argmax()])) if len(behind) else None
    return _spot(w, xy, int(np.abs(w).argmax())), dip, belly


def _spot(w: np.ndarray, xy: np.ndarray, k: int) -> Spot:
    return Spot(float(w[k]), (float(xy[k, 0]), float(xy[k, 1])))


def _top_lines(static: Static, strengths: Mapping[str, Strength]) -> list[StressLine]:
    strength = strengths[static.model.design.plate.wood]
    kinds = (
        ("along the grain, stretched", 0, 1, strength.bending),
        ("along the grain, pressed", 0, -1, strength.compression),
        ("across the grain, stretched", 1, 1, strength.tension_across),
        ("shear in its plane", 2, 0, strength.shear),
    )
    lines = []
    for kind, component, sign, limit in kinds:
        peak = largest(static, component, sign)
        where = f"{_place(peak.place)}, {('outside', 'inside')[peak.face]}"
        lines.append(StressLine("top", kind, peak.stress, limit, where))
    return lines


def _bridge_lines(
    model: Model, strings: StringSet, strengths: Mapping[str, Strength], area: Points, xy: np.ndarray
) -> list[StressLine]:
    """Mean shear of the bridge's glue and its pull at the edge, as from a stiff bridge on an even glue line."""
    design = model.design
    bridge = bridge_of(design)
    if bridge is None:
        return []
    woods = [strengths[design.plate.wood], strengths[bridge.wood]]
    forces = strings.forces()
    pull, push = forces.sum(axis=0)
    x, y = design.driving_point
    total = area.weight.sum()
    middle = (area.weight @ xy) / total
    away = xy - middle
    moments = np.array(
        [
            push,
            push * (x - middle[0]) - pull * strings.saddle_height,
            forces[:, 1] @ (y + strings.offsets - middle[1]),
        ]
    )
    shapes = np.column_stack([np.ones(len(xy)), away])
    a, *slopes = np.linalg.solve(shapes.T @ (area.weight[:, None] * shapes), moments)
    # An even distribution that tilts is largest at a corner.
    corners = shapely.get_coordinates(shapely.intersection(bridge.polygon, design.region))
    off = a + (corners - middle) @ slopes
    k = int(off.argmax())
    return [
        StressLine("bridge", "shear in the glue, mean", abs(pull) / total, _least(woods, "shear"), "whole glued face"),
        StressLine(
            "bridge", "pull on the glue", max(float(off[k]), 0.0), _least(woods, "tension_across"), _place(corners[k])
        ),
    ]


def _brace_lines(stress: BraceStress, strength: Strength) -> list[StressLine]:
    lines = []
    part = f"brace {stress.brace}"
    if len(stress.distance):
        for side, values in (("free side", stress.free), ("glued side", stress.glued)):
            k = int(np.abs(values).argmax())
            stretched = values[k] > 0
            limit = strength.bending if stretched else strength.compression
            kind = f"{side}, {'stretched' if stretched else 'pressed'}"
            lines.append(StressLine(part, kind, float(abs(values[k])), limit, _at(stress.distance[k])))
    if len(stress.glue_distance):
        k = int(np.abs(stress.glue_shear).argmax())
        shear = float(abs(stress.glue_shear[k]))
        lines.append(StressLine(part, "shear in the glue", shear, strength.shear, _at(stress.glue_distance[k])))
    return lines


def _least(woods: list[Strength], key: str) -> float | None:
    known = [getattr(wood, key) for wood in woods if getattr(wood, key) is not None]
    return min(known) if known else None


def _balance(static: Static) -> float:
    load = resultant(static.model, static.force)
    left = load + resultant(static.model, static.reaction)
    sizes = np.linalg.norm(np.reshape(load, (2, 3)), axis=1)
    return float((np.linalg.norm(np.reshape(left, (2, 3)), axis=1) / np.maximum(sizes, 1e-300)).max())


def _place(xy: np.ndarray) -> str:
    return f"x {1e3 * xy[0]:.0f}, y {1e3 * xy[1] + 0.0:.0f} mm"


def _at(distance: float) -> str:
    return f"{1e3 * distance:.0f} mm along"
