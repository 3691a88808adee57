"""The command wood from outside."""

import json
from pathlib import Path

import pytest

from bracedtop.scripts.main import main

BOARDS = Path(__file__).parents[2] / "cases" / "boards"


def test_tables(capsys):
    assert main(["wood", str(BOARDS / "spruce_board.toml"), "--quiet"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    lines = shown.out.splitlines()
    assert lines[0] == (
        "invented spruce board: 559.8 mm along the grain, 215.1 across, 2.996 thick; 148.9 g; 12 % moisture"
    )
    for words in (
        "E_L_gpa",
        "from the taps",
        "not told by these taps",
        "error comes from",
        "thickness",
        "radiation ratio",
    ):
        assert words in shown.out
    assert "The taps hardly tell nu_LR" in shown.out
    assert all(len(line) <= 120 for line in lines)


def test_json(capsys):
    assert main(["wood", str(BOARDS / "spruce_board.toml"), "--quiet", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert set(found) == {
        "board", "file", "kind", "sizes_mm", "mass_g", "moisture_percent", "based_on", "constants", "condition",
        "not_told", "taps", "losses", "merit", "warnings",
    }  # fmt: skip
    constants = {row["name"]: row for row in found["constants"]}
    # The board was computed with 11.6 GPa; 3 % of it is one standard error.
    assert constants["E_L_gpa"]["value"] == pytest.approx(11.6, rel=0.06)
    assert constants["E_L_gpa"]["determined"]
    assert not constants["nu_LR"]["determined"]
    assert sum(constants["E_L_gpa"]["error_from"].values()) == pytest.approx(1.0)
    assert found["condition"] is None or found["condition"] > 10
    assert [row["mode"] for row in found["taps"]] == ["long", "cross", "twist", "2 across, 1 along"]
    assert {row["name"] for row in found["losses"]} == {"along", "across", "shear"}
    assert len(found["merit"]) == 6


def test_stick(capsys):
    assert main(["wood", str(BOARDS / "spruce_stick.toml"), "--quiet"]) == 0
    shown = capsys.readouterr().out
    assert "mm long, 8.97 wide, 17.99 high" in shown
    assert "E_R_gpa" not in shown


def test_nothing_is_written(tmp_path, capsys):
    for name in ("spruce_board.toml", "spruce_twist.wav"):
        (tmp_path / name).write_bytes((BOARDS / name).read_bytes())
    before = {path: path.read_bytes() for path in tmp_path.rglob("*")}
    assert main(["wood", str(tmp_path / "spruce_board.toml"), "--quiet"]) == 0
    assert {path: path.read_bytes() for path in tmp_path.rglob("*")} == before
    capsys.readouterr()


@pytest.mark.parametrize(
    ("name", "words"), [("none.toml", "no such file; give a board file"), (".", "is not a regular file")]
)
def test_bad_argument_is_one_line_and_code_two(tmp_path, capsys, name, words):
    assert main(["wood", str(tmp_path / name), "--quiet"]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert len(shown.err.splitlines()) == 1
    assert words in shown.err


def test_help_shows_a_whole_board_file(capsys, tmp_path):
    with pytest.raises(SystemExit) as stopped:
        main(["wood", "--help"])
    assert stopped.value.code == 0
    text = capsys.readouterr().out
    # The file that the help shows is one that can be read, but for its recording.
    inside = text[text.index("  kind =") : text.index('  [[tap]]\n  mode = "twist"')]
    path = tmp_path / "shown.toml"
    path.write_text("".join(line.removeprefix("  ") for line in inside.splitlines(keepends=True)))
    assert main(["wood", str(path), "--quiet"]) == 0
    assert "from the taps" in capsys.readouterr().out
