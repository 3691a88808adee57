"""The draft and its session, without a browser: what is drafted is what is saved, and nothing is lost on the way."""

import json
import time
import tomllib
from pathlib import Path

import pytest
from commands.command_line import TOP
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.fem.case import read_case
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.scripts.page.document import document
from bracedtop.scripts.page.draft import check_tables, draft_text, drafted, drawing_tables, key_words, value_at
from bracedtop.scripts.page.journal import Change
from bracedtop.scripts.page.session import Session

CASES = Path(__file__).parents[2] / "cases"
LONG = "brace/long/stations_mm"
LOWER = [[0, 4], [120, 10], [237, 4]]


@pytest.fixture
def session(small):
    made = Session(small)
    yield made
    made.close()


def again(session: Session) -> Session:
    """As after a killed server."""
    session.close()
    return Session(session.folder)


@pytest.mark.parametrize("path", sorted(CASES.glob("**/top.toml")), ids=lambda path: path.parent.name)
def test_every_drawing_survives_being_written(path):
    tables = drawing_tables(path.read_bytes())
    assert tomllib.loads(draft_text(tables)) == tables
    assert drafted(tables, {}) == tables


def test_a_draft_changes_what_its_keys_name():
    tables = tomllib.loads(TOP)
    changed = drafted(
        tables,
        {
            LONG: LOWER,
            "brace/cross": None,
            "brace/new": {
                "wood": "spruce_sitka",
                "path_mm": [[20, 0], [90, 0]],
                "width_mm": 6,
                "stations_mm": [[0, 5], [70, 5]],
            },
            "top/thickness_mm": 2.8,
            "target": [{"mode": 3, "hz": 200}],
            "mesh": None,
            "units": "in",
        },
    )
    assert [row["name"] for row in changed["brace"]] == ["long", "new"]
    assert changed["brace"][0]["stations_mm"] == LOWER
    assert changed["top"]["thickness_mm"] == 2.8
    assert "joint" not in changed  # of a brace that is gone
    assert "mesh" not in changed
    assert tables == tomllib.loads(TOP)
    check_tables(changed)


def test_a_brace_that_comes_back_keeps_its_place():
    tables = tomllib.loads(TOP)
    row = value_at(tables, "brace/long")
    changed = drafted(tables, {"brace/cross/width_mm": 7, "brace/long": row})
    assert [one["name"] for one in changed["brace"]] == ["long", "cross"]


names = st.sampled_from(["long", "cross", "x", "", "a b"])
fields = st.sampled_from(["wood", "width_mm", "stations_mm", "name", "x\n[top]", "", "path_mm"])
keys = st.one_of(
    st.tuples(
        st.sampled_from(["brace", "patch", "wood", "plan", "top", "joint", "drawing", "", "hole"]), names, fields
    ),
    st.tuples(st.sampled_from(["brace", "top", "name", "joint", "edge", "wood"]), fields),
    st.tuples(st.sampled_from(["top", "name", "joint", "target", "brace", "units", "mesh"])),
).map("/".join)
json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=5,
)


@given(st.lists(st.tuples(keys, json_values), min_size=1, max_size=2, unique_by=lambda pair: pair[0]))
def test_whatever_is_asked_the_drawing_stays_one(fuzzed, pairs):
    """A change is either refused in one of the program's own words, or leaves a drawing that reads."""
    before = fuzzed.document
    try:
        fuzzed.change([key for key, _ in pairs], [value for _, value in pairs])
    except (DesignError, FileError):
        assert fuzzed.document is before
    check_tables(fuzzed.document.tables)
    assert tomllib.loads(draft_text(fuzzed.document.tables)) == fuzzed.document.tables


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fuzzed")
    (folder / "top.toml").write_text(TOP)
    made = Session(folder)
    yield made
    made.close()


def test_changes_undo_and_redo_outlive_the_server(session):
    session.change([LONG], [LOWER])
    session.change(["units"], ["in"])
    before = session.document
    session = again(session)
    assert session.document == before
    session.undo(session.document.undo.id)
    session.undo(session.document.undo.id)
    assert session.document.tables == tomllib.loads(TOP)
    assert session.document.values["units"] is None
    session = again(session)
    session.redo(session.document.redo.id)
    session.redo(session.document.redo.id)
    assert session.document.tables == before.tables
    assert session.document.values == before.values
    session.close()


def test_several_keys_are_one_change(session):
    session.change(["brace/cross", "brace/long/width_mm"], [None, 9])
    session.undo(session.document.undo.id)
    assert session.document.tables == tomllib.loads(TOP)
    session.close()


def test_saving_writes_the_draft_and_keeps_the_earlier_file(session, small):
    session.change([LONG], [LOWER])
    found = session.save_drawing()
    assert (small / found["earlier"]).read_text() == TOP
    saved = read_case(small)
    assert saved.design.brace("long").stations[1, 1] == pytest.approx(0.010)
    assert not session.document.is_drafted
    assert session.outside is None
    # Undone across the saving: the draft is as it was before, and differs from the file.
    session.undo(session.document.undo.id)
    assert session.document.tables == tomllib.loads(TOP)
    assert session.document.is_drafted
    again_saved = session.save_drawing()
    assert again_saved["earlier"] != found["earlier"]
    assert drawing_tables((small / "top.toml").read_bytes()) == tomllib.loads(TOP)


def test_a_draft_that_cannot_be_built_is_not_saved(session, small):
    session.change(["brace/cross/path_mm"], [[[150, -80], [150, 400]]])
    with pytest.raises(DesignError):
        session.save_drawing()
    assert (small / "top.toml").read_text() == TOP
    assert not (small / "drawings").exists()


def test_starting_again_can_be_undone(session):
    session.change([LONG], [LOWER])
    session.change(["brace/cross"], [None])
    draft = session.document.tables
    session.start_again()
    assert session.document.tables == tomllib.loads(TOP)
    session.undo(session.document.undo.id)
    assert session.document.tables == draft
    session.redo(session.document.redo.id)
    assert session.document.tables == tomllib.loads(TOP)


def outside(folder: Path) -> str:
    text = TOP.replace("thickness_mm = 3\n", "thickness_mm = 2.5\n").replace("width_mm = 8", "width_mm = 9")
    (folder / "top.toml").write_text(text)
    return text


def test_without_a_draft_a_changed_file_is_taken(session, small):
    said: list[dict] = []
    session.listen(said.append)
    text = outside(small)
    session.look_at_file()
    assert session.outside is None
    assert "changed outside" in next(event["words"] for event in said if event["event"] == "said")
    assert session.document.tables == tomllib.loads(text)


@pytest.mark.parametrize("is_restarted", [False, True])
def test_with_a_draft_a_changed_file_is_a_question(session, small, is_restarted):
    session.change([LONG], [LOWER])
    text = outside(small)
    session = again(session) if is_restarted else session
    session.look_at_file()
    assert "changed outside" in session.outside
    assert session.document.tables["top"]["thickness_mm"] == 3
    with pytest.raises(FileError, match="choose first"):
        session.save_drawing()
    session.keep_draft()
    assert session.outside is None
    assert session.document.tables["top"]["thickness_mm"] == 2.5
    assert session.document.value(LONG) == LOWER
    session.undo(session.document.undo.id)
    assert session.document.tables["top"]["thickness_mm"] == 3
    assert session.document.value(LONG) == LOWER
    assert "changed outside" in session.outside
    session.take_file()
    assert session.document.tables == tomllib.loads(text)
    session.undo(session.document.undo.id)
    assert session.document.value(LONG) == LOWER
    session.close()


def test_killed_between_file_and_journal_the_saved_drawing_counts(session, small):
    session.change([LONG], [LOWER])
    (small / "top.toml").write_text(draft_text(session.document.tables))
    session = again(session)
    assert session.outside is None
    assert not session.document.is_drafted
    session.close()


def test_a_broken_file_outside_leaves_the_page_as_it_was(session, small):
    (small / "top.toml").write_text("name = ")
    session.look_at_file()
    assert "cannot be read" in session.outside
    assert session.document.tables == tomllib.loads(TOP)
    (small / "top.toml").unlink()
    session.look_at_file()
    assert "cannot be read" in session.outside


def test_two_pages_do_not_overwrite_each_other(session):
    seen = session.document.revision
    assert session.change([LONG], [LOWER], seen=seen, page="A")["answer"] == "kept"
    found = session.change([LONG], [[[0, 4], [237, 4]]], seen=seen, page="B")
    assert found["answer"] == "conflict"
    assert found["theirs"] == {LONG: LOWER}
    assert session.document.value(LONG) == LOWER
    assert session.change(["brace/cross/width_mm"], [7], seen=seen, page="B")["answer"] == "kept"
    # Both want the same: there is nothing to choose.
    assert session.change([LONG], [LOWER], seen=seen, page="B")["answer"] == "known"


def test_two_undos_at_once_take_back_one(session):
    session.change(["units"], ["in"])
    last = session.document.undo.id
    assert session.undo(last)["answer"] == "kept"
    assert session.undo(last)["answer"] == "conflict"


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("nonsense", 1),
        ("drawing", {"tables": {}}),
        ("units", "cubits"),
        ("units/x", "mm"),
        (LONG, "high"),
        (LONG, [[0, -3], [10, 4]]),
        ("brace/none/width_mm", 5),
        ("brace", None),
        ("brace/long/stations_mm/0", 1),
        ("top", None),
        ("top/wood", "cheese"),
        ("notes/1", "no view keeps this here"),
    ],
)
def test_what_makes_no_sense_is_refused(session, key, value):
    before = session.journal.path.read_bytes()
    if key == "top/wood":
        # That there is such a wood is seen when the case is built.
        session.change([key], [value])
        with pytest.raises(FileError, match="cheese"):
            session.case()
        return
    with pytest.raises((DesignError, FileError)) as refusal:
        session.change([key], [value])
    assert "\n" not in str(refusal.value)
    assert session.journal.path.read_bytes() == before


def test_a_long_day_stays_quick(session):
    """Chosen: with a thousand changes behind it, a further one is reckoned in less than a frame of the screen."""
    made = [Change(str(k), (f"brace/long/{'wood' if k % 2 else 'shape'}",), (k,), (None,)) for k in range(1000)]
    session.journal.changes += tuple(made)
    start = time.process_time()
    document(session.journal)
    assert time.process_time() - start < 0.016


def test_words_for_keys():
    assert key_words("brace/x bass/stations_mm") == "x bass: stations"
    assert key_words("top/thickness_mm") == "top: thickness"
    assert key_words("notes/1") == "notes: 1"


def test_the_state_is_json(session):
    session.change([LONG], [LOWER])
    assert json.loads(json.dumps(session.state()))["undo"]["words"] == "long: stations"
