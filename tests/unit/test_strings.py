"""Forces of strings at the bridge: free bodies by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.fem.strings import String, StringSet
from bracedtop.geometry.errors import DesignError

PAIR = (String("A", 100.0), String("B", 60.0))


def test_a_pinned_string_pulls_along_and_does_not_press() -> None:
    np.testing.assert_allclose(StringSet(PAIR, 12e-3, break_angle=0.4).forces(), [[100.0, 0.0], [60.0, 0.0]])


def test_a_pinned_string_that_falls_toward_the_neck_presses() -> None:
    a = np.deg2rad(3.0)
    forces = StringSet(PAIR, 12e-3, string_angle=a).forces()
    np.testing.assert_allclose(forces[0], [100.0 * np.cos(a), -100.0 * np.sin(a)])


def test_a_tailpiece_presses_by_twice_the_sine_of_half_the_break_angle() -> None:
    angle = np.deg2rad(16.0)
    forces = StringSet(PAIR, 20e-3, "tailpiece", angle).forces()
    np.testing.assert_allclose(forces[:, 0], 0.0, atol=1e-12)
    np.testing.assert_allclose(forces[:, 1], [-200.0 * np.sin(angle / 2), -120.0 * np.sin(angle / 2)])


@given(a=st.floats(0.0, 0.3), b=st.floats(0.01, 0.3))
def test_a_tailpiece_with_unequal_angles(a: float, b: float) -> None:
    """The resultant of two equal tensions halves the angle between them: 2 T sin((a + b) / 2) in size."""
    pull, push = StringSet((String("A", 100.0),), 20e-3, "tailpiece", a + b, a).forces()[0]
    assert push == pytest.approx(-100.0 * (np.sin(a) + np.sin(b)))
    assert np.hypot(pull, push) == pytest.approx(200.0 * np.sin((a + b) / 2), abs=1e-9)


def test_strings_are_spread_evenly_from_the_bass_side() -> None:
    strings = StringSet((String("E2", 1.0), String("A2", 1.0), String("D3", 1.0)), 12e-3, spread=40e-3)
    np.testing.assert_allclose(strings.offsets, [20e-3, 0.0, -20e-3])
    assert strings.spacing == pytest.approx(20e-3)
    assert StringSet(PAIR[:1], 12e-3).offsets.tolist() == [0.0]
    assert strings.tension == 3.0


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (lambda: StringSet((), 12e-3), "there is none"),
        (lambda: StringSet(PAIR, 0.0), "saddle height 0 mm"),
        (lambda: StringSet(PAIR, 12e-3, spread=-1e-3), "spread -1 mm"),
        (lambda: StringSet(PAIR, 12e-3, "tailpiece"), "needs 0 to 90"),
        (lambda: StringSet(PAIR, 12e-3, "tailpiece", 0.2, 0.3), "must not exceed the break angle"),
        (lambda: String("A", 0.0), "tension 0 N"),
        (lambda: String("A", float("nan")), "tension nan N"),
    ],
)
def test_what_cannot_be_is_refused(bad, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(DesignError, match=words):
        bad()
