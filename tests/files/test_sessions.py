"""The folders of a case's passes: what belongs together, and what is missing."""

from pathlib import Path

import pytest
from commands.command_line import TAPS, TOP

from bracedtop.fem.session import has_taps, pass_folders, read_passes, read_sessions, refuse_untapped
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.errors import FileError

HEAD = "brace,from_mm,to_mm,depth_from_mm,depth_to_mm\n"
RETAP = "put the recordings into {0}taps/, or write {0}taps.csv"


@pytest.fixture
def case(tmp_path: Path) -> Path:
    folder = tmp_path / "small"
    folder.mkdir()
    (folder / "top.toml").write_text(TOP)
    (folder / "taps.csv").write_text(TAPS)
    return folder


def add_pass(case: Path, number: object, cut: str | None = "long,40,200,1,2\n", taps: str | None = "hz\n101\n") -> Path:
    folder = case / f"pass-{number}"
    folder.mkdir()
    if cut is not None:
        (folder / "cut.csv").write_text(HEAD + cut)
    if taps is not None:
        (folder / "taps.csv").write_text(taps)
    return folder


def refusal(case: Path) -> str:
    with pytest.raises(FileError) as caught:
        read_sessions(case)
    return str(caught.value)


def test_a_case_alone_is_one_session(case: Path) -> None:
    (session,) = read_sessions(case)
    assert (session.number, session.folder, session.cuts) == (0, case, ())
    assert session.taps is not None
    assert [round(mode.hz) for mode in session.taps.measured] == [106, 190, 236]
    refuse_untapped([session])


def test_passes_in_order(case: Path) -> None:
    for number in range(1, 12):
        add_pass(case, number, "long,40,200,0.1,0.2\n", f"hz\n{100 - number}\n")
    sessions = read_sessions(case)
    assert [session.number for session in sessions] == list(range(12))
    assert [session.folder.name for session in sessions[1:]] == [f"pass-{number}" for number in range(1, 12)]
    assert all(session.cuts == (Cut("long", 0.04, 0.2, 1e-4, 2e-4),) for session in sessions[1:])
    assert [session.taps.measured[0].hz for session in sessions[1:] if session.taps] == [100 - n for n in range(1, 12)]


def test_the_last_pass_may_still_be_untapped(case: Path) -> None:
    folder = add_pass(case, 1, taps=None)
    (folder / "taps").mkdir()
    sessions = read_sessions(case)
    assert sessions[-1].taps is None
    with pytest.raises(FileError, match="^pass-1: was cut but not tapped; re-tap first: " + RETAP.format("pass-1/")):
        refuse_untapped(sessions)


def test_a_top_may_be_cut_before_its_first_tap(case: Path) -> None:
    (case / "taps.csv").unlink()
    with pytest.raises(FileError, match="no taps yet; tap first: " + RETAP.format("")):
        refuse_untapped(read_sessions(case))
    add_pass(case, 1)
    sessions = read_sessions(case)
    assert [session.taps is None for session in sessions] == [True, False]
    refuse_untapped(sessions)


def test_each_pass_is_checked_against_what_was_left(case: Path) -> None:
    """The cross brace is 8 mm high: 5 mm can be taken once."""
    add_pass(case, 1, "cross,0,160,5,5\n")
    add_pass(case, 2, "cross,0,160,5,5\n")
    message = refusal(case)
    assert message.startswith('pass-2/cut.csv: brace "cross": 5.00 mm to take at ')
    assert "where it is 3.00 mm high" in message


def test_heights_are_read_against_the_top_before_their_pass(case: Path) -> None:
    add_pass(case, 1, "cross,0,160,2,2\n")
    folder = add_pass(case, 2, None)
    (folder / "cut.csv").write_text("brace,at_mm,height_mm\ncross,0,6\ncross,80,5\ncross,160,6\n")
    cuts = read_sessions(case)[2].cuts
    assert [(cut.depth_start, cut.depth_stop) for cut in cuts] == [
        (0, pytest.approx(1e-3)),
        (pytest.approx(1e-3), 0),
    ]


def test_gap(case: Path) -> None:
    add_pass(case, 1)
    add_pass(case, 3)
    assert refusal(case) == "pass-2: is missing, but there is pass-3; passes are numbered from 1"


@pytest.mark.parametrize(
    "name", ["pass-0", "pass-01", "pass_1", "Pass-1", "pass 1", "pass1", "pass-1000", "pass-\u0661"]
)
def test_names_that_are_nearly_passes(case: Path, name: str) -> None:
    (case / name).mkdir()
    assert refusal(case) == f"{name}: must be named pass-1, pass-2 and so on, to pass-999"


@pytest.mark.parametrize("name", ["passage", "pass", "pass-one", "my pass-1 photos"])
def test_other_folders_are_left_alone(case: Path, name: str) -> None:
    (case / name).mkdir()
    assert pass_folders(case) == ()


def test_a_file_in_a_pass_s_place(case: Path) -> None:
    (case / "pass-1").write_text("")
    assert refusal(case) == "pass-1: is a file; a pass is a folder"


def test_cut_that_is_missing(case: Path) -> None:
    folder = add_pass(case, 1, None, None)
    assert refusal(case).startswith("pass-1: has no cut.csv; write what was cut there, or remove the folder")
    (folder / "taps.csv").write_text("hz\n100\n")
    assert refusal(case).startswith("pass-1: has taps but no cut.csv; write what was cut there")


def test_empty_cut(case: Path) -> None:
    add_pass(case, 1, "")
    assert refusal(case) == "pass-1/cut.csv: has a header but no cut; needs one line for each"


def test_cut_again_without_a_tap(case: Path) -> None:
    add_pass(case, 1, taps=None)
    add_pass(case, 2)
    assert refusal(case) == f"pass-1: was cut but not tapped before pass-2; re-tap first: {RETAP.format('pass-1/')}"


def test_bad_taps_name_their_pass(case: Path) -> None:
    add_pass(case, 1, taps="hz\n-3\n")
    assert refusal(case).startswith("pass-1: taps.csv: line 2: hz = ")


def test_recordings_in_the_wrong_place(case: Path) -> None:
    folder = add_pass(case, 1, taps=None)
    (folder / "one.WAV").write_bytes(b"")
    with pytest.raises(FileError, match=r'^pass-1: holds the recording "one.WAV"; recordings belong into pass-1/taps/'):
        has_taps(folder)


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        pass_folders(tmp_path / "no")


def test_passes_without_their_taps(case: Path) -> None:
    """Cuts alone are read without the recordings, bad ones too."""
    from bracedtop.fem.case import read_case

    add_pass(case, 1, taps="nonsense")
    ((folder, cuts),) = read_passes(case, read_case(case).design)
    assert folder.name == "pass-1"
    assert cuts == (Cut("long", 0.04, 0.2, 1e-3, 2e-3),)
