"""Patches whose thickness varies along one direction."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import rectangle
from bracedtop.geometry.patch import Patch, patch_thickness_at

WINGS = np.array([[-76, 3], [-50, 7.5], [50, 7.5], [76, 3]]) * 1e-3


def bridge(angle=np.pi / 2, **changes):
    outline = rectangle([0.11, 0.02], [0.152, 0.03], angle)
    given_ = {"thickness": 7.5e-3, "profile": WINGS, "profile_angle": angle} | changes
    return Patch("bridge", "w", outline, side="outside", is_bridge=True, **given_)


@given(st.floats(-7, 7), st.floats(-0.09, 0.09), st.floats(-0.02, 0.02))
def test_profile_turns_with_its_direction(angle, along, across):
    patch = bridge(angle)
    c, s = np.cos(angle), np.sin(angle)
    place = np.array([0.11, 0.02]) + along * np.array([c, s]) + across * np.array([-s, c])
    expected = np.clip(7.5e-3 - (abs(along) - 0.05) * 4.5 / 26, 3e-3, 7.5e-3)
    np.testing.assert_allclose(patch_thickness_at(patch, place), expected, atol=1e-12)


def test_without_a_profile_it_is_the_same_everywhere():
    patch = bridge(profile=None)
    np.testing.assert_array_equal(patch_thickness_at(patch, np.zeros((3, 2))), 7.5e-3)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"profile": WINGS[:1]}, "two or more pairs"),
        ({"profile": WINGS[[0, 2, 1, 3]]}, "profile row 3 at -50 mm is not beyond row 2 at 50 mm"),
        ({"profile": WINGS * [1, 0] + [0, 0.0]}, "profile row 1 is 0 mm thick; must be > 0"),
        ({"thickness": 9e-3}, "thickness 9 mm beside a profile of up to 7.5 mm"),
    ],
)
def test_bad_profile_gets_one_line(changes, expected):
    with pytest.raises(DesignError) as caught:
        bridge(**changes)
    assert expected in str(caught.value)
    assert str(caught.value).startswith('patch "bridge": ')
    assert len(str(caught.value).splitlines()) == 1
