"""Bench notes and recordings to one list of measured modes."""

import math

import numpy as np
import pytest

from bracedtop.fem.recording import Peak, Recording
from bracedtop.fem.synthesis import Disturbance, tap_signal, write_wav
from bracedtop.fem.tap_notes import read_notes
from bracedtop.fem.taps import merge_recordings, read_taps
from bracedtop.geometry.errors import FileError

RATE = 16_000


def notes(tmp_path, text):
    path = tmp_path / "taps.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_notes(path)


def recording(tmp_path, name, peaks):
    empty = np.array([])
    return Recording(tmp_path / "taps" / name, RATE, 5, tuple(peaks), (), (), (), empty, empty)


def peak(hz, spread=0.1, n_hits=5, q=40.0):
    return Peak(hz, spread, math.log(1e3) * q / (math.pi * hz), q, 0.0, n_hits)


def write_taps(path, hz, seed=1):
    path.parent.mkdir(exist_ok=True)
    hz = np.array(hz)
    signal = tap_signal(
        hz,
        np.log(1e3) * 45 / (np.pi * hz),
        np.ones(len(hz)),
        rate=RATE,
        duration=2.4,
        hit_times=np.array([0.3, 1.0, 1.7]),
        rng=np.random.default_rng(seed),
        disturbance=Disturbance(noise_db=-40.0),
    )
    write_wav(path, signal, RATE)


FULL = """\
# invented
hz,t60_s,q,label,tap_x_mm,tap_y_mm,nodes_across,nodes_along,node_points_mm,spread_hz

95.5,0.6,,"low, long",120,-30,0,0,,0.4
182, ,44,,,,1,,100 0; 100 20.5,
"""


def test_every_column_in_si(tmp_path):
    (low, high), warnings = notes(tmp_path, FULL)
    assert warnings == ()
    assert (low.line, low.hz, low.decay_time, low.label, low.spread_hz) == (4, 95.5, 0.6, "low, long", 0.4)
    assert low.tap_point == pytest.approx((0.12, -0.03))
    assert low.nodal_lines == (0, 0)
    # Q = pi f T60 / ln 1000.
    assert low.q == pytest.approx(math.pi * 95.5 * 0.6 / math.log(1e3))
    assert high.decay_time == pytest.approx(math.log(1e3) * 44 / (math.pi * 182))
    assert high.nodal_lines == (1, None)
    np.testing.assert_allclose(high.nodes, [(0.1, 0.0), (0.1, 0.0205)])


@pytest.mark.parametrize(
    "text",
    [
        "hz;label\n100;a\n",
        "\ufeffhz,label\n100,a\n",
        "hz,label\r\n100,a\r\n",
        'hz,label\n"100","a"\n',
        " HZ , Label\n 100 , a\n\n# end\n",
        "label,hz\na,1e2",
    ],
    ids=["semicolons", "byte-order-mark", "crlf", "quoted", "spaces", "no-last-line-end"],
)
def test_forms_that_spreadsheets_write(tmp_path, text):
    (note,), _ = notes(tmp_path, text)
    assert (note.hz, note.label) == (100.0, "a")


def test_decay_and_q_that_disagree_are_a_warning(tmp_path):
    (note,), warnings = notes(tmp_path, "hz,t60_s,q\n100,0.5,80\n")
    assert note.q == pytest.approx(math.pi * 50 / math.log(1e3))
    assert warnings == ("taps.csv: line 2: q = 80 and t60_s = 0.5 disagree at 100 Hz; t60_s was used",)


def test_a_frequency_twice_is_a_warning(tmp_path):
    assert "100 Hz stands on line 2 too" in notes(tmp_path, "hz\n100\n100\n")[1][0]


def test_table_alone(tmp_path):
    (tmp_path / "taps.csv").write_text("hz,label\n210,b\n100,a\n")
    taps = read_taps(tmp_path)
    assert [(m.number, m.hz, m.label, m.source) for m in taps.measured] == [
        (1, 100.0, "a", "taps.csv line 3"),
        (2, 210.0, "b", "taps.csv line 2"),
    ]
    assert taps.sources == ("taps.csv",)


def test_recordings_and_notes_together(tmp_path):
    write_taps(tmp_path / "taps" / "a.wav", [110.0, 205.0], seed=1)
    write_taps(tmp_path / "taps" / "B.WAV", [110.6, 330.0], seed=2)
    (tmp_path / "taps" / "readme.txt").write_text("not a recording")
    (tmp_path / "taps.csv").write_text("hz,label,nodes_along,t60_s\n205.9,twist,1,9\n450,heard only,,\n")
    taps = read_taps(tmp_path)
    assert [m.number for m in taps.measured] == [1, 2, 3, 4]
    np.testing.assert_allclose([m.hz for m in taps.measured], [110.3, 205.0, 330.0, 450.0], atol=0.1)
    both, twist, _, alone = taps.measured
    assert both.source == "taps/B.WAV, taps/a.wav (6 hits)"
    # Two groups of three, 0.6 Hz apart: standard deviation 0.3 sqrt(6 / 5).
    assert both.spread_hz == pytest.approx(0.3 * math.sqrt(1.2), abs=0.03)
    assert (twist.label, twist.nodal_lines) == ("twist", (None, 1))
    assert twist.source == "taps/a.wav (3 hits); notes from taps.csv line 2"
    assert twist.q == pytest.approx(45, rel=0.02)
    assert (alone.label, alone.source, alone.decay_time) == ("heard only", "taps.csv line 3", None)
    assert taps.sources == ("taps.csv", "taps/B.WAV", "taps/a.wav")


def test_close_peaks_of_one_recording_stay_two(tmp_path):
    merged = merge_recordings(
        (recording(tmp_path, "a.wav", [peak(200.0), peak(202.5)]), recording(tmp_path, "b.wav", [peak(201.9)]))
    )
    assert sorted(round(m.hz, 2) for m in merged) == [200.0, 202.2]


def test_merged_frequency_is_weighted_by_hits(tmp_path):
    (mode,) = merge_recordings(
        (
            recording(tmp_path, "a.wav", [peak(200.0, spread=0.5, n_hits=4)]),
            recording(tmp_path, "b.wav", [peak(201.0, spread=None, n_hits=1)]),
        )
    )
    assert mode.hz == pytest.approx(200.2)
    # Sum of squares about the mean: 3 * 0.25 within, 4 * 0.04 + 0.64 between.
    assert mode.spread_hz == pytest.approx(math.sqrt((0.75 + 0.16 + 0.64) / 4))


def test_single_hit_has_no_spread(tmp_path):
    (mode,) = merge_recordings((recording(tmp_path, "a.wav", [peak(200.0, spread=None, n_hits=1)]),))
    assert mode.spread_hz is None


def test_peaks_farther_apart_than_the_tolerance_stay_two(tmp_path):
    merged = merge_recordings(
        (recording(tmp_path, "a.wav", [peak(400.0)]), recording(tmp_path, "b.wav", [peak(407.0)]))
    )
    assert len(merged) == 2


def test_nothing_measured_says_what_to_do(tmp_path):
    with pytest.raises(FileError, match=r"no taps; put recordings \(WAV or FLAC\) into taps/, or write taps.csv"):
        read_taps(tmp_path)
    with pytest.raises(FileError, match="is no folder"):
        read_taps(tmp_path / "none")
    (tmp_path / "taps.csv").write_text("hz\n")
    with pytest.raises(FileError, match="header but no taps"):
        read_taps(tmp_path)
