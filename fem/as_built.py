"""The drawing's tables with the cuts of all passes on them: top.toml of the top as it was built.

Depends on geometry, fem/part_writer.
"""

import copy
import tomllib
from collections.abc import Mapping
from typing import Any

from bracedtop.fem.part_writer import brace_text, joint_text, plate_text
from bracedtop.geometry.design import Design

RING = ("edge_ring_width_mm", "edge_ring_reduction_mm")


def as_built_tables(tables: Mapping[str, Any], drawn: Design, built: Design) -> dict[str, Any]:
    """Copy of a drawing's tables with what the cuts have changed: heights of braces, joints, the edge ring.

    Parameters
    ----------
    tables : mapping
        Of top.toml, as the file has them.
    drawn, built : Design
        What they describe, and that with the cuts on it (geometry/cut).
    """
    found = copy.deepcopy(dict(tables))
    changed = {a.name for a, b in zip(drawn.braces, built.braces, strict=True) if a is not b}
    own = {
        brace.name: tomllib.loads(brace_text([brace]))["brace"][0] for brace in built.braces if brace.name in changed
    }
    for row in found.get("brace", []):
        if row["name"] in own:
            row["stations_mm"] = own[row["name"]]["stations_mm"]
    if changed and built.joints:
        # A joint keeps the notch that it was cut with, whatever the heights are now.
        found["joint"] = [row for joint in built.joints for row in tomllib.loads(joint_text(joint))["joint"]]
    if built.plate.ring_reduction != drawn.plate.ring_reduction:
        top = tomllib.loads(plate_text(built.plate, "top", ""))["top"]
        found["top"] |= {key: top[key] for key in RING}
    return found
