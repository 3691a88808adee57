"""expected.csv of a check: good and bad ones."""

from pathlib import Path

import pytest

from bracedtop.geometry.errors import FileError
from bracedtop.scripts.check import checked, packaged_checks, read_expected

HEAD = "mode,hz,tolerance_percent,kind\n"


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


def test_every_packaged_check_holds_and_says_its_source() -> None:
    with packaged_checks() as folders:
        assert len(folders) >= 9
        for folder in folders:
            found = checked(folder)
            assert found["ok"], found
            assert len(found["source"]) > 20
            assert (folder / "README.md").read_text(encoding="utf-8").startswith("# ")
