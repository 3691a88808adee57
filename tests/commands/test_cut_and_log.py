"""bracedtop cut and bracedtop log."""

import json
import shutil
from pathlib import Path

import pytest
from commands.command_line import call, contents

from bracedtop.fem.bench_log import append, plan_entry, read_log, taps_entry
from bracedtop.fem.cut_file import cut_text
from bracedtop.fem.taps import read_taps
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.cut import Cut

PLANNED = [Cut("long", 0.04, 0.2, 1e-3, 2e-3), Cut("cross", 0.02, 0.1, 0.5e-3, 0.5e-3)]


def plan(case: Path, number: int = 1) -> None:
    """As bracedtop plan leaves it."""
    (case / "out" / "plan").mkdir(parents=True, exist_ok=True)
    (case / "out" / "plan" / "cut.csv").write_text(cut_text(PLANNED))
    expected = [{"mode": 1, "hz": 104.0, "std_hz": 0.8, "before_hz": 106.0}, {"mode": 2, "hz": 188.0}]
    targets = [{"mode": 2, "text": "F#3 +20 cents"}]
    append(case, plan_entry({"cuts": PLANNED, "expected": expected, "targets": targets}, number))


def retap(case: Path, number: int = 1, hz: str = "103.5\n189\n") -> None:
    (case / f"pass-{number}" / "taps.csv").write_text(f"hz\n{hz}")


def test_a_stretch_is_recorded(case: Path) -> None:
    before = contents(case)
    outcome = call("cut", case, "--brace", "long", "--from", 40, "--to", 200, "--depth", 1, "--depth-end", 2)
    assert outcome.code == 0
    assert f"Written: {case / 'pass-1' / 'cut.csv'}, {case / 'log.jsonl'}" in outcome.out
    assert "pass 1: 0.81 g in 1 cut" in outcome.out
    assert "Wood dust harms lungs" in outcome.out
    assert f"run: bracedtop plan {case}" in outcome.out
    after = contents(case)
    assert {name: data for name, data in after.items() if name in before} == before
    assert set(after) - set(before) == {"pass-1/cut.csv", "log.jsonl", ".bracedtop/log.lock"}
    assert (case / "pass-1" / "taps").is_dir()
    assert after["pass-1/cut.csv"].decode().splitlines()[1:] == [
        "brace,from_mm,to_mm,depth_from_mm,depth_to_mm",
        "long,40,200,1,2",
    ]
    # The drawing and the taps before it come first.
    assert [(entry.stage, entry.number) for entry in read_log(case).entries] == [
        ("drawing", 0),
        ("taps", 0),
        ("cut", 1),
    ]


def test_grams_and_what_is_left(case: Path) -> None:
    """8 mm wide and square: 1 to 2 mm off 160 mm, less the lap, where it is notched to 6 mm already."""
    outcome = call("cut", case, "--brace", "long", "--from", 40, "--to", 200, "--depth", 1, "--depth-end", 2, "--json")
    result = json.loads(outcome.out)
    (row,) = result["cuts"]
    # The braces cross 118.9 mm along the long one, where 1.493 mm are to take; the lap is 8.643 mm long.
    volume = 8e-3 * (160e-3 * 1.5e-3 - 8.643e-3 * 1.493e-3)
    assert row["grams"] == pytest.approx(1e3 * handbook_wood("spruce_sitka").density * volume, rel=1e-3)
    assert result["grams"] == pytest.approx(row["grams"], abs=1e-4)
    # Drawn from 12 mm at 120 mm to 4 mm at 237 mm; 2 mm are taken at 200 mm.
    assert row["lowest_left_mm"] == pytest.approx(12 - 8 * 80 / 117 - 2, abs=1e-3)
    assert result["written"] == [str(case / "pass-1" / "cut.csv"), str(case / "log.jsonl")]
    assert "mask" in result["caution"]


def test_a_second_pass_starts_from_the_first(case: Path) -> None:
    assert call("cut", case, "--brace", "cross", "--from", 0, "--to", 160, "--depth", 5).code == 0
    retap(case)
    refused = call("cut", case, "--brace", "cross", "--from", 0, "--to", 160, "--depth", 5)
    assert 'brace "cross": 5.00 mm to take' in refused.complaint
    assert "where it is 3.00 mm high" in refused.complaint
    assert not (case / "pass-2").exists()
    outcome = call("cut", case, "--brace", "cross", "--from", 0, "--to", 160, "--depth", 2.5, "--quiet")
    assert outcome.code == 0
    assert (case / "pass-2" / "cut.csv").exists()
    stages = [(entry.stage, entry.number) for entry in read_log(case).entries]
    assert stages == [("drawing", 0), ("taps", 0), ("cut", 1), ("taps", 1), ("cut", 2)]


def test_no_pass_is_written_over(case: Path) -> None:
    arguments = ("cut", case, "--brace", "long", "--from", 40, "--to", 200, "--depth", 1)
    assert call(*arguments).code == 0
    before = contents(case)
    complaint = call(*arguments).complaint
    assert complaint.startswith("pass-1/cut.csv is there already, and the top was not tapped since; re-tap first: ")
    assert "if more was cut in pass-1, add it to that file" in complaint
    assert contents(case) == before


def test_a_folder_made_ready_is_the_pass(case: Path) -> None:
    (case / "pass-1" / "taps").mkdir(parents=True)
    assert call("cut", case, "--brace", "long", "--from", 40, "--to", 200, "--depth", 1).code == 0
    assert (case / "pass-1" / "cut.csv").exists()


def test_as_planned(case: Path) -> None:
    assert "no plan yet; run bracedtop plan" in call("cut", case, "--as-planned").complaint
    plan(case)
    outcome = call("cut", case, "--as-planned", "--json")
    assert [row["brace"] for row in json.loads(outcome.out)["cuts"]] == ["long", "cross"]
    retap(case)
    stale = call("cut", case, "--as-planned").complaint
    assert "is the plan of pass 1, but pass 2 is to be recorded" in stale
    assert not (case / "pass-2").exists()


def test_measured_heights(case: Path, tmp_path: Path) -> None:
    table = tmp_path / "measured.csv"
    table.write_text("brace,at_mm,height_mm\ncross,0,8\ncross,80,7\ncross,160,8\n")
    outcome = call("cut", case, "--file", table)
    assert outcome.code == 0
    text = (case / "pass-1" / "cut.csv").read_text()
    assert text.startswith("# Pass 1: what was really cut (from measured.csv).\n")
    assert text.splitlines()[2:] == ["cross,0,80,0,1", "cross,80,160,1,0"]


def test_edge_ring(case: Path) -> None:
    assert "the drawing has no edge ring" in call("cut", case, "--brace", "edge ring", "--depth", 0.2).complaint
    top = case / "top.toml"
    top.write_text(top.read_text().replace("thickness_mm = 3", "thickness_mm = 3\nedge_ring_width_mm = 15", 1))
    outcome = call("cut", case, "--brace", "edge ring", "--depth", 0.2)
    assert outcome.code == 0
    assert (case / "pass-1" / "cut.csv").read_text().endswith("edge ring,,,0.2,0.2\n")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "one of the arguments --as-planned --file --brace is required"),
        (["--as-planned", "--brace", "long"], "not allowed with argument"),
        (["--as-planned", "--depth", "1"], "--depth cannot be given without --brace"),
        (["--brace", "long", "--depth", "1"], '--from, --to must be given for --brace "long"'),
        (["--brace", "edge ring", "--depth", "1", "--from", "0"], '--from cannot be given for --brace "edge ring"'),
        (["--brace", "edge ring"], '--depth must be given for --brace "edge ring"'),
        (
            ["--brace", "lang", "--from", "1", "--to", "9", "--depth", "1"],
            'no brace is named "lang"; did you mean "long"?',
        ),
        (["--brace", "long", "--from", "9", "--to", "1", "--depth", "1"], "must run forward"),
        (["--brace", "long", "--from", "1", "--to", "9", "--depth", "0"], "takes nothing off; give more than 0 mm"),
        (["--brace", "long", "--from", "1", "--to", "9", "--depth", "9"], "must be between 0 and that height"),
        (["--file", "nowhere.csv"], "nowhere.csv: no such file; a cut list has to be a CSV text file"),
    ],
)
def test_refused_cuts_write_nothing(case: Path, arguments: list[str], words: str) -> None:
    before = contents(case)
    assert words in call("cut", case, *arguments).complaint
    assert contents(case) == before


def test_no_record_yet(case: Path) -> None:
    assert "no record yet; it begins with" in call("log", case).complaint
    assert "is no folder; must be a case folder" in call("log", case / "nowhere").complaint
    assert contents(case).keys() == {"top.toml", "taps.csv", "taps/one.wav"}


def finished(case: Path) -> None:
    """A pass as planned and its re-tap, then a second one not yet tapped."""
    plan(case)
    assert call("cut", case, "--as-planned").code == 0
    retap(case)
    append(case, taps_entry(read_taps(case / "pass-1"), 1, case / "pass-1"))
    assert call("cut", case, "--brace", "cross", "--from", 0, "--to", 160, "--depth", 0.3).code == 0


def test_record_reads_like_a_notebook(case: Path) -> None:
    finished(case)
    outcome = call("log", case, "--note", "Took the sharp edge off by hand.")
    assert outcome.code == 0
    lines = outcome.out.splitlines()
    assert lines[0].startswith("small: record from 20")
    assert lines[0].endswith("; 2 passes, 1.12 g taken in all")
    text = outcome.out
    order = [
        "Drawing: top.toml (",
        "Taps before the first cut: ",
        "\nPass 1\n",
        "Plan: 2 cuts; targets: mode 2 F#3 +20 cents",
    ]
    order += [
        "Cut as planned: ",
        "Re-tap: 2 modes from pass-1/taps.csv",
        "\nPass 2\n",
        "Cut: ",
        "Note: Took the sharp edge",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    table = next(k for k, line in enumerate(lines) if line.startswith("mode  before Hz"))
    assert lines[table + 2].split() == ["1", "106.00", "104.00", "0.80", "103.50", "-0.50", "-8"]
    # The first tap of mode 2 is the recording's, 190 Hz, for which no frequency stands in the plan.
    assert lines[table + 3].split()[2:] == ["188.00", "-", "189.00", "+1.00", "+9"]
    assert "Found 2 of 2 expected modes, off by 9 cents on average, 9 at most." in text
    assert "- pass-2: was not tapped yet" in text
    assert lines[-1] == f"Read: {case / 'log.jsonl'}. Written: {case / 'log.jsonl'}"


def test_record_for_other_programs(case: Path) -> None:
    finished(case)
    result = json.loads(call("log", case, "--json").out)
    stages = [entry["stage"] for entry in result["entries"]]
    assert stages == ["plan", "drawing", "taps", "cut", "taps", "cut"]
    assert all(entry["schema"] == 1 for entry in result["entries"])
    assert [record["pass"] for record in result["passes"]] == [0, 1, 2]
    assert result["grams"] == pytest.approx(sum(record["grams"] for record in result["passes"]))
    assert [row["found_hz"] for row in result["passes"][1]["outcomes"]] == [103.5, 189.0]
    assert result["doubts"] == ["pass-2: was not tapped yet"]
    assert result["written"] == []


def test_the_same_note_twice_is_one(case: Path) -> None:
    for _ in range(2):
        assert call("log", case, "--note", "dry").code == 0
    assert len(read_log(case).entries) == 1
    assert "give 1 to 2000" in call("log", case, "--note", " ").complaint


def test_what_has_changed_since_is_named(case: Path) -> None:
    finished(case)
    (case / "top.toml").write_text((case / "top.toml").read_text() + "# changed\n")
    (case / "taps" / "one.wav").unlink()
    cut = case / "pass-1" / "cut.csv"
    cut.write_text(cut.read_text().replace("0.5,0.5", "0.5,0.4"))
    with (case / "log.jsonl").open("a") as log:
        log.write("{broken\n")
    text = call("log", case).out
    assert "- log.jsonl: line 7 is no JSON document; it was left out" in text
    assert "- taps/one.wav: is no longer there; it was recorded on 20" in text
    assert "- top.toml: has changed since it was recorded on 20" in text
    assert "- pass-1/cut.csv: is not what was recorded; the file counts" in text


def test_record_of_a_case_that_cannot_be_read_any_more(case: Path) -> None:
    finished(case)
    (case / "top.toml").write_text("nonsense")
    shutil.rmtree(case / "pass-1")
    outcome = call("log", case)
    assert outcome.code == 0
    assert "Re-tap: 2 modes from pass-1/taps.csv" in outcome.out
    assert "- top.toml: line 1" in outcome.out
    assert "- pass-1/taps.csv: is no longer there" in outcome.out


def test_cuts_that_are_not_in_the_log(case: Path) -> None:
    finished(case)
    (case / "log.jsonl").write_text("".join((case / "log.jsonl").read_text().splitlines(keepends=True)[:3]))
    text = call("log", case).out
    assert "- pass-1/cut.csv: is not in the log" in text
    assert "- pass-1: its taps are not in the log yet" in text
