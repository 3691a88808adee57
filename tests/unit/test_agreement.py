"""Pairing by shape, errors, and subspaces of close modes."""

import numpy as np
import pytest

from bracedtop.fem.agreement import agreement, close_groups
from bracedtop.geometry.errors import AccuracyError

X = np.linspace(0, 1, 41)
SINES = np.array([np.sin(n * np.pi * X) for n in range(1, 6)])


def test_partners_are_found_by_shape_at_any_scale_and_sign() -> None:
    order = [1, 0, 3, 2, 4]
    found = agreement(np.array([101.0, 202, 303, 404, 505]), -3 * SINES[order], np.arange(1, 5) * 100.0, SINES[:4])
    assert found.partners.tolist() == [1, 0, 3, 2]
    np.testing.assert_allclose(found.errors, [1.02, -0.495, 0.34666667, -0.2425])
    np.testing.assert_allclose(found.mac, 1.0)
    assert found.largest == pytest.approx(1.02)
    assert found.rms == pytest.approx(np.sqrt(np.mean(found.errors**2)))


def test_close_modes_are_compared_as_a_space() -> None:
    # Two modes one per cent apart that have mixed by 45 degrees: MAC 0.5 each, but the same plane.
    c = np.sqrt(0.5)
    mixed = np.array([SINES[0], c * (SINES[1] + SINES[2]), c * (SINES[1] - SINES[2]), SINES[3]])
    expected = np.array([100.0, 200.0, 202.0, 300.0])
    found = agreement(np.array([100.0, 201.0, 203.0, 300.0]), mixed, expected, SINES[:4])
    assert found.groups == ((0,), (1, 2), (3,))
    assert found.partners.tolist() == [0, 1, 2, 3]
    np.testing.assert_allclose(found.mac, 1.0)
    apart = agreement(np.array([100.0, 201.0, 212.0, 300.0]), mixed, np.array([100.0, 200.0, 210.0, 300.0]), SINES[:4])
    np.testing.assert_allclose(apart.mac, [1, 0.5, 0.5, 1], atol=1e-12)


def test_principal_angle_of_a_tilted_space() -> None:
    angle = np.deg2rad(20.0)
    tilted = np.array([SINES[0], np.cos(angle) * SINES[1] + np.sin(angle) * SINES[2]])
    found = agreement(np.array([100.0, 101.0]), tilted, np.array([100.0, 101.0]), SINES[:2])
    np.testing.assert_allclose(found.mac, np.cos(angle) ** 2)


def test_groups_are_chains_of_close_neighbours() -> None:
    assert close_groups(np.array([100.0, 101.5, 103.0, 120.0])) == ((0, 1, 2), (3,))
    assert close_groups(np.array([50.0])) == ((0,),)
    assert close_groups(np.array([100.0, 102.0])) == ((0,), (1,))


def test_the_first_modes_alone() -> None:
    found = agreement(np.arange(1, 6) * 110.0, SINES, np.arange(1, 6) * 100.0, SINES).first(2)
    assert len(found.errors) == len(found.mac) == len(found.partners) == 2
    assert found.groups == ((0,), (1,))


def test_too_few_modes_are_refused() -> None:
    with pytest.raises(AccuracyError):
        agreement(np.array([1.0]), SINES[:1], np.array([1.0, 2.0]), SINES[:2])
