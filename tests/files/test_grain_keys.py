"""ring_angle_deg and runout_deg of top, braces and patches in top.toml."""

import numpy as np
import pytest

from bracedtop.fem.case import read_case
from bracedtop.fem.case_writer import case_text
from bracedtop.geometry.errors import FileError

TOP = """\
[outline]
points_mm = [[0, -180], [480, -180], [480, 180], [0, 180]]
[top]
wood = "spruce_sitka"
thickness_mm = 2.8
ring_angle_deg = 12
runout_deg = 3
[[brace]]
name = "bar"
wood = "spruce_sitka"
path_mm = [[30, -100], [270, 100]]
width_mm = 7.5
stations_mm = [[0, 8], [200, 15]]
ring_angle_deg = 90
runout_deg = -2
[[patch]]
name = "bridge"
kind = "bridge"
wood = "maple_sugar"
thickness_mm = 7
centre_mm = [100, 0]
size_mm = [30, 150]
ring_angle_deg = -45
runout_deg = 1.5
"""
ANGLES = (("plate", 12, 3), ("brace", 90, -2), ("patch", -45, 1.5))


def read(folder, text):
    (folder / "top.toml").write_text(text, encoding="utf-8")
    return read_case(folder)


def test_angles_are_read_and_written(tmp_path):
    case = read(tmp_path, TOP)
    for design in (case.design, read(tmp_path, case_text("x", "", case.design)).design):
        parts = {"plate": design.plate, "brace": design.braces[0], "patch": design.patches[0]}
        for key, rings, runout in ANGLES:
            assert np.rad2deg([parts[key].ring_angle, parts[key].runout]) == pytest.approx([rings, runout])


def test_straight_grain_is_quarter_sawn_and_left_unsaid(tmp_path):
    lines = [line for line in TOP.splitlines() if not line.startswith(("ring_angle", "runout"))]
    design = read(tmp_path, "\n".join(lines)).design
    assert {design.plate.ring_angle, design.braces[0].runout, design.patches[0].ring_angle} == {0.0}
    text = case_text("x", "", design)
    assert "ring_angle" not in text
    assert "runout" not in text


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("ring_angle_deg = 12", "ring_angle_deg = 120", "top.ring_angle_deg = 120: must be <= 90"),
        ("runout_deg = 3", "runout_deg = 60", "top.runout_deg = 60: must be <= 45"),
        ("runout_deg = -2", "runout_deg = -50", 'brace "bar".runout_deg = -50: must be >= -45'),
        ("ring_angle_deg = -45", 'ring_angle_deg = "flat"', 'patch "bridge".ring_angle_deg'),
        ("runout_deg = 3", "runout = 3", "runout_deg"),
    ],
)
def test_bad_angles_are_refused_in_one_line(tmp_path, old, new, says):
    with pytest.raises(FileError) as refusal:
        read(tmp_path, TOP.replace(old, new))
    assert says in str(refusal.value)
    assert "\n" not in str(refusal.value)
