"""Text of top.toml for a design.

Depends on geometry, fem/box_writer, fem/case, fem/closed_writer, fem/part_writer, fem/plan_limits, fem/target,
fem/wood, fem/wood_losses, fem/wood_table.
"""

from collections.abc import Iterable, Mapping

from bracedtop.fem.box_writer import box_text
from bracedtop.fem.case import N_PER_MM2
from bracedtop.fem.closed_target import ClosedLimits, ClosedWish
from bracedtop.fem.closed_writer import closed_text
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.moisture import ROOM, Climate, wood_at
from bracedtop.fem.part_writer import (
    Value,
    brace_text,
    corner_points,
    hole_text,
    in_mm,
    joint_text,
    mass_text,
    patch_text,
    plate_text,
    quoted,
    quoted_key,
    region_text,
    table,
)
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.strength import KEYS, Strength
from bracedtop.fem.strings import String, StringSet
from bracedtop.fem.target import TOLERANCE, Target
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_losses import WITHOUT_GRAIN, handbook_losses
from bracedtop.fem.wood_table import MOISTURE, wood_names
from bracedtop.geometry.box import Box
from bracedtop.geometry.design import Design, Edge
from bracedtop.geometry.units import DEGREE, GPA, GRAM, MM, MPA, is_note

THICKNESS_FILE = "thickness.csv"
"""Name under which a written case expects its measured thicknesses, see fem/thickness_file.thickness_text."""

_AXES = """\
# Lengths in mm, angles in degrees, frequencies in Hz. x runs along the centreline from the tail end to the neck;
# y points to the right as seen from the inside with the neck up. stations_mm are pairs: distance along the brace
# and height there.
"""


def case_text(
    name: str,
    note: str,
    design: Design,
    *,
    outline: Mapping[str, Value] | None = None,
    woods: Mapping[str, Wood] | None = None,
    targets: Iterable[Target] = (),
    mesh_size: float | None = None,
    climate: Climate | None = None,
    strings: StringSet | None = None,
    strengths: Mapping[str, Strength] | None = None,
    limits: Limits | None = None,
    box: Box | None = None,
    back_outline: Mapping[str, Value] | None = None,
    losses: Mapping[str, LossFactors] | None = None,
    closed: ClosedWish | None = None,
    closed_limits: ClosedLimits | None = None,
) -> str:
    """Text of a top.toml that reads back as this design.

    Measured thicknesses go into a file of their own beside it, `THICKNESS_FILE`.

    Parameters
    ----------
    name, note : str
    design : Design
    outline : mapping of str to value, mm
        Keys of [outline] that gave the design's outline, such as ``{"body_length_mm": 480, ...}``. Without it the
        outline is written as points, which only works where all its points are corners.
    woods : mapping of str to Wood
        Those that are not built in are written with all their constants.
    targets : iterable of Target
    mesh_size : float or None, m
    climate : Climate or None
    strings : StringSet or None
        Each is written by its tension.
    strengths : mapping of str to Strength
        Of the woods that are written.
    limits : Limits
        What a plan may do.
    box : Box or None
    back_outline : mapping of str to value, mm
        As `outline`, for a back whose outline is not the top's.
    losses : mapping of str to LossFactors
        Of the woods that are written.
    closed : ClosedWish or None
        Of a closed box.
    closed_limits : ClosedLimits

    Returns
    -------
    text : str

    Raises
    ------
    DesignError
        If the outline or a patch's border is a smooth curve whose origin is not known.
    """
    shape = corner_points(design.outline, "the outline") if outline is None else outline
    blocks = [
        f"name = {quoted(name)}\n" + (f"note = {quoted(note)}\n" if note else ""),
        _AXES,
        table("outline", shape),
        *(hole_text(hole) for hole in design.holes),
        plate_text(design.plate, "top", THICKNESS_FILE),
        *(region_text(k, region) for k, region in enumerate(design.plate.regions, start=1)),
        brace_text(design.braces),
        *(patch_text(patch, design.holes) for patch in design.patches),
        *(mass_text(mass) for mass in design.masses),
        *(joint_text(joint) for joint in design.joints),
        _edge(design.edge),
        *(_target(target) for target in targets),
    ]
    if limits is not None:
        blocks.append(_limits(limits))
    if design.bridge_point is not None:
        blocks.append(table("bridge", {"point_mm": in_mm(design.bridge_point)}))
    if mesh_size is not None:
        blocks.append(table("mesh", {"size_mm": mesh_size / MM}))
    if climate is not None:
        blocks.append(_climate(climate))
    if strings is not None:
        blocks += _strings(strings)
    if box is not None:
        blocks += box_text(box, design.outline, back_outline)
        blocks.append(closed_text(closed, closed_limits))
    own = (wood for wood in (woods or {}).values() if wood.name not in wood_names())
    blocks += [_wood(wood, (strengths or {}).get(wood.name, Strength()), (losses or {}).get(wood.name)) for wood in own]
    return "\n".join(block for block in blocks if block)


def _edge(edge: Edge) -> str:
    values: dict[str, Value] = {"kind": edge.kind}
    if edge.kind == "springs":
        values["deflection_n_per_mm2"] = edge.deflection / N_PER_MM2
        values["rotation_n_per_rad"] = edge.rotation
        values["inplane_n_per_mm2"] = edge.inplane / N_PER_MM2
    return table("edge", values)


def _target(target: Target) -> str:
    values: dict[str, Value] = {"mode": target.mode}
    if target.kind == "ratio":
        values |= {"ratio_to_mode": target.other, "ratio": 2.0 ** (target.cents / 1200)}
    elif target.kind == "gap":
        values |= {"away_from": target.text.split()[-1], "at_least_cents": target.cents}
    elif target.kind == "keep":
        values["keep_within_cents"] = target.cents
    elif target.kind == "sustain":
        values["sustain_s"] = target.seconds
    else:
        first, *rest = target.text.split()
        if rest[-1:] == ["Hz"]:
            values["hz"] = target.hz
        else:
            values |= {"note": first} | ({"cents": float(rest[0])} if rest else {})
    if target.kind in ("frequency", "ratio") and target.tolerance != TOLERANCE:
        values["tolerance_percent"] = 100 * target.tolerance
    if not target.is_must:
        values["weight"] = target.weight
    return table("[target]", values)


def _limits(limits: Limits) -> str:
    plain = Limits()
    values: dict[str, Value] = {}
    for key, name, unit in _LIMITS:
        if getattr(limits, name) != getattr(plain, name):
            values[key] = getattr(limits, name) / unit
    if limits.left:
        values["leave_braces"] = limits.left
    if not limits.cuts_ring:
        values["thin_edge_ring"] = False
    text = table("plan", values) if values else ""
    if limits.least_heights:
        heights = {quoted_key(name): height / MM for name, height in limits.least_heights.items()}
        text += ("" if text else "[plan]\n") + table("plan.brace_least_height_mm", heights)
    return text


_LIMITS = (
    ("largest_step_mm", "largest_step", MM),
    ("least_height_mm", "least_height", MM),
    ("shortest_cut_mm", "shortest", MM),
    ("steepest_percent", "largest_slope", 0.01),
    ("remove_at_most_g", "remove_at_most", GRAM),
    ("remove_about_g", "remove_about", GRAM),
    ("largest_bridge_turn_deg", "largest_turn", 1.0),
    ("largest_stress_share", "largest_stress_share", 1.0),
    ("confidence_percent", "confidence", 0.01),
    ("cut_error_mm", "cut_error", MM),
)
"""Keys of [plan], their names in the limits, and their units."""


def _climate(climate: Climate) -> str:
    damp: dict[str, Value] = {"moisture_percent": 100 * climate.moisture}
    if climate.humidity is not None:
        damp = {"humidity_percent": 100 * climate.humidity}
    return table("climate", damp | {"temperature_c": climate.temperature})


def _strings(strings: StringSet) -> list[str]:
    values: dict[str, Value] = {"saddle_height_mm": strings.saddle_height / MM, "anchor": strings.anchor}
    values |= {"break_angle_deg": strings.break_angle / DEGREE, "spread_mm": strings.spread / MM}
    if strings.string_angle is not None:
        values["string_angle_deg"] = strings.string_angle / DEGREE
    if strings.held is not None:
        values["held"] = strings.held
    if strings.scale_length is not None:
        values["scale_length_mm"] = strings.scale_length / MM
    if strings.frets is not None:
        values["frets"] = strings.frets
    return [table("strings", values), *(_string(string) for string in strings.strings)]


def _string(string: String) -> str:
    note: dict[str, Value] = {"note": string.name} if is_note(string.name) else {}
    values: dict[str, Value] = {**note, "tension_n": string.tension}
    if string.material is not None:
        values["material"] = string.material
    for key, value, unit in (
        ("diameter_mm", string.diameter, MM),
        ("core_mm", string.core, MM),
        ("bending_stiffness_n_mm2", string.bending_stiffness, MM**2),
        ("loss_factor", string.loss_factor, 1.0),
    ):
        if value is not None:
            values[key] = value / unit
    return table("[string]", values)


def _wood(wood: Wood, strength: Strength, losses: LossFactors | None) -> str:
    # Constants of own woods are written, and read, for room temperature.
    wood = wood if wood.temperature == ROOM else wood_at(wood, Climate(wood.moisture, ROOM))
    values: dict[str, Value] = {"based_on": wood.species} if wood.species in wood_names() else {}
    values |= {f"{key}_gpa": getattr(wood, key) / GPA for key in Wood.__slots__ if key[0] in "EG"}
    values |= {key: getattr(wood, key) for key in Wood.__slots__ if key.startswith("nu_")}
    if wood.species is None:
        values = {"E_gpa": wood.E_L / GPA, "nu": wood.nu_LR}
    elif wood.moisture != MOISTURE:
        values["moisture_percent"] = 100 * wood.moisture
    values["density_kg_per_m3"] = wood.density
    known = {key: getattr(strength, key) for key in KEYS if getattr(strength, key) is not None}
    values |= {f"{key}_strength_mpa": value / MPA for key, value in known.items()}
    if losses is not None:
        values |= _losses(wood, losses)
    return table(f"wood.{quoted_key(wood.name)}", values)


def _losses(wood: Wood, losses: LossFactors) -> dict[str, Value]:
    if wood.species is None:
        return {} if losses.along == WITHOUT_GRAIN else {"loss": losses.along}
    usual = handbook_losses(wood.species)
    keys = ("along", "across", "shear")
    return {f"loss_{key}": getattr(losses, key) for key in keys if getattr(losses, key) != getattr(usual, key)}
