"""A case folder's drawing: top.toml to a design in SI units with its woods and targets.

Depends on geometry, fem/board_wood, fem/case_box, fem/case_braces, fem/case_build, fem/case_closed, fem/case_file,
fem/case_losses, fem/case_outline, fem/case_top, fem/case_patch, fem/case_plan, fem/case_strings, fem/closed_target,
fem/wood, fem/wood_table.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import shapely

from bracedtop.fem.case_box import box_of, box_woods
from bracedtop.fem.case_braces import brace_of, joints_of, refuse_repeats
from bracedtop.fem.case_build import Build, build_of
from bracedtop.fem.case_closed import closed_of
from bracedtop.fem.case_file import FILE_NAME, read_tables
from bracedtop.fem.case_losses import losses_of
from bracedtop.fem.case_outline import hole_of, outline_of
from bracedtop.fem.case_patch import mass_of, patch_of
from bracedtop.fem.case_plan import limits_of, targets_of
from bracedtop.fem.case_schema import (
    ORTHOTROPIC_KEYS,
    CaseTable,
    ClimateTable,
    EdgeTable,
    WoodTable,
)
from bracedtop.fem.case_strings import strengths_of, strings_of
from bracedtop.fem.case_top import dome_of, plate_of
from bracedtop.fem.closed_target import ClosedLimits, ClosedWish
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.moisture import Climate, wood_at, woods_at
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.strength import Strength
from bracedtop.fem.strings import StringSet
from bracedtop.fem.target import Target
from bracedtop.fem.toml_file import did_you_mean, shown, shown_text
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import MOISTURE, handbook_wood, wood_names
from bracedtop.geometry.box import Box
from bracedtop.geometry.design import Design, Edge
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.geometry.layout import check_layout
from bracedtop.geometry.units import GPA, MM

if TYPE_CHECKING:
    from bracedtop.fem.board_fit import BoardFit

N_PER_MM2 = 1.0e6
"""N per mm of deflection per mm of rim, in N/m per m of rim."""

DEFAULT_MESH_SIZE = 22e-3
"""Size of the triangles without [mesh], m; as in fem/model."""

MAX_TRIANGLES = 20_000
"""Most triangles that a drawing may ask for; chosen: twenty times a guitar's top, half a minute and some 2 GB."""

REACH, UNMEASURED = 20e-3, 0.05
"""How far outside the measured points the top counts as measured, m, and the part of it beyond that is worth a warning;
chosen: a caliper that reaches that far in from the rim leaves no gap."""


@dataclass(frozen=True, slots=True)
class Case:
    """A drawing read from its folder.

    Parameters
    ----------
    folder : Path
    name, note : str
    design : Design
    woods : mapping of str to Wood
        The woods that the design refers to and those defined in the file, at the climate's moisture content.
    targets : tuple of Target
        Frequencies that the maker wants, one a mode.
    warnings : tuple of str
        What the drawing says and the solver leaves out.
    mesh_size : float or None, m
    climate : Climate or None
        How damp the woods are; None for woods as they were given.
    strings : StringSet or None
    strengths : mapping of str to Strength
        Of the same woods, at 12 % moisture content whatever the climate.
    other_targets : tuple of Target
        Intervals, distances from a note, modes to leave alone, sustain.
    limits : Limits
        What a plan may do.
    box : Box or None
        None for a top alone.
    losses : mapping of str to LossFactors
        Of the same woods, whatever the climate.
    closed : ClosedWish or None
        Where a note of the closed box should be.
    closed_limits : ClosedLimits
        What thinning its ring may do.
    build : Build
        How it was built, in the maker's words.
    """

    folder: Path
    name: str
    note: str
    design: Design
    woods: Mapping[str, Wood]
    targets: tuple[Target, ...]
    warnings: tuple[str, ...]
    mesh_size: float | None = None
    climate: Climate | None = None
    strings: StringSet | None = None
    strengths: Mapping[str, Strength] = field(default_factory=dict)
    other_targets: tuple[Target, ...] = ()
    limits: Limits = field(default_factory=Limits)
    box: Box | None = None
    losses: Mapping[str, LossFactors] = field(default_factory=dict)
    closed: ClosedWish | None = None
    closed_limits: ClosedLimits = field(default_factory=ClosedLimits)
    build: Build = field(default_factory=Build)


def read_case(folder: Path) -> Case:
    """Drawing, woods and targets of a case folder.

    Parameters
    ----------
    folder : Path
        Folder that holds top.toml.

    Raises
    ------
    FileError
        If the file cannot be read or a line, key or value in it is wrong.
    DesignError
        If the parts do not fit together.
    """
    return case_of(read_tables(Path(folder)), Path(folder))


def case_of(tables: CaseTable, folder: Path) -> Case:
    """Drawing, woods and targets of checked tables.

    Parameters
    ----------
    tables : CaseTable
    folder : Path
        Where the files lie that the tables name: measured thicknesses, boards.

    Raises
    ------
    FileError
        If such a file cannot be used.
    DesignError
        If the parts do not fit together.
    """
    try:
        climate = None if tables.climate is None else _climate(tables.climate)
        fits = _board_fits(tables, folder)
        woods = _woods(tables, fits)
        if climate is not None:
            woods = woods_at(woods, climate)
        design = _design(tables, folder)
        check_layout(design)
        _check_driving_point(design)
        _check_size(tables, design)
        strings = strings_of(tables)
        box = box_of(tables, design, folder)
        if box is not None:
            _check_size(tables, box.back, "back")
    except DesignError as error:
        message = f"{FILE_NAME}: {error}"
        raise DesignError(message) from None
    targets = targets_of(tables)
    closed, closed_limits = closed_of(tables)
    return Case(
        folder=folder,
        name=tables.name or shown_text(folder.resolve().name) or "case",
        note=tables.note,
        design=design,
        woods=woods,
        targets=tuple(target for target in targets if target.kind == "frequency"),
        warnings=(*_warnings(design), *([] if climate is None else [climate.note])),
        mesh_size=None if tables.mesh is None else tables.mesh.size_mm * MM,
        climate=climate,
        strings=strings,
        strengths=strengths_of(tables, woods),
        other_targets=tuple(target for target in targets if target.kind != "frequency"),
        limits=limits_of(tables),
        box=box,
        losses=losses_of(tables, woods, fits),
        closed=closed,
        closed_limits=closed_limits,
        build=build_of(tables.build),
    )


def _refuse(where: str, found: str, allowed: str) -> NoReturn:
    message = f"{FILE_NAME}: {where} = {found}: {allowed}"
    raise FileError(message)


def _climate(table: ClimateTable) -> Climate:
    if table.humidity_percent is not None:
        return Climate.from_air(table.humidity_percent / 100, table.temperature_c)
    return Climate((table.moisture_percent or 0.0) / 100, table.temperature_c)


def _board_fits(tables: CaseTable, folder: Path) -> dict[str, "BoardFit"]:
    named = {name: table.board for name, table in tables.wood.items() if table.board is not None}
    if not named:
        return {}
    # Loaded here, as it brings the analysis of recordings, half as much again as all else that a drawing loads.
    from bracedtop.fem.board_wood import named_fit

    return {name: named_fit(board, folder, f'{FILE_NAME}: wood "{name}".board') for name, board in named.items()}


def _woods(tables: CaseTable, fits: Mapping[str, "BoardFit"]) -> dict[str, Wood]:
    woods = {
        name: replace(fits[name].wood, name=name) if name in fits else own_wood(name, table)
        for name, table in tables.wood.items()
    }
    uses = [("top.wood", tables.top.wood)]
    uses += [(f'brace "{row.name}".wood', row.wood) for row in tables.brace]
    uses += [(f'patch "{row.name}".wood', row.wood) for row in tables.patch]
    uses += box_woods(tables)
    for where, name in uses:
        if name in woods:
            continue
        woods[name] = _built_in(where, name, tuple(tables.wood))
    return woods


def _built_in(where: str, name: str, own: tuple[str, ...]) -> Wood:
    known = tuple(dict.fromkeys((*own, *wood_names())))
    if name not in wood_names():
        _refuse(where, shown(name), f"no such wood; {did_you_mean(name, known)}known: {', '.join(known)}")
    return handbook_wood(name)


def own_wood(name: str, table: WoodTable) -> Wood:
    """Wood of a table [wood.NAME] that names no board.

    Raises
    ------
    FileError
        If it is based on a wood that is not built in.
    """
    density = table.density_kg_per_m3
    if table.E_gpa is not None and table.nu is not None and density is not None:
        return isotropic(name, table.E_gpa * GPA, table.nu, density)
    given = {key: getattr(table, key) for key in ORTHOTROPIC_KEYS if getattr(table, key) is not None}
    own = {key.removesuffix("_gpa"): value * GPA for key, value in given.items() if key.endswith("_gpa")}
    own |= {key: value for key, value in given.items() if key.startswith("nu_")}
    if density is not None:
        own["density"] = density
    moisture = MOISTURE if table.moisture_percent is None else table.moisture_percent / 100
    if table.based_on is None:
        return Wood(name=name, source=FILE_NAME, moisture=moisture, **own)
    base = wood_at(_built_in(f'wood "{name}".based_on', table.based_on, ()), Climate(moisture))
    changed = ", ".join(given) or "nothing"
    return replace(base, name=name, source=f"{base.source}; {changed} from {FILE_NAME}", **own)


def isotropic(name: str, E: float, nu: float, density: float) -> Wood:
    """Material without grain, from Young's modulus in Pa, Poisson's ratio and density in kg/m^3."""
    G = E / (2.0 * (1.0 + nu))
    return Wood(name, E, E, E, G, G, G, nu, nu, nu, density, f"{FILE_NAME}, isotropic", species=None)


def _design(tables: CaseTable, folder: Path) -> Design:
    holes = tuple(hole_of(row) for row in tables.hole)
    refuse_repeats("brace", [row.name for row in tables.brace])
    refuse_repeats("patch", [row.name for row in tables.patch])
    refuse_repeats("mass", [row.name for row in tables.mass])
    bridges = [row.name for row in tables.patch if row.kind == "bridge"]
    if len(bridges) > 1:
        _refuse(f'patch "{bridges[1]}".kind', '"bridge"', f'"{bridges[0]}" is the bridge; only one is allowed')
    flat = Design(
        outline=outline_of(tables.outline),
        plate=plate_of(tables.top, folder, tables.thickness),
        holes=holes,
        braces=tuple(brace_of(row) for row in tables.brace),
        patches=tuple(patch_of(row, holes) for row in tables.patch),
        masses=tuple(mass_of(row) for row in tables.mass),
        joints=joints_of(tables.joint, [row.name for row in tables.brace]),
        edge=_edge(tables.edge),
        bridge_point=None if tables.bridge is None else _point(tables.bridge.point_mm),
    )
    return replace(flat, plate=replace(flat.plate, dome=dome_of(tables.top, flat.driving_point)))


def _point(pair: list[float]) -> tuple[float, float]:
    return pair[0] * MM, pair[1] * MM


def _edge(table: EdgeTable) -> Edge:
    return Edge(
        kind=table.kind,
        deflection=(table.deflection_n_per_mm2 or 0.0) * N_PER_MM2,
        rotation=table.rotation_n_per_rad or 0.0,
        inplane=(table.inplane_n_per_mm2 or 0.0) * N_PER_MM2,
    )


def _check_size(tables: CaseTable, design: Design, what: str = "top") -> None:
    size = DEFAULT_MESH_SIZE if tables.mesh is None else tables.mesh.size_mm * MM
    # Equilateral triangles of this side have an area of 0.43 size^2.
    n_triangles = design.region.area / (0.43 * size**2)
    if n_triangles > MAX_TRIANGLES:
        least = size * (n_triangles / MAX_TRIANGLES) ** 0.5 / MM
        found = f"{size / MM:g}, which would cut the {what} into {n_triangles:.0f} triangles"
        _refuse("mesh.size_mm", found, f"must be at least {math.ceil(least)} for this outline")


def _check_driving_point(design: Design) -> None:
    point = design.driving_point
    if not design.region.covers(shapely.Point(point)):
        message = (
            f"driving point at [{1e3 * point[0]:.1f}, {1e3 * point[1]:.1f}] mm is off the top or in a hole; "
            "set [bridge] point_mm to a point on the wood"
        )
        raise DesignError(message)


def _warnings(design: Design) -> list[str]:
    grid = design.plate.grid
    if grid is None:
        return []
    hull = shapely.MultiPoint(grid.points[:, :2]).convex_hull.buffer(REACH)
    share = design.region.difference(hull).area / design.region.area
    if share < UNMEASURED:
        return []
    return [
        f"{100 * share:.0f} % of the top lies more than {REACH / MM:g} mm outside the measured thicknesses; "
        "there the top counts as thick as at the nearest edge of what was measured"
    ]
