"""expected.csv and shapes.csv of a check: good and bad ones."""

from pathlib import Path

import numpy as np
import pytest

from bracedtop.geometry.errors import FileError
from bracedtop.scripts.check import checked, packaged_checks
from bracedtop.scripts.check_files import Expected, read_expected, read_shapes

HEAD = "mode,hz,tolerance_percent,kind\n"
LONG_HEAD = "mode,hz,tolerance_percent,kind,least_mac\n"
SHAPE_HEAD = "x_mm,y_mm,mode_1,mode_2\n"
SHAPE_LINES = [f"{10 * k},{k * k},{k},{k - 7}\n" for k in range(20)]
SOLIDS = [Expected(1, 100.0, 1.0, "solid", 0.95), Expected(2, 200.0, None, "solid")]


def written(folder: Path, text: str) -> Path:
    path = folder / "expected.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_good_file(tmp_path: Path) -> None:
    rows = read_expected(written(tmp_path, HEAD + "1,100.5,0.5,exact\n\n2, 200 ,,measured\n"))
    assert [(row.mode, row.hz, row.tolerance, row.kind) for row in rows] == [
        (1, 100.5, 0.5, "exact"),
        (2, 200.0, None, "measured"),
    ]


def test_good_file_with_least_mac(tmp_path: Path) -> None:
    rows = read_expected(written(tmp_path, LONG_HEAD + "1,100.5,1,solid,0.95\n2,200,,solid,\n"))
    assert [(row.tolerance, row.least_mac) for row in rows] == [(1.0, 0.95), (None, None)]


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", "line 1"),
        ("mode,hz\n1,2\n", "line 1"),
        (HEAD, "holds no value"),
        (HEAD + "1,100\n", "line 2: 2 values"),
        (HEAD + "0,100,1,exact\n", "line 2: mode"),
        (HEAD + "1.5,100,1,exact\n", "line 2: mode"),
        (HEAD + "999,100,1,exact\n", "line 2: mode"),
        (HEAD + "²,100,1,exact\n", "line 2: mode"),
        (HEAD + "1,-3,1,exact\n", "line 2: hz"),
        (HEAD + "1,nan,1,exact\n", "line 2: hz"),
        (HEAD + "1,inf,1,exact\n", "line 2: hz"),
        (HEAD + "1,1,zero,exact\n", "line 2: tolerance_percent"),
        (HEAD + "1,1,1,guessed\n", "line 2: kind"),
        (HEAD + "1,1,1,solid,0.9\n", "line 2: 5 values; must be 4"),
        (LONG_HEAD + "1,1,1,solid\n", "line 2: 4 values; must be 5"),
        (LONG_HEAD + "1,1,1,solid,1.01\n", "line 2: least_mac = 1.01; must be at most 1"),
        (LONG_HEAD + "1,1,1,solid,0\n", "line 2: least_mac"),
        (LONG_HEAD + "1,1,1,solid,high\n", "line 2: least_mac"),
    ],
)
def test_bad_file(tmp_path: Path, text: str, where: str) -> None:
    with pytest.raises(FileError, match=where) as found:
        read_expected(written(tmp_path, text))
    assert "\n" not in str(found.value)


def test_missing_or_binary_file(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_expected(tmp_path / "expected.csv")
    (tmp_path / "expected.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(FileError, match="not UTF-8"):
        read_expected(tmp_path / "expected.csv")


def shapes_file(folder: Path, text: str) -> Path:
    path = folder / "shapes.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_good_shapes(tmp_path: Path) -> None:
    shapes, hz = read_shapes(shapes_file(tmp_path, SHAPE_HEAD + "".join(SHAPE_LINES)), SOLIDS)
    np.testing.assert_allclose(shapes.points[3], [0.03, 0.009])
    np.testing.assert_array_equal(shapes.deflections, [np.arange(20), np.arange(20) - 7])
    np.testing.assert_array_equal(hz, [100.0, 200.0])


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", "line 1"),
        ("x,y,mode_1,mode_2\n" + "".join(SHAPE_LINES), "line 1"),
        ("x_mm,y_mm\n0,0\n", "line 1"),
        ("x_mm,y_mm,mode_2,mode_1\n" + "".join(SHAPE_LINES), "line 1"),
        (SHAPE_HEAD + "".join(SHAPE_LINES[:19]), "19 points; at least 20"),
        (SHAPE_HEAD + "0,0,1\n" + "".join(SHAPE_LINES), "line 2: 3 values; must be 4"),
        (SHAPE_HEAD + "0,0,1,one\n" + "".join(SHAPE_LINES), "line 2: 'one'; must be a number"),
        (SHAPE_HEAD + "0,0,1,nan\n" + "".join(SHAPE_LINES), "line 2: 'nan'"),
        (SHAPE_HEAD + "0,0,1,inf\n" + "".join(SHAPE_LINES), "line 2: 'inf'"),
        (SHAPE_HEAD + "".join(f"{k},0,{k},0\n" for k in range(20)), "mode_2 is 0 at every point"),
        ("x_mm,y_mm,mode_1\n" + "".join(f"{k},0,{k}\n" for k in range(20)), "shapes of 1 modes"),
    ],
)
def test_bad_shapes(tmp_path: Path, text: str, where: str) -> None:
    with pytest.raises(FileError, match=where) as found:
        read_shapes(shapes_file(tmp_path, text), SOLIDS)
    assert "\n" not in str(found.value)


def test_shapes_off_the_top_and_missed_shapes(tmp_path: Path) -> None:
    # A quarter sheet of paper's worth of spruce; its own modes are what is expected, so that shape and tone agree.
    (tmp_path / "top.toml").write_text(
        'name = "sheet"\nnote = "Invented for the tests."\n[outline]\npoints_mm = [[0,0],[200,0],[200,150],[0,150]]\n'
        '[top]\nwood = "spruce_sitka"\nthickness_mm = 3\n[edge]\nkind = "hinged"\n[mesh]\nsize_mm = 30\n'
    )
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(10, 190, 6), np.linspace(10, 140, 5)))
    waves = [np.sin(np.pi * x / 200) * np.sin(n * np.pi * y / 150) for n in (1, 2)]
    lines = [",".join(f"{v:.4f}" for v in row) + "\n" for row in np.column_stack([x, y, *waves])]
    shapes_file(tmp_path, SHAPE_HEAD + "".join(lines))
    written(tmp_path, LONG_HEAD + "1,1,,solid,0.99\n2,2,,solid,0.99\n")
    found = checked(tmp_path)
    assert found["ok"], found
    assert found["summary"][0]["lowest_mac"] > 0.999
    # The two shapes exchanged: partners are found by shape, not by number.
    swapped = [",".join(f"{v:.4f}" for v in row) + "\n" for row in np.column_stack([x, y, *waves[::-1]])]
    shapes_file(tmp_path, SHAPE_HEAD + "".join(swapped))
    assert [row["computed_mode"] for row in checked(tmp_path)["rows"]] == [2, 1]
    wrong = [waves[0], np.sin(5 * np.pi * x / 200) * np.sin(np.pi * y / 150)]
    others = [",".join(f"{v:.4f}" for v in row) + "\n" for row in np.column_stack([x, y, *wrong])]
    shapes_file(tmp_path, SHAPE_HEAD + "".join(others))
    assert not checked(tmp_path)["ok"]
    shapes_file(tmp_path, SHAPE_HEAD + "".join(lines) + "300,10,1,1\n")
    with pytest.raises(FileError, match=r"point \[300, 10\] mm does not lie on the top"):
        checked(tmp_path)


def test_every_packaged_check_holds_and_says_its_source() -> None:
    with packaged_checks() as folders:
        assert len(folders) >= 9
        for folder in folders:
            found = checked(folder)
            assert found["ok"], found
            assert len(found["source"]) > 20
            assert (folder / "README.md").read_text(encoding="utf-8").startswith("# ")
