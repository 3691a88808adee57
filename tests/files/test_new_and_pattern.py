"""The commands that write drawings: `new` and `pattern`."""

import argparse
import importlib
import json
from pathlib import Path

import numpy as np
import pytest

from bracedtop.fem.case import read_case
from bracedtop.geometry.errors import BracedTopError, DesignError, FileError
from bracedtop.scripts.pattern import FAMILIES


def run(command, *arguments) -> int:
    module = importlib.import_module(f"bracedtop.scripts.{command}")
    parser = argparse.ArgumentParser(description=module.__doc__)
    module.add_arguments(parser)
    args = parser.parse_args([str(a) for a in arguments])
    return module.run(args)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cases") / "my top"
    assert run("new", folder) == 0
    return folder


def test_starter_case_is_the_packaged_one(starter, capsys):
    packaged = Path(importlib.import_module("bracedtop.cases").__file__).parent / "wren"
    # brief.toml compares the starter with a case that lies beside it only here.
    left = ("out", "pictures", "brief.toml")
    expected = {name: data for name, data in contents(packaged).items() if not name.startswith(left)}
    assert contents(starter) == expected
    assert "top.toml" in expected
    assert read_case(starter).name == "wren"


@pytest.mark.parametrize("name", ["deep/er/folder", "empty"])
def test_new_makes_the_folder_or_takes_an_empty_one(tmp_path, capsys, name):
    (tmp_path / "empty").mkdir()
    assert run("new", tmp_path / name) == 0
    assert read_case(tmp_path / name).design.braces
    assert capsys.readouterr().out.splitlines()[-1].startswith("Written: ")


def test_new_never_touches_a_folder_with_something_in_it(starter, tmp_path, capsys):
    before = contents(starter)
    with pytest.raises(FileError, match="is not empty"):
        run("new", starter)
    with pytest.raises(FileError, match="is not empty"):
        run("new", starter, "--pattern", "fan")
    with pytest.raises(FileError, match="is a file"):
        run("new", starter / "top.toml")
    assert contents(starter) == before


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("length", [None, 330, 510])
def test_new_pattern_reads_in_any_size(tmp_path, capsys, family, length):
    sizes = () if length is None else ("--body-length-mm", length)
    assert run("new", tmp_path / "top", "--pattern", family, *sizes, "--top-wood", "redwood", "--json") == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out)["name"] == "top"
    design = read_case(tmp_path / "top").design
    np.testing.assert_allclose(design.outline.length, (length or 480) * 1e-3, rtol=1e-3)
    assert design.plate.wood == "redwood"
    assert len(design.braces) >= 5


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (("--body-length-mm", 500), "without --pattern"),
        (("--pattern", "x", "--lower-bout-mm", 100), "waist"),
        (("--pattern", "x", "--top-wood", "plastic"), "plastic"),
    ],
)
def test_new_refuses_in_one_line_and_writes_nothing(tmp_path, options, expected):
    with pytest.raises(BracedTopError, match=expected) as caught:
        run("new", tmp_path / "top", *options)
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "top").exists()


@pytest.mark.parametrize("options", [("--body-length-mm", "nan"), ("--body-length-mm", "1"), ("--pattern", "y")])
def test_new_explains_bad_options(tmp_path, capsys, options):
    with pytest.raises(SystemExit) as caught:
        run("new", tmp_path / "top", *options)
    assert caught.value.code == 2


@pytest.mark.parametrize(
    ("family", "options", "n_braces"),
    [
        ("x", ("--tone-bars", 1, "--fingers", 1), 6),
        ("ladder", ("--at-mm", 60, 130, 240), 3),
        ("fan", ("--struts", 5, "--spacing-mm", 30, "--focus-at-mm", 600, "--height-mm", 6), 9),
        ("lattice", ("--spacing-mm", 70, "--half-angle-deg", 40), None),
    ],
)
def test_printed_braces_take_the_place_of_the_old_ones(starter, tmp_path, capsys, family, options, n_braces):
    assert run("pattern", starter, family, *options, "--wood", "cedar_western_red", "--json") == 0
    result = json.loads(capsys.readouterr().out)
    assert run("pattern", starter, family, *options, "--wood", "cedar_western_red") == 0
    text = capsys.readouterr().out
    assert result["toml"] in text
    blocks = (starter / "top.toml").read_text().split("\n\n")
    kept = [block for block in blocks if not block.startswith(("[[brace]]", "[[joint]]"))]
    (tmp_path / "top.toml").write_text("\n\n".join([*kept, text]))
    braces = read_case(tmp_path).design.braces
    assert n_braces is None or len(braces) == n_braces
    assert [brace.name for brace in braces] == [row["name"] for row in result["braces"]]
    for brace, row in zip(braces, result["braces"], strict=True):
        assert brace.wood == "cedar_western_red"
        np.testing.assert_allclose(1e3 * brace.path, row["path_mm"], atol=1e-9)
        np.testing.assert_allclose(1e3 * brace.stations, row["stations_mm"], atol=1e-9)


def test_pattern_writes_nothing_and_refuses_what_does_not_fit(starter, capsys):
    before = contents(starter)
    with pytest.raises(DesignError):
        run("pattern", starter, "ladder", "--at-mm", 900)
    with pytest.raises(DesignError, match="plastic"):
        run("pattern", starter, "x", "--wood", "plastic")
    with pytest.raises(SystemExit) as caught:
        run("pattern", starter, "ladder", "--struts", 3)
    assert caught.value.code == 2
    assert contents(starter) == before
