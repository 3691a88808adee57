"""Numbers in which a top may differ from its drawing: heights of braces, thickness, woods, rim, added mass.

Depends on fem/footprint, fem/wood, geometry. A vector of values, one for each parameter, is what the reduced model, the
calibration and the plan have in common.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from bracedtop.fem.footprint import distance_to
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import crossings
from bracedtop.geometry.design import Design, Joint
from bracedtop.geometry.glue import grip_ends
from bracedtop.geometry.mass import PointMass
from bracedtop.geometry.outline import frozen
from bracedtop.geometry.thickness import ThicknessGrid

Kind = Literal[
    "height", "ring", "thickness", "E_L", "E_R", "G_LR", "density", "brace_E", "brace_density", "springs", "mass"
]

STATION_GAP = 45e-3
"""Largest distance between places at which a brace's height may change, m; chosen: the length of a short cut."""

LEAST_HEIGHT = 0.8e-3
"""A brace is not looked at where it is drawn lower than this, m; chosen: an end that runs out to nothing."""

LOWEST = 0.4
"""Least height, over the drawn one; the range of the reduced model."""

HIGHER = (0.1, 0.6e-3)
"""How much higher than drawn a brace may be: part of its height, or m if that is more; chosen: the drawing's errors."""

NOTCH_WOOD = 0.4
"""Part of the wood above a notch that stays; chosen: a joint shaved further is cut through."""

CLOSEST = 4e-3
"""Stations closer than this are one place for a cut, m; chosen."""

AT_JOINT = 10e-3
"""A station closer to a crossing than this holds its height, m; chosen: about a brace's width."""

FACTORS: Mapping[str, tuple[float, float]] = {
    "thickness": (0.7, 1.15),
    "E_L": (0.5, 1.6),
    "E_R": (0.4, 1.8),
    "G_LR": (0.4, 1.8),
    "density": (0.6, 1.5),
    "brace_E": (0.5, 1.6),
    "brace_density": (0.6, 1.5),
    "springs": (0.1, 10.0),
}
"""Ranges of factors; chosen: about three times the scatter of a species."""

MOST_ADDED = 30e-3
"""Largest added mass, kg; chosen: a heavy bridge."""

DRIVING_PLACE = "bridge"
"""Name of the place of added mass at the driving point."""


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number that may differ from the drawing.

    Parameters
    ----------
    kind : str
        "height" (of a brace, m; linear between), "ring" (thickness left in the edge ring, m), "mass" (added, kg), or
        a factor: "thickness" of all of the top's wood, "E_L", "E_R", "G_LR", "density" of the top's wood, "brace_E",
        "brace_density" of all braces' stiffness along the grain and density, "springs" of the rim.
    part : str
        Name of the brace, or of the place of added mass.
    at : float, m
        Distance along the brace.
    drawn : float
        Value in the drawing.
    low, high : float
        Range of the reduced model.
    """

    kind: Kind
    part: str
    at: float
    drawn: float
    low: float
    high: float

    @property
    def name(self) -> str:
        """Short text, such as "x bass at 150 mm" or "E_L"."""
        if self.kind == "height":
            return f"{self.part} at {1e3 * self.at:.0f} mm"
        return f"mass at {self.part}" if self.kind == "mass" else self.kind


def parameters_of(design: Design) -> tuple[Parameter, ...]:
    """All parameters of a design: heights brace by brace first, then the others."""
    found = [parameter for brace in design.braces for parameter in _heights(design, brace)]
    plate = design.plate
    if plate.ring_width > 0:
        left = plate.thickness - plate.ring_reduction
        found.append(Parameter("ring", "", 0.0, left, 0.5 * left, plate.thickness))
    kinds: list[Kind] = ["thickness", "E_L", "E_R", "G_LR", "density"]
    if design.braces:
        kinds += ["brace_E", "brace_density"]
    if design.edge.kind == "springs":
        kinds.append("springs")
    found += [Parameter(kind, "", 0.0, 1.0, *FACTORS[kind]) for kind in kinds]
    places = [DRIVING_PLACE, *(mass.name for mass in design.masses)]
    found += [Parameter("mass", place, 0.0, 0.0, 0.0, MOST_ADDED) for place in dict.fromkeys(places)]
    return tuple(found)


def _heights(design: Design, brace: Brace) -> list[Parameter]:
    places = what_if_stations(brace)
    floors = np.zeros(len(places))
    for near, floor in _notches(design, brace):
        distance = np.abs(places - near)
        # Where no station lies at the joint, the two beside it hold its height.
        beside = np.argsort(distance)[: 1 if distance.min() < AT_JOINT else 2]
        floors[beside] = np.maximum(floors[beside], floor)
    first, last = grip_ends(brace, design)
    # The glue holds less of an end lower than the top is thick: such an end is left as it is.
    if first > 0:
        floors[0] = max(floors[0], design.plate.thickness)
    if last < brace.length:
        floors[-1] = max(floors[-1], design.plate.thickness)
    found = []
    for s, floor in zip(places, floors, strict=True):
        # At a step the lower side counts.
        drawn = float(brace.height(np.array([s, max(s - 1e-9, 0.0)])).min())
        if drawn < max(LEAST_HEIGHT, floor):
            continue
        low = max(LOWEST * drawn, float(floor))
        found.append(Parameter("height", brace.name, float(s), drawn, low, drawn + max(HIGHER[0] * drawn, HIGHER[1])))
    return found


def what_if_stations(brace: Brace) -> np.ndarray:
    """Distances along a brace at which its height may change: its stations, its ends, and places between, m."""
    drawn = np.unique(np.concatenate([[0.0], brace.stations[:, 0], [brace.length]]))
    kept = [float(drawn[0])]
    for s in drawn[1:]:
        if s - kept[-1] > CLOSEST:
            kept.append(float(s))
    places = [kept[0]]
    for a, b in pairwise(kept):
        places += list(np.linspace(a, b, int(np.ceil((b - a) / STATION_GAP - 1e-9)) + 1)[1:])
    return np.array(places)


def _notches(design: Design, brace: Brace) -> list[tuple[float, float]]:
    """Places of crossings along a brace, and the height down to which it may be shaved there, m."""
    found = []
    for crossing in crossings(design):
        if brace.name not in (crossing.under, crossing.over):
            continue
        point = np.asarray(crossing.point)
        s = distance_to(brace, point)
        height = float(brace.height(np.array([s]))[0])
        if height > crossing.kept:
            found.append((s, crossing.kept + NOTCH_WOOD * (height - crossing.kept)))
    return found


def drawn_values(parameters: Sequence[Parameter]) -> np.ndarray:
    """Values in the drawing, (n,)."""
    return np.array([parameter.drawn for parameter in parameters])


def drawing_at(
    design: Design, woods: Mapping[str, Wood], parameters: Sequence[Parameter], values: np.ndarray
) -> tuple[Design, dict[str, Wood]]:
    """The drawing and the woods that some values stand for, for a full solution.

    The top's wood and the braces' get names of their own. Joints keep the notches that they were cut with.

    Parameters
    ----------
    parameters : sequence of n Parameter
        Of `parameters_of(design)`.
    values : (n,) array

    Raises
    ------
    DesignError
        If a height or a factor is impossible.
    """
    joints = tuple(Joint(c.under, c.over, c.kept, c.cap, c.cap_length) for c in crossings(design))
    by_kind = {p.kind: float(v) for p, v in zip(parameters, values, strict=True) if p.kind not in ("height", "mass")}
    plate, wood = design.plate, woods[design.plate.wood]
    scale = by_kind.get("thickness", 1.0)
    reduction = plate.thickness - by_kind["ring"] if "ring" in by_kind else plate.ring_reduction
    regions = tuple(replace(region, thickness=scale * region.thickness) for region in plate.regions)
    grid = plate.grid
    if grid is not None:
        grid = replace(grid, points=frozen(np.asarray(grid.points) * np.array([1.0, 1.0, scale])))
    elif scale != 1:
        # Wood is missing on the outside: the nominal thickness, which says where the inside is, stays.
        corners = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]
        grid = ThicknessGrid(frozen(np.column_stack([corners, np.full(3, scale * plate.thickness)])))
    changed = {key: getattr(wood, key) * by_kind.get(key, 1.0) for key in ("E_L", "E_R", "G_LR", "density")}
    names = {"top": replace(wood, name="top", **changed)}
    braces = []
    for brace in design.braces:
        own = woods[brace.wood]
        name = f"{brace.wood} of the braces"
        names[name] = replace(
            own,
            name=name,
            E_L=own.E_L * by_kind.get("brace_E", 1.0),
            density=own.density * by_kind.get("brace_density", 1.0),
        )
        mine = [(p, float(v)) for p, v in zip(parameters, values, strict=True) if p.part == brace.name]
        braces.append(replace(_lowered(brace, [(p.at, p.drawn - v) for p, v in mine if p.kind == "height"]), wood=name))
    added = {p.part: float(v) for p, v in zip(parameters, values, strict=True) if p.kind == "mass" and v}
    edge, factor = design.edge, by_kind.get("springs", 1.0)
    if edge.kind == "springs":
        edge = replace(
            edge,
            deflection=factor * edge.deflection,
            rotation=factor * edge.rotation,
            inplane=factor * edge.inplane,
        )
    new = replace(
        design,
        plate=replace(
            plate,
            wood="top",
            ring_reduction=scale * reduction,
            regions=regions,
            grid=grid,
        ),
        braces=tuple(braces),
        joints=joints,
        edge=edge,
        masses=_with_added(design, added),
    )
    return new, {**woods, **names}


def _lowered(brace: Brace, depths: list[tuple[float, float]]) -> Brace:
    """A brace from which depths at distances are taken, linear between them."""
    if not depths or not any(depth for _, depth in depths):
        return brace
    places = what_if_stations(brace)
    given = dict(depths)
    depth = np.array([given.get(float(s), 0.0) for s in places])
    s, h = brace.stations.T
    rows = [(float(a), float(b - np.interp(a, places, depth))) for a, b in zip(s, h, strict=True)]
    rows += [
        (float(a), float(brace.height(np.array([a]))[0] - d))
        for a, d in zip(places, depth, strict=True)
        if np.abs(s - a).min() > 1e-9
    ]
    # A stable sort keeps the order of the two heights of a step.
    rows.sort(key=lambda row: row[0])
    return replace(brace, stations=frozen(rows))


def _with_added(design: Design, added: Mapping[str, float]) -> tuple[PointMass, ...]:
    masses = [
        replace(mass, mass=mass.mass + added[mass.name]) if mass.name in added else mass for mass in design.masses
    ]
    if DRIVING_PLACE in added and DRIVING_PLACE not in {mass.name for mass in design.masses}:
        masses.append(driving_mass(design, added[DRIVING_PLACE]))
    return tuple(masses)


def driving_mass(design: Design, mass: float) -> PointMass:
    """A mass (kg) at the driving point, without height."""
    x, y = (float(value) for value in design.driving_point)
    return PointMass(DRIVING_PLACE, mass, (x, y))
