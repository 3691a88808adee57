"""A case in dry and in damp air, from the command line."""

import csv
import json

import pytest
from commands.command_line import call

from bracedtop.fem.moisture import Climate, equilibrium_moisture, wood_at
from bracedtop.fem.wood_table import handbook_wood

AIR = ("--dry", 30, "--wet", 70)


def result(*arguments):
    outcome = call(*arguments, "--json", "--quiet")
    assert outcome.code == 0, outcome.err
    return json.loads(outcome.out)


def test_season_sets_both_predictions_side_by_side(case):
    found = result("season", case, *AIR, "--modes", 4)
    assert found["dry"]["moisture_percent"] == pytest.approx(100 * equilibrium_moisture(0.30, 20))
    assert [row["mode"] for row in found["modes"]] == [1, 2, 3, 4]
    for key, air in (("dry_hz", 30), ("wet_hz", 70)):
        alone = result("modes", case, "--humidity", air, "--modes", 4)["modes"]
        assert sorted(row[key] for row in found["modes"]) == pytest.approx([row["hz"] for row in alone], rel=1e-9)
    for row in found["modes"]:
        assert row["difference_hz"] == pytest.approx(row["wet_hz"] - row["dry_hz"])
        assert row["difference_cents"] < 0
        assert 0.9 < row["mac"] <= 1
    dry, damp = (wood_at(handbook_wood("spruce_sitka"), Climate.from_air(h)) for h in (0.30, 0.70))
    assert found["woods_percent"]["spruce_sitka"]["E_L"] == pytest.approx(100 * (damp.E_L / dry.E_L - 1))
    assert "cracks, glue joints" in found["caution"]
    with (case / "out" / "season.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["wet_hz"]) for row in rows] == pytest.approx([r["wet_hz"] for r in found["modes"]], abs=1e-3)


def test_text_names_the_air_and_what_is_left_out(case):
    out = call("season", case, *AIR, "--modes", 3, "--temperature", 25, "--quiet").out
    assert "dry 6.1 % moisture content (30 % relative humidity, 25 degrees Celsius)" in out
    assert "Outside this model: cracks, glue joints" in out
    out = call("modes", case, "--moisture", 8, "--modes", 2, "--quiet").out
    assert "wood at 8.0 % moisture content (20 degrees Celsius)" in out
    assert "cracks, glue joints" in out
    assert "moisture" not in call("modes", case, "--modes", 2, "--quiet").out


def test_command_line_overrides_the_drawing(case):
    text = (case / "top.toml").read_text()
    (case / "top.toml").write_text(text + "\n[climate]\nhumidity_percent = 70\n")
    damp = result("modes", case, "--modes", 2)
    assert "Outside this model: cracks" in call("compare", case, "--modes", 3, "--no-pictures", "--quiet").out
    dry = result("modes", case, "--humidity", 30, "--modes", 2)
    assert damp["climate"] == {"moisture_percent": pytest.approx(13.1, abs=0.05), "humidity_percent": 70,
                               "temperature_c": 20}  # fmt: skip
    (case / "top.toml").write_text(text)
    assert result("modes", case, "--humidity", 70, "--modes", 2)["modes"] == damp["modes"]
    assert result("modes", case, "--humidity", 30, "--modes", 2)["modes"][0]["hz"] == pytest.approx(
        dry["modes"][0]["hz"], rel=1e-10
    )


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("season", "{case}"), "required: --dry, --wet"),
        (("season", "{case}", "--dry", "70", "--wet", "30"), "the dry air must be the drier one"),
        (("season", "{case}", "--dry", "0.3", "--wet", "70"), "'0.3' is not a relative humidity; give 5 to 95 %"),
        (("season", "{case}", "--dry", "30", "--wet", "nan"), "give 5 to 95 %"),
        (("season", "{case}", "--dry", "30", "--wet", "70", "--temperature", "68F"), "give 0 to 50 degrees"),
        (("modes", "{case}", "--temperature", "20"), "give --humidity or --moisture"),
        (("modes", "{case}", "--humidity", "30", "--moisture", "8"), "not allowed with argument"),
        (("modes", "{case}", "--moisture", "40"), "give 2 to 25 %"),
    ],
)
def test_bad_air_is_refused_in_one_line(case, arguments, says):
    outcome = call(*(argument.format(case=case) for argument in arguments), "--quiet")
    assert says in outcome.complaint
    assert not (case / "out").exists()
