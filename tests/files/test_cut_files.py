"""Cut lists: what is read, what is written, what is refused in one line."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reference.plates import WOOD, rectangle

from bracedtop.fem.cut_file import cut_text, read_cut, write_cut
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.cut import EDGE_RING, Cut, cut_design
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import FileError
from bracedtop.geometry.thickness import ThicknessRegion

HEAD = "brace,from_mm,to_mm,depth_from_mm,depth_to_mm\n"
TALL = "brace,at_mm,height_mm\n"


def bar(name: str, y: float, stations: object) -> Brace:
    return Brace(name, WOOD, np.array([[0.03, y], [0.28, y]]), 0.007, np.array(stations))


TOP = Design(
    rectangle(0.32, 0.2),
    Plate(WOOD, 3e-3, ring_width=0.012, ring_reduction=0.4e-3),
    braces=(
        bar("x bass", 0.05, [[0.0, 0.004], [0.1, 0.012], [0.1, 0.010], [0.25, 0.004]]),
        bar("#2", 0.15, [[0.0, 0.010], [0.25, 0.010]]),
    ),
)


def read(folder: Path, text: str | bytes, design: Design = TOP) -> tuple[Cut, ...]:
    path = folder / "my.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_cut(path, design)


def refusal(folder: Path, text: str | bytes, design: Design = TOP) -> str:
    with pytest.raises(FileError) as caught:
        read(folder, text, design)
    message = str(caught.value)
    assert message.startswith("my.csv: ")
    assert "\n" not in message
    return message.removeprefix("my.csv: ")


def test_stretches(tmp_path: Path) -> None:
    text = (
        "# what I did\n"
        + HEAD
        + 'x bass, 10, 95.5, 0.4, 0.6\n\n"#2",0,250,.3,\n# the ring\nedge ring,,,0.2,0.2\nedge ring,0,0,0.1,\n'
    )
    cuts = read(tmp_path, text)
    assert [cut.part for cut in cuts] == ["x bass", "#2", EDGE_RING, EDGE_RING]
    numbers = [[cut.start, cut.stop, cut.depth_start, cut.depth_stop] for cut in cuts]
    expected = [[10, 95.5, 0.4, 0.6], [0, 250, 0.3, 0.3], [0, 0, 0.2, 0.2], [0, 0, 0.1, 0.1]]
    np.testing.assert_allclose(numbers, np.array(expected) * 1e-3)


def test_spreadsheets(tmp_path: Path) -> None:
    """Semicolons, a byte order mark, line ends of Windows, columns in another order and in capitals."""
    text = "\ufeffDEPTH_TO_MM;Brace;from_mm;to_mm;depth_from_mm\r\n0.6;x bass;10;95.5;0.4\r\n"
    assert read(tmp_path, text) == read(tmp_path, HEAD + "x bass,10,95.5,0.4,0.6\n")


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["x bass", "#2"]),
            st.lists(st.integers(0, 2500), min_size=2, max_size=2, unique=True),
            st.integers(1, 8),
            st.integers(0, 8),
        ),
        min_size=1,
        max_size=4,
    )
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
def test_what_is_written_reads_back(tmp_path: Path, rows: list[tuple[str, list[int], int, int]]) -> None:
    cuts = tuple(Cut(name, min(e) * 1e-4, max(e) * 1e-4, a * 1e-4, b * 1e-4) for name, e, a, b in rows)
    cuts += (Cut(EDGE_RING, 0, 0, 0.2e-3, 0.2e-3),)
    back = read(tmp_path, cut_text(cuts, ["of pass 1", "two\nlines"]))
    assert [cut.part for cut in back] == [cut.part for cut in cuts]
    for a, b in zip(cuts, back, strict=True):
        np.testing.assert_allclose(
            [a.start, a.stop, a.depth_start, a.depth_stop],
            [b.start, b.stop, b.depth_start, b.depth_stop],
            rtol=0,
            atol=1e-10,
        )


def test_written_text_is_for_people() -> None:
    cuts = [Cut("x bass", 0.095, 0.23, 0.4e-3, 0.6e-3), Cut(EDGE_RING, 0, 0, 1e-4, 1e-4), Cut("#2", 0, 0.1, 1e-3, 0)]
    lines = ["# planned", HEAD.strip(), "x bass,95,230,0.4,0.6", "edge ring,,,0.1,0.1", '"#2","0","100","1","0"']
    assert cut_text(cuts, ["planned"]).splitlines() == lines


def test_measured_heights(tmp_path: Path) -> None:
    """The drawn bar falls from 10 mm behind its step at 100 mm to 4 mm at 250 mm: 0.04 mm a millimetre."""
    text = TALL + "x bass,250,4.0\nx bass,0,4.1\nx bass,50,8\nx bass,100,9.5\nx bass,150,7.4\n"
    cuts = read(tmp_path, text)
    numbers = [[1e3 * v for v in (cut.start, cut.stop, cut.depth_start, cut.depth_stop)] for cut in cuts]
    # Before the step it was 12 mm high at 100 mm, so that the first stretch to there lost 2.5 mm.
    np.testing.assert_allclose(numbers, [[50, 100, 0, 2.5], [100, 150, 0.5, 0.6], [150, 250, 0.6, 0]], atol=1e-9)
    lower = cut_design(TOP, cuts).brace("x bass")
    assert 1e3 * lower.height(np.array([0.0, 0.05, 0.1, 0.15, 0.25])) == pytest.approx([4, 8, 9.5, 7.4, 4])
    assert 1e3 * lower.height_before(np.array([0.1]))[0] == pytest.approx(9.5)


def test_measured_ring(tmp_path: Path) -> None:
    (cut,) = read(tmp_path, TALL + "edge ring,,2.45\n")
    assert cut.is_ring
    assert (cut.depth_start, cut.depth_stop) == pytest.approx((0.15e-3, 0.15e-3))


def test_a_little_too_high_is_no_cut(tmp_path: Path) -> None:
    cuts = read(tmp_path, TALL + '"#2",0,10.3\n"#2",100,9\n"#2",200,10.2\n')
    assert [(cut.depth_start, cut.depth_stop) for cut in cuts] == [(0, pytest.approx(1e-3)), (pytest.approx(1e-3), 0)]
    assert "line 2: height_mm = 10.31; must be at most 10.00, what was there before this pass" in refusal(
        tmp_path, TALL + '"#2",0,10.31\n"#2",100,9\n'
    )


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
@given(st.lists(st.tuples(st.integers(0, 250), st.integers(20, 100)), min_size=2, max_size=6, unique_by=lambda p: p[0]))
def test_measured_places_have_the_measured_heights(tmp_path: Path, places: list[tuple[int, int]]) -> None:
    """On a flat bar 10 mm high: what was measured is what the cut bar is."""
    if all(height == 100 for _, height in places):
        return
    rows = "".join(f'"#2",{s},{h / 10}\n' for s, h in places)
    lower = cut_design(TOP, read(tmp_path, TALL + rows)).brace("#2")
    at = np.array([s for s, _ in places]) * 1e-3
    inner = (at > at.min()) & (at < at.max())
    heights = np.array([h for _, h in places]) * 1e-4
    np.testing.assert_allclose(lower.height(at[inner]), heights[inner], atol=1e-8)
    assert lower.height(np.array(at.min())) == pytest.approx(heights[at.argmin()], abs=1e-8)
    assert lower.height_before(np.array(at.max())) == pytest.approx(heights[at.argmax()], abs=1e-8)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty; a cut list begins with the header brace,from_mm"),
        ("# only this\n", "is empty"),
        (HEAD, "has a header but no cut; needs one line for each"),
        ("brace,from,to\n", 'line 1: header "brace,from,to"; must be brace,from_mm,to_mm,depth_from_mm,depth_to_mm or'),
        ("brace,brace,at_mm\n", 'line 1: header "brace,brace,at_mm"; must be'),
        (HEAD.replace(",", "\t"), "line 1: fields are separated by tabs; must be commas or semicolons"),
        (HEAD + "x bass,1,2,3\n", "line 2: 4 fields; must be 5 as in the header"),
        (HEAD + "x bass,10,95,0,4,0,6\n", "a decimal comma? numbers take a point, as in 0.4"),
        (HEAD.replace(",", ";") + "x bass;10;95;0,4;\n", 'line 2: depth_from_mm = "0,4"; has a decimal comma'),
        (
            HEAD + "x base,10,95,1,1\n",
            'line 2: brace = "x base"; no such brace; did you mean "x bass"? braces: x bass, #2; or',
        ),
        (HEAD + "x bass,,95,1,1\n", "line 2: from_mm is empty; must be a number of mm along the brace"),
        (HEAD + "x bass,10,95,-1,1\n", 'line 2: depth_from_mm = "-1"; must be a number of mm from 0 to 300'),
        (HEAD + "x bass,10,95,nan,1\n", 'line 2: depth_from_mm = "nan"; must be'),
        (HEAD + "x bass,10,95,0,0\n", "line 2: takes no wood off; one of the depths must be > 0"),
        (HEAD + "x bass,95,10,1,1\n", 'line 2: cut of "x bass" from 95 to 10 mm: must run forward'),
        (HEAD + "x bass,95,251,1,1\n", 'line 2: brace "x bass": cut from 95 to 251 mm; must lie inside 0 to 250.0 mm'),
        (HEAD + "x bass,0,10,4.5,1\n", 'brace "x bass": 4.50 mm to take at 0.0 mm, where it is 4.00 mm high'),
        (
            HEAD + "edge ring,10,20,1,1\n",
            'line 2: from_mm = "10"; must be empty for "edge ring", which is thinned all round',
        ),
        (HEAD + "edge ring,,,1,2\n", 'line 2: cut of "edge ring" from 0 to 0 mm: the ring is thinned evenly'),
        (HEAD + "edge ring,,,2.6,\n", '"edge ring": 2.60 mm to take where the wood is 2.60 mm thick'),
        (TALL + "x bass,0,4\n", "line 2: is the only height of this brace; two or more are needed"),
        (TALL + "x bass,0,4\nx bass,0.0001,3\nx bass,9,3\n", "line 3: 0.0001 mm of this brace stands on line 2 too"),
        (TALL + "x bass,0,4\nx bass,251,3\n", "line 3: at_mm = 251; must lie on the brace, from 0 to 250.0"),
        (TALL + "x bass,0,4\nx bass,100,12\n", "takes no wood off anywhere; a pass needs a cut"),
        (TALL + "edge ring,5,2\n", 'line 2: at_mm = "5"; must be empty for "edge ring"'),
        (TALL + "edge ring,,2\nedge ring,,2\n", 'line 3: "edge ring" stands on line 2 too'),
        (TALL + "edge ring,,2.91\n", "line 2: height_mm = 2.91; must be at most 2.60"),
        (TALL + "edge ring,,0\n", '"edge ring": 2.60 mm to take where the wood is 2.60 mm thick'),
        (HEAD + '"x bass,1,2,3,4\n', 'line 2: unexpected end of data; a quoted field must end with "'),
        (b"\xff\xfe", "line 1: byte 0xff is not UTF-8 text; save it as UTF-8"),
        (HEAD + "x bass\x00,1,2,3,4\n", "line 2: has the control character"),
        (HEAD + "x bass,10,95,1,1\n" * 20_000, "is larger than 200 kB; a cut list has to be smaller"),
    ],
)
def test_refusals(tmp_path: Path, text: str | bytes, words: str) -> None:
    assert words in refusal(tmp_path, text)


def test_ring_that_is_not_drawn_or_uneven(tmp_path: Path) -> None:
    bare = Design(TOP.outline, Plate(WOOD, 3e-3))
    assert 'line 2: brace = "edge ring"; the drawing has no edge ring' in refusal(
        tmp_path, HEAD + "edge ring,,,1,1\n", bare
    )
    region = ThicknessRegion(rectangle(0.1, 0.1), 2e-3)
    uneven = Design(TOP.outline, Plate(WOOD, 3e-3, ring_width=0.01, regions=(region,)))
    assert "is of several thicknesses in the drawing" in refusal(tmp_path, TALL + "edge ring,,2\n", uneven)


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"no such file; a cut list has to be a CSV text file"):
        read_cut(tmp_path / "cut.csv", TOP)
    (tmp_path / "pass-1").mkdir()
    (tmp_path / "pass-1" / "cut.csv").write_text("nonsense\n")
    with pytest.raises(FileError, match=r"^pass-1/cut.csv: line 1: header"):
        read_cut(tmp_path / "pass-1" / "cut.csv", TOP)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=100)
@given(st.text(alphabet=st.sampled_from(list('brace,from_mtdph0123456789.;\n"#-xb s2\t\r')), max_size=80))
def test_nonsense_is_refused_in_one_line(tmp_path: Path, text: str) -> None:
    for head in ("", HEAD, TALL):
        path = tmp_path / "my.csv"
        path.write_text(head + text)
        assert len(refusal_or_nothing(path).splitlines()) <= 1


def refusal_or_nothing(path: Path) -> str:
    try:
        read_cut(path, TOP)
    except FileError as error:
        return str(error)
    return ""


def test_a_cut_list_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "cut.csv"
    write_cut(path, "one\n")
    with pytest.raises(FileError, match="is there already; a pass is recorded once"):
        write_cut(path, "two\n")
    assert path.read_text() == "one\n"
    assert [p.name for p in tmp_path.iterdir()] == ["cut.csv"]


def test_writing_without_second_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some file systems, such as those of memory cards, have no links."""

    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("os.link", refuse)
    test_a_cut_list_is_never_written_over(tmp_path)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be written"):
        write_cut(tmp_path / "no" / "cut.csv", "one\n")
