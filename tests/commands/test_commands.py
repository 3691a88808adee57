"""Every command as its user meets it: output, files, exit codes, interruption."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from commands.command_line import call, contents

from bracedtop.geometry.errors import FileError
from bracedtop.scripts import results
from bracedtop.scripts.main import COMMANDS, main

SHAVE = ("--brace", "long", "--from", 60, "--to", 120, "--take", 1)
HEAVY = (
    "numpy",
    "scipy",
    "skfem",
    "meshio",
    "pyvista",
    "vtk",
    "shapely",
    "pydantic",
    "soundfile",
    "jinja2",
    "matplotlib",
)


def number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def only_json(outcome) -> dict:
    assert outcome.code == 0, outcome.err
    return json.loads(outcome.out)


# Help and start


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_each_command_has_an_example(capsys, command):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == 0
    text = capsys.readouterr().out
    assert f"example:\n  bracedtop {command} " in text or f"example:\n  bracedtop {command}\n" in text
    assert all(len(line) <= 120 for line in text.splitlines())


def test_program_without_a_command_shows_the_help():
    outcome = call()
    assert outcome.code == 0
    assert all(command in outcome.out for command in COMMANDS)


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from bracedtop.scripts.main import parser; parser().format_help(); "
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_version_is_one_line():
    assert call("--version").out.count(".") == 2


# JSON


def test_modes_json(case):
    result = only_json(call("modes", case, "--modes", 4, "--json", "--quiet"))
    assert {"modes", "unknowns", "seconds", "peak_memory_mb", "mesh"} <= result.keys()
    assert [row["mode"] for row in result["modes"]] == [1, 2, 3, 4]
    for row in result["modes"]:
        assert {"mode", "hz", "modal_mass_g", "nodal_lines", "energy_shares", "bridge"} <= row.keys()
        assert row["bridge"] in ("moves as one", "rocks across", "rocks along", "bends", "nearly still")
        assert sum(row["bridge_shares"].values()) == pytest.approx(1, abs=1e-9)
        assert whole(row["mode"])
        assert number(row["hz"])
        assert row["modal_mass_g"] is None or number(row["modal_mass_g"])
        assert len(row["nodal_lines"]) == 2
        assert all(whole(count) for count in row["nodal_lines"])
        assert sum(row["energy_shares"].values()) == pytest.approx(1, abs=1e-6)
    assert whole(result["unknowns"])
    assert number(result["seconds"])
    assert number(result["peak_memory_mb"])
    assert isinstance(result["mesh"], dict)


def test_compare_json(case):
    result = only_json(call("compare", case, "--modes", 5, "--no-pictures", "--json", "--quiet"))
    assert result["pairs"]
    for pair in result["pairs"]:
        assert {"mode", "predicted_hz", "measured_hz", "difference_hz", "difference_cents"} <= pair.keys()
        assert whole(pair["mode"])
        assert pair["difference_hz"] == pytest.approx(pair["measured_hz"] - pair["predicted_hz"])
        assert (pair["difference_cents"] > 0) == (pair["difference_hz"] > 0)
    paired = [pair["mode"] for pair in result["pairs"]]
    alone = [row["mode"] for row in result["unpaired_predicted"]]
    assert sorted(paired + alone) == [1, 2, 3, 4, 5]
    heard = [pair["measured"] for pair in result["pairs"]] + [row["measured"] for row in result["unpaired_measured"]]
    assert sorted(heard) == [1, 2, 3]
    assert {row["mode"] for row in result["shaving"]} == set(paired)
    assert {row["brace"] for row in result["shaving"]} == {"long", "cross"}
    for row in result["shaving"]:
        assert {"brace", "from_mm", "to_mm", "mode", "hz_per_mm", "grams_per_mm"} <= row.keys()
        assert whole(row["mode"])
        assert row["from_mm"] < row["to_mm"]
        assert row["grams_per_mm"] > 0
    assert "cannot be put back" in result["caution"]


def test_shave_json_and_one_identifier_of_a_mode_everywhere(case):
    modes = only_json(call("modes", case, "--modes", 4, "--json", "--quiet"))["modes"]
    shaved = only_json(call("shave", case, *SHAVE, "--modes", 4, "--json", "--quiet"))
    assert {"modes", "grams_removed"} <= shaved.keys()
    assert shaved["grams_removed"] > 0
    for row, mode in zip(shaved["modes"], modes, strict=True):
        assert {"mode", "before_hz", "after_hz"} <= row.keys()
        assert row["mode"] == mode["mode"]
        assert row["before_hz"] == pytest.approx(mode["hz"], rel=1e-9)
    compared = only_json(call("compare", case, "--modes", 4, "--no-pictures", "--json", "--quiet"))
    predicted = {mode["mode"]: mode["hz"] for mode in modes}
    assert all(pair["predicted_hz"] == pytest.approx(predicted[pair["mode"]]) for pair in compared["pairs"])


def test_hertz_per_millimetre_foretell_a_small_cut(case):
    rows = only_json(call("compare", case, "--modes", 4, "--no-pictures", "--json", "--quiet"))["shaving"]
    stretch = rows[0]
    place = ("--brace", stretch["brace"], "--from", stretch["from_mm"], "--to", stretch["to_mm"])
    cut = only_json(call("shave", case, *place, "--take", 0.01, "--modes", 4, "--json", "--quiet"))
    after = {row["mode"]: row["after_hz"] - row["before_hz"] for row in cut["modes"]}
    for row in rows:
        if (row["brace"], row["from_mm"]) == (stretch["brace"], stretch["from_mm"]):
            # A hundredth of a millimetre is small enough for a straight line, and large enough for the solver.
            assert 0.01 * row["hz_per_mm"] == pytest.approx(after[row["mode"]], rel=0.05, abs=2e-4)
    assert 0.01 * stretch["grams_per_mm"] == pytest.approx(cut["grams_removed"], rel=0.01)


def test_mesh_taps_and_pattern_json(case):
    mesh = only_json(call("mesh", case, "--size-mm", 60, "--json", "--quiet"))
    assert mesh["triangles"] > 10
    assert mesh["lines"].keys() >= {"rim"}
    assert Path(mesh["written"][0]).is_file()
    taps = only_json(call("taps", case, "--json", "--quiet"))
    assert [round(row["hz"]) for row in taps["taps"]] == [106, 190, 236]
    assert taps["taps"][0]["label"] == "long, soft"
    one = only_json(call("taps", case / "taps" / "one.wav", "--json", "--quiet"))
    assert [round(row["hz"]) for row in one["taps"]] == [106, 190]
    braces = only_json(call("pattern", case, "ladder", "--at-mm", 60, 130, 240, "--json"))["braces"]
    assert len(braces) == 3


def test_check_json_and_exit_code(case):
    hz = only_json(call("modes", case, "--modes", 2, "--json", "--quiet"))["modes"][1]["hz"]
    table = "mode,hz,tolerance_percent,kind\n2,{:.6f},0.5,exact\n2,{:.6f},,measured\n"
    (case / "expected.csv").write_text(table.format(hz, hz))
    good = call("check", case, "--json", "--quiet")
    assert only_json(good)["ok"] is True
    assert call("check", case, "--quiet").last == "All 1 checks hold. Nothing was written."
    (case / "expected.csv").write_text(table.format(1.01 * hz, hz))
    bad = call("check", case, "--json", "--quiet")
    assert bad.code == 1
    assert json.loads(bad.out)["checks"][0]["rows"][0]["ok"] is False
    assert call("check", case, "--quiet").last == "1 of 1 checks missed: small. Nothing was written."


# Text and progress


@pytest.mark.parametrize(
    ("command", "options", "stages"),
    [
        ("mesh", (), ["mesh"]),
        ("modes", ("--modes", 3, "--estimate-error"), ["mesh", "assemble", "modes"]),
        ("taps", (), ["taps"]),
        ("compare", ("--modes", 3, "--no-pictures"), ["taps", "modes"]),
        ("shave", (*SHAVE, "--modes", 3), ["as drawn", "after the cut"]),
    ],
)
def test_last_line_says_what_was_written_and_progress_goes_to_standard_error(case, command, options, stages):
    outcome = call(command, case, *options)
    assert outcome.code == 0, outcome.err
    what, _, files = outcome.last.rpartition("ritten: ")
    assert what.endswith("W")
    if command != "taps":
        assert all(Path(file).exists() for file in files.split(", "))
    assert all(f"{stage} ..." in outcome.err for stage in stages)
    quiet = call(command, case, *options, "--quiet")
    assert quiet.err == ""


def test_wood_cannot_be_put_back_is_said(case):
    assert "cannot be put back" in call("compare", case, "--modes", 3, "--no-pictures", "--quiet").out
    assert "cannot be put back" in call("shave", case, *SHAVE, "--modes", 3, "--quiet").out


def test_compare_marks_targets_and_says_when_one_is_out_of_reach(case):
    text = (case / "top.toml").read_text()
    (case / "top.toml").write_text(text + "\n[[target]]\nmode = 9\nhz = 400\n")
    out = call("compare", case, "--modes", 3, "--no-pictures", "--quiet").out
    # F#3 is 440 Hz * 2^(-15/12) (ISO 16:1975, equal temperament); 20 cents above it are 187.15 Hz.
    assert "187.1 (+26)" in out
    assert "target for mode 9: only modes 1 to 3 were solved" in out


def test_wide_tables_are_cut_at_the_terminals_width(monkeypatch, capsys):
    from bracedtop.scripts.console import print_table

    head = ["brace", *(f"mode {k}" for k in range(20))]
    rows = [["long", *("1.0" for _ in range(20))]]
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "60")
    print_table(head, rows, repeat=1)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 60
    assert sum("brace" in line for line in lines) > 2
    assert sum(line.split().count("1.0") for line in lines) == 20


# Files


def test_nothing_but_out_is_written(case):
    before = contents(case)
    for arguments in (
        ("mesh", case),
        ("modes", case, "--modes", 3),
        ("taps", case, "--picture"),
        ("compare", case, "--modes", 3, "--no-pictures"),
        ("shave", case, *SHAVE, "--modes", 3),
        ("pattern", case, "ladder", "--at-mm", 60, 130),
    ):
        assert call(*arguments, *(() if arguments[0] == "pattern" else ("--quiet",))).code == 0
    after = contents(case)
    assert {name: data for name, data in after.items() if not name.startswith("out/")} == before
    assert {name for name in after if name.startswith("out/")} == {
        "out/mesh.vtu",
        "out/modes.csv",
        "out/taps/spectrum.png",
        "out/pairs.csv",
        "out/shaving.csv",
        "out/shave.csv",
    }
    assert not list(case.glob(".out-*"))


def test_compare_writes_a_report_that_stands_alone(case):
    outcome = call("compare", case, "--modes", 3, "--quiet")
    assert outcome.code == 0, outcome.err
    page = (case / "out" / "report.html").read_text(encoding="utf-8")
    assert "data:image/png;base64," in page
    assert "http:" not in page
    assert "https:" not in page
    pictures = {path.name for path in (case / "out" / "pictures").iterdir()}
    assert {"plan.png", "ladder.png", "mode-01.png", "mode-02.png", "mode-03.png", "shaving-01.png"} <= pictures
    # Tables of another run may not stand beside an older report.
    (case / "out" / "mine.txt").write_text("kept")
    assert call("compare", case, "--modes", 2, "--no-pictures", "--quiet").code == 0
    assert set(contents(case / "out")) == {"pairs.csv", "shaving.csv", "mine.txt"}


def test_second_run_replaces_the_first(case):
    for thickness in ("3", "2.5"):
        text = (case / "top.toml").read_text().replace("thickness_mm = 3", f"thickness_mm = {thickness}")
        (case / "top.toml").write_text(text)
        hz = only_json(call("modes", case, "--modes", 3, "--json", "--quiet"))["modes"][0]["hz"]
        assert f"1,{hz:.3f}," in (case / "out" / "modes.csv").read_text()


# Refusals


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("modes", "{case}/nowhere"), "no such folder"),
        (("modes", "{case}/top.toml"), "is a file"),
        (("modes", "{case}/taps"), "no such file"),
        (("mesh", "{case}", "--size-mm", "1"), "give 3 to 200 mm"),
        (("mesh", "{case}", "--size-mm", "nan"), "give 3 to 200 mm"),
        (("modes", "{case}", "--modes", "0"), "give 1 to 60"),
        (("modes", "{case}", "--modes", "-2"), "--modes"),
        (("modes", "{case}", "--modes", "many"), "give 1 to 60"),
        (("modes", "{case}", "--colour"), "--colour"),
        (("modes",), "required: case"),
        (("carve", "{case}"), "invalid choice"),
        (("taps", "{case}/nowhere.wav"), "no such file"),
        (("taps", "{case}/top.toml"), "must be a case folder or a file that ends in .csv"),
        (("taps", "{case}/taps.csv", "--picture"), "give the case folder"),
        (("check", "{case}"), "expected.csv"),
        (("new", "{case}"), "is not empty"),
        (("pattern", "{case}"), "required: FAMILY"),
        (("pattern", "{case}", "ladder", "--at-mm", "5000"), "--at-mm"),
        (("shave", "{case}", "--brace", "Long", "--from", "0", "--to", "9", "--take", "1"), 'did you mean "long"?'),
        (("shave", "{case}", "--brace", "long", "--from", "90", "--to", "20", "--take", "1"), "must run forward"),
        (("shave", "{case}", "--brace", "long", "--from", "20", "--to", "900", "--take", "1"), "inside 0 to 237.7 mm"),
        (("shave", "{case}", "--brace", "long", "--from", "20", "--to", "90", "--take", "9"), "mm high"),
        (("shave", "{case}", "--brace", "long", "--from", "20", "--to", "90", "--take", "-1"), "give 0 to 3000 mm"),
        (("shave", "{case}", "--brace", "long", "--from", "20", "--to", "90", "--take", "0"), "takes nothing off"),
        (("shave", "{case}", "--brace", "long", "--from", "-5", "--to", "90", "--take", "1"), "--from"),
        (("shave", "{case}", "--brace", "long"), "required: --from, --to, --take"),
    ],
)
def test_bad_arguments_are_refused_in_one_line(case, arguments, says):
    before = contents(case)
    quiet = ("--quiet",) if arguments[0] in ("taps", "check") else ()
    outcome = call(*(argument.format(case=case) for argument in arguments), *quiet)
    assert says in outcome.complaint
    assert contents(case) == before


def test_case_without_taps_and_with_unreadable_ones(case):
    (case / "taps" / "one.wav").unlink()
    (case / "taps.csv").unlink()
    assert "no taps" in call("compare", case, "--quiet").complaint
    assert "no taps" in call("taps", case, "--quiet").complaint
    (case / "taps" / "one.wav").write_bytes(b"RIFF and nothing more")
    assert "one.wav" in call("compare", case, "--quiet").complaint
    assert call("modes", case, "--modes", 2, "--quiet").code == 0


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
@pytest.mark.parametrize("name", ["top.toml", "taps.csv"])
def test_pipe_in_place_of_a_file_is_not_waited_for(case, name):
    (case / name).unlink()
    os.mkfifo(case / name)
    assert "not a regular file" in call("compare", case, "--quiet").complaint


def test_shaving_a_top_without_braces(case):
    text = (case / "top.toml").read_text()
    (case / "top.toml").write_text("\n\n".join(b for b in text.split("\n\n") if not b.startswith(("[[b", "[[j"))))
    assert "braces: none" in call("shave", case, *SHAVE, "--quiet").complaint


def test_results_that_cannot_be_written(case, monkeypatch):
    (case / "out").write_text("mine")
    assert "is a file" in call("modes", case, "--modes", 2, "--quiet").complaint
    assert (case / "out").read_text() == "mine"
    (case / "out").unlink()
    (case / "out" / "modes.csv").mkdir(parents=True)
    assert "modes.csv: is a folder" in call("modes", case, "--modes", 2, "--quiet").complaint

    def full(**_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(results.tempfile, "mkdtemp", full)
    assert "No space left on device" in call("modes", case, "--modes", 2, "--quiet").complaint
    assert not list(case.glob(".out-*"))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_full_disk_behind_standard_output_is_one_line(case):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "bracedtop.scripts.main", "pattern", case, "ladder", "--at-mm", "60", "130"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1] == "bracedtop: output: No space left on device"
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="pipes end differently")
def test_reader_of_the_output_that_leaves_is_no_error(case):
    with subprocess.Popen(
        [sys.executable, "-m", "bracedtop.scripts.main", "taps", case, "--json", "--quiet"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        running.stdout.close()
        assert running.stderr.read() == ""
    assert running.returncode == 141


def test_names_that_the_terminal_cannot_show(case, monkeypatch):
    done = subprocess.run(
        [sys.executable, "-m", "bracedtop.scripts.main", "modes", case / "nö\udcffpe\nx", "--quiet"],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith(b"bracedtop: ")


# Interruption


@pytest.mark.parametrize("where", ["bracedtop.scripts.comparison.solve", "bracedtop.scripts.compare.write_tables"])
@pytest.mark.parametrize("error", [KeyboardInterrupt, MemoryError])
def test_interrupted_run_leaves_out_whole(case, monkeypatch, where, error):
    arguments = ("compare", case, "--modes", 3, "--no-pictures", "--quiet")
    assert call(*arguments).code == 0
    before = contents(case)
    (case / "top.toml").write_text((case / "top.toml").read_text().replace("thickness_mm = 3", "thickness_mm = 2.5"))

    def stop(*_):
        raise error

    monkeypatch.setattr(where, stop)
    outcome = call(*arguments)
    assert outcome.code == (130 if error is KeyboardInterrupt else 2)
    assert len(outcome.err.splitlines()) == 1
    after = contents(case)
    assert after.pop("top.toml") != before.pop("top.toml")
    assert after == before
    assert not list(case.glob(".out-*"))


def test_interruption_while_files_change_places_waits_for_the_last_one(tmp_path, monkeypatch):
    case = tmp_path
    for word in ("old", "new"):
        replaced = []
        real = Path.replace

        def replace(self, target, word=word, replaced=replaced, real=real):
            replaced.append(real(self, target))
            if word == "new" and len(replaced) == 1:
                signal.raise_signal(signal.SIGINT)

        monkeypatch.setattr(Path, "replace", replace)

        def write(word=word):
            with results.fresh_results(case) as folder:
                (folder / "deep").mkdir()
                for name in ("a.csv", "deep/b.csv", "c.csv"):
                    (folder / name).write_text(word)

        if word == "old":
            write()
        else:
            with pytest.raises(KeyboardInterrupt):
                write()
        monkeypatch.undo()
        assert set(contents(case / "out").values()) == {word.encode()}
    assert not list(case.glob(".out-*"))


def test_failing_replacement_names_the_file(tmp_path, monkeypatch):
    def locked(self, target):
        raise PermissionError(13, "Permission denied", str(self), None, str(target))

    monkeypatch.setattr(Path, "replace", locked)
    with pytest.raises(FileError, match=r"pairs\.csv: cannot be replaced"), results.fresh_results(tmp_path) as folder:
        (folder / "pairs.csv").write_text("new")
    assert not list(tmp_path.glob(".out-*"))


@pytest.mark.skipif(os.name == "nt", reason="sends a POSIX signal")
def test_real_interrupt_in_the_middle_of_drawing(case):
    assert call("compare", case, "--modes", 2, "--no-pictures", "--quiet").code == 0
    before = contents(case)
    with subprocess.Popen(
        [sys.executable, "-m", "bracedtop.scripts.main", "compare", case, "--modes", "4"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        said = ""
        while "pictures and report" not in said:
            letter = running.stderr.read(1)
            assert letter, said
            said += letter
        time.sleep(0.2)
        running.send_signal(signal.SIGINT)
        out, rest = running.communicate(timeout=60)
    assert running.returncode == 130, said + rest
    assert out == ""
    assert rest.splitlines()[-1].startswith("bracedtop: interrupted")
    assert "Traceback" not in rest
    assert contents(case) == before
