"""bracedtop load from outside."""

import csv
import json

import pytest
from commands.command_line import TOP, call, contents

from bracedtop.scripts.main import main

STRINGS = """
[strings]
scale_length_mm = 500
saddle_height_mm = 11
spread_mm = 50

[[string]]
note = "G3"
mass_g_per_m = 1.1

[[string]]
note = "C4"
mass_g_per_m = 0.9

[[string]]
tension_n = 55
"""


@pytest.fixture
def strung(case):
    (case / "top.toml").write_text(TOP + STRINGS)
    return case


def test_table_and_files(strung):
    before = contents(strung)
    outcome = call("load", strung, "--shave", "long 100 140 2")
    assert outcome.code == 0, outcome
    lines = outcome.out.splitlines()
    assert lines[0].startswith("small: 3 strings, ")
    assert 'Cut: 2 mm off brace "long" from 100 to 140 mm' in lines
    assert "common practice, no source" in outcome.out
    assert "A model is no proof load" in outcome.out
    assert "Strings under tension can hurt" in outcome.out
    assert "buckling are not in it" in outcome.out
    assert "for years before" in outcome.out
    assert "hinged, as sides are thin" in outcome.out
    assert lines[-1].startswith("Written: ")
    assert "as drawn ..." in outcome.err
    after = contents(strung)
    assert {name for name in after if name not in before} == {
        "out/load.csv",
        "out/pictures/load.png",
        "out/pictures/load-after.png",
    }
    assert {name: after[name] for name in before} == before
    with (strung / "out" / "load.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert {row["state"] for row in rows} == {"drawn", "shaved"}
    drawn = {(row["part"], row["what"]): row for row in rows if row["state"] == "drawn"}
    assert float(drawn["bridge", "turn"]["value"]) > 0
    assert {part for part, _ in drawn} == {"bridge", "top", "brace long", "brace cross"}
    assert all(row["unit"] in ("deg", "mm", "MPa") for row in rows)


def test_json(strung):
    outcome = call("load", strung, "--json", "--quiet", "--shave", "long 100 140 2")
    assert outcome.code == 0
    assert outcome.err == ""
    found = json.loads(outcome.out)
    assert found["pull_n"] == pytest.approx(sum(string["tension_n"] for string in found["strings"]))
    assert found["moment_n_m"] == pytest.approx(found["pull_n"] * 11e-3)
    assert found["push_n"] == 0
    assert found["turn_years_deg"] == pytest.approx(found["creep_factor"] * found["turn_deg"])
    assert found["balance"] < 1e-8
    for row in found["stresses"]:
        if row["strength_mpa"] is not None:
            assert row["share"] == pytest.approx(row["mpa"] / row["strength_mpa"])
            assert row["share_years"] == pytest.approx(row["share"] / found["strength_left_after_years"])
    assert found["after"]["turn_deg"] != found["turn_deg"]
    assert found["held"] == "hinged"
    assert "no proof load" in found["caution"]


def test_earlier_pictures_of_a_cut_are_removed(strung):
    assert call("load", strung, "--quiet", "--shave", "long 100 140 2").code == 0
    assert call("load", strung, "--quiet").code == 0
    assert sorted(path.name for path in (strung / "out" / "pictures").iterdir()) == ["load.png"]


def test_without_strings(case):
    complaint = call("load", case).complaint
    assert complaint.startswith("top.toml: has no [strings]; add [strings] with saddle_height_mm")
    assert not (case / "out").exists()


@pytest.mark.parametrize(
    ("cut", "words"),
    [
        ("x long 100 140", "'long' is not a length"),
        ("100 140 2", 'is not a cut; give "NAME FROM TO DEPTH"'),
        ("lnog 100 140 2", 'no brace is named "lnog"; did you mean "long"?'),
        ("long 100 140 0", "takes nothing off"),
        ("long 140 100 2", "stretch from 140 to 100 mm"),
        ("long 100 140 50", "50 mm to take"),
        ("", "is not a cut"),
    ],
)
def test_bad_cuts(strung, cut, words):
    assert words in call("load", strung, "--quiet", "--shave", cut).complaint


def test_strings_beside_the_bridge(strung):
    text = (TOP + STRINGS).replace("spread_mm = 50", "spread_mm = 150")
    (strung / "top.toml").write_text(text)
    assert "string 1 passes at y = 75.0 mm beside the bridge" in call("load", strung, "--quiet").complaint


def test_loose_springs(strung):
    text = (TOP + STRINGS).replace('kind = "free"', 'kind = "springs"\ndeflection_n_per_mm2 = 5')
    (strung / "top.toml").write_text(text)
    assert "springs that resist some motions only" in call("load", strung, "--quiet").complaint


def test_help_has_an_example(capsys):
    with pytest.raises(SystemExit):
        main(["load", "--help"])
    text = capsys.readouterr().out
    assert 'bracedtop load wren --shave "x bass 60 140 1.5"' in text
    assert "What the strings do to the top" in text
