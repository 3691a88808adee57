"""Malformed recordings and tables: one line that names the file, never a traceback, nothing changed."""

import argparse
import struct
import warnings

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem.recording import analyse_recording
from bracedtop.fem.sound import read_sound
from bracedtop.fem.synthesis import tap_signal, write_wav
from bracedtop.fem.tap_notes import COLUMNS, read_notes
from bracedtop.fem.taps import read_taps
from bracedtop.geometry.errors import BracedTopError, FileError
from bracedtop.scripts import taps as command

RATE = 4000


def knock(duration=0.5, rate=RATE):
    return tap_signal(
        np.array([150.0, 340.0]),
        np.array([0.5, 0.3]),
        np.array([1.0, 0.5]),
        rate=rate,
        duration=duration,
        hit_times=np.array([0.1]),
        rng=np.random.default_rng(1),
    )


def refused(path, pattern):
    before = path.read_bytes()
    with pytest.raises(FileError, match=pattern) as caught:
        analyse_recording(path)
    message = str(caught.value)
    assert str(path) in message
    assert "\n" not in message
    assert path.read_bytes() == before


@pytest.fixture(scope="module")
def good_wav(tmp_path_factory):
    path = tmp_path_factory.mktemp("good") / "good.wav"
    write_wav(path, knock(), RATE)
    assert [round(peak.hz) for peak in analyse_recording(path).peaks] == [150, 340]
    return path.read_bytes()


@pytest.mark.parametrize(
    ("data", "pattern"),
    [
        (b"", "is empty"),
        (b"hello, this is text\n" * 20, "not a readable WAV or FLAC file"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "not a readable WAV or FLAC file"),
        (b"RIFF\x24\x00\x00\x00WAVE", "not a readable WAV or FLAC file"),
        (b"fLaC" + bytes(60), "not a readable WAV or FLAC file"),
    ],
    ids=["empty", "text", "picture", "header-only", "flac-mark-only"],
)
def test_not_a_recording(tmp_path, data, pattern):
    path = tmp_path / "a.wav"
    path.write_bytes(data)
    refused(path, pattern)


def test_cut_short(tmp_path, good_wav):
    path = tmp_path / "a.wav"
    path.write_bytes(good_wav[: len(good_wav) // 2])
    refused(path, "is cut short: its header promises 4000 bytes of sound, the file holds 1978")


def test_length_left_open_by_a_program_that_writes_to_a_pipe(tmp_path, good_wav):
    place = good_wav.index(b"data")
    path = tmp_path / "a.wav"
    path.write_bytes(good_wav[: place + 4] + b"\xff\xff\xff\xff" + good_wav[place + 8 :])
    assert len(analyse_recording(path).peaks) == 2


def test_no_samples(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.zeros(0), RATE)
    refused(tmp_path / "a.wav", "holds no samples")


def test_silent(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.zeros(RATE), RATE)
    refused(tmp_path / "a.wav", "is silent")


def test_low_rate(tmp_path):
    soundfile.write(tmp_path / "a.wav", knock(rate=3999), 3999)
    refused(tmp_path / "a.wav", "3999 samples a second; must be 4000 to")


def test_too_long(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.zeros(601 * RATE, dtype=np.int16), RATE, subtype="PCM_U8")
    refused(tmp_path / "a.wav", "601 s long; must be a recording of at most 600 s")


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_samples_that_are_no_numbers(tmp_path, bad):
    samples = knock()
    samples[77] = bad
    soundfile.write(tmp_path / "a.wav", samples, RATE, subtype="FLOAT")
    refused(tmp_path / "a.wav", "sample 77 is not a number")


def test_decay_too_short(tmp_path):
    soundfile.write(tmp_path / "a.wav", knock(duration=0.25), RATE)
    refused(tmp_path / "a.wav", r"too short: 1\d\d ms of decay after a hit; must be 200 ms or more")


@pytest.mark.parametrize("kind", ["noise", "tone", "tone that begins", "hum"])
def test_no_clear_hit(tmp_path, kind):
    t = np.arange(3 * RATE) / RATE
    samples = {
        "noise": 0.2 * np.random.default_rng(1).normal(size=len(t)).clip(-4, 4),
        "tone": 0.5 * np.sin(2 * np.pi * 330 * t),
        "tone that begins": np.where(t > 1, 0.5, 0.0) * np.sin(2 * np.pi * 330 * t),
        "hum": 0.5 * np.sin(2 * np.pi * 50 * t) + 0.2 * np.sin(2 * np.pi * 150 * t),
    }[kind]
    soundfile.write(tmp_path / "a.wav", samples, RATE)
    refused(tmp_path / "a.wav", "no clear hit|nothing between 50 and 1800 Hz rings and dies away")


def test_other_sound_formats_by_that_name(tmp_path):
    soundfile.write(tmp_path / "a.wav", knock(), RATE, format="AIFF")
    refused(tmp_path / "a.wav", "is AIFF; must be a WAV or FLAC file")


def test_a_header_that_promises_the_earth(tmp_path):
    # 2 GB of samples in a file of 100 bytes.
    head = struct.pack(
        "<4sI4s4sIHHIIHH4sI", b"RIFF", 2**31, b"WAVE", b"fmt ", 16, 1, 2, RATE, 4 * RATE, 4, 16, b"data", 2**31
    )
    (tmp_path / "a.wav").write_bytes(head + bytes(56))
    refused(tmp_path / "a.wav", "is cut short")


def test_a_folder_by_that_name_is_no_recording(tmp_path):
    (tmp_path / "taps" / "a.wav").mkdir(parents=True)
    with pytest.raises(FileError, match="no taps"):
        read_taps(tmp_path)
    with pytest.raises(FileError, match="cannot be read"):
        read_sound(tmp_path / "taps" / "a.wav")
    with pytest.raises(FileError, match="cannot be read"):
        read_sound(tmp_path / "none.wav")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "taps.csv: is empty"),
        ("# only a remark\n\n", "taps.csv: is empty"),
        ("100,200\n", 'taps.csv: line 1: column "100" is unknown'),
        ("label\nlow\n", "taps.csv: line 1: has no column hz"),
        ("hz,hz\n1,2\n", 'taps.csv: line 1: column "hz" stands twice'),
        ("hz,colour\n1,2\n", 'taps.csv: line 1: column "colour" is unknown'),
        ("hz,tap_x_mm\n1,2\n", "taps.csv: line 1: has the column tap_x_mm without tap_y_mm"),
        ("hz\tlabel\n100\ta\n", "taps.csv: line 1: fields are separated by tabs"),
        ("#\nhz\n\n\n\n\nabc\n", 'taps.csv: line 7: hz = "abc"; must be a number > 0'),
        ("hz\n-5\n", 'taps.csv: line 2: hz = "-5"; must be a number > 0'),
        ("hz\n0\n", 'taps.csv: line 2: hz = "0"; must be a number > 0'),
        ("hz\nnan\n", 'taps.csv: line 2: hz = "nan"'),
        ("hz\ninf\n", 'taps.csv: line 2: hz = "inf"'),
        ("hz\n1e999\n", 'taps.csv: line 2: hz = "1e999"'),
        ("hz\n1_0\n", 'taps.csv: line 2: hz = "1_0"'),
        ("hz\n\u0663\n", "taps.csv: line 2: hz ="),
        ("hz,q\n,3\n", "taps.csv: line 2: hz is empty"),
        ("hz,label\n100\n", "taps.csv: line 2: 1 fields; must be 2 as in the header"),
        ("hz\n98,5\n", "taps.csv: line 2: 2 fields; must be 1 as in the header (a decimal comma?"),
        ("hz;q\n98,5;40\n", 'taps.csv: line 2: hz = "98,5"; has a decimal comma, must be written with a point: 98.5'),
        ("hz,q\n100,-1\n", 'taps.csv: line 2: q = "-1"'),
        ("hz,t60_s\n100,lang\n", 'taps.csv: line 2: t60_s = "lang"'),
        ("hz,nodes_along\n100,1.5\n", 'taps.csv: line 2: nodes_along = "1.5"; must be a whole number'),
        ("hz,nodes_across\n100,-1\n", "taps.csv: line 2: nodes_across"),
        ("hz,tap_x_mm,tap_y_mm\n100,5,\n", "taps.csv: line 2: only one of tap_x_mm and tap_y_mm"),
        ("hz,node_points_mm\n100,5\n", 'taps.csv: line 2: node_points_mm has "5"; must be pairs'),
        ("hz,node_points_mm\n100,5 x\n", 'taps.csv: line 2: node_points_mm = "x"'),
        ("hz,spread_hz\n100,-1\n", "taps.csv: line 2: spread_hz"),
        ('hz,label\n100,"a\n', "taps.csv: line 2: unexpected end of data; a quoted field must end"),
        ("hz\n100\x00\n", "taps.csv: line 2: has the control character"),
    ],
)
def test_bad_tables(tmp_path, text, message):
    path = tmp_path / "taps.csv"
    path.write_text(text, encoding="utf-8", newline="")
    with pytest.raises(FileError) as caught:
        read_taps(tmp_path)
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_tables_in_other_encodings(tmp_path, encoding):
    (tmp_path / "taps.csv").write_bytes("hz,label\n100,tief und schön\n".encode(encoding))
    with pytest.raises(
        FileError, match=r"taps.csv: line \d: (byte 0x\w\w is not UTF-8 text|has the control character)"
    ):
        read_taps(tmp_path)


def test_a_huge_table(tmp_path):
    (tmp_path / "taps.csv").write_bytes(b"hz\n" + b"100\n" * 300_000)
    with pytest.raises(FileError, match=r"taps\.csv: is larger than 1 MB"):
        read_taps(tmp_path)


EDITS = st.lists(
    st.tuples(
        st.sampled_from(["set", "insert", "delete", "cut", "repeat"]),
        st.floats(0, 1),
        st.binary(min_size=1, max_size=6),
    ),
    min_size=1,
    max_size=4,
)


def edited(data, edits, head=1.0):
    """The bytes with random edits, most of them in the first part `head`."""
    for kind, where, value in edits:
        k = int(where * head * len(data))
        if kind == "set":
            data = data[:k] + value + data[k + len(value) :]
        elif kind == "insert":
            data = data[:k] + value + data[k:]
        elif kind == "delete":
            data = data[:k] + data[k + len(value) :]
        elif kind == "cut":
            data = data[:k]
        else:
            data = data[:k] + data[k : k + 64] * 3 + data[k + 64 :]
    return data


def said(read, path):
    """What a refusal says, or that there was a result; other exceptions and warnings pass through."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            read(path)
    except BracedTopError as error:
        return str(error)
    return "a result"


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(edits=EDITS, head=st.sampled_from([1.0, 44 / 4044, 0.05]))
def test_edited_recordings(tmp_path, good_wav, edits, head):
    path = tmp_path / "edited.wav"
    path.write_bytes(edited(good_wav, edits, head))
    message = said(analyse_recording, path)
    assert message
    assert "\n" not in message


GOOD_TABLE = f"""\
# invented
{",".join(COLUMNS)}
95.5,0.6,,"low, long",120,-30,0,0,,0.4
182,,44,,,,1,,100 0; 100 20.5,
""".encode()


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(edits=EDITS)
def test_edited_tables(tmp_path, edits):
    path = tmp_path / "taps.csv"
    path.write_bytes(edited(GOOD_TABLE, edits))
    message = said(read_notes, path)
    assert message
    assert "\n" not in message


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(alphabet=st.sampled_from('hz,;\n\r"#q19.e-+ \t\ufeffé'), max_size=60))
def test_random_tables(tmp_path, text):
    path = tmp_path / "taps.csv"
    path.write_text("hz,q\n" + text, encoding="utf-8", newline="")
    message = said(read_notes, path)
    assert message
    assert "\n" not in message


def run(*arguments):
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args([*map(str, arguments), "--quiet"]))


def test_command_reads_what_it_is_given(tmp_path, good_wav, capsys):
    case = tmp_path / "case"
    (case / "taps").mkdir(parents=True)
    (case / "taps" / "knock.wav").write_bytes(good_wav)
    (case / "taps.csv").write_text("hz,label\n150,low\n500,high\n")
    assert run(case / "taps" / "knock.wav") == 0
    assert run(case / "taps.csv") == 0
    assert run(case) == 0
    shown = capsys.readouterr().out
    assert "low" in shown
    assert not (case / "out").exists()
    assert run(case, "--picture", "--json") == 0
    assert (case / "out" / "taps" / "spectrum.png").stat().st_size > 10_000
    with pytest.raises(FileError, match="give the case folder"):
        run(case / "taps.csv", "--picture")
    with pytest.raises(FileError, match="no such file or folder"):
        run(case / "none")
    (case / "top.toml").write_text("")
    with pytest.raises(FileError, match="must be a case folder or a file that ends in"):
        run(case / "top.toml")
