"""Loudness by ITU-R BS.1770-4 (2015), annex 1, and EBU Tech 3341 (2016), table 1; all RECALLED.

A sine of 997 Hz at full scale in one front channel reads -3.01 LKFS. Tech 3341 gives tones of 1 kHz in both channels at
once; in one alone they read 3.01 LU less. Cases 1, 2 and 3: a steady tone at -23 and at -33 dBFS, and a tone of 60 s at
-23 between two of 10 s at -36 dBFS, which the gate takes out. Tolerance 0.1 LU, as there.
"""

import numpy as np
import pytest

from bracedtop.fem.loudness_match import loudness

RATE = 48_000
ONE_CHANNEL = -10 * np.log10(2)


def tone(hz: float, seconds: float, dbfs: float, rate: int = RATE) -> np.ndarray:
    return 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_sine_at_full_scale(rate: int) -> None:
    assert loudness(tone(997, 5, 0, rate), rate) == pytest.approx(-3.01, abs=0.1)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        pytest.param([(20, -23)], -23.0, id="case 1"),
        pytest.param([(20, -33)], -33.0, id="case 2"),
        pytest.param([(10, -36), (60, -23), (10, -36)], -23.0, id="case 3"),
    ],
)
def test_tones_of_tech_3341(parts: list[tuple[float, float]], expected: float) -> None:
    sound = np.concatenate([tone(1000, seconds, level) for seconds, level in parts])
    assert loudness(sound, RATE) == pytest.approx(expected + ONE_CHANNEL, abs=0.1)
