"""The sustain map as a picture: each note has its cell, marks do not rest on colour, figures stay legible.

Contrast: W3C, Web Content Accessibility Guidelines 2.1 (2018), success criterion 1.4.3, 4.5 to 1.
"""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from bracedtop.fem.body_peaks import BodyPeak, admittance_of
from bracedtop.fem.colours import INK, PAPER, falling, tuple_of
from bracedtop.fem.picture_agg import draw_scene
from bracedtop.fem.string_loss import nylon_string
from bracedtop.fem.sustain_map import SustainMap, sustain_map
from bracedtop.fem.sustain_picture import _BANDS, _LIGHT_FROM, band_of, limits_of, sustain_picture

SET = (("E2", 71.6, 6.24e-3), ("D3", 71.2, 1.95e-3), ("E4", 70.3, 0.38e-3))
PEAKS = (BodyPeak(105, 25, 0.7), BodyPeak(203, 30, 0.1), BodyPeak(390, 30, 0.3))


def found(n_frets: int = 19) -> SustainMap:
    strings = [nylon_string(*row) for row in SET]
    return sustain_map(strings, lambda f: 1e-4 + admittance_of(PEAKS, f), scale_length=0.65, n_frets=n_frets)


def luminance(colour) -> float:
    c = np.array(colour) / 255
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_figures_stand_out_on_every_band() -> None:
    for band, colour in enumerate(falling(_BANDS)):
        ink = PAPER if band >= _LIGHT_FROM else INK
        high, low = sorted((luminance(ink), luminance(tuple_of(colour))), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 4.5, band


def test_every_note_and_every_mark_is_written() -> None:
    map_ = found()
    assert map_.weak.any()
    assert map_.wolf.any()
    scene = sustain_picture(map_).scene
    texts = [label.text for label in scene.labels]
    assert texts.count("wolf") == map_.wolf.sum()
    assert texts.count("short") == (map_.weak & ~map_.wolf).sum()
    assert {"open", "19", "E2", "F2", "D3", "E4", "B5"} <= set(texts)
    at = {label.text: label for label in scene.labels if label.bold and label.align == "right"}
    assert at["E2"].y < at["D3"].y < at["E4"].y
    for label in scene.labels:
        left, bottom, right, top = label.box
        assert left >= 0
        assert right <= scene.width
        assert bottom >= 0
        assert top <= scene.height


def test_labels_do_not_meet() -> None:
    boxes = [label.box for label in sustain_picture(found()).scene.labels]
    for i, (l1, b1, r1, t1) in enumerate(boxes):
        for l2, b2, r2, t2 in boxes[i + 1 :]:
            assert not (l1 < r2 and l2 < r1 and b1 < t2 and b2 < t1)


def test_width() -> None:
    assert sustain_picture(found(0)).scene.width >= 1000
    assert 1240 <= sustain_picture(found(20)).scene.width <= 1280


@settings(max_examples=50)
@given(st.lists(st.floats(0.05, 150), min_size=1, max_size=5))
def test_scale_holds_every_time(times: list[float]) -> None:
    low, high = limits_of(np.array(times))
    assert low <= min(times) * 1.001
    assert max(times) <= high * 1.001
    assert all(0 <= band_of(time, (low, high)) < _BANDS for time in times)
    assert sorted(band_of(t, (low, high)) for t in times) == [band_of(t, (low, high)) for t in sorted(times)]


def test_drawn(tmp_path: Path) -> None:
    job = sustain_picture(found(12))
    assert job.name == "sustain"
    assert "3 strings and 12 frets" in job.alt
    draw_scene(job.scene, tmp_path / "sustain.png")
    with Image.open(tmp_path / "sustain.png") as picture:
        assert picture.size == (job.scene.width, job.scene.height)
        assert len(np.unique(np.asarray(picture).reshape(-1, 3), axis=0)) > 50


@pytest.mark.parametrize("name", ["a string with far too long a name for its place", "σ\n<b>"])
def test_long_and_odd_names(name: str) -> None:
    scene = sustain_picture(
        sustain_map([nylon_string(name, 70, 1e-3)], lambda f: 0.001 + 0 * f, scale_length=0.6, n_frets=3)
    ).scene
    assert all("\n" not in label.text and label.box[0] >= 0 for label in scene.labels)
