"""The taps command: passes, places, sustain, and the files it writes."""

import csv
import json
import shutil

import pytest
from commands.command_line import call, contents

PLACES = """\
microphone_mm = [80, 20]
[[recording]]
wav = "taps/one.wav"
points_mm = [[60, -60], [220, 40]]
"""


@pytest.fixture
def placed(case):
    (case / "taps.toml").write_text(PLACES)
    return case


def test_shapes_sustain_and_files(placed):
    before = contents(placed)
    outcome = call("taps", placed, "--picture", "--export", "--quiet")
    assert outcome.code == 0, outcome.err
    assert "std error" in outcome.out
    assert "Sustain of the whole sound" in outcome.out
    after = contents(placed)
    assert {name for name in after if name not in before} == {
        f"out/taps/{name}"
        for name in ("spectrum.png", "shapes.png", "modes.csv", "shapes.csv", "sustain.csv", "taps.json")
    }
    for name in ("spectrum.png", "shapes.png", "taps.json"):
        assert str(placed / "out" / "taps" / name) in outcome.last
    with (placed / "out" / "taps" / "modes.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [round(float(row["hz"])) for row in rows] == [106, 190, 236]
    assert rows[0]["points"] == "2"
    assert rows[2]["points"] == ""
    kept = json.loads((placed / "out" / "taps" / "taps.json").read_text())
    told = json.loads(call("taps", placed, "--json", "--quiet").out)
    assert told.pop("written") == []
    assert kept == told
    assert told["taps"][0]["shape"]["points_mm"] == [[60.0, -60.0], [220.0, 40.0]]
    assert max(map(abs, told["taps"][0]["shape"]["values"])) == 1.0
    assert [row["band"] for row in told["sustain"]] == ["63 Hz", "125 Hz", "250 Hz", "500 Hz", "1 kHz"]


def test_thirds(placed):
    out = call("taps", placed, "--thirds", "--quiet").out
    assert "160 Hz" in out


def test_a_pass(case):
    folder = case / "pass-2"
    folder.mkdir()
    (folder / "taps.csv").write_text("hz\n101\n")
    told = json.loads(call("taps", case, "--pass", 2, "--json", "--quiet").out)
    assert [row["hz"] for row in told["taps"]] == [101.0]
    shutil.copytree(case / "taps", folder / "taps")
    outcome = call("taps", case, "--pass", 2, "--picture", "--export", "--quiet")
    assert outcome.code == 0, outcome.err
    assert (case / "out" / "pass-2" / "taps" / "spectrum.png").is_file()
    assert not (folder / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "pattern"),
    [
        (("--pass", 3), "pass-3: there is no such folder; the taps after pass 3 are read from it"),
        (("--pass", 0), "is no pass; give 1 for the first"),
    ],
)
def test_no_such_pass(case, arguments, pattern):
    outcome = call("taps", case, *arguments, "--quiet")
    assert outcome.code == 2
    assert pattern in outcome.err


def test_export_of_one_file_is_refused(case):
    assert "--export writes into a case's out/" in call("taps", case / "taps.csv", "--export", "--quiet").complaint


def test_bad_places_are_refused_in_one_line(placed):
    (placed / "taps.toml").write_text(PLACES.replace("60]", "x]"))
    assert "taps.toml" in call("taps", placed, "--quiet").complaint
    (placed / "taps.toml").write_text(PLACES.replace(", [220, 40]", ", [220, 40], [1, 2]"))
    assert "one.wav: 2 hits heard" in call("compare", placed, "--no-pictures", "--quiet").complaint
