"""Good and bad keys for thickness, dome, profiles of patches and masses; the file of measured thicknesses."""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bracedtop.fem.case import read_case
from bracedtop.fem.case_writer import THICKNESS_FILE, case_text
from bracedtop.fem.thickness_file import LARGEST_FILE, MOST_POINTS, thickness_text
from bracedtop.geometry.errors import BracedTopError
from bracedtop.geometry.patch import patch_thickness_at
from bracedtop.geometry.thickness import ThicknessGrid, thickness_at

TOP = """\
name = "features"
[outline]
points_mm = [[0, -150], [400, -150], [400, 150], [0, 150]]
[[hole]]
centre_mm = [300, 0]
diameter_mm = 80
[top]
wood = "spruce_sitka"
thickness_mm = 2.8
thickness_csv = "thickness.csv"
dome_radius_along_mm = 9000
dome_radius_across_mm = 6000
crown_mm = [200, 0]
[[thickness]]
points_mm = [[0, -150], [60, -150], [60, 150], [0, 150]]
thickness_mm = 2.2
[[thickness]]
points_mm = [[0, -30], [60, -30], [60, 30], [0, 30]]
thickness_mm = 2.4
[[patch]]
name = "bridge"
kind = "bridge"
wood = "rosewood_indian"
profile_mm = [[-76, 3], [-50, 7.5], [50, 7.5], [76, 3]]
grain_angle_deg = 90
centre_mm = [110, 0]
size_mm = [30, 152]
angle_deg = 3
[[mass]]
name = "saddle"
grams = 2.1
at_mm = [112, 0]
diameter_mm = 20
height_mm = 9
[[mass]]
name = "pins"
grams = 6
at_mm = [98, 0]
"""

DOME = "dome_radius_along_mm = 9000\ndome_radius_across_mm = 6000\n"
AREA = "[[0, -30], [60, -30], [60, 30], [0, 30]]"
WINGS = "[[-76, 3], [-50, 7.5], [50, 7.5], [76, 3]]"
GRID = "x_mm,y_mm,thickness_mm\n# measured by caliper\n0,-140,2.5\n\n390,-140,2.9\n0,140,2.5\n390,140,2.9\n"


def read(folder, text=TOP, grid=GRID):
    (folder / "top.toml").write_text(text, encoding="utf-8")
    if grid is not None:
        (folder / "thickness.csv").write_bytes(grid if isinstance(grid, bytes) else grid.encode())
    return read_case(folder)


def complaint(folder, text=TOP, grid=GRID) -> str:
    with pytest.raises(BracedTopError) as caught:
        read(folder, text, grid)
    assert len(str(caught.value).splitlines()) == 1
    return str(caught.value)


def changed(old, new, text=TOP):
    assert old in text
    return text.replace(old, new, 1)


def test_features_are_read_in_si_units(tmp_path):
    case = read(tmp_path)
    design = case.design
    plate = design.plate
    np.testing.assert_allclose((plate.dome.radius_along, plate.dome.radius_across, *plate.dome.crown), (9, 6, 0.2, 0))
    assert plate.grid.points.shape == (4, 3)
    xy = np.array([[0.03, 0.1], [0.03, 0.0], [0.195, 0.01]])
    np.testing.assert_allclose(thickness_at(plate, xy), [2.2e-3, 2.4e-3, 2.7e-3])
    (bridge,) = design.patches
    assert bridge.thickness == pytest.approx(7.5e-3)
    # Its longer side runs across the top; distances count towards y > 0.
    t = np.radians(93) * np.ones(2)
    there = np.array([0.11, 0]) + np.array([[0.07], [-0.05]]) * np.column_stack([np.cos(t), np.sin(t)])
    np.testing.assert_allclose(patch_thickness_at(bridge, there), [3e-3 + 6 / 26 * 4.5e-3, 7.5e-3])
    saddle, pins = design.masses
    np.testing.assert_allclose(
        (saddle.mass, *saddle.at, saddle.diameter, saddle.height), (2.1e-3, 0.112, 0, 0.02, 9e-3), atol=1e-15
    )
    np.testing.assert_allclose((pins.diameter, pins.height), (10e-3, 0.0))
    assert case.warnings == ()


@pytest.mark.parametrize(
    ("angle", "size", "expected"),
    [(0, [30, 150], 90), (0, [150, 30], 0), (180, [150, 30], 0), (100, [150, 30], 100), (-80, [30, 150], 10)],
)
def test_a_profile_runs_along_the_longer_side_towards_neck_or_bass_side(tmp_path, angle, size, expected):
    text = changed("size_mm = [30, 152]\nangle_deg = 3", f"size_mm = {size}\nangle_deg = {angle}")
    np.testing.assert_allclose(np.degrees(read(tmp_path, text).design.patches[0].profile_angle), expected, atol=1e-9)


def test_one_radius_and_a_cylinder(tmp_path):
    both = changed(DOME + "crown_mm = [200, 0]\n", "dome_radius_mm = 7e3\n")
    dome = read(tmp_path, both).design.plate.dome
    # Without a crown of its own it has it under the bridge.
    np.testing.assert_allclose((dome.radius_along, dome.radius_across, *dome.crown), (7, 7, 0.11, 0), atol=1e-12)
    arched = read(tmp_path, changed("dome_radius_along_mm = 9000\n", "")).design.plate.dome
    assert (arched.radius_along, arched.radius_across) == (np.inf, 6.0)


def test_other_orders_and_separators_of_columns(tmp_path):
    grid = "﻿Thickness_mm; X_mm; Y_mm\r\n2.5; 0; -140\r\n2.9; 390; -140\r\n2.5; 0; 140\r\n"
    np.testing.assert_allclose(read(tmp_path, grid=grid).design.plate.grid.points[1], [0.39, -0.14, 2.9e-3])


def test_part_of_the_top_unmeasured_is_said(tmp_path):
    (warning,) = read(tmp_path, grid="x_mm,y_mm,thickness_mm\n0,-100,2.5\n0,100,2.5\n200,0,2.9\n").warnings
    assert "of the top lies more than 20 mm outside the measured thicknesses" in warning


def test_written_features_read_back_as_the_same(tmp_path):
    case = read(tmp_path)
    folder = tmp_path / "again"
    folder.mkdir()
    (folder / THICKNESS_FILE).write_text(thickness_text(case.design.plate.grid), encoding="utf-8")
    again = read(folder, case_text(case.name, case.note, case.design), grid=None)
    np.testing.assert_allclose(again.design.plate.grid.points, case.design.plate.grid.points, rtol=1e-11, atol=1e-15)
    assert again.design.plate.dome == case.design.plate.dome
    for old, new in zip(case.design.plate.regions, again.design.plate.regions, strict=True):
        np.testing.assert_allclose(new.outline.points, old.outline.points, atol=1e-12)
        assert new.thickness == pytest.approx(old.thickness)
    (old,), (new,) = case.design.patches, again.design.patches
    np.testing.assert_allclose(new.profile, old.profile, rtol=1e-11)
    assert (new.profile_angle, new.thickness) == pytest.approx((old.profile_angle, old.thickness))
    for old, new in zip(case.design.masses, again.design.masses, strict=True):
        assert (new.name, new.mass, new.diameter, new.height) == pytest.approx(
            (old.name, old.mass, old.diameter, old.height)
        )
        assert new.at == pytest.approx(old.at)


def test_written_flat_dome_is_no_dome(tmp_path):
    design = read(tmp_path).design
    plate = replace(design.plate, dome=replace(design.plate.dome, radius_along=np.inf, radius_across=np.inf))
    assert "dome" not in case_text("flat", "", replace(design, plate=plate))


BAD = [
    (
        "both radii and one",
        "crown_mm",
        "dome_radius_mm = 7000\ncrown_mm",
        "top: dome_radius_mm together with dome_radius_along_mm",
    ),
    ("crown alone", DOME, "", "top: crown_mm without a dome"),
    ("no radius", "= 9000", "= 0", "top.dome_radius_along_mm = 0: must be > 0"),
    ("steep", "= 6000", "= 150", "top: dome of radius 150 mm across with its crown at [200.0, 0.0] mm rises"),
    ("far crown", "crown_mm = [200, 0]", "crown_mm = [2000, 0]", "rises 222.2 mm; must be at most 80.0"),
    ("region of two points", AREA, "[[0, 0], [1, 0]]", "thickness 2.points_mm = a list of 2"),
    ("crossed region", "[[0, -30], [60, -30]", "[[60, -30], [0, -30]", "thickness 2: the outline crosses"),
    ("no thickness", "thickness_mm = 2.4", "", 'key "thickness_mm" is missing in thickness 2'),
    (
        "decimal point",
        "thickness_mm = 2.4",
        "thickness_mm = 24",
        "thickness 2.thickness_mm = 24; must lie from 0.7 to 11.2",
    ),
    ("region off", AREA, "[[0, 200], [60, 200], [60, 230]]", "thickness 2: less than 2 mm"),
    (
        "unit",
        "thickness_mm = 2.4",
        "thickness = 2.4",
        'key "thickness" in thickness 2 is missing its unit; write thickness_mm',
    ),
    (
        "two thicknesses",
        "profile_mm",
        "thickness_mm = 9\nprofile_mm",
        'patch "bridge": found thickness_mm, profile_mm; a patch\'s thickness takes',
    ),
    ("neither", f"profile_mm = {WINGS}\n", "", 'patch "bridge": found none of its keys'),
    ("angle alone", f"profile_mm = {WINGS}", "profile_angle_deg = 3", "missing profile_mm"),
    ("profile of one", WINGS, "[[0, 3]]", 'patch "bridge".profile_mm = a list of 1'),
    (
        "profile back",
        "[[-76, 3], [-50, 7.5]",
        "[[-50, 3], [-76, 7.5]",
        'patch "bridge": profile row 2 at -76 mm is not beyond row 1',
    ),
    ("profile through", "[76, 3]", "[76, 0]", 'patch "bridge": profile row 4 is 0 mm thick; must be > 0'),
    ("square", "size_mm = [30, 152]", "size_mm = [80, 80]", "profile_mm without profile_angle_deg"),
    ("mass off", "at_mm = [98, 0]", "at_mm = [980, 0]", 'mass "pins" at [980.0, 0.0] mm: lies off the top'),
    (
        "mass in hole",
        "at_mm = [98, 0]",
        "at_mm = [300, 0]",
        'mass "pins" at [300.0, 0.0] mm: lies off the top or in a hole',
    ),
    ("no grams", "grams = 6", "grams = 0", 'mass "pins".grams = 0: must be > 0'),
    ("grams missing", "grams = 6\n", "", 'key "grams" is missing in mass "pins"'),
    ("same name", '"pins"', '"saddle"', 'mass 2.name = "saddle": mass 1 has this name'),
    ("absolute", '"thickness.csv"', '"/etc/hostname"', 'top.thickness_csv = "/etc/hostname": must be a path inside'),
    ("outside", '"thickness.csv"', '"../thickness.csv"', "must be a path inside the case's folder"),
    ("no file", '"thickness.csv"', '"other.csv"', "other.csv: no such file in the case's folder"),
    ("folder", '"thickness.csv"', '"."', ".: is not a regular file"),
]


@pytest.mark.parametrize(("old", "new", "expected"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_key_gets_one_line(tmp_path, old, new, expected):
    (tmp_path / "case").mkdir()
    assert expected in complaint(tmp_path / "case", changed(old, new))


BAD_GRIDS = [
    ("empty", "", "thickness.csv: is empty; it needs the header x_mm,y_mm,thickness_mm"),
    ("no header", "0,0,2.8\n1,0,2.8\n", 'thickness.csv: line 1: header "0,0,2.8"; must be x_mm,y_mm,thickness_mm'),
    ("other header", "x,y,t\n0,0,2.8\n", 'line 1: header "x,y,t"; must be'),
    ("two points", "x_mm,y_mm,thickness_mm\n0,0,2.8\n9,0,2.8\n", "thickness.csv: lists 2 points; at least three"),
    ("word", GRID.replace("390,140,2.9", "390,140,thin"), 'line 7: thickness_mm = "thin"; must be a number'),
    ("nan", GRID.replace("390,140,2.9", "nan,140,2.9"), 'line 7: x_mm = "nan"; must be a number'),
    ("other digits", GRID.replace("390,140,2.9", "390,140,٢"), "line 7: thickness_mm ="),
    ("comma", GRID.replace("390,140,2.9", "390,140,2,9"), "line 7: 4 fields; must be 3 as in the header (a decimal"),
    ("field missing", GRID.replace("390,140,2.9", "390,140"), "line 7: 2 fields; must be 3 as in the header"),
    ("zero", GRID.replace("390,140,2.9", "390,140,0"), "line 7: thickness_mm = 0; must be > 0"),
    ("far", GRID.replace("390,140,2.9", "39000,140,2"), "line 7: x_mm = 39000; must be from -20000 and at most 20000"),
    (
        "off the top",
        GRID.replace("390,140", "390,340"),
        "measured thickness: point 4 at [390.0, 340.0] mm lies 190 mm off",
    ),
    (
        "decimal point",
        GRID.replace("140,2.9", "140,29"),
        "point 2 at [390.0, -140.0] mm is 29 mm; must lie from 0.7 to",
    ),
    ("twice", GRID + "390,140,2.8\n", "line 8: [390, 140] mm stands on line 7 too; a place is given once"),
    ("almost twice", GRID + "390,140.05,2.8\n", "points 4 and 5 both lie at [390.0, 140.1] mm"),
    ("one line", "x_mm,y_mm,thickness_mm\n0,0,2\n9,0,2\n90,0,2\n", "all points lie on one line"),
    ("not text", b"x_mm,y_mm,thickness_mm\n0,\xff,2\n", "line 2: byte 0xff is not UTF-8 text"),
    ("large", b" " * (LARGEST_FILE + 1), "is larger than 500 kB"),
    ("many", "x_mm,y_mm,thickness_mm\n" + "0,0,2\n" * (MOST_POINTS + 1), "more than 5000 points"),
    ("quote", 'x_mm,y_mm,thickness_mm\n"0,0,2\n', "line 2: is not CSV"),
]


@pytest.mark.parametrize(("grid", "expected"), [row[1:] for row in BAD_GRIDS], ids=[row[0] for row in BAD_GRIDS])
def test_bad_grid_gets_one_line(tmp_path, grid, expected):
    assert expected in complaint(tmp_path, grid=grid)


def test_a_link_out_of_the_folder_is_not_followed(tmp_path):
    folder = tmp_path / "case"
    folder.mkdir()
    (tmp_path / "other.csv").write_text(GRID, encoding="utf-8")
    try:
        (folder / "thickness.csv").symlink_to(tmp_path / "other.csv")
    except OSError:
        pytest.skip("links are not allowed here")
    assert "must be a path inside the case's folder" in complaint(folder, grid=None)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "thickness.csv")
    assert "is not a regular file" in complaint(tmp_path, grid=None)


def test_the_name_of_the_file_is_shown_on_one_line(tmp_path):
    assert "thickness_csv" in complaint(tmp_path, changed('"thickness.csv"', r'"a\u0000b"'))


def test_grid_text_keeps_its_points():
    points = np.random.default_rng(1).uniform([0, -0.1, 2e-3], [0.4, 0.1, 3e-3], (20, 3))
    lines = thickness_text(ThicknessGrid(points)).splitlines()
    np.testing.assert_allclose([[float(v) for v in line.split(",")] for line in lines[1:]], points * 1e3, rtol=1e-11)


def test_path_of_a_case_may_be_relative(tmp_path, monkeypatch):
    read(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert read_case(Path()).design.plate.grid is not None
