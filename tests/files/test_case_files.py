"""Good and bad top.toml files: what is read, and that every complaint is one line that names file and key."""

import dataclasses
import os
import random
import re
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem.case import Case, read_case
from bracedtop.fem.case_file import MAX_BYTES, read_tables
from bracedtop.fem.case_writer import case_text
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.errors import BracedTopError, DesignError, FileError
from bracedtop.geometry.mesh import mesh_top

BOX = """\
name = "box"
note = "every table at least once"
[outline]
points_mm = [[0, -180], [480, -180], [480, 180], [0, 180]]
[[hole]]
centre_mm = [360, 0]
diameter_mm = 98
[top]
wood = "my_spruce"
thickness_mm = 2.8
grain_angle_deg = 2.5
edge_ring_width_mm = 25
edge_ring_reduction_mm = 0.2
dome_radius_mm = 7600
[[brace]]
name = "x1"
wood = "spruce_sitka"
path_mm = [[30, -100], [270, 100]]
width_mm = 7.5
stations_mm = [[0, 3], [60, 8], [200, 15]]
shape = "rounded"
[[brace]]
name = "x2"
wood = "spruce_sitka"
path_mm = [[30, 100], [270, -100]]
width_mm = 8
stations_mm = [[0, 3], [60, 8], [200, 15]]
[[patch]]
name = "bridge"
kind = "bridge"
wood = "rosewood_indian"
thickness_mm = 9
grain_angle_deg = 90
centre_mm = [110, 0]
size_mm = [30, 150]
angle_deg = 3
[[patch]]
name = "ring"
kind = "hole_reinforcement"
wood = "spruce_sitka"
thickness_mm = 2
around_hole = 1
width_mm = 20
[[joint]]
under = "x1"
over = "x2"
kept_mm = 7.5
[edge]
kind = "springs"
deflection_n_per_mm2 = 0.5
rotation_n_per_rad = 20
inplane_n_per_mm2 = 5
[[target]]
mode = 1
hz = 190
[[target]]
mode = 2
note = "F#3"
cents = -10
[wood.my_spruce]
based_on = "spruce_sitka"
E_L_gpa = 11.2
[wood.aluminium]
E_gpa = 68.7
nu = 0.3
density_kg_per_m3 = 2820
[bridge]
point_mm = [100, 5]
[mesh]
size_mm = 20
"""

BODY_SIZES = {
    "body_length_mm": 480,
    "lower_bout_mm": 372,
    "lower_bout_at_mm": 125,
    "waist_mm": 232,
    "waist_at_mm": 288,
    "upper_bout_mm": 276,
    "upper_bout_at_mm": 398,
}
BODY = f"""\
name = "body"
[outline]
{chr(10).join(f"{key} = {value}" for key, value in BODY_SIZES.items())}
[[hole]]
centre_mm = [334, 0]
size_mm = [96, 80]
angle_deg = 30
[top]
wood = "cedar_western_red"
thickness_mm = 3
[[brace]]
name = "fan 1"
wood = "spruce_engelmann"
path_mm = [[60, -40], [250, -20]]
width_mm = 5
stations_mm = [[0, 2], [100, 6], [190, 2]]
shape = "peaked"
[[brace]]
name = "bar"
wood = "spruce_engelmann"
path_mm = [[268, -90], [268, 0], [266, 90]]
width_mm = 6
stations_mm = [[0, 3], [90, 12], [90, 10], [180, 3]]
[[patch]]
name = "graft"
kind = "graft"
wood = "maple_sugar"
thickness_mm = 2
side = "inside"
points_mm = [[130, -80], [170, -60], [170, 60], [130, 80]]
[edge]
kind = "hinged"
"""

SMOOTH = """\
[outline]
smooth = true
points_mm = [[0, 0], [120, -190], [300, -120], [400, -140], [480, 0], [400, 140], [300, 120], [120, 190]]
[top]
wood = "own"
thickness_mm = 2.5
[wood.own]
E_L_gpa = 11
E_R_gpa = 0.86
E_T_gpa = 0.47
G_LR_gpa = 0.70
G_LT_gpa = 0.67
G_RT_gpa = 0.033
nu_LR = 0.372
nu_LT = 0.467
nu_RT = 0.435
density_kg_per_m3 = 400
"""

CASES = Path(__file__).parents[2] / "cases"

GOOD = {"box": BOX, "body": BODY, "smooth": SMOOTH}
# Both with a closed box.
GOOD |= {name: (CASES / name / "top.toml").read_text(encoding="utf-8") for name in ("wren", "linnet")}


def read(folder, text) -> Case:
    content = text if isinstance(text, bytes) else text.encode()
    (folder / "top.toml").write_bytes(content)
    return read_case(folder)


def complaint(folder, text, kind=BracedTopError) -> str:
    with pytest.raises(kind) as caught:
        read(folder, text)
    message = str(caught.value)
    assert message.startswith("top.toml: ")
    assert len(message.splitlines()) == 1
    return message


def changed(old: str, new: str, text: str = BOX) -> str:
    assert old in text
    return text.replace(old, new, 1)


# Reading ---------------------------------------------------------------------------------------------------------


def test_box_is_read_in_si_units(tmp_path):
    case = read(tmp_path, BOX)
    design = case.design
    assert (case.name, case.note) == ("box", "every table at least once")
    np.testing.assert_allclose(design.outline.polygon.bounds, (0, -0.18, 0.48, 0.18))
    assert design.outline.corners.all()
    np.testing.assert_allclose(design.holes[0].semi_axes, 0.049)
    assert design.plate.wood == "my_spruce"
    np.testing.assert_allclose(
        (design.plate.thickness, design.plate.grain_angle, design.plate.ring_width, design.plate.ring_reduction),
        (2.8e-3, np.radians(2.5), 25e-3, 0.2e-3),
    )
    first = design.brace("x1")
    assert (first.wood, first.shape) == ("spruce_sitka", "rounded")
    np.testing.assert_allclose(first.path, [[0.03, -0.1], [0.27, 0.1]])
    np.testing.assert_allclose(first.stations, [[0, 3e-3], [60e-3, 8e-3], [200e-3, 15e-3]])
    np.testing.assert_allclose(first.width, 7.5e-3)
    bridge, ring = design.patches
    assert (bridge.is_bridge, bridge.side, ring.is_bridge, ring.side) == (True, "outside", False, "inside")
    np.testing.assert_allclose(bridge.polygon.area, 30e-3 * 150e-3)
    np.testing.assert_allclose(ring.polygon.area, np.pi * 69e-3**2, rtol=1e-3)
    joint = design.joints[0]
    assert (joint.under, joint.over, joint.kept) == ("x1", "x2", pytest.approx(7.5e-3))
    # 0.5 N/mm per mm of rim is 0.5e3 N/m per 1e-3 m; 20 N mm/rad per mm is 20 N m/rad per m.
    edge = design.edge
    assert (edge.kind, edge.deflection, edge.rotation, edge.inplane) == ("springs", 0.5e6, 20.0, 5e6)
    np.testing.assert_allclose(design.driving_point, [0.1, 0.005])
    np.testing.assert_allclose(case.mesh_size, 20e-3)


def test_woods_are_resolved_and_overridden(tmp_path):
    woods = read(tmp_path, BOX).woods
    sitka = handbook_wood("spruce_sitka")
    assert woods["spruce_sitka"] == sitka
    assert set(woods) == {"spruce_sitka", "rosewood_indian", "my_spruce", "aluminium"}
    own = woods["my_spruce"]
    np.testing.assert_allclose(own.E_L, 11.2e9)
    assert dataclasses.replace(own, name=sitka.name, E_L=sitka.E_L, source=sitka.source) == sitka
    assert "E_L_gpa from top.toml" in own.source
    metal = woods["aluminium"]
    # G = E / (2 (1 + nu)) of any isotropic solid.
    np.testing.assert_allclose((metal.E_L, metal.E_T, metal.G_RT, metal.density), (68.7e9, 68.7e9, 68.7e9 / 2.6, 2820))


def test_built_in_wood_can_be_changed_under_its_own_name(tmp_path):
    text = changed("[wood.my_spruce]", "[wood.spruce_sitka]").replace('"my_spruce"', '"spruce_sitka"')
    np.testing.assert_allclose(read(tmp_path, text).woods["spruce_sitka"].E_L, 11.2e9)


def test_targets_in_hertz_and_notes(tmp_path):
    first, second = read(tmp_path, BOX).targets
    assert (first.mode, first.hz, first.text) == (1, 190.0, "190 Hz")
    # F#3 is 15 equal-tempered semitones below A4 = 440 Hz (ISO 16).
    assert (second.mode, second.text) == (2, "F#3 -10 cents")
    np.testing.assert_allclose(second.hz, 440 * 2 ** (-15 / 12 - 10 / 1200))


def test_dome_has_its_crown_at_the_driving_point(tmp_path):
    case = read(tmp_path, BOX)
    dome = case.design.plate.dome
    np.testing.assert_allclose((dome.radius_along, dome.radius_across, *dome.crown), (7.6, 7.6, 0.1, 0.005))
    assert case.warnings == ()
    assert read(tmp_path, BODY).design.plate.dome is None


def test_smooth_and_body_outlines(tmp_path):
    body = read(tmp_path, BODY).design.outline
    np.testing.assert_allclose(body.polygon.bounds, (0, -0.186, 0.48, 0.186), atol=2e-5)
    assert not body.corners.any()
    smooth = read(tmp_path, SMOOTH).design
    assert not smooth.outline.corners.any()
    assert smooth.edge.kind == "clamped"


def test_name_is_that_of_the_folder_if_not_given(tmp_path):
    folder = tmp_path / "linnet"
    folder.mkdir()
    assert read(folder, SMOOTH).name == "linnet"


@pytest.mark.parametrize("prefix", [b"\xef\xbb\xbf", b""])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_files_of_other_editors_are_read(tmp_path, prefix, newline):
    assert read(tmp_path, prefix + BOX.replace("\n", newline).encode()).name == "box"


# Writing ---------------------------------------------------------------------------------------------------------


def same(a, b) -> bool:
    if dataclasses.is_dataclass(a):
        return type(a) is type(b) and all(same(getattr(a, f.name), getattr(b, f.name)) for f in dataclasses.fields(a))
    if isinstance(a, tuple):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float | np.ndarray):
        return b is not None and np.shape(a) == np.shape(b) and np.allclose(a, b, rtol=1e-10, atol=1e-12)
    return a == b


@pytest.mark.parametrize(("text", "outline"), [(BOX, None), (BODY, BODY_SIZES)])
def test_written_case_reads_back_as_the_same(tmp_path, text, outline):
    case = read(tmp_path, text)
    written = case_text(
        case.name,
        case.note,
        case.design,
        outline=outline,
        woods=case.woods,
        targets=case.targets,
        mesh_size=case.mesh_size,
    )
    again = read(tmp_path, written)
    assert same(again.design, case.design)
    assert again.targets == case.targets
    assert (again.name, again.note, again.warnings) == (case.name, case.note, case.warnings)
    for name, wood in case.woods.items():
        assert same(dataclasses.replace(again.woods[name], source=wood.source), wood)


def test_text_with_quotes_and_lines_is_written_safely(tmp_path):
    note = 'a "quote", a \\ and\n[a line]\nname = "x" \x7f \u2028 é'
    case = read(tmp_path, BOX)
    assert read(tmp_path, case_text('it\'s "so"', note, case.design, woods=case.woods)).note == note


def test_smooth_outline_without_its_sizes_is_refused(tmp_path):
    with pytest.raises(DesignError, match="smooth"):
        case_text("x", "", read(tmp_path, BODY).design)


# Refusing --------------------------------------------------------------------------------------------------------

BAD = [
    # what was meant, old text, new text, what the complaint has to say
    ("negative", "width_mm = 7.5", "width_mm = -7", 'brace "x1".width_mm = -7: must be > 0'),
    ("zero", "width_mm = 7.5", "width_mm = 0", 'brace "x1".width_mm = 0: must be > 0'),
    ("huge", "width_mm = 7.5", "width_mm = 1e30", "must be <= 2000"),
    ("nan", "width_mm = 7.5", "width_mm = nan", "must be a finite number"),
    ("infinite", "thickness_mm = 2.8", "thickness_mm = inf", "top.thickness_mm = inf"),
    ("text", "width_mm = 7.5", 'width_mm = "7.5"', "must be a number, written without quotes"),
    ("truth", "width_mm = 7.5", "width_mm = true", "= true: must be a number"),
    ("date", "width_mm = 7.5", "width_mm = 1979-05-27", "must be a number"),
    ("list", "width_mm = 7.5", "width_mm = [7.5]", "a list of 1: must be a number"),
    ("400 digits", "width_mm = 7.5", f"width_mm = 1{'0' * 400}", "must be a number"),
    ("5000 digits", "width_mm = 7.5", f"width_mm = 1{'0' * 5000}", "cannot be read"),
    ("5000 hex digits", "width_mm = 7.5", f"width_mm = 0x{'f' * 5000}", "a whole number of 20000 bits"),
    ("misspelt", "width_mm = 7.5", "widht_mm = 7.5", 'unknown key "widht_mm" in brace "x1"; did you mean "width_mm"?'),
    ("no unit", "width_mm = 7.5", "width = 7.5", 'key "width" in brace "x1" is missing its unit; write width_mm'),
    ("no unit", "grain_angle_deg = 2.5", "grain_angle = 2.5", "write grain_angle_deg"),
    ("no unit", "E_L_gpa = 11.2", "E_L = 11.2", 'in wood "my_spruce" is missing its unit; write E_L_gpa'),
    ("misspelt table", "[top]", "[tpo]", 'unknown key "tpo"; did you mean "top"?'),
    ("missing", "thickness_mm = 2.8\n", "", 'key "thickness_mm" is missing in top'),
    ("missing name", 'name = "x2"\n', "", 'key "name" is missing in brace 2'),
    ("height below zero", "[60, 8]", "[60, -8]", 'brace "x1".stations_mm row 2 number 2 = -8: must be >= 0'),
    ("station order", "[60, 8]", "[300, 8]", 'brace "x1": stations go back'),
    ("station off the brace", "[200, 15]", "[900, 15]", "brace's length 312.4 mm"),
    ("single", "[60, 8]", "[60]", "row 2 = a list of 1: must have at least 2 entries"),
    ("no pair", "[60, 8]", "60", "row 2 = 60: must be a pair of numbers like [60, 8]"),
    ("three", "[60, 8]", "[60, 8, 1]", "must have at most 2 entries"),
    ("one point", "[[30, -100], [270, 100]]", "[[30, -100]]", "path_mm = a list of 1: must have at least 2"),
    ("same point", "[[30, -100], [270, 100]]", "[[30, -100], [30, -100]]", "coincide"),
    ("brace off the top", "[270, 100]", "[470, 300]", 'brace "x1"'),
    ("brace over the hole", "[270, 100]", "[450, 60]", 'brace "x1"'),
    ("shape", '"rounded"', '"round"', 'shape = "round": must be one of "square", "rounded" or "peaked"'),
    ("same name", 'name = "x2"', 'name = "x1"', 'brace 2.name = "x1": brace 1 has this name'),
    ("name with newline", 'name = "x1"', 'name = "x\\n1"', 'name = "x\\n1": must be 1 to 60 letters'),
    ("name with bar", 'name = "x1"', 'name = "x|1"', "must be 1 to 60 letters"),
    ("empty name", 'name = "box"', 'name = ""', "must be one printable line"),
    ("not a list", "[[joint]]", "[joint]", "joint = a table: must be written as [[joint]]"),
    ("not a table", "[edge]", "[[edge]]", "edge = a list of 1: must be a table"),
    ("unknown brace", 'under = "x1"', 'under = "x3"', 'joint 1.under = "x3": no such brace; braces: x1, x2'),
    ("same brace", 'over = "x2"', 'over = "x1"', "joint"),
    ("unknown wood", '"rosewood_indian"', '"rosewod_indian"', 'did you mean "rosewood_indian"?'),
    ("part of a name", '"rosewood_indian"', '"cedar"', 'did you mean "cedar_western_red"?'),
    ("unknown base", 'on = "spruce_sitka"', 'on = "aluminium"', 'wood "my_spruce".based_on = "aluminium": no such'),
    ("no base", 'based_on = "spruce_sitka"\n', "", "E_R_gpa, E_T_gpa"),
    ("half isotropic", "nu = 0.3\n", "", 'wood "aluminium": missing nu; a material takes either E_gpa + nu'),
    ("nu of a liquid", "nu = 0.3", "nu = 0.5", "must be < 0.5"),
    ("both", 'based_on = "spruce_sitka"', 'based_on = "spruce_sitka"\nE_gpa = 3', "based_on together with E_gpa"),
    ("unphysical", "E_L_gpa = 11.2", "E_L_gpa = 0.01", 'wood "my_spruce"'),
    ("wood's name", "[wood.my_spruce]", '[wood."a\\tb"]', 'wood "a\\tb": must be 1 to 60'),
    ("target", "hz = 190", "hz = 0", "target 1.hz = 0: must be > 0"),
    ("target mode", "mode = 1", "mode = 0", "target 1.mode = 0: must be >= 1"),
    ("target mode", "mode = 1", "mode = 1.5", "must be a whole number"),
    ("target twice", "mode = 2", "mode = 1", "target 2.mode = 1: this mode has a target"),
    ("note", '"F#3"', '"H3"', 'target 2.note = "H3": must be a letter A to G'),
    (
        "hertz and note",
        "hz = 190",
        'hz = 190\nnote = "A3"',
        "target 1: found hz, note; a target takes either hz, or note",
    ),
    ("springs", 'kind = "springs"', 'kind = "clamped"', "deflection_n_per_mm2 with kind"),
    ("no spring", "[edge]", '[edge]\nkind = "springs"\n[mash]', 'unknown key "mash"'),
    ("ring", "edge_ring_reduction_mm = 0.2", "edge_ring_reduction_mm = 3", "edge ring"),
    ("no such hole", "around_hole = 1", "around_hole = 2", 'patch "ring".around_hole = 2'),
    ("half a border", "around_hole = 1\n", "", 'patch "ring": missing around_hole; a patch takes'),
    ("two borders", "around_hole = 1", "around_hole = 1\ncentre_mm = [1, 2]", 'patch "ring": found'),
    ("two bridges", '"hole_reinforcement"', '"bridge"', "only one is allowed"),
    ("patch off the top", "centre_mm = [110, 0]", "centre_mm = [700, 0]", 'patch "bridge"'),
    ("hole off the top", "centre_mm = [360, 0]", "centre_mm = [470, 0]", "hole"),
    ("driving point", "point_mm = [100, 5]", "point_mm = [360, 0]", "driving point"),
    ("crossed outline", "[480, 180], [0, 180]", "[0, 180], [480, 180]", "crosses or touches itself"),
    ("two outlines", "[outline]", "[outline]\nbody_length_mm = 480", "outline: found body_length_mm, points_mm"),
    ("fine mesh", "size_mm = 20\n", "size_mm = 2\n", "mesh.size_mm = 2, which would cut the top into"),
    ("not TOML", "width_mm = 7.5", "width_mm =", "line 19, column 11: not TOML: Invalid value"),
    ("key twice", "width_mm = 7.5", "width_mm = 7.5\nwidth_mm = 7.5", "line 20"),
    ("open list", "[200, 15]]", "[200, 15]", "not TOML"),
    ("deep list", "width_mm = 7.5", f"width_mm = {'[' * 20000}", "nested too deeply"),
    ("deep tables", "width_mm = 7.5", f"width_mm = {'{a=' * 20000}", "nested too deeply"),
    ("deep key", "width_mm = 7.5", f"a{'.a' * 20000} = 1", "line 19: more than 50 names joined by dots"),
    ("deep quoted key", "width_mm = 7.5", '"a b"' + '."a b"' * 20000 + " = 1", "more than 50 names"),
    ("control character", 'note = "', 'note = "\x01', "not TOML"),
]


@pytest.mark.parametrize(("old", "new", "expected"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_file_gets_one_line(tmp_path, old, new, expected):
    assert expected in complaint(tmp_path, changed(old, new))


def test_springs_need_a_stiffness(tmp_path):
    text = changed('kind = "hinged"', 'kind = "springs"', BODY)
    assert "at least one of deflection_n_per_mm2" in complaint(tmp_path, text)


def test_body_with_a_missing_size(tmp_path):
    assert "outline: missing waist_mm" in complaint(tmp_path, changed("waist_mm = 232\n", "", BODY))


def test_too_many_braces_and_points(tmp_path):
    brace = BOX[BOX.index("[[brace]]") : BOX.index("[[patch]]")]
    assert "brace = a list of 402: must have at most 200 entries" in complaint(tmp_path, BOX + brace * 200, FileError)
    points = ", ".join(f"[{i}, 0]" for i in range(2100))
    assert "at most 2000" in complaint(tmp_path, changed("[[0, -180], [480, -180]", f"[{points}"))


def test_huge_plate_has_to_be_meshed_coarsely(tmp_path):
    plate = (
        "[outline]\npoints_mm = [[0, 0], [10000, 0], [10000, 10000], [0, 10000]]\n" + SMOOTH[SMOOTH.index("[top]") :]
    )
    assert "must be at least" in complaint(tmp_path, plate)
    assert read(tmp_path, plate + "[mesh]\nsize_mm = 1000\n").design.outline.length == 10


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "is empty"),
        (b" \n\t\n", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (BOX.encode("utf-16"), "is not UTF-8"),
        (
            BOX.replace("free", "fr\xe9e").replace("every", "\xe9very").encode("latin-1"),
            "line 2: byte 0xe9 is not UTF-8",
        ),
        (random.Random(1).randbytes(5000), "is not UTF-8"),
        (b"\0" * 1000, "not TOML"),
        (b"#" * (MAX_BYTES + 1), "larger than 500 kB"),
    ],
)
def test_not_a_drawing(tmp_path, content, expected):
    assert expected in complaint(tmp_path, content, FileError)


@pytest.mark.parametrize(
    "text", ["a" * 490_000, "a." * 240_000, '"a' * 240_000, "[" * 490_000, "a = " + "[1," * 160_000]
)
def test_big_nonsense_is_refused_quickly(tmp_path, text):
    start = time.process_time()
    complaint(tmp_path, text, FileError)
    assert time.process_time() - start < 2


def test_folder_and_file_are_told_apart(tmp_path):
    with pytest.raises(FileError, match="no such folder"):
        read_tables(tmp_path / "nowhere")
    with pytest.raises(FileError, match=r"top.toml.*no such file"):
        read_tables(tmp_path)
    (tmp_path / "top.toml").mkdir()
    with pytest.raises(FileError, match="not a regular file"):
        read_tables(tmp_path)
    plain = tmp_path / "plain"
    plain.write_text(BOX)
    with pytest.raises(FileError, match="is a file; give the case's folder"):
        read_tables(plain)
    with pytest.raises(FileError, match="no such folder") as caught:
        read_tables(tmp_path / "two\nlines")
    assert "\n" not in str(caught.value)


def test_path_that_no_file_system_holds(tmp_path):
    with pytest.raises(FileError):
        read_tables(tmp_path / ("x" * 5000))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are a POSIX thing")
def test_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "top.toml")
    with pytest.raises(FileError, match="not a regular file"):
        read_tables(tmp_path)


@pytest.mark.parametrize("name", GOOD)
def test_good_files_are_good(tmp_path, name):
    assert read(tmp_path, GOOD[name]).design.outline.length > 0.4


# Random edits ----------------------------------------------------------------------------------------------------

NUMBER = re.compile(r"(?<![\w.])-?\d+(\.\d+)?(?![\w.])")
ODD_VALUES = st.sampled_from(
    [
        *('""', '"7"', "true", "[]", "[1]", "[[1, 2]]", "{}", "{a = 1}", "1979-05-27", "07:32:00", "nan", "-inf", "''"),
        *(
            "1e308",
            "-1e-308",
            "0",
            "-0.0",
            "1_0",
            "0x10",
            "9" * 50,
            "9" * 5000,
            "abc",
            "'''",
            '"""',
            "[",
            "\\",
            '"\\n"',
        ),
    ]
)
NUMBERS = st.one_of(
    st.floats(-1000, 1000).map(lambda v: f"{v:.4g}"), st.integers(-600, 600).map(str), st.floats().map(repr), ODD_VALUES
)
SNIPPETS = st.one_of(
    st.binary(min_size=1, max_size=6),
    st.sampled_from(
        [b"[", b"]", b"=", b'"', b".", b"\n", b"\r", b"\0", b"#", b"\xff", b"[[brace]]\n", b"[top]\n", b"a.b = 1\n"]
    ),
)


@st.composite
def edited(draw) -> bytes:
    lines = draw(st.sampled_from(list(GOOD.values()))).splitlines(keepends=True)
    for _ in range(draw(st.integers(1, 3))):
        here = draw(st.integers(0, len(lines) - 1))
        there = draw(st.integers(0, len(lines) - 1))
        action = draw(
            st.sampled_from(["delete", "repeat", "swap", "move", "number", "number", "number", "value", "key"])
        )
        line = lines[here]
        if action == "delete" and len(lines) > 1:
            del lines[here]
        elif action == "repeat":
            lines.insert(there, line)
        elif action == "swap":
            lines[here], lines[there] = lines[there], line
        elif action == "move":
            lines.insert(there, lines.pop(here))
        elif action == "number" and NUMBER.search(line):
            found = list(NUMBER.finditer(line))
            which = draw(st.integers(0, len(found) - 1))
            lines[here] = line[: found[which].start()] + draw(NUMBERS) + line[found[which].end() :]
        elif action == "value" and "=" in line:
            lines[here] = f"{line.split('=')[0]}= {draw(ODD_VALUES)}\n"
        elif action == "key" and "=" in line:
            cut = draw(st.integers(0, line.index("=")))
            lines[here] = line[:cut] + draw(st.sampled_from(["", "_", "x", ".", " ", "-"])) + line[cut + 1 :]
    content = "".join(lines).encode()
    if draw(st.integers(0, 5)) == 0:
        content = content[: draw(st.integers(0, len(content)))]
    if draw(st.integers(0, 5)) == 0:
        at = draw(st.integers(0, len(content)))
        content = content[:at] + draw(SNIPPETS) + content[at + draw(st.integers(0, 3)) :]
    return content


@settings(
    max_examples=600,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(content=edited())
def test_random_edits_are_read_or_refused_in_one_line(tmp_path, content):
    start = time.process_time()
    try:
        case = read(tmp_path, content)
    except BracedTopError as error:
        message = str(error)
        assert message.startswith("top.toml: ")
        assert len(message.splitlines()) == 1
        assert len(message) < 2000
    else:
        assert isinstance(case, Case)
    assert time.process_time() - start < 2
    assert (tmp_path / "top.toml").read_bytes() == content


@pytest.mark.slow
@settings(
    max_examples=600,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(content=edited())
def test_random_edits_that_are_read_can_be_meshed(tmp_path, content):
    try:
        case = read(tmp_path, content)
    except BracedTopError:
        return
    assert mesh_top(case.design, case.mesh_size or 25e-3).n_triangles > 0
    if case.box is not None:
        assert mesh_top(case.box.back, case.mesh_size or 25e-3).n_triangles > 0
