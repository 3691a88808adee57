import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.geometry.brace import Brace


@given(st.floats(0.02, 0.5), st.floats(-1.5, 1.5), st.floats(0.001, 0.02))
def test_rounded_brace_is_a_brace_within_a_step(length, angle, height):
    path = np.array([[0.1, 0.0], [0.1 + length * np.cos(angle), length * np.sin(angle)]])
    stations = np.array([[0.0, 0.0], [length / 3, height], [float(np.hypot(*(path[1] - path[0]))), height / 2]])
    brace = Brace("b", "wood", path, 0.00713, stations)
    rounded = brace.rounded(1e-4)
    assert np.abs(rounded.path - brace.path).max() <= 0.5001e-4
    assert np.abs(rounded.stations - brace.stations).max() <= 2.01e-4
    np.testing.assert_allclose(rounded.stations * 1e4, np.round(rounded.stations * 1e4), atol=1e-6)
