"""The calibrate command: what it says, and the files it writes."""

import csv
import json

from commands.command_line import call, contents


def test_tables_files_and_log(case):
    before = contents(case)
    outcome = call("calibrate", case, "--quiet")
    assert outcome.code == 0, outcome.err
    assert "what the taps tell of this top" in outcome.out
    assert "E_L of the top" in outcome.out
    assert "mean height of long" in outcome.out
    new = {name for name in contents(case) if name not in before and not name.startswith(".bracedtop")}
    assert new == {"log.jsonl", *(f"out/calibration/{n}" for n in ("constants.csv", "modes.csv", "calibration.png"))}
    for name in ("constants.csv", "modes.csv", "calibration.png"):
        assert str(case / "out" / "calibration" / name) in outcome.last
    with (case / "out" / "calibration" / "constants.csv").open(newline="") as file:
        rows = {row["name"]: row for row in csv.DictReader(file)}
    assert rows["E_L of the top"]["unit"] == "factor"
    assert float(rows["long at 0 mm"]["drawn"]) == 4
    assert float(rows["E_L of the top"]["sd"]) < float(rows["E_L of the top"]["sd_without_taps"])
    (entry,) = [json.loads(line) for line in (case / "log.jsonl").read_text().splitlines()]
    assert entry["stage"] == "calibration"
    assert entry["pass"] == 0
    assert entry["means"]["E_L of the top"] > 0
    # Saying the same again adds no line.
    assert call("calibrate", case, "--quiet", "--no-pictures").code == 0
    assert len((case / "log.jsonl").read_text().splitlines()) == 1
    assert not (case / "out" / "calibration" / "calibration.png").exists()
    add_a_pass(case)


def add_a_pass(case):
    folder = case / "pass-1"
    folder.mkdir()
    (folder / "cut.csv").write_text("brace,from_mm,to_mm,depth_from_mm,depth_to_mm\nlong,0,237,1,1\n")
    (folder / "taps.csv").write_text("hz\n101\n185\n")
    outcome = call("calibrate", case, "--quiet", "--no-pictures", "--json")
    assert outcome.code == 0, outcome.err
    data = json.loads(outcome.out)
    assert [session["pass"] for session in data["sessions"]] == [0, 1]
    heights = next(row for row in data["constants"] if row["name"] == "mean height of long")
    assert abs(heights["drawn"] - heights["after_cuts"] - 1) < 0.01
    assert json.loads((case / "log.jsonl").read_text().splitlines()[-1])["pass"] == 1


def test_a_case_without_taps_is_one_line(case):
    (case / "taps.csv").unlink()
    (case / "taps" / "one.wav").unlink()
    outcome = call("calibrate", case, "--quiet")
    assert outcome.code == 2
    assert outcome.err.count("\n") == 1
    assert "no taps yet; tap first" in outcome.err
