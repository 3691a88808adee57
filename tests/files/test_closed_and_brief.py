"""[closed] of top.toml, the folder closed/, and brief.toml: good and bad input, invented."""

import string

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference.air_boxes import WOOD

from bracedtop.fem.box_schema import ClosedTable
from bracedtop.fem.brief_file import FILE_NAME, parsed_wishes, read_brief
from bracedtop.fem.brief_words import AMOUNTS, SIZES, apart, change_words, wished
from bracedtop.fem.case import read_case
from bracedtop.fem.closed_taps import read_closed
from bracedtop.fem.closed_target import INTERVALS, NOTES, ClosedLimits, frequency, interval, parsed_wish
from bracedtop.fem.closed_writer import closed_text
from bracedtop.fem.toml_file import Layout, read_layout
from bracedtop.fem.toml_table import Table
from bracedtop.fem.voice import WORDS
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import BracedTopError, FileError
from bracedtop.geometry.outline import rectangle

DRAWING = """
name = "small"
[outline]
body_length_mm = 300
lower_bout_mm = 240
lower_bout_at_mm = 80
waist_mm = 150
waist_at_mm = 180
upper_bout_mm = 180
upper_bout_at_mm = 250
[[hole]]
centre_mm = [210, 0]
diameter_mm = 60
[top]
wood = "spruce_sitka"
thickness_mm = 2.5
[sides]
wood = "maple_sugar"
thickness_mm = 2
depth_mm = [[0, 70]]
[back]
wood = "maple_sugar"
thickness_mm = 2.5
"""


class Whole(Table):
    """A file with [closed] alone."""

    closed: ClosedTable | None = None


LAYOUT = Layout({"": Whole, "closed": ClosedTable}, 10_000, "a file", "[closed]")


def read(folder, extra):
    (folder / "top.toml").write_text(DRAWING + extra)
    return read_case(folder)


semitones = st.floats(0.5, 40).map(lambda value: round(value, 2))
notes = st.sampled_from(NOTES)
wishes = st.one_of(
    st.builds(lambda pair, size, t: interval(*pair, size, t), st.permutations(NOTES).map(lambda p: tuple(p[:2])),
              st.one_of(semitones, st.sampled_from(list(INTERVALS.values()))), st.floats(1, 100)),
    st.builds(frequency, notes, st.floats(20, 900), st.floats(1, 100)),
)  # fmt: skip
limits = st.builds(
    ClosedLimits,
    st.one_of(st.none(), st.floats(1e-3, 5e-3)),
    st.floats(0.01e-3, 2e-3),
    st.floats(0.002e-3, 0.5e-3),
)


@given(wish=st.one_of(st.none(), wishes), limit=limits)
def test_closed_is_written_as_it_is_read(wish, limit):
    text = closed_text(wish, limit)
    table = read_layout(text.encode(), "file", LAYOUT, Whole).closed
    assert (table is None) == (not text)
    if table is None:
        return
    assert table.tolerance_cents == pytest.approx(10.0 if wish is None else wish.tolerance)
    assert table.largest_pass_mm == pytest.approx(1e3 * limit.largest_pass)
    assert table.cut_error_mm == pytest.approx(1e3 * limit.cut_error)
    if wish is None:
        assert (table.hz, table.relation, table.semitones) == (None, None, None)
    elif wish.over is None:
        assert (table.of, table.hz) == (wish.of, pytest.approx(wish.hz))
    else:
        size = table.semitones if table.relation is None else INTERVALS[table.relation]
        assert size == pytest.approx(wish.cents / 100)
        assert tuple(table.between or ("top blocked", "air")) == (wish.of, wish.over)


@pytest.mark.parametrize(
    ("extra", "words", "off"),
    [
        ('[closed]\nrelation = "octave"', "top blocked an octave above air", -200.0),
        ('[closed]\nsemitones = 9.5\nbetween = ["top", "air"]', "top 9.5 semitones above air", 250.0),
        ('[closed]\nof = "air"\nhz = 100', "air at 100 Hz", 0.0),
        ('[closed]\nof = "top blocked"\nnote = "A3"\ncents = -5', "top blocked at A3 -5 cents", None),
    ],
)
def test_wishes_in_the_drawing(tmp_path, extra, words, off):
    wish = read(tmp_path, extra).closed
    assert wish.words == words
    hz = {"air": 100.0, "top": 100 * 2**1.0, "top blocked": 100 * 2 ** (10 / 12)}
    if off is not None:
        assert wish.off(hz) == pytest.approx(off)


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('[closed]\nrelation = "eleventh"', "octave"),
        ('[closed]\nrelation = "octave"\nsemitones = 12', "either"),
        ('[closed]\nof = "air"', "either"),
        ('[closed]\nof = "side"\nhz = 100', "top blocked"),
        ('[closed]\nof = "air"\nnote = "H2"', "closed.note"),
        ('[closed]\nrelation = "octave"\nbetween = ["air", "air"]', "twice"),
        ("[closed]\nleast_ring_mm = 4", "at most 2.5"),
        ("[closed]\nlargest_pass_mm = 0", "largest_pass_mm"),
        ("[closed]\nring = 3", "ring"),
    ],
)
def test_other_wishes_are_refused(tmp_path, extra, said):
    with pytest.raises(FileError, match=said) as caught:
        read(tmp_path, extra)
    assert "\n" not in str(caught.value)


def test_closed_needs_a_box(tmp_path):
    (tmp_path / "top.toml").write_text(DRAWING.split("[sides]")[0] + '[closed]\nrelation = "octave"\n')
    with pytest.raises(FileError, match=r"without \[sides\]"):
        read_case(tmp_path)


TOP = Design(rectangle((0.15, 0.0), (0.3, 0.2)), Plate(WOOD, 3e-3, ring_width=0.025))


def lay(folder, files):
    for name, text in files.items():
        path = folder / "closed" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


CUT = "brace,from_mm,to_mm,depth_from_mm,depth_to_mm\nedge ring,,,0.05,\n"


def test_taps_of_both_states_and_passes(tmp_path):
    assert read_closed(tmp_path, TOP) == ()
    lay(tmp_path, {"open/taps.csv": "hz\n100\n190\n", "blocked/taps.csv": "hz\n180\n", "pass-1/cut.csv": CUT})
    first, second = read_closed(tmp_path, TOP)
    assert {hole: len(taps.measured) for hole, taps in first.taps.items()} == {"open": 2, "blocked": 1}
    assert (second.number, second.taps) == (1, {})
    assert second.depth == pytest.approx(0.05e-3)


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({"taps.csv": "hz\n100\n"}, "belong into closed/open"),
        ({"open/taps.csv": "hz\n100\n", "pass-1/open/taps.csv": "hz\n99\n"}, "has no cut.csv"),
        ({"open/taps.csv": "hz\n100\n", "pass-2/cut.csv": CUT}, "pass-1"),
        ({"open/taps.csv": "hz\n100\n", "pass-1/cut.csv": CUT, "pass-2/cut.csv": CUT}, "not tapped before"),
        ({"open/taps.csv": "hz\n100\n", "pass-1/cut.csv": CUT.replace("0.05", "5")}, "cut.csv"),
        ({"open/taps.csv": "hz\n-3\n"}, "hz"),
    ],
)
def test_taps_in_the_wrong_place_are_refused(tmp_path, files, said):
    lay(tmp_path, files)
    with pytest.raises(FileError, match=said) as caught:
        read_closed(tmp_path, TOP)
    assert "\n" not in str(caught.value)


def refusal(call):
    """What is said when something is refused; empty if it is not."""
    try:
        call()
    except BracedTopError as error:
        return str(error)
    return ""


def brief(folder, text):
    (folder / FILE_NAME).write_text(text)
    return read_brief(folder)


def test_a_brief(tmp_path):
    found = brief(
        tmp_path, '[theirs]\nname = "old one"\nair_hz = 98\nair_q = 40\nbass_db = 80\n[wish]\nbass = "more"\n'
    )
    assert found.wish == {"bass": "more"}
    assert found.theirs.hz == {"air": 98}
    assert found.theirs.figures == {"bass": 80}
    assert found.against is None


def test_another_instrument_stands_for_the_one_named(tmp_path):
    (tmp_path / FILE_NAME).write_text('against = "../not-here"\n[wish]\nbass = "more"\n')
    assert read_brief(tmp_path, tmp_path / "theirs").against == tmp_path / "theirs"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "wish"),
        ("[wish]\n", "empty"),
        ('[wish]\nbass = "lots"', "a little more"),
        ('[wish]\nloudness = "more"', "loudness"),
        ('against = "../nowhere"\n[wish]\nbass = "more"', "no case folder"),
        ('against = "/etc"\n[wish]\nbass = "more"', "relative"),
        ('against = "x"\n[theirs]\nair_hz = 90\n[wish]\nbass = "more"', "together"),
        ('[theirs]\nair_q = 30\n[wish]\nbass = "more"', "without air_hz"),
        ('[theirs]\nair_hz = 200\ntop_hz = 190\n[wish]\nbass = "more"', "below"),
        ('[wish]\nbass = "more"\n[wish]', "brief.toml"),
    ],
)
def test_other_briefs_are_refused(tmp_path, text, said):
    with pytest.raises(FileError, match=said) as caught:
        brief(tmp_path, text)
    assert "\n" not in str(caught.value)


def test_a_missing_brief_says_what_to_write(tmp_path):
    with pytest.raises(FileError, match=r"brief.toml: no such file; write"):
        read_brief(tmp_path)


@given(text=st.text(st.sampled_from(string.printable + "äß\x00"), max_size=120))
def test_any_text_is_a_brief_or_refused_in_one_line(text, tmp_path_factory):
    folder = tmp_path_factory.mktemp("brief")
    (folder / FILE_NAME).write_text(text, encoding="utf-8", newline="")
    assert "\n" not in refusal(lambda: read_brief(folder))


@given(chosen=st.dictionaries(st.sampled_from([word.name for word in WORDS]), st.sampled_from(AMOUNTS), min_size=1))
def test_wishes_on_the_command_line_are_those_of_the_file(chosen, tmp_path_factory):
    folder = tmp_path_factory.mktemp("brief")
    text = "[wish]\n" + "".join(f'{name} = "{amount}"\n' for name, amount in chosen.items())
    assert brief(folder, text).wish == parsed_wishes(", ".join(f"{name} = {amount}" for name, amount in chosen.items()))


@given(text=st.text(max_size=60))
def test_any_wish_on_the_command_line_is_one_or_refused(text):
    for parse in (parsed_wish, parsed_wishes):
        assert "\n" not in refusal(lambda parse=parse: parse(text))


@given(name=st.sampled_from(list(SIZES)), amount=st.sampled_from(AMOUNTS), reference=st.floats(0.5, 90))
def test_an_amount_is_as_many_steps_as_it_says(name, amount, reference):
    size, figure = SIZES[name], wished(name, amount, reference)
    clear = np.log(size.clear) / np.log(size.little) if name == "sustain" else size.clear / size.little
    steps = {"more": clear, "a little more": 1, "the same": 0, "a little less": -1, "less": -clear}[amount]
    assert apart(name, figure, reference) == pytest.approx(steps, abs=1e-6)
    if steps:
        assert ("more" if steps > 0 else "less") in change_words(name, figure, reference)
