"""bracedtop plan from outside."""

import json
import shutil

import pytest
from commands.command_line import call, contents

from bracedtop.fem.case import read_case
from bracedtop.fem.cut_file import read_cut


@pytest.fixture(scope="module")
def planned(master, tmp_path_factory):
    """The small case after a plan, what was printed, and the files before it."""
    folder = tmp_path_factory.mktemp("planned") / "small"
    shutil.copytree(master, folder)
    shutil.rmtree(folder / "taps")
    before = contents(folder)
    return folder, call("plan", folder, "--json", "--quiet"), before


def test_plan_writes_its_results_and_nothing_else(planned):
    folder, outcome, before = planned
    assert outcome.code == 0, outcome
    after = contents(folder)
    new = {name for name in after if name not in before and not name.startswith(".bracedtop/")}
    assert new == {f"out/plan/{name}" for name in ("plan.json", "cut.csv", "way.png", "cuts.png", "braces.png")} | {
        "log.jsonl"
    }
    assert all(after[name] == content for name, content in before.items())
    assert all(after[f"out/plan/{name}.png"].startswith(b"\x89PNG") for name in ("way", "cuts", "braces"))


def test_json_has_one_pass_its_band_and_its_stop(planned):
    folder, outcome, _ = planned
    found = json.loads(outcome.out)
    assert found["pass"] == 1
    assert found["tapped"]
    assert not found["done"]
    assert found["chance_of_passing"] <= 0.05
    (target,) = found["targets"]
    assert target["mode"] == 2
    row = found["expected"][1]
    assert row["low_hz"] < row["hz"] < row["high_hz"]
    assert row["hz"] < row["now_hz"]
    assert "mode 2 is heard below" in " ".join(found["stop"])
    assert "dust mask" in " ".join(found["cautions"])
    assert isinstance(found["passes_left"], int)
    stored = json.loads((folder / "out" / "plan" / "plan.json").read_text(encoding="utf-8"))
    assert {key: value for key, value in found.items() if key != "written"} == stored


def test_cut_list_reads_back_as_planned(planned):
    folder, outcome, _ = planned
    rows = json.loads(outcome.out)["cuts"]
    cuts = read_cut(folder / "out" / "plan" / "cut.csv", read_case(folder).design)
    assert [(c.part, round(1e3 * c.start, 3), round(1e3 * c.depth_start, 3)) for c in cuts] == [
        (row["brace"], round(row["from_mm"], 3), round(row["depth_from_mm"], 3)) for row in rows
    ]
    assert sum(row["grams"] for row in rows) > 0


def test_log_keeps_the_plan(planned):
    folder, _, _ = planned
    (line,) = (folder / "log.jsonl").read_text(encoding="utf-8").splitlines()
    entry = json.loads(line)
    assert (entry["stage"], entry["pass"]) == ("plan", 1)
    assert entry["cuts"]
    assert entry["expected"][1]["std_hz"] > 0


def test_a_cut_that_was_not_tapped_comes_first(planned, tmp_path):
    folder = tmp_path / "small"
    shutil.copytree(planned[0], folder)
    assert call("cut", folder, "--as-planned", "--quiet").code == 0
    complaint = call("plan", folder, "--quiet").complaint
    assert "pass-1" in complaint
    assert "re-tap first" in complaint


def test_after_the_re_tap_it_says_stop_and_takes_the_cut_list_away(planned, tmp_path):
    folder = tmp_path / "small"
    shutil.copytree(planned[0], folder)
    assert call("cut", folder, "--as-planned", "--quiet").code == 0
    taps = "hz,q,label,nodes_across,nodes_along\n105.5,55,,1,1\n188.0,50,,,\n235.5,45,,0,2\n"
    (folder / "pass-1" / "taps.csv").write_text(taps, encoding="utf-8")
    outcome = call("plan", folder, "--no-pictures", "--quiet")
    assert outcome.code == 0, outcome
    assert "pass 2: Stop here" in outcome.out
    assert not (folder / "out" / "plan" / "cut.csv").exists()


def test_without_taps_it_says_so(planned, tmp_path):
    folder = tmp_path / "small"
    shutil.copytree(planned[0], folder)
    (folder / "taps.csv").unlink()
    outcome = call("plan", folder, "--no-pictures", "--quiet")
    assert outcome.code == 0, outcome
    assert "has not been tapped" in outcome.out


def test_without_a_target_it_is_refused(planned, tmp_path):
    folder = tmp_path / "small"
    shutil.copytree(planned[0], folder)
    text = (folder / "top.toml").read_text(encoding="utf-8")
    (folder / "top.toml").write_text(text[: text.index("[[target]]")], encoding="utf-8")
    assert "[[target]]" in call("plan", folder, "--quiet").complaint


def test_a_mode_beyond_the_model_is_refused(planned, tmp_path):
    folder = tmp_path / "small"
    shutil.copytree(planned[0], folder)
    text = (folder / "top.toml").read_text(encoding="utf-8")
    (folder / "top.toml").write_text(text.replace("mode = 2\n", "mode = 40\n"), encoding="utf-8")
    assert "modes 1 to" in call("plan", folder, "--quiet").complaint
