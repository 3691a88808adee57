"""The README names what there is."""

from pathlib import Path

import pytest

from bracedtop.fem.board_schema import BOARD_TABLES, MODES
from bracedtop.fem.case_schema import TABLES
from bracedtop.fem.tap_notes import COLUMNS
from bracedtop.fem.taps_file import TABLES as PLACES
from bracedtop.fem.wood_table import wood_names
from bracedtop.scripts.check import markdown
from bracedtop.scripts.check_files import read_expected
from bracedtop.scripts.main import COMMANDS

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def text():
    return (ROOT / "README.md").read_text(encoding="utf-8")


def test_keys_of_a_drawing(text):
    listed = {"brace", "hole", "joint", "patch", "target", "outline", "top", "edge", "bridge", "mesh", "wood"}
    listed |= {"thickness", "mass", "strings", "string", "climate", "plan"}
    listed |= {"sides", "back", "back_brace", "back_patch", "back_joint", "lining", "block", "finish", "box", "build"}
    listed |= {"closed"}
    keys = {key for name, table in TABLES.items() for key in table.model_fields} - listed
    # Plates of the checks are isotropic; a maker's woods are not.
    assert [key for key in sorted(keys - {"E_gpa", "nu"}) if f"`{key}`" not in text and f"`{key} =" not in text] == []
    assert all(f"[{name}" in text for name in listed)


def test_keys_and_modes_of_a_board(text):
    keys = {key for table in BOARD_TABLES.values() for key in table.model_fields} - {"tap", "errors"}
    assert [word for word in sorted(keys | set(MODES)) if f"`{word}`" not in text and f"`{word} =" not in text] == []
    assert "`[[tap]]`" in text
    assert "`[errors]`" in text


def test_keys_of_places(text):
    keys = {key for table in PLACES.values() for key in table.model_fields} - {"recording"}
    assert [key for key in sorted(keys) if f"`{key}`" not in text] == []
    assert "`[[recording]]`" in text


def test_columns_of_the_notes_woods_and_commands(text):
    for name in (*COLUMNS, *wood_names(), *COMMANDS):
        assert f"`{name}`" in text, name


def test_table_of_checks_has_every_check(text):
    table = text.partition("<!-- checks -->")[2].partition("<!-- /checks -->")[0]
    checks = [path.parent for path in (ROOT / "cases" / "checks").glob("*/expected.csv")]
    names = [line.split('"')[1] for path in checks for line in (path / "top.toml").read_text().splitlines()[:1]]
    assert len(names) > 5
    assert [name for name in names if f"| {name} |" not in table] == []
    lines = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.strip().splitlines()]
    assert lines[0] == [cell.strip() for cell in markdown([])[0].strip("|").split("|")]
    for folder, name in zip(checks, names, strict=True):
        kinds = {row.kind for row in read_expected(folder / "expected.csv")} - {"upper bound"}
        assert {line[2] for line in lines if line[0] == name} == kinds, name


def test_table_of_mesh_sizes(text):
    table = text.partition("<!-- refinement -->")[2].partition("<!-- /refinement -->")[0]
    lines = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.strip().splitlines()]
    assert lines[0] == ["mode", "40 mm", "30 mm", "22 mm", "15 mm", "largest change"]
    changes = [float(line[-1].removesuffix(" %")) for line in lines[2:]]
    assert len(changes) == 10
    assert max(changes) <= 1.0


def test_files_that_are_linked_exist(text):
    links = [part.partition(")")[0] for part in text.split("](")[1:]]
    assert len(links) >= 4
    assert [link for link in links if not (ROOT / link).exists()] == []


def test_the_two_commands_stand_alone_on_their_lines(text):
    for command in ("bracedtop compare cases/wren", ".venv/bin/pytest"):
        line = next(line for line in text.splitlines() if command in line)
        assert line.startswith("python3 -m venv .venv && ")
        assert line.endswith(command)
