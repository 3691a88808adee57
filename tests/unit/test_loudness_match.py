"""Sounds brought to one loudness: alike afterwards, never clipped."""

import numpy as np
import pytest

from bracedtop.fem.loudness_match import HIGHEST_PEAK, TARGET, loudness, matched
from bracedtop.geometry.errors import DesignError

RATE = 48_000


def ringing(hz: float, decay: float, size: float, seconds: float = 1.5) -> np.ndarray:
    t = np.arange(round(seconds * RATE)) / RATE
    return size * np.exp(-decay * t) * np.sin(2 * np.pi * hz * t)


def test_pairs_are_alike_afterwards() -> None:
    found = matched([ringing(110, 3, 40.0), ringing(440, 12, 1e-4)], RATE)
    assert [loudness(one, RATE) for one in found.sounds] == pytest.approx([found.loudness] * 2, abs=0.01)
    assert min(found.gains) == 0
    assert found.gains[1] > 80


def test_guard_lowers_all_together() -> None:
    click = np.zeros(RATE)
    click[100:110] = 1.0
    steady = ringing(200, 0.0, 0.2, 1.0)
    found = matched([click, steady], RATE, target=-10.0)
    assert max(np.abs(one).max() for one in found.sounds) == pytest.approx(HIGHEST_PEAK)
    assert found.loudness < -10.0
    assert [loudness(one, RATE) for one in found.sounds] == pytest.approx([found.loudness] * 2, abs=0.01)


def test_soft_and_short_sounds_are_measured() -> None:
    short = ringing(300, 5, 1e-7, 0.1)
    assert loudness(short, RATE) == pytest.approx(loudness(1e6 * short, RATE) - 120, abs=1e-6)
    assert matched([short], RATE).loudness <= TARGET


@pytest.mark.parametrize("sound", [np.zeros(1000), np.zeros(0), np.array([0.0, np.nan]), np.array([np.inf])])
def test_silence_is_refused(sound: np.ndarray) -> None:
    with pytest.raises(DesignError, match="largest sample"):
        loudness(sound, RATE)


def test_nothing_is_refused() -> None:
    with pytest.raises(DesignError, match="no sound"):
        matched([], RATE)
