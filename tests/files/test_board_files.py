"""Good and bad board files, and drawings that name them: what is read, and that complaints are one line."""

import os
import random
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem.board_file import read_board
from bracedtop.fem.board_fit import fit_board
from bracedtop.fem.case import read_case
from bracedtop.fem.free_bar import BarMode
from bracedtop.fem.free_plate import PlateMode
from bracedtop.geometry.errors import BracedTopError, FileError

BOARDS = Path(__file__).parents[2] / "cases" / "boards"

PLATE = """\
name = "a board"
kind = "plate"
length_mm = 560
width_mm = 215
grain_along = "length"
thickness_mm = [3.02, 2.98, 3.01, 3.03, 2.96]
mass_g = 148.5
based_on = "spruce_sitka"
moisture_percent = 8
[errors]
mass_g = 1
[[tap]]
mode = "long"
hz = [52.2, 52.0, 52.1]
q = 143
[[tap]]
mode = "cross"
hz = 91.4
t60_s = [0.40, 0.44]
[[tap]]
nodes_across = 1
nodes_along = 1
hz = 33
"""

STICK = """\
kind = "stick"
length_mm = 500
width_mm = 9
height_mm = 18
mass_g = 32
[[tap]]
mode = "height"
hz = 406
[[tap]]
mode = "width"
nodes = 3
hz = 566
[[tap]]
mode = "twist"
hz = 1016
"""

TOP = """\
[outline]
points_mm = [[0, -100], [300, -100], [300, 100], [0, 100]]
[top]
wood = "mine"
thickness_mm = 2.8
[wood.mine]
board = "boards/a.toml"
"""


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "a.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def changed(old: str, new: str, text: str = PLATE) -> str:
    assert old in text
    return text.replace(old, new, 1)


def complaint(folder: Path, text: str | bytes) -> str:
    path = write(folder, text)
    with pytest.raises(BracedTopError) as caught:
        read_board(path)
    message = str(caught.value)
    assert message.startswith(str(folder))
    assert len(message.splitlines()) == 1
    return message


# Reading ---------------------------------------------------------------------------------------------------------


def test_plate_in_si_units(tmp_path):
    board = read_board(write(tmp_path, PLATE))
    assert (board.kind, board.name) == ("plate", "a board")
    a, b, h = board.sizes
    np.testing.assert_allclose((a.value, b.value, h.value), (0.56, 0.215, 3.0e-3))
    # Five readings that scatter by 0.0292 mm, and 0.03 mm of the tool.
    np.testing.assert_allclose(
        (a.error, b.error, h.error), (5e-4, 5e-4, 1e-3 * np.hypot(0.03, 0.02915 / 5**0.5)), rtol=1e-3
    )
    np.testing.assert_allclose((board.mass.value, board.mass.error), (0.1485, 1e-3))
    assert [tap.mode for tap in board.taps] == [PlateMode(2, 0), PlateMode(0, 2), PlateMode(1, 1)]
    assert [tap.words for tap in board.taps] == ["long", "cross", "twist"]
    long, cross, twist = board.taps
    np.testing.assert_allclose((long.hz.value, cross.hz.value, twist.hz.value), (52.1, 91.4, 33.0), rtol=1e-5)
    # One reading of the three is as uncertain as a single one.
    np.testing.assert_allclose(long.hz.relative, cross.hz.relative / 3**0.5)
    assert 0.004 < cross.hz.relative < 0.005
    np.testing.assert_allclose(long.loss.value, 1 / 143)
    # Q = pi f T60 / ln 1000.
    np.testing.assert_allclose(cross.loss.value, 2.2 / (91.4 * 0.419), rtol=2e-3)
    assert twist.loss is None
    assert board.base.moisture == 0.08
    assert board.warnings == ()


def test_stick_in_si_units(tmp_path):
    board = read_board(write(tmp_path, STICK))
    np.testing.assert_allclose([size.value for size in board.sizes], (0.5, 9e-3, 18e-3))
    assert [tap.mode for tap in board.taps] == [BarMode("height", 2), BarMode("width", 3), BarMode("twist", 1)]
    assert [tap.words for tap in board.taps] == ["height", "width, 3 nodes", "twist"]
    assert board.name == "a"


def test_grain_along_the_width_exchanges_the_sizes(tmp_path):
    board = read_board(write(tmp_path, changed('grain_along = "length"', 'grain_along = "width"')))
    np.testing.assert_allclose([size.value for size in board.sizes[:2]], (0.215, 0.56))


def test_warnings_of_thickness(tmp_path):
    one = read_board(write(tmp_path, changed("[3.02, 2.98, 3.01, 3.03, 2.96]", "3.0")))
    assert "one reading of the thickness" in one.warnings[0]
    uneven = read_board(write(tmp_path, changed("[3.02, 2.98, 3.01, 3.03, 2.96]", "[3.3, 2.7, 3.0]")))
    assert "scatters by 10 %" in uneven.warnings[0]


def test_shipped_boards_give_their_constants_back():
    # Constants of scripts/demo_boards.py, stated in cases/boards/README.md.
    board = fit_board(read_board(BOARDS / "spruce_board.toml"))
    for name, true in (("E_L", 11.6e9), ("E_R", 0.78e9), ("G_LR", 0.66e9), ("density", 412.0)):
        assert abs(board.constant(name).value - true) < 2 * board.constant(name).error, name
    stick = fit_board(read_board(BOARDS / "spruce_stick.toml"))
    for name, true in (("E_L", 12.4e9), ("G_LR", 0.75e9), ("density", 395.0)):
        assert abs(stick.constant(name).value - true) < 2 * stick.constant(name).error, name


# Recordings ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sounding(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sounding")
    shutil.copy(BOARDS / "spruce_twist.wav", folder / "twist.wav")
    return folder


def with_wav(extra=""):
    return changed("nodes_across = 1\nnodes_along = 1\nhz = 33", f'mode = "twist"\nwav = "twist.wav"{extra}')


def test_peak_near_a_frequency(sounding):
    tap = read_board(write(sounding, with_wav("\nnear_hz = 34"))).taps[2]
    assert tap.hz.value == pytest.approx(33.0, rel=0.01)
    assert tap.loss is not None
    assert tap.source == "twist.wav (4 hits)"


def test_strongest_peak(sounding):
    assert read_board(write(sounding, with_wav())).taps[2].hz.value == pytest.approx(33.0, rel=0.01)


def test_no_such_peak(sounding):
    message = complaint(sounding, with_wav("\nnear_hz = 50"))
    assert "tap 3.near_hz = 50: nothing within 10 % of it in twist.wav; heard: 33" in message


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("/etc/passwd", "must be relative"),
        ("../twist.wav", "leads out of the folder of this file"),
        ("a/../../twist.wav", "must be relative, with / between folders and .. at most once and first"),
        ("C:/twist.wav", "must be relative"),
        ("a\\\\twist.wav", "must be relative"),
    ],
)
def test_recordings_stay_beside_the_file(sounding, name, expected):
    assert expected in complaint(sounding, with_wav().replace("twist.wav", name))


def test_links_do_not_lead_out(sounding):
    link = sounding / "link.wav"
    if not link.is_symlink():
        link.symlink_to(BOARDS / "spruce_twist.wav")
    assert "leads out" in complaint(sounding, with_wav().replace("twist.wav", "link.wav"))


def test_recording_that_is_not_there(sounding):
    write(sounding, with_wav().replace("twist.wav", "none.wav"))
    with pytest.raises(FileError, match=r"none\.wav"):
        read_board(sounding / "a.toml")


# Refusing --------------------------------------------------------------------------------------------------------

BAD = [
    ("negative", "mass_g = 148.5", "mass_g = -1", "mass_g = -1: must be > 0"),
    ("text", "mass_g = 148.5", 'mass_g = "148"', "must be a number, written without quotes"),
    ("nan", "length_mm = 560", "length_mm = nan", "must be a finite number"),
    ("truth", "length_mm = 560", "length_mm = true", "must be a number"),
    ("no unit", "length_mm = 560", "length = 560", 'key "length" is missing its unit; write length_mm'),
    ("no unit", "mass_g = 148.5", "mass = 148.5", "write mass_g"),
    ("misspelt", "length_mm = 560", "lenght_mm = 560", 'unknown key "lenght_mm"; did you mean "length_mm"?'),
    ("misspelt", "q = 143", "Q = 143", 'unknown key "Q" in tap 1'),
    ("no list", "[3.02, 2.98, 3.01, 3.03, 2.96]", "[]", "thickness_mm = a list of 0: must have at least 1 entries"),
    ("in a list", "3.03", "-3", "thickness_mm"),
    ("kind", '"plate"', '"board"', 'kind = "board": must be one of "plate" or "stick"'),
    ("missing", "mass_g = 148.5\n", "", 'key "mass_g" is missing'),
    ("of a stick", "thickness_mm", "height_mm", 'height_mm with kind = "plate"'),
    ("no thickness", "thickness_mm = [3.02, 2.98, 3.01, 3.03, 2.96]\n", "", "thickness_mm missing"),
    ("mode", '"long"', '"lng"', 'tap 1.mode = "lng": must be one of'),
    ("mode of a stick", '"long"', '"height"', 'tap 1.mode = "height": a plate\'s modes are long, cross, twist'),
    ("hz and wav", "q = 143", 'wav = "a.wav"', "tap 1: found hz, wav; a tap takes either hz, or wav"),
    ("neither", "hz = 91.4\n", "", "tap 2: missing hz; a tap takes"),
    ("two decays", "q = 143", "q = 143\nt60_s = 1", "tap 1: found t60_s, q"),
    ("no mode", 'mode = "long"\n', "", "tap 1: needs either mode, or both"),
    ("half", "nodes_along = 1\n", "", "tap 3: needs either mode, or both nodes_across and nodes_along"),
    ("both", "nodes_along = 1\n", 'nodes_along = 1\nmode = "twist"\n', "tap 3: needs either"),
    ("rigid", "nodes_along = 1\n", "nodes_along = 0\n", "tap 3.nodes_across + nodes_along = 1: must be >= 2"),
    ("too many", "nodes_along = 1\n", "nodes_along = 9\n", "nodes_along = 9: must be <= 6"),
    ("nodes", "q = 143", "nodes = 2", 'tap 1.nodes = 2: is for kind = "stick"'),
    ("twice", '"cross"', '"long"', "tap 2 = long: tap 1 is this mode; write repeated readings as a list"),
    ("mixed", '"cross"', '"ring"', "become x and ring"),
    ("heavy", "mass_g = 148.5", "mass_g = 1485", "mass over volume = 4111 kg/m3: wood has 60 to 1600"),
    ("metres", "length_mm = 560", "length_mm = 0.56", "length_mm = 0.56 with a standard error of 0.5"),
    ("thick", "[3.02, 2.98, 3.01, 3.03, 2.96]", "60", "thickness_mm = 60: must be at most a fifth"),
    ("base", "spruce_sitka", "spruce_stka", 'based_on = "spruce_stka": no such wood; did you mean "spruce_sitka"?'),
    ("moisture", "moisture_percent = 8", "moisture_percent = 80", "moisture_percent = 80: must be <= 25"),
    ("error", "[errors]\nmass_g = 1", "[errors]\nmass_g = 0", "errors.mass_g = 0: must be > 0"),
    ("errors", "[errors]", "[eror]", 'unknown key "eror"; did you mean "errors"?'),
    ("no taps", PLATE[PLATE.index("[[tap]]") :], "", 'key "tap" is missing'),
    ("one tap", "[[tap]]\nmode = \"long\"", "[tap]\nmode = \"long\"", "not TOML"),
    ("not TOML", "mass_g = 148.5", "mass_g =", "line 7"),
    ("deep", "mass_g = 148.5", f"mass_g = {'[' * 20000}", "nested too deeply"),
    ("in the list", "hz = [52.2, 52.0, 52.1]", "hz = [52.2, -1]", "tap 1.hz row 2 = -1: must be > 0"),
    ("alone", "hz = 91.4", "hz = -91.4", "tap 2.hz = -91.4: must be > 0"),
]  # fmt: skip

BAD_STICK = [
    ("plate's mode", '"height"', '"long"', 'tap 1.mode = "long": a stick\'s modes are height, width, twist'),
    ("plate's nodes", "nodes = 3", "nodes_across = 3", "tap 2: nodes_across and nodes_along are for plates"),
    ("no mode", 'mode = "height"\n', "", "tap 1.mode = nothing"),
    ("one node", "nodes = 3", "nodes = 1", "tap 2.nodes = 1: must be >= 2"),
    ("short", "length_mm = 500", "length_mm = 60", "length_mm = 60: must be at least 5 times the section, 90"),
    ("grain", "mass_g = 32", 'mass_g = 32\ngrain_along = "width"', "the grain of a stick runs along its length"),
    ("thickness", "height_mm", "thickness_mm", 'thickness_mm with kind = "stick"'),
]


@pytest.mark.parametrize(("old", "new", "expected"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_plate_gets_one_line(tmp_path, old, new, expected):
    assert expected in complaint(tmp_path, changed(old, new))


@pytest.mark.parametrize(("old", "new", "expected"), [row[1:] for row in BAD_STICK], ids=[row[0] for row in BAD_STICK])
def test_bad_stick_gets_one_line(tmp_path, old, new, expected):
    assert expected in complaint(tmp_path, changed(old, new, STICK))


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "is empty; it has to hold at least kind"),
        (b"\xff\xfe", "is not UTF-8"),
        (b"x" * 200_000, "is larger than"),
    ],
)
def test_no_board_file_at_all(tmp_path, content, expected):
    assert expected in complaint(tmp_path, content)


def test_missing_file_folder_and_pipe(tmp_path):
    with pytest.raises(FileError, match="no such file; give a board file"):
        read_board(tmp_path / "none.toml")
    with pytest.raises(FileError, match="is not a regular file"):
        read_board(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.toml")
        with pytest.raises(FileError, match="is not a regular file"):
            read_board(tmp_path / "pipe.toml")


def damaged(text: str, rng: random.Random) -> str:
    """One to three random edits such as slips of the hand and of the editor make."""
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(text) or 1)
        kind = rng.randrange(5)
        if kind == 0:
            text = text[:at] + text[at + rng.randint(1, 12) :]
        elif kind == 1:
            text = text[:at] + rng.choice('[]{}="\n-.,0195eE#\\\x00\u2028é') + text[at:]
        elif kind == 2:
            lines = text.splitlines(keepends=True)
            lines.insert(rng.randrange(len(lines)), rng.choice(lines))
            text = "".join(lines)
        elif kind == 3:
            numbers = list(re.finditer(r"\d+\.?\d*", text)) or [re.match("", text)]
            number = rng.choice(numbers)
            other = rng.choice(["0", "-1", "1e9", "nan", "true", '"7"', "[]"])
            text = text[: number.start()] + other + text[number.end() :]
        else:
            text = text[:at]
    return text


@given(st.integers(0, 10**9), st.sampled_from([PLATE, STICK]))
@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_random_edits_give_a_board_or_one_line(tmp_path, seed, text):
    path = write(tmp_path, damaged(text, random.Random(seed)).encode("utf-8", "surrogatepass"))
    message, taps = "one line", ()
    try:
        taps = read_board(path).taps
    except BracedTopError as error:
        message = str(error)
    assert len(message.splitlines()) == 1
    assert all(np.isfinite([tap.hz.value, tap.hz.error]).all() for tap in taps)


# In a drawing ----------------------------------------------------------------------------------------------------


@pytest.fixture
def case(tmp_path) -> Path:
    folder = tmp_path / "cases" / "top"
    (folder / "boards").mkdir(parents=True)
    (folder / "boards" / "a.toml").write_text(PLATE)
    (folder / "top.toml").write_text(TOP)
    return folder


def refused(case: Path, old: str, new: str) -> str:
    (case / "top.toml").write_text(changed(old, new, TOP))
    with pytest.raises(BracedTopError) as caught:
        read_case(case)
    assert len(str(caught.value).splitlines()) == 1
    return str(caught.value)


def test_board_is_the_wood_of_a_drawing(case):
    wood = read_case(case).woods["mine"]
    fit = fit_board(read_board(case / "boards" / "a.toml"))
    assert wood.name == "mine"
    assert (wood.E_L, wood.G_LR, wood.density) == (fit.wood.E_L, fit.wood.G_LR, fit.wood.density)
    assert "from taps, sizes and mass of a board" in wood.source
    assert (wood.moisture, wood.species) == (0.08, "spruce_sitka")


def test_board_beside_the_case_and_a_changed_board_is_seen_at_once(case):
    shutil.move(case / "boards", case.parent / "boards")
    (case / "top.toml").write_text(TOP.replace("boards/a.toml", "../boards/a.toml"))
    before = read_case(case).woods["mine"]
    (case.parent / "boards" / "a.toml").write_text(changed("mass_g = 148.5", "mass_g = 160"))
    after = read_case(case).woods["mine"]
    assert after.density / before.density == pytest.approx(160 / 148.5)


def test_strengths_of_a_board_are_those_of_its_species(case):
    found = read_case(case)
    assert found.strengths["mine"].bending is not None
    (case / "top.toml").write_text(TOP + "bending_strength_mpa = 60\n")
    assert read_case(case).strengths["mine"].bending == pytest.approx(60e6)


@pytest.mark.parametrize(
    ("new", "expected"),
    [
        ("/boards/a.toml", 'top.toml: wood "mine".board = "/boards/a.toml": must be relative'),
        ("../../a.toml", "with / between folders and .. at most once and first"),
        ("boards\\\\a.toml", "must be relative"),
        ("boards/b.toml", "b.toml: no such file; give a board file"),
        ("boards", "is not a regular file"),
        ("top.toml", 'unknown key "outline"'),
    ],
)
def test_paths_of_boards(case, new, expected):
    assert expected in refused(case, "boards/a.toml", new)


def test_links_out_of_the_cases_are_refused(case, tmp_path):
    (tmp_path / "elsewhere.toml").write_text(PLATE)
    (case / "link.toml").symlink_to(tmp_path / "elsewhere.toml")
    assert "leads out of the folder beside it or its own" in refused(case, "boards/a.toml", "link.toml")


def test_nothing_beside_a_board(case):
    message = refused(case, 'board = "boards/a.toml"', 'board = "boards/a.toml"\nE_L_gpa = 11')
    assert 'wood "mine": board together with E_L_gpa; the board file tells all but bending_strength_mpa' in message


def test_bad_board_is_named(case):
    (case / "boards" / "a.toml").write_text(changed("mass_g = 148.5", "mass_g = 0"))
    with pytest.raises(FileError, match=r"boards/a\.toml: mass_g = 0: must be > 0"):
        read_case(case)
