"""Random edits of good files, through the whole of ``compare``: done, or refused in one line."""

import json
import shutil
import warnings
from collections.abc import Callable

import pytest
from commands.command_line import TAPS, TOP, call, contents
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem import taps
from bracedtop.scripts import comparison

N_TOP, N_TAPS, N_WAV = 150, 100, 50

FEW = settings(
    derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

BITS = [
    "0", "-1", "1e999", "nan", "inf", "1e-12", "99999", "true", '""', '"x"', "[]", "[[", "]", "{", "=", "#", ",", ";",
    "\t", "\x00", "\u2028", "é", "brace", "[brace]", "[[brace]]", "[top]", "hz", "\n", "\n\n", ".", "..", "-", "'''",
]  # fmt: skip


@st.composite
def edited(draw: Callable, text: str) -> bytes:
    """A text with one to three edits, as bytes that may not be UTF-8."""
    for _ in range(draw(st.integers(1, 3))):
        lines = text.split("\n")
        kind = draw(st.sampled_from(["drop", "twice", "swap", "insert", "cut", "number"]))
        i, j = draw(st.integers(0, len(lines) - 1)), draw(st.integers(0, len(lines) - 1))
        at = draw(st.integers(0, len(text)))
        if kind == "drop":
            del lines[i]
        elif kind == "twice":
            lines.insert(j, lines[i])
        elif kind == "swap":
            lines[i], lines[j] = lines[j], lines[i]
        elif kind == "number":
            digits = [k for k, letter in enumerate(lines[i]) if letter.isdigit()]
            if digits:
                k = draw(st.sampled_from(digits))
                lines[i] = lines[i][:k] + draw(st.sampled_from(BITS[:12])) + lines[i][k + 1 :]
        text = "\n".join(lines)
        if kind == "insert":
            text = text[:at] + draw(st.sampled_from(BITS)) + text[at:]
        elif kind == "cut":
            text = text[:at] + text[at + draw(st.integers(1, 30)) :]
    data = text.encode()
    if draw(st.integers(0, 9)) == 0:
        at = draw(st.integers(0, len(data)))
        data = data[:at] + bytes([draw(st.integers(128, 255))]) + data[at:]
    return data


@pytest.fixture
def try_out(master, tmp_path):
    """Runs ``compare`` on the case with one file replaced, and looks at all that it did."""

    def attempt(name: str, data: bytes) -> None:
        folder = tmp_path / "case"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(master, folder)
        (folder / name).write_bytes(data)
        before = contents(folder)
        with warnings.catch_warnings():
            # A warning would be a second line on standard error.
            warnings.simplefilter("error")
            outcome = call("compare", folder, "--modes", 3, "--no-pictures", "--json", "--quiet")
        after = contents(folder)
        assert {key: value for key, value in after.items() if not key.startswith("out/")} == before
        if outcome.code == 0:
            assert outcome.err == ""
            result = json.loads(outcome.out)
            assert all(isinstance(pair["mode"], int) for pair in result["pairs"])
            assert {"out/pairs.csv", "out/shaving.csv"} == set(after) - set(before)
        else:
            assert len(outcome.complaint) > 10
            assert after == before

    return attempt


def first(function: Callable) -> Callable:
    """A function that gives its first result for ever after."""
    results = []

    def again(*args, **kwargs):
        if not results:
            results.append(function(*args, **kwargs))
        return results[0]

    return again


@pytest.fixture
def coarse(monkeypatch):
    """Triangles as large as the top, whatever the drawing asks for."""
    real = comparison.build_model
    monkeypatch.setattr(
        comparison, "build_model", lambda design, woods, size: real(design, woods, size=design.outline.length / 3)
    )


@pytest.fixture
def solved_once(monkeypatch):
    """The drawing is not edited, so it is solved for the first edit only."""
    monkeypatch.setattr(comparison, "build_model", first(comparison.build_model))
    monkeypatch.setattr(comparison, "solve", first(comparison.solve))


@pytest.fixture
def heard_once(monkeypatch):
    """The recording is not edited, so it is analysed for the first edit only."""
    monkeypatch.setattr(taps, "analyse_recording", first(taps.analyse_recording))


@pytest.mark.usefixtures("coarse", "heard_once")
@given(data=edited(TOP))
@settings(FEW, max_examples=N_TOP)
def test_edited_drawings(try_out, data):
    try_out("top.toml", data)


@pytest.mark.usefixtures("solved_once", "heard_once")
@given(data=edited(TAPS))
@settings(FEW, max_examples=N_TAPS)
def test_edited_notes(try_out, data):
    try_out("taps.csv", data)


@pytest.mark.usefixtures("solved_once")
@given(data=st.data())
@settings(FEW, max_examples=N_WAV)
def test_edited_recordings(try_out, master, data):
    good = (master / "taps" / "one.wav").read_bytes()
    bad = bytearray(good)
    kind = data.draw(st.sampled_from(["head", "bytes", "cut", "silence", "doubled", "full"]))
    if kind == "head":
        for _ in range(data.draw(st.integers(1, 4))):
            bad[data.draw(st.integers(0, 47))] = data.draw(st.integers(0, 255))
    elif kind == "bytes":
        for _ in range(data.draw(st.integers(1, 50))):
            bad[data.draw(st.integers(48, len(bad) - 1))] = data.draw(st.integers(0, 255))
    elif kind == "cut":
        del bad[data.draw(st.integers(0, len(bad))) :]
    elif kind == "doubled":
        bad += good
    else:
        start = data.draw(st.integers(44, len(bad)))
        stop = data.draw(st.integers(start, len(bad)))
        bad[start:stop] = bytes([0 if kind == "silence" else 127]) * (stop - start)
    try_out("taps/one.wav", bytes(bad))
