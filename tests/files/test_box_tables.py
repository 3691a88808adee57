"""The closed box in top.toml: what is read, what is refused in one line, and that what is written reads back."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem.board_file import read_board
from bracedtop.fem.board_fit import fit_board
from bracedtop.fem.board_losses import fit_losses
from bracedtop.fem.case import Case, read_case
from bracedtop.fem.case_writer import case_text
from bracedtop.fem.loss_factors import USUAL, LossFactors
from bracedtop.fem.wood_losses import handbook_losses
from bracedtop.fem.wood_table import wood_names
from bracedtop.geometry.box import Block, Box, Finish, Lining, Sides
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.check_box import check_box
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.errors import BracedTopError, DesignError, FileError
from bracedtop.geometry.outline import Hole, polygon_outline, rectangle
from bracedtop.geometry.patch import Patch

CASES = Path(__file__).parents[2] / "cases"

TOP = """\
name = "closed"
[outline]
points_mm = [[0, -180], [480, -180], [480, 180], [0, 180]]
[[hole]]
centre_mm = [340, 0]
diameter_mm = 96
[top]
wood = "spruce_sitka"
thickness_mm = 2.8
[[brace]]
name = "long"
wood = "spruce_sitka"
path_mm = [[40, 30], [280, 30]]
width_mm = 7
stations_mm = [[0, 3], [120, 14], [240, 3]]
"""

CLOSED = (
    TOP
    + """\
[sides]
wood = "maple_sugar"
thickness_mm = 2.2
depth_mm = [[0, 110], [240, 104], [480, 92]]
[back]
wood = "rosewood_indian"
thickness_mm = 2.6
ring_angle_deg = 3
dome_radius_mm = 4500
crown_mm = [230, 5]
[back.outline]
points_mm = [[0, -182], [480, -182], [480, 182], [0, 182]]
[[back_brace]]
name = "b1"
wood = "spruce_sitka"
path_mm = [[100, -170], [100, 170]]
width_mm = 9
stations_mm = [[0, 3], [170, 12], [340, 3]]
[[back_brace]]
name = "b2"
wood = "spruce_sitka"
path_mm = [[60, 90], [300, 90]]
width_mm = 9
stations_mm = [[0, 3], [120, 12], [240, 3]]
[[back_patch]]
name = "strip"
kind = "graft"
wood = "spruce_sitka"
thickness_mm = 2
grain_angle_deg = 90
points_mm = [[20, -8], [420, -8], [420, 8], [20, 8]]
[[back_joint]]
under = "b2"
over = "b1"
kept_mm = 6
[[lining]]
face = "top"
wood = "mahogany_honduras"
width_mm = 6
height_mm = 15
kerf_every_mm = 8
kerf_width_mm = 1.2
kerf_depth_mm = 4.5
[[lining]]
face = "back"
wood = "foam"
width_mm = 8
height_mm = 12
face_rests_on = "lining"
[[block]]
end = "neck"
wood = "mahogany_honduras"
length_mm = 50
width_mm = 64
[[block]]
end = "tail"
wood = "basswood"
length_mm = 18
width_mm = 70
[[finish]]
face = "top"
mass_g_per_m2 = 70
film_mm = 0.06
modulus_gpa = 2
loss = 0.05
[[finish]]
face = "sides"
mass_g_per_m2 = 40
[box]
rim = "held"
neck_mass_g = 750
ring_width_mm = 22
temperature_c = 23
[wood.foam]
E_gpa = 0.05
nu = 0.3
density_kg_per_m3 = 100
loss = 0.1
[wood.my_spruce]
based_on = "spruce_sitka"
loss_along = 0.008
"""
)


def read(folder, text) -> Case:
    (folder / "top.toml").write_text(text, encoding="utf-8")
    return read_case(folder)


def complaint(folder, text, kind=BracedTopError) -> str:
    with pytest.raises(kind) as caught:
        read(folder, text)
    message = str(caught.value)
    assert message.startswith("top.toml: ")
    assert len(message.splitlines()) == 1
    return message


def changed(old: str, new: str, text: str = CLOSED) -> str:
    assert old in text
    return text.replace(old, new, 1)


def same(a, b) -> bool:
    if dataclasses.is_dataclass(a):
        return type(a) is type(b) and all(same(getattr(a, f.name), getattr(b, f.name)) for f in dataclasses.fields(a))
    if isinstance(a, tuple):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float | np.ndarray):
        return b is not None and np.shape(a) == np.shape(b) and np.allclose(a, b, rtol=1e-10, atol=1e-12)
    return a == b


# Reading ---------------------------------------------------------------------------------------------------------


def test_box_is_read_in_si_units(tmp_path):
    case = read(tmp_path, CLOSED)
    box = case.box
    assert (box.sides.wood, box.sides.thickness) == ("maple_sugar", pytest.approx(2.2e-3))
    np.testing.assert_allclose(box.sides.stations, [[0, 0.11], [0.24, 0.104], [0.48, 0.092]])
    # Linear between stations, constant beyond.
    np.testing.assert_allclose(box.sides.depth(np.array([-1, 0.12, 0.36, 1])), [0.11, 0.107, 0.098, 0.092])
    back = box.back
    assert (back.plate.wood, back.holes) == ("rosewood_indian", ())
    np.testing.assert_allclose((back.plate.thickness, back.plate.ring_angle), (2.6e-3, math.radians(3)))
    np.testing.assert_allclose((back.plate.dome.radius_along, *back.plate.dome.crown), (4.5, 0.23, 0.005))
    np.testing.assert_allclose(back.outline.polygon.bounds, (0, -0.182, 0.48, 0.182))
    np.testing.assert_allclose(back.brace("b1").stations[1], [0.17, 0.012])
    assert [patch.name for patch in back.patches] == ["strip"]
    assert (back.joints[0].under, back.joints[0].kept) == ("b2", pytest.approx(6e-3))
    top, low = box.linings
    assert (top.face, top.wood, top.alone, low.face, low.alone) == ("top", "mahogany_honduras", False, "back", True)
    np.testing.assert_allclose((top.kerf_pitch, top.kerf_width, top.kerf_depth), (8e-3, 1.2e-3, 4.5e-3))
    assert (low.kerf_pitch, low.kerf_width, low.kerf_depth) == (0, 0, 0)
    assert [(block.end, block.wood) for block in box.blocks] == [("neck", "mahogany_honduras"), ("tail", "basswood")]
    np.testing.assert_allclose((box.blocks[0].length, box.blocks[0].width), (50e-3, 64e-3))
    film = box.finish("top")
    np.testing.assert_allclose((film.mass, film.thickness, film.modulus, film.loss), (0.07, 6e-5, 2e9, 0.05))
    assert (box.finish("sides").thickness, box.finish("back")) == (0, None)
    np.testing.assert_allclose((box.neck_mass, box.ring_width, box.temperature), (0.75, 22e-3, 23))
    assert box.held


def test_top_alone_has_no_box(tmp_path):
    assert read(tmp_path, TOP).box is None


def test_least_box(tmp_path):
    text = TOP + '[sides]\nwood = "maple_sugar"\nthickness_mm = 2\ndepth_mm = [[0, 100]]\n'
    box = read(tmp_path, text + '[back]\nwood = "maple_sugar"\nthickness_mm = 3\n').box
    assert (box.linings, box.blocks, box.finishes, box.held, box.neck_mass) == ((), (), (), False, 0)
    assert box.back.plate.dome is None
    np.testing.assert_array_equal(box.back.outline.points, read(tmp_path, TOP).design.outline.points)
    np.testing.assert_allclose((box.ring_width, box.temperature), (25e-3, 20))


def test_crown_of_a_back_is_its_middle(tmp_path):
    dome = read(tmp_path, changed("crown_mm = [230, 5]\n", "")).box.back.plate.dome
    np.testing.assert_allclose(dome.crown, [0.24, 0], atol=1e-12)


def test_air_has_the_temperature_of_the_climate(tmp_path):
    text = changed("temperature_c = 23\n", "") + "[climate]\nhumidity_percent = 45\ntemperature_c = 26\n"
    assert read(tmp_path, text).box.temperature == 26


def test_woods_of_the_box_follow_the_climate(tmp_path):
    plain = read(tmp_path, CLOSED).woods
    assert set(plain) == {
        *("spruce_sitka", "maple_sugar", "rosewood_indian", "mahogany_honduras", "basswood", "foam", "my_spruce")
    }
    dry = read(tmp_path, CLOSED + "[climate]\nmoisture_percent = 6\n").woods
    for name in ("maple_sugar", "rosewood_indian", "mahogany_honduras"):
        assert dry[name].E_R > 1.05 * plain[name].E_R
    assert dry["foam"].E_L == plain["foam"].E_L


def test_loss_factors_of_woods(tmp_path):
    losses = read(tmp_path, CLOSED).losses
    assert losses["foam"] == LossFactors(0.1, 0.1, 0.1)
    assert losses["my_spruce"] == dataclasses.replace(LossFactors(), along=0.008)
    assert losses["spruce_sitka"] == LossFactors(**USUAL)
    assert losses["rosewood_indian"].across < losses["maple_sugar"].across


def test_every_built_in_wood_has_likely_losses():
    for name in wood_names():
        known = handbook_losses(name)
        # Wood is anisotropic in its loss as in its stiffness: two to four times as much across the grain as along it
        # (D. W. Haines 1979; T. Ono, M. Norimoto 1983; recalled).
        assert 0.004 <= known.along <= 0.012
        assert 1.9 <= known.across / known.along <= 4


def test_losses_of_a_board_are_those_that_its_taps_tell(tmp_path):
    boards = CASES / "boards"
    (tmp_path / "case").mkdir()
    for path in boards.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    text = changed('[top]\nwood = "spruce_sitka"', '[top]\nwood = "mine"')
    text += '[wood.mine]\nboard = "../spruce_board.toml"\nloss_shear = 0.03\n'
    losses = read(tmp_path / "case", text).losses["mine"]
    told = {loss.name: loss for loss in fit_losses(fit_board(read_board(boards / "spruce_board.toml")))}
    assert told["along"].determined
    assert losses == LossFactors(told["along"].value, told["across"].value, 0.03)


@pytest.mark.parametrize("name", ["wren", "linnet"])
def test_boxes_of_the_cases(name):
    """Rayleigh's resonance of the hole in a rigid box, c / (2 pi) sqrt(S / (V L)) with L = t + 1.7 r, lies among those
    of guitars: 122 to 135 Hz (O. Christensen, B. B. Vistisen, J. Acoust. Soc. Am. 68 (1980) 758; seen in quotation)."""
    case = read_case(CASES / name)
    design, box = case.design, case.box
    x = np.linspace(*design.outline.polygon.bounds[::2], 400)
    strips = shapely.box(x[:-1], -1, x[1:], 1)
    areas = shapely.area(shapely.intersection(strips, design.outline.polygon))
    volume = float(areas @ box.sides.depth((x[:-1] + x[1:]) / 2))
    radius, c = float(design.holes[0].semi_axes[0]), 343.2
    hz = c / (2 * np.pi) * np.sqrt(np.pi * radius**2 / (volume * (design.plate.thickness + 1.7 * radius)))
    assert 122 <= hz <= 135
    assert {lining.face for lining in box.linings} == {"top", "back"}
    assert {block.end for block in box.blocks} == {"neck", "tail"}
    assert len(box.back.braces) >= 3


def test_nylon_strings_of_linnet():
    """Tensions of J. Woodhouse, Acta Acustica united with Acustica 90 (2004) 945, Table I (seen in transcription)."""
    strings = read_case(CASES / "linnet").strings.strings
    assert [(string.name, string.tension) for string in reversed(strings)] == [
        ("E4", 70.3),
        ("B3", 53.4),
        ("G3", 58.3),
        ("D3", 71.2),
        ("A2", 73.9),
        ("E2", 71.6),
    ]


# Refusing --------------------------------------------------------------------------------------------------------

ALONE = [
    ('[back]\nwood = "maple_sugar"\nthickness_mm = 3\n', "[back] without [sides]"),
    ("[box]\n", "[box] without [sides]"),
    ('[[lining]]\nface = "top"\nwood = "basswood"\nwidth_mm = 5\nheight_mm = 9\n', "[[lining]] without [sides]"),
    ('[[block]]\nend = "tail"\nwood = "basswood"\nlength_mm = 5\nwidth_mm = 9\n', "[[block]] without [sides]"),
    ('[[finish]]\nface = "top"\nmass_g_per_m2 = 50\n', "[[finish]] without [sides]"),
]


@pytest.mark.parametrize(("text", "expected"), ALONE)
def test_parts_of_a_box_need_sides(tmp_path, text, expected):
    assert expected in complaint(tmp_path, TOP + text, FileError)


BAD = [
    # what was meant, old text, new text, what the complaint has to say
    ("no back", CLOSED[CLOSED.index("[back]") : CLOSED.index("[[back_brace]]")], "", "[sides] without [back]"),
    ("negative", "thickness_mm = 2.2", "thickness_mm = -2", "sides.thickness_mm = -2: must be > 0"),
    ("no unit", "thickness_mm = 2.2", "thickness = 2.2", 'key "thickness" in sides is missing its unit'),
    ("no unit", "mass_g_per_m2 = 40", "mass = 40", "in finish 2 is missing its unit; write mass_g_per_m2"),
    ("no unit", "temperature_c = 23", "temperature = 23", "in box is missing its unit; write temperature_c"),
    ("misspelt", "kerf_every_mm = 8", "kerf_evry_mm = 8", 'unknown key "kerf_evry_mm" in lining 1; did you mean'),
    ("misspelt table", "[sides]", "[side]", 'unknown key "side"; did you mean "sides"?'),
    ("misspelt table", "[[back_brace]]", "[[back_braces]]", 'did you mean "back_brace"?'),
    ("missing", "depth_mm = [[0, 110], [240, 104], [480, 92]]\n", "", 'key "depth_mm" is missing in sides'),
    ("no station", "[[0, 110], [240, 104], [480, 92]]", "[]", "sides.depth_mm = a list of 0: must have at least 1"),
    ("depth of nothing", "[240, 104]", "[240, 0]", "sides: depth_mm row 2 number 2 = 0; must be > 0"),
    ("deep", "[240, 104]", "[240, 3000]", "must be > 0 and <= 2000"),
    ("deeper than wide", "[240, 104]", "[240, 700]", "sides.depth_mm row 2: depth 700; must be at most 480"),
    ("back and forth", "[240, 104]", "[500, 104]", "sides: depth_mm row 3 number 1 = 480; must be > 500"),
    ("far away", "[480, 92]", "[1480, 92]", "sides.depth_mm row 3: x = 1480; must lie from -120 to 600"),
    ("thick sides", "thickness_mm = 2.2", "thickness_mm = 22", "sides.thickness_mm = 22: must be at most 9.2"),
    ("unknown wood", '"maple_sugar"', '"maple_suger"', 'sides.wood = "maple_suger": no such wood; did you mean'),
    ("unknown wood", 'wood = "foam"', 'wood = "foan"', "lining 2.wood"),
    ("unknown wood", 'wood = "basswood"', 'wood = "bass"', "block 2.wood"),
    ("back's outline", "[480, 182], [0, 182]", "[0, 182], [480, 182]", "back: the outline crosses"),
    ("back's outline", "[480, 182], [0, 182]", '[480, "x"], [0, 182]', "back.outline.points_mm row 3 number 2"),
    ("back's outline", "[back.outline]", "[back.outline]\nsmoth = true", 'key "smoth" in back.outline; did you mean'),
    ("back elsewhere", "[480, 182], [0, 182]", "[480, 222], [0, 222]", "back: its outline lies up to 42.0 mm"),
    ("back's dome", "dome_radius_mm = 4500", "dome_radius_mm = 100", "back: dome of radius"),
    ("thick back", "thickness_mm = 2.6", "thickness_mm = 260", "top.toml: back.thickness_mm = 260: must be at most"),
    ("brace off", "[100, 170]]", "[100, 400]]", 'back: brace "b1".path_mm row 2 = [100.0, 400.0]: outside'),
    ("same name", 'name = "b2"', 'name = "b1"', 'back_brace 2.name = "b1": back_brace 1 has this name'),
    ("unknown brace", 'under = "b2"', 'under = "long"', 'back_joint 1.under = "long": no such brace'),
    ("bridge", 'kind = "graft"', 'kind = "bridge"', 'back_patch "strip".kind = "bridge": a back has no bridge'),
    (
        "hole ring",
        "points_mm = [[20, -8], [420, -8], [420, 8], [20, 8]]",
        "around_hole = 1\nwidth_mm = 9",
        "a back has no hole",
    ),
    ("patch off", "[420, -8]", "[920, -8]", 'back: patch "strip": '),
    ("face", 'face = "back"', 'face = "bakc"', 'must be one of "top" or "back"'),
    ("two linings", 'face = "back"', 'face = "top"', 'lining 2.face = "top": lining 1 is there already'),
    ("two blocks", 'end = "tail"', 'end = "neck"', 'block 2.end = "neck": block 1 is there already'),
    ("two finishes", 'face = "sides"', 'face = "top"', 'finish 2.face = "top": finish 1 is there already'),
    ("half a kerf", "kerf_width_mm = 1.2\n", "", "lining 1: missing kerf_width_mm; saw cuts take"),
    ("wide kerf", "kerf_width_mm = 1.2", "kerf_width_mm = 8", "lining 1: kerf_width_mm = 8; must be < 8"),
    ("deep kerf", "kerf_depth_mm = 4.5", "kerf_depth_mm = 7", "lining 1: kerf_depth_mm = 7; must be <= 6"),
    (
        "wide lining",
        "width_mm = 8\nheight",
        "width_mm = 200\nheight",
        "lining of the back: width 200 mm closes the body",
    ),
    ("lining and hole", "width_mm = 6\nheight", "width_mm = 140\nheight", "reaches under hole 1"),
    ("high lining", "height_mm = 12", "height_mm = 95", "lining of the back: height 95 mm; must be at most 92"),
    ("high linings", "height_mm = 12", "height_mm = 80", "linings: 95 mm high together; must be at most 92"),
    ("rests", 'face_rests_on = "lining"', 'face_rests_on = "sides"', 'must be one of "lining and sides" or "lining"'),
    ("block wide", "width_mm = 64", "width_mm = 364", "block at the neck: its inner face, 364 mm wide at x = 430.0 mm"),
    ("block and hole", "length_mm = 50", "length_mm = 100", "block at the neck: reaches under hole 1"),
    ("blocks meet", "length_mm = 18", "length_mm = 600", "block at the tail: "),
    ("heavy finish", "mass_g_per_m2 = 40", "mass_g_per_m2 = 4000", "finish of the sides: 4000 g/m2; must be from 0"),
    ("thick film", "film_mm = 0.06", "film_mm = 0.6", "finish of the top: film of 0.6 mm; must be from 0 to 0.28"),
    ("half a film", "modulus_gpa = 2\n", "", "finish 1: missing modulus_gpa; a finish takes either mass_g_per_m2, or"),
    ("lossy", "loss = 0.05", "loss = 1", "finish 1.loss = 1: must be < 1"),
    ("rim", 'rim = "held"', 'rim = "hold"', 'box.rim = "hold": must be one of "held" or "free"'),
    ("neck", "neck_mass_g = 750", "neck_mass_g = -1", "box.neck_mass_g = -1: must be >= 0"),
    ("ring", "ring_width_mm = 22", "ring_width_mm = 0", "box.ring_width_mm = 0: must be > 0"),
    ("ring", "ring_width_mm = 22", "ring_width_mm = 180", "box.ring_width_mm = 180: leaves no wood"),
    ("cold", "temperature_c = 23", "temperature_c = -40", "box.temperature_c = -40: must be >= 0"),
    ("loss", "loss_along = 0.008", "loss = 0.008", 'wood "my_spruce": loss of a wood, which has one in each direction'),
    ("loss", "loss = 0.1", "loss_along = 0.1", 'wood "foam": loss_along of a material without grain; write loss'),
    ("loss", "loss_along = 0.008", "loss_along = -0.1", 'wood "my_spruce".loss_along = -0.1: must be >= 0'),
    ("not a list", "[[back_joint]]", "[back_joint]", "must be written as [[back_joint]], once for each"),
    ("a list", "[sides]", "[[sides]]", "sides = a list of 1: must be a table"),
    ("thickness file", "ring_angle_deg = 3", 'thickness_csv = "../x.csv"', "back.thickness_csv"),
    ("tall", "[120, 14]", "[120, 107]", 'brace "long": 107.0 mm high at'),
    ("meet", "[[0, 3], [120, 14], [240, 3]]", "[[0, 99], [240, 99]]", 'brace "long" and back_brace "b1": '),
]


@pytest.mark.parametrize(("old", "new", "expected"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_box_gets_one_line(tmp_path, old, new, expected):
    assert expected in complaint(tmp_path, changed(old, new))


def test_names_of_a_back_are_left_alone(tmp_path):
    text = changed('name = "strip"', 'name = "top to tail"').replace("[420, -8], [420, 8]", "[920, -8], [920, 8]")
    assert 'back: patch "top to tail": sticks out of the outline' in complaint(tmp_path, text)


def test_box_made_in_code_is_checked():
    case = read_case(CASES / "wren")
    check_box(case.design, case.box)
    for change, expected in (
        ({"back": case.design}, "back: it has a hole"),
        ({"back": dataclasses.replace(case.design, holes=())}, "back: it has a bridge"),
        ({"linings": (*case.box.linings, case.box.linings[0])}, "lining of the top: there are 2"),
        ({"blocks": (Block("neck", "basswood", 0.0, 0.05),)}, "both must be > 0"),
        ({"finishes": (Finish("back", 0.05, 1e-5, -1.0),)}, "modulus"),
        ({"finishes": (Finish("top", math.nan),)}, "finish of the top"),
        ({"neck_mass": math.inf}, "neck_mass_g"),
        ({"temperature": math.nan}, "temperature_c"),
    ):
        with pytest.raises(DesignError, match=expected):
            check_box(case.design, dataclasses.replace(case.box, **change))


# Writing ---------------------------------------------------------------------------------------------------------


def written(case: Case, **options) -> str:
    return case_text(
        case.name,
        case.note,
        case.design,
        woods=case.woods,
        targets=case.targets,
        mesh_size=case.mesh_size,
        box=case.box,
        losses=case.losses,
        **options,
    )


def test_written_box_reads_back_as_the_same(tmp_path):
    case = read(tmp_path, CLOSED)
    again = read(tmp_path, written(case))
    assert same(again.box, case.box)
    assert same(again.design, case.design)
    assert again.losses == case.losses


@pytest.mark.parametrize("name", ["wren", "linnet"])
def test_box_of_a_case_is_written(tmp_path, name):
    source = (CASES / name / "top.toml").read_text(encoding="utf-8")
    rows = source[source.index("[outline]") : source.index("[[hole]]")].split("\n")[1:]
    sizes = {key: float(value) for key, value in (row.split(" = ") for row in rows if row)}
    case = read(tmp_path, source)
    again = read(tmp_path, written(case, outline=sizes))
    assert same(again.box, case.box)


def test_smooth_outline_of_a_back_has_to_be_named(tmp_path):
    listed = [[0, -200], [240, -220], [480, -200], [520, 0], [480, 200], [240, 220], [0, 200], [-40, 0]]
    curve = f"smooth = true\npoints_mm = {listed}"
    text = changed("points_mm = [[0, -180], [480, -180], [480, 180], [0, 180]]", curve)
    text = changed("points_mm = [[0, -182], [480, -182], [480, 182], [0, 182]]", curve.replace("520", "523"), text)
    case = read(tmp_path, text)
    own = {"smooth": True, "points_mm": listed}
    with pytest.raises(DesignError, match="the outline of the back is a smooth curve"):
        written(case, outline=own)
    back = own | {"points_mm": [[523 if x == 520 else x, y] for x, y in listed]}
    assert same(read(tmp_path, written(case, outline=own, back_outline=back)).box, case.box)


def millimetres(low: float, high: float):
    return st.floats(low, high, allow_nan=False).map(lambda value: value * 1e-3)


WOODS = st.sampled_from(wood_names())
OUTLINE = polygon_outline(np.array([[0, -180], [480, -180], [480, 180], [0, 180]]) * 1e-3)
PLAIN = Design(OUTLINE, Plate("spruce_sitka", 2.8e-3), holes=(Hole(np.array([0.34, 0]), np.array([0.048, 0.048])),))


@st.composite
def linings(draw, face) -> Lining:
    width = draw(millimetres(2, 20))
    kerf = (0.0, 0.0, 0.0)
    if draw(st.booleans()):
        pitch = draw(millimetres(4, 20))
        kerf = (pitch, pitch * draw(st.floats(0.05, 0.9)), width * draw(st.floats(0.05, 0.99)))
    return Lining(face, draw(WOODS), width, draw(millimetres(2, 30)), *kerf, alone=draw(st.booleans()))


@st.composite
def backs(draw) -> Design:
    x = draw(millimetres(40, 300))
    half = draw(millimetres(40, 170))
    brace = Brace(
        "b",
        draw(WOODS),
        np.array([[x, -half], [x, half]]),
        draw(millimetres(3, 20)),
        np.array([[0, 3e-3], [half, draw(millimetres(4, 30))], [2 * half, 0]]),
        draw(st.sampled_from(["square", "rounded", "peaked"])),
    )
    strip = Patch("strip", draw(WOODS), rectangle([0.2, 0], [0.3, draw(millimetres(5, 40))]), draw(millimetres(0.5, 4)))
    dome = None
    if draw(st.booleans()):
        dome = Dome(draw(millimetres(2000, 9000)), draw(st.sampled_from([np.inf, 3.0, 4.2])), (0.25, 0.0))
    plate = Plate(draw(WOODS), draw(millimetres(1.5, 4)), grain_angle=draw(st.floats(-3, 3)), dome=dome)
    grown = polygon_outline(OUTLINE.points + np.sign(OUTLINE.points - [0.24, 0]) * draw(st.sampled_from([0.0, 2e-3])))
    return Design(grown, plate, braces=(brace,), patches=(strip,))


@st.composite
def boxes(draw) -> Box:
    x = np.cumsum(draw(st.lists(millimetres(1, 100), min_size=1, max_size=5)))
    depths = draw(st.lists(millimetres(70, 130), min_size=len(x), max_size=len(x)))
    sides = Sides(draw(WOODS), draw(millimetres(1, 4)), np.column_stack([x, depths]))
    finishes = []
    for face in draw(st.lists(st.sampled_from(["top", "back", "sides"]), unique=True)):
        film = (draw(millimetres(0.01, 0.09)), draw(st.floats(0.1, 5)) * 1e9, draw(st.floats(0, 0.5)))
        finishes.append(Finish(face, draw(st.floats(0.01, 0.5)), *(film if draw(st.booleans()) else ())))
    ends = draw(st.lists(st.sampled_from(["neck", "tail"]), unique=True))
    return Box(
        sides=sides,
        back=draw(backs()),
        linings=tuple(draw(linings(face)) for face in draw(st.lists(st.sampled_from(["top", "back"]), unique=True))),
        blocks=tuple(Block(end, draw(WOODS), draw(millimetres(5, 80)), draw(millimetres(5, 300))) for end in ends),
        finishes=tuple(finishes),
        held=draw(st.booleans()),
        neck_mass=draw(st.floats(0, 2)),
        ring_width=draw(millimetres(2, 60)),
        temperature=draw(st.floats(0, 50)),
    )


@settings(
    max_examples=30,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(box=boxes())
def test_any_box_reads_back_as_the_same(tmp_path, box):
    again = read(tmp_path, case_text("any", "", PLAIN, box=box)).box
    assert same(again, box)
