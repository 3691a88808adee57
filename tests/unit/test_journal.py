"""The page's journal: what is kept outlives everything, what was torn was never promised, what is undone comes back."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.geometry.errors import FileError
from bracedtop.scripts.page.journal import (
    Change,
    Journal,
    change_of,
    history,
    line_of,
    overlap,
    redoing,
    told,
    undoing,
    values_of,
)

KEYS = ["brace/a", "brace/a/stations_mm", "brace/a/width_mm", "brace/b", "top/wood", "notes/1", "units"]

values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=6,
)


def change(id: str, key: str = "units", value: object = "mm", **more: object) -> Change:
    return Change(**{"id": id, "keys": (key,), "values": (value,), "was": (None,), **more})


@given(
    st.text(min_size=1),
    st.lists(st.tuples(st.text(), values, values), min_size=1, max_size=3),
    st.integers(0, 10**6),
    st.booleans(),
    st.none() | st.text(min_size=1),
)
def test_a_line_reads_back(id, parts, seen, quiet, undoes):
    keys, new, was = zip(*parts, strict=True)
    made = Change(id, keys, new, was, seen, "page", "2026-01-02T03:04:05+00:00", undoes, None, quiet)
    line = line_of(made)
    assert line.count(b"\n") == 1
    assert change_of(line) == made


def test_the_line_is_as_documented(tmp_path):
    with_value = json.loads(line_of(change("7", "brace/x bass/stations_mm", [[0, 2.5]], was=([[0, 3]],), seen=4)))
    assert with_value == {
        "id": "7",
        "key": "brace/x bass/stations_mm",
        "value": [[0, 2.5]],
        "was": [[0, 3]],
        "seen": 4,
    }


def test_what_is_kept_is_on_the_disk_before_the_answer(tmp_path):
    path = tmp_path / ".bracedtop" / "page.jsonl"
    journal = Journal(path)
    assert journal.put(change("1")) == "kept"
    assert [change_of(line) for line in path.read_bytes().splitlines()] == list(journal.changes)
    assert Journal(path).changes == journal.changes


def test_a_change_sent_twice_counts_once(tmp_path):
    journal = Journal(tmp_path / "page.jsonl")
    assert journal.put(change("1")) == "kept"
    assert journal.put(change("1")) == "known"
    assert Journal(journal.path).put(change("1")) == "known"
    assert journal.revision == 1


@pytest.mark.parametrize("cut", range(1, 60))
def test_a_torn_last_line_is_dropped(tmp_path, cut):
    path = tmp_path / "page.jsonl"
    path.write_bytes(line_of(change("1")) + line_of(change("2"))[:-cut])
    journal = Journal(path)
    assert [c.id for c in journal.changes] == ["1"]
    assert journal.put(change("3")) == "kept"
    assert [c.id for c in Journal(path).changes] == ["1", "3"]
    assert journal.damaged is None


def test_damaged_lines_are_kept_aside_and_the_rest_goes_on(tmp_path):
    path = tmp_path / "page.jsonl"
    content = line_of(change("1")) + b"\x00\xff not JSON\n" + b'{"id": 5}\n' + line_of(change("2"))
    path.write_bytes(content)
    journal = Journal(path)
    assert [c.id for c in journal.changes] == ["1", "2"]
    assert journal.damaged is not None
    assert journal.damaged.read_bytes() == content
    assert Journal(path).damaged is None


@given(st.binary(max_size=300))
def test_any_file_opens(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("any") / "page.jsonl"
    path.write_bytes(content)
    journal = Journal(path)
    journal.put(change("after"))
    assert Journal(path).changes[-1].id == "after"


def test_another_page_in_between_is_a_conflict(tmp_path):
    journal = Journal(tmp_path / "page.jsonl")
    journal.put(change("1", "brace/a/stations_mm", 1, seen=0, page="A"))
    assert journal.put(change("2", "brace/a/stations_mm", 2, seen=0, page="B")) == "conflict"
    assert journal.put(change("3", "brace/a", None, seen=0, page="B")) == "conflict"
    assert journal.put(change("4", "brace/ab/stations_mm", 2, seen=0, page="B")) == "kept"
    assert journal.put(change("5", "brace/a/stations_mm", 3, seen=0, page="A")) == "kept"
    assert journal.put(change("6", "brace/a/stations_mm", 4, seen=3, page="B")) == "kept"


def test_a_full_disk_keeps_nothing_of_a_change(tmp_path, monkeypatch):
    journal = Journal(tmp_path / "page.jsonl")
    journal.put(change("1"))
    before = journal.path.read_bytes()

    def refuse(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", refuse)
    with pytest.raises(FileError, match="No space left"):
        journal.put(change("2"))
    assert journal.path.read_bytes() == before
    monkeypatch.undo()
    assert journal.put(change("2")) == "kept"


def test_a_journal_that_cannot_be_written_is_refused(tmp_path):
    (tmp_path / "page.jsonl").mkdir()
    with pytest.raises(FileError, match=r"page\.jsonl"):
        Journal(tmp_path / "page.jsonl")


def test_killed_while_writing_all_that_was_acknowledged_is_there(tmp_path):
    path = tmp_path / "page.jsonl"
    program = (
        "import sys, pathlib\n"
        "from bracedtop.scripts.page.journal import Change, Journal\n"
        "journal = Journal(pathlib.Path(sys.argv[1]))\n"
        "for k in range(10**6):\n"
        "    journal.put(Change(str(k), ('units',), ('x' * 3000,), (None,)))\n"
        "    print(k, flush=True)\n"
    )
    process = subprocess.Popen([sys.executable, "-c", program, path], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    acknowledged = [int(process.stdout.readline()) for _ in range(40)]
    process.kill()
    acknowledged += [int(line) for line in process.stdout.read().split()]
    process.stdout.close()
    process.wait()
    kept = [int(c.id) for c in Journal(path).changes]
    assert kept[: len(acknowledged)] == acknowledged
    assert len(kept) <= len(acknowledged) + 1


@given(
    st.lists(
        st.tuples(st.sampled_from(["change", "undo", "redo"]), st.sampled_from(KEYS), st.integers(0, 9)), max_size=40
    )
)
def test_undo_and_redo_walk_the_same_way(tmp_path_factory, steps):
    """Against an independent model: a list of states with a place in it."""
    changes: list[Change] = []
    states: list[dict[str, int]] = [{}]
    place = 0
    for n, (verb, key, value) in enumerate(steps):
        # Keys here have no parts, so that a state is a plain dictionary.
        key = key.replace("/", " ")
        done, undone = history(changes)
        if verb == "change":
            was = states[place].get(key)
            changes.append(change(str(n), key, value, was=(was,)))
            states[place + 1 :] = [states[place] | {key: value}]
            place += 1
        elif verb == "undo" and done:
            changes.append(undoing(done[-1], id=str(n)))
            place -= 1
        elif verb == "redo" and undone:
            changes.append(redoing(undone[-1], id=str(n)))
            place += 1
        held = {k: v for k, v in values_of(changes, {}).items() if v is not None}
        assert held == states[place]
        done, undone = history(changes)
        assert len(done) == place
        assert len(undone) == len(states) - 1 - place


def test_undo_of_the_wrong_change_does_nothing():
    first, second = change("1"), change("2")
    assert history([first, second, undoing(first, id="3")]) == ((first, second), ())
    quiet = replace(second, quiet=True)
    assert history([first, quiet]) == ((first,), ())


@given(st.sampled_from(KEYS), st.sampled_from(KEYS))
def test_overlap_is_mutual_and_about_whole_words(a, b):
    assert overlap(a, b) == overlap(b, a)
    shorter, longer = sorted((a.split("/"), b.split("/")), key=len)
    assert overlap(a, b) == (longer[: len(shorter)] == shorter)


def test_a_whole_takes_its_parts_along():
    changes = [change("1", "brace/a/width_mm", 5), change("2", "brace/ab/width_mm", 6), change("3", "brace/a", {})]
    assert values_of(changes, {}) == {"brace/ab/width_mm": 6, "brace/a": {}}
    again = [*changes, change("4", "drawing", 1), change("5", "units", "in")]
    assert values_of(again, {"drawing": lambda key: key.startswith("brace")}) == {"drawing": 1, "units": "in"}


def test_told_leaves_out_what_was_taken_away():
    assert told({"notes/1": "a", "notes/2": None, "notesx/3": "b", "notes": "c"}, "notes") == {"1": "a"}
