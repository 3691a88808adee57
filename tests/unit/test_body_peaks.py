"""Resonances read back from the admittance that they make."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.fem.body_peaks import BodyPeak, admittance_of, body_peaks, continued


@settings(max_examples=30, deadline=None)
@given(st.floats(90, 900), st.floats(8, 120), st.floats(0.02, 3.0))
def test_one_resonance(hz: float, quality: float, mass: float) -> None:
    (found,) = body_peaks(lambda f: admittance_of((BodyPeak(hz, quality, mass),), f), 50, 1500)
    assert found.frequency == pytest.approx(hz, rel=2e-3)
    assert found.quality == pytest.approx(quality, rel=0.03)
    assert found.mass == pytest.approx(mass, rel=0.03)


def test_several_beside_each_other() -> None:
    peaks = (BodyPeak(100, 30, 0.6), BodyPeak(200, 25, 0.12), BodyPeak(232, 35, 0.3), BodyPeak(520, 30, 0.25))
    found = body_peaks(lambda f: admittance_of(peaks, f), 60, 1000)
    assert [p.frequency for p in found] == pytest.approx([p.frequency for p in peaks], rel=1e-3)
    assert [p.quality for p in found] == pytest.approx([p.quality for p in peaks], rel=0.05)
    assert [p.mass for p in found] == pytest.approx([p.mass for p in peaks], rel=0.08)


def test_none() -> None:
    assert body_peaks(lambda f: np.full(np.shape(f), 0.01 + 0j), 60, 1000) == ()


def test_admittance_at_resonance_and_far_off() -> None:
    """Y = Q / (omega M) at the top; i omega / K far below and 1 / (i omega M) far above."""
    peak = (BodyPeak(200.0, 40.0, 0.2),)
    own = 2 * np.pi * 200
    top, low, high = admittance_of(peak, np.array([200.0, 2.0, 20_000.0]))
    assert top == pytest.approx(40 / (own * 0.2))
    assert low == pytest.approx(2j * np.pi * 2 / (0.2 * own**2), rel=1e-3)
    assert high == pytest.approx(1 / (2j * np.pi * 20_000 * 0.2), rel=1e-3)


def test_continued_above_what_is_known() -> None:
    whole = continued(lambda f: f * 1e-5 + 1j, 1000.0)
    f = np.array([[100.0, 999.0], [1001.0, 9000.0]])
    assert whole(f)[0] == pytest.approx(f[0] * 1e-5 + 1j)
    assert whole(f)[1] == pytest.approx([750e-5, 750e-5])
