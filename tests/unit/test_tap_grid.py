"""Placed recordings, rendered with the modes of a hinged plate, to measured modes with shapes."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile

from bracedtop.fem.sustain import tap_sustain
from bracedtop.fem.tap_picture import MOST_STRIPS, plot_spectra
from bracedtop.fem.taps import read_taps
from bracedtop.geometry.errors import FileError

RATE = 4000
A, B = 0.45, 0.35
ORDERS = ((1, 1), (2, 1), (1, 2), (3, 1))
HZ = np.array([92.0, 171.0, 234.0, 310.0])
T60 = np.array([0.9, 0.7, 0.5, 0.45])
POINTS = ((90, 70), (90, 250), (200, 120), (330, 80), (330, 240), (410, 160))
MICROPHONE = (110, 130)


def phi(points):
    """Modes of a hinged plate, (n_modes, k), at points in mm: Timoshenko and Woinowsky-Krieger 1959, sec. 31."""
    x, y = np.atleast_2d(points).T / 1e3
    return np.array([np.sin(m * np.pi * x / A) * np.sin(n * np.pi * y / B) for m, n in ORDERS])


def rendered(taps, microphones, seed=0, *, n_each=2, spacing=0.6, strength=0.1):
    """Sound (n, n_channels) of hits at one point after the other."""
    rng = np.random.default_rng(seed)
    n_hits = n_each * len(taps)
    signal = np.zeros((round((0.3 + spacing * n_hits) * RATE), len(microphones)))
    here = phi(microphones)
    for k in range(n_hits):
        start = 0.3 + spacing * k + rng.uniform(-0.01, 0.01)
        first = int(np.ceil(start * RATE))
        t = np.arange(first, len(signal)) / RATE - start
        a = np.exp(strength * rng.normal()) * phi(taps[k // n_each]) * here
        tones = np.exp(-np.outer(t, np.log(1e3) / T60)) * np.sin(2 * np.pi * np.outer(t, HZ))
        signal[first:] += tones @ a
        signal[first:] += 0.4 * np.exp(-t / 3e-4)[:, None] * rng.uniform(-1, 1, signal[first:].shape)
    return signal + 2e-3 * rng.normal(size=signal.shape)


def write(folder, name, signal):
    (folder / "taps").mkdir(exist_ok=True)
    soundfile.write(folder / "taps" / name, 0.15 * signal, RATE)


def places(folder, *tables, top=""):
    text = top + "".join(f"\n[[recording]]\n{table}\n" for table in tables)
    (folder / "taps.toml").write_text(text)
    return read_taps(folder)


def check(taps, points=POINTS, least=0.98):
    assert len(taps.measured) == len(HZ)
    order = {tuple(np.round(point, 6)): k for k, point in enumerate(np.array(points) / 1e3)}
    for mode, hz, t60, true in zip(taps.measured, HZ, T60, phi(points), strict=True):
        assert mode.hz == pytest.approx(hz, abs=0.2)
        assert mode.decay_time == pytest.approx(t60, rel=0.06)
        assert 0 < mode.std_error_hz < 0.2
        true = true[[order[tuple(np.round(point, 6))] for point in mode.shape.points]]
        values = mode.shape.values
        assert (values @ true) ** 2 / (values @ values) / (true @ true) > least
        best = mode.shape.points[np.argmax(np.abs(values))]
        np.testing.assert_allclose(mode.tap_point, best)


def test_a_file_a_point(tmp_path):
    tables = []
    for k, point in enumerate(POINTS):
        write(tmp_path, f"p{k}.wav", rendered([point], [MICROPHONE], k))
        tables.append(f'wav = "taps/p{k}.wav"\ntap_mm = [{point[0]}, {point[1]}]')
    taps = places(tmp_path, *tables, top="microphone_mm = [110, 130]\n")
    check(taps)
    assert taps.sources[0] == "taps.toml"
    assert len(taps.recordings) == len(POINTS) == len(taps.struck)
    assert taps.struck_numbers == (1, 2, 3, 4)
    decays = {decay.band.name: decay for decay in tap_sustain(taps, parts=3)}
    # 171 Hz is alone in its band.
    assert decays["160 Hz"].decay_time == pytest.approx(T60[1], rel=0.05)


def test_many_recordings_are_not_all_drawn(tmp_path):
    write(tmp_path, "a.wav", rendered([POINTS[0]], [MICROPHONE]))
    taps = read_taps(tmp_path)
    many = replace(taps, recordings=taps.recordings * (MOST_STRIPS + 3))
    figure = plot_spectra(many)
    assert len(figure.axes) == MOST_STRIPS
    assert "3 more recordings are not drawn" in figure.axes[-1].get_xlabel()


def test_points_in_turn_and_a_miscount(tmp_path):
    write(tmp_path, "row.wav", rendered(POINTS, [MICROPHONE]))
    table = f'wav = "taps/row.wav"\npoints_mm = {[list(p) for p in POINTS]}\nmicrophone_mm = [110, 130]'
    check(places(tmp_path, table + "\nhits_each = 2"))
    with pytest.raises(FileError, match=r"row.wav: 12 hits heard; must be 6 x 3 = 18 by points_mm in taps.toml"):
        places(tmp_path, table + "\nhits_each = 3")
    few = table.replace(", [410, 160]", "")
    with pytest.raises(FileError, match=r"12 hits heard; must be as many for each of 5 points"):
        places(tmp_path, few)


def test_microphones_at_several_places_at_once(tmp_path):
    """Strikes cancel, so the shape is as good as the noise lets it be."""
    write(tmp_path, "array.wav", rendered([MICROPHONE], POINTS, strength=0.6))
    table = f'wav = "taps/array.wav"\ntap_mm = [110, 130]\nmicrophones_mm = {[list(p) for p in POINTS]}'
    taps = places(tmp_path, table)
    check(taps, least=0.9995)
    assert max(mode.shape.errors.max() for mode in taps.measured) < 0.05
    with pytest.raises(FileError, match=r"6 channels hear the top, but microphones_mm in taps.toml has 2 places"):
        places(tmp_path, 'wav = "taps/array.wav"\ntap_mm = [110, 130]\nmicrophones_mm = [[1, 2], [3, 4]]')


def test_a_microphone_moved_and_a_fixed_tap(tmp_path):
    tables = []
    for k, point in enumerate(POINTS):
        write(tmp_path, f"m{k}.wav", rendered([MICROPHONE], [point], k))
        tables.append(f'wav = "taps/m{k}.wav"\ntap_mm = [110, 130]\nmicrophone_mm = [{point[0]}, {point[1]}]')
    check(places(tmp_path, *tables))


def test_without_two_points_there_is_no_shape_and_that_is_said(tmp_path):
    write(tmp_path, "a.wav", rendered([POINTS[0]], [MICROPHONE]))
    write(tmp_path, "b.wav", rendered([POINTS[1]], [MICROPHONE], 1))
    taps = places(tmp_path, 'wav = "taps/a.wav"\ntap_mm = [90, 70]\nmicrophone_mm = [110, 130]')
    assert all(mode.shape is None for mode in taps.measured)
    assert any("no two points were tapped with the microphone in one place" in text for text in taps.warnings)
    assert len(taps.recordings) == 2


def test_a_stereo_recorder_in_one_place(tmp_path):
    both = rendered(POINTS, [MICROPHONE, MICROPHONE])
    both[:, 0] *= 0.3
    write(tmp_path, "row.wav", both)
    table = f'wav = "taps/row.wav"\npoints_mm = {[list(p) for p in POINTS]}\nmicrophone_mm = [110, 130]'
    check(places(tmp_path, table))
