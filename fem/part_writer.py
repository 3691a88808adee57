"""Text of top.toml for a plate and what is glued to it.

Depends on geometry.
"""

import json
import re
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Joint, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.mass import PointMass
from bracedtop.geometry.outline import Array, Hole, Outline
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.thickness import ThicknessRegion
from bracedtop.geometry.units import DEGREE, GRAM, MM

Value = str | float | bool | Sequence[str] | Sequence[float] | Sequence[Sequence[float]]

_KINDS = ("bridge_plate", "hole_reinforcement", "neck_reinforcement")


def brace_text(braces: Iterable[Brace], header: str = "brace") -> str:
    """[[brace]] tables of a top.toml, or those of the back."""
    return "\n".join(
        table(
            f"[{header}]",
            {
                "name": brace.name,
                "wood": brace.wood,
                "path_mm": in_mm(brace.path),
                "width_mm": brace.width / MM,
                "stations_mm": in_mm(brace.stations),
                "shape": brace.shape,
                **_cut(brace),
            },
        )
        for brace in braces
    )


def table(header: str, values: Mapping[str, Value]) -> str:
    """Text of one table with a header such as ``top`` or ``[brace]``."""
    return f"[{header}]\n" + "".join(f"{key} = {_value(value)}\n" for key, value in values.items())


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, int | float):
        # Twelve digits hide the rounding of the change of units and lose nothing that a maker drew.
        return f"{value:.12g}"
    return f"[{', '.join(_value(item) for item in value)}]"


def quoted(text: str) -> str:
    """Text as a value of a table."""
    # TOML's basic strings are JSON's, except for the delete character.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def in_mm(values: object) -> list[float] | list[list[float]]:
    """Lengths in millimetres as plain numbers."""
    # Adding zero turns minus zero into zero.
    return list((np.asarray(values, dtype=float) / MM + 0.0).tolist())


def corner_points(outline: Outline, what: str) -> dict[str, Value]:
    """Key points_mm of a closed curve.

    Raises
    ------
    DesignError
        If it is a smooth curve.
    """
    if not outline.corners.all():
        message = f"{what} is a smooth curve; its points alone do not give it back, name the sizes it was drawn from"
        raise DesignError(message)
    return {"points_mm": in_mm(outline.points)}


def hole_text(hole: Hole) -> str:
    """[[hole]] table."""
    a, b = 2.0 * hole.semi_axes / MM
    sizes: dict[str, Value] = {"diameter_mm": float(a)}
    if a != b:
        sizes = {"size_mm": [float(a), float(b)], "angle_deg": hole.angle / DEGREE}
    return table("[hole]", {"centre_mm": in_mm(hole.centre), **sizes})


def _cut(part: Plate | Brace | Patch) -> dict[str, Value]:
    angles = {"ring_angle_deg": part.ring_angle / DEGREE, "runout_deg": part.runout / DEGREE}
    return {key: angle for key, angle in angles.items() if angle}


def plate_text(plate: Plate, header: str, grid_file: str) -> str:
    """[top] table, or that of the back; measured thicknesses are named as lying in `grid_file`."""
    values: dict[str, Value] = {
        "wood": plate.wood,
        "thickness_mm": plate.thickness / MM,
        "grain_angle_deg": plate.grain_angle / DEGREE,
        **_cut(plate),
        "edge_ring_width_mm": plate.ring_width / MM,
        "edge_ring_reduction_mm": plate.ring_reduction / MM,
    }
    if plate.grid is not None:
        values["thickness_csv"] = grid_file
    if plate.dome is not None and not plate.dome.is_flat:
        radii = {"along": plate.dome.radius_along, "across": plate.dome.radius_across}
        values |= {f"dome_radius_{way}_mm": radius / MM for way, radius in radii.items() if np.isfinite(radius)}
        values["crown_mm"] = in_mm(plate.dome.crown)
    return table(header, values)


def region_text(number: int, region: ThicknessRegion) -> str:
    """[[thickness]] table."""
    border = corner_points(region.outline, f"the border of thickness {number}")
    return table("[thickness]", {**border, "thickness_mm": region.thickness / MM})


def mass_text(mass: PointMass) -> str:
    """[[mass]] table."""
    values: dict[str, Value] = {
        "name": mass.name,
        "grams": mass.mass / GRAM,
        "at_mm": in_mm(mass.at),
        "diameter_mm": mass.diameter / MM,
        "height_mm": mass.height / MM,
    }
    return table("[mass]", values)


def patch_text(patch: Patch, holes: Sequence[Hole] = (), header: str = "patch") -> str:
    """[[patch]] table, or that of the back."""
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
    return table(f"[{header}]", values)


def _thickness(patch: Patch) -> dict[str, Value]:
    if patch.profile is None:
        return {"thickness_mm": patch.thickness / MM}
    return {"profile_mm": in_mm(patch.profile), "profile_angle_deg": patch.profile_angle / DEGREE}


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
    return corner_points(patch.outline, f'the border of patch "{patch.name}"')


def _same(a: Array, b: Array) -> bool:
    return a.shape == b.shape and np.allclose(a, b, rtol=0, atol=1e-9)


def joint_text(joint: Joint, header: str = "joint") -> str:
    """[[joint]] table, or that of the back."""
    values: dict[str, Value] = {"under": joint.under, "over": joint.over}
    if joint.kept is not None:
        values["kept_mm"] = joint.kept / MM
    if joint.cap:
        values["cap_mm"], values["cap_length_mm"] = joint.cap / MM, joint.cap_length / MM
    return table(f"[{header}]", values)


def quoted_key(name: str) -> str:
    """Key of a table, in quotes if it needs them."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else quoted(name)
