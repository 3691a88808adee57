"""Tops that the plate model is compared on with solids, from a bare plate to the starter top.

Sizes and woods are those that makers use (common practice, no source); the drawings are invented, but for one from the
literature. Each top separates one effect, or joins the effects of those before it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from reference.plates import isotropic

from bracedtop.fem.case import read_case
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.outline import Hole, body_outline, polygon_outline, rectangle
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.units import MM

SPRUCE, MAPLE, WALNUT = "spruce_sitka", "maple_sugar", "walnut_black"

BODY = {
    "body_length_mm": 480.0,
    "lower_bout_mm": 372.0,
    "lower_bout_at_mm": 125.0,
    "waist_mm": 232.0,
    "waist_at_mm": 288.0,
    "upper_bout_mm": 276.0,
    "upper_bout_at_mm": 398.0,
}
"""The starter top's outline."""

X_STATIONS = ((0, 2.5), (35, 5), (95, 7.5), (150, 10.5), (230, 14), (300, 11.5), (368, 6), (402, 2.5))
"""Heights of a scalloped leg of the starter top, mm; there it is rounded, here square."""

RIB = MM * np.array([[0.0, 22.22], [410.0, 22.22]])
"""Heights of the rib of `ribbed_rectangle`."""

CHECKS = Path(__file__).parents[2] / "cases" / "checks"

N_MODES = 12
"""Modes that a solid is asked for; the first ten are compared."""


@dataclass(frozen=True, slots=True)
class Top:
    """A top of the suite.

    Parameters
    ----------
    design : Design
    woods : mapping of str to Wood
    note : str
        What it is there for.
    size : float, m
        Element size of its solid.
    order, graded : int
        Polynomial order of the reference solid and layers of elements towards the glue lines.
    coarse : bool
        Too large to be graded at its order: fewer elements, and the effect of grading from the order below.
    hold_brace_ends : bool
        Whether ends of braces that lie in the rim are held with it in the solid.
    drawn : Path, optional
        Case folder whose top.toml it is read from.
    """

    design: Design
    woods: Mapping[str, Wood]
    note: str
    size: float = 20e-3
    order: int = 4
    graded: int = 1
    coarse: bool = False
    hold_brace_ends: bool = False
    drawn: Path | None = None

    @property
    def points(self) -> np.ndarray:
        """Points where shapes are compared, (k, 2) in m: a square grid of 60 to 100 points, off rims and holes."""
        inner = self.design.region.buffer(-8 * MM)
        x0, y0, x1, y1 = inner.bounds
        pitch = np.sqrt(inner.area / 80)
        # Not through the centreline alone: an even number of rows keeps every symmetric shape's signs apart.
        x, y = (
            (a + b) / 2 + pitch * (np.arange(n) - (n - 1) / 2)
            for a, b, n in ((x0, x1, int((x1 - x0) / pitch) + 1), (y0, y1, 2 * int((y1 - y0) / pitch / 2 + 0.75)))
        )
        X, Y = np.meshgrid(x, y, indexing="ij")
        grid = np.round(np.column_stack([X.ravel(), Y.ravel()]), 4)
        return grid[shapely.contains_xy(inner, *grid.T)]


def tops() -> dict[str, Top]:
    """All tops by name; a name is also the folder in cases/checks."""
    return {name: build() for name, build in BUILDERS.items()}


def top(name: str) -> Top:
    """One top."""
    return BUILDERS[name]()


def _top(design: Design, note: str) -> Top:
    names = {design.plate.wood, *(b.wood for b in design.braces), *(p.wood for p in design.patches)}
    return Top(design, {name: handbook_wood(name) for name in sorted(names)}, note)


def _rectangle(kind: str, a: float = 400.0, b: float = 300.0, thickness: float = 2.8, **parts: object) -> Design:
    outline = polygon_outline(MM * np.array([[0.0, 0.0], [a, 0.0], [a, b], [0.0, b]]))
    return Design(outline, Plate(SPRUCE, thickness * MM), edge=Edge(kind), **parts)  # type: ignore[arg-type]


def _guitar(kind: str, thickness: float = 2.8, hole: float = 96.0, **parts: object) -> Design:
    keys = ("body_length", "lower_bout", "lower_bout_at", "waist", "waist_at", "upper_bout", "upper_bout_at")
    outline = body_outline(*(MM * BODY[f"{key}_mm"] for key in keys))
    holes = (Hole(MM * np.array([334.0, 0.0]), MM * np.full(2, hole / 2)),)
    return Design(outline, Plate(SPRUCE, thickness * MM), holes=holes, edge=Edge(kind), **parts)  # type: ignore[arg-type]


def _brace(name: str, path: object, width: float, stations: Sequence[object], shape: str = "square") -> Brace:
    """A spruce brace from mm; one height stands for a brace of that height all along."""
    path = MM * np.array(path, dtype=float)
    if len(stations) == 1:
        length = float(np.hypot(*np.diff(path, axis=0).T).sum())
        table = np.array([[0.0, MM * float(stations[0])], [length, MM * float(stations[0])]])  # type: ignore[arg-type]
    else:
        table = MM * np.array(stations, dtype=float)
    return Brace(name, SPRUCE, path, width * MM, table, shape)  # type: ignore[arg-type]


def _tapered(name: str, path: object, width: float, height: float, end: float = 3.0, taper: float = 40.0) -> Brace:
    """A square brace that tapers to `end` over its last `taper` mm at either end."""
    length = float(np.hypot(*np.diff(np.array(path, dtype=float), axis=0).T).sum())
    return _brace(name, path, width, [(0, end), (taper, height), (length - taper, height), (length, end)])


def _legs() -> tuple[Brace, Brace]:
    return (
        _brace("x bass", [[94, 173], [359, -130]], 7, X_STATIONS),
        _brace("x treble", [[94, -173], [359, 130]], 7, X_STATIONS),
    )


def _bridge_plate() -> Patch:
    border = polygon_outline(MM * np.array([[146.0, -80.0], [192.0, -40.0], [192.0, 40.0], [146.0, 80.0]]))
    return Patch("bridge plate", MAPLE, border, 2.4e-3, grain_angle=np.pi / 2)


def bare() -> Top:
    """The plate itself on a guitar's outline."""
    return _top(_guitar("clamped"), "bare plate on a guitar's outline with its sound hole, clamped")


def bridge_plate_alone() -> Top:
    """A patch inside."""
    patch = Patch("bridge plate", MAPLE, rectangle([0.2, 0.15], [0.046, 0.14]), 2.4e-3, grain_angle=np.pi / 2)
    return _top(_rectangle("free", patches=(patch,)), "a bridge plate alone on a free rectangle")


def bridge_alone() -> Top:
    """A thick patch outside."""
    outline = rectangle([0.2, 0.15], [0.028, 0.152])
    patch = Patch("bridge", WALNUT, outline, 7.5e-3, side="outside", grain_angle=np.pi / 2, is_bridge=True)
    return _top(_rectangle("free", patches=(patch,)), "a bridge alone on a free rectangle")


def bridge_and_plate() -> Top:
    """Both patches, one on either side."""
    patches = (*bridge_plate_alone().design.patches, *bridge_alone().design.patches)
    return _top(_rectangle("free", patches=patches), "a bridge over a bridge plate on a free rectangle")


def one_brace() -> Top:
    """One tall brace at an angle to the grain."""
    half = 130 * np.array([np.cos(np.deg2rad(37)), np.sin(np.deg2rad(37))])
    brace = _brace("b1", [np.array([200, 150]) - half, np.array([200, 150]) + half], 7, [15])
    return _top(_rectangle("clamped", braces=(brace,)), "one brace across the grain at 37 degrees, clamped")


def rounded_and_peaked() -> Top:
    """Sections that are not square."""
    braces = (
        _brace("rounded", [[110, 60], [140, 240]], 8, [(0, 4), (60, 11), (120, 11), (182, 4)], "rounded"),
        _brace("peaked", [[290, 60], [260, 240]], 8, [(0, 4), (60, 12), (120, 12), (182, 4)], "peaked"),
    )
    return _top(_rectangle("clamped", braces=braces), "a rounded and a peaked brace, clamped")


def _crossed(kept: float | None) -> Design:
    braces = []
    for k, degrees in enumerate((37.0, -37.0), start=1):
        half = 130 * np.array([np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))])
        braces.append(_brace(f"x{k}", [np.array([200, 150]) - half, np.array([200, 150]) + half], 7, [15]))
    return _rectangle("clamped", braces=tuple(braces), joints=(Joint("x1", "x2", kept),))


def half_lap() -> Top:
    """Two braces, each notched by half."""
    return _top(_crossed(None), "two braces crossing in a half lap, clamped")


def whole_and_cut() -> Top:
    """Two braces, one whole, the other cut and glued to its flanks."""
    return _top(_crossed(15e-3), "two braces crossing, one whole and the other cut, clamped")


def butted() -> Top:
    """Braces that end on the flank of another; drawn up to its centreline, they are cut at the flank."""
    main = _brace("main", [[60, 170], [340, 120]], 8, [13])
    slope = -50 / 280
    first = _brace("branch 1", [[190, 170 + 130 * slope], [150, 40]], 6, [9])
    second = _brace("branch 2", [[240, 170 + 180 * slope], [290, 260]], 6, [7])
    return _top(_rectangle("hinged", braces=(main, first, second)), "two braces that butt on a third, hinged")


def ladder() -> Top:
    """Bars across the grain."""
    bars = tuple(
        _tapered(f"bar {k}", [[x, -half], [x, half]], 7, height)
        for k, (x, half, height) in enumerate(
            ((60, 138, 11), (130, 170, 12), (205, 140, 12), (270, 102, 13), (396, 124, 13)), start=1
        )
    )
    return _top(_guitar("free", 2.7, braces=bars), "ladder of five bars on a guitar's outline, free")


def fan() -> Top:
    """Light struts along the grain with a bar across."""
    struts = tuple(
        _tapered(f"strut {k}", [[60 + 4 * abs(k - 3), 40 * (k - 3)], [235, 24 * (k - 3)]], 6, 5.5, end=1.5, taper=35)
        for k in range(1, 6)
    )
    bar = _tapered("lower bar", [[262, -102], [262, 102]], 7, 14)
    design = _guitar("hinged", 2.5, 86, braces=(*struts, bar))
    return _top(design, "fan of five struts and a bar, guitar, hinged")


def lattice() -> Top:
    """Many half laps."""
    braces = []
    for k, offset in enumerate((-80.0, 0.0, 80.0), start=1):
        for sign, letter in ((1.0, "a"), (-1.0, "b")):
            half = 110.0 - 0.5 * abs(offset)
            middle = np.array([180.0 + offset / 2, 150.0 - sign * offset / 2])
            along = half * np.array([1.0, sign]) / np.sqrt(2)
            braces.append(_brace(f"{letter}{k}", [middle - along, middle + along], 5, [8]))
    design = _rectangle("clamped", 360, 300, 2.5, braces=tuple(braces))
    note = "lattice of six braces with half laps at every crossing, clamped"
    return _top(design, note)


def scalloped_x() -> Top:
    """The starter top's X and bridge plate."""
    design = _guitar("free", braces=_legs(), joints=(Joint("x bass", "x treble", 7e-3),), patches=(_bridge_plate(),))
    return _top(design, "scalloped X, sound hole and bridge plate on a guitar's outline, free")


def x_alone() -> Top:
    """The starter top's X without patches."""
    design = scalloped_x().design
    return _top(replace(design, patches=()), "scalloped X and sound hole on a guitar's outline, free")


def starter_top() -> Top:
    """The whole starter top with bridge and reinforcements."""
    case = read_case(CHECKS / "starter_top")
    note = "the starter top: X, tone bars, fingers, bridge, bridge plate, reinforcements, free"
    return Top(case.design, case.woods, note, size=30e-3, coarse=True, drawn=case.folder)


def _domed(kind: str) -> Design:
    brace = _brace("b1", [[80, 120], [320, 180]], 7, [12])
    design = _rectangle(kind, braces=(brace,))
    x, y = design.driving_point
    return replace(design, plate=replace(design.plate, dome=Dome(8.0, 8.0, (float(x), float(y)))))


def domed_clamped() -> Top:
    """A dome whose rim cannot give way."""
    return _top(_domed("clamped"), "domed to a radius of 8 m, one brace, clamped")


def domed_free() -> Top:
    """A dome that bends nearly without stretching."""
    return _top(_domed("free"), "domed to a radius of 8 m, one brace, free")


def ribbed_rectangle() -> Top:
    """A metal plate with a rib across its middle, from the literature; see `make_checks.PUBLISHED`."""
    rib = Brace("rib", "steel", MM * np.array([[0.0, 300.0], [410.0, 300.0]]), 12.7e-3, RIB)
    outline = polygon_outline(MM * np.array([[0.0, 0.0], [410.0, 0.0], [410.0, 600.0], [0.0, 600.0]]))
    design = Design(outline, Plate("steel", 6.33e-3), braces=(rib,), edge=Edge("hinged"))
    steel = replace(isotropic(211e9, 0.3, 7830.0), name="steel")
    return Top(design, {"steel": steel}, "a steel plate with one deep rib, hinged", size=50e-3, hold_brace_ends=True)


def thinned_edge() -> Top:
    """A ring thinned on the outside face."""
    brace = _brace("b1", [[130, -90], [170, 90]], 7, [11])
    design = _guitar("clamped", 3.0, braces=(brace,))
    plate = replace(design.plate, ring_width=28 * MM, ring_reduction=0.8 * MM)
    return _top(replace(design, plate=plate), "edge thinned from 3 to 2.2 mm over 28 mm, one brace, guitar, clamped")


BUILDERS: dict[str, Callable[[], Top]] = {
    builder.__name__: builder
    for builder in (
        bridge_plate_alone,
        bridge_alone,
        one_brace,
        half_lap,
        rounded_and_peaked,
        scalloped_x,
        starter_top,
        x_alone,
        bridge_and_plate,
        whole_and_cut,
        bare,
        butted,
        ladder,
        fan,
        lattice,
        thinned_edge,
        domed_clamped,
        domed_free,
        ribbed_rectangle,
    )
}
