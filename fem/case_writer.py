"""Text of top.toml for a design.

Depends on geometry, fem/case, fem/plan_limits, fem/target, fem/wood, fem/wood_table.
"""

import json
import re
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from bracedtop.fem.case import N_PER_MM2
from bracedtop.fem.moisture import ROOM, Climate, wood_at
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.strength import KEYS, Strength
from bracedtop.fem.strings import String, StringSet
from bracedtop.fem.target import TOLERANCE, Target
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import MOISTURE, wood_names
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.mass import PointMass
from bracedtop.geometry.outline import Array, Hole, Outline
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.thickness import ThicknessRegion
from bracedtop.geometry.units import DEGREE, GPA, GRAM, MM, MPA, is_note

Value = str | float | bool | Sequence[str] | Sequence[float] | Sequence[Sequence[float]]

THICKNESS_FILE = "thickness.csv"
"""Name under which a written case expects its measured thicknesses, see fem/thickness_file.thickness_text."""

_KINDS = ("bridge_plate", "hole_reinforcement", "neck_reinforcement")

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

    Returns
    -------
    text : str

    Raises
    ------
    DesignError
        If the outline or a patch's border is a smooth curve whose origin is not known.
    """
    shape = _corner_points(design.outline, "the outline") if outline is None else outline
    blocks = [
        f"name = {_text(name)}\n" + (f"note = {_text(note)}\n" if note else ""),
        _AXES,
        _table("outline", shape),
        *(_hole(hole) for hole in design.holes),
        _plate(design.plate),
        *(_region(k, region) for k, region in enumerate(design.plate.regions, start=1)),
        brace_text(design.braces),
        *(_patch(patch, design.holes) for patch in design.patches),
        *(_mass(mass) for mass in design.masses),
        *(_joint(joint) for joint in design.joints),
        _edge(design.edge),
        *(_target(target) for target in targets),
    ]
    if limits is not None:
        blocks.append(_limits(limits))
    if design.bridge_point is not None:
        blocks.append(_table("bridge", {"point_mm": _mm(design.bridge_point)}))
    if mesh_size is not None:
        blocks.append(_table("mesh", {"size_mm": mesh_size / MM}))
    if climate is not None:
        blocks.append(_climate(climate))
    if strings is not None:
        blocks += _strings(strings)
    own = (wood for wood in (woods or {}).values() if wood.name not in wood_names())
    blocks += [_wood(wood, (strengths or {}).get(wood.name, Strength())) for wood in own]
    return "\n".join(block for block in blocks if block)


def brace_text(braces: Iterable[Brace]) -> str:
    """[[brace]] tables of a top.toml."""
    return "\n".join(
        _table(
            "[brace]",
            {
                "name": brace.name,
                "wood": brace.wood,
                "path_mm": _mm(brace.path),
                "width_mm": brace.width / MM,
                "stations_mm": _mm(brace.stations),
                "shape": brace.shape,
                **_cut(brace),
            },
        )
        for brace in braces
    )


def _table(header: str, values: Mapping[str, Value]) -> str:
    return f"[{header}]\n" + "".join(f"{key} = {_value(value)}\n" for key, value in values.items())


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        # Twelve digits hide the rounding of the change of units and lose nothing that a maker drew.
        return f"{value:.12g}"
    return f"[{', '.join(_value(item) for item in value)}]"


def _text(text: str) -> str:
    # TOML's basic strings are JSON's, except for the delete character.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _mm(values: object) -> list[float] | list[list[float]]:
    # Adding zero turns minus zero into zero.
    return list((np.asarray(values, dtype=float) / MM + 0.0).tolist())


def _corner_points(outline: Outline, what: str) -> dict[str, Value]:
    if not outline.corners.all():
        message = f"{what} is a smooth curve; its points alone do not give it back, name the sizes it was drawn from"
        raise DesignError(message)
    return {"points_mm": _mm(outline.points)}


def _hole(hole: Hole) -> str:
    a, b = 2.0 * hole.semi_axes / MM
    sizes: dict[str, Value] = {"diameter_mm": float(a)}
    if a != b:
        sizes = {"size_mm": [float(a), float(b)], "angle_deg": hole.angle / DEGREE}
    return _table("[hole]", {"centre_mm": _mm(hole.centre), **sizes})


def _cut(part: Plate | Brace | Patch) -> dict[str, Value]:
    angles = {"ring_angle_deg": part.ring_angle / DEGREE, "runout_deg": part.runout / DEGREE}
    return {key: angle for key, angle in angles.items() if angle}


def _plate(plate: Plate) -> str:
    values: dict[str, Value] = {
        "wood": plate.wood,
        "thickness_mm": plate.thickness / MM,
        "grain_angle_deg": plate.grain_angle / DEGREE,
        **_cut(plate),
        "edge_ring_width_mm": plate.ring_width / MM,
        "edge_ring_reduction_mm": plate.ring_reduction / MM,
    }
    if plate.grid is not None:
        values["thickness_csv"] = THICKNESS_FILE
    if plate.dome is not None and not plate.dome.is_flat:
        radii = {"along": plate.dome.radius_along, "across": plate.dome.radius_across}
        values |= {f"dome_radius_{way}_mm": radius / MM for way, radius in radii.items() if np.isfinite(radius)}
        values["crown_mm"] = _mm(plate.dome.crown)
    return _table("top", values)


def _region(number: int, region: ThicknessRegion) -> str:
    border = _corner_points(region.outline, f"the border of thickness {number}")
    return _table("[thickness]", {**border, "thickness_mm": region.thickness / MM})


def _mass(mass: PointMass) -> str:
    values: dict[str, Value] = {
        "name": mass.name,
        "grams": mass.mass / GRAM,
        "at_mm": _mm(mass.at),
        "diameter_mm": mass.diameter / MM,
        "height_mm": mass.height / MM,
    }
    return _table("[mass]", values)


def _patch(patch: Patch, holes: Sequence[Hole]) -> str:
    values: dict[str, Value] = {
        "name": patch.name,
        "kind": _kind(patch),
        "wood": patch.wood,
        **_thickness(patch),
        "side": patch.side,
        "grain_angle_deg": patch.grain_angle / DEGREE,
        **_cut(patch),
        **_border(patch, holes),
    }
    if patch.under_braces:
        values["under_braces"] = True
    return _table("[patch]", values)


def _thickness(patch: Patch) -> dict[str, Value]:
    if patch.profile is None:
        return {"thickness_mm": patch.thickness / MM}
    return {"profile_mm": _mm(patch.profile), "profile_angle_deg": patch.profile_angle / DEGREE}


def _kind(patch: Patch) -> str:
    # A patch keeps no kind but the bridge's; the others differ in name only, so the name tells.
    if patch.is_bridge:
        return "bridge"
    plain = patch.name.lower().replace(" ", "_")
    return next((kind for kind in _KINDS if kind in plain), "graft")


def _border(patch: Patch, holes: Sequence[Hole]) -> dict[str, Value]:
    points = patch.outline.points
    for number, hole in enumerate(holes, start=1):
        grow = float(np.hypot(*(points[0] - hole.centre)) - hole.semi_axes[0])
        if grow > 0 and _same(points, hole.outline(grow=grow).points):
            return {"around_hole": number, "width_mm": grow / MM}
    return _corner_points(patch.outline, f'the border of patch "{patch.name}"')


def _same(a: Array, b: Array) -> bool:
    return a.shape == b.shape and np.allclose(a, b, rtol=0, atol=1e-9)


def _joint(joint: Joint) -> str:
    values: dict[str, Value] = {"under": joint.under, "over": joint.over}
    if joint.kept is not None:
        values["kept_mm"] = joint.kept / MM
    if joint.cap:
        values["cap_mm"], values["cap_length_mm"] = joint.cap / MM, joint.cap_length / MM
    return _table("[joint]", values)


def _edge(edge: Edge) -> str:
    values: dict[str, Value] = {"kind": edge.kind}
    if edge.kind == "springs":
        values["deflection_n_per_mm2"] = edge.deflection / N_PER_MM2
        values["rotation_n_per_rad"] = edge.rotation
        values["inplane_n_per_mm2"] = edge.inplane / N_PER_MM2
    return _table("edge", values)


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
    return _table("[target]", values)


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
    text = _table("plan", values) if values else ""
    if limits.least_heights:
        heights = {_key(name): height / MM for name, height in limits.least_heights.items()}
        text += ("" if text else "[plan]\n") + _table("plan.brace_least_height_mm", heights)
    return text


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _text(name)


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
    return _table("climate", damp | {"temperature_c": climate.temperature})


def _strings(strings: StringSet) -> list[str]:
    values: dict[str, Value] = {"saddle_height_mm": strings.saddle_height / MM, "anchor": strings.anchor}
    values |= {"break_angle_deg": strings.break_angle / DEGREE, "spread_mm": strings.spread / MM}
    if strings.string_angle is not None:
        values["string_angle_deg"] = strings.string_angle / DEGREE
    if strings.held is not None:
        values["held"] = strings.held
    return [_table("strings", values), *(_string(string) for string in strings.strings)]


def _string(string: String) -> str:
    note: dict[str, Value] = {"note": string.name} if is_note(string.name) else {}
    return _table("[string]", {**note, "tension_n": string.tension})


def _wood(wood: Wood, strength: Strength) -> str:
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
    return _table(f"wood.{_key(wood.name)}", values)
