"""bracedtop box, rims and finish from outside, on a small invented box."""

import json

import pytest
from commands.command_line import TOP, call, contents

from bracedtop.fem import box_model
from bracedtop.fem.case import read_case

BOX = """
[[hole]]
centre_mm = [228, -50]
diameter_mm = 46

[sides]
wood = "mahogany_honduras"
thickness_mm = 2.2
depth_mm = [[0, 80], [300, 70]]

[back]
wood = "mahogany_honduras"
thickness_mm = 2.5

[[back_brace]]
name = "back"
wood = "spruce_sitka"
path_mm = [[150, -90], [150, 90]]
width_mm = 10
stations_mm = [[0, 9], [180, 9]]

[[lining]]
face = "top"
wood = "basswood"
width_mm = 5
height_mm = 11

[[lining]]
face = "back"
wood = "basswood"
width_mm = 5
height_mm = 11
"""

FINISH = """
[[finish]]
face = "top"
mass_g_per_m2 = 60
film_mm = 0.05
modulus_gpa = 2
loss = 0.06
"""

STRINGS = """
[strings]
scale_length_mm = 500
saddle_height_mm = 11
frets = 4

[[string]]
note = "G3"
mass_g_per_m = 1.1

[[string]]
note = "C4"
mass_g_per_m = 0.9
"""

RIMS = """
[[rim]]
name = "firm"
wood = "maple_sugar"
width_mm = 9
height_mm = 16

[[rim]]
name = "cork"
wood = "cork"
width_mm = 6
height_mm = 10
face_rests_on = "lining"

[wood.cork]
E_gpa = 0.03
nu = 0.1
density_kg_per_m3 = 180
loss = 0.2
"""


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    """The box's model, built once for all commands here: its making is tested elsewhere."""
    folder = tmp_path_factory.mktemp("once") / "small"
    folder.mkdir()
    (folder / "top.toml").write_text(TOP + BOX + FINISH + STRINGS)
    return box_model.build_box(read_case(folder))


@pytest.fixture
def boxed(case, model, monkeypatch):
    (case / "top.toml").write_text(TOP + BOX + FINISH + STRINGS)
    monkeypatch.setattr(box_model, "build_box", lambda case, **_: model)
    return case


@pytest.mark.slow
def test_box_says_all_and_writes_all(boxed):
    before = contents(boxed)
    outcome = call("box", boxed, "--notes")
    assert outcome.code == 0, outcome
    for words in ("small: ", "Coupled modes", "hole air", "top alone, hole blocked", "projection", "T60 of every note"):
        assert words in outcome.out
    assert "data sheets" in outcome.out
    assert outcome.last.startswith("Written: ")
    after = contents(boxed)
    new = {name for name in after if name not in before}
    assert {"out/box.json", "out/box.html", "out/pictures/box-admittance.png", "out/pictures/box-sound.png"} <= new
    assert {"out/pictures/sustain.png", "out/pictures/box-mode-01.png", "out/pictures/box-mode-24.png"} <= new
    assert {name: after[name] for name in before} == before
    page = (boxed / "out" / "box.html").read_text(encoding="utf-8")
    assert page.count("data:image/png;base64,") == 27
    assert "{{" not in page


def test_box_json(boxed):
    outcome = call("box", boxed, "--json", "--quiet", "--no-pictures")
    assert outcome.code == 0
    assert outcome.err == ""
    found = json.loads(outcome.out)
    hz = [row["hz"] for row in found["modes"]]
    assert hz == sorted(hz)
    for row in found["modes"]:
        assert sum(row["moves"].values()) == pytest.approx(1, abs=1e-6)
        assert sum(row["loses"].values()) == pytest.approx(1, abs=1e-6)
        assert row["t60_s"] == pytest.approx(6.9077553 * row["q"] / (3.14159265 * row["hz"]), rel=1e-6)
    pair = found["lumped"]["top_and_air"]
    # Exact for two oscillators on one spring of air: O. Christensen, B. B. Vistisen, J. Acoust. Soc. Am. 68 (1980) 758.
    assert pair["low_hz"] ** 2 + pair["high_hz"] ** 2 == pytest.approx(pair["closed_hz"] ** 2 + pair["hole_hz"] ** 2)
    assert sum(found["power_goes_to"].values()) == pytest.approx(1, abs=1e-3)
    assert len(found["notes"]["t60_s"]) == 2
    assert len(found["notes"]["t60_s"][0]) == 5
    curves = json.loads((boxed / "out" / "box.json").read_text(encoding="utf-8"))["curves"]
    assert len({len(curve) for curve in curves.values()}) == 1


def test_box_without_strings_says_so(boxed):
    (boxed / "top.toml").write_text(TOP + BOX)
    outcome = call("box", boxed, "--quiet", "--no-pictures")
    assert outcome.code == 0
    assert "note: no [strings]" in outcome.out


@pytest.mark.parametrize("command", ["box", "rims", "finish"])
def test_a_top_alone_is_refused(case, command):
    before = contents(case)
    complaint = call(command, case).complaint
    for words in ("has no [sides]", "depth_mm", "[back]"):
        assert words in complaint
    assert contents(case) == before


@pytest.mark.slow
def test_usual_rims(boxed):
    outcome = call("rims", boxed, "--json", "--quiet")
    assert outcome.code == 0
    found = json.loads(outcome.out)
    names = [rim["name"] for rim in found["rims"]]
    assert names[0] == "as drawn"
    assert {"solid", "kerfed", "light", "soft", "stiff"} <= set(names)
    by_name = dict(zip(names, found["rims"], strict=True))
    assert by_name["soft"]["top_rim"]["rotation_n_per_rad"] < by_name["solid"]["top_rim"]["rotation_n_per_rad"]
    assert by_name["soft"]["top_rim"]["rotation_loss"] > by_name["solid"]["top_rim"]["rotation_loss"]
    assert (boxed / "out" / "pictures" / "rims.png").stat().st_size > 5000
    assert len(found["in_words"]) == len(names)


def test_own_rims(boxed):
    (boxed / "mine.toml").write_text(RIMS)
    outcome = call("rims", boxed, "--linings", boxed / "mine.toml")
    assert outcome.code == 0, outcome
    assert "maple sugar, 9 by 16 mm, solid" in outcome.out
    assert "cork, 6 by 10 mm, solid; the plate rests on it alone" in outcome.out
    assert "softest rim (cork)" in outcome.out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("[[rim]]\nname = 'a'\n", 'key "wood" is missing'),
        (RIMS.replace("width_mm = 9", "width = 9"), "is missing its unit; write width_mm"),
        (RIMS.replace('"maple_sugar"', '"mapel_sugar"'), 'did you mean "maple_sugar"?'),
        (RIMS.replace('"cork"\nwidth', '"firm"\nwidth').replace('name = "cork"', 'name = "firm"'), "no such wood"),
        (RIMS.replace('name = "cork"', 'name = "firm"'), "has a lining of the top already"),
        (RIMS.replace("width_mm = 9", "width_mm = 190"), 'rim "firm"'),
        (RIMS + "[wood.oak]\nboard = 'b.toml'\n", "only top.toml may name a board"),
    ],
)
def test_bad_files_of_rims(boxed, text, said):
    (boxed / "mine.toml").write_text(text)
    assert said in call("rims", boxed, "--linings", boxed / "mine.toml", "--quiet").complaint


def test_missing_file_of_rims(boxed):
    assert "none.toml: no such file" in call("rims", boxed, "--linings", boxed / "none.toml").complaint


def test_finish_against_bare(boxed):
    outcome = call("finish", boxed, "--json", "--quiet")
    assert outcome.code == 0
    found = json.loads(outcome.out)
    assert [one["name"] for one in found["finishes"]] == ["bare", "as drawn"]
    assert "60 g/m2, film 0.05 mm of 2 GPa, loss 0.06" in found["finishes"][1]["what"]


def test_finish_that_only_weighs_lowers_and_lets_ring(boxed):
    outcome = call("finish", boxed, "--mass", "100", "--faces", "top", "--json", "--quiet")
    assert outcome.code == 0
    bare, _, heavy = json.loads(outcome.out)["finishes"]
    # More mass on the same springs: no mode may rise.
    for before, after in zip(bare["modes"], heavy["modes"], strict=True):
        assert after["hz"] < before["hz"] * (1 + 1e-9)
    assert heavy["power_goes_to"]["finish"] == pytest.approx(0, abs=1e-12)


@pytest.mark.slow
def test_finish_table(boxed):
    asked = ("--mass", "80", "--film", "0.06", "--modulus", "3", "--loss", "0.05", "--faces", "top,back")
    outcome = call("finish", boxed, *asked)
    assert outcome.code == 0, outcome
    assert "asked for: top, back: 80 g/m2, film 0.06 mm of 3 GPa, loss 0.05" in outcome.out
    assert "solvents" in outcome.out
    assert (boxed / "out" / "pictures" / "finish.png").stat().st_size > 5000


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--film", "0.1"), "give its --mass"),
        (("--mass", "60", "--film", "0.1"), "all of --film in mm, --modulus in GPa and --loss"),
        (("--mass", "-1"), "out of range"),
        (("--mass", "60", "--faces", "neck"), "are no faces"),
        (("--mass", "9000"), "g/m2; must be from 0"),
    ],
)
def test_bad_finishes(boxed, arguments, said):
    assert said in call("finish", boxed, *arguments, "--quiet").complaint


def test_finish_without_any(boxed):
    (boxed / "top.toml").write_text(TOP + BOX)
    assert "has no [[finish]]" in call("finish", boxed).complaint
