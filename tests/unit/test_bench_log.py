"""The bench log: what is written reads back, and neither a crash nor a full disk harms earlier lines."""

import datetime
import errno
import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import pytest
from filelock import FileLock
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem import bench_log
from bracedtop.fem.bench_log import FILE_NAME, LOCK, Log, append, read_log
from bracedtop.fem.case import read_case
from bracedtop.fem.log_entry import (
    ENTRY,
    STAGES,
    CalibrationEntry,
    CutEntry,
    DrawingEntry,
    Entry,
    LoggedCut,
    LoggedFile,
    LoggedMode,
    LoggedTap,
    NoteEntry,
    PlanEntry,
    TapsEntry,
    calibration_entry,
    cut_entry,
    drawing_entry,
    note_entry,
    plan_entry,
    same_content,
    taps_entry,
)
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.taps import read_taps
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.errors import FileError

CASE = Path(__file__).parents[2] / "cases" / "wren"

numbers = st.floats(-1e6, 1e6)
positive = st.floats(1e-3, 1e5)
words = st.text(max_size=30)
values = st.recursive(st.none() | st.booleans() | numbers | words, lambda v: st.lists(v, max_size=3), max_leaves=5)
keys = st.text(min_size=1, max_size=8).filter(
    lambda key: key not in {"cuts", "pass", "schema", "time", "stage", "number"}
)
files = st.builds(LoggedFile, name=words, sha256=st.text("0123456789abcdef", min_size=64, max_size=64))
cuts = st.builds(
    LoggedCut, brace=words, from_mm=numbers, to_mm=numbers, depth_from_mm=numbers, depth_to_mm=numbers, grams=numbers
)
modes = st.builds(LoggedMode, mode=st.integers(1, 40), hz=positive, std_hz=st.none() | positive)
taps = st.builds(LoggedTap, number=st.integers(1, 40), hz=positive, t60_s=st.none() | positive, label=words)
zones = st.integers(-23 * 60, 23 * 60).map(lambda m: datetime.timezone(datetime.timedelta(minutes=m)))
head = {"number": st.integers(0, 999), "time": st.datetimes(min_value=datetime.datetime(2020, 1, 1), timezones=zones)}
by_name = st.dictionaries(words, st.none() | numbers, max_size=3)


def some(part: st.SearchStrategy) -> st.SearchStrategy:
    return st.lists(part, max_size=3).map(tuple)


entries = st.one_of(
    st.builds(
        DrawingEntry,
        **head,
        name=words,
        files=some(files),
        grams=st.dictionaries(words, numbers, max_size=3),
        modes=some(modes),
    ),
    st.builds(TapsEntry, **head, modes=some(taps), files=some(files)),
    st.builds(CalibrationEntry, **head, means=by_name, standard_deviations=by_name),
    st.builds(PlanEntry, **head, cuts=some(cuts), expected=some(modes), targets=some(st.dictionaries(keys, values))),
    st.builds(CutEntry, **head, cuts=some(cuts)),
    st.builds(NoteEntry, **head, text=words),
)


@given(entries)
def test_entries_read_back(entry: Entry) -> None:
    line = entry.model_dump_json(by_alias=True)
    assert "\n" not in line
    assert ENTRY.validate_json(line) == entry
    document = json.loads(line)
    assert document["schema"] == 1
    assert document["stage"] in STAGES
    assert document["pass"] == entry.number
    assert datetime.datetime.fromisoformat(document["time"]) == entry.time


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=15)
@given(own=st.lists(entries, max_size=6))
def test_a_log_reads_back(own: list[Entry], tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("log")
    kept: list[Entry] = []
    for entry in own:
        last = next((e for e in reversed(kept) if (e.stage, e.number) == (entry.stage, entry.number)), None)
        written = append(folder, entry)
        assert written == (last is None or not same_content(last, entry))
        if written:
            kept.append(entry)
    assert read_log(folder) == Log(tuple(kept))


def test_saying_the_same_again_writes_nothing(tmp_path: Path) -> None:
    assert append(tmp_path, note_entry("dry air", 1))
    content = (tmp_path / FILE_NAME).read_bytes()
    assert not append(tmp_path, note_entry("dry air", 1))
    assert (tmp_path / FILE_NAME).read_bytes() == content
    assert append(tmp_path, note_entry("dry air", 2))
    assert append(tmp_path, note_entry("damp air", 1))
    # Not the last of its stage and pass any more.
    assert append(tmp_path, note_entry("dry air", 1))
    assert len(read_log(tmp_path).entries) == 4


def test_no_log_is_an_empty_one(tmp_path: Path) -> None:
    assert read_log(tmp_path) == Log(())
    assert read_log(tmp_path).last("cut") is None


def test_time_carries_its_zone(tmp_path: Path) -> None:
    before = datetime.datetime.now(datetime.UTC)
    append(tmp_path, note_entry("now", 0))
    (entry,) = read_log(tmp_path).entries
    assert before <= entry.time <= datetime.datetime.now(datetime.UTC)


def lines_of(folder: Path, *lines: str | bytes) -> Log:
    content = b"".join(line.encode() if isinstance(line, str) else line for line in lines)
    (folder / FILE_NAME).write_bytes(content)
    return read_log(folder)


def line(entry: Entry) -> str:
    return entry.model_dump_json(by_alias=True) + "\n"


# One time for all workers, which have to see the same tests.
GOOD = note_entry("good", 0).model_copy(update={"time": datetime.datetime(2026, 1, 2, 3, 4, 5, tzinfo=datetime.UTC)})


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ("{\n", "line 2 is no JSON document; it was left out"),
        (b"\xff\n", "line 2 is no JSON document"),
        ("[1]\n", "line 2: has no schema, a whole number; it was left out"),
        ('{"schema": "1"}\n', "line 2: has no schema"),
        ('{"schema": 1}\n', "line 2: it: Unable to extract tag using discriminator 'stage'; it was left out"),
        (line(GOOD).replace('"note"', '"party"'), "line 2: it: Input tag 'party' found"),
        (line(GOOD).replace('"good"', "3"), "line 2: note.text: Input should be a valid string; it was left out"),
        (line(GOOD).replace('"pass":0', '"pass":-1'), "line 2: note.pass: Input should be greater than or equal to 0"),
        (line(GOOD).replace('"pass":0', '"pass":1000000000'), "line 2: note.pass: Input should be less than or equal"),
        (line(GOOD).replace("Z", "").replace("+", " "), "line 2: note.time: Input should "),
        (line(GOOD).replace('"stage"', '"more":1,"stage"'), "line 2: note.more: Extra inputs are not permitted"),
        ("[" * 100_000 + "\n", "line 2 is no JSON document"),
    ],
)
def test_bad_lines_are_named_and_left_out(tmp_path: Path, bad: str | bytes, words: str) -> None:
    log = lines_of(tmp_path, line(GOOD), bad, "\n", line(GOOD))
    assert log.entries == (GOOD, GOOD)
    assert len(log.complaints) == 1
    assert log.complaints[0].startswith(f"{FILE_NAME}: {words}") or log.complaints[0].startswith(
        f"{FILE_NAME}: {words}"
    )
    assert len(log.complaints[0].splitlines()) == 1


def test_a_newer_form_is_shown_as_such(tmp_path: Path) -> None:
    log = lines_of(tmp_path, '{"schema": 2, "stage": "varnish", "coats": 3}\n', line(GOOD))
    assert log.entries == (GOOD,)
    assert log.newer == ({"schema": 2, "stage": "varnish", "coats": 3},)
    assert log.complaints == (f"{FILE_NAME}: line 1 has schema 2; this program knows 1 and leaves it out",)
    assert append(tmp_path, note_entry("older", 0))


def test_a_broken_last_line_stays_alone(tmp_path: Path) -> None:
    log = lines_of(tmp_path, line(GOOD), line(GOOD)[:40])
    assert log.entries == (GOOD,)
    assert log.complaints == (f"{FILE_NAME}: line 2 breaks off; it was left out",)
    assert append(tmp_path, note_entry("after", 0))
    log = read_log(tmp_path)
    assert [entry.text for entry in log.entries if isinstance(entry, NoteEntry)] == ["good", "after"]
    assert log.complaints == (f"{FILE_NAME}: line 2 is no JSON document; it was left out",)


def test_a_whole_last_line_without_its_end_counts(tmp_path: Path) -> None:
    assert lines_of(tmp_path, line(GOOD).rstrip("\n")).entries == (GOOD,)
    assert append(tmp_path, note_entry("after", 0))
    assert len(read_log(tmp_path).entries) == 2
    assert read_log(tmp_path).complaints == ()


def test_disk_full_in_the_middle_of_a_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    append(tmp_path, GOOD)
    content = (tmp_path / FILE_NAME).read_bytes()
    write = os.write

    def half(file: int, data: bytes) -> int:
        write(file, data[: len(data) // 2])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(bench_log.os, "write", half)
    with pytest.raises(FileError, match=r"No space left on device\); earlier entries are as they were"):
        append(tmp_path, note_entry("lost", 0))
    monkeypatch.undo()
    assert (tmp_path / FILE_NAME).read_bytes() == content
    assert append(tmp_path, note_entry("lost", 0))
    assert len(read_log(tmp_path).entries) == 2


def test_a_part_that_cannot_be_taken_back_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    append(tmp_path, GOOD)
    write = os.write

    def refuse(*_: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(bench_log.os, "write", lambda file, data: write(file, data[: len(data) // 2]))
    monkeypatch.setattr(bench_log.os, "ftruncate", refuse)
    with pytest.raises(FileError, match="only a part could be written"):
        append(tmp_path, note_entry("lost", 0))
    monkeypatch.undo()
    assert append(tmp_path, note_entry("kept", 0))
    log = read_log(tmp_path)
    assert [entry.text for entry in log.entries if isinstance(entry, NoteEntry)] == ["good", "kept"]
    assert len(log.complaints) == 1


def run_python(code: str, *arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


FILLING = """
    import sys
    from pathlib import Path
    from bracedtop.fem.bench_log import append, note_entry
    from bracedtop.geometry.errors import FileError
    folder, who, most = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    for k in range(most):
        try:
            append(folder, note_entry(f"{who} {k} " + "x" * 300, 0))
        except FileError as error:
            print(k, error)
            break
"""


def texts(folder: Path) -> list[str]:
    return [entry.text.rstrip("x").strip() for entry in read_log(folder).entries if isinstance(entry, NoteEntry)]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL here")
def test_killed_while_appending(tmp_path: Path) -> None:
    """At several moments; all lines but perhaps the last are whole, and the next process goes on."""
    total = 0
    for who in range(2):
        process = run_python(FILLING, tmp_path, who, 1_000_000)
        deadline = time.monotonic() + 20
        while len(texts(tmp_path)) < total + 20 + 7 * who and time.monotonic() < deadline:
            time.sleep(0.003)
        process.send_signal(signal.SIGKILL)
        process.communicate()
        log = read_log(tmp_path)
        assert len(log.complaints) <= who + 1
        own = [text for text in texts(tmp_path) if text.startswith(f"{who} ")]
        assert len(own) >= 20
        assert own == [f"{who} {k}" for k in range(len(own))]
        total = len(log.entries)
    assert append(tmp_path, note_entry("alive", 0))


def test_two_processes_do_not_mix(tmp_path: Path) -> None:
    processes = [run_python(FILLING, tmp_path, who, 60) for who in range(2)]
    for process in processes:
        out, err = process.communicate(timeout=60)
        assert (out, err) == ("", "")
    assert read_log(tmp_path).complaints == ()
    found = texts(tmp_path)
    assert sorted(found) == sorted(f"{who} {k}" for who in range(2) for k in range(60))
    for who in range(2):
        assert [text for text in found if text.startswith(f"{who} ")] == [f"{who} {k}" for k in range(60)]


def test_a_file_that_may_not_grow(tmp_path: Path) -> None:
    """The system's own limit of a file's size writes a part, as a full disk does."""
    pytest.importorskip("resource")
    limit = """
    import resource, signal
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
    """
    out, err = run_python(textwrap.dedent(limit) + textwrap.dedent(FILLING), tmp_path, "a", 100).communicate(timeout=60)
    assert err == ""
    stopped = int(out.split()[0])
    assert 3 <= stopped < 10
    assert "only a part could be written" in out or "earlier entries are as they were" in out
    content = (tmp_path / FILE_NAME).read_bytes()
    assert content.endswith(b"\n")
    assert read_log(tmp_path).complaints == ()
    assert texts(tmp_path) == [f"a {k}" for k in range(stopped)]


def test_a_disk_that_is_full(tmp_path: Path) -> None:
    """A file system of 32 kB in memory, mounted by an ordinary user where the system lets him."""
    if shutil.which("unshare") is None:
        pytest.skip("no unshare here")
    disk = tmp_path / "disk"
    disk.mkdir()
    script = (
        f'mount -t tmpfs -o size=32k tmpfs "{disk}" || exit 77\n'
        f'"{sys.executable}" -c "$CODE" "{disk}" a 1000 && cp "{disk}/{FILE_NAME}" "{tmp_path}/{FILE_NAME}"\n'
    )
    environment = {**os.environ, "CODE": textwrap.dedent(FILLING)}
    command = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", script]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    if done.returncode == 77 or (done.returncode and "unshare" in done.stderr):
        pytest.skip("an ordinary user may not mount here")
    assert (done.returncode, done.stderr) == (0, "")
    stopped = int(done.stdout.split()[0])
    assert stopped > 20
    assert read_log(tmp_path).complaints == ()
    assert texts(tmp_path) == [f"a {k}" for k in range(stopped)]


def test_another_process_that_does_not_finish(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench_log, "PATIENCE", 0.1)
    append(tmp_path, GOOD)
    hold = """
    import sys, time
    from filelock import FileLock
    with FileLock(sys.argv[1]):
        print("held", flush=True)
        time.sleep(60)
    """
    process = run_python(hold, tmp_path / LOCK)
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    with pytest.raises(FileError, match="another process has been writing it"):
        append(tmp_path, note_entry("other", 0))
    process.kill()
    process.communicate()
    assert append(tmp_path, note_entry("other", 0))


def test_lock_file_may_be_deleted(tmp_path: Path) -> None:
    append(tmp_path, GOOD)
    shutil.rmtree(tmp_path / LOCK.parent)
    assert append(tmp_path, note_entry("other", 0))
    with FileLock(tmp_path / LOCK, timeout=0):
        pass


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be locked"):
        append(tmp_path / "no", GOOD)
    (tmp_path / FILE_NAME).mkdir()
    with pytest.raises(FileError, match="is not a regular file; the log is a text file"):
        append(tmp_path, GOOD)


def test_entry_of_a_drawing(tmp_path: Path) -> None:
    case = read_case(CASE)
    entry = drawing_entry(case)
    digest = hashlib.sha256((CASE / "top.toml").read_bytes()).hexdigest()
    assert entry.files == (LoggedFile(name="top.toml", sha256=digest),)
    assert (entry.number, entry.name, entry.grams, entry.modes) == (0, "wren", {}, ())
    model = build_model(case.design, case.woods, size=0.06)
    modes = solve(model, 4)
    full = drawing_entry(case, model, modes)
    assert full.grams["all"] == pytest.approx(1e3 * model.mass(), abs=1e-3)
    assert [mode.hz for mode in full.modes] == pytest.approx(list(modes.frequencies), abs=1e-4)
    assert append(tmp_path, full)
    assert read_log(tmp_path).entries == (full,)


def test_entry_of_a_drawing_with_other_files(tmp_path: Path) -> None:
    shutil.copy(CASE / "top.toml", tmp_path)
    text = (
        (tmp_path / "top.toml").read_text().replace("thickness_mm = 2.8", 'thickness_mm = 2.8\nthickness_csv = "t.csv"')
    )
    (tmp_path / "top.toml").write_text(text)
    (tmp_path / "t.csv").write_text("x_mm,y_mm,thickness_mm\n0,-180,2.8\n0,180,2.8\n480,0,2.7\n")
    entry = drawing_entry(read_case(tmp_path))
    assert [file.name for file in entry.files] == ["top.toml", "t.csv"]


def test_entry_of_taps(tmp_path: Path) -> None:
    folder = tmp_path / "pass-1"
    shutil.copytree(CASE / "taps", folder / "taps", ignore=lambda _, names: [n for n in names if "bridge" not in n])
    (folder / "taps.csv").write_text("hz,q,label\n111,50,low\n")
    taps = read_taps(folder)
    entry = taps_entry(taps, 1, folder)
    assert [file.name for file in entry.files] == ["pass-1/taps.csv", "pass-1/taps/bridge.wav"]
    digest = hashlib.sha256((CASE / "taps" / "bridge.wav").read_bytes()).hexdigest()
    assert entry.files[1].sha256 == digest
    assert [mode.hz for mode in entry.modes] == pytest.approx([mode.hz for mode in taps.measured], abs=1e-4)
    first = taps_entry(taps, 0, folder)
    assert [file.name for file in first.files] == ["taps.csv", "taps/bridge.wav"]
    (folder / "taps.csv").unlink()
    with pytest.raises(FileError, match=r"^pass-1/taps.csv: cannot be read"):
        taps_entry(taps, 1, folder)


def test_entries_of_cuts_plans_and_calibrations(tmp_path: Path) -> None:
    """What numpy gives becomes plain numbers; what is not finite, null; further values are kept."""
    own = [Cut("a", 0.095, 0.23, 0.4e-3, 0.6e-3)]
    row = LoggedCut(brace="a", from_mm=95, to_mm=230, depth_from_mm=0.4, depth_to_mm=0.6, grams=0.2052)
    assert cut_entry(own, [0.20518], 2).cuts == (row,)
    plan = plan_entry(
        {
            "cuts": own,
            "targets": [{"mode": 2, "hz": np.float64(190)}],
            "expected": [{"mode": np.int64(2), "hz": np.float64(188), "std_hz": 1, "before_hz": 191.5}],
            "stop_rule": "stop at 187 Hz",
        },
        2,
    )
    assert plan.cuts == (row.model_copy(update={"grams": None}),)
    assert plan.expected[0] == LoggedMode(mode=2, hz=188.0, std_hz=1.0, before_hz=191.5)
    again = plan_entry({"cuts": [row], "expected": [plan.expected[0]]}, 2)
    assert (again.cuts, again.expected) == ((row,), plan.expected)
    fit = calibration_entry({"means": {"E_L": np.float64(1.1), "ring": np.nan}, "bias": np.array([1.0, np.inf])}, 0)
    assert fit.means == {"E_L": 1.1, "ring": None}
    assert fit.model_extra == {"bias": [1.0, None]}
    for entry in (plan, fit):
        assert append(tmp_path, entry)
    assert read_log(tmp_path).entries == (plan, fit)
    assert read_log(tmp_path).last("plan", 2) == plan
    assert read_log(tmp_path).last("plan", 1) is None
