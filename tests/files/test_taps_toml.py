"""Good and bad taps.toml: every complaint is one line that names the file and the key."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem.synthesis import write_wav
from bracedtop.fem.taps_file import read_placements
from bracedtop.geometry.errors import BracedTopError, FileError

GOOD = """\
microphone_mm = [140, -60]
hits_each = 3

[[recording]]
wav = "taps/a.wav"
tap_mm = [60, -100.5]

[[recording]]
wav = "taps/b.wav"
points_mm = [[60, -100], [60, 0], [60, 100]]
microphone_mm = [10, 20]
hits_each = 2
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("places")
    (path / "taps").mkdir()
    for name in ("a", "b"):
        write_wav(path / "taps" / f"{name}.wav", 0.1 * np.sin(np.arange(400)), 8000)
    return path


def read(folder, text):
    path = folder / "taps.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_placements(path)


def one(folder, keys, top=""):
    return read(folder, f'{top}\n[[recording]]\nwav = "taps/a.wav"\n{keys}\n')[0]


def test_places_in_metres(folder):
    a, b = read(folder, GOOD)
    assert a.path == folder / "taps" / "a.wav"
    np.testing.assert_allclose(a.points, [(0.06, -0.1005)])
    np.testing.assert_allclose(a.microphones, [(0.14, -0.06)])
    assert (a.hits_each, b.hits_each) == (3, 2)
    np.testing.assert_allclose(b.points, [(0.06, -0.1), (0.06, 0.0), (0.06, 0.1)])
    np.testing.assert_allclose(b.microphones, [(0.01, 0.02)])
    assert a.hammer_channel is a.hammer_newtons is a.sensor_full_scale is None


def test_least_there_is(folder):
    placed = one(folder, "")
    assert placed.points == placed.microphones == ()


def test_several_channels_and_a_hammer(folder):
    placed = one(
        folder,
        "tap_mm = [1, 2]\nmicrophones_mm = [[3, 4], [5, 6]]\nhammer_channel = 2",
        "hammer_full_scale_n = 40\nmicrophone_full_scale_pa = 2.5",
    )
    assert placed.channels(3) == (1, 3)
    assert (placed.hammer_newtons, placed.sensor_full_scale, placed.is_accelerometer) == (40.0, 2.5, False)


def test_a_recording_goes_before_the_file(folder):
    top = "hammer_channel = 1\nhammer_full_scale_n = 40\nmicrophone_full_scale_pa = 2.5"
    own = "hammer_channel = 2\nhammer_full_scale_n = 50\naccelerometer_full_scale_m_per_s2 = 1000"
    placed = one(folder, own, top)
    assert (placed.hammer_channel, placed.hammer_newtons) == (2, 50.0)
    assert (placed.sensor_full_scale, placed.is_accelerometer) == (1000.0, True)


REC = '[[recording]]\nwav = "taps/a.wav"\n'


@pytest.mark.parametrize(
    ("text", "pattern"),
    [
        ("", r"is empty; it has to hold at least one \[\[recording\]\]"),
        ("recording = []", "recording = a list of 0: must have at least 1 entries"),
        ("[recording]\nwav = 'taps/a.wav'", r"must be written as \[\[recording\]\], once for each"),
        ("[[recording]]\ntap_mm = [1, 2]", 'key "wav" is missing in recording 1'),
        ('[[recording]]\nwav = "taps/none.wav"', r"recording 1.wav = \"taps/none.wav\": no such file beside taps.toml"),
        ('[[recording]]\nwav = "../a.wav"', "leads out of the folder of this file"),
        ('[[recording]]\nwav = "/etc/a.wav"', "must be relative"),
        ("[[recording]]\nwav = 3", "recording 1.wav = 3: must be text in quotes"),
        (REC + REC, r"recording 2.wav = \"taps/a.wav\": stands twice"),
        (REC + "tap = [1, 2]", 'key "tap" in recording 1 is missing its unit; write tap_mm'),
        (REC + "mic_mm = [1, 2]", 'unknown key "mic_mm" in recording 1'),
        (REC + "tap_mm = [1]", r"recording 1.tap_mm = a list of 1: must have at least 2 entries"),
        (REC + "tap_mm = [1, 2, 3]", r"must have at most 2 entries"),
        (REC + 'tap_mm = ["1", 2]', "tap_mm row 1 = .1.: must be a number, written without quotes"),
        (REC + "tap_mm = [1, 9000]", "tap_mm row 2 = 9000: must be <= 3000"),
        (REC + "tap_mm = [1, nan]", "must be a finite number"),
        (REC + "tap_mm = [1, 2]\npoints_mm = [[1, 2]]", "found tap_mm, points_mm; a recording takes either"),
        (REC + "tap_mm = [1, 2]\nhits_each = 3", "found tap_mm, hits_each; a recording takes either"),
        (REC + "points_mm = []", "must have at least 1 entries"),
        (REC + "points_mm = [1, 2]", "must be a pair of numbers"),
        (REC + "points_mm = [[1, 2]]\nhits_each = 0", "hits_each = 0: must be >= 1"),
        (REC + "points_mm = [[1, 2]]\nhits_each = 2.5", "must be a whole number"),
        (REC + "microphone_mm = [1, 2]\nmicrophones_mm = [[1, 2]]", "found microphone_mm, microphones_mm"),
        (REC + "hammer_channel = 0", "hammer_channel = 0: must be >= 1"),
        (REC + "hammer_full_scale_n = -1", "hammer_full_scale_n = -1: must be > 0"),
        (
            REC + "microphone_full_scale_pa = 1\naccelerometer_full_scale_m_per_s2 = 1",
            "a channel is one or the other",
        ),
        ("nonsense", "line 1.*not TOML"),
        (b"\xff\xfe", "is not UTF-8 text"),
        (b"#" * 300_000, "is larger than 200 kB"),
    ],
)
def test_bad_ones_are_refused_in_one_line(folder, text, pattern):
    with pytest.raises(FileError, match=pattern) as caught:
        read(folder, text)
    message = str(caught.value)
    assert "taps.toml: " in message
    assert "\n" not in message
    assert len(message) < 700


KEYS = (
    "wav", "tap_mm", "points_mm", "microphone_mm", "microphones_mm", "hammer_channel", "hits_each",
    "hammer_full_scale_n", "microphone_full_scale_pa", "accelerometer_full_scale_m_per_s2",
)  # fmt: skip
VALUES = st.recursive(
    st.one_of(
        st.integers(-5, 5000),
        st.floats(allow_nan=True),
        st.booleans(),
        st.sampled_from(["taps/a.wav", "taps", "", "..", "a\\b", "C:x", "\u202e"]),
    ),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=6,
)


def toml(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return "'" + value + "'"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return repr(value)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from(KEYS[1:]), VALUES, max_size=4), st.dictionaries(st.sampled_from(KEYS), VALUES))
def test_anything_is_read_or_refused_in_one_line(folder, top, inside):
    lines = [f"{key} = {toml(value)}" for key, value in top.items()]
    lines += ["[[recording]]", *(f"{key} = {toml(value)}" for key, value in ({"wav": "taps/a.wav"} | inside).items())]
    refused_or_read(folder, "\n".join(lines))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, len(GOOD)), st.binary(max_size=12), st.integers(0, 12))
def test_damaged_files_are_read_or_refused_in_one_line(folder, at, inserted, cut):
    data = GOOD.encode()
    refused_or_read(folder, data[:at] + inserted + data[at + cut :])


def refused_or_read(folder, text):
    message = ""
    try:
        placements = read(folder, text)
    except BracedTopError as error:
        message = str(error)
        placements = ()
    assert "\n" not in message
    assert len(message) < 700
    assert all(np.isfinite(point).all() for placed in placements for point in placed.points)
